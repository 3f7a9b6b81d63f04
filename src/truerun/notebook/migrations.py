"""Small numbered changes to the tables; a notebook of every release still opens.

Version 1: the first tables.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Connection, select, update

from truerun.notebook.tables import NOTEBOOK

__all__ = ["STEPS", "VERSION", "migrate"]

STEPS: dict[int, Callable[[Connection], None]] = {}
"""What leads from the version before to each version."""

VERSION = 1


def migrate(connection: Connection) -> None:
    """Bring the tables up to date, step by step; ledgers are never touched.

    Parameters
    ----------
    connection : Connection
        In a transaction of its own: all steps or none, and no second program at the same time.
    """
    version = connection.scalar(select(NOTEBOOK.c.version)) or 0
    for step in range(version + 1, VERSION + 1):
        STEPS[step](connection)
    connection.execute(update(NOTEBOOK).values(version=VERSION))
