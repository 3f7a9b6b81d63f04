"""How often the exact list is wrong: laws over all orders, size, coverage, equivalence, power.

Every function takes the name of its calibration, the number of repetitions and a generator last, so that
:data:`RECIPES` can list them. To add one: the function, its entry there, a short run in the tests.
"""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from truerun.stats.exact import exact_list, interval, nuisance_basis, two_sided_p
from truerun.stats.orders import attained_level, orders_for
from truerun.stats.power import detectable_effect, power_of
from truerun.virtual.bench import Bench
from truerun.virtual.calibration import Calibration, Recipe, share_at_most, share_near
from truerun.virtual.many_lists import ManyLists, list_many
from truerun.virtual.noise import Autoregressive, LevelStep, Line, RandomWalk, WarmUp, standard_normal
from truerun.virtual.tables import simulate_times

__all__ = ["BENCHES", "RECIPES", "draw_orders", "judge_times", "run_number_basis"]

Array = NDArray[np.float64]

ALPHA = 0.05
SPREAD = 0.02

BENCHES: dict[str, Bench] = {
    "white noise": Bench(spread=SPREAD),
    "a line of 6 spreads": Bench(spread=SPREAD, drifts=(Line(6 * SPREAD),)),
    "a warm-up of 10 spreads": Bench(spread=SPREAD, drifts=(WarmUp(10 * SPREAD, 3.0),)),
    "AR .8": Bench(spread=0.0, drifts=(Autoregressive(0.8, SPREAD),)),
    "a random walk": Bench(spread=SPREAD, drifts=(RandomWalk(SPREAD),)),
    "a level step of 5 spreads": Bench(spread=SPREAD, drifts=(LevelStep(5 * SPREAD, 5),)),
}
"""Benches without a drive, by what moves on them."""


def run_number_basis(runs: int, columns: Array | None = None) -> Array:
    """Give the basis of the constant, the run number and further columns, shape (runs, rank).

    Examples
    --------
    >>> run_number_basis(12).shape
    (12, 2)
    """
    numbers = np.arange(runs, dtype=np.float64)[:, None]
    adjusted = numbers if columns is None else np.column_stack([numbers, columns])
    alternating = np.where(np.arange(runs) % 2, 1.0, -1.0)
    return nuisance_basis(adjusted, ("what is adjusted",) * adjusted.shape[1], alternating)


def draw_orders(rng: np.random.Generator, count: int, repetitions: int) -> NDArray[np.int64]:
    """Draw one of ``count`` orders for each repetition.

    Examples
    --------
    >>> draw_orders(np.random.default_rng(1), 216, 3).tolist()
    [110, 205, 31]
    """
    return np.floor(rng.random(repetitions) * count).astype(np.int64)


def judge_times(
    bench: Bench, runs: int, repetitions: int, rng: np.random.Generator, effect: float = 0.0
) -> tuple[ManyLists, Array]:
    """Run the standard plan, blocks of four adjusted for the run number, on a bench many times.

    Parameters
    ----------
    bench : Bench
        The truth.
    runs : int
        Runs of a test.
    repetitions : int
        How many tests.
    rng : numpy.random.Generator
        Draws the orders and everything else.
    effect : float
        Effect on ln T for which p-values are asked.

    Returns
    -------
    ManyLists
        Of ln T.
    array, shape (repetitions, runs)
        The times as written [s].
    """
    orders = orders_for("blocks-of-four", runs).all()
    used = draw_orders(rng, len(orders), repetitions)
    times = simulate_times(bench, orders[used], rng)
    return list_many(np.log(times), orders, used, run_number_basis(runs), effect), times


def size(kind: str, runs: int, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a source that does nothing is found to do something."""
    found, _ = judge_times(BENCHES[kind], runs, repetitions, rng)
    level = attained_level(orders_for("blocks-of-four", runs).count, ALPHA)
    sentence = f"False alarms at 5 % with {runs // 2} runs of each and {kind}; {level:.4f} is what the list attains."
    return share_near(name, sentence, found.two_sided <= ALPHA, level)


def coverage(kind: str, runs: int, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the 95 % interval holds a true drive fraction of .05."""
    bench = BENCHES[kind]
    driven = Bench(bench.mean_time, 0.05, bench.spread, drifts=bench.drifts, watch=bench.watch)
    found, _ = judge_times(driven, runs, repetitions, rng, effect=-float(np.log1p(-0.05)))
    attained = 1 - attained_level(orders_for("blocks-of-four", runs).count, ALPHA)
    sentence = f"The 95 % interval holds the true D = .05 with {runs // 2} runs of each and {kind}."
    return share_near(name, sentence, found.two_sided > ALPHA, attained)


def unequal_spreads(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where the source makes runs scatter three times as much."""
    found, _ = judge_times(Bench(spread=SPREAD, spread_ratio=3.0), 12, repetitions, rng)
    sentence = "False alarms at 5 % with 6 runs of each where source runs scatter three times as much."
    share = float((found.two_sided <= ALPHA).mean())
    return Calibration(name, sentence, repetitions, share, 0.0, 0.075)


def unfinished_half(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where half the runs are broken off at a common limit."""
    found, _ = judge_times(Bench(spread=SPREAD, time_limit=60.0), 12, repetitions, rng)
    sentence = "False alarms at 5 % with 6 runs of each, half of all runs broken off at a common limit."
    return share_at_most(name, sentence, found.two_sided <= ALPHA, ALPHA)


def equivalence_at_the_margin(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often an effect as large as the margin is called smaller than the margin."""
    margin = 0.03
    edge = -float(np.log1p(-margin))
    orders = orders_for("blocks-of-four", 16).all()
    used = draw_orders(rng, len(orders), repetitions)
    log_times = np.log(simulate_times(Bench(drive_fraction=margin, spread=0.01), orders[used], rng))
    basis = run_number_basis(16)
    above = list_many(log_times, orders, used, basis, -edge).plus <= ALPHA
    below = list_many(log_times, orders, used, basis, edge).minus <= ALPHA
    sentence = "An effect exactly as large as the margin is called smaller than it, 8 runs of each."
    return share_at_most(name, sentence, above & below, ALPHA)


def all_orders_plain(rng: np.random.Generator) -> tuple[Array, NDArray[np.int8], Array]:
    """Give wild observations: normal noise over normal noise, which has no mean."""
    noise = standard_normal(rng, (20, 12)) / standard_normal(rng, (20, 12))
    return noise, orders_for("blocks-of-four", 12).all(), run_number_basis(12)


def all_orders_tied(rng: np.random.Generator) -> tuple[Array, NDArray[np.int8], Array]:
    """Give times to a tenth of a second that take only a few values."""
    times = np.rint(600 + 3 * standard_normal(rng, (20, 12))) / 10
    return np.log(times), orders_for("blocks-of-four", 12).all(), run_number_basis(12)


def all_orders_left_out(rng: np.random.Generator) -> tuple[Array, NDArray[np.int8], Array]:
    """Give observations with one to three slots left out, blind to the labels."""
    missing = 1 + int(rng.random() * 3)
    kept = np.sort(np.argsort(rng.random(12))[missing:])
    basis = run_number_basis(12)[kept]
    return standard_normal(rng, (20, 12))[:, kept], orders_for("blocks-of-four", 12).all()[:, kept], _orthonormal(basis)


def all_orders_covariate(rng: np.random.Generator) -> tuple[Array, NDArray[np.int8], Array]:
    """Give observations that follow a covariate which is adjusted for, as well as the run number."""
    covariate = standard_normal(rng, (12, 1))
    noise = standard_normal(rng, (20, 12)) + 3 * covariate.T
    return noise, orders_for("blocks-of-four", 12).all(), run_number_basis(12, covariate)


def _orthonormal(columns: Array) -> Array:
    """Make columns orthonormal again after rows were left out."""
    return np.asarray(np.linalg.qr(columns)[0])


ALL_ORDERS = {
    "any observations": all_orders_plain,
    "ties": all_orders_tied,
    "slots left out": all_orders_left_out,
    "a covariate": all_orders_covariate,
}


def rejecting_among_all(kind: str, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Count, for fixed observations, how many of all 216 orders would have rejected; the largest count counts."""
    most = 0
    for _ in range(repetitions // 20):
        observations, orders, basis = ALL_ORDERS[kind](rng)
        sets = len(observations)
        used = np.tile(np.arange(len(orders)), sets)
        found = list_many(np.repeat(observations, len(orders), axis=0), orders, used, basis)
        most = max(most, int((found.two_sided <= ALPHA).reshape(sets, -1).sum(axis=1).max()))
    sentence = f"Of all 216 orders the most that reject at 5 %, over many sets of observations: {kind}."
    return Calibration(name, sentence, repetitions, most, 0, 10)


def interval_against_p(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Count how often the interval and the p-value of one list disagree about 0."""
    orders = orders_for("blocks-of-four", 12).all()
    basis = run_number_basis(12)
    used = draw_orders(rng, len(orders), repetitions)
    times = np.rint(600 + 3 * standard_normal(rng, (repetitions, 12))) / 10
    disagreements = 0
    for row, order in zip(times, used, strict=True):
        found = exact_list(np.log(row), orders, orders[order], basis)
        p = two_sided_p(found)
        for alpha in (0.01, 0.05, 0.1, 0.2):
            low, high = interval(found, alpha)
            off = (low is not None and low > 0) or (high is not None and high < 0)
            disagreements += off != (p <= alpha)
    sentence = "Interval and p-value disagree about 0 at 1, 5, 10 or 20 %, times to a tenth of a second with many ties."
    return Calibration(name, sentence, repetitions, disagreements, 0, 0)


def power_against_forecast(
    plan: tuple[str, int, str], name: str, repetitions: int, rng: np.random.Generator
) -> Calibration:
    """Measure how often a drive of the size that is said to be found in 80 % is found, less the forecast."""
    order_set, runs, adjust = plan
    effect = detectable_effect(0.8, order_set, runs, adjust, ALPHA)
    orders = orders_for(order_set, runs).all()
    used = draw_orders(rng, len(orders), repetitions)
    bench = Bench(drive_fraction=-float(np.expm1(-effect * SPREAD)), spread=SPREAD, mean_time=600.0)
    basis = run_number_basis(runs) if adjust == "run-number" else np.full((runs, 1), runs**-0.5)
    found = list_many(np.log(simulate_times(bench, orders[used], rng)), orders, used, basis)
    share = float((found.two_sided <= ALPHA).mean())
    forecast = power_of(effect, order_set, runs, adjust, ALPHA)
    sentence = f"Found less forecast ({forecast:.3f}) for {order_set}, {runs} runs, a drive of {effect:.2f} spreads."
    allowed = max(0.01, 3.29 * (0.16 / repetitions) ** 0.5)
    return Calibration(name, sentence, repetitions, share - forecast, -allowed, allowed)


PLANS = (
    ("blocks-of-four", 12, "run-number"),
    ("blocks-of-four", 16, "run-number"),
    ("restricted", 8, "run-number"),
    ("restricted", 10, "run-number"),
    ("complete", 12, "run-number"),
    ("pairs", 12, "none"),
    ("pairs", 16, "none"),
    ("abba-blocks", 24, "none"),
)

RECIPES = (
    *(Recipe(f"all orders, {kind}", partial(rejecting_among_all, kind), 2_000, 40) for kind in ALL_ORDERS),
    Recipe("interval against p", interval_against_p, 20_000, 4_000),
    *(
        Recipe(f"size {half}+{half}, {kind}", partial(size, kind, 2 * half), 20_000, 2_000)
        for half in (6, 8)
        for kind in BENCHES
    ),
    *(Recipe(f"coverage 6+6, {kind}", partial(coverage, kind, 12), 20_000, 2_000) for kind in BENCHES),
    Recipe("spread ratio 3", unequal_spreads, 20_000, 2_000),
    Recipe("half the runs unfinished", unfinished_half, 20_000, 2_000),
    Recipe("equivalence at the margin", equivalence_at_the_margin, 20_000, 2_000),
    *(
        Recipe(f"power, {plan[0]} {plan[1]} runs", partial(power_against_forecast, plan), 40_000, 2_000)
        for plan in PLANS
    ),
)
"""Every calibration of the exact list."""
