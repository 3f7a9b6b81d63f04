"""A reader who takes a verdict at its word, and holds every number of its sentence against the figures beside it.

Written apart from :mod:`truerun.trial.sentences` on purpose: it knows the words and the figures, not how one was made
from the other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from truerun.trial.comparison import Comparison
from truerun.trial.verdict import Verdict

__all__ = ["contradictions"]

_AMOUNT = re.compile("([+\N{MINUS SIGN}]?)([0-9]+(?:[.]([0-9]+))?)(?:×10⁻([⁰¹²³⁴⁵⁶⁷⁸⁹]+))?\N{NO-BREAK SPACE}(%|s)")
_LOWERED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")
_OPEN = "cannot be bounded"
_NEXT_TO_NOTHING = "next to nothing"
_BESIDE = "lies beside zero"
_LEAST = 0.5e-4  # half a step of 0.01 %

_Figures = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Amount:
    """A number as a reader sees it, and half a step of its last digit."""

    value: float
    half_step: float

    def is_(self, figure: float | None) -> bool:
        """Tell whether this is what a figure rounds to."""
        return figure is not None and abs(self.value - figure) <= self.half_step * (1 + 1e-6)


def read_amounts(text: str) -> list[Amount]:
    r"""Read every amount in percent or seconds.

    Examples
    --------
    >>> text = "between \N{MINUS SIGN}1.5\N{NO-BREAK SPACE}% and 3\N{NO-BREAK SPACE}%"
    >>> [(found.value, found.half_step) for found in read_amounts(text)]
    [(-0.015, 0.0005), (0.03, 0.005)]
    """
    found = []
    for sign, digits, decimals, power, unit in _AMOUNT.findall(text):
        scale = 100 if unit == "%" else 10 ** int((power or "0").translate(_LOWERED))
        value = float(digits) / scale
        found.append(Amount(-value if sign == "\N{MINUS SIGN}" else value, 0.5 / 10 ** len(decimals) / scale))
    return found


def contradictions(result: Comparison) -> tuple[str, ...]:
    """Name everything in which the sentence of a fair and complete test contradicts its own figures.

    Parameters
    ----------
    result : Comparison
        Of a time, as drive fraction or in seconds.

    Returns
    -------
    tuple of str
        In a few words each; empty where all agrees, or where the sentence gives no span.
    """
    document = result.document()
    span = document["drive_fraction"] or document["effect"]
    look = _LOOKS.get(result.verdict) if result.verdict else None
    if look is None or span is None:
        return ()
    return tuple(look(result, document, span))


def _difference(result: Comparison, document: _Figures, span: _Figures) -> Iterator[str]:
    """Read "with it the wheel loses so much less, between a and b"."""
    said = result.sentence.split(";")[0]
    value, *ends = read_amounts(said)
    more = "less than" in said or "is higher" in said
    if more != (span["value"] > 0) or (more and (span["low"] or 0) < 0) or (not more and (span["high"] or 0) > 0):
        yield "the direction"
    if not value.is_(abs(span["value"])):
        yield "the size"
    figures = sorted(abs(end) for end in (span["low"], span["high"]) if end is not None)
    if len(ends) != len(figures) or not all(end.is_(figure) for end, figure in zip(ends, figures, strict=True)):
        yield "the span"
    if (ends and value.value < ends[0].value) or (len(ends) == 2 and value.value > ends[1].value):
        yield "the size against the span"
    yield from _claim(result, document, span)


def _claim(result: Comparison, document: _Figures, span: _Figures) -> Iterator[str]:
    """Read "the 5 % that is claimed lies in this span"."""
    if document["claimed"] is None:
        return
    claimed = _as_shown(document["claimed"], document)
    inside = (span["low"] is None or span["low"] <= claimed) and (span["high"] is None or claimed <= span["high"])
    if inside != ("lies in this span" in result.sentence):
        yield "the claim"


def _nothing_found(result: Comparison, document: _Figures, span: _Figures) -> Iterator[str]:
    """Read "if it adds anything, it is less than a; if it takes anything, less than b"."""
    limits = [document["limits"][key] for key in ("adds_less_than", "takes_less_than")]
    if document["effect"] is not None and document["measurand"]["sign"] < 0:
        limits.reverse()
    words = result.sentence.split(", each right")[0].split("; if it ")
    for text, limit, value in zip(words, limits, (span["value"], -span["value"]), strict=True):
        said = read_amounts(text) or ([Amount(0.0, _LEAST)] if _NEXT_TO_NOTHING in text else [])
        if bool(said) == (_OPEN in text) or bool(said) == (limit is None) or (said and not said[0].is_(limit)):
            yield "a limit"
        elif said and value > said[0].value + said[0].half_step:
            yield "the effect against a limit"
    if _beside_zero(span) and _BESIDE not in result.sentence:
        yield "no difference, and a span beside zero"
    size = document["claimed"] if document["claimed"] is not None else document["margin"]
    if size is not None and size > 0 and _reaches(_as_shown(size, document), span):
        yield "no difference, and what is claimed not excluded"


def _small(result: Comparison, document: _Figures, span: _Figures) -> Iterator[str]:
    """Read "smaller than the margin: between a and b"."""
    margin, low, high = read_amounts(result.sentence.split(", right")[0])
    if not margin.is_(document["margin"]):
        yield "the margin"
    if not -margin.value <= low.value <= high.value <= margin.value:
        yield "the span against the margin"
    if not low.value - low.half_step <= span["value"] <= high.value + high.half_step:
        yield "the effect against the span"
    if _beside_zero(span) and _BESIDE not in result.sentence:
        yield "no difference, and a span beside zero"


def _too_small(result: Comparison, document: _Figures, span: _Figures) -> Iterator[str]:
    """Read "includes no difference, and also what is claimed", or "a hand could have made it"; between a and b."""
    amounts = read_amounts(result.sentence)
    by_hand = "A hand that knew" in result.sentence
    ends, size = (amounts[:-2], amounts[-1]) if by_hand else (amounts[1:], amounts[0])
    figures = [end for end in (span["low"], span["high"]) if end is not None]
    if len(ends) != len(figures) or not all(end.is_(figure) for end, figure in zip(ends, figures, strict=True)):
        yield "the span"
    if by_hand != _beside_zero(span):
        yield "whether the span holds zero"
    if not _holds(size.value, size.half_step + (document["hand_allowance"] if by_hand else 0.0), span):
        yield "the claim against the span"


def _as_shown(size: float, document: _Figures) -> float:
    """Put a size that helps the source on the scale of the span."""
    return size if document["effect"] is None else size * float(document["measurand"]["sign"])


def _beside_zero(span: _Figures) -> bool:
    """Tell whether a span leaves zero out."""
    return (span["low"] is not None and span["low"] > 0) or (span["high"] is not None and span["high"] < 0)


def _reaches(size: float, span: _Figures) -> bool:
    """Tell whether a span that begins at zero or below holds a size, or goes beyond it."""
    return span["high"] is None or span["high"] >= size if size > 0 else span["low"] is None or span["low"] <= size


def _holds(size: float, slack: float, span: _Figures) -> bool:
    """Tell whether a span holds a size."""
    above = span["low"] is None or span["low"] <= size + slack
    return above and (span["high"] is None or size - slack <= span["high"])


_LOOKS: dict[Verdict, Callable[[Comparison, _Figures, _Figures], Iterator[str]]] = {
    Verdict.ADDS: _difference,
    Verdict.TAKES: _difference,
    Verdict.NO_DIFFERENCE: _nothing_found,
    Verdict.WITHIN_MARGIN: _small,
    Verdict.INCONCLUSIVE: _too_small,
}
