"""One entry of a ledger: what is stored, and how its bytes are written, hashed and read."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from truerun.errors import LedgerBroken, NotebookUnusable, ValueOutOfRange
from truerun.trial.seal import canonical_bytes

__all__ = [
    "ENTRY_SCHEMA",
    "FIRST",
    "MOST_BYTES",
    "Entry",
    "Kind",
    "digest_of",
    "read_entry",
    "write_entry",
]

ENTRY_SCHEMA = "truerun/entry/1"

FIRST = "0" * 64
"""What the first entry of a chain follows."""

MOST_BYTES = 1_000_000
"""An entry that would be longer is refused; whatever is large is a recording."""

_SAFE = 2**53 - 1


class Kind(Enum):
    """What an entry says. Observations are always taken; an edit must quote the head that it was made from."""

    OPENED = "opened"
    CLAIM = "claim"
    AGREEMENT = "agreement"
    RIG = "rig"
    PLAN = "plan"
    SEALED = "sealed"
    SESSION = "session"
    WARM_UP = "warm-up"
    RUN_BEGUN = "run-begun"
    STARTED = "started"
    TAP = "tap"
    STOPPED = "stopped"
    ABORTED = "aborted"
    WENT_WRONG = "went-wrong"
    PASSES = "passes"
    INTERRUPTED = "interrupted"
    RECORDING = "recording"
    PHOTO = "photo"
    GUESS = "guess"
    NOTE = "note"
    CORRECTED = "corrected"
    WITHDRAWN = "withdrawn"
    SEAL_BROKEN = "seal-broken"
    CLOSED = "closed"
    DECIDED = "decided"
    REPORTED = "reported"
    BUNDLED = "bundled"
    CHALLENGE = "challenge"
    SCREENING = "screening"

    @property
    def edits(self) -> bool:
        """Whether such an entry changes what stands, and so must quote the head."""
        return self in _EDITS

    @property
    def landmark(self) -> bool:
        """Whether the chain over the whole notebook holds such entries."""
        return self in _LANDMARKS


_EDITS = frozenset(
    (Kind.PLAN, Kind.SEALED, Kind.CORRECTED, Kind.WITHDRAWN, Kind.SEAL_BROKEN, Kind.CLOSED, Kind.SCREENING)
)
_KINDS = frozenset(kind.value for kind in Kind)
_LANDMARKS = frozenset((Kind.OPENED, Kind.SEALED, Kind.SEAL_BROKEN, Kind.CLOSED))


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a ledger.

    ``number`` counts from 1, ``time`` is UTC in ISO 8601, ``follows`` the digest of the entry before. ``sender`` is
    the id that whoever sent it gave, so that sending again does no harm. ``digest`` is the SHA-256 of ``stored``.
    """

    test: str
    number: int
    time: str
    kind: Kind
    body: Mapping[str, Any]
    follows: str
    sender: str | None
    digest: str
    stored: bytes


def digest_of(stored: bytes) -> str:
    """Give the SHA-256 of stored bytes, 64 hexadecimal digits."""
    return hashlib.sha256(stored).hexdigest()


def write_entry(
    test: str,
    number: int,
    kind: Kind,
    body: Mapping[str, Any],
    *,
    time: str,
    follows: str,
    sender: str | None = None,
) -> Entry:
    """Write an entry as canonical JSON (RFC 8785) and hash it.

    Parameters
    ----------
    test : str
        Id of the test.
    number : int
        Place in the ledger, from 1.
    kind : Kind
    body : mapping
        Plain data without NaN, infinity or whole numbers beyond 2^53 - 1.
    time : str
        UTC with its offset, ISO 8601.
    follows : str
        Digest of the entry before.
    sender : str or None
        Id given by whoever sent it.

    Returns
    -------
    Entry

    Raises
    ------
    ValueOutOfRange
        If the body cannot be written so that every reader reads the same, or is too long.

    Examples
    --------
    >>> entry = write_entry("t", 1, Kind.NOTE, {"words": "calm"}, time="2026-03-14T19:48:00+00:00", follows=FIRST)
    >>> read_entry("t", 1, entry.stored, entry.digest) == entry
    True
    """
    whole = {
        "schema": ENTRY_SCHEMA,
        "test": test,
        "number": number,
        "time": time,
        "kind": kind.value,
        "body": _plain(body, "body"),
        "follows": follows,
        "sender": sender,
    }
    try:
        stored = canonical_bytes(whole)
    except UnicodeEncodeError as error:
        raise ValueOutOfRange(
            "The text", f"half a sign ({error.object[error.start : error.end]!r})", "whole signs", "Type it again."
        ) from None
    if len(stored) > MOST_BYTES:
        raise ValueOutOfRange(
            "The entry", f"{len(stored)} bytes long", f"at most {MOST_BYTES} bytes", "Attach it as a file instead."
        )
    return Entry(test, number, time, kind, whole["body"], follows, sender, digest_of(stored), stored)


def read_entry(test: str, number: int, stored: bytes, digest: str) -> Entry:
    """Read an entry, and refuse one whose bytes are not those that were hashed.

    Raises
    ------
    LedgerBroken
        If the bytes were changed, or are not those of this place.
    NotebookUnusable
        If a newer truerun wrote it.
    """
    found = digest_of(stored)
    if found != digest:
        raise LedgerBroken(number, digest, found)
    data = json.loads(stored)
    if data["kind"] not in _KINDS:
        raise NotebookUnusable(
            f"Line {number} of the test",
            f'it is of a kind "{data["kind"]}" that this truerun does not know',
            "Install the newer truerun; nothing was changed.",
        )
    if (data["test"], data["number"]) != (test, number):
        raise LedgerBroken(number, f"{test} {number}", f"{data['test']} {data['number']}")
    return Entry(
        test, number, data["time"], Kind(data["kind"]), data["body"], data["follows"], data["sender"], digest, stored
    )


def _plain(value: Any, place: str) -> Any:
    """Refuse what canonical JSON cannot hold; sequences become lists."""
    if isinstance(value, Mapping):
        return {str(key): _plain(part, f"{place}.{key}") for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part, f"{place}[{at}]") for at, part in enumerate(value)]
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int):
        if abs(value) > _SAFE:
            raise ValueOutOfRange(place, value, "at most 2^53 - 1", "Write larger numbers as text.")
        return value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueOutOfRange(place, value, "a finite number", "Leave it out where there is none.")
        return value
    raise ValueOutOfRange(place, type(value).__name__, "text, number, yes or no, list or mapping")
