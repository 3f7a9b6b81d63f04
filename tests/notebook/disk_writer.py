"""A program of its own that appends to a notebook and writes down, beside it, what was acknowledged.

Started as ``python disk_writer.py FOLDER TEST COUNT SYNCHRONOUS``; each acknowledged line goes into ``FOLDER/told``.
"""

import os
import sys
from typing import Any

from truerun.errors import TruerunError
from truerun.notebook import connection
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import open_notebook


def lowered(settings: Any, level: str) -> Any:
    """Give the settings with another level of syncing."""

    def set_up(link: Any, record: object) -> None:
        settings(link, record)
        link.execute(f"PRAGMA synchronous={level}").close()

    return set_up


def main(folder: str, test: str, count: int, level: str) -> int:
    """Append and say so."""
    if level != "FULL":
        vars(connection)["_settings"] = lowered(vars(connection)["_settings"], level)
    told = os.open(f"{folder}/told", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        with open_notebook(f"{folder}/bench.notebook", make=False) as book:
            for at in range(count):
                entry = book.append(test, Kind.TAP, {"run": "r", "at": float(at), "words": "x" * 900})
                os.write(told, f"{entry.number} {entry.digest}\n".encode())
    except TruerunError as error:
        sys.stdout.write(f"{error}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]))
