"""A full disk, and files and folders that may only be read.

What the operating system refuses is said in a sentence; what was acknowledged stays. Disks that fail and power cuts are
in test_disk.py, clocks that jump in test_ledger.py.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from truerun.errors import NotebookUnusable
from truerun.notebook.entries import Kind
from truerun.notebook.files import digests, store_file
from truerun.notebook.ledger import open_notebook
from truerun.notebook.verification import verify_notebook

WRITER = Path(__file__).with_name("rights_writer.py")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Mount a file system of 1 MiB."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount, unmount = shutil.which("mount"), shutil.which("umount")
    words = [mount or "mount", "-t", "tmpfs", "-o", "size=1m", "small", str(folder)]
    allowed = mount is not None and unmount is not None and os.geteuid() == 0
    if not allowed or subprocess.run(words, capture_output=True, check=False).returncode != 0:
        pytest.skip("no file system of 1 MiB can be mounted here; test_ledger.py limits the size of files instead")
    try:
        yield folder
    finally:
        subprocess.run([unmount or "umount", str(folder)], check=True)


class TestAFullDisk:
    def test_is_a_sentence_keeps_what_was_acknowledged_and_goes_on_once_there_is_room(self, small_disk: Path) -> None:
        ballast = small_disk / "ballast"
        ballast.write_bytes(bytes(200_000))
        place = small_disk / "bench.notebook"
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
            told = 1
            with pytest.raises(NotebookUnusable, match="the disk is full"):  # noqa: PT012 - the last one that was taken is asked for
                while True:
                    told = book.append(test, Kind.NOTE, {"words": "x" * 9000}).number
            assert told > 10
            with pytest.raises(NotebookUnusable, match="the disk is full"):
                book.append(test, Kind.NOTE, {"words": "x" * 9000})
            assert book.head(test).count == told
            ballast.unlink()
            assert book.append(test, Kind.NOTE, {"words": "calm"}).number == told + 1
        with open_notebook(place, make=False) as book:
            assert book.head(test).count == told + 1
            assert verify_notebook(book).faults == ()

    def test_takes_no_part_of_a_file_that_does_not_fit(self, small_disk: Path) -> None:
        place = small_disk / "bench.notebook"
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
            with pytest.raises(NotebookUnusable, match="the disk is full"):
                store_file(book, (b"x" * 100_000 for _ in range(20)), "text/csv")
            assert digests(book) == {}
            assert book.append(test, Kind.NOTE, {"words": "calm"}).number == 2
        with open_notebook(place, make=False) as book:
            assert verify_notebook(book).faults == ()


@pytest.fixture
def folder() -> Iterator[Path]:
    """Make a folder that another user can reach."""
    made = Path(tempfile.mkdtemp())
    made.chmod(0o755)
    yield made
    made.chmod(0o755)
    shutil.rmtree(made)


def said(place: Path, test: str) -> tuple[int, str]:
    """Let somebody without rights write; give the exit code and what was said."""
    words = [sys.executable, str(WRITER), str(place), test]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    return done.returncode, done.stdout


class TestRights:
    @pytest.mark.parametrize(
        ("of_file", "of_folder", "sentence"),
        [
            (0o444, 0o777, "it can only be read"),
            (0o444, 0o555, "it can only be read"),
            (0o666, 0o555, "it can only be read"),
            (0o000, 0o777, "it cannot be opened"),
        ],
    )
    def test_that_are_missing_are_a_sentence_and_change_nothing(
        self, folder: Path, of_file: int, of_folder: int, sentence: str
    ) -> None:
        place = folder / "bench.notebook"
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
        before = place.read_bytes()
        place.chmod(of_file)
        folder.chmod(of_folder)
        code, words = said(place, test)
        assert (code, sentence in words) == (2, True)
        assert place.read_bytes() == before

    def test_that_are_there_write(self, folder: Path) -> None:
        place = folder / "bench.notebook"
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
        folder.chmod(0o777)
        for path in folder.iterdir():
            path.chmod(0o666)
        assert said(place, test) == (0, "")
        with open_notebook(place, make=False) as book:
            assert book.head(test).count == 2

    def test_to_make_a_notebook_that_are_missing_are_a_sentence_and_leave_nothing(self, folder: Path) -> None:
        folder.chmod(0o555)
        code, words = said(folder / "bench.notebook", "new")
        assert (code, "it cannot be opened or made there" in words) == (2, True)
        assert list(folder.iterdir()) == []
