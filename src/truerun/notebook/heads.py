"""The last lines of a notebook, kept beside it: a chain alone does not notice that its end was cut off."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from truerun.errors import NotebookUnusable
from truerun.notebook.connection import sqlite_path

__all__ = ["Head", "Heads", "add_heads", "heads_place", "read_heads", "write_heads"]

_SCHEMA = "truerun/heads/1"
_line = json.JSONEncoder(separators=(",", ":")).encode


@dataclass(frozen=True, slots=True)
class Head:
    """How many entries a chain has, and the digest of the last one."""

    count: int
    digest: str


@dataclass(frozen=True, slots=True)
class Heads:
    """The heads of all tests by id, and of the chain over the whole notebook, as last acknowledged."""

    notebook: str
    tests: Mapping[str, Head] = field(default_factory=dict)
    landmarks: Head | None = None


def heads_place(place: str | os.PathLike[str], folder: Path) -> Path:
    """Give the file in which the heads of a notebook are kept.

    Parameters
    ----------
    place : path or address
        Of the notebook.
    folder : Path
        Where this person's heads of shared databases are kept.

    Returns
    -------
    Path
        Beside an SQLite file; for a database a file of this client, named by the address.

    Examples
    --------
    >>> heads_place("bench.notebook", Path("state")).name
    'bench.notebook.heads'
    """
    path = sqlite_path(place)
    if path is not None:
        return path.with_name(path.name + ".heads")
    return folder / f"{hashlib.sha256(os.fspath(place).encode()).hexdigest()[:16]}.heads"


def read_heads(path: Path) -> Heads | None:
    """Read the heads; None where none were kept yet.

    The first line holds them all, each further line the head of one chain; a line that was cut off is passed over.

    Raises
    ------
    NotebookUnusable
        If the file is there but cannot be read as heads.
    """
    try:
        first, *added = path.read_bytes().split(b"\n")
        data = json.loads(first)
        tests = {name: Head(int(count), str(digest)) for name, (count, digest) in data["tests"].items()}
        last = data["landmarks"]
        heads = Heads(str(data["notebook"]), tests, None if last is None else Head(int(last[0]), str(last[1])))
        return _with_added(heads, added[:-1])
    except FileNotFoundError:
        return None
    except OSError as error:
        why = (error.strerror or "it cannot be read").lower()
        raise NotebookUnusable(f"{path}", why, "Check your rights to it.") from error
    except (ValueError, KeyError, TypeError) as error:
        raise NotebookUnusable(
            f"{path}", "it does not hold the last lines of a notebook", "Move it away; opening then makes a new one."
        ) from error


def _with_added(heads: Heads, lines: list[bytes]) -> Heads:
    """Take the longest head of each chain; writers add their lines in any order."""
    tests, marks = dict(heads.tests), heads.landmarks
    for line in lines:
        try:
            name, count, digest = json.loads(line)
        except ValueError:
            continue
        before = tests.get(name) if name else marks
        if before is not None and before.count >= count:
            continue
        if name:
            tests[name] = Head(count, digest)
        else:
            marks = Head(count, digest)
    return Heads(heads.notebook, tests, marks)


def add_heads(path: Path, test: str, head: Head, landmarks: Head | None) -> None:
    """Add the heads after one more entry: one short write, which several programs may do at once.

    Raises
    ------
    OSError
        If the disk refuses; the entries themselves are stored by then.
    """
    added = [[test, head.count, head.digest]]
    if landmarks is not None:
        added.append(["", landmarks.count, landmarks.digest])
    lines = "".join([_line(each) + "\n" for each in added])
    file = os.open(path, os.O_WRONLY | os.O_APPEND)
    try:
        os.write(file, lines.encode())
    finally:
        os.close(file)


def write_heads(path: Path, heads: Heads) -> None:
    """Write the heads in one step, so that a kill leaves the old file or the new one.

    Raises
    ------
    OSError
        If the disk refuses; the entries themselves are stored by then.
    """
    last = heads.landmarks
    data = {
        "schema": _SCHEMA,
        "notebook": heads.notebook,
        "tests": {name: [head.count, head.digest] for name, head in heads.tests.items()},
        "landmarks": None if last is None else [last.count, last.digest],
    }
    fresh = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        fresh.write_bytes(_line(data).encode() + b"\n")
        fresh.replace(path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise
