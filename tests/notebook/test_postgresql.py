"""The same notebook on a real PostgreSQL, started for these tests; where there is none they say so and are skipped."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from truerun.errors import HeadMoved, NotebookUnusable
from truerun.notebook.connection import reading, writing
from truerun.notebook.entries import Kind
from truerun.notebook.files import read_file, store_file
from truerun.notebook.ledger import open_notebook
from truerun.notebook.projection import KEPT_AFTER, kept_state
from truerun.notebook.state import fold
from truerun.notebook.verification import verify_notebook

APPENDER = Path(__file__).with_name("appender.py")
_NOBODY = 65534


def as_nobody() -> int | None:
    """The server refuses to run as root; then another user of this machine runs it."""
    return _NOBODY if os.getuid() == 0 else None


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """Start a server that listens only in a folder of its own, and give the beginning of its address."""
    initdb, pg_ctl = shutil.which("initdb"), shutil.which("pg_ctl")
    if initdb is None or pg_ctl is None:
        pytest.skip("there is no PostgreSQL on this machine (initdb and pg_ctl)")
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    try:
        if os.getuid() == 0:
            os.chown(folder, _NOBODY, _NOBODY)
        data = folder / "data"
        start = ["-D", str(data), "-w", "-l", str(folder / "log"), "-o", f"-k {folder} -c listen_addresses=''", "start"]
        made = subprocess.run(
            [initdb, "-D", str(data), "-U", "bench", "-A", "trust", "-N"],
            capture_output=True, text=True, check=False, cwd=folder, user=as_nobody(), group=as_nobody(),
        )  # fmt: skip
        assert made.returncode == 0, made.stderr
        subprocess.run(
            [pg_ctl, *start], check=True, stdout=subprocess.DEVNULL, cwd=folder, user=as_nobody(), group=as_nobody()
        )
        yield f"postgresql://bench@/postgres?host={folder}"
        stop = [pg_ctl, "-D", str(data), "-m", "immediate", "stop"]
        subprocess.run(stop, check=True, stdout=subprocess.DEVNULL, cwd=folder, user=as_nobody(), group=as_nobody())
    finally:
        shutil.rmtree(folder)


@pytest.fixture
def place(server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give the address of an empty database; heads are kept in a home of the test's own."""
    monkeypatch.setenv("HOME", str(tmp_path))
    with open_notebook(server) as book, writing(book.engine, book.place) as connection:
        for table in ("notebook", "tests", "entries", "landmarks", "recordings", "chunks", "projections"):
            connection.execute(text(f"DROP TABLE truerun_{table}"))
    for kept in tmp_path.rglob("*.heads"):
        kept.unlink()
    return server


def test_the_road_is_the_same_as_on_a_file(place: str) -> None:
    with open_notebook(place) as book:
        test = book.open_test({"name": "the arc"}).test
        first = book.append(test, Kind.TAP, {"run": "r", "at": 1.5}, sender="phone 1")
        assert book.append(test, Kind.TAP, {"run": "r", "at": 1.5}, sender="phone 1") == first
        with pytest.raises(HeadMoved):
            book.append(test, Kind.CLOSED, {"why": "done"}, head="0" * 64)
        digest, _ = store_file(book, [b"x" * 1_500_000], "text/csv")
        assert b"".join(read_file(book, digest)) == b"x" * 1_500_000
        for number in range(KEPT_AFTER):
            book.append(test, Kind.NOTE, {"words": f"{number}"})
        assert kept_state(book, test) == kept_state(book, test) == fold(test, book.entries(test))
        assert verify_notebook(book).faults == ()


def test_two_clubs_write_at_once_into_one_chain(place: str) -> None:
    with open_notebook(place) as book:
        test = book.open_test({"name": "the arc"}).test
        words = [sys.executable, str(APPENDER), place, test]
        writers = [subprocess.Popen([*words, who, "write", "25"], stdout=subprocess.DEVNULL) for who in "ab"]
        assert [writer.wait() for writer in writers] == [0, 0]
        assert book.head(test).count == 51
        assert verify_notebook(book).faults == ()


def test_each_client_notices_that_the_end_was_cut_off(place: str) -> None:
    with open_notebook(place) as book:
        test = book.open_test({"name": "the arc"}).test
        book.append(test, Kind.NOTE, {"words": "last"})
        with writing(book.engine, book.place) as connection:
            connection.execute(text("DELETE FROM truerun_entries WHERE number = 2"))
    with pytest.raises(NotebookUnusable, match="was cut off"):
        open_notebook(place)


def test_a_connection_that_was_cut_is_a_sentence_and_the_next_try_goes_through(place: str) -> None:
    with open_notebook(place) as book:
        test = book.open_test({"name": "the arc"}).test
        cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND query <> ''"
        with reading(book.engine, book.place) as connection:
            connection.execute(text(cut + " AND backend_type = 'client backend'"))
        with pytest.raises(NotebookUnusable, match="cannot be reached"):
            book.append(test, Kind.NOTE, {"words": "calm"})
        assert book.append(test, Kind.NOTE, {"words": "calm"}).number == 2
        assert verify_notebook(book).faults == ()


def test_a_server_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(NotebookUnusable, match="cannot be reached"):
        open_notebook(f"postgresql://bench@/postgres?host={tmp_path}")
