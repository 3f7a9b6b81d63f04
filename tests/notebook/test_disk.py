"""Power cuts, failing disks and kills inside SQLite's own writes.

A shim in C between SQLite and the disk notes every write, sync and truncate. A power cut is what the SQLite
documentation of "Atomic Commit" assumes: whatever was synced is there, of what was written since any sectors of 512
bytes may be missing. Where there is no C compiler (or no ``LD_PRELOAD``) these tests say so and are skipped.
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


def written(folder: Path, test: str, shim: Path, *, level: str = "FULL", **more: str) -> int:
    """Let the writer append; give its exit code."""
    named = {"LD_PRELOAD": str(shim), "DISK_FOLDER": str(folder)} | more
    words = [sys.executable, str(HERE / "disk_writer.py"), str(folder), test, str(COUNT), level]
    ended = subprocess.run(words, env=os.environ | named, capture_output=True, check=False, pass_fds=_passed(more))
    assert b"Traceback" not in ended.stderr, ended.stderr.decode()
    return ended.returncode


def _passed(named: dict[str, str]) -> tuple[int, ...]:
    return (int(named["DISK_LOG_FD"]),) if "DISK_LOG_FD" in named else ()


def events_of(folder: Path, test: str, shim: Path, level: str) -> list[Event]:
    """Let the writer append, and read what was asked of the disk."""
    log = folder.with_suffix(".log")
    with log.open("wb") as file:
        assert written(folder, test, shim, level=level, DISK_LOG_FD=str(file.fileno())) == 0
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
    """Lay files on a disk, open the notebook, and count acknowledged lines that are not there."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, data in files.items():
        if not name.endswith((".heads", "-shm")):
            (folder / name).write_bytes(data)
    acknowledged = {int(line.split()[0]): line.split()[1] for line in told.decode().splitlines()}
    try:
        with open_notebook(folder / "bench.notebook", make=False) as book:
            stored = {entry.number: entry.digest for entry in book.entries(test)}
            assert verify_notebook(book).faults == ()
            assert len(stored) <= 1 + len(acknowledged) + 1
            book.append(test, Kind.NOTE, {"words": "it goes on"})
    except TruerunError:
        return len(acknowledged)
    return sum(stored.get(number) != digest for number, digest in acknowledged.items())


def losses(tmp_path: Path, shim: Path, level: str, cuts: int) -> int:
    """Cut the power at many places, and count the cuts that lost something acknowledged."""
    folder = tmp_path / level
    test = made(folder)
    before = {each.name: each.read_bytes() for each in folder.iterdir() if not each.name.endswith(".heads")}
    events = events_of(folder, test, shim, level)
    assert {each.kind for each in events} >= ({"W"} if level == "OFF" else {"W", "S"})
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

    @pytest.mark.slow
    def test_at_a_thousand_places_loses_nothing(self, tmp_path: Path, shim: Path) -> None:
        assert losses(tmp_path, shim, "FULL", 1000) == 0


class TestADiskThatFails:
    @pytest.mark.parametrize("how", ["fail", "kill"])
    @pytest.mark.parametrize("place", [*range(1, 12), 20, 30])
    def test_at_any_write_or_sync_keeps_what_was_acknowledged(
        self, tmp_path: Path, shim: Path, how: str, place: int
    ) -> None:
        folder = tmp_path / "bench"
        test = made(folder)
        code = written(folder, test, shim, DISK_FAIL_AT=str(place), DISK_FAIL_HOW=how)
        assert code in ((0, 2) if how == "fail" else (0, 9))  # a sentence, or the kill; 0: only the heads were hit
        told = (folder / "told").read_text() if (folder / "told").exists() else ""
        acknowledged = {int(line.split()[0]): line.split()[1] for line in told.splitlines()}
        with open_notebook(folder / "bench.notebook", make=False) as book:
            stored = {entry.number: entry.digest for entry in book.entries(test) if entry.number > 1}
            assert acknowledged.items() <= stored.items()
            assert len(stored) <= len(acknowledged) + 1
            assert verify_notebook(book).faults == ()
            book.append(test, Kind.NOTE, {"words": "it goes on"})
