"""Checking a notebook as it is stored: every byte of every entry, both chains, every file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from truerun.errors import LedgerBroken
from truerun.notebook.entries import FIRST
from truerun.notebook.files import digests, read_file
from truerun.notebook.heads import Head
from truerun.notebook.ledger import Notebook

__all__ = ["Checked", "Fault", "check_chain", "verify_notebook"]

_MOST_FAULTS = 100
_NEEDED = ("schema", "test", "number", "time", "kind", "body", "follows")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was written: where, and what it means."""

    where: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What was checked, the last line of each chain, and every fault."""

    entries: int
    files: int
    heads: dict[str, Head]
    faults: tuple[Fault, ...]


def check_chain(rows: Iterable[tuple[int, str, bytes]], name: str) -> tuple[Head, list[Fault]]:
    """Check that lines follow one another and are what was hashed.

    Parameters
    ----------
    rows : iterable of (int, str, bytes)
        Number, digest and stored bytes, in order.
    name : str
        Of the chain, for messages.

    Returns
    -------
    head : Head
        Of the last line.
    faults : list of Fault
        At most a hundred.

    Examples
    --------
    >>> stored = b'{"follows":"' + FIRST.encode() + b'","number":1}'
    >>> head, faults = check_chain([(1, hashlib.sha256(stored).hexdigest(), stored)], "t")
    >>> head.count, faults
    (1, [])
    """
    faults: list[Fault] = []
    head = Head(0, FIRST)
    for number, digest, stored in rows:
        faults += _faults_of(number, digest, stored, head, name) if len(faults) < _MOST_FAULTS else []
        head = Head(number, digest)
    return head, faults


def _faults_of(number: int, digest: str, stored: bytes, before: Head, name: str) -> Iterator[Fault]:
    """Give what is wrong with one line."""
    where = f"{name}, line {number}"
    if hashlib.sha256(stored).hexdigest() != digest:
        yield Fault(where, "its bytes were changed after it was written")
    if number != before.count + 1:
        yield Fault(where, f"it follows line {before.count}; lines between them were taken out")
    try:
        data = json.loads(stored)
    except ValueError as error:
        place = getattr(error, "pos", 0)
        yield Fault(f"{where}, byte {place}", "it is not JSON any more")
        return
    if not isinstance(data, dict) or data.get("number") != number:
        yield Fault(where, "it belongs to another place")
    elif data.get("follows") != before.digest:
        yield Fault(where, "it does not follow the line before it; one of the two was put in later")


def verify_notebook(notebook: Notebook, *, progress: Callable[[int, int], None] | None = None) -> Checked:
    """Check everything that is stored.

    Parameters
    ----------
    notebook : Notebook
    progress : callable, optional
        Called with the tests done and all.

    Returns
    -------
    Checked
        Without faults where all is as it was written.

    Notes
    -----
    The stored bytes are hashed as they are, never written anew. Rows are read a thousand at a time.
    """
    tests = notebook.tests()
    heads: dict[str, Head] = {}
    faults: list[Fault] = []
    for done, test in enumerate(tests, 1):
        head, found = check_chain(notebook.stored_entries(test.id), f"test {test.number}")
        heads[test.id] = head
        faults += found
        if progress is not None:
            progress(done, len(tests))
    marks = notebook.landmarks()
    _, found = check_chain(((mark.number, mark.digest, mark.stored) for mark in marks), "the chain over all tests")
    faults += found
    faults += _landmark_faults(notebook, {test.number for test in tests}, [mark.stored for mark in marks])
    files = digests(notebook)
    for digest in files:
        faults += _file_faults(notebook, digest)
    return Checked(sum(head.count for head in heads.values()), len(files), heads, tuple(faults))


def _landmark_faults(notebook: Notebook, numbers: set[int], stored: list[bytes]) -> Iterator[Fault]:
    """Hold the chain over all tests against the tests that are there, and each landmark against its entry."""
    for each in stored:
        try:
            data = json.loads(each)
        except ValueError:
            continue  # said already
        if data.get("test_number") not in numbers:
            yield Fault(f"test {data.get('test_number')}", "it was opened here and is not here any more")
            continue
        found = [digest for number, digest, _ in notebook.stored_entries(data["test"]) if number == data["entry"]]
        if found != [data["digest"]]:
            where = f"test {data['test_number']}, line {data['entry']}"
            yield Fault(where, "the chain over all tests knows another line in this place")


def _file_faults(notebook: Notebook, digest: str) -> Iterator[Fault]:
    """Read a file to its end."""
    try:
        for _ in read_file(notebook, digest):
            pass
    except LedgerBroken:
        yield Fault(f"file {digest[:16]}", "its bytes were changed after it was attached")
