"""One line of a sensor: a stamp, perhaps with the index mark; a remark; or something that is neither."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["Clockwork", "Stamp", "parse_clockwork", "parse_stamp"]

_STAMP = re.compile(rb"(\d{1,15})(?:\.(\d{1,9}))?(?:[ \t]*[,;\t ][ \t]*([01]))?")
_CLOCKWORK = re.compile(rb"(\d{1,10}) ticks/s, (\d{1,2}) bits")


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a line said: ``value`` in ticks, or in seconds where ``places`` (digits behind the point) is not None.

    ``index`` is whether the index mark passed, None where the line does not say.
    """

    value: float
    places: int | None = None
    index: bool | None = None


@dataclass(frozen=True, slots=True)
class Clockwork:
    """How a sensor counts: ``rate`` [ticks/s], and ``bits`` after which the counter starts again from 0."""

    rate: int = 1_000_000
    bits: int = 32

    @property
    def period(self) -> float:
        """Time until the counter starts again [s]."""
        return float(2**self.bits / self.rate)

    @property
    def places(self) -> int:
        """Digits behind the point that hold one tick."""
        return len(str(self.rate - 1)) if self.rate > 1 else 0


def parse_stamp(line: bytes) -> Stamp | None:
    """Read one line.

    Parameters
    ----------
    line : bytes
        Without its end.

    Returns
    -------
    Stamp or None
        None where it is no stamp.

    Examples
    --------
    >>> parse_stamp(b"1234567")
    Stamp(value=1234567, places=None, index=None)
    >>> parse_stamp(b"12.345678, 1")
    Stamp(value=12.345678, places=6, index=True)
    >>> parse_stamp(b"12x4567") is None
    True
    """
    found = _STAMP.fullmatch(line.strip())
    if found is None:
        return None
    whole, behind, index = found.groups()
    seen = None if index is None else index == b"1"
    if behind is None:
        return Stamp(int(whole), None, seen)
    return Stamp(float(whole + b"." + behind), len(behind), seen)


def parse_clockwork(line: bytes) -> Clockwork | None:
    """Read the remark by which a sensor says how it counts; None for any other remark.

    Examples
    --------
    >>> parse_clockwork(b"# 15625 ticks/s, 16 bits")
    Clockwork(rate=15625, bits=16)
    """
    found = _CLOCKWORK.search(line)
    if found is None:
        return None
    rate, bits = int(found[1]), int(found[2])
    return Clockwork(rate, bits) if rate and 8 <= bits <= 64 else None
