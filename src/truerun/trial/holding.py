"""The checks that hold: looked at, and nothing found. What could not be looked at is said to be not done."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from truerun.findings.finding import Finding, Severity
from truerun.findings.holds import HOLDS, NOT_DONE
from truerun.stats.orders import smallest_p
from truerun.trial.context import Context, amount, drift_share, level_noted, spreads, withdrawn
from truerun.trial.phrases import percent
from truerun.trial.plan import End, Role

__all__ = ["Kind", "Standing", "holding", "kind_of"]

Words = dict[str, object]


class Kind(Enum):
    """What a check does for the reader, the weightiest first."""

    STOPS = "Stops the verdict"
    MIND = "Mind this"
    NOTED = "Noted"
    NOT_DONE = "Not done"
    HOLDS = "Holds"


@dataclass(frozen=True, slots=True)
class Standing:
    """One check as a reader sees it."""

    kind: Kind
    check: str
    sentence: str
    size: str | None = None
    remedy: str | None = None


_BLANKS = frozenset(("rig-not-recorded",))
_BY_THE_END = frozenset(("above-capture",))
"""Checks that are blank only where runs end at a speed."""

_GOOD = frozenset(("planted-found", "guesses", "keepers"))


def kind_of(found: Finding) -> Kind:
    """Tell what a finding does for the reader.

    Examples
    --------
    >>> kind_of(Finding("drift", Severity.NOTE, "The times moved."))
    <Kind.NOTED: 'Noted'>
    """
    if found.check in _BLANKS:
        return Kind.NOT_DONE
    if found.check in _GOOD:
        return Kind.HOLDS
    return {Severity.STOP: Kind.STOPS, Severity.DOUBT: Kind.MIND, Severity.NOTE: Kind.NOTED}[found.severity]


def holding(at: Context, findings: Iterable[Finding]) -> tuple[Standing, ...]:
    """Say which checks hold and which could not be made.

    Parameters
    ----------
    at : Context
        Of a finished comparison; never of a covered one, since sizes are given.
    findings : iterable of Finding
        What the checks found.

    Returns
    -------
    tuple of Standing
        Those that hold first.

    Notes
    -----
    A check holds where it could look at something and none of the findings that would contradict it is there. To
    stay silent is not to hold: a table without a column of launches does not make the launches alike.
    """
    found = {each.check for each in findings}
    held, blank = [], []
    for name, look in _LOOKS.items():
        words = look(at)
        if words is None:
            if name in NOT_DONE and name not in _BY_THE_END and not HOLDS[name].against & found:
                blank.append(_not_done(name))
        elif not HOLDS[name].against & found:
            size = HOLDS[name].size
            sentence = HOLDS[name].sentence.format_map(words)
            held.append(Standing(Kind.HOLDS, name, sentence, size.format_map(words) if size else None))
    if at.rules.measurand.name == "time" and at.rules.end is End.SPEED and _above_capture(at) is None:
        blank.append(_not_done("above-capture"))
    if at.rules.blinding.grade >= 2 and at.guesses is None:
        blank.append(_not_done("guesses"))
    return (*held, *blank)


def _not_done(name: str) -> Standing:
    """Say that a check could not be made, and what to do."""
    sentence, remedy = NOT_DONE[name]
    return Standing(Kind.NOT_DONE, name, sentence, None, remedy)


def _order(at: Context) -> Words | None:
    return {"orders": at.rules.plan.order_set.count} if at.rules.plan is not None and at.figures is not None else None


def _can_decide(at: Context) -> Words | None:
    if at.figures is None or not at.figures.decides:
        return None
    orders = at.figures.plus.orders
    return {"orders": orders, "luck": round(smallest_p(orders) * orders)}


def _stopped(at: Context) -> Words | None:
    if at.rules.plan is None or withdrawn(at):
        return None
    kept = at.seen.kept
    counts = [int((kept & (at.seen.used == sign)).sum()) for sign in (1, -1)]
    return {"planned": at.seen.planned, "source": counts[0], "control": counts[1]}


def _planned(at: Context) -> Words | None:
    return {} if at.rules.plan is not None else None


def _always(at: Context) -> Words:
    return {"runs": len(at.seen.runs)}


def _same_end(at: Context) -> Words | None:
    ends = {End.SPEED: "down to the same speed", End.TURNS: "over the same count of turns"}
    timed = at.rules.measurand.name == "time" and at.rules.end in ends
    return {"end": ends[at.rules.end]} if timed and at.rules.end is not None else None


def _above_capture(at: Context) -> Words | None:
    if at.table.capture is None or at.rules.window is None:
        return None
    from truerun.motion.fair_window import CAPTURES  # noqa: PLC0415  loaded already where recordings were measured

    ratio = at.rules.window.to / at.table.capture
    return {"ratio": f"{ratio:.1f}"} if ratio >= CAPTURES else None


def _launches(at: Context) -> Words | None:
    columns = [name for name in at.seen.runs[0].extra if "launch" in name.casefold()]
    kept = [run for run, counts in zip(at.seen.runs, at.seen.kept, strict=True) if counts]
    full = [name for name in columns if all(isinstance(run.extra.get(name), float | int) for run in kept)]
    return {} if full else None


def _one_test(at: Context) -> Words | None:
    return {} if at.rules.plan is not None and at.rules.role is Role.MAIN else None


def _spread(at: Context) -> Words | None:
    both = spreads(at.seen)
    return {"ratio": f"{max(both) / min(both):.1f}"} if min(both) > 0 else None


def _far_off(at: Context) -> Words | None:
    return {} if (at.seen.kept & np.isfinite(at.seen.y)).sum() >= 6 else None


def _drift(at: Context) -> Words | None:
    if at.rules.orders is None or (at.seen.kept & np.isfinite(at.seen.y)).sum() < 6:
        return None
    moved = at.rules.measurand.sign * drift_share(at)
    text = percent(math.expm1(moved), signed=True) if at.logarithmic else amount(at, moved, signed=True)
    return {"drift": text}


def _reading(at: Context) -> Words | None:
    unit = f"\N{NO-BREAK SPACE}{at.table.unit}" if at.table.unit else ""
    return {"step": f"{at.table.resolution:g}{unit}"} if at.table.resolution is not None else None


def _sensor(at: Context) -> Words | None:
    return {} if at.rules.plan is not None and at.rules.blinding.timing == "sensor" else None


def _blind(at: Context) -> Words | None:
    return {} if at.rules.blinding.grade >= 2 else None


def _opinions(at: Context) -> Words | None:
    drawn = at.figures
    ends = drawn is not None and drawn.low is not None and drawn.high is not None
    return {} if ends and at.opinions and not withdrawn(at) else None


def _level(at: Context) -> Words | None:
    return {} if level_noted(at) else None


_LOOKS: dict[str, Callable[[Context], Words | None]] = {
    "order": _order,
    "order-can-decide": _can_decide,
    "stopped-as-planned": _stopped,
    "set-up-as-drawn": _planned,
    "none-left-out": _always,
    "all-finished": _always,
    "same-end": _same_end,
    "above-capture": _above_capture,
    "launch-alike": _launches,
    "one-test": _one_test,
    "same-spread": _spread,
    "none-far-off": _far_off,
    "little-drift": _drift,
    "fine-reading": _reading,
    "timed-by-sensor": _sensor,
    "operator-blind": _blind,
    "opinions-agree": _opinions,
    "both-answered": _planned,
    "level-noted": _level,
}
"""For each check of :data:`truerun.findings.holds.HOLDS`: the words it is filled with; None: it could not look."""
