"""The figures of a comparison as a reader sees them: every number already written, unknown ones None."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from truerun.trial.comparison import Comparison
from truerun.trial.context import amount, claim_shown, hand_allowance, pooled_spread, shown, shown_span
from truerun.trial.phrases import count_words, percent, stake

__all__ = ["Bet", "Bounds", "FiguresShown", "Found", "Luck", "Opinion", "Scatter", "figures_shown"]

_OPINIONS = {"welch": "Welch's t", "ancova": "Analysis of covariance"}
_Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, and between which values.

    ``value`` is the drive fraction or, on a linear scale, the difference; ``low`` and ``high`` its span, None where
    none can be given, "open" where one end has no bound. ``claim`` tells where the claimed size lies: "inside",
    "above", "below", or None where nothing was claimed or no span can be given. ``nearest`` is the distance of the
    span from zero, where it does not include it.
    """

    value: str
    magnitude: str
    adds: bool
    low: str | None
    high: str | None
    coverage: str
    attained: str | None
    claimed: str | None
    claim: str | None
    nearest: str | None


@dataclass(frozen=True, slots=True)
class Luck:
    """How often luck alone does as much: ``count`` of ``orders``; ``sampled`` where these were drawn by lot."""

    orders: str
    count: str
    p: str
    sampled: bool


@dataclass(frozen=True, slots=True)
class Bet:
    """The running bet: where it stands, after each block, and its span."""

    last: str
    steps: tuple[str, ...]
    low: str
    high: str


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much may still be added or taken, and how surely a ``bigger`` (or lower) effect is ruled out."""

    adds: str
    takes: str
    confidence: str
    severity: tuple[tuple[str, str], ...]
    bigger: str


@dataclass(frozen=True, slots=True)
class Scatter:
    """The spread from run to run, as found and as planned for, and what the plan was made to find with it."""

    found: str | None
    planned: str | None
    to_find: str | None
    in_tests: str | None


@dataclass(frozen=True, slots=True)
class Opinion:
    """One usual test: its value and span on the scale of the result, its p and degrees of freedom."""

    name: str
    value: str
    low: str
    high: str
    p: str
    df: str


@dataclass(frozen=True, slots=True)
class FiguresShown:
    """Everything that a page says with a number; parts that the result does not have are None.

    ``drive`` tells whether sizes are shares of the losses, ``hand`` what is reckoned for a hand that knew,
    ``retained`` how much of the comparison the adjustment leaves; ``orders`` is
    how many the list holds, also where luck is withdrawn.
    """

    drive: bool
    found: Found
    orders: str | None
    luck: Luck | None
    bet: Bet | None
    bounds: Bounds | None
    scatter: Scatter
    margin: str | None
    hand: str | None
    retained: str | None
    opinions: tuple[Opinion, ...]


def figures_shown(result: Comparison) -> FiguresShown | None:
    """Write the figures of a comparison.

    Parameters
    ----------
    result : Comparison
        Finished.

    Returns
    -------
    FiguresShown or None
        None for a covered result.
    """
    if result.verdict is None:
        return None
    at, document = result.at, result.document()
    hand = hand_allowance(at)
    return FiguresShown(
        drive=at.logarithmic,
        found=_found(result, document),
        orders=count_words(document["orders"]) if document["orders"] else None,
        luck=_luck(document),
        bet=_bet(result),
        bounds=_bounds(result, document),
        scatter=_scatter(result),
        margin=None if at.rules.margin is None else amount(at, at.rules.margin),
        hand=None if hand is None else amount(at, hand) + (" of a time" if at.logarithmic else ""),
        retained=None if result.figures is None else percent(result.figures.retained),
        opinions=_opinions(result, document),
    )


def _found(result: Comparison, document: _Document) -> Found:
    """Write value and span."""
    at = result.at
    found = document["drive_fraction"] or document["effect"]
    value, low, high = found["value"], found["low"], found["high"]
    spanned = low is not None or high is not None
    claimed = claim_shown(at)
    attained = found["attained"] if spanned else None
    return Found(
        value=amount(at, value, signed=True),
        magnitude=amount(at, abs(value)),
        adds=value > 0,
        low=_end(result, low) if spanned else None,
        high=_end(result, high) if spanned else None,
        coverage=f"{100 * found['coverage']:g}",
        attained=None if attained is None else f"{100 * attained:.3g}\N{NO-BREAK SPACE}%",
        claimed=None if claimed is None else amount(at, claimed, signed=True),
        claim=_claim(claimed, low, high) if spanned else None,
        nearest=_nearest(result, low, high),
    )


def _end(result: Comparison, end: float | None) -> str:
    """Write one end of a span."""
    return "open" if end is None else amount(result.at, end, signed=True)


def _claim(claimed: float | None, low: float | None, high: float | None) -> str | None:
    """Tell where the claimed size lies."""
    if claimed is None:
        return None
    if low is not None and claimed < low:
        return "below"
    return "above" if high is not None and claimed > high else "inside"


def _nearest(result: Comparison, low: float | None, high: float | None) -> str | None:
    """Give the distance of a span from zero."""
    if low is not None and low > 0:
        return amount(result.at, low)
    return amount(result.at, -high) if high is not None and high < 0 else None


def _luck(document: _Document) -> Luck | None:
    """Write how often luck alone does as much."""
    p, orders = document["p"], document["orders"]
    if p is None or orders is None:
        return None
    return Luck(count_words(orders), count_words(p * orders), f"{p:.4g}", bool(document["sampled"]))


def _bet(result: Comparison) -> Bet | None:
    """Write the running bet; its span on the scale of the result, the lower end first."""
    drawn, at = result.figures, result.at
    if drawn is None or drawn.evidence is None:
        return None
    low, high = (_end(result, end) for end in shown_span(at, *drawn.sequence))
    steps = tuple(stake(float(step)) for step in drawn.evidence.steps)
    return Bet(stake(drawn.evidence.last), steps, low, high)


def _bounds(result: Comparison, document: _Document) -> Bounds | None:
    """Write what is ruled out."""
    limits, at = document["limits"], result.at
    if limits is None:
        return None
    rows = document["severity"] or ()
    return Bounds(
        adds=_limit(result, limits["adds_less_than"]),
        takes=_limit(result, limits["takes_less_than"]),
        confidence=f"{100 * limits['confidence']:g}",
        severity=tuple((f"{row['surely']:.2f}", amount(at, row["below"], signed=True)) for row in rows),
        bigger="bigger" if at.logarithmic or at.rules.measurand.sign > 0 else "lower",
    )


def _limit(result: Comparison, size: float | None) -> str:
    """Write a limit; where the span does not reach to this side of zero there is nothing to bound."""
    if size is None:
        return "an amount that cannot be bounded"
    return f"less than {amount(result.at, size)}" if size > 0 else "nothing"


def _scatter(result: Comparison) -> Scatter:
    """Write how the runs scatter."""
    spread = pooled_spread(result.at)
    forecast = result.at.rules.plan.forecast if result.at.rules.plan is not None else None
    return Scatter(
        found=amount(result.at, spread) if spread else None,
        planned=percent(forecast.spread) if forecast else None,
        to_find=percent(forecast.drive_fraction) if forecast else None,
        in_tests=f"{100 * forecast.power:g}" if forecast else None,
    )


def _opinions(result: Comparison, document: _Document) -> tuple[Opinion, ...]:
    """Write those second opinions that the document gives, on the scale of the result."""
    at = result.at
    rows = []
    for key in document["second_opinions"]:
        given = at.opinions[key]
        low, high = sorted(shown(at, end) for end in (given.low, given.high))
        value, low_text, high_text = (amount(at, size, signed=True) for size in (shown(at, given.effect), low, high))
        rows.append(Opinion(_OPINIONS[key], value, low_text, high_text, f"{given.p:.3g}", f"{given.df:.3g}"))
    return tuple(rows)
