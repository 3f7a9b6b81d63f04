"""Drawing by lot in a way that anybody can repeat with the standard library alone.

A draw is SHA-256 of ``seed | counter``: the seed is text, the counter is written in decimal digits, and both
are joined by a vertical bar in UTF-8. The first eight bytes of the digest are an integer, big-endian. To draw
one of ``m`` things the integer is taken modulo ``m``, and thrown away (the counter goes on) when it lies in the
incomplete last stretch of ``m``, so that each thing is equally likely.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from truerun.errors import ValueOutOfRange

__all__ = ["draw_many", "draw_one"]

_SPAN = 1 << 64


def _words(seed: str) -> Iterator[int]:
    """Give the 64-bit integers of a seed, one for each counter 0, 1, 2, ..."""
    counter = 0
    while True:
        digest = hashlib.sha256(f"{seed}|{counter}".encode()).digest()
        yield int.from_bytes(digest[:8], "big")
        counter += 1


def draw_many(seed: str, choices: int, draws: int) -> list[int]:
    """Draw ``draws`` numbers from 0 to ``choices`` - 1, each equally likely, with replacement.

    Parameters
    ----------
    seed : str
        Any text; it is what is sealed.
    choices : int
        How many things there are to choose from, 1 to 2**63.
    draws : int
        How many draws.

    Returns
    -------
    list of int, length ``draws``

    Raises
    ------
    ValueOutOfRange
        If ``choices`` is not between 1 and 2**63.

    Examples
    --------
    >>> draw_many("truerun test vector", 1296, 4)
    [830, 418, 50, 720]
    """
    if not 1 <= choices <= _SPAN // 2:
        raise ValueOutOfRange("The number of choices", choices, "between 1 and 2^63")
    limit = _SPAN - _SPAN % choices
    words = _words(seed)
    drawn: list[int] = []
    while len(drawn) < draws:
        word = next(words)
        if word < limit:
            drawn.append(word % choices)
    return drawn


def draw_one(seed: str, choices: int) -> int:
    """Draw one number from 0 to ``choices`` - 1; see :func:`draw_many`.

    Examples
    --------
    >>> draw_one("truerun test vector", 1296)
    830
    """
    return draw_many(seed, choices, 1)[0]
