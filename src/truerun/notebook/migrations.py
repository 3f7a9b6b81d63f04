"""Small numbered changes to the tables; a notebook of every release still opens.

Version 1: the first tables.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, update

from truerun.notebook.tables import NOTEBOOK

__all__ = ["STEPS", "VERSION", "migrate"]

STEPS: dict[int, Callable[[Connection], None]] = {}
"""What leads from the version before to each version."""

VERSION = 1


def migrate(connection: Connection, version: int) -> None:
    """Bring the tables up to date, step by step; ledgers are never touched.

    Parameters
    ----------
    connection : Connection
        In a transaction: all steps or none.
    version : int
        What the tables are.
    """
    for step in range(version + 1, VERSION + 1):
        STEPS[step](connection)
    connection.execute(update(NOTEBOOK).values(version=VERSION))
