"""Results as plain text for a terminal: the verdict first, then the figures, then what was found and what to do."""

from __future__ import annotations

import math
from functools import partial

from truerun.report.layout import minutes_text, rows_text, wrapped
from truerun.report.noticed import findings_text
from truerun.trial.comparison import Comparison
from truerun.trial.context import amount, pooled_spread, shown
from truerun.trial.look import Look
from truerun.trial.phrases import adjusted_words, count_words, measured, percent, stake
from truerun.trial.plan import Plan
from truerun.trial.planning import Prospect, Schedule
from truerun.trial.seal import Seal, spoken

__all__ = ["comparison_text", "look_text", "plan_text"]


def comparison_text(result: Comparison) -> str:
    """Write a comparison.

    Parameters
    ----------
    result : Comparison
        Finished.

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    parts = [result.headline, wrapped(result.sentence)]
    rows = _figure_rows(result)
    if rows:
        parts.append(rows_text(rows))
    parts += [findings_text(result.findings)] if result.findings else []
    return "\n\n".join(parts)


def _figure_rows(result: Comparison) -> list[tuple[str, str]]:
    """Give the figures of a comparison, a name and a value each."""
    at, drawn = result.at, result.figures
    rows = [("Runs", ", ".join(f"{count} {name}" for name, count in result.counts.items()))]
    if result.verdict is None:
        return rows
    name = "Drive of the source" if at.logarithmic else f"Difference in {at.rules.measurand.name}"
    rows.append((name, amount(at, shown(at, at.effect), signed=True)))
    if drawn is not None and not result.withdrawn:
        rows += _interval_rows(result)
    if drawn is not None and drawn.evidence is not None:
        rows.append(("A running bet against no effect", f"your stake times {stake(drawn.evidence.last)}"))
    spread = pooled_spread(at)
    if spread:
        rows.append(("Spread from run to run", amount(at, spread)))
    for key, label in (("welch", "Welch's t"), ("ancova", "covariance analysis")):
        if key in at.opinions and drawn is not None and not result.withdrawn:
            ends = sorted(shown(at, end) for end in (at.opinions[key].low, at.opinions[key].high))
            words = [amount(at, end, signed=True) for end in ends]
            rows.append((f"Second opinion, {label}", f"{words[0]} to {words[1]}"))
    return rows


def _interval_rows(result: Comparison) -> list[tuple[str, str]]:
    """Give interval, luck and limits."""
    at, drawn = result.at, result.figures
    if drawn is None:
        return []
    ends = [drawn.low, drawn.high] if at.logarithmic or at.rules.measurand.sign > 0 else [drawn.high, drawn.low]
    words = ["open" if end is None else amount(at, shown(at, end), signed=True) for end in ends]
    coverage = f"{100 * (1 - at.rules.alpha):g}"
    luck = drawn.p * drawn.plus.orders
    return [
        ("Between", f"{words[0]} and {words[1]} (right {coverage} times in 100)"),
        (
            "Luck alone does this in",
            f"{count_words(luck)} of {count_words(drawn.plus.orders)} orders (p = {drawn.p:.4g})",
        ),
        ("Adjusted for", ", ".join(adjusted_words(at.rules.adjust)) or "nothing"),
    ]


def look_text(look: Look) -> str:
    """Write a quick look; it never sounds like a verdict.

    Parameters
    ----------
    look : Look
        Finished.

    Returns
    -------
    str
    """
    longer = "longer" if look.difference > 0 else "shorter"
    share = percent(abs(math.expm1(-math.log1p(-look.difference))))
    runs = sum(look.counts.values())
    say = (
        f'With "{look.source}" the runs were {share} {longer} than with "{look.control}". That is what {runs} runs '
        f"show, not what the source does: a look never gives a verdict. {look.luck}"
    )
    rows = [(name, f"{look.counts[name]} runs, {mean:.4g} s on average") for name, mean in look.means.items()]
    rows.append(("Spread from run to run", percent(look.spread)))
    rows += [
        (f"A deciding test of {test.runs // 2} + {test.runs // 2} runs", _offer(test.finds, test.minutes))
        for test in look.deciding
    ]
    parts = ["A first look. Nothing is decided here.", wrapped(say), rows_text(rows)]
    if look.runs_to_find is not None:
        half = look.runs_to_find // 2
        parts.append(
            wrapped(f"If the difference is real and this large, {half} + {half} runs find it in 8 tests of 10.")
        )
    if look.findings:
        parts.append(findings_text(look.findings))
    return "\n\n".join(parts)


def _offer(finds: float, minutes: float | None) -> str:
    """Say what a deciding test finds and how long it takes."""
    long = f"; {minutes_text(minutes)}" if minutes is not None else ""
    return f"finds a drive of {percent(finds)} in 8 tests of 10{long}"


def plan_text(plan: Plan, seal: Seal, ahead: Prospect, time: Schedule | None, chance: float | None) -> str:
    """Write what a sealed plan holds and what it can find.

    Parameters
    ----------
    plan : Plan
        Sealed.
    seal : Seal
        Its fingerprint.
    ahead : Prospect
        What it can find.
    time : Schedule or None
        How long it takes, where minutes were given.
    chance : float or None
        Probability to find the claimed drive (else the margin), where one was given.

    Returns
    -------
    str
    """
    half = plan.runs // 2
    size_text = percent if plan.measurand.scale == "log" else partial(measured, unit=plan.measurand.unit)
    say = (
        "The plan is sealed. Tell this code to somebody who will remember the day; "
        "a code that only you hold proves nothing about the date."
    )
    code = "\n".join(f"    {group}   {spoken(group)}" for group in seal.code.split())
    rows = [
        ("Runs", f"{half} {plan.conditions.source}, {half} {plan.conditions.control}, in {plan.orders}"),
        ("Orders that could be drawn", f"{count_words(ahead.orders)}; a perfect split comes by luck in 2 of them"),
        ("False alarms, at most", percent(ahead.false_alarms)),
        (
            "Found in 8 tests of 10",
            f"a difference of {size_text(ahead.finds)}, at a spread of {size_text(ahead.spread)}",
        ),
        ("Found in 19 tests of 20", size_text(ahead.finds_surely)),
        ("If stopped early", _bet(ahead.bet_blocks)),
    ]
    if time is not None:
        rows.append(("Time at the bench", _sittings(time)))
    parts = [wrapped(say), code, rows_text(rows)]
    size = plan.claimed if plan.claimed is not None else plan.margin
    if chance is not None and size is not None and chance < 0.8:
        parts.append(wrapped(_may_miss(size, chance), hanging=2))
    parts.append(f"Full fingerprint, SHA-256:\n    {seal.sha256}")
    return "\n\n".join(parts)


def _may_miss(size: float, chance: float) -> str:
    """Say that a plan may miss what is at stake."""
    return (
        f"Mind this: {percent(size)} is what is at stake, and this plan finds it in {round(10 * chance)} tests of 10. "
        "More runs, or a smaller spread, would find it more surely; or keep the plan and say so."
    )


def _bet(blocks: int | None) -> str:
    """Say when a test that stops early can still decide."""
    if blocks is None:
        return "it can decide nothing"
    return f"the running bet decides, and not before {blocks} whole blocks"


def _sittings(time: Schedule) -> str:
    """Say how long a test takes and where to break."""
    text = minutes_text(time.minutes)
    if time.breaks_after:
        after = ", ".join(str(run) for run in time.breaks_after)
        text += f" in {time.sittings} sittings; best places to stop: after run {after}"
    return text
