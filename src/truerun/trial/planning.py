"""Making a plan: what it can find, how long it takes, and whether it can decide at all."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.stats.evidence import highest_evidence
from truerun.stats.orders import ORDER_SETS, OrderSet, attained_level, orders_for, rejecting_orders, smallest_p
from truerun.stats.power import detectable_effect, power_of
from truerun.stats.t_power import two_sample_power, upper_sd

__all__ = [
    "Prospect",
    "Schedule",
    "chance_to_find",
    "default_adjust",
    "prospect",
    "require_can_decide",
    "runs_that_find",
    "schedule",
    "upper_spread",
]

_TRIED_RUNS = tuple(range(8, 61, 2))


@dataclass(frozen=True, slots=True)
class Prospect:
    """What a plan can do before its first run.

    ``finds`` is the drive fraction that is found with probability ``power`` when runs scatter by ``spread`` (of ln T),
    ``finds_surely`` the one found in 19 of 20 tests. ``false_alarms`` is the attained level, ``perfect`` the p-value of
    a perfect split, ``bet_blocks`` after how many blocks at the earliest the running bet can decide (None: never).
    """

    orders: int
    smallest_p: float
    false_alarms: float
    spread: float
    power: float
    finds: float
    finds_surely: float
    bet_blocks: int | None


@dataclass(frozen=True, slots=True)
class Schedule:
    """How long the test takes: total minutes, runs after which to break, sittings."""

    minutes: float
    sittings: int
    breaks_after: tuple[int, ...]


def default_adjust(orders: str) -> tuple[str, ...]:
    """Give what a set of orders is adjusted for unless the plan says otherwise.

    Examples
    --------
    >>> default_adjust("blocks-of-four"), default_adjust("pairs")
    (('run-number',), ())
    """
    return () if orders == "pairs" else ("run-number",)


def upper_spread(spread: float, degrees_of_freedom: int) -> float:
    """Give the spread to plan with: the upper 80 % limit of what trial runs showed.

    Examples
    --------
    >>> round(upper_spread(0.011, 6), 5)
    0.01538
    """
    return upper_sd(spread, degrees_of_freedom)


def require_can_decide(orders: str, runs: int, alpha: float) -> OrderSet:
    """Refuse a plan that could never decide.

    Parameters
    ----------
    orders : str
        Name of the set.
    runs : int
        Number of runs in all.
    alpha : float
        Share of false alarms allowed.

    Returns
    -------
    OrderSet

    Raises
    ------
    PlanBroken
        If even a perfect split would come by luck too often; says how many runs would do.

    Examples
    --------
    >>> require_can_decide("blocks-of-four", 8, 0.05)
    Traceback (most recent call last):
    ...
    truerun.errors.PlanBroken: A plan must be able to decide at 5 %; 4 + 4 runs in blocks-of-four have only 36 orders, \
and 2 of 36 split as clean by luck. Choose 6 + 6 runs in blocks-of-four, \
or 4 + 4 runs in complete, or 4 + 4 runs in restricted.
    """
    chosen = orders_for(orders, runs)
    if rejecting_orders(chosen.count, alpha) >= 1:
        return chosen
    raise PlanBroken(
        f"A plan must be able to decide at {100 * alpha:g} %",
        f"{runs // 2} + {runs // 2} runs in {orders} have only {chosen.count} orders, "
        f"and {round(smallest_p(chosen.count) * chosen.count)} of {chosen.count} split as clean by luck",
        f"Choose {_what_would_do(orders, runs, alpha)}.",
    )


def _what_would_do(orders: str, runs: int, alpha: float) -> str:
    """Name the smallest plan of the same set, and another set of the same size, that can decide."""
    choices = []
    for more in _TRIED_RUNS:
        if more > runs and _count(orders, more) and rejecting_orders(_count(orders, more), alpha) >= 1:
            choices.append(f"{more // 2} + {more // 2} runs in {orders}")
            break
    able = [name for name in ORDER_SETS if name != orders and rejecting_orders(_count(name, runs), alpha) >= 1]
    choices += [f"{runs // 2} + {runs // 2} runs in {other}" for other in able]
    return ", or ".join(choices) if choices else "more runs"


def _count(orders: str, runs: int) -> int:
    """Count the orders of a plan, 0 where the set has none of this length."""
    try:
        return orders_for(orders, runs).count
    except ValueOutOfRange:
        return 0


def prospect(
    orders: str,
    runs: int,
    adjust: tuple[str, ...],
    alpha: float,
    *,
    spread: float,
    power: float = 0.8,
    logarithmic: bool = True,
) -> Prospect:
    """Forecast what a plan can find.

    Parameters
    ----------
    orders, runs, adjust, alpha
        The plan.
    spread : float
        Run-to-run standard deviation of ln T to plan with (a share, 0.01 for 1 %).
    power : float
        Probability with which the figure ``finds`` is found.
    logarithmic : bool
        Whether effects are factors; else ``spread`` and the figures found are in the unit of the measurand.

    Returns
    -------
    Prospect

    Notes
    -----
    From the sealed list itself by seeded simulation, see :mod:`truerun.stats.power`; adjusted columns other than the
    run number are not simulated.
    """
    chosen = require_can_decide(orders, runs, alpha)
    column = "run-number" if "run-number" in adjust else "none"
    effects = [detectable_effect(at, orders, runs, column, alpha) * spread for at in (power, 0.95)]
    found, surely = (-math.expm1(-effect) if logarithmic else effect for effect in effects)
    return Prospect(
        orders=chosen.count,
        smallest_p=smallest_p(chosen.count),
        false_alarms=attained_level(chosen.count, alpha),
        spread=spread,
        power=power,
        finds=found,
        finds_surely=surely,
        bet_blocks=_blocks_to_decide(chosen, alpha),
    )


def _blocks_to_decide(chosen: OrderSet, alpha: float) -> int | None:
    """Give the first block after which the running bet could reach 1/alpha."""
    if chosen.arrangements is None or chosen.blocks is None:
        return None
    ceilings = highest_evidence(chosen.arrangements, chosen.blocks)
    able = [number for number, ceiling in enumerate(ceilings, 1) if ceiling >= 1 / alpha]
    return able[0] if able else None


def chance_to_find(
    drive: float, orders: str, runs: int, *, adjust: tuple[str, ...], alpha: float, spread: float, reach: float = 0.0
) -> float:
    """Give the probability that a plan finds a drive fraction.

    Parameters
    ----------
    drive : float
        True drive fraction; a brake is found as often as a drive of the same size in ln T.
    orders, runs, adjust, alpha, spread
        As in :func:`prospect`.
    reach : float
        How far beyond zero the interval must lie, in ln T: what a hand that knew the condition could make.

    Returns
    -------
    float
        0 to 1.
    """
    if drive >= 1:
        return 1.0
    column = "run-number" if "run-number" in adjust else "none"
    return power_of((abs(math.log1p(-drive)) - reach) / spread, orders, runs, column, alpha)


def runs_that_find(drive: float, orders: str, alpha: float, spread: float, power: float = 0.8) -> int | None:
    """Give the smallest number of runs in all that finds a drive fraction, None beyond 30 + 30.

    Examples
    --------
    >>> runs_that_find(0.03, "blocks-of-four", 0.05, 0.0154)
    12
    """
    adjust = default_adjust(orders)
    size = abs(math.log1p(-drive)) / spread if drive < 1 else math.inf
    if two_sample_power(size, _TRIED_RUNS[-1] / 2, alpha) < power:
        return None
    # the t test finds a little more than any list, so smaller plans need not be simulated
    nearly = [runs for runs in _TRIED_RUNS if two_sample_power(size, runs / 2, alpha) >= power]
    for runs in nearly:
        if rejecting_orders(_count(orders, runs), alpha) < 1:
            continue
        if chance_to_find(drive, orders, runs, adjust=adjust, alpha=alpha, spread=spread) >= power:
            return runs
    return None


def schedule(
    chosen: OrderSet, *, run_minutes: float, change_minutes: float, warm_up_launches: int, sitting_minutes: float | None
) -> Schedule:
    """Add up the time at the bench, with breaks only where a block ends.

    Parameters
    ----------
    chosen : OrderSet
        For the number of runs and the size of a block.
    run_minutes, change_minutes : float
        One run, and taking the source off and setting it again before each [min].
    warm_up_launches : int
        Uncounted launches at the start of each sitting.
    sitting_minutes : float or None
        Longest sitting [min]; None for one sitting.

    Returns
    -------
    Schedule

    Raises
    ------
    ValueOutOfRange
        If not even one block fits into a sitting.

    Examples
    --------
    >>> schedule(orders_for("blocks-of-four", 16), run_minutes=5, change_minutes=2, warm_up_launches=3,
    ...          sitting_minutes=80)
    Schedule(minutes=142, sittings=2, breaks_after=(8,))
    """
    each = run_minutes + change_minutes
    warm_up = warm_up_launches * run_minutes
    size = chosen.block or chosen.runs
    blocks = chosen.runs // size
    fit = blocks if sitting_minutes is None else int((sitting_minutes - warm_up) // (size * each))
    if fit < 1:
        raise ValueOutOfRange(
            "The longest sitting",
            f"{sitting_minutes:g} min",
            f"at least {warm_up + size * each:g} min, for the warm-up and {size} runs",
            "Allow a longer sitting, or shorten the runs by a faster end speed.",
        )
    sittings = math.ceil(blocks / fit)
    even = math.ceil(blocks / sittings)
    breaks = tuple(size * even * number for number in range(1, sittings) if size * even * number < chosen.runs)
    return Schedule(chosen.runs * each + sittings * warm_up, sittings, breaks)
