"""SI floats written for people: true minus sign, no-break space before the unit, no digit that means nothing.

What is written with all its digits reads back as the identical float.
"""

from __future__ import annotations

import math
from fractions import Fraction

from truerun.errors import ValueOutOfRange
from truerun.units.number import require_decimal_sign
from truerun.units.unit import Unit, parse_unit

__all__ = ["format_percent", "format_quantity", "format_time"]

_MINUS = "\u2212"
_SPACE = "\u00a0"
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_PLAIN_FROM, _PLAIN_TO = -5, 15  # powers of ten written without a factor ×10ⁿ


def _exact(value: float, name: str) -> Fraction:
    """Give the exact value of a finite float."""
    if not math.isfinite(value):
        raise ValueOutOfRange(name, value, "a finite number", "Say in words that it has no bound.")
    return Fraction(value)


def _leading(value: Fraction) -> int:
    """Power of ten of the first digit that is not 0 (0 for zero)."""
    if value == 0:
        return 0
    power = len(str(abs(value.numerator))) - len(str(value.denominator))
    return power - 1 if Fraction(10) ** power > abs(value) else power


def _rounded(value: Fraction, place: int) -> Fraction:
    """Round to a multiple of a power of ten, halves to even."""
    step = Fraction(10) ** place
    return round(value / step) * step


def _fixed(value: Fraction, place: int, decimal: str) -> str:
    """Write a value to a decimal place; a rounded zero has no sign."""
    decimals = max(0, -place)
    digits = str(abs(round(_rounded(value, place) * 10**decimals))).rjust(decimals + 1, "0")
    sign = _MINUS if round(value / Fraction(10) ** place) < 0 else ""
    whole, rest = (digits[:-decimals], decimal + digits[-decimals:]) if decimals else (digits, "")
    return f"{sign}{whole}{rest}"


def _place_of(value: Fraction, digits: int) -> int:
    """Decimal place that leaves a number of significant digits, after rounding."""
    place = _leading(value) - digits + 1
    return place + (_leading(_rounded(value, place)) > _leading(value))


def _reads_back(exact: Fraction, value: float) -> bool:
    """Tell whether an exact value has this nearest float."""
    try:
        return float(exact) == value
    except OverflowError:
        return False


def _shortest_place(value: float, unit: Unit) -> int:
    """Decimal place with the fewest digits that read back as the identical float (17 always do)."""
    exact = Fraction(value) / unit.exact
    for digits in range(1, 17):
        place = _place_of(exact, digits)
        if _reads_back(_rounded(exact, place) * unit.exact, value):
            return place
    return _place_of(exact, 17)


def _power(top: int) -> tuple[int, str]:
    """Power of ten to take out of a number whose first digit stands at ``top``, and its text."""
    if _PLAIN_FROM <= top <= _PLAIN_TO:
        return 0, ""
    return top, f"×10{str(top).translate(_RAISED)}"


def _with_unit(number: str, unit: Unit) -> str:
    """Put the unit behind a number; only the degree sign stands without a space."""
    gap = "" if unit.symbol in ("", "°") else _SPACE
    return f"{number}{gap}{unit.symbol}"


def format_quantity(
    value: float,
    unit: Unit | str,
    uncertainty: float | None = None,
    *,
    decimal: str = ".",
    digits: int | None = None,
) -> str:
    r"""Write an SI value in a unit.

    Parameters
    ----------
    value : float
        In SI.
    unit : Unit or str
        To write it in.
    uncertainty : float, optional
        In SI; written with two significant digits, and the value to the same place.
    decimal : str
        ``"."`` or ``","``.
    digits : int, optional
        Significant digits of a value without uncertainty; None: all that are needed to read the same float back.

    Returns
    -------
    str

    Raises
    ------
    ValueOutOfRange
        If a number is not finite, or the uncertainty is negative.

    References
    ----------
    JCGM 100:2008 (GUM) 7.2.6, two significant digits of uncertainty; SI brochure 5.4.3, space before the unit.

    Examples
    --------
    >>> format_quantity(0.0035, "mm")
    '3.5\xa0mm'
    >>> format_quantity(-0.01234, "mm", 0.000213)
    '−12.34\xa0±\xa00.21\xa0mm'
    """
    unit = parse_unit(unit) if isinstance(unit, str) else unit
    require_decimal_sign(decimal)
    exact = _exact(value, "value") / unit.exact
    if uncertainty is not None and uncertainty != 0.0:
        return _with_uncertainty(exact, _exact(uncertainty, "uncertainty") / unit.exact, unit, decimal)
    place = _shortest_place(value, unit) if digits is None else _place_of(exact, digits)
    top, factor = _power(_leading(_rounded(exact, place)))
    number = _fixed(exact / Fraction(10) ** top, place - top, decimal) + factor
    if uncertainty == 0.0:
        number = f"{number}{_SPACE}±{_SPACE}0"
    return _with_unit(number, unit)


def _with_uncertainty(value: Fraction, uncertainty: Fraction, unit: Unit, decimal: str) -> str:
    """Write value and uncertainty to the place of the uncertainty's second digit."""
    if uncertainty < 0:
        raise ValueOutOfRange("uncertainty", float(uncertainty), "zero or positive")
    place = _place_of(uncertainty, 2)
    written = (_rounded(value, place), _rounded(uncertainty, place))
    top, factor = _power(max(_leading(part) for part in written if part))
    scale = Fraction(10) ** top
    parts = (_fixed(part / scale, place - top, decimal) for part in written)
    number = f"{_SPACE}±{_SPACE}".join(parts)
    return _with_unit(f"({number}){factor}" if factor else number, unit)


def format_time(seconds: float, decimals: int, *, decimal: str = ".") -> str:
    """Write a time as on a stopwatch: minutes:seconds, or hours:minutes:seconds.

    Parameters
    ----------
    seconds : float
        The time [s].
    decimals : int
        Digits behind the decimal sign.
    decimal : str
        ``"."`` or ``","``.

    Returns
    -------
    str

    Raises
    ------
    ValueOutOfRange
        If the time is not finite.

    Examples
    --------
    >>> format_time(123.4, 1)
    '2:03.4'
    >>> format_time(3599.96, 1)
    '1:00:00.0'
    """
    require_decimal_sign(decimal)
    exact = _exact(seconds, "time")
    steps = abs(round(exact * 10**decimals))
    minutes, rest = divmod(steps, 60 * 10**decimals)
    hours, minutes = divmod(minutes, 60)
    width = 3 + decimals if decimals else 2
    second = _fixed(Fraction(rest, 10**decimals), -decimals, decimal).rjust(width, "0")
    sign = _MINUS if exact < 0 and steps else ""
    return f"{sign}{hours}:{minutes:02d}:{second}" if hours else f"{sign}{minutes}:{second}"


def format_percent(fraction: float, *, signed: bool = False, decimals: int = 1, decimal: str = ".") -> str:
    r"""Write a fraction in percent.

    Parameters
    ----------
    fraction : float
        The share; 1 is the whole.
    signed : bool
        Whether a positive number gets a plus sign.
    decimals : int
        Digits behind the decimal sign.
    decimal : str
        ``"."`` or ``","``.

    Returns
    -------
    str

    Raises
    ------
    ValueOutOfRange
        If the fraction is not finite.

    Examples
    --------
    >>> format_percent(-0.055)
    '−5.5\xa0%'
    >>> format_percent(0.03, signed=True)
    '+3.0\xa0%'
    """
    require_decimal_sign(decimal)
    exact = _exact(fraction, "share") * 100
    text = _fixed(exact, -decimals, decimal)
    plus = "+" if signed and _rounded(exact, -decimals) > 0 else ""
    return f"{plus}{text}{_SPACE}%"
