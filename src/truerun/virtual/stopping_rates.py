"""How often people who look before the end are led astray: naively, and with the running bet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

# not scipy.stats: that import takes seconds; stdtr is Student's distribution
from scipy.special import stdtr

from truerun.stats.evidence import evidence
from truerun.stats.orders import OrderSet, orders_for
from truerun.stats.stages import planned_look
from truerun.virtual.bench import Bench
from truerun.virtual.calibration import Calibration, Recipe, share_at_most
from truerun.virtual.error_rates import ALPHA, SPREAD, draw_orders, run_number_basis
from truerun.virtual.many_lists import list_many
from truerun.virtual.noise import standard_normal
from truerun.virtual.people import first_look_below
from truerun.virtual.tables import simulate_times

__all__ = ["RECIPES", "welch_after_each_run"]

Array = NDArray[np.float64]
Orders = NDArray[np.int8]

_FIRST_LOOK = 6


def welch_after_each_run(values: Array, orders: Orders, first: int = _FIRST_LOOK) -> Array:
    """Give the two-sided p-value of Welch's t after each run, for many tests at once.

    Parameters
    ----------
    values : array, shape (repetitions, n)
        On any scale.
    orders : array of +1 and -1, shape (repetitions, n)
        The condition in each slot.
    first : int
        Number of runs at the first look.

    Returns
    -------
    array, shape (repetitions, n - first + 1)
        NaN where a condition has fewer than two runs.

    References
    ----------
    B. L. Welch, Biometrika 34 (1947) 28-35.

    Examples
    --------
    >>> y = np.array([[1.0, 2.0, 3.0, 5.0, 4.0, 7.0]])
    >>> welch_after_each_run(y, np.array([[-1, -1, -1, 1, 1, 1]])).round(4).tolist()
    [[0.0419]]
    """
    centred = values - values.mean(axis=1, keepdims=True)
    means, errors, freedoms = [], [], []
    for chosen in (orders > 0, orders < 0):
        count = np.cumsum(chosen, axis=1)[:, first - 1 :].astype(np.float64)
        count[count < 2] = np.nan
        mean = np.cumsum(np.where(chosen, centred, 0.0), axis=1)[:, first - 1 :] / count
        square = np.cumsum(np.where(chosen, centred**2, 0.0), axis=1)[:, first - 1 :]
        means.append(mean)
        errors.append((square / count - mean**2) / (count - 1))
        freedoms.append(count - 1)
    error = errors[0] + errors[1]
    freedom = error**2 / (errors[0] ** 2 / freedoms[0] + errors[1] ** 2 / freedoms[1])
    return np.asarray(2 * stdtr(freedom, -np.abs(means[0] - means[1]) / np.sqrt(error)))


def running_evidence(values: Array, orders: Orders, plan: OrderSet) -> Array:
    """Give E after each block of many tests, shape (repetitions, blocks)."""
    if plan.arrangements is None:
        return np.ones((len(values), 0))
    return np.array([evidence(row, order, plan.arrangements).steps for row, order in zip(values, orders, strict=True)])


def _quiet_tests(runs: int, repetitions: int, rng: np.random.Generator) -> tuple[Array, NDArray[np.int64], OrderSet]:
    """Give ln T of tests without a drive, the numbers of their orders, and the set they are drawn from."""
    plan = orders_for("blocks-of-four", runs)
    used = draw_orders(rng, plan.count, repetitions)
    return np.log(simulate_times(Bench(spread=SPREAD), plan.all()[used], rng)), used, plan


def naive_peeking(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of somebody who stops at the first p-value at or below .05."""
    values, used, plan = _quiet_tests(16, repetitions, rng)
    stopped = first_look_below(welch_after_each_run(values, plan.all()[used]), ALPHA) >= 0
    sentence = "A plain t test, looked at after each run from the 6th to the 16th, shows p <= .05 at some look."
    return Calibration(name, sentence, repetitions, float(stopped.mean()), 0.09, 1.0)


def honest_peeking(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where truerun judges the tests of that person."""
    values, used, plan = _quiet_tests(16, repetitions, rng)
    orders = plan.all()[used]
    look = first_look_below(welch_after_each_run(values, orders), ALPHA)
    runs_made = np.where(look >= 0, look + _FIRST_LOOK, 16)
    early = runs_made < 16
    bets = running_evidence(values, orders, plan)
    blocks = runs_made // 4
    by_bet = np.where(blocks > 0, bets[np.arange(repetitions), np.maximum(blocks, 1) - 1], 1.0) >= 1 / ALPHA
    by_list = list_many(values, plan.all(), used, run_number_basis(16)).two_sided <= ALPHA
    sentence = "The same person judged by truerun: the running bet if stopped early, the list if not."
    alarms = np.where(early, by_bet, by_list)
    return Calibration(name, sentence, repetitions, float(alarms.mean()), 0.0, ALPHA)


def bet_or_list(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of the worst case: stop as soon as the bet reaches 20, else let the list decide."""
    values, used, plan = _quiet_tests(16, repetitions, rng)
    early = (running_evidence(values, plan.all()[used], plan)[:, :-1] >= 1 / ALPHA).any(axis=1)
    by_list = list_many(values, plan.all(), used, run_number_basis(16)).two_sided <= ALPHA
    sentence = (
        "Somebody who breaks the seal, stops as soon as the running bet reaches 20, and else lets the list decide at "
        "the end: two chances in one test, which may come out a little above 5 %."
    )
    return share_at_most(name, sentence, early | by_list, ALPHA)


def bet_reaches_twenty(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the running bet ever reaches 20 although there is nothing."""
    values, used, plan = _quiet_tests(24, repetitions, rng)
    highest = running_evidence(values, plan.all()[used], plan).max(axis=1)
    sentence = "The running bet reaches 20 after some block of four within 24 runs although there is nothing."
    return Calibration(name, sentence, repetitions, float((highest >= 1 / ALPHA).mean()), 0.0, ALPHA)


def mean_of_bets(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Average the running bet over all orders that could have been drawn: exactly 1 for any observations."""
    plan = orders_for("blocks-of-four", 12)
    worst = 0.0
    for _ in range(repetitions):
        values = standard_normal(rng, (12,)) / standard_normal(rng, (12,))
        steps = running_evidence(np.tile(values, (plan.count, 1)), plan.all(), plan)
        worst = max(worst, float(np.abs(steps.mean(axis=0) - 1).max()))
    sentence = "Largest distance from 1 of the mean of E over all 216 orders, after each block."
    return Calibration(name, sentence, repetitions, worst, 0.0, 1e-12)


def two_stages(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms with a planned look after half the runs and the rest of .05 at the end."""
    values, used, plan = _quiet_tests(24, repetitions, rng)
    half = orders_for("blocks-of-four", 12)
    look = planned_look(half.count, plan.count, ALPHA)
    # an order of six blocks is two orders of three blocks one after the other
    first = (
        list_many(values[:, :12], half.all(), used // half.count, run_number_basis(12)).two_sided <= look.first_alpha
    )
    last = list_many(values, plan.all(), used, run_number_basis(24)).two_sided <= look.last_alpha
    sentence = (
        f"False alarms with a planned look at {look.first_alpha} after 12 of 24 runs, {look.last_alpha} at the end."
    )
    return share_at_most(name, sentence, first | last, ALPHA)


RECIPES = (
    Recipe("peeking, naive", naive_peeking, 20_000, 2_000),
    Recipe("peeking, judged by truerun", honest_peeking, 20_000, 2_000),
    Recipe("peeking at the bet, else the list", bet_or_list, 20_000, 2_000),
    Recipe("E of 20 within 24 runs", bet_reaches_twenty, 20_000, 2_000),
    Recipe("mean of E over all orders", mean_of_bets, 200, 10),
    Recipe("two stages", two_stages, 20_000, 400),
)
"""Every calibration of stopping and looking."""
