"""The notebook against what it is made of, ratios within one run.

Appends at the speed of at least .8 of bare SQLite commits of the same bytes with synchronous FULL; verification of
many entries in at most twice the time of hashlib and JSON decoding over the same bytes, in under 200 MB; a notebook
of that length opens in under a second and gives its last 50 entries in under 5 ms.

A bare commit is one row of the same bytes as the append before it, with its test, number and digest, under a primary
key of test and number: BEGIN IMMEDIATE, INSERT, COMMIT by the driver alone. Both ask the disk for one sync. An append
looks up the head, writes canonical JSON, hashes it, and writes the head beside the file as well. The two take turns,
and which of them goes first changes every time; the ratio of the medians is given, and that of the tenth-fastest.

    python benchmarks/notebook.py [entries, 100000 when not said]
"""

import hashlib
import json
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from truerun.notebook.connection import writing
from truerun.notebook.entries import Kind, write_entry
from truerun.notebook.heads import Head
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.tables import ENTRIES
from truerun.notebook.verification import verify_notebook

BODY = {"run": "5b7f0a52-6f0e-4a3e-9d5c-2f5a2f1b9c11", "at": 12.25}


def seconds(action: Callable[[], object]) -> float:
    """Give the wall time of one call [s]."""
    begun = time.perf_counter()
    action()
    return time.perf_counter() - begun


def appends(folder: Path, rounds: int = 600) -> None:
    """Print the time of a bare commit over that of an append, taken in turns."""
    bare = sqlite3.connect(folder / "bare.db", isolation_level=None)
    for words in ("PRAGMA journal_mode=WAL", "PRAGMA synchronous=FULL"):
        bare.execute(words)
    bare.execute("CREATE TABLE e (test TEXT, number INT, digest TEXT, stored BLOB, PRIMARY KEY (test, number))")
    ours: list[float] = []
    theirs: list[float] = []
    with open_notebook(folder / "append.notebook") as book:
        last = book.open_test({"name": "speed"})
        test = last.test
        for number in range(rounds):
            row = (test, number, last.digest, last.stored)
            turns: list[tuple[list[float], Callable[[], object]]] = [
                (ours, lambda: book.append(test, Kind.TAP, BODY)),
                (theirs, partial(commit, bare, row)),
            ]
            for times, action in turns if number % 2 else reversed(turns):
                times.append(seconds(action))
            last = book.entries(test, last=1)[0]
    bare.close()
    for name, place in (("median", rounds // 2), ("tenth-fastest", 9)):
        append, plainly = sorted(ours)[place], sorted(theirs)[place]
        print(f"{name}: append {append * 1e3:.3f} ms, bare {plainly * 1e3:.3f} ms, ratio {plainly / append:.2f}")


def commit(bare: sqlite3.Connection, row: tuple[object, ...]) -> None:
    """Store one row."""
    bare.execute("BEGIN IMMEDIATE")
    bare.execute("INSERT INTO e VALUES (?, ?, ?, ?)", row)
    bare.execute("COMMIT")


def fill(book: Notebook, count: int) -> str:
    """Write a long chain by thousands in one commit each."""
    last = book.open_test({"name": "long"})
    test, done = last.test, 1
    while done < count:
        rows = []
        for _ in range(min(1000, count - done)):
            done += 1
            last = write_entry(test, done, Kind.TAP, BODY, time=book.time(), follows=last.digest)
            rows.append({"test": test, "number": done, "digest": last.digest, "sender": None, "stored": last.stored})
        with writing(book.engine, book.place) as connection:
            connection.execute(ENTRIES.insert(), rows)
    assert book.head(test) == Head(count, last.digest)  # noqa: S101
    return test


def plain(stored: list[bytes]) -> None:
    """Hash and decode, nothing else."""
    for each in stored:
        hashlib.sha256(each).hexdigest()
        json.loads(each)


def main(count: int) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        appends(folder)
        place = folder / "long.notebook"
        with open_notebook(place) as book:
            test = fill(book, count)
        opened: list[Notebook] = []
        print(f"{count} entries: opened in {seconds(lambda: opened.append(open_notebook(place))) * 1e3:.0f} ms")
        book = opened[0]
        recent = min(seconds(lambda: book.entries(test, last=50)) for _ in range(20))
        print(f"last 50 entries in {recent * 1e3:.2f} ms")
        checked = min(seconds(lambda: verify_notebook(book)) for _ in range(3))
        print(f"most memory so far {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:.0f} MB")
        bytes_ = [stored for _, _, stored, _ in book.stored_entries(test)]
        plainly = min(seconds(lambda: plain(bytes_)) for _ in range(3))
        print(f"verified in {checked:.2f} s, {checked / plainly:.2f} times hashlib and json alone ({plainly:.2f} s)")
        book.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
