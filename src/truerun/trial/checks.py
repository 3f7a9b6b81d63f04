"""Checks of fairness: each looks at one thing and yields what it found.

A check is a function of the context; to add one, write it, put it into :data:`CHECKS_OF_A_TEST` and its words into
the catalogue.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr  # scipy.stats takes seconds to import

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.stats.digits import digit_preference, last_digits
from truerun.stats.exact import nuisance_basis
from truerun.stats.opinions import Opinion, slope_interval, welch
from truerun.stats.orders import smallest_p
from truerun.trial.context import (
    Context,
    adding,
    amount,
    drift_share,
    hand_allowance,
    hand_reach,
    level_noted,
    shown,
    spreads,
    withdrawn,
)
from truerun.trial.decision import SAMPLED_ORDERS, adjusted_columns
from truerun.trial.mishaps import reason_words
from truerun.trial.observations import Observations
from truerun.trial.phrases import count_words, listed, percent, runs_named
from truerun.trial.plan import End, Role
from truerun.trial.rules import Rules

__all__ = ["CHECKS_OF_A_TEST", "findings_of", "second_opinions"]

Array = NDArray[np.float64]

_FAR_OFF = 0.01
_NO_DIFFERENCE = 1e-3
_SPREADS_APART = 2.0
_NOTABLE_LAUNCH = 0.005
_ENOUGH_DIGITS = 10
_NOTABLE_DIGITS = 0.01
_LEAST = 1e-9  # of an observation: less is rounding


def second_opinions(seen: Observations, rules: Rules) -> dict[str, Opinion]:
    """Give Welch's interval and the covariance-analysis t interval; one that cannot be made is left out."""
    kept = seen.kept & np.isfinite(seen.y)
    y, used = seen.y[kept], seen.used[kept].astype(np.float64)
    columns, names = adjusted_columns(seen, rules)
    roads: dict[str, Callable[[], Opinion]] = {
        "welch": lambda: welch(y[used > 0], y[used < 0], rules.alpha),
        "ancova": lambda: slope_interval(y, used / 2, nuisance_basis(columns[kept], names, used), rules.alpha),
    }
    opinions: dict[str, Opinion] = {}
    for name, give in roads.items():
        try:
            opinions[name] = give()
        except (FitImpossible, ValueOutOfRange):  # the checks and the list speak about such data
            continue
    return opinions


def check_order(at: Context) -> Iterator[Finding]:
    """Was the order drawn by lot, from a set that can decide?"""
    if at.rules.orders is None:
        yield finding("order-not-drawn", drift=_moved(at, drift_share(at)))
        return
    if at.figures is None:
        yield finding("order-not-in-set", runs=len(at.seen.used), orders=at.rules.orders)
        return
    if at.rules.plan is None:
        yield finding("not-sealed", orders=at.rules.orders)
    if not at.figures.decides and not withdrawn(at):
        orders = at.figures.plus.orders
        luck = round(smallest_p(orders) * orders) + 2 * (at.figures.plus.same - 1)
        yield finding("order-cannot-decide", orders=orders, luck=min(orders, luck))
    if at.figures.sampled:
        from_set = "more than 200 000" if at.rules.plan is None else count_words(at.rules.plan.order_set.count)
        yield finding("sampled-orders", all=from_set, sampled=count_words(SAMPLED_ORDERS))


def check_end(at: Context) -> Iterator[Finding]:
    """Did every run end at the same speed, above capture?"""
    rules = at.rules
    if rules.measurand.name != "time" or rules.end in (End.SPEED, End.TURNS):
        return
    if rules.end is None:
        yield finding("end-not-stated")
        return
    if rules.stop is None:
        yield finding("which-stop")
    if rules.hill_bound is None:
        yield finding("standstill")
    elif rules.hill_bound < _share_of_time(at):
        yield finding("capture-bounded", bound=percent(rules.hill_bound))
    else:
        yield finding("standstill-too-large", bound=percent(rules.hill_bound))
    if rules.blinding.launch == "hand":
        yield finding("launch-by-hand")


def check_capture(at: Context) -> Iterator[Finding]:
    """How large a bump would make all of the difference, where only times to standstill exist?"""
    rules, effect = at.rules, abs(at.effect)
    timed = rules.measurand.name == "time" and rules.end not in (End.SPEED, End.TURNS)
    if not timed or not at.logarithmic or rules.hill_bound is not None or not effect > _NO_DIFFERENCE:
        return
    from truerun.motion.capture import Ending  # noqa: PLC0415  few tests are timed to standstill
    from truerun.motion.capture_bound import caught_to_explain  # noqa: PLC0415

    stops = {"turns-back": (Ending.FIRST_TURN_BACK,), "lies-still": (Ending.FINAL_REST,)}
    caught = caught_to_explain(math.exp(effect), stops.get(rules.stop or "", tuple(Ending)))
    if caught is not None:
        yield finding(
            "capture-explains",
            height=_small_share(2 * caught**2),
            caught=_small_share(caught),
            difference=percent(_share_of_time(at)),
        )


def _small_share(share: float) -> str:
    """Write a share to two digits, however small."""
    return f"{np.format_float_positional(100 * share, precision=2, fractional=False, trim='-')}\N{NO-BREAK SPACE}%"


def check_launch(at: Context) -> Iterator[Finding]:
    """Were the launches alike in both conditions, by the columns that say so?"""
    kept = at.seen.kept
    for column in at.seen.runs[0].extra:
        if "launch" not in column.casefold() or column in at.rules.adjust:
            continue
        values = np.array([_number(run.extra.get(column)) for run in at.seen.runs])[kept]
        signs = at.seen.used[kept]
        if not np.isfinite(values).all() or values.mean() == 0:
            continue
        share = float((values[signs > 0].mean() - values[signs < 0].mean()) / values.mean())
        scatter = float(values.std(ddof=1) / abs(values.mean())) * 2 / math.sqrt(len(values))
        if abs(share) > max(2 * scatter, _NOTABLE_LAUNCH):
            yield finding(
                "launch-differs",
                column=column,
                source=at.rules.conditions.source,
                control=at.rules.conditions.control,
                difference=percent(abs(share)),
                direction="higher" if share > 0 else "lower",
                effect=percent(abs(share)),
            )


def check_left_out(at: Context) -> Iterator[Finding]:
    """Was any run left out, repeated, or stopped after its time was seen?"""
    total = len(at.seen.runs)
    slots = np.array([run.slot for run in at.seen.runs])
    blind, seen = slots[at.seen.omitted].tolist(), slots[at.seen.worst].tolist()
    if blind:
        yield finding("left-out-blind", runs=runs_named(blind), count=len(blind), all=total)
    if seen:
        yield finding("aborted-seen", runs=runs_named(seen), count=len(seen), all=total)
    if at.seen.repeated:
        reasons = [reason_words(run.left_out) for run in at.table.runs if run.slot in at.seen.repeated and run.left_out]
        yield finding(
            "repeated",
            runs=runs_named(at.seen.repeated),
            reasons="; ".join(dict.fromkeys(reasons)) or "no reason given",
            count=len(at.seen.repeated),
            all=total,
        )


def check_set_up(at: Context) -> Iterator[Finding]:
    """Was each condition set up as drawn?"""
    slips, total = at.seen.slips, len(at.seen.runs)
    if 4 * len(slips) > total:
        yield finding("order-not-kept", count=len(slips), all=total)
    elif slips:
        yield finding("wrong-set-up", runs=runs_named(slips), count=len(slips), all=total)


def check_stopping(at: Context) -> Iterator[Finding]:
    """Did the test stop where it was planned?"""
    if not withdrawn(at) or at.figures is None:
        return
    done = int((~at.seen.missing).sum())
    extra = max(run.slot for run in at.seen.runs) - at.seen.planned
    if extra > 0:
        yield finding("beyond-plan", planned=at.seen.planned, extra=extra)
    else:
        yield finding("stopped-early", planned=at.seen.planned, done=done, missing=at.seen.planned - done)
    if at.figures.evidence is None:
        yield finding("no-blocks")


def check_role(at: Context) -> Iterator[Finding]:
    """Is this one claim and one test?"""
    if at.rules.role is Role.SCREENING:
        yield finding("screening")


def check_unfinished(at: Context) -> Iterator[Finding]:
    """Were runs still going when they were given up?"""
    if at.seen.limit is not None:
        unit = f" {at.rules.measurand.unit}" if at.rules.measurand.unit else ""
        limit = f"{at.seen.limit:g}{unit}"
        yield finding("unfinished", count=int(at.seen.capped.sum()), all=len(at.seen.runs), limit=limit)


def check_adjustment(at: Context) -> Iterator[Finding]:
    """Was what is adjusted for sealed, and does it leave something to compare?"""
    if at.rules.plan is None:
        columns = [name for name in at.rules.adjust if name not in ("run-number", "session")]
        if columns:
            yield finding("adjusted-unsealed", columns=listed(columns))
    if at.figures is not None and at.figures.retained < 0.25 and not withdrawn(at):
        yield finding("few-left-to-compare", columns=listed(at.rules.adjust), share=percent(at.figures.retained))


def check_spread(at: Context) -> Iterator[Finding]:
    """Do both conditions scatter alike?"""
    both = spreads(at.seen)
    names = [at.rules.conditions.source, at.rules.conditions.control]
    if min(both) > 0 and max(both) > _SPREADS_APART * min(both):
        more = int(both[1] > both[0])
        ratio = f"{max(both) / min(both):.1f}"
        yield finding("spread-differs", more=names[more], less=names[1 - more], ratio=ratio)


def check_far_off(at: Context) -> Iterator[Finding]:
    """Does one run lie far from the others of its condition? (Outside t, a chance of 1 in 100 for the whole test.)"""
    kept = at.seen.kept & np.isfinite(at.seen.y)
    y, used = at.seen.y[kept], at.seen.used[kept]
    sizes = np.where(used > 0, (used > 0).sum(), (used < 0).sum())
    df = len(y) - 3
    if sizes.min() < 2 or df < 1:
        return
    rest = y - np.where(used > 0, y[used > 0].mean(), y[used < 0].mean())
    if not rest.any():
        return
    free = 1 - 1 / sizes
    others = (float((rest**2).sum()) - rest**2 / free) / df
    distance = np.abs(rest) / np.sqrt(np.maximum(others, _least_spread(at, y) ** 2) * free)
    far = float(distance.max())
    if 2 * len(y) * stdtr(df, -far) <= _FAR_OFF:
        slot = np.array([run.slot for run in at.seen.runs])[kept][int(distance.argmax())]
        yield finding("run-far-off", slot=slot, distance=f"{far:.1f}" if far < 1000 else "more than 1000")


def _least_spread(at: Context, y: Array) -> float:
    """Give the spread that reading alone makes, on the adding scale: equal readings are not free of it."""
    values = at.seen.raw[at.seen.kept & np.isfinite(at.seen.y)]
    typical = float(np.median(np.abs(values))) if at.logarithmic else 1.0
    return max((at.table.resolution or 0.0) / math.sqrt(12) / typical, _LEAST * float(np.abs(y).max()))


def check_drift(at: Context) -> Iterator[Finding]:
    """How far did the bench drift?"""
    drift = drift_share(at)
    kept = at.seen.kept & np.isfinite(at.seen.y)
    if at.rules.orders is None or abs(drift) < float(at.seen.y[kept].std()) or kept.sum() < 6:
        return
    yield finding("drift", drift=_moved(at, drift), meaning="The drawn order keeps that from favouring either side.")


def check_reading(at: Context) -> Iterator[Finding]:
    """Were the values written finely enough?"""
    step = at.table.resolution
    kept = at.seen.kept & np.isfinite(at.seen.raw)
    if step is None or not kept.any():
        return
    typical = float(np.median(np.abs(at.seen.raw[kept])))
    pooled = math.sqrt(sum(float(at.seen.raw[kept & (at.seen.used == sign)].var()) for sign in (1, -1)) / 2)
    if typical > 0 and step > pooled:
        unit = f" {at.table.unit}" if at.table.unit else ""
        yield finding("coarse-reading", step=f"{step:g}{unit}", share=percent(step / typical))


def check_blinding(at: Context) -> Iterator[Finding]:
    """Who knew which was which?"""
    blinding = at.rules.blinding
    if blinding.grade < 2:
        by_hand = blinding.timing == "hand" or blinding.launch == "hand"
        yield finding("operator-knew", or_else=", or timing and launch without a hand" if by_hand else "")


def check_guesses(at: Context) -> Iterator[Finding]:
    """Did somebody who was not to know guess too well?"""
    if at.guesses is None:
        return
    test = at.guesses.test
    words = {"matches": test.matches, "answered": test.answered}
    if test.p <= at.rules.alpha:
        yield finding("guessed-too-well", words, luck=round(test.p * test.orders), orders=test.orders)
    else:
        yield finding("guesses", words)


def check_keepers(at: Context) -> Iterator[Finding]:
    """Do several timekeepers agree?"""
    keepers = at.seen.keepers
    if keepers is None or keepers.scatter is None:
        return
    late = int(keepers.offsets.argmax())
    yield finding(
        "keepers",
        count=len(at.seen.keeper_names),
        scatter=f"{keepers.scatter:.2g} s",
        latest=f'"{at.seen.keeper_names[late]}"',
        offset=f"{keepers.offsets[late]:.2g} s",
    )


def check_digits(at: Context) -> Iterator[Finding]:
    """Did the watch show, or the hand write, some last digits too often?"""
    step = at.table.resolution
    written = [value for run in at.seen.runs for value in (run.readings.values() or (run.value,)) if value is not None]
    if step is None or len(written) < _ENOUGH_DIGITS or at.rules.measurand.name != "time":
        return
    try:
        found = digit_preference(last_digits(np.array(written), step))
    except ValueOutOfRange:  # finer than the step that was said: no last digit to speak of
        return
    if found.p_round <= _NOTABLE_DIGITS:
        yield finding("last-digits", round=found.round_ends, all=len(written), p=f"{100 * found.p_round:.1g}")


def check_known_truth(at: Context) -> Iterator[Finding]:
    """Was a known help found, and does same against same show nothing?"""
    drawn = at.figures
    if drawn is None or drawn.low is None or drawn.high is None or withdrawn(at):
        return
    ends = sorted(shown(at, end) for end in (drawn.low, drawn.high))
    low, high = (amount(at, end, signed=True) for end in ends)
    words = {"found": amount(at, shown(at, at.effect), signed=True), "low": low, "high": high}
    clear = drawn.low > 0 or drawn.high < 0
    if at.rules.role is Role.SAME_AGAINST_SAME and clear:
        yield finding("same-differs", words)
    if at.rules.role is not Role.PLANTED or at.rules.claimed is None:
        return
    there = adding(at, at.rules.claimed)
    known = amount(at, shown(at, there), signed=True)
    if not drawn.low <= there <= drawn.high:
        gap = amount(at, abs(shown(at, there) - shown(at, at.effect)))
        yield finding("planted-missed", words, known=known, gap=gap)
    elif clear:
        yield finding("planted-found", words, known=known)
    else:
        yield finding("planted-not-seen", known=known, low=words["low"], high=words["high"])


def check_hand(at: Context) -> Iterator[Finding]:
    """Could a hand that knew the condition have made the difference?"""
    allowance, reach = hand_allowance(at), hand_reach(at)
    if allowance is None or at.figures is None:
        return
    low, high = at.figures.low, at.figures.high
    beside_zero = (low is not None and 0 < low <= reach) or (high is not None and -reach <= high < 0)
    if beside_zero:
        of_what = " of the shortest time" if at.logarithmic else ""
        yield finding("hand-allowance", allowance=amount(at, allowance) + of_what)


def check_opinions(at: Context) -> Iterator[Finding]:
    """Does a usual test fall on the other side of zero?"""
    if at.figures is None or at.figures.low is None or at.figures.high is None or withdrawn(at):
        return
    names = {"welch": "Welch's interval", "ancova": "The interval by analysis of covariance"}
    for key, opinion in at.opinions.items():
        if (at.figures.low > 0) != (opinion.low > 0) or (at.figures.high < 0) != (opinion.high < 0):
            low, high = (
                amount(at, end, signed=True) for end in sorted((shown(at, opinion.low), shown(at, opinion.high)))
            )
            yield finding("second-opinion", name=names[key], low=low, high=high)


def check_agreement(at: Context) -> Iterator[Finding]:
    """Did both sides answer before the seal?"""
    if at.rules.plan is not None and at.rules.plan.agreed.absent:
        yield finding("absent", who=listed(at.rules.plan.agreed.absent))


def check_rig(at: Context) -> Iterator[Finding]:
    """Was anything written down about the rig?"""
    if not at.table.rig and not level_noted(at):
        yield finding("rig-not-recorded")


CHECKS_OF_A_TEST: tuple[Callable[[Context], Iterator[Finding]], ...] = (
    check_order,
    check_end,
    check_capture,
    check_launch,
    check_left_out,
    check_set_up,
    check_stopping,
    check_role,
    check_unfinished,
    check_adjustment,
    check_spread,
    check_far_off,
    check_drift,
    check_reading,
    check_blinding,
    check_guesses,
    check_keepers,
    check_digits,
    check_known_truth,
    check_hand,
    check_opinions,
    check_agreement,
    check_rig,
)
"""Every check, in the order in which their findings are listed."""


def findings_of(at: Context) -> tuple[Finding, ...]:
    """Run every check.

    Parameters
    ----------
    at : Context
        What there is to look at.

    Returns
    -------
    tuple of Finding
        In the order of the checks; those of the table first.
    """
    return (*at.table.findings, *(found for check in CHECKS_OF_A_TEST for found in check(at)))


def _moved(at: Context, value: float) -> str:
    """Write a difference of observations for a reader: in percent of them, or in the unit of a linear measurand."""
    if at.logarithmic:
        return percent(math.expm1(at.rules.measurand.sign * value), signed=True)
    return amount(at, at.rules.measurand.sign * value, signed=True)


def _share_of_time(at: Context) -> float:
    """Give the difference found as a share of the longer times."""
    if at.logarithmic:
        return 1 - math.exp(-abs(at.effect))
    return abs(at.effect) / float(np.nanmax(at.seen.raw[at.seen.kept]))


def _number(value: float | str | None) -> float:
    """Give a number, NaN for anything else."""
    return float(value) if isinstance(value, float | int) else math.nan
