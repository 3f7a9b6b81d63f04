"""Checking a notebook as it is stored: every byte of every entry, both chains, every file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from truerun.errors import LedgerBroken
from truerun.notebook.entries import FIRST, Kind
from truerun.notebook.files import digests, read_file
from truerun.notebook.heads import Head
from truerun.notebook.ledger import Notebook

__all__ = ["Checked", "Fault", "check_chain", "verify_notebook"]

_MOST_FAULTS = 100
_WITH_FILE = frozenset((Kind.RECORDING.value, Kind.PHOTO.value))


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


Line = tuple[int, str, bytes] | tuple[int, str, bytes, str | None]
"""Number, digest and stored bytes; where there is a fourth, the id of the sender that is kept beside them."""


def check_chain(rows: Iterable[Line], name: str, *, attached: set[str] | None = None) -> tuple[Head, list[Fault]]:
    """Check that lines follow one another and are what was hashed.

    Parameters
    ----------
    rows : iterable of Line
        In order.
    name : str
        Of the chain, for messages.
    attached : set of str, optional
        Takes the digests of the files that the lines name.

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
    count, last = 0, FIRST
    for row in rows:
        fault = _fault_of(row, count, last, attached)
        if fault is not None and len(faults) < _MOST_FAULTS:
            faults.append(Fault(f"{name}, line {row[0]}", fault))
        count, last = row[:2]
    return Head(count, last), faults


def _fault_of(row: Line, before: int, follows: str, attached: set[str] | None) -> str | None:
    """Say what is wrong with one line, None where nothing is."""
    number, digest, stored = row[:3]
    if hashlib.sha256(stored).hexdigest() != digest:
        return "its bytes or its digest were changed after it was written"
    if number != before + 1:
        return f"it follows line {before}; lines between them were taken out"
    try:
        data = json.loads(stored.decode())  # told that it is UTF-8, the reader need not find out
    except ValueError:
        return "it is not JSON"
    wrong = _wrong_place(data, row, follows)
    if wrong is None and attached is not None and data.get("kind") in _WITH_FILE:
        attached.add(str(data["body"]["digest"]))
    return wrong


def _wrong_place(data: object, row: Line, follows: str) -> str | None:
    """Say why what a line holds does not fit what stands beside and before it, None where it fits."""
    if not isinstance(data, dict) or data.get("number") != row[0]:
        return "it belongs to another place"
    if data.get("follows") != follows:
        return "it does not follow the line before it; one of the two was put in later"
    if len(row) == 4 and data.get("sender") != row[3]:
        return "the id of its sender, kept beside it, was changed after it was written"
    return None


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
    attached: set[str] = set()
    for done, test in enumerate(tests, 1):
        head, found = check_chain(notebook.stored_entries(test.id), f"test {test.number}", attached=attached)
        heads[test.id] = head
        faults += found
        if progress is not None:
            progress(done, len(tests))
    faults += _landmark_faults(notebook, {test.number for test in tests})
    files = digests(notebook)
    for digest in files:
        faults += _file_faults(notebook, digest)
    faults += [
        Fault(f"file {digest[:16]}", "it was attached and is not here any more") for digest in attached - set(files)
    ]
    return Checked(sum(head.count for head in heads.values()), len(files), heads, tuple(faults))


def _landmark_faults(notebook: Notebook, numbers: set[int]) -> list[Fault]:
    """Hold the chain over all tests against the tests that are there, and each of its lines against its entry."""
    marks = notebook.landmarks()
    _, faults = check_chain(((mark.number, mark.digest, mark.stored) for mark in marks), "the chain over all tests")
    if faults:
        return faults
    named: set[int] = set()
    for mark in marks:
        data = json.loads(mark.stored)
        number, entry = int(data["test_number"]), int(data["entry"])
        named.add(number)
        if number not in numbers:
            faults.append(Fault(f"test {number}", "it was opened here and is not here any more"))
        elif notebook.digest(data["test"], entry) != data["digest"]:
            where = f"test {number}, line {entry}"
            faults.append(Fault(where, "the chain over all tests knows another line in this place"))
    unnamed = sorted(numbers - named)
    return faults + [Fault(f"test {number}", "the chain over all tests does not know it") for number in unnamed]


def _file_faults(notebook: Notebook, digest: str) -> Iterator[Fault]:
    """Read a file to its end."""
    try:
        for _ in read_file(notebook, digest):
            pass
    except LedgerBroken:
        yield Fault(f"file {digest[:16]}", "its bytes were changed after it was attached")
