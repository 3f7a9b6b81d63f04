"""How often several tests, many variants or many doses lead to a false alarm."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr  # scipy.stats takes seconds to import

from truerun.stats.exact import exact_list, two_sided_p
from truerun.stats.orders import attained_level, orders_for
from truerun.stats.rounds import every_order, orders_in_rounds, sample_rounds
from truerun.stats.several import dose_trend, holm
from truerun.stats.stratified import stratified_test
from truerun.trial.screening import screening_figures
from truerun.virtual.calibration import Calibration, Recipe, share_at_most, share_near
from truerun.virtual.error_rates import draw_orders, run_number_basis
from truerun.virtual.many_lists import list_many
from truerun.virtual.noise import Autoregressive, standard_normal

__all__ = ["RECIPES"]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

ALPHA = 0.05
VARIANTS = 24
ROUNDS = 2
_SAMPLED = 999


def fresh_test_of_the_winner(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the fresh test of the best of 24 equal variants says that it adds energy.

    Screening and fresh test follow one another on a bench whose noise remembers (AR .8), and only the half of all
    screenings in which the best stood out farthest goes on to a fresh test.
    """
    runs = VARIANTS * ROUNDS
    noise = Autoregressive(0.8, 1.0).draw(rng, 2 * repetitions, runs + 16) + standard_normal(
        rng, (2 * repetitions, runs + 16)
    )
    drawn = sample_rounds("screenings before a fresh test", VARIANTS, ROUNDS, _SAMPLED + 1)
    first = drawn[draw_orders(rng, len(drawn), len(noise))]
    by_variant = np.take_along_axis(noise[:, :runs], np.argsort(first, axis=1, kind="stable"), axis=1)
    excess = by_variant.reshape(len(noise), VARIANTS, ROUNDS).mean(axis=2).max(axis=1) - noise[:, :runs].mean(axis=1)
    farthest = np.argsort(-excess, kind="stable")[:repetitions]
    orders = orders_for("blocks-of-four", 16)
    used = draw_orders(rng, orders.count, repetitions)
    found = list_many(noise[farthest, runs:], orders.all(), used, run_number_basis(16))
    sentence = "The best of 24 equal variants, tested afresh with 8 runs of each, is said to add energy; noise AR .8."
    return share_at_most(name, sentence, found.plus <= ALPHA / 2, ALPHA / 2)


def winner_by_its_own_runs(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how far the best of 24 equal variants lies above the mean of all in its own two runs, in run spreads."""
    shown = np.empty(repetitions)
    for place in range(repetitions):
        y = standard_normal(rng, (VARIANTS * ROUNDS,))
        used = sample_rounds(f"own {place}", VARIANTS, ROUNDS, 1)[0]
        shown[place] = max(y[used == variant].mean() for variant in range(VARIANTS)) - y.mean()
    sentence = (
        "By luck the best of 24 equal variants stands this many run spreads above the mean of all, two runs each."
    )
    reach = 3.29 * float(shown.std()) / repetitions**0.5
    return Calibration(name, sentence, repetitions, float(shown.mean()), 1.948 / 2**0.5 - reach, 1.948 / 2**0.5 + reach)


def candidate_by_luck(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a screening of 24 equal variants names a candidate, on a bench that drifts."""
    orders = sample_rounds("screenings of equal variants", VARIANTS, ROUNDS, _SAMPLED + 1)
    level = 0.2
    named = np.empty(repetitions, dtype=np.bool_)
    drift = np.linspace(0.0, 3.0, VARIANTS * ROUNDS)
    for place, number in enumerate(draw_orders(rng, len(orders), repetitions)):
        y = standard_normal(rng, drift.shape) + drift
        figures = screening_figures(y, orders[number], ROUNDS, orders)
        named[place] = figures.p <= level and figures.worth.factor > 0
    sentence = (
        "A screening of 24 equal variants, two runs each, names a candidate; 20 % are allowed, on a drifting bench."
    )
    return share_at_most(name, sentence, named, level)


def any_after_holm(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often any of 23 equal variants differs from the control after Holm's correction."""
    found = np.empty(repetitions, dtype=np.bool_)
    df = (VARIANTS - 1) * (ROUNDS - 1)
    for place in range(repetitions):
        y = standard_normal(rng, (ROUNDS, VARIANTS))
        around = y - y.mean(axis=1, keepdims=True)
        means = around.mean(axis=0)
        spread = float(((around - means) ** 2).sum() / df) ** 0.5
        t = (means[1:] - means[0]) / (spread * (2 / ROUNDS) ** 0.5)
        found[place] = min(holm([float(p) for p in 2 * stdtr(df, -np.abs(t))])) <= ALPHA
    sentence = "Any of 23 variants equal to the control is said to differ from it at 5 % after Holm, two runs each."
    return share_at_most(name, sentence, found, ALPHA)


def stratified_size(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of three tests together, with spreads of 1, 2 and 5 and a drift of 3 spreads."""
    orders = orders_for("blocks-of-four", 12).all()
    basis = run_number_basis(12)
    p = np.empty(repetitions)
    drift = np.linspace(0.0, 3.0, 12)
    for place in range(repetitions):
        lists = []
        for spread, number in zip((1.0, 2.0, 5.0), draw_orders(rng, len(orders), 3), strict=True):
            lists.append(exact_list(spread * (standard_normal(rng, (12,)) + drift), orders, orders[number], basis))
        heaps = [found.heap for found in lists if found.heap is not None]
        p[place] = stratified_test(heaps, [found.delta for found in lists]).p
    sentence = "False alarms at 5 % of three tests of 6 + 6 together, their orders compared test by test."
    return share_near(name, sentence, p <= ALPHA, ALPHA)


def dose_size(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of a trend over 0, 1, 2, 3, 6, 12 magnets in one round, on a bench that warms up."""
    doses = np.array([0.0, 1.0, 2.0, 3.0, 6.0, 12.0])
    listed = every_order(6, 1)
    orders = doses[listed] if listed is not None else np.zeros((0, 6))
    number = np.arange(6.0)[:, None]
    p = np.empty(repetitions)
    for place, drawn in enumerate(draw_orders(rng, len(orders), repetitions)):
        y = standard_normal(rng, (6,)) - 5 * np.exp(-np.arange(6.0))
        p[place] = two_sided_p(dose_trend(y, orders, orders[drawn], number).found)
    level = attained_level(orders_in_rounds(6, 1), ALPHA)
    sentence = "False alarms at 5 % of a trend over six doses in one round, adjusted for the run number, warm-up."
    return share_near(name, sentence, p <= ALPHA, level)


RECIPES = (
    Recipe("24 variants, fresh test, AR .8", fresh_test_of_the_winner, 20_000, 2_000),
    Recipe("24 variants, best by luck", winner_by_its_own_runs, 4_000, 400),
    Recipe("24 variants, candidate by luck", candidate_by_luck, 2_000, 150),
    Recipe("24 variants, Holm", any_after_holm, 20_000, 1_000),
    Recipe("three tests together, stratified", stratified_size, 10_000, 200),
    Recipe("trend over six doses", dose_size, 10_000, 1_000),
)
"""Every calibration of several tests, variants and doses."""
