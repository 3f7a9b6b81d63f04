"""Power cuts, failing disks and kills inside SQLite's own writes.

A shim in C between SQLite and the disk notes every write, sync and truncate. A power cut is what the SQLite
documentation of "Atomic Commit" assumes: whatever was synced is there, of what was written since any sectors of 512
bytes may be missing. The file of heads is cut with the rest, as it lies beside the notebook. Where there is no C
compiler (or no ``LD_PRELOAD``) these tests say so and are skipped.
"""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from truerun.errors import TruerunError
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import open_notebook
from truerun.notebook.verification import verify_notebook

HERE = Path(__file__).parent
SECTOR = 512
COUNT = 8


@pytest.fixture(scope="session")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile the shim."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or not sys.platform.startswith("linux"):
        pytest.skip("there is no C compiler here, or no LD_PRELOAD")
    made = tmp_path_factory.mktemp("shim") / "disk_shim.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", made, HERE / "disk_shim.c", "-ldl"], check=True)
    return made


@dataclass(slots=True)
class Event:
    """One thing that was asked of the disk: W(rite), S(ync) or T(runcate)."""

    kind: str
    name: str
    at: int
    bytes_: bytes = b""


@dataclass(slots=True)
class OnDisk:
    """A file: what a power cut leaves for sure, and what was done to it since the last sync."""

    sure: bytearray = field(default_factory=bytearray)
    since: list[Event] = field(default_factory=list)

    def synced(self) -> None:
        """Take everything for sure."""
        for each in self.since:
            _apply(self.sure, each)
        self.since = []


def _apply(data: bytearray, event: Event) -> None:
    """Do to some bytes what was asked."""
    if event.kind == "T":
        data[event.at :] = bytes(max(0, event.at - len(data)))
        return
    end = event.at + len(event.bytes_)
    data.extend(bytes(max(0, end - len(data))))
    data[event.at : end] = event.bytes_


def made(folder: Path) -> str:
    """Make a notebook with one test."""
    folder.mkdir(parents=True)
    with open_notebook(folder / "bench.notebook") as book:
        return book.open_test({"name": "the arc"}).test


def written(folder: Path, shim: Path, *words: str, **named: str) -> str:
    """Let the writer do something, with the shim between it and the disk; give what it says."""
    program = [sys.executable, str(HERE / "disk_writer.py"), *words]
    around = os.environ | {"LD_PRELOAD": str(shim)} | named
    passed = (int(named["DISK_LOG_FD"]),) if "DISK_LOG_FD" in named else ()
    ended = subprocess.run(
        program, env=around, capture_output=True, text=True, check=False, pass_fds=passed, cwd=folder
    )
    assert (ended.returncode, ended.stderr) == (0, "")
    return ended.stdout


def events_of(
    folder: Path, test: str, shim: Path, *, level: str = "FULL", count: int = COUNT, pages: int = 1000
) -> list[Event]:
    """Let the writer append, and read what was asked of the disk."""
    log = folder.with_suffix(".log")
    with log.open("wb") as file:
        named = {"DISK_LOG_FD": str(file.fileno()), "DISK_FOLDER": str(folder)}
        assert written(folder, shim, "append", str(folder), test, str(count), level, str(pages), **named) == ""
    return list(_read(log.read_bytes()))


def _read(data: bytes) -> Iterator[Event]:
    """Read the log."""
    place = 0
    while place < len(data):
        kind = chr(data[place])
        length, at, count = struct.unpack_from("=qqq", data, place + 1)
        place += 25
        name = data[place : place + length].decode()
        place += length
        bytes_ = data[place : place + count] if kind == "W" else b""
        place += len(bytes_)
        yield Event(kind, name, at, bytes_)


def cut(before: dict[str, bytes], events: list[Event], rng: np.random.Generator) -> tuple[dict[str, bytes], bytes]:
    """Give what is on the disk when the power goes after these events, and what had been acknowledged."""
    files = {name: OnDisk(bytearray(data)) for name, data in before.items()}
    told = b""
    for each in events:
        if each.name == "told":
            told += each.bytes_
            continue
        file = files.setdefault(each.name, OnDisk())
        if each.kind == "S":
            file.synced()
        else:
            file.since.append(each)
    for file in files.values():
        for each in file.since:
            for start in range(0, max(len(each.bytes_), 1), SECTOR):
                if rng.random() < 0.5:
                    part = Event(each.kind, each.name, each.at + start, each.bytes_[start : start + SECTOR])
                    _apply(file.sure, part)
    return {name: bytes(file.sure) for name, file in files.items()}, told


def lost(folder: Path, files: dict[str, bytes], told: bytes, test: str) -> int:
    """Lay files on a disk, open the notebook, and count acknowledged lines that are not there; a refusal counts too."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, data in files.items():
        if not name.endswith("-shm"):
            (folder / name).write_bytes(data)
    acknowledged = {int(line.split()[0]): line.split()[1] for line in told.decode().splitlines()}
    try:
        with open_notebook(folder / "bench.notebook", make=False) as book:
            stored = {entry.number: entry.digest for entry in book.entries(test)}
            assert verify_notebook(book).faults == ()
            assert len(stored) <= 1 + len(acknowledged) + 1
            book.append(test, Kind.NOTE, {"words": "it goes on"})
    except TruerunError:
        return 1 + len(acknowledged)
    return sum(stored.get(number) != digest for number, digest in acknowledged.items())


def losses(tmp_path: Path, shim: Path, level: str, cuts: int, *, count: int = COUNT, pages: int = 1000) -> int:
    """Cut the power at many places, and count the cuts that lost something acknowledged."""
    folder = tmp_path / level
    test = made(folder)
    before = {each.name: each.read_bytes() for each in folder.iterdir()}
    events = events_of(folder, test, shim, level=level, count=count, pages=pages)
    assert {each.kind for each in events} >= ({"W"} if level == "OFF" else {"W", "S"})
    begun = sum((each.kind, each.name, each.at) == ("W", "bench.notebook-wal", 0) for each in events)
    assert begun == 1 if pages == 1000 else begun > 2
    rng = np.random.default_rng(7)
    bad = 0
    for stop in np.linspace(1, len(events), cuts).astype(int):
        files, told = cut(before, events[:stop], rng)
        bad += lost(tmp_path / "after", files, told, test) > 0
    return bad


class TestAPowerCut:
    def test_loses_nothing_that_was_acknowledged(self, tmp_path: Path, shim: Path) -> None:
        assert losses(tmp_path, shim, "FULL", 40) == 0

    def test_would_lose_lines_if_syncing_were_lowered(self, tmp_path: Path, shim: Path) -> None:
        assert losses(tmp_path, shim, "OFF", 40) > 5
        assert losses(tmp_path, shim, "NORMAL", 40) > 5

    def test_while_the_log_is_taken_into_the_notebook_and_begun_again_loses_nothing(
        self, tmp_path: Path, shim: Path
    ) -> None:
        """SQLite does so at a thousand pages; here at twelve, so that it happens again and again."""
        assert losses(tmp_path, shim, "FULL", 60, count=20, pages=12) == 0

    @pytest.mark.slow
    def test_a_thousand_times_loses_nothing(self, tmp_path: Path, shim: Path) -> None:
        assert losses(tmp_path, shim, "FULL", 1000) == 0
        shutil.rmtree(tmp_path / "FULL")
        assert losses(tmp_path, shim, "FULL", 1000, count=100, pages=40) == 0


@pytest.fixture(scope="session")
def asked(tmp_path_factory: pytest.TempPathFactory, shim: Path) -> tuple[Path, str, list[str]]:
    """Give a notebook with one test, and the names of the files that two appends touch, in order."""
    folder = tmp_path_factory.mktemp("asked") / "bench"
    test = made(folder)
    tried = shutil.copytree(folder, folder.with_name("tried"))
    names = [each.name for each in events_of(tried, test, shim, count=2) if each.name != "told"]
    assert {"bench.notebook", "bench.notebook-wal", "bench.notebook.heads"} <= set(names)
    return folder, test, names


def endings(asked: tuple[Path, str, list[str]], to: Path, shim: Path, how: str) -> list[tuple[int, list[str]]]:
    """Let the writer append twice for each thing that is asked of the disk, which goes wrong; say how each ended."""
    folder, test, names = asked
    for place in range(1, len(names) + 1):
        shutil.copytree(folder, to / str(place))
    found: list[tuple[int, list[str]]] = []
    said: list[str] = []
    for line in written(to, shim, "each", str(to), test, "2", str(len(names)), how).splitlines():
        if line.startswith("-"):
            said.append(line)
        else:
            found.append((int(line), said))
            said = []
    return found


def require_kept(folder: Path, test: str) -> int:
    """Hold a notebook against what was acknowledged, and append to it; give how many lines it has more."""
    acknowledged = {int(line.split()[0]): line.split()[1] for line in (folder / "told").read_text().splitlines()}
    with open_notebook(folder / "bench.notebook", make=False) as book:
        stored = {entry.number: entry.digest for entry in book.entries(test) if entry.number > 1}
        assert acknowledged.items() <= stored.items()
        assert verify_notebook(book).faults == ()
        book.append(test, Kind.NOTE, {"words": "it goes on"})
    return len(stored) - len(acknowledged)


class TestADiskThatFails:
    """At every single write, sync and truncate of two appends, from opening to closing."""

    def test_is_a_sentence_and_loses_nothing(
        self, tmp_path: Path, shim: Path, asked: tuple[Path, str, list[str]]
    ) -> None:
        _, test, names = asked
        ended = endings(asked, tmp_path, shim, "fail")
        appending = len(names) - names[::-1].index("bench.notebook.heads")
        assert len(ended) == len(names) > 30
        for place, (name, (code, said)) in enumerate(zip(names, ended, strict=True), 1):
            # a head that is not written and a log that is not taken in at closing cost nothing: both are said nowhere
            refused = place <= appending and name != "bench.notebook.heads"
            assert (place, code, len(said)) in ((place, 1, 1), (place, 100, 1)) if refused else code == 0
            assert all("the disk did not take or give the data" in words for words in said)
            assert 0 <= require_kept(tmp_path / str(place), test) <= 1

    def test_a_kill_there_loses_nothing(self, tmp_path: Path, shim: Path, asked: tuple[Path, str, list[str]]) -> None:
        _, test, names = asked
        ended = endings(asked, tmp_path, shim, "kill")
        assert [code for code, _ in ended] == [9] * len(names)
        assert {require_kept(tmp_path / str(place), test) for place in range(1, len(names) + 1)} == {0, 1}
