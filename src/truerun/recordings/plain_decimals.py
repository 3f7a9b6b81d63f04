"""Many plain decimal numbers at once: digits to floats by whole columns of bytes, rounded correctly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["parse_plain_decimals"]

ZERO, POINT, MINUS = b"0"[0], b"."[0], b"-"[0]
MOST_DIGITS = 15  # a whole number of 15 digits, and 10 to the power of 15, are exact as floats


def parse_plain_decimals(block: bytes, separators: bytes) -> NDArray[np.float64] | None:
    r"""Read all numbers of a block, each followed by one separator.

    Parameters
    ----------
    block : bytes
        Numbers such as ``12.5`` or ``-3``, a separator behind each.
    separators : bytes
        The signs that may stand behind a number.

    Returns
    -------
    array, shape (n,), or None
        None where any cell is not of that plain form (a power of ten, a blank, no digit, more than 15 digits).

    Notes
    -----
    A number of at most 15 digits is read as a whole number and divided by a power of ten at most 10^15. Both are
    exact, so the quotient is the float nearest to what was written.

    References
    ----------
    W. D. Clinger, How to read floating point numbers accurately, PLDI 1990 (the case that needs one operation).

    Examples
    --------
    >>> parse_plain_decimals(b"12.5\t-3\n0.1\t7\n", b"\t\n").tolist()
    [12.5, -3.0, 0.1, 7.0]
    >>> parse_plain_decimals(b"1e3\n", b"\n") is None
    True
    """
    signs = np.frombuffer(block, np.uint8)
    ends = np.flatnonzero(_among(signs, separators))
    if not ends.size or ends[-1] != signs.size - 1:
        return None
    points = np.flatnonzero(signs == POINT)
    field = np.searchsorted(ends, points) if points.size != ends.size else np.arange(ends.size)
    starts = np.concatenate(([0], ends[:-1] + 1))
    if np.any(points < starts[field]) or np.any(points > ends[field]) or np.any(np.diff(field) == 0):
        return None
    places = np.zeros(ends.size, np.intp)
    places[field] = ends[field] - points - 1
    pointed = np.zeros(ends.size, np.intp)
    pointed[field] = 1
    negative = signs[starts] == MINUS
    digits = signs[(signs != POINT) & (signs != MINUS)] - ZERO
    lengths = ends - starts - pointed - negative
    if digits.size != int(lengths.sum()) + ends.size or lengths.min() < 1 or lengths.max() > MOST_DIGITS:
        return None
    whole = _whole_numbers(digits, lengths)
    if whole is None:
        return None
    values = whole / np.power(10.0, np.arange(MOST_DIGITS + 1))[places]
    return np.where(negative, -values, values)


def _among(signs: NDArray[np.uint8], separators: bytes) -> NDArray[np.bool_]:
    """Where a separator stands."""
    found = signs == separators[0]
    for other in separators[1:]:
        found |= signs == other
    return np.asarray(found)


def _whole_numbers(digits: NDArray[np.uint8], lengths: NDArray[np.intp]) -> NDArray[np.int64] | None:
    """Whole numbers of digits that end one sign before the next number, None where one is no digit."""
    ends = np.cumsum(lengths + 1) - 1
    whole = np.zeros(lengths.size, np.int64)
    shortest = int(lengths.min())
    for place in range(int(lengths.max())):
        if place < shortest:
            digit = digits[ends - 1 - place]
        else:
            digit = np.where(place < lengths, digits[np.maximum(ends - 1 - place, 0)], np.uint8(0))
        if digit.max() > 9:  # below 0 wraps around
            return None
        whole += digit * np.int64(10) ** place
    return whole
