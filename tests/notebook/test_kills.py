"""Whatever kills a writer, what was acknowledged is stored, and at most one entry more for each writer.

The claim is the project's own ("Stored form"); the kills are SIGKILL of the operating system.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from truerun.notebook.ledger import open_notebook
from truerun.notebook.verification import verify_notebook

APPENDER = Path(__file__).with_name("appender.py")


def made(folder: Path) -> tuple[Path, str]:
    """Make a notebook with one test."""
    place = folder / "bench.notebook"
    with open_notebook(place) as book:
        return place, book.open_test({"name": "the arc"}).test


def started(place: Path, test: str, who: str, how: str, number: int) -> subprocess.Popen[str]:
    """Start a writer."""
    words = [sys.executable, str(APPENDER), str(place), test, who, how, str(number)]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def acknowledged(said: str) -> dict[int, str]:
    """Read which entries a writer was told are stored."""
    return {int(line.split()[0]): line.split()[1] for line in said.splitlines() if line[:1].isdigit()}


def require_kept(place: Path, test: str, told: dict[int, str], more: int) -> None:
    """Hold the store against what was acknowledged."""
    with open_notebook(place, make=False) as book:
        stored = {entry.number: entry.digest for entry in book.entries(test) if entry.number > 1}
        assert told.items() <= stored.items()
        assert len(stored) <= len(told) + more
        assert verify_notebook(book).faults == ()


def said_by(writer: subprocess.Popen[str]) -> tuple[dict[int, str], int]:
    """Give what a writer acknowledged until its end, and how many of its kind were killed."""
    said, complaint = writer.communicate()
    assert (writer.returncode, complaint) == (0, "")
    killed = [int(line.split()[1]) for line in said.splitlines() if line.startswith("killed")]
    return acknowledged(said), sum(killed)


class TestAKill:
    def test_at_each_event_of_an_append_loses_nothing_that_was_acknowledged(self, tmp_path: Path) -> None:
        place, test = made(tmp_path)
        told, killed = said_by(started(place, test, "w", "events", 48))
        assert 20 <= killed < 48  # two appends have so many events: every one of them was met, the last child lived
        require_kept(place, test, told, killed)

    @pytest.mark.parametrize("pairs", [5, pytest.param(100, marks=pytest.mark.slow)])
    def test_at_random_under_load_loses_nothing(self, tmp_path: Path, pairs: int) -> None:
        place, test = made(tmp_path)
        told, killed = said_by(started(place, test, "w", "random", pairs))
        assert killed == 2 * pairs
        require_kept(place, test, told, killed)


class TestFourWriters:
    def test_at_once_make_one_chain_with_every_entry(self, tmp_path: Path) -> None:
        place, test = made(tmp_path)
        writers = [started(place, test, who, "write", 25) for who in "abcd"]
        told: dict[int, str] = {}
        for writer in writers:
            told |= said_by(writer)[0]
        assert sorted(told) == list(range(2, 102))
        require_kept(place, test, told, 0)
        assert not [path for path in tmp_path.iterdir() if path.name.endswith(("-wal", "-shm"))]
