"""Reports that were written: the notebook keeps each page byte for byte, and a line says which it is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from truerun.errors import PlanBroken
from truerun.notebook.entries import Kind
from truerun.notebook.files import digests, read_file, store_file
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState

__all__ = ["keep_report", "kept_report"]


def keep_report(notebook: Notebook, test: str, page: str, made: datetime) -> None:
    """Keep a page, and write down its length, its SHA-256 and the time that stands on it."""
    digest, size = store_file(notebook, [page.encode()], "text/html")
    notebook.append(test, Kind.REPORTED, {"bytes": size, "digest": digest, "made": made.isoformat()})


def kept_report(notebook: Notebook, state: TestState) -> Iterator[bytes]:
    """Give the report that was written last, as it was written, piece by piece.

    Raises
    ------
    PlanBroken
        If none was written, or its page is kept elsewhere.
    """
    if state.report is None or state.report not in digests(notebook):
        found = "none was written" if state.report is None else "its page is not kept in this notebook"
        raise PlanBroken("A report that was written can be read", found, "Write it anew.")
    return read_file(notebook, state.report)
