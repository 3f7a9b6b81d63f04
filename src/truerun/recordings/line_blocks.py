"""A file or stream of bytes as blocks of whole lines, however long it is, with its digest on the way."""

from __future__ import annotations

import codecs
import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from truerun.errors import RecordingUnreadable
from truerun.recordings.text_tables import BYTE_ORDER_MARKS, unmarked_encoding

__all__ = ["ByteStream", "RawBytes", "encoding_of", "line_blocks", "opened"]

BLOCK = 1 << 18  # bytes; of the sizes tried, the one read fastest
MEMORY_NAME = "the recording"


class ByteStream(Protocol):
    """Anything with a ``read`` that gives bytes."""

    def read(self, size: int = -1, /) -> bytes:
        """Give the next bytes, none at the end."""
        ...


@dataclass(slots=True)
class RawBytes:
    """Bytes of one source: taken block by block, digested on the way."""

    name: str
    stream: ByteStream
    digest: Any = field(default_factory=hashlib.sha256)

    def blocks(self) -> Iterator[bytes]:
        """Give the bytes that are left, block by block."""
        while block := self.stream.read(BLOCK):
            self.digest.update(block)
            yield block


@contextmanager
def opened(source: str | os.PathLike[str] | ByteStream) -> Iterator[RawBytes]:
    """Open a path, or take a stream of bytes as it is.

    Parameters
    ----------
    source : path or stream
        A file, or anything with a ``read`` that gives bytes.

    Yields
    ------
    RawBytes

    Raises
    ------
    RecordingUnreadable
        If there is no such file, or it cannot be read.

    Examples
    --------
    >>> from io import BytesIO
    >>> with opened(BytesIO(b"0.1")) as raw:
    ...     list(raw.blocks()), raw.digest.hexdigest()[:8]
    ([b'0.1'], '14be4b45')
    """
    if not isinstance(source, str | os.PathLike):
        yield RawBytes(str(getattr(source, "name", MEMORY_NAME)), source)
        return
    name = os.fspath(source)
    try:
        stream = Path(name).open("rb")  # noqa: SIM115 - closed below, so that what is done with it is outside "try"
    except FileNotFoundError:
        raise RecordingUnreadable(name, "", "there is no such file. Check the name and the folder.") from None
    except (OSError, ValueError):
        raise RecordingUnreadable(name, "", "it cannot be opened. Give a file that you may read.") from None
    with stream:
        yield RawBytes(name, stream)


def encoding_of(head: bytes) -> tuple[bytes, str | None]:
    """Byte-order mark and encoding of a text by its first block.

    Parameters
    ----------
    head : bytes
        The beginning of the file; it may end inside a character.

    Returns
    -------
    tuple
        The mark (empty where there is none) and the name of the encoding, None where it must be guessed.

    Examples
    --------
    >>> encoding_of("61,2".encode("utf-8-sig"))[1], encoding_of("Fehler: ±2".encode("cp1252"))[1]
    ('utf-8', None)
    """
    for mark, encoding in BYTE_ORDER_MARKS:
        if head.startswith(mark):
            return mark, encoding
    last = head.rfind(b"\n") + 1 if len(head) >= BLOCK else len(head)
    return b"", unmarked_encoding((head[:last] or head).rstrip(b"\x00"))  # zeros may fill up the end of a file


def line_blocks(blocks: Iterator[bytes], encoding: str) -> Iterator[bytes]:
    r"""Cut bytes into blocks that end with a line, in UTF-8 and with ``\n`` at the ends of lines.

    Parameters
    ----------
    blocks : iterator of bytes
        The file without its byte-order mark.
    encoding : str
        Of the file.

    Yields
    ------
    bytes
        At least one line each; the last one as it stands in the file.

    Examples
    --------
    >>> list(line_blocks(iter([b"0.1\r", b"\n0.2\r0.", b"3"]), "utf-8"))
    [b'0.1\n0.2\n', b'0.3']
    """
    rest = b""
    for block in _plain_ends(blocks if encoding == "utf-8" else _in_utf8(blocks, encoding)):
        whole, end, begun = block.rpartition(b"\n")
        if end:
            yield rest + whole + end
            rest = begun
        else:
            rest += block
    if rest:
        yield rest


def _in_utf8(blocks: Iterator[bytes], encoding: str) -> Iterator[bytes]:
    """Bytes in another encoding as UTF-8; what is damaged becomes a sign that no number has."""
    decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    for block in blocks:
        yield decoder.decode(block).encode()
    yield decoder.decode(b"", final=True).encode()


def _plain_ends(blocks: Iterator[bytes]) -> Iterator[bytes]:
    """Bytes with one form of line end; a carriage return at the end of a block waits for the next one."""
    waiting = b""
    for block in blocks:
        whole = waiting + block
        waiting = whole[-1:] if whole.endswith(b"\r") else b""
        whole = whole.removesuffix(b"\r") if waiting else whole
        yield whole.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in whole else whole
    if waiting:
        yield b"\n"
