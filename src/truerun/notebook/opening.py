"""What is checked whenever a notebook is opened: that it is one, of this age, and that its end was not cut off."""

from __future__ import annotations

import os
import uuid
from datetime import UTC, datetime

from sqlalchemy import Engine, func, inspect, select
from sqlalchemy.exc import DBAPIError

from truerun.errors import NotebookUnusable
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.notebook.connection import reading, said, sqlite_path, sqlite_with_reset_race, writing
from truerun.notebook.heads import Head, Heads
from truerun.notebook.migrations import VERSION, migrate
from truerun.notebook.tables import ENTRIES, LANDMARKS, METADATA, NOTEBOOK

__all__ = ["check_heads", "prepare", "stored_heads"]


def prepare(engine: Engine, place: str | os.PathLike[str], *, make: bool, made: datetime) -> str:
    """Make the tables where they are not there, bring older ones up to date.

    Parameters
    ----------
    engine : Engine
    place : path or address
        For messages.
    make : bool
        Whether a new notebook may be made.
    made : datetime
        The time now.

    Returns
    -------
    str
        Id of the notebook.

    Raises
    ------
    NotebookUnusable
        If it is no notebook, one of a newer truerun, or cannot be used.
    """
    name = os.fspath(place)
    path = sqlite_path(place)
    if path is not None and not make and not path.exists():
        raise NotebookUnusable(name, "there is no such file", "Make a notebook with truerun new.")
    try:
        tables = set(inspect(engine).get_table_names())
    except DBAPIError as error:
        raise said(error, name) from error
    ours = {table for table in tables if table.startswith("truerun_")}
    if tables and not ours and path is not None:
        raise NotebookUnusable(name, "it is a database of another program", "Name another file.")
    if NOTEBOOK.name not in ours and not make:
        raise NotebookUnusable(name, "it is no truerun notebook", "Name the notebook that you mean.")
    if NOTEBOOK.name not in ours:
        _make(engine, name, made)
    with reading(engine, name) as connection:
        row = connection.execute(select(NOTEBOOK)).first()
    if row is None:
        raise NotebookUnusable(name, "it was not made to the end", "Delete it and begin again; it holds nothing.")
    if row.version > VERSION:
        found = f"it was written by a newer truerun (tables {row.version}, this one knows {VERSION})"
        raise NotebookUnusable(name, found, "Install the newer truerun; nothing was changed.")
    if row.version < VERSION:
        with writing(engine, name) as connection:
            migrate(connection)
    return str(row.id)


def check_heads(
    engine: Engine, place: str | os.PathLike[str], identity: str, kept: Heads | None
) -> tuple[Finding, ...]:
    """Hold the store against the heads that were kept beside it.

    Parameters
    ----------
    engine : Engine
    place : path or address
        For messages.
    identity : str
        Id of the notebook.
    kept : Heads or None
        None where none were kept.

    Returns
    -------
    tuple of Finding
        A notebook without kept heads, and an SQLite whose log can race.

    Raises
    ------
    NotebookUnusable
        If entries that were acknowledged are not there any more.
    """
    name = os.fspath(place)
    found: list[Finding] = []
    version = sqlite_with_reset_race() if engine.dialect.name == "sqlite" else None
    if version is not None:
        found.append(finding("sqlite-can-race", version=version))
    with reading(engine, name) as connection:
        if kept is None or kept.notebook != identity:
            if connection.execute(select(ENTRIES.c.number).limit(1)).first() is not None:
                found.append(finding("heads-unknown", place=name))
            return tuple(found)
        for test, head in kept.tests.items():
            query = select(ENTRIES.c.digest).where(ENTRIES.c.test == test, ENTRIES.c.number == head.count)
            _require_head(connection.scalar(query), head, name, f"test {test}")
        if kept.landmarks is not None:
            query = select(LANDMARKS.c.digest).where(LANDMARKS.c.number == kept.landmarks.count)
            _require_head(connection.scalar(query), kept.landmarks, name, "the chain over all tests")
    return tuple(found)


def stored_heads(engine: Engine, place: str | os.PathLike[str], identity: str) -> Heads:
    """Give the heads of all chains as they are stored now."""
    last = select(ENTRIES.c.test, func.max(ENTRIES.c.number).label("count")).group_by(ENTRIES.c.test).subquery()
    query = select(ENTRIES.c.test, ENTRIES.c.number, ENTRIES.c.digest).join(
        last, (ENTRIES.c.test == last.c.test) & (ENTRIES.c.number == last.c.count)
    )
    marks = select(LANDMARKS.c.number, LANDMARKS.c.digest).order_by(LANDMARKS.c.number.desc()).limit(1)
    with reading(engine, os.fspath(place)) as connection:
        tests = {row[0]: Head(row[1], row[2]) for row in connection.execute(query)}
        mark = connection.execute(marks).first()
    return Heads(identity, tests, None if mark is None else Head(mark[0], mark[1]))


def _require_head(stored: str | None, head: Head, name: str, what: str) -> None:
    """Refuse a chain that ends before its head, or has another line there."""
    remedy = "Use a copy from before, or import the last bundle into a new notebook; keep this file as it is."
    if stored is None:
        lost = f"the end of {what} was cut off: line {head.count}, which was stored once, is not there any more"
        raise NotebookUnusable(name, lost, remedy)
    if stored != head.digest:
        changed = f"line {head.count} of {what} is not the one that was stored"
        raise NotebookUnusable(name, changed, remedy)


def _make(engine: Engine, name: str, made: datetime) -> None:
    """Make the tables and the row that names the notebook, all in one step."""
    try:
        with writing(engine, name) as connection:
            if NOTEBOOK.name in inspect(connection).get_table_names():
                return
            METADATA.create_all(connection)
            time = made.astimezone(UTC).isoformat(timespec="seconds")
            connection.execute(NOTEBOOK.insert().values(id=str(uuid.uuid4()), version=VERSION, made=time))
    except DBAPIError as error:
        raise said(error, name) from error
