"""A program of its own that appends to a notebook and writes down, beside it, what was acknowledged.

Started as ``python disk_writer.py append FOLDER TEST COUNT SYNCHRONOUS PAGES``; each acknowledged line goes into
``FOLDER/told``, and the log of SQLite is taken into the notebook at so many pages.
Started as ``python disk_writer.py each FOLDER TEST COUNT PLACES HOW`` it appends once in each of the folders
``FOLDER/1``, ``FOLDER/2``, ..., where the first, second, ... thing that is asked of the disk fails or ends the program.
"""

import os
import sys
from typing import Any

from truerun.errors import TruerunError
from truerun.notebook import connection
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import Notebook, open_notebook


def changed(settings: Any, name: str, value: str) -> Any:
    """Give the settings with one of another value."""

    def set_up(link: Any, record: object) -> None:
        settings(link, record)
        link.execute(f"PRAGMA {name}={value}").close()

    return set_up


def append(folder: str, test: str, count: int) -> int:
    """Append and say so; after a refusal go on with the same notebook."""
    told = os.open(f"{folder}/told", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        with open_notebook(f"{folder}/bench.notebook", make=False) as book:
            return sum(refused(book, test, told, at) for at in range(count))
    except TruerunError as error:
        os.write(1, f"- {error}\n".encode())
        return 100


def refused(book: Notebook, test: str, told: int, at: int) -> bool:
    """Append one line; say it, or the sentence of the refusal."""
    try:
        entry = book.append(test, Kind.TAP, {"run": "r", "at": float(at), "words": "x" * 900})
    except TruerunError as error:
        os.write(1, f"- {error}\n".encode())
        return True
    os.write(told, f"{entry.number} {entry.digest}\n".encode())
    return False


def each(folder: str, test: str, count: int, places: int, how: str) -> int:
    """Append in many folders, in a process each; say how each ended."""
    for place in range(1, places + 1):
        child = os.fork()
        if child == 0:
            named = {"DISK_FOLDER": f"{folder}/{place}", "DISK_FAIL_AT": f"{place}", "DISK_FAIL_HOW": how}
            os.environ.update(named)
            os._exit(append(named["DISK_FOLDER"], test, count))
        os.write(1, f"{os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])}\n".encode())
    return 0


if __name__ == "__main__":
    what_, folder_, test_, count_, *more_ = sys.argv[1:]
    if what_ == "each":
        sys.exit(each(folder_, test_, int(count_), int(more_[0]), more_[1]))
    for name_, value_ in zip(("synchronous", "wal_autocheckpoint"), more_, strict=True):
        vars(connection)["_settings"] = changed(vars(connection)["_settings"], name_, value_)
    sys.exit(append(folder_, test_, int(count_)))
