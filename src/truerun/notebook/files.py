"""Recordings and photos: kept in the notebook by their digest, in chunks, written once and never changed."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterable, Iterator

from sqlalchemy import Connection, delete, func, select, update

from truerun.errors import LedgerBroken, ValueOutOfRange
from truerun.notebook.connection import reading, writing
from truerun.notebook.ledger import Notebook
from truerun.notebook.tables import CHUNKS, RECORDINGS

__all__ = ["CHUNK", "digests", "read_file", "store_file"]

CHUNK = 1 << 20
"""Bytes in one row [B]."""


def store_file(notebook: Notebook, pieces: Iterable[bytes], media: str, *, most: int | None = None) -> tuple[str, int]:
    """Store a file, piece by piece; one that is there already takes no room again.

    Parameters
    ----------
    notebook : Notebook
    pieces : iterable of bytes
        In order, of any length.
    media : str
        Media type, such as ``text/csv``.
    most : int, optional
        Refuse more bytes than that.

    Returns
    -------
    digest : str
        SHA-256, 64 hexadecimal digits.
    size : int
        [B]

    Raises
    ------
    ValueOutOfRange
        If the file is longer than ``most``; nothing of it stays.
    NotebookUnusable
        If the store refuses.

    Notes
    -----
    Each chunk is a transaction of its own, so that a long recording holds up no other writer; the row that names the
    digest comes last. What a kill leaves behind has no digest: it
    takes room and counts nowhere.
    """
    name = str(uuid.uuid4())
    hashed, size, place = hashlib.sha256(), 0, 0
    with writing(notebook.engine, notebook.place) as connection:
        connection.execute(RECORDINGS.insert().values(id=name, digest=None, size=0, media=media))
    try:
        for chunk in _chunks(pieces):
            hashed.update(chunk)
            size += len(chunk)
            _require_size(size, most)
            with writing(notebook.engine, notebook.place) as connection:
                connection.execute(CHUNKS.insert().values(recording=name, place=place, bytes=chunk))
            place += 1
        digest = hashed.hexdigest()
        with writing(notebook.engine, notebook.place) as connection:
            if _id_of(connection, digest) is None:
                named = update(RECORDINGS).where(RECORDINGS.c.id == name).values(digest=digest, size=size)
                connection.execute(named)
                return digest, size
    except BaseException:
        _forget(notebook, name)
        raise
    _forget(notebook, name)
    return digest, size


def read_file(notebook: Notebook, digest: str) -> Iterator[bytes]:
    """Read a file chunk by chunk, and refuse at the end if it is not what was stored.

    Parameters
    ----------
    notebook : Notebook
    digest : str
        SHA-256 of the file.

    Yields
    ------
    bytes

    Raises
    ------
    ValueOutOfRange
        If no such file is there.
    LedgerBroken
        If its bytes were changed.
    """
    with reading(notebook.engine, notebook.place) as connection:
        name = _id_of(connection, digest)
        count = connection.scalar(select(func.count()).select_from(CHUNKS).where(CHUNKS.c.recording == name)) or 0
    if name is None:
        raise ValueOutOfRange("The file", f"{digest[:16]}...", "one that was attached to this notebook")
    hashed = hashlib.sha256()
    for place in range(count):
        query = select(CHUNKS.c.bytes).where(CHUNKS.c.recording == name, CHUNKS.c.place == place)
        with reading(notebook.engine, notebook.place) as connection:
            chunk = bytes(connection.scalar(query) or b"")
        hashed.update(chunk)
        yield chunk
    if hashed.hexdigest() != digest:
        raise LedgerBroken(0, digest, hashed.hexdigest())


def digests(notebook: Notebook) -> dict[str, int]:
    """Give the size of every file by its digest."""
    query = select(RECORDINGS.c.digest, RECORDINGS.c.size).where(RECORDINGS.c.digest.is_not(None))
    with reading(notebook.engine, notebook.place) as connection:
        return {row[0]: row[1] for row in connection.execute(query)}


def _require_size(size: int, most: int | None) -> None:
    """Refuse a file that is too long."""
    if most is not None and size > most:
        raise ValueOutOfRange("The file", f"longer than {most} bytes", f"at most {most} bytes")


def _chunks(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Cut pieces of any length into chunks."""
    held = bytearray()
    for piece in pieces:
        held += piece
        while len(held) >= CHUNK:
            yield bytes(held[:CHUNK])
            del held[:CHUNK]
    if held:
        yield bytes(held)


def _id_of(connection: Connection, digest: str) -> str | None:
    """Give the id under which a digest is stored."""
    return connection.scalar(select(RECORDINGS.c.id).where(RECORDINGS.c.digest == digest))


def _forget(notebook: Notebook, name: str) -> None:
    """Take away chunks that belong to no stored file."""
    with writing(notebook.engine, notebook.place) as connection:
        connection.execute(delete(CHUNKS).where(CHUNKS.c.recording == name))
        connection.execute(delete(RECORDINGS).where(RECORDINGS.c.id == name))
