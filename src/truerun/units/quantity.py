"""Quantities as people write them: a number, perhaps its uncertainty, and a unit.

``12.3 mm``, ``11 3/8 in``, ``2:03.4``, ``12.3 ± 0.2 mm`` and ``12.34(5) s`` become SI floats here and nowhere else.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from truerun.errors import ValueOutOfRange
from truerun.units.number import (
    LONGEST,
    NUMBER,
    POWER,
    Written,
    decimal_sign,
    exact_number,
    nearest_float,
    plain_text,
    power_of_ten,
    require_decimal_sign,
)
from truerun.units.unit import Dimension, Unit, parse_unit, units_of

__all__ = ["Quantity", "Spread", "read_quantity"]


class Spread(Enum):
    """What a half-width says about the values inside it.

    References
    ----------
    JCGM 100:2008 (GUM) 4.3.3 to 4.3.9 and 6.3.3.
    """

    STANDARD = "standard"  #: it is a standard uncertainty
    EXPANDED = "expanded"  #: it is twice a standard uncertainty (k = 2, about 95 %)
    RECTANGULAR = "rectangular"  #: every value inside is equally likely, none outside
    TRIANGULAR = "triangular"  #: the middle is likelier, none outside
    ARCSINE = "arcsine"  #: the ends are likelier (something that swings)

    @property
    def divisor(self) -> float:
        """Half-width divided by standard uncertainty."""
        return _DIVISORS[self]


_DIVISORS = {
    Spread.STANDARD: 1.0,
    Spread.EXPANDED: 2.0,
    Spread.RECTANGULAR: math.sqrt(3.0),
    Spread.TRIANGULAR: math.sqrt(6.0),
    Spread.ARCSINE: math.sqrt(2.0),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity as it was written, in SI.

    ``resolution`` is the step of the last digit written. ``half_width`` is the uncertainty as written (None: none
    was), ``spread`` what that half-width means. ``unit`` is the unit it was written in.
    """

    value: float
    unit: Unit
    resolution: float
    half_width: float | None = None
    spread: Spread | None = None

    @property
    def dimension(self) -> Dimension:
        """What the number counts."""
        return self.unit.dimension

    @property
    def standard_uncertainty(self) -> float | None:
        """Half-width over the divisor of its spread, None if no uncertainty was written."""
        if self.half_width is None or self.spread is None:
            return None
        return self.half_width / self.spread.divisor


@dataclass(frozen=True, slots=True)
class _Part:
    """One side of a ± sign: a number, what stood in brackets behind it (exact), and a unit if there was one."""

    number: Written
    brackets: Fraction | None
    unit: Unit | None


_PLUS_MINUS = re.compile(r" ?(?:±|\+/-|\+-) ?")
_BRACKETED = re.compile(rf"\((?P<inside>[^()]*)\)(?:{POWER})?(?P<unit>.*)")
_CONCISE = re.compile(r" ?\((?P<digits>[0-9.,]+)\)")
_CLOCK = re.compile(
    r"(?P<sign>[-+]?)(?:(?P<h>[0-9]+):(?=[0-9]{2}:))?(?P<m>[0-9]+):(?P<s>[0-9]{2}(?:[.,][0-9]+)?)(?: (?P<unit>.+))?"
)


@dataclass(frozen=True, slots=True)
class _Reading:
    """What is being read, so that a refusal can say it."""

    text: str
    name: str
    dimension: Dimension
    decimal: str
    default: Unit | None

    def refused(self, remedy: str) -> ValueOutOfRange:
        """Give the sentence that turns the text down."""
        symbol = units_of(self.dimension)[0].symbol
        example = f"12{self.decimal}3{'' if symbol == '°' else ' '}{symbol}"
        if self.dimension is Dimension.TIME:
            example += f" or 2:03{self.decimal}4"
        shown = self.text if len(self.text) < 60 else f"{self.text[:57]}..."
        return ValueOutOfRange(self.name, f'"{shown}"', f"written like {example}", remedy)

    def unit(self, text: str) -> Unit:
        """Find a unit of any dimension; the remedy speaks of the one that is wanted."""
        try:
            return parse_unit(text)
        except ValueOutOfRange:
            try:
                return parse_unit(text, self.dimension)
            except ValueOutOfRange as why:
                raise self.refused(why.remedy) from None

    def settled_unit(self, written: Unit | None) -> Unit:
        """Take the unit that was written, else the one that goes without saying."""
        bare = parse_unit("1") if self.dimension is Dimension.RATIO else None
        unit = written or self.default or bare
        if unit is None:
            listed = ", ".join(unit.symbol for unit in units_of(self.dimension))
            raise self.refused(f"Write the unit behind the number: {listed}.")
        if unit.dimension is not self.dimension:
            raise self.refused(f"{unit.symbol or 'A bare number'} is a unit of {unit.dimension.value}.")
        return unit

    def clock(self, text: str) -> _Part:
        """Read minutes:seconds or hours:minutes:seconds."""
        found = _CLOCK.fullmatch(text)
        seconds = exact_number(part, self.decimal) if found and (part := NUMBER.fullmatch(found["s"])) else None
        if found is None or seconds is None or found["unit"] not in (None, "h" if found["h"] else "min"):
            raise self.refused("Seconds, and minutes behind hours, have two digits; no unit follows.")
        if seconds.value >= 60 or (found["h"] and int(found["m"]) >= 60):
            raise self.refused("Seconds, and minutes behind hours, stop at 59.")
        value = 3600 * int(found["h"] or 0) + 60 * int(found["m"]) + seconds.value
        signed = Written(-value if found["sign"] == "-" else value, seconds.step)
        return _Part(signed, None, parse_unit("s"))

    def part(self, text: str) -> _Part:
        """Read a number, digits in brackets behind it, and whatever unit follows."""
        if self.dimension is Dimension.TIME and ":" in text:
            return self.clock(text)
        found = NUMBER.match(text)
        number = exact_number(found, self.decimal) if found else None
        if found is None or number is None:
            mark = "point" if self.decimal == "." else "comma"
            raise self.refused(f"Write one number with a decimal {mark}, then its unit.")
        rest, brackets = text[found.end() :], None
        if concise := _CONCISE.match(rest):
            rest, brackets = rest[concise.end() :], self.brackets(concise["digits"], number.step)
        return _Part(number, brackets, self.unit(rest) if rest.strip() else None)

    def brackets(self, digits: str, step: Fraction) -> Fraction:
        """Read the digits in brackets: steps of the last digit, or a plain number if they hold a decimal sign."""
        inside = NUMBER.fullmatch(digits)
        number = exact_number(inside, self.decimal) if inside else None
        if number is None:
            raise self.refused("In brackets stands the uncertainty, in steps of the last digit.")
        return number.value if self.decimal in digits else number.value * step

    def half_width(self, part: _Part, unit: Unit, value: Fraction, power: Fraction) -> Fraction:
        """Size of what stands behind ±, in SI; percent of a quantity that is no ratio means a share of it."""
        if part.brackets is not None or part.number.value < 0:
            raise self.refused("Behind the sign ± stands one number that is not negative.")
        if part.unit is None or part.unit.dimension is self.dimension:
            return part.number.value * (part.unit or unit).exact * power
        if part.unit.dimension is Dimension.RATIO:
            return part.number.value * part.unit.exact * abs(value)
        raise self.refused("Value and uncertainty must be of one kind.")


def _opened(plain: str) -> tuple[str, Fraction]:
    """Take the brackets off ``(12.3 ± 0.2)×10⁻⁷ mm``, and give the power of ten that stood behind them."""
    found = _BRACKETED.fullmatch(plain)
    if not found or not _PLUS_MINUS.search(found["inside"]):
        return plain, Fraction(1)
    return f"{found['inside']} {found['unit'].strip()}".strip(), power_of_ten(found)


def _understood(reading: _Reading, plain: str, spread: Spread) -> Quantity:
    """Read a plain text whose decimal sign is settled."""
    text, power = _opened(plain)
    left, *right = _PLUS_MINUS.split(text)
    part = reading.part(left)
    other = reading.part(right[0]) if right else None
    if len(right) > 1 or (other and part.brackets is not None):
        raise reading.refused("Write the uncertainty once, in brackets or behind ±.")
    shared = other.unit if other and other.unit and other.unit.dimension is reading.dimension else None
    unit = reading.settled_unit(part.unit or shared)
    size = unit.exact * power
    half_width: Fraction | None = None
    meaning: Spread | None = None
    value = part.number.value * size
    if other is not None:
        half_width, meaning = reading.half_width(other, unit, value, power), spread
    elif part.brackets is not None:
        half_width, meaning = part.brackets * size, Spread.STANDARD
    return Quantity(
        nearest_float(value, reading.name),
        unit,
        nearest_float(part.number.step * size, reading.name),
        None if half_width is None else nearest_float(half_width, reading.name),
        meaning,
    )


def read_quantity(
    text: str,
    dimension: Dimension,
    *,
    name: str | None = None,
    unit: Unit | None = None,
    decimal: str | None = None,
    spread: Spread = Spread.RECTANGULAR,
) -> Quantity:
    """Read a quantity with its unit and, where one is written, its uncertainty.

    Parameters
    ----------
    text : str
        Such as ``12.3 mm``, ``11 3/8 in``, ``2:03.4``, ``12.3 ± 0.2 mm``, ``10 mF ± 20 %``, ``12.34(5) s``.
    dimension : Dimension
        What it must be.
    name : str, optional
        What it is called on the page, for messages.
    unit : Unit, optional
        Unit of a number that is written without one, such as the unit of a column.
    decimal : str, optional
        ``"."`` or ``","``; None: as the text shows.
    spread : Spread
        What a half-width behind ± means.

    Returns
    -------
    Quantity

    Raises
    ------
    ValueOutOfRange
        If the text cannot be understood, or is a quantity of another dimension.
    ChoiceNeeded
        If a comma could mark thousands or decimals.

    Notes
    -----
    A half-width behind ± is taken as the limits of a rectangular distribution unless the caller says otherwise
    (GUM 4.3.7: nothing is known about the values inside). It is never taken silently as a standard uncertainty.
    Digits in brackets are a standard uncertainty in steps of the last digit, or, with a decimal sign, in the unit
    (GUM 7.2.2). The SI value is the float nearest to what was written.

    References
    ----------
    JCGM 100:2008 (GUM) 4.3.7, 7.2.2.

    Examples
    --------
    >>> read_quantity("3.5 mm", Dimension.LENGTH).value
    0.0035
    >>> read_quantity("2:03.4", Dimension.TIME).value
    123.4
    >>> gap = read_quantity("12,3 ± 0,2 mm", Dimension.LENGTH)
    >>> gap.half_width, gap.spread.value, round(gap.standard_uncertainty, 7)
    (0.0002, 'rectangular', 0.0001155)
    """
    called = name or dimension.value
    plain = plain_text(text)
    if len(plain) > LONGEST:
        raise ValueOutOfRange(called, f"{len(plain)} characters long", f"at most {LONGEST} characters long")
    sign = decimal_sign([plain], called) if decimal is None else decimal
    require_decimal_sign(sign)
    return _understood(_Reading(text, called, dimension, sign, unit), plain, spread)
