"""Shares as people write them: ``5%``, ``5 %``, ``0.05`` or ``1/20``, never a bare 5."""

from __future__ import annotations

from truerun.errors import ValueOutOfRange
from truerun.units.quantity import read_quantity
from truerun.units.unit import Dimension

__all__ = ["parse_share"]


def parse_share(text: str, name: str = "share") -> float:
    """Read a share.

    Parameters
    ----------
    text : str
        With a percent sign, or between -1 and 1 without one.
    name : str
        What it is, for messages.

    Returns
    -------
    float
        1 is the whole.

    Raises
    ------
    ValueOutOfRange
        If it is not a number, or 1 or more without a percent sign: 5 could be 5 % or 500 %.

    Examples
    --------
    >>> parse_share("5%"), parse_share("0,05"), parse_share("−3 %")
    (0.05, 0.05, -0.03)
    >>> parse_share("5", "--margin")
    Traceback (most recent call last):
    ...
    truerun.errors.ValueOutOfRange: --margin is "5"; it must be a share, such as 5% or 0.05. For 5 of 100 write 5%.
    """
    remedy = "For 5 of 100 write 5%."
    try:
        read = read_quantity(text, Dimension.RATIO, name=name)
    except ValueOutOfRange as why:
        raise ValueOutOfRange(name, f'"{text}"', "a share, such as 5% or 0.05", remedy) from why
    if not read.unit.symbol and abs(read.value) >= 1:
        remedy = f"For {text.strip()} of 100 write {text.strip()}%."
        raise ValueOutOfRange(name, f'"{text}"', "a share, such as 5% or 0.05", remedy)
    return read.value
