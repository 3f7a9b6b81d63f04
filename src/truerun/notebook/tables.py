"""The tables of a notebook, the same on SQLite and on PostgreSQL."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    UniqueConstraint,
)

__all__ = ["CHUNKS", "ENTRIES", "LANDMARKS", "METADATA", "NOTEBOOK", "PROJECTIONS", "RECORDINGS", "TESTS"]

_DIGEST = 64
_ID = 36

METADATA = MetaData()

NOTEBOOK = Table(
    "truerun_notebook",
    METADATA,
    Column("id", String(_ID), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("made", String(40), nullable=False),
)
"""One row: which notebook this is, and the version of its tables."""

TESTS = Table(
    "truerun_tests",
    METADATA,
    Column("id", String(_ID), primary_key=True),
    Column("number", Integer, nullable=False, unique=True),
)
"""One row a test, numbered in the order in which they were opened."""

ENTRIES = Table(
    "truerun_entries",
    METADATA,
    Column("test", String(_ID), nullable=False),
    Column("number", Integer, nullable=False),
    Column("digest", String(_DIGEST), nullable=False),
    Column("sender", String(_DIGEST)),
    Column("stored", LargeBinary, nullable=False),
    PrimaryKeyConstraint("test", "number"),
    UniqueConstraint("test", "sender"),
    sqlite_with_rowid=False,
)
"""The ledgers: ``stored`` are the bytes that were hashed, never written anew; ``sender`` is the id its maker gave."""

LANDMARKS = Table(
    "truerun_landmarks",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("digest", String(_DIGEST), nullable=False),
    Column("stored", LargeBinary, nullable=False),
)
"""The chain over the whole notebook: openings, seals, broken seals and closes of all tests."""

RECORDINGS = Table(
    "truerun_recordings",
    METADATA,
    Column("id", String(_ID), primary_key=True),
    Column("digest", String(_DIGEST)),
    Column("size", BigInteger, nullable=False),
    Column("media", String(100), nullable=False),
    Index("truerun_recordings_digest", "digest"),
)
"""One row a file that was attached; ``digest`` is its SHA-256, empty while its chunks still come."""

CHUNKS = Table(
    "truerun_chunks",
    METADATA,
    Column("recording", String(_ID), nullable=False),
    Column("place", Integer, nullable=False),
    Column("bytes", LargeBinary, nullable=False),
    PrimaryKeyConstraint("recording", "place"),
)
"""The bytes of files, in order."""

PROJECTIONS = Table(
    "truerun_projections",
    METADATA,
    Column("test", String(_ID), primary_key=True),
    Column("number", Integer, nullable=False),
    Column("kind", String(40), nullable=False),
    Column("state", LargeBinary, nullable=False),
)
"""What the entries up to ``number`` add up to; may be deleted at any time and is made again."""
