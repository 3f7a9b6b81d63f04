"""The sentences of a verdict, filled with its numbers."""

from __future__ import annotations

import math

import numpy as np

from truerun.errors import ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding, Severity
from truerun.findings.verdict_words import HEADLINES, SENTENCES
from truerun.stats.orders import orders_for, rejecting_orders
from truerun.stats.t_power import two_sample_runs
from truerun.trial.context import (
    Context,
    adding,
    amount,
    claim_shown,
    hand_allowance,
    pooled_spread,
    shown,
    shown_span,
    withdrawn,
)
from truerun.trial.controls import left_standing, next_controls, taken_out, taking_out
from truerun.trial.phrases import NEXT_TO_NOTHING, count_words, listed, percent, stake
from truerun.trial.plan import End, Role
from truerun.trial.verdict import Verdict, side_of_zero, size_at_stake

__all__ = ["cause_findings", "headline", "sentence"]

_MOST_OF_EACH = 14  # every set can decide from 12 of each at the usual levels


def headline(at: Context, verdict: Verdict) -> str:
    """Give the verdict in a few words."""
    name = at.rules.conditions.source
    key = verdict.value
    if verdict in (Verdict.ADDS, Verdict.TAKES):
        adds = verdict is Verdict.ADDS
        if not at.logarithmic:
            key = "higher" if adds == (at.rules.measurand.sign > 0) else "lower"
        elif _inside_margin(at):
            key = "adds-a-little" if adds else "takes-a-little"
    margin = amount(at, at.rules.margin) if at.rules.margin is not None else ""
    return HEADLINES[key].format(source=f'"{name}"', margin=margin, name=at.rules.measurand.name)


def sentence(at: Context, verdict: Verdict, findings: tuple[Finding, ...]) -> str:
    """Say the verdict with its numbers.

    Parameters
    ----------
    at : Context
        Rules, observations and figures.
    verdict : Verdict
        As decided.
    findings : tuple of Finding
        What the checks found; a stop is quoted with its remedy.

    Returns
    -------
    str
    """
    if verdict is Verdict.NOT_FAIR:
        return _not_fair([found for found in findings if found.severity is Severity.STOP])
    start = SENTENCES["if-as-stated"] if at.rules.plan is None else ""
    if withdrawn(at):
        return start + _withdrawn_sentence(at, verdict)
    if verdict in (Verdict.ADDS, Verdict.TAKES):
        return start + _difference(at) + _luck(at) + _what_it_means(at, verdict)
    if verdict is Verdict.WITHIN_MARGIN:
        return start + _margin_sentence(at)
    if verdict is Verdict.INCONCLUSIVE:
        return start + _inconclusive(at)
    return start + _limits_sentence(at)


def cause_findings(at: Context, verdict: Verdict) -> tuple[Finding, ...]:
    """Say what could be the cause of a difference in a main test."""
    if verdict not in (Verdict.ADDS, Verdict.TAKES) or at.rules.role is not Role.MAIN:
        return ()
    drive = verdict is Verdict.ADDS
    found = []
    standing = left_standing(at.rules.controls_settled, drive=drive)
    if standing:
        following = next_controls(at.rules.controls_done, drive=drive)
        words = {
            "does": "adds energy" if drive else "takes energy",
            "suspects": listed([cause.words for cause in standing]),
            "controls": listed(following) or "the same controls again, with more runs",
        }
        found.append(finding("cause-not-isolated", words))
    gone = taking_out(at.rules.controls_without, drive=drive)
    if gone:
        causes = taken_out(at.rules.controls_without, drive=drive)
        found.append(
            finding("control-without", controls=listed(gone), suspects=listed([cause.words for cause in causes]))
        )
    return tuple(found)


def _inside_margin(at: Context) -> bool:
    """Tell whether a difference, though there, is smaller than what was called meaningful."""
    drawn, margin = at.figures, at.rules.margin
    if drawn is None or margin is None or drawn.low is None or drawn.high is None or withdrawn(at):
        return False
    return drawn.low > adding(at, -margin) and drawn.high < adding(at, margin)


def _not_fair(stops: list[Finding]) -> str:
    """Say which check stops the verdict and what to do."""
    first = stops[0]
    count = SENTENCES["one-check"]
    text = SENTENCES["not-fair"].format(count=count, first=first.sentence, remedy=first.remedy or "")
    if len(stops) > 1:
        text = text.replace(
            f"{count} stops the verdict:", SENTENCES["several-checks"].format(count=len(stops)) + ":", 1
        )
    return text


def _difference(at: Context) -> str:
    """Say how large the difference is and between which values."""
    drawn = at.drawn
    return _how_much(at) + _span(at, drawn.low, drawn.high)


def _how_much(at: Context) -> str:
    """Say how large the difference is."""
    value = shown(at, at.effect)
    kind = ("loses-less" if value > 0 else "loses-more") if at.logarithmic else ("higher" if value > 0 else "lower")
    return SENTENCES[kind].format(
        source=at.rules.conditions.source,
        control=at.rules.conditions.control,
        value=amount(at, abs(value)),
        name=at.rules.measurand.name,
    )


def _span(at: Context, low: float | None, high: float | None) -> str:
    """Say between which values on one side of zero, or at least how much."""
    runs = int(at.seen.kept.sum())
    coverage = f"{100 * (1 - at.rules.alpha):g}"
    ends = sorted(abs(shown(at, end)) for end in (low, high) if end is not None)
    words = [amount(at, end) for end in ends]
    if len(words) == 2:
        return SENTENCES["between"].format(low=words[0], high=words[1], coverage=coverage, runs=runs)
    if words:
        return SENTENCES["at-least"].format(least=words[0], coverage=coverage, runs=runs)
    return SENTENCES["no-span"].format(runs=runs)


def _luck(at: Context) -> str:
    """Say how many of the orders do as much by luck."""
    drawn = at.drawn
    return SENTENCES["luck"].format(
        luck=count_words(drawn.p * drawn.plus.orders), orders=count_words(drawn.plus.orders)
    )


def _what_it_means(at: Context, verdict: Verdict) -> str:
    """Say what a difference means for the claim, and whether its cause is known."""
    text = SENTENCES["below-margin"].format(margin=amount(at, at.rules.margin or 0.0)) if _inside_margin(at) else ""
    drawn = at.figures
    if verdict is Verdict.ADDS and at.logarithmic and drawn is not None and drawn.high is not None:
        text += SENTENCES["not-by-itself"]
    text += _claimed(at) + _refuted(at)
    if at.rules.role is Role.MAIN:
        drive = verdict is Verdict.ADDS
        standing = left_standing(at.rules.controls_settled, drive=drive)
        if standing:
            text += SENTENCES["cause-not-isolated"].format(suspects=listed([cause.words for cause in standing]))
        else:
            controls = listed(taking_out(at.rules.controls_settled, drive=drive))
            text += SENTENCES["cause-isolated-drive" if drive else "cause-isolated-brake"].format(controls=controls)
    return text


def _claimed(at: Context) -> str:
    """Say whether the claimed size lies in the span."""
    claimed, said, drawn = at.rules.claimed, claim_shown(at), at.drawn
    if claimed is None or said is None:
        return ""
    size = adding(at, claimed)
    same_way = said * shown(at, at.effect) > 0  # the difference is written without a sign; a claim beside it too
    words = amount(at, abs(said)) if same_way else amount(at, said, signed=True)
    inside = (drawn.low is None or drawn.low <= size) and (drawn.high is None or size <= drawn.high)
    return SENTENCES["claim-inside" if inside else "claim-outside"].format(claimed=words)


def _refuted(at: Context) -> str:
    """Say that a wheel that slowed down did not run by itself, where that was the claim."""
    with_source = at.seen.kept & np.isfinite(at.seen.y) & (at.seen.used > 0)
    finished = not at.seen.capped[with_source].any()
    if not at.logarithmic or (at.rules.claimed or 0) < 1 or at.rules.end is not End.SPEED or not finished:
        return ""
    runs = int(with_source.sum())
    return SENTENCES["refuted"].format(runs=runs, source=at.rules.conditions.source)


def _margin_sentence(at: Context) -> str:
    """Say that any difference is smaller than the margin."""
    drawn = at.drawn
    span = shown_span(at, drawn.low_limit, drawn.high_limit)
    ends = [amount(at, end or 0.0, signed=True) for end in span]
    text = SENTENCES["within-margin"].format(
        source=at.rules.conditions.source,
        margin=amount(at, at.rules.margin or 0.0),
        low=ends[0],
        high=ends[1],
        coverage=f"{100 * (1 - 2 * at.rules.alpha):g}",
    )
    return text + _hand(at) + _refuted(at)


def _inconclusive(at: Context) -> str:
    """Say that neither nothing nor the size at stake is excluded."""
    drawn = at.drawn
    size = at.rules.claimed if at.rules.claimed is not None else (at.rules.margin or 0.0)
    ends = [
        SENTENCES["open-limit"] if end is None else amount(at, end, signed=True)
        for end in shown_span(at, drawn.low, drawn.high)
    ]
    text = SENTENCES["inconclusive-by-hand" if _hand(at) else "inconclusive"].format(
        size=amount(at, size if at.logarithmic else at.rules.measurand.sign * size),
        whose=SENTENCES["claimed" if at.rules.claimed is not None else "margin"],
        low=ends[0],
        high=ends[1],
        coverage=f"{100 * (1 - at.rules.alpha):g}",
        allowance=amount(at, hand_allowance(at) or 0.0),
    )
    each = _runs_to_tell(at)
    more = SENTENCES["more-runs"].format(each=each) if each else ""
    return text + more + _refuted(at)


def _runs_to_tell(at: Context) -> int | None:
    """Give how many runs of each condition would find the size at stake in eight tests of ten; None if nobody could.

    Never so few that their orders could decide nothing, however clean the split.
    """
    size = size_at_stake(at)
    spread = pooled_spread(at)
    if size is None or not math.isfinite(size) or not spread:
        return None
    try:
        each = 2 * math.ceil(two_sample_runs(size / spread, 0.8, at.rules.alpha) / 2)
    except ValueOutOfRange:  # a size of next to nothing: more runs than can be planned
        return None
    return next((more for more in range(each, _MOST_OF_EACH, 2) if _can_decide(at, 2 * more)), each)


def _can_decide(at: Context, runs: int) -> bool:
    """Tell whether so many runs, drawn from the same set of orders, can decide at all."""
    try:
        return rejecting_orders(orders_for(at.rules.orders or "", runs).count, at.rules.alpha) >= 1
    except ValueOutOfRange:
        return False


def _limits_sentence(at: Context) -> str:
    """Say how large a difference could still be, each way."""
    drawn = at.drawn
    upwards = at.logarithmic or at.rules.measurand.sign > 0
    top, bottom = (drawn.high_limit, drawn.low_limit) if upwards else (drawn.low_limit, drawn.high_limit)
    up = None if top is None else max(0.0, shown(at, top))
    down = None if bottom is None else max(0.0, -shown(at, bottom))
    words = [_limit(at, up, "limit-of-losses" if at.logarithmic else "limit"), _limit(at, down, "limit")]
    key = "limits" if at.logarithmic else "limits-linear"
    text = SENTENCES[key].format(
        source=at.rules.conditions.source,
        name=at.rules.measurand.name,
        adds=words[0],
        takes=words[1],
        confidence=f"{100 * (1 - at.rules.alpha):g}",
    )
    same = SENTENCES["as-it-should"] if at.rules.role is Role.SAME_AGAINST_SAME else ""
    return text + same + _planned(at) + _hand(at) + _refuted(at)


def _limit(at: Context, size: float | None, key: str) -> str:
    """Say how large something can still be; what rounds to 0.00 % is next to nothing."""
    if size is None:
        return SENTENCES["open-limit"]
    if size == 0 or (at.logarithmic and size < NEXT_TO_NOTHING):
        return SENTENCES["next-to-nothing"]
    return SENTENCES[key].format(size=amount(at, size))


def _planned(at: Context) -> str:
    """Say what the plan was made to find, and how the spread came out."""
    forecast = at.rules.plan.forecast if at.rules.plan is not None else None
    spread = pooled_spread(at)
    if forecast is None or not spread:
        return ""
    return SENTENCES["planned"].format(
        found=percent(forecast.drive_fraction),
        power=f"{100 * forecast.power:g}",
        ratio=f"{spread / forecast.spread:.1f}",
    )


def _hand(at: Context) -> str:
    """Say so where only what a hand could make keeps the span from counting."""
    drawn, allowance = at.figures, hand_allowance(at)
    if drawn is None or allowance is None or side_of_zero(drawn.low, drawn.high, 0.0) is None:
        return ""
    return SENTENCES["little-for-a-hand"].format(allowance=amount(at, allowance))


def _withdrawn_sentence(at: Context, verdict: Verdict) -> str:
    """Say what the running bet says where the planned verdict is withdrawn."""
    drawn = at.figures
    strength = drawn.evidence.last if drawn is not None and drawn.evidence is not None else 1.0
    times = stake(strength)
    if verdict is Verdict.INCONCLUSIVE:
        return SENTENCES["bet-open"].format(evidence=times)
    return f"{_how_much(at)}.{SENTENCES['bet-decides'].format(evidence=times)}"
