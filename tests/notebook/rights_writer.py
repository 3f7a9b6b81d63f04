"""A program of its own that gives up the rights of root and then tries to write; it says what it is told.

Started as ``python rights_writer.py PLACE TEST``; with ``new`` for the test it makes a notebook.
"""

import os
import sys

from sqlalchemy import create_engine

from truerun.errors import TruerunError
from truerun.notebook.entries import FIRST, Kind, write_entry
from truerun.notebook.ledger import open_notebook

NOBODY = 65534


def main(place: str, test: str) -> int:
    """Append one line, or make a notebook; 0 where it was taken, 2 after a sentence."""
    create_engine("sqlite://").dispose()
    write_entry("t", 1, Kind.NOTE, {"words": "x"}, time="", follows=FIRST)  # all is imported before the rights are gone
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    try:
        with open_notebook(place, make=test == "new") as book:
            if test == "new":
                book.open_test({"name": "the arc"})
            else:
                book.append(test, Kind.NOTE, {"words": "calm"})
    except TruerunError as error:
        sys.stdout.write(f"{error}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
