"""Units that may be written: their symbols, other spellings and exact sizes in SI.

To add a unit, add its line to :data:`UNITS`; reading and messages follow. Sizes of inch, foot, pound and
ounce are the exact ones of NIST SP 811 (2008), appendix B.8.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from enum import Enum
from fractions import Fraction

from truerun.errors import ValueOutOfRange

__all__ = ["UNITS", "Dimension", "Unit", "parse_unit", "units_of"]


class Dimension(Enum):
    """What a number counts; the value is the word used in messages."""

    LENGTH = "length"
    MASS = "mass"
    TIME = "time"
    ANGLE = "angle"
    SPEED = "speed of rotation"
    DECELERATION = "rate of change of speed"
    LINEAR_SPEED = "speed along a line"
    INERTIA = "moment of inertia"
    TORQUE = "torque"
    FORCE = "force"
    ENERGY = "energy"
    POWER = "power"
    VOLTAGE = "voltage"
    CURRENT = "current"
    RESISTANCE = "resistance"
    CAPACITANCE = "capacitance"
    FLUX_DENSITY = "magnetic flux density"
    TEMPERATURE_DIFFERENCE = "temperature difference"
    RATIO = "ratio"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: ``exact`` is its size in SI, ``spellings`` are other ways to write ``symbol``.

    Examples
    --------
    >>> parse_unit("inches").factor
    0.0254
    """

    symbol: str
    dimension: Dimension
    exact: Fraction
    spellings: tuple[str, ...] = field(default=(), repr=False)

    @property
    def factor(self) -> float:
        """Size of the unit in SI: a number in this unit times ``factor`` is the SI value."""
        return float(self.exact)


_PI = Fraction("3.14159265358979323846264338327950288419716939937510")
_D = Dimension


def _of(dimension: Dimension, *rows: tuple[str, str | int | Fraction, str]) -> tuple[Unit, ...]:
    """Make the units of one dimension; further spellings stand in one text, parted by bars."""
    return tuple(
        Unit(symbol, dimension, Fraction(size), tuple(spellings.split("|")) if spellings else ())
        for symbol, size, spellings in rows
    )


UNITS: tuple[Unit, ...] = (
    *_of(
        _D.LENGTH,
        ("mm", "0.001", "millimetre|millimetres|millimeter|millimeters"),
        ("cm", "0.01", "centimetre|centimetres|centimeter|centimeters"),
        ("m", 1, "metre|metres|meter|meters"),
        ("µm", "1e-6", "micrometre|micrometres|micrometer|micrometers"),
        ("in", "0.0254", "inch|inches|\"|″|”|''"),
        ("ft", "0.3048", "foot|feet"),
    ),
    *_of(
        _D.MASS,
        ("g", "0.001", "gram|grams|gramme|grammes"),
        ("kg", 1, "kilogram|kilograms|kilo|kilos"),
        ("mg", "1e-6", "milligram|milligrams"),
        ("oz", Fraction("0.45359237") / 16, "ounce|ounces"),
        ("lb", "0.45359237", "lbs|pound|pounds"),
    ),
    *_of(
        _D.TIME,
        ("s", 1, "sec|secs|second|seconds"),
        ("ms", "0.001", "millisecond|milliseconds"),
        ("µs", "1e-6", "microsecond|microseconds"),
        ("min", 60, "mins|minute|minutes"),
        ("h", 3600, "hr|hrs|hour|hours"),
    ),
    *_of(
        _D.ANGLE,
        ("°", _PI / 180, "deg|degs|degree|degrees|º"),
        ("rad", 1, "radian|radians"),
        ("turn", 2 * _PI, "turns|rev|revs|revolution|revolutions"),
    ),
    *_of(
        _D.SPEED,
        ("r/min", _PI / 30, "rpm|r.p.m.|rev/min|turns/min|turn/min|U/min|1/min|min-1"),
        ("rad/s", 1, "rad s-1"),
        ("turns/s", 2 * _PI, "turn/s|r/s|rev/s|rps"),
        ("°/s", _PI / 180, "deg/s|degrees/s|º/s"),
    ),
    *_of(_D.DECELERATION, ("rad/s²", 1, "rad s-2")),
    *_of(_D.LINEAR_SPEED, ("m/s", 1, "m s-1"), ("mm/s", "0.001", "mm s-1")),
    *_of(_D.INERTIA, ("kg m²", 1, ""), ("g cm²", "1e-7", ""), ("g m²", "0.001", "")),
    *_of(_D.TORQUE, ("N m", 1, ""), ("mN m", "0.001", ""), ("µN m", "1e-6", "")),
    *_of(_D.FORCE, ("N", 1, "newton|newtons"), ("mN", "0.001", "")),
    *_of(
        _D.ENERGY,
        ("J", 1, "joule|joules|W s"),
        ("mJ", "0.001", ""),
        ("µJ", "1e-6", ""),
        ("kJ", 1000, ""),
        ("Wh", 3600, ""),
        ("mWh", "3.6", ""),
    ),
    *_of(_D.POWER, ("W", 1, "watt|watts"), ("mW", "0.001", ""), ("µW", "1e-6", "")),
    *_of(_D.VOLTAGE, ("V", 1, "volt|volts"), ("mV", "0.001", "")),
    *_of(_D.CURRENT, ("A", 1, "amp|amps|ampere|amperes"), ("mA", "0.001", ""), ("µA", "1e-6", "")),
    *_of(_D.RESISTANCE, ("Ω", 1, "ohm|ohms"), ("kΩ", 1000, "kohm"), ("mΩ", "0.001", "mohm")),
    *_of(_D.CAPACITANCE, ("F", 1, "farad|farads"), ("mF", "0.001", ""), ("µF", "1e-6", "")),
    *_of(_D.FLUX_DENSITY, ("mT", "0.001", ""), ("T", 1, "tesla"), ("µT", "1e-6", ""), ("G", "1e-4", "gauss")),
    *_of(_D.TEMPERATURE_DIFFERENCE, ("K", 1, "kelvin"), ("°C", 1, "degC|ºC")),
    *_of(
        _D.RATIO,
        ("%", "0.01", "percent|per cent"),
        ("", 1, "1|-|ratio"),
        ("ppm", "1e-6", ""),
        ("mm/m", "0.001", ""),
    ),
)

_ALIKE = str.maketrans("μ²⁻¹Ω", "µ2-1Ω", " .·⋅*^")


def _key(text: str) -> str:
    """Leave out what does not change a unit: spaces, points, signs of multiplication, raised digits."""
    return text.translate(_ALIKE)


def _spellings(unit: Unit) -> tuple[str, ...]:
    """Every way to write the unit, with u for µ."""
    latin = (unit.symbol.replace("µ", "u"),) if "µ" in unit.symbol else ()
    return (unit.symbol, *latin, *unit.spellings)


_KNOWN = {_key(spelling): unit for unit in UNITS for spelling in _spellings(unit)}


def units_of(dimension: Dimension) -> tuple[Unit, ...]:
    """Units of one dimension, the usual one first.

    Examples
    --------
    >>> [unit.symbol for unit in units_of(Dimension.FORCE)]
    ['N', 'mN']
    """
    return tuple(unit for unit in UNITS if unit.dimension is dimension)


def _nearest(text: str, dimension: Dimension | None) -> str | None:
    """Give the known spelling most like a text: another case first, then a slip of the keys."""
    spellings = [
        spelling for unit in UNITS if dimension in (None, unit.dimension) for spelling in _spellings(unit) if spelling
    ]
    for spelling in spellings:
        if _key(spelling).casefold() == _key(text).casefold():
            return spelling
    close = difflib.get_close_matches(text, spellings, n=1, cutoff=0.6)
    return close[0] if close else None


def parse_unit(text: str, dimension: Dimension | None = None) -> Unit:
    """Find the unit that a text names; upper and lower case count (mW is not MW).

    Parameters
    ----------
    text : str
        Symbol or word, such as ``mm``, ``inches``, ``r/min``, ``kg m^2``.
    dimension : Dimension, optional
        If given, units of any other dimension are refused.

    Returns
    -------
    Unit

    Raises
    ------
    ValueOutOfRange
        If there is no such unit, or it counts something else.

    Notes
    -----
    ``°C`` is known as a temperature *difference* only; 1 °C is then 1 K.

    Examples
    --------
    >>> parse_unit("rpm").symbol
    'r/min'
    >>> parse_unit("Kg")
    Traceback (most recent call last):
    ...
    truerun.errors.ValueOutOfRange: unit is "Kg"; it must be a unit known here. Did you mean "kg"?
    """
    unit = _KNOWN.get(_key(text.strip()))
    if unit is not None and dimension in (None, unit.dimension):
        return unit
    if dimension is None:
        name, allowed = "unit", "a unit known here"
    else:
        name, listed = dimension.value, ", ".join(u.symbol for u in units_of(dimension) if u.symbol)
        name, allowed = f"unit of {name}", f"one of {listed}"
    near = _nearest(text.strip(), dimension)
    remedy = f'Did you mean "{near}"?' if near else "Write, for example, mm, g, s or r/min."
    if dimension is not None and not near:
        remedy = f"Write the number in {units_of(dimension)[0].symbol}, for example."
    raise ValueOutOfRange(name, f'"{text.strip()}"', allowed, remedy)
