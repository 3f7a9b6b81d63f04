"""The notebook: tests, each an append-only chain of entries, and one chain over the whole."""

from __future__ import annotations

import os
import threading
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, Engine, bindparam, func, literal_column, select

from truerun.errors import HeadMoved, NotebookUnusable, ValueOutOfRange
from truerun.findings.finding import Finding
from truerun.notebook.connection import Prepared, close, connect, connected, reading, writing
from truerun.notebook.entries import FIRST, Entry, Kind, digest_of, read_entry, write_entry
from truerun.notebook.heads import Head, Heads, add_heads, heads_place, read_heads, write_heads
from truerun.notebook.opening import check_heads, prepare, stored_heads
from truerun.notebook.tables import ENTRIES, LANDMARKS, TESTS
from truerun.trial.seal import canonical_bytes

__all__ = ["Landmark", "Notebook", "TestRow", "open_notebook", "utc_now"]

LANDMARK_SCHEMA = "truerun/landmark/1"

_LONG_HEADS = 1_000_000
"""From this length on [B], opening writes the file of heads anew."""

_SENT = select(ENTRIES.c.number).where(ENTRIES.c.test == bindparam("of"), ENTRIES.c.sender == bindparam("by"))
_LAST = (
    select(ENTRIES.c.number, ENTRIES.c.digest)
    .where(ENTRIES.c.test == bindparam("of"))
    .order_by(ENTRIES.c.number.desc())
    .limit(literal_column("1"))
)
_STANDS = _LAST.add_columns(_SENT.correlate(None).scalar_subquery())
"""The head of a test, and the number of the entry that a sender's id belongs to: all that an append asks."""


def utc_now() -> datetime:
    """Give the time now, UTC with its offset."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Landmark:
    """One line of the chain over the whole notebook."""

    number: int
    digest: str
    stored: bytes


@dataclass(frozen=True, slots=True)
class TestRow:
    """One test of a notebook: id, number in the order of opening, and its head."""

    __test__ = False  # not a test of this project

    id: str
    number: int
    head: Head


class Notebook:
    """An open notebook; a context manager that leaves an SQLite file complete by itself.

    Made by :func:`open_notebook`. Every method that writes returns after the entry is on the disk. Methods may be
    called from several threads; other programs may have the same notebook open.

    Parameters
    ----------
    engine : Engine
        To the store, which was prepared.
    place : path or address
        For messages.
    identity : str
        Id of the notebook.
    heads_file : Path
        Where the heads are kept.
    clock : callable
        Gives the time, with its zone.
    findings : tuple of Finding
        What opening noticed.
    """

    def __init__(
        self,
        engine: Engine,
        place: str | os.PathLike[str],
        identity: str,
        *,
        heads_file: Path,
        clock: Callable[[], datetime],
        findings: tuple[Finding, ...],
    ) -> None:
        self.engine = engine
        self.place = os.fspath(place)
        self.identity = identity
        self.findings = findings
        self._clock = clock
        self._heads_file = heads_file
        self._one_at_a_time = threading.Lock()
        self._writer: Connection | None = None
        self._stands = Prepared(_STANDS, engine.dialect)
        self._add = Prepared(ENTRIES.insert(), engine.dialect)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the store."""
        with self._one_at_a_time:
            if self._writer is not None:
                self._writer.close()
                self._writer = None
        close(self.engine)

    def time(self) -> str:
        """Give the time now as an entry writes it."""
        return self._clock().astimezone(UTC).isoformat(timespec="milliseconds")

    def open_test(self, body: Mapping[str, Any]) -> Entry:
        """Open a test: its first entry, and a line in the chain over the whole notebook.

        Parameters
        ----------
        body : mapping
            Of the first entry.

        Returns
        -------
        Entry
        """
        name = str(uuid.uuid4())
        with self._writing() as connection:
            number = (connection.scalar(select(func.max(TESTS.c.number))) or 0) + 1
            connection.execute(TESTS.insert().values(id=name, number=number))
            entry = self._put(connection, name, Head(0, FIRST), Kind.OPENED, body)
            mark = self._landmark(connection, entry)
        self._remember(entry, mark)
        return entry

    def append(
        self,
        test: str,
        kind: Kind,
        body: Mapping[str, Any],
        *,
        sender: str | None = None,
        head: str | None = None,
    ) -> Entry:
        """Append an entry to a test.

        Parameters
        ----------
        test : str
            Id of the test.
        kind : Kind
            Observations are always taken; an edit needs ``head``.
        body : mapping
            Plain data.
        sender : str, optional
            Id given by whoever sends; the same id again gives the entry that is there.
        head : str, optional
            Digest of the entry from which an edit was made.

        Returns
        -------
        Entry
            On the disk.

        Raises
        ------
        HeadMoved
            If an edit was made from an older state; its body is in ``draft``.
        NotebookUnusable
            If the store refuses.
        ValueOutOfRange
            If there is no such test, an edit quotes no head, or the body cannot be stored.
        """
        if kind.edits and head is None:
            raise ValueOutOfRange(f'An entry of kind "{kind.value}"', "without a head", "made from a known head")
        with self._writing() as connection:
            stands = self._stands.send(connection, {"of": test, "by": sender}).fetchone()
            if stands is None:
                raise _no_such(test)
            number, digest, sent = stands
            before = None if sent is None else self._entry(connection, test, sent)
            if before is not None:
                return before
            last = Head(number, digest)
            if head is not None and head != last.digest:
                raise HeadMoved(test, head, last.digest, dict(body))
            entry = self._put(connection, test, last, kind, body, sender=sender)
            mark = self._landmark(connection, entry) if kind.landmark else None
        self._remember(entry, mark)
        return entry

    def take_over(self, entries: Sequence[Entry]) -> bool:
        """Take over a whole test from elsewhere, every byte as it was stored there.

        Parameters
        ----------
        entries : sequence of Entry
            All of one test, in order, checked before.

        Returns
        -------
        bool
            False where the same test is here already, to the same last line.

        Raises
        ------
        HeadMoved
            If the test is here with another history.
        """
        test, last = entries[-1].test, entries[-1]
        with self._writing() as connection:
            here = self._entry(connection, test, 1)
            if here is not None:
                head = self._head(connection, test)
                if head.digest == last.digest:
                    return False
                raise HeadMoved(test, last.digest, head.digest, {})
            number = (connection.scalar(select(func.max(TESTS.c.number))) or 0) + 1
            connection.execute(TESTS.insert().values(id=test, number=number))
            rows = [
                {
                    "test": test,
                    "number": each.number,
                    "digest": each.digest,
                    "sender": each.sender,
                    "stored": each.stored,
                }
                for each in entries
            ]
            connection.execute(ENTRIES.insert(), rows)
            mark = self._landmark(connection, last)
        self._remember(last, mark)
        return True

    def tests(self) -> list[TestRow]:
        """List the tests in the order in which they were opened, each with its head."""
        # one look into the index for each test, however long it is
        of = ENTRIES.alias()
        count = select(func.max(of.c.number)).where(of.c.test == TESTS.c.id).correlate(TESTS).scalar_subquery()
        query = (
            select(TESTS.c.id, TESTS.c.number, ENTRIES.c.number, ENTRIES.c.digest)
            .select_from(TESTS)
            .join(ENTRIES, (ENTRIES.c.test == TESTS.c.id) & (ENTRIES.c.number == count))
            .order_by(TESTS.c.number)
        )
        with reading(self.engine, self.place) as connection:
            return [TestRow(row[0], row[1], Head(row[2], row[3])) for row in connection.execute(query)]

    def head(self, test: str) -> Head:
        """Give how many entries a test has, and the digest of the last one."""
        with reading(self.engine, self.place) as connection:
            return self._head(connection, test)

    def entries(self, test: str, after: int = 0, *, first: int | None = None, last: int | None = None) -> list[Entry]:
        """Read entries of a test in order.

        Parameters
        ----------
        test : str
            Id of the test.
        after : int
            Only those with a higher number.
        first, last : int, optional
            Only so many, from the beginning or from the end.

        Returns
        -------
        list of Entry

        Raises
        ------
        LedgerBroken
            If an entry is not what was hashed.
        """
        query = select(ENTRIES).where(ENTRIES.c.test == test, ENTRIES.c.number > after)
        query = query.order_by(ENTRIES.c.number.desc() if last is not None else ENTRIES.c.number)
        if last is not None or first is not None:
            query = query.limit(first if last is None else last)
        with reading(self.engine, self.place) as connection:
            rows = connection.execute(query).all()
        found = [read_entry(row.test, row.number, bytes(row.stored), row.digest) for row in rows]
        return found[::-1] if last is not None else found

    def sent(self, test: str, sender: str) -> Entry | None:
        """Give the entry that was stored under an id of the sender, None where there is none."""
        with reading(self.engine, self.place) as connection:
            return self._sent(connection, test, sender)

    def stored_entries(self, test: str) -> Iterator[tuple[int, str, bytes, str | None]]:
        """Give number, digest, bytes and sender of every entry as stored, one at a time, nothing checked."""
        query = (
            select(ENTRIES.c.number, ENTRIES.c.digest, ENTRIES.c.stored, ENTRIES.c.sender)
            .where(ENTRIES.c.test == test)
            .order_by(ENTRIES.c.number)
        )
        with reading(self.engine, self.place) as connection:
            for row in connection.execution_options(yield_per=1000).execute(query):
                yield row[0], row[1], bytes(row[2]), row[3]

    def digest(self, test: str, number: int) -> str | None:
        """Give the digest of one entry as stored, None where there is none."""
        query = select(ENTRIES.c.digest).where(ENTRIES.c.test == test, ENTRIES.c.number == number)
        with reading(self.engine, self.place) as connection:
            return connection.scalar(query)

    def landmarks(self) -> list[Landmark]:
        """Read the chain over the whole notebook, nothing checked."""
        query = select(LANDMARKS).order_by(LANDMARKS.c.number)
        with reading(self.engine, self.place) as connection:
            return [Landmark(row.number, row.digest, bytes(row.stored)) for row in connection.execute(query)]

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """Begin to write, on the connection that is kept for it."""
        with self._one_at_a_time:
            try:
                if self._writer is None:
                    self._writer = connected(self.engine, self.place)
                with writing(self.engine, self.place, self._writer) as connection:
                    yield connection
            except NotebookUnusable:  # a server that went away takes the connection along; the next try gets a new one
                if self._writer is not None:
                    self._writer.invalidate()
                    self._writer.close()
                    self._writer = None
                raise

    def _put(
        self,
        connection: Connection,
        test: str,
        last: Head,
        kind: Kind,
        body: Mapping[str, Any],
        *,
        sender: str | None = None,
    ) -> Entry:
        """Write the next entry of a test."""
        entry = write_entry(test, last.count + 1, kind, body, time=self.time(), follows=last.digest, sender=sender)
        self._add.send(
            connection,
            {
                "test": test,
                "number": entry.number,
                "digest": entry.digest,
                "sender": sender,
                "stored": entry.stored,
            },
        )
        return entry

    def _landmark(self, connection: Connection, entry: Entry) -> Head:
        """Write the next line of the chain over the whole notebook."""
        query = select(LANDMARKS.c.number, LANDMARKS.c.digest).order_by(LANDMARKS.c.number.desc()).limit(1)
        row = connection.execute(query).first()
        number, follows = (row[0] + 1, row[1]) if row is not None else (1, FIRST)
        tests = connection.scalar(select(TESTS.c.number).where(TESTS.c.id == entry.test))
        stored = canonical_bytes(
            {
                "schema": LANDMARK_SCHEMA,
                "number": number,
                "time": entry.time,
                "event": entry.kind.value,
                "test": entry.test,
                "test_number": tests,
                "entry": entry.number,
                "digest": entry.digest,
                "follows": follows,
            }
        )
        connection.execute(LANDMARKS.insert().values(number=number, digest=digest_of(stored), stored=stored))
        return Head(number, digest_of(stored))

    def _head(self, connection: Connection, test: str) -> Head:
        """Give the head of a test."""
        row = connection.execute(_LAST, {"of": test}).first()
        if row is None:
            raise _no_such(test)
        return Head(row[0], row[1])

    def _entry(self, connection: Connection, test: str, number: int) -> Entry | None:
        """Read one entry, None where there is none."""
        query = select(ENTRIES).where(ENTRIES.c.test == test, ENTRIES.c.number == number)
        row = connection.execute(query).first()
        return None if row is None else read_entry(row.test, row.number, bytes(row.stored), row.digest)

    def _sent(self, connection: Connection, test: str, sender: str) -> Entry | None:
        """Read the entry that a sender's id belongs to, None where there is none."""
        number = connection.scalar(_SENT, {"of": test, "by": sender})
        return None if number is None else self._entry(connection, test, number)

    def _remember(self, entry: Entry, mark: Head | None) -> None:
        """Write the head beside the store; where the disk refuses that, the entry is stored all the same."""
        with suppress(OSError):
            add_heads(self._heads_file, entry.test, Head(entry.number, entry.digest), mark)


def _no_such(test: str) -> ValueOutOfRange:
    """Say that a test is not here."""
    return ValueOutOfRange("The test", f'"{test}"', "one of this notebook", "truerun show lists them.")


def open_notebook(
    place: str | os.PathLike[str],
    *,
    make: bool = True,
    clock: Callable[[], datetime] = utc_now,
    heads_folder: Path | None = None,
) -> Notebook:
    """Open a notebook, or make a new one.

    Parameters
    ----------
    place : path or address
        An SQLite file, or ``postgresql://...`` for a notebook that several share.
    make : bool
        Whether one that is not there is made.
    clock : callable
        Gives the time, with its zone.
    heads_folder : Path, optional
        Where heads of shared databases are kept; None: a folder of this person.

    Returns
    -------
    Notebook
        ``findings`` hold what opening noticed.

    Raises
    ------
    NotebookUnusable
        If it is no notebook, one of a newer truerun, damaged, cut, or cannot be read or written.
    """
    engine = connect(place)
    try:
        identity = prepare(engine, place, make=make, made=clock())
        folder = heads_folder or Path.home() / ".local" / "state" / "truerun"
        if engine.dialect.name != "sqlite":
            folder.mkdir(parents=True, exist_ok=True)
        kept = heads_place(place, folder)
        heads = read_heads(kept)
        findings = check_heads(engine, place, identity, heads)
        _keep_heads(engine, place, kept, identity, heads)
    except BaseException:
        engine.dispose()
        raise
    return Notebook(engine, place, identity, heads_file=kept, clock=clock, findings=findings)


def _keep_heads(engine: Engine, place: str | os.PathLike[str], kept: Path, identity: str, before: Heads | None) -> None:
    """Begin the file of heads where there is none; those of another notebook are put aside, not written over."""
    if before is not None and before.notebook == identity and kept.stat().st_size < _LONG_HEADS:
        return
    with suppress(OSError):
        if before is not None and before.notebook != identity:
            kept.replace(kept.with_name(f"{kept.name}.{before.notebook[:8]}"))
        write_heads(kept, stored_heads(engine, place, identity))
