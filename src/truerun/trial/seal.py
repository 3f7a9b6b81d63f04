"""Sealing a plan: drawing its order by lot, its fingerprint, and a code short enough to be said aloud."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from json.encoder import encode_basestring
from typing import Any, Protocol

import numpy as np
import rfc8785
from numpy.typing import NDArray

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.stats.draw import draw_many
from truerun.stats.orders import OrderSet
from truerun.trial.plan import Plan

__all__ = ["Seal", "Sealable", "canonical_bytes", "drawn_order", "require_seal", "seal_of", "spoken", "spoken_code"]

_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
_NUMBERS = ("two", "three", "four", "five", "six", "seven", "eight", "nine")
_SPELLING = (
    *("alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "juliett", "kilo", "mike", "november"),
    *("papa", "quebec", "romeo", "sierra", "tango", "victor", "whiskey", "x-ray", "yankee", "zulu"),
)
_SMALL, _WHOLE = 1e-4, 2**53
"""From and up to which Python and ECMAScript write numbers the same way."""
_SPOKEN = dict(zip(_LETTERS, _NUMBERS + _SPELLING, strict=True))


@dataclass(frozen=True, slots=True)
class Seal:
    """Fingerprint of a plan: ``sha256`` in full (64 hexadecimal digits), ``code`` in four groups of four."""

    sha256: str
    code: str

    def document(self) -> dict[str, str]:
        """Give the seal as plain data."""
        return {"sha256": self.sha256, "code": self.code}


class Sealable(Protocol):
    """A plan of any kind: all of it is in its document."""

    def document(self) -> dict[str, Any]:
        """Give the plan as plain data, without its seal."""


def canonical_bytes(document: Mapping[str, Any]) -> bytes:
    """Write plain data as canonical JSON (RFC 8785), the same bytes everywhere.

    Examples
    --------
    >>> canonical_bytes({"b": 1.0, "a": "\N{EURO SIGN}"}).decode()
    '{"a":"€","b":1}'
    """
    return _written(dict(document)).encode()


def _written(value: Any) -> str:
    """Write what is common in one walk over it; what is rare, and refusals, are left to the library of RFC 8785."""
    if isinstance(value, str):
        return encode_basestring(value)
    if isinstance(value, dict) and value:
        keys = sorted(value) if "".join(value).isascii() else sorted(value, key=_utf_16)
        return "{" + ",".join([f"{encode_basestring(key)}:{_written(value[key])}" for key in keys]) + "}"
    if isinstance(value, list | tuple) and value:
        return "[" + ",".join([_written(part) for part in value]) + "]"
    if type(value) is int and abs(value) < _WHOLE:
        return str(value)
    if type(value) is float and _SMALL <= abs(value) < _WHOLE and value % 1:
        return repr(value)  # shortest digits without an exponent, in Python as in ECMAScript
    return rfc8785.dumps(value).decode()


def _utf_16(key: str) -> bytes:
    """Give what RFC 8785 sorts by (section 3.2.3)."""
    return key.encode("utf-16be")


def spoken_code(sha256: str) -> str:
    """Give the short code of a fingerprint: sixteen letters and digits out of thirty, none easily misheard.

    Parameters
    ----------
    sha256 : str
        64 hexadecimal digits.

    Returns
    -------
    str
        Four groups of four; 78 bits, enough against chance and for reading aloud. The full fingerprint decides.

    Examples
    --------
    >>> spoken_code(hashlib.sha256(b"truerun").hexdigest())
    '57BD NAZS 2PA2 TY6Z'
    """
    number = int(sha256, 16) % len(_LETTERS) ** 16
    letters = []
    for _ in range(16):
        number, digit = divmod(number, len(_LETTERS))
        letters.append(_LETTERS[digit])
    text = "".join(reversed(letters))
    return " ".join(text[start : start + 4] for start in range(0, 16, 4))


def spoken(group: str) -> str:
    """Give the words for one group of a code, by the spelling alphabet of radio traffic.

    Examples
    --------
    >>> spoken("K7QM")
    'kilo seven quebec mike'
    """
    return " ".join(_SPOKEN[letter] for letter in group)


def seal_of(plan: Sealable) -> Seal:
    """Give the seal of a plan: SHA-256 over its canonical bytes.

    Raises
    ------
    ValueOutOfRange
        If it holds a number that RFC 8785 cannot write.
    """
    try:
        digest = hashlib.sha256(canonical_bytes(plan.document())).hexdigest()
    except rfc8785.CanonicalizationError as error:
        allowed = "finite, and whole numbers below 2 to the power of 53"
        raise ValueOutOfRange("A number of the plan", "too large to be sealed", allowed) from error
    return Seal(digest, spoken_code(digest))


def require_seal(plan: Sealable, stored: Mapping[str, Any] | None, path: str, code: str | None = None) -> Seal:
    """Check that a plan still is what was sealed.

    Parameters
    ----------
    plan : Sealable
        As read.
    stored : mapping or None
        The key ``seal`` of the file.
    path : str
        For messages.
    code : str, optional
        The short code that a stranger kept; blanks and case do not matter.

    Returns
    -------
    Seal

    Raises
    ------
    PlanBroken
        If the file has no seal, was changed after it was sealed, does not fit the code, or has another order than
        the one that its seed draws.
    """
    seal = seal_of(plan)
    found = stored.get("sha256") if isinstance(stored, Mapping) else None
    if not found:
        raise PlanBroken(f"{path} must hold a sealed plan", "it has no seal", "Make and seal it with truerun plan.")
    if found != seal.sha256:
        raise PlanBroken(
            f"{path} was changed after it was sealed",
            f"its fingerprint is now {seal.sha256[:16]}..., the seal says {str(found)[:16]}...",
            "Use the file as truerun plan wrote it, or make a new plan.",
        )
    written = (stored or {}).get("code")
    if written is not None and _plain(str(written)) != _plain(seal.code):
        raise PlanBroken(
            f"{path} was changed after it was sealed",
            f"its code is {seal.code}, the file says {written}",
            "Use the file as truerun plan wrote it, or make a new plan.",
        )
    if code is not None and _plain(code) != _plain(seal.code):
        raise PlanBroken(
            f"{path} is not the plan of this code",
            f"its code is {seal.code}, the code given is {code}",
            "Read the code again, or ask for the plan that was sealed.",
        )
    if isinstance(plan, Plan) and plan.drawn_by == "lot" and not _is_drawn(plan):
        raise PlanBroken(
            f"The order in {path} must be the one that its seed draws",
            "it is another, so nothing says that it was drawn by lot",
            "Make and seal a plan with truerun plan.",
        )
    return seal


def _is_drawn(plan: Plan) -> bool:
    """Tell whether the order is the one that the seed draws."""
    return np.array_equal(drawn_order(plan.order_set, plan.seed), plan.signs)


def _plain(code: str) -> str:
    """Drop blanks and case."""
    return "".join(code.split()).replace("-", "").upper()


def drawn_order(orders: OrderSet, seed: str) -> NDArray[np.int8]:
    """Draw the order of a plan from its set.

    Parameters
    ----------
    orders : OrderSet
        What it is drawn from.
    seed : str
        The sealed seed.

    Returns
    -------
    array of +1 and -1, shape (runs,)

    Notes
    -----
    Order number SHA-256(seed | counter) modulo the count, see :mod:`truerun.stats.draw`; sets with blocks are
    counted block by block in the order that :data:`truerun.stats.orders.ORDER_SETS` lists, first block first.

    Examples
    --------
    >>> from truerun.stats.orders import orders_for
    >>> "".join("+" if z > 0 else "-" for z in drawn_order(orders_for("blocks-of-four", 16), "truerun test vector"))
    '-++---++++--+--+'
    """
    return orders.order(draw_many(seed, orders.count, 1)[0])
