"""Opening the store of a notebook: an SQLite file or a PostgreSQL database, with settings that lose nothing."""

from __future__ import annotations

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import URL, ClauseElement, Connection, Dialect, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError, OperationalError, SQLAlchemyError

from truerun.errors import NotebookUnusable

__all__ = [
    "Prepared",
    "close",
    "connect",
    "connected",
    "reading",
    "said",
    "sqlite_path",
    "sqlite_with_reset_race",
    "writing",
]

BUSY_SECONDS = 30.0
_LOCK = 7_241_988_001
"""Number of the lock that writers of one PostgreSQL database share; chosen freely."""

_FIXED = ((3, 44, 6), (3, 50, 7), (3, 51, 3))
"""SQLite versions from which on, in their line, a reset of the write-ahead log cannot race."""


def sqlite_path(place: str | os.PathLike[str]) -> Path | None:
    """Give the file of a notebook, None where ``place`` is the address of a PostgreSQL database."""
    name = os.fspath(place)
    return None if name.startswith(("postgresql:", "postgresql+")) else Path(name)


def connect(place: str | os.PathLike[str]) -> Engine:
    """Make an engine for a notebook.

    Parameters
    ----------
    place : path or address
        An SQLite file, or ``postgresql://...``.

    Returns
    -------
    Engine
        Nothing was read yet.

    Raises
    ------
    NotebookUnusable
        If the address cannot be used.
    """
    path = sqlite_path(place)
    if path is not None:
        engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": BUSY_SECONDS})
        event.listen(engine, "connect", _settings)
        event.listen(engine, "begin", _begin)
        return engine
    try:
        address = make_url(os.fspath(place)).set(drivername="postgresql+psycopg")
        return create_engine(address)
    except (SQLAlchemyError, ImportError, ValueError) as error:
        why = "the driver for PostgreSQL is not installed" if isinstance(error, ImportError) else "it cannot be read"
        raise NotebookUnusable(
            "The address of the notebook", why, "Write it like postgresql://user@host/name."
        ) from error


class Prepared:
    """A statement of SQLAlchemy, written out once for a kind of store and from then on sent as it is.

    For what is asked at every append; it takes a quarter of the time and gives the driver's own rows.

    Parameters
    ----------
    statement : ClauseElement
        With a name for each value that is given when it is sent.
    dialect : Dialect
        Of the store.
    """

    def __init__(self, statement: ClauseElement, dialect: Dialect) -> None:
        compiled: Any = statement.compile(dialect=dialect)
        self._text = str(compiled)
        self._set: dict[str, object] = dict(compiled.params)
        self._order: list[str] | None = compiled.positiontup

    def send(self, connection: Connection, values: dict[str, object]) -> Any:
        """Send it within the transaction that was begun; give the driver's cursor."""
        every = self._set | values
        cursor = connection.connection.cursor()
        cursor.execute(self._text, every if self._order is None else [every[name] for name in self._order])
        return cursor


def connected(engine: Engine, name: str) -> Connection:
    """Take a connection to keep, and say in a sentence where the store gives none."""
    try:
        return engine.connect()
    except (DBAPIError, _driver_error(engine)) as error:
        raise said(error, name) from error


@contextmanager
def writing(engine: Engine, name: str, held: Connection | None = None) -> Iterator[Connection]:
    """Begin a transaction that no other writer runs into; it is stored to the disk when the block ends.

    Parameters
    ----------
    engine : Engine
        To the store.
    name : str
        Of the notebook, for messages.
    held : Connection, optional
        One that the caller keeps for writing; None: one is taken and given back.

    Raises
    ------
    NotebookUnusable
        If the store refuses: disk full, read-only, gone, locked for too long.
    """
    try:
        with nullcontext(held) if held is not None else engine.connect() as connection, connection.begin():
            if engine.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
            yield connection
    except (DBAPIError, _driver_error(engine)) as error:
        raise said(error, name) from error


@contextmanager
def reading(engine: Engine, name: str) -> Iterator[Connection]:
    """Begin a transaction that only reads, and sees one state of the store throughout."""
    try:
        with engine.connect() as connection:
            options = {"reading": True}
            if engine.dialect.name == "postgresql":
                options |= {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}  # type: ignore[dict-item]
            held = connection.execution_options(**options)
            with held.begin():
                yield held
    except (DBAPIError, _driver_error(engine)) as error:
        raise said(error, name) from error


def _driver_error(engine: Engine) -> type[Exception]:
    """Give the family of what the driver raises where it is asked directly."""
    return engine.dialect.loaded_dbapi.Error


def said(error: Exception, name: str) -> NotebookUnusable:
    """Turn what a store says into a sentence for a person."""
    told = error.orig if isinstance(error, DBAPIError) else error
    text_ = str(told).lower()
    for sign, found, remedy in _SENTENCES:
        if sign in text_:
            return NotebookUnusable(name, found, remedy)
    return NotebookUnusable(name, f"the store says: {told}", "What was acknowledged before is stored. Try again.")


_SENTENCES = (
    ("no space left", "the disk is full", "Make room; what was acknowledged before is stored."),
    ("disk is full", "the disk is full", "Make room; what was acknowledged before is stored."),
    ("readonly", "it can only be read", "Give yourself the right to write, or copy it to another place."),
    ("read-only", "it can only be read", "Give yourself the right to write, or copy it to another place."),
    ("unable to open", "it cannot be opened or made there", "Check the folder and your rights to it."),
    ("not a database", "it is no truerun notebook", "Name the notebook, or a file that is not there yet."),
    ("malformed", "its file is damaged", "Open a copy, or import the last bundle into a new notebook."),
    ("locked", "another program kept it locked for half a minute", "Close the other program, or try again."),
    (
        "disk i/o error",
        "the disk did not take or give the data",
        "Check the disk; what was acknowledged before counts.",
    ),
    ("connection", "the database cannot be reached", "Check the address, and that the server runs."),
)


def sqlite_with_reset_race() -> str | None:
    """Name the SQLite version if a reset of its log can race with a writer; None where that was mended.

    References
    ----------
    SQLite release notes 3.51.3, 3.50.7, 3.44.6 (WAL-reset race).
    """
    version = sqlite3.sqlite_version_info
    same_line = [fixed for fixed in _FIXED if fixed[:2] == version[:2]]
    mended = version >= same_line[0] if same_line else version > _FIXED[-1]
    return None if mended else sqlite3.sqlite_version


def _settings(connection: Any, record: object) -> None:  # noqa: ARG001  the signature is SQLAlchemy's
    """Set what SQLite needs so that an acknowledged entry survives a power cut, and a foreign file does no harm."""
    connection.isolation_level = None  # transactions are begun by _begin
    for setting in (
        "journal_mode=WAL",
        "synchronous=FULL",
        "trusted_schema=OFF",
        "cell_size_check=ON",
        "mmap_size=0",
        "foreign_keys=ON",
        *(("fullfsync=ON", "checkpoint_fullfsync=ON") if sys.platform == "darwin" else ()),
    ):
        connection.execute(f"PRAGMA {setting}").close()


def _begin(connection: Connection) -> None:
    """Begin as a writer at once, so that two writers wait for each other instead of failing."""
    kind = "BEGIN" if connection.get_execution_options().get("reading") else "BEGIN IMMEDIATE"
    connection.connection.cursor().execute(kind).close()


def close(engine: Engine) -> None:
    """Close; an SQLite file is then complete by itself and can be copied."""
    if engine.dialect.name == "sqlite":
        try:
            with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except (OperationalError, sqlite3.OperationalError):
            pass  # another program still reads, or the disk is full: the log stays beside the file, nothing is lost
    engine.dispose()
