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

__all__ = ["Head", "Heads", "heads_place", "read_heads", "write_heads"]

_SCHEMA = "truerun/heads/1"


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

    def with_test(self, test: str, head: Head, landmarks: Head | None) -> Heads:
        """Give the heads after one more entry."""
        return Heads(self.notebook, {**self.tests, test: head}, landmarks or self.landmarks)


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

    Raises
    ------
    NotebookUnusable
        If the file is there but cannot be read as heads.
    """
    try:
        data = json.loads(path.read_bytes())
        tests = {name: Head(int(count), str(digest)) for name, (count, digest) in data["tests"].items()}
        last = data["landmarks"]
        return Heads(str(data["notebook"]), tests, None if last is None else Head(int(last[0]), str(last[1])))
    except FileNotFoundError:
        return None
    except OSError as error:
        why = (error.strerror or "it cannot be read").lower()
        raise NotebookUnusable(f"{path}", why, "Check your rights to it.") from error
    except (ValueError, KeyError, TypeError) as error:
        raise NotebookUnusable(
            f"{path}", "it does not hold the last lines of a notebook", "Move it away; opening then makes a new one."
        ) from error


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
    fresh.write_bytes(json.dumps(data, separators=(",", ":")).encode())
    fresh.replace(path)
