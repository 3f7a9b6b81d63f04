"""The figures of one comparison: effect, interval, p, evidence, limits; all read off one exact list."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.series import RunTable
from truerun.stats.complete import MOST_PER_CONDITION, complete_list
from truerun.stats.draw import draw_many
from truerun.stats.evidence import Evidence, confidence_sequence, evidence
from truerun.stats.exact import ExactList, exact_list, interval, nuisance_basis, two_sided_p
from truerun.stats.orders import OrderSet, orders_for, rejecting_orders
from truerun.stats.unfinished import honest_ends
from truerun.trial.observations import Observations
from truerun.trial.rules import Rules

__all__ = ["SAMPLED_ORDERS", "Figures", "adjusted_columns", "figures", "honest_interval"]

Array = NDArray[np.float64]
_Adjusted = tuple[Array, tuple[str, ...]]

SAMPLED_ORDERS = 99_999
"""Orders drawn from a set that is too large to list; the one used is added."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What the orders say, on the scale on which an effect adds.

    ``plus`` and ``minus`` are the lists of the two sides (the same but where a seen run is reckoned at its worst).
    ``low`` and ``high`` is the interval at 1 - alpha, ``low_limit`` and ``high_limit`` that at 1 - 2 alpha,
    moved outwards by one step of the reading where that is coarser than the spread of the runs.
    ``sampled`` tells whether the orders were drawn and not listed. ``sequence`` is the interval of the running bet.
    """

    plus: ExactList
    minus: ExactList
    effect: float
    p: float
    low: float | None
    high: float | None
    low_limit: float | None
    high_limit: float | None
    decides: bool
    sampled: bool
    seed: str
    retained: float
    evidence: Evidence | None
    sequence: tuple[float | None, float | None]


def figures(seen: Observations, table: RunTable, rules: Rules) -> Figures:
    """Compute the figures of a comparison whose order was drawn from a known set.

    Parameters
    ----------
    seen : Observations
        One entry a slot; at least one run of each condition.
    table : RunTable
        For adjusted columns and, without a plan, the seed of sampled orders.
    rules : Rules
        ``rules.orders`` must be set.

    Returns
    -------
    Figures

    Raises
    ------
    ValueOutOfRange
        If the set has no order of this length, or an adjusted column equals the order itself.
    """
    slots = seen.planned if rules.plan else len(seen.used)
    allowed = orders_for(rules.orders or "", slots)
    kept = seen.kept & (seen.places < slots)
    places = seen.places[kept]
    seed = rules.seed or table.digest or hashlib.sha256(seen.y.tobytes()).hexdigest()
    low_y, high_y = _worst_for_each_side(seen)
    columns, names = adjusted_columns(seen, rules)
    adjusted = (columns[kept], names)
    plus, sampled = _list_of(low_y[kept], seen.used[kept], places, allowed, adjusted=adjusted, seed=seed)
    minus = plus
    if seen.worst[kept].any():
        minus, _ = _list_of(high_y[kept], seen.used[kept], places, allowed, adjusted=adjusted, seed=seed)
    low, high = honest_interval(plus, minus, rules.alpha, seen, rules)
    limits = honest_interval(plus, minus, 2 * rules.alpha, seen, rules)
    low_limit, high_limit = _as_coarse_as_read(limits, seen, table, rules)
    bet, sequence = _running_bet(seen, rules, allowed)
    return Figures(
        plus=plus,
        minus=minus,
        effect=(plus.delta + minus.delta) / 2,
        p=two_sided_p(plus, minus),
        low=low,
        high=high,
        low_limit=low_limit,
        high_limit=high_limit,
        decides=rejecting_orders(plus.orders, rules.alpha) - (plus.same - 1) >= 1,
        sampled=sampled,
        seed=seed,
        retained=plus.retained,
        evidence=bet,
        sequence=sequence,
    )


def adjusted_columns(seen: Observations, rules: Rules) -> tuple[Array, tuple[str, ...]]:
    """Give the columns that the plan adjusts for, shape (n, q), and the name of each.

    Raises
    ------
    ValueOutOfRange
        If a column is missing or holds something that is not a number in a run that counts.
    """
    columns: list[Array] = []
    names: list[str] = []
    for name in rules.adjust:
        if name == "run-number":
            made = [np.array([float(run.slot) for run in seen.runs])]
        elif name == "session":
            made = _sessions(seen)
        else:
            made = [_covariate(seen, name)]
        columns += made
        names += [name] * len(made)
    return np.column_stack(columns) if columns else np.zeros((len(seen.runs), 0)), tuple(names)


def _sessions(seen: Observations) -> list[Array]:
    """Give a column of 0 and 1 for each session but the first."""
    counted = [run for run, counts in zip(seen.runs, seen.kept, strict=True) if counts]
    for run in counted:
        if run.session is None:
            raise ValueOutOfRange(
                f"The session of run {run.slot}",
                "empty",
                "given in every run that counts, as it is adjusted for",
                "Fill it in, or leave it out of what is adjusted.",
            )
    others = list(dict.fromkeys(run.session for run in counted))[1:]
    return [np.array([float(label == other) for label in seen.sessions]) for other in others]


def _covariate(seen: Observations, name: str) -> Array:
    """Give a further column of the table as numbers, 0 in slots that do not count."""
    values = np.zeros(len(seen.runs))
    for place in np.flatnonzero(seen.kept):
        run = seen.runs[place]
        value = run.extra.get(name)
        if not isinstance(value, float | int):
            raise ValueOutOfRange(
                f'The column "{name}" in run {run.slot}',
                "empty" if value is None else f'"{value}"',
                "a number in every run that counts, as it is adjusted for",
                "Fill it in, or leave it out of what is adjusted.",
            )
        values[place] = value
    return values


def _worst_for_each_side(seen: Observations) -> tuple[Array, Array]:
    """Fill runs stopped after their time was seen with the value that weakens a drive, and a brake."""
    if not seen.worst.any():
        return seen.y, seen.y
    lowest, highest = np.nanmin(seen.y), np.nanmax(seen.y)
    source = seen.used > 0
    against_drive = np.where(seen.worst, np.where(source, lowest, highest), seen.y)
    against_brake = np.where(seen.worst, np.where(source, highest, lowest), seen.y)
    return against_drive, against_brake


def _list_of(
    y: Array, used: NDArray[np.int8], places: NDArray[np.int64], allowed: OrderSet, *, adjusted: _Adjusted, seed: str
) -> tuple[ExactList, bool]:
    """Make the exact list by whichever road is open: counted, listed, or sampled from the sealed seed."""
    columns, names = adjusted
    countable = allowed.name == "complete" and len(places) == allowed.runs <= 2 * MOST_PER_CONDITION
    if countable and not columns.shape[1] and not allowed.listed:
        return complete_list(y[used > 0], y[used < 0]), False
    basis = nuisance_basis(columns, names, used.astype(np.float64))
    if allowed.listed:
        return exact_list(y, allowed.all()[:, places], used, basis), False
    drawn = np.array(draw_many(f"{seed}|list", allowed.count, SAMPLED_ORDERS), dtype=np.int64)
    orders = np.vstack([allowed.unrank(drawn)[:, places], used[None, :]])
    return exact_list(y, orders, used, basis), True


def honest_interval(
    plus: ExactList, minus: ExactList, alpha: float, seen: Observations, rules: Rules
) -> tuple[float | None, float | None]:
    """Give the interval at coverage 1 - ``alpha``, open where unfinished runs leave it open."""
    return _opened(interval(plus, alpha, minus), seen, rules)


def _opened(
    ends: tuple[float | None, float | None], seen: Observations, rules: Rules
) -> tuple[float | None, float | None]:
    """Open the ends that unfinished runs leave open; where less is more, they hide the other side."""
    source = seen.used > 0
    capped = {
        "source_capped": bool((seen.capped & source).any()),
        "control_capped": bool((seen.capped & ~source).any()),
    }
    if rules.measurand.sign > 0:
        return honest_ends(*ends, **capped)
    low, high = (None if end is None else -end for end in ends)
    low, high = honest_ends(high, low, **capped)
    return None if high is None else -high, None if low is None else -low


def _as_coarse_as_read(
    limits: tuple[float | None, float | None], seen: Observations, table: RunTable, rules: Rules
) -> tuple[float | None, float | None]:
    """Move both limits outwards where the reading, and not the runs, makes them narrow.

    A reading is off by half a step at most, so a difference of means by one step. Finer steps than the spread of the
    runs act as a little more noise and need nothing.
    """
    values, used = seen.raw[seen.kept & np.isfinite(seen.y)], seen.used[seen.kept & np.isfinite(seen.y)]
    spread = float(np.sqrt(np.mean([values[used == sign].var() for sign in (1, -1)])))
    if table.resolution is None and np.ptp(values) == 0:
        return None, None
    step = table.resolution or 0.0
    if step <= spread:
        return limits
    reach = step / float(np.abs(values).min()) if rules.measurand.scale == "log" else step
    low, high = limits
    return None if low is None else low - reach, None if high is None else high + reach


def _running_bet(
    seen: Observations, rules: Rules, allowed: OrderSet
) -> tuple[Evidence | None, tuple[float | None, float | None]]:
    """Give the evidence block by block and its interval, where the set has blocks.

    A run that was stopped after its time had been seen is reckoned at its worst for each side here too: the interval
    takes its low end from the one and its high end from the other reckoning, the evidence is the smaller one.
    """
    if allowed.arrangements is None or allowed.block is None:
        return None, (None, None)
    size = allowed.block
    places = seen.places
    slots = int(places.max()) + 1
    used = np.ones(slots, dtype=np.int8)
    filled = np.zeros(slots, dtype=np.bool_)
    sides = np.full((2, slots), np.nan)
    used[places], filled[places], sides[:, places] = seen.used, ~seen.missing, _worst_for_each_side(seen)
    # only whole blocks bet: a block that is still being run has not been drawn to its end
    whole = 0
    while (whole + 1) * size <= slots and filled[whole * size : (whole + 1) * size].all():
        whole += 1
    against_drive, against_brake = sides[:, : whole * size]
    used = used[: whole * size]
    bet = evidence(against_drive, used, allowed.arrangements)
    low, high = confidence_sequence(against_drive, used, allowed.arrangements, rules.alpha)
    if seen.worst.any():
        bet = min(bet, evidence(against_brake, used, allowed.arrangements), key=lambda each: each.last)
        high = confidence_sequence(against_brake, used, allowed.arrangements, rules.alpha)[1]
    return bet, _opened((low, high), seen, rules)
