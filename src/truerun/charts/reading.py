"""How the sizes of one comparison are written: in percent or in a unit, and which side is which."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truerun.trial.comparison import Comparison
from truerun.trial.phrases import measured, percent

__all__ = ["PERCENT", "Reading", "doubling_span", "even_ticks", "nice_step", "reading_of", "text_width"]

_SPACE = "\N{NO-BREAK SPACE}"
_MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class Reading:
    """Unit of the sizes on an axis and the words at its ends.

    ``per`` is what a value is multiplied by to stand in ``unit``: 100 for drive fractions in percent.
    """

    per: float
    unit: str
    left: str
    right: str
    left_short: str
    right_short: str
    middle: str = "no difference"

    @property
    def share(self) -> bool:
        """Whether sizes are shares of the losses."""
        return self.unit == "%"

    def write(self, value: float, *, signed: bool = True) -> str:
        r"""Write a size as it is written everywhere else.

        Examples
        --------
        >>> PERCENT.write(-0.0546)
        '−5.5\xa0%'
        """
        if self.share:
            return percent(value, signed=signed)
        return measured(value, self.unit, signed=signed)

    def tick(self, value: float, step: float, *, unit: bool = False) -> str:
        """Write a graduation: no more digits than the step between two of them has.

        Examples
        --------
        >>> PERCENT.tick(0.05, 0.01), PERCENT.tick(0, 0.01)
        ('+5', '0')
        """
        decimals = max(0, -math.floor(math.log10(step * self.per) + 1e-9))
        number = f"{value * self.per:+.{decimals}f}".replace("-", _MINUS)
        if float(f"{value * self.per:.{decimals}f}") == 0:
            return "0"
        return f"{number}{_SPACE}{self.unit}" if unit and self.unit else number


PERCENT = Reading(100, "%", "← takes energy", "adds energy →", "← takes", "adds →")
"""Drive fractions of no test in particular."""


def reading_of(comparison: Comparison) -> Reading:
    """Give how the sizes of a comparison are written."""
    rules = comparison.at.rules
    name = rules.conditions.source
    quoted = f"“{name}”" if len(name) <= 22 else "it"
    if comparison.at.logarithmic:
        return Reading(100, "%", f"← {quoted} brakes", f"{quoted} drives →", "← a brake", "a drive →")
    measured = rules.measurand.name
    ends = (f"← less {measured}", f"more {measured} →") if len(measured) <= 18 else ("← less", "more →")
    return Reading(1, rules.measurand.unit or "", *ends, "← less", "more →")


def nice_step(reach: float, most: int) -> float:
    """Give a step of 1, 2 or 5 times a power of ten that divides ``reach`` into at most ``most`` parts.

    Examples
    --------
    >>> nice_step(13.0, 7), nice_step(0.9, 5)
    (2.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(reach / most))
    return next(step for step in (power, 2 * power, 5 * power, 10 * power) if reach / step <= most * (1 + 1e-9))


def even_ticks(low: float, high: float, step: float) -> list[float]:
    """Give the multiples of a step from ``low`` to ``high``.

    Examples
    --------
    >>> even_ticks(-2.5, 2.5, 1.0)
    [-2.0, -1.0, 0.0, 1.0, 2.0]
    """
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(place * step, 12) for place in range(first, last + 1)]


def doubling_span(farthest: float, *, share: bool) -> float:
    """Give half the span of a drive line: 15, 30, 60, 120 % ..., in other units also smaller.

    Examples
    --------
    >>> doubling_span(0.0668, share=True), doubling_span(0.2, share=True), doubling_span(2.0, share=False)
    (0.15, 0.3, 3.0)
    """
    farthest = max(farthest, 1e-12) * 1.02
    if share:
        return 0.15 * 2.0 ** max(0, math.ceil(math.log2(farthest / 0.15)))
    power = 10.0 ** math.floor(math.log10(farthest / 1.5))
    return next(span for span in (1.5 * power, 3 * power, 6 * power, 15 * power) if span >= farthest)


def text_width(text: str, size: int = 15, *, bold: bool = False) -> float:
    """Estimate how wide a text is [px], rather too wide than too narrow.

    Examples
    --------
    >>> text_width("+5.5 %") > 40
    True
    """
    return len(text) * size * (0.66 if bold else 0.6)
