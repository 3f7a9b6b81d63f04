"""How often people's habits and benches' tricks lead to a false alarm: hand bias, slips, picking, bumps, pooling."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

# not scipy.stats: that import takes seconds; gammaincinv is the quantile of chi squared
from scipy.special import gammaincinv

from truerun.motion.capture import CaptureWheel, Ending, capture_speed, time_to_end, turning_time
from truerun.stats.guesses import guess_test
from truerun.stats.orders import attained_level, orders_for
from truerun.stats.pooling import pooled
from truerun.virtual.bench import HAND_WATCH, Bench, read_watch
from truerun.virtual.calibration import Calibration, Recipe, binomial_band, share_at_most, share_near
from truerun.virtual.error_rates import ALPHA, SPREAD, draw_orders, judge_times, run_number_basis
from truerun.virtual.many_lists import ManyLists, list_many
from truerun.virtual.noise import standard_normal
from truerun.virtual.people import guess_by_chance, guess_knowing, lean_towards, set_up_with_slips
from truerun.virtual.tables import simulate_times

__all__ = ["RECIPES"]

Array = NDArray[np.float64]
Guesser = Callable[[NDArray[np.int8], np.random.Generator], NDArray[np.int8]]

_RUNS = 16
_BIAS = 0.10
_VARIANTS = 24
_LAUNCH_SPEED = 10.0
_MANY = 5_000  # fewer repetitions cannot tell a coverage of .92 from one a little above


def hand_bias(allowance: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a bias by hand of .1 s towards the source becomes "adds energy"."""
    orders = orders_for("blocks-of-four", _RUNS).all()
    used = draw_orders(rng, len(orders), repetitions)
    bench = Bench(mean_time=30.0, spread=0.003)
    times = lean_towards(simulate_times(bench, orders[used], rng), orders[used], _BIAS)
    source = orders[used] > 0
    means = [np.where(chosen, times, 0.0).sum(axis=1) / (_RUNS / 2) for chosen in (source, ~source)]
    shifted = allowance / np.minimum(*means)
    found = list_many(np.log(times), orders, used, run_number_basis(_RUNS), shifted)
    sentence = (
        f'A hand bias of .10 s in 30 s becomes "adds energy" with an allowance of {allowance:.2f} s; '
        "8 runs of each, spread .3 %."
    )
    alarms = float((found.plus <= ALPHA / 2).mean())
    low, high = (0.0, ALPHA) if allowance else (ALPHA, 1.0)
    return Calibration(name, sentence, repetitions, alarms, low, high)


def wrong_set_up(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms where one set-up in sixteen is wrong and analysed as drawn."""
    orders = orders_for("blocks-of-four", _RUNS).all()
    used = draw_orders(rng, len(orders), repetitions)
    really = set_up_with_slips(orders[used], rng)
    log_times = np.log(simulate_times(Bench(spread=SPREAD), really, rng))
    found = list_many(log_times, orders, used, run_number_basis(_RUNS))
    sentence = "False alarms at 5 % where one set-up in sixteen is wrong and the slot is analysed as drawn."
    return share_near(name, sentence, found.two_sided <= ALPHA, attained_level(len(orders), ALPHA))


def picked_of_many(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often the longest of 24 idle variants "adds energy" in a screening and again in a fresh test."""
    screened = simulate_times(Bench(spread=SPREAD), np.ones((repetitions, _VARIANTS), dtype=np.int8), rng)
    looked_better = np.log(screened).max(axis=1) - np.log(screened).mean(axis=1)
    found, _ = judge_times(Bench(spread=SPREAD), _RUNS, repetitions, rng)
    sentence = (
        f"The longest of {_VARIANTS} idle variants ({looked_better.mean() / SPREAD:.2f} spreads better by luck) "
        '"adds energy" in a fresh sealed test of 8 runs of each.'
    )
    return share_at_most(name, sentence, found.plus <= ALPHA / 2, ALPHA / 2)


def guesses(guesser: Guesser, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often somebody who knows nothing is said to know the condition."""
    orders = orders_for("blocks-of-four", 12).all()
    used = draw_orders(rng, len(orders), repetitions)
    guessed = guesser(orders[used], rng)
    p = [guess_test(guess, orders[order], orders).p for guess, order in zip(guessed, used, strict=True)]
    sentence = "Somebody who only guesses is said to know the condition, 6 runs of each, at 5 %."
    return share_at_most(name, sentence, np.array(p) <= ALPHA, ALPHA)


def _bump(height: float = 0.01) -> CaptureWheel:
    """Make a wheel launched at 10 rad/s with a bump of a share of the launch energy, much more than a turn's loss."""
    return CaptureWheel(dry=0.005, viscous=0.0015, hill=height * _LAUNCH_SPEED**2 / 2)


def _bump_tests(
    repetitions: int, rng: np.random.Generator, seconds: tuple[Array, Array]
) -> tuple[ManyLists, NDArray[np.int64]]:
    """Judge tests whose true times with source and control are given, shape (repetitions, runs) each or scalar."""
    orders = orders_for("blocks-of-four", _RUNS).all()
    used = draw_orders(rng, len(orders), repetitions)
    scatter = np.exp(SPREAD * standard_normal(rng, (repetitions, _RUNS)))
    times = read_watch(np.where(orders[used] > 0, *seconds) * scatter, HAND_WATCH, rng)
    return list_many(np.log(times), orders, used, run_number_basis(_RUNS)), used


def bump_to_standstill(ending: Ending, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a lossless bump timed to standstill looks like an effect: why standstill is refused."""
    launch = _LAUNCH_SPEED * np.exp(0.01 * standard_normal(rng, (repetitions, _RUNS)))
    seconds = (time_to_end(_bump(), launch, ending), time_to_end(_bump(0.0), launch, ending))
    found, _ = _bump_tests(repetitions, rng, seconds)
    sentence = f"A bump of 1 % without any loss, timed to its {ending.value}: the list alone finds a difference."
    return Calibration(name, sentence, repetitions, float((found.two_sided <= ALPHA).mean()), 0.99, 1.0)


def bump_above_capture(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the false alarms of the same bump timed down to three capture speeds."""
    end = 3 * capture_speed(_bump())
    seconds = (turning_time(_bump(), 9.0, end), turning_time(_bump(0.0), 9.0, end))
    found, _ = _bump_tests(repetitions, rng, seconds)
    sentence = "The same bump timed from 9 rad/s down to three capture speeds: false alarms at 5 %."
    return share_at_most(name, sentence, found.two_sided <= ALPHA, ALPHA)


def pooling_coverage(tests: int, spread: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure the coverage of pooled tests whose precision differs by a factor of 5."""
    errors = np.geomspace(1 / np.sqrt(5), np.sqrt(5), tests)
    freedom = 14  # what two conditions of 8 runs leave to estimate a standard error from
    true = spread * standard_normal(rng, (repetitions, tests))
    effects = true + errors * standard_normal(rng, (repetitions, tests))
    estimated = errors**2 * 2 / freedom * gammaincinv(freedom / 2, rng.random((repetitions, tests)))
    intervals = (pooled(*pair) for pair in zip(effects, estimated, strict=True))
    covered = np.array([found.low <= 0 <= found.high for found in intervals])
    sentence = f"The pooled 95 % interval of {tests} tests holds the truth; spread {spread:g} s.e., precision ratio 5."
    low = 0.92 if repetitions >= _MANY else binomial_band(0.92, repetitions)[0]
    return Calibration(name, sentence, repetitions, float(covered.mean()), low, 1.0)


RECIPES = (
    Recipe("hand bias, no allowance", partial(hand_bias, 0.0), 20_000, 2_000),
    Recipe("hand bias, allowance", partial(hand_bias, 0.10), 20_000, 2_000),
    Recipe("one wrong set-up in sixteen", wrong_set_up, 20_000, 2_000),
    Recipe("24 variants, then a fresh test", picked_of_many, 20_000, 2_000),
    Recipe("guesses, as many of each", partial(guesses, guess_by_chance), 20_000, 2_000),
    Recipe("guesses, by a coin", partial(guesses, partial(guess_knowing, share=0.0)), 20_000, 2_000),
    *(
        Recipe(f"bump to {ending.value}, list alone", partial(bump_to_standstill, ending), 5_000, 1_000)
        for ending in Ending
    ),
    Recipe("bump, window above capture", bump_above_capture, 20_000, 2_000),
    *(
        Recipe(f"pooling {tests}, spread {spread:g}", partial(pooling_coverage, tests, spread), 10_000, 600)
        for tests in (3, 4, 6)
        for spread in (0.0, 1.0, 2.0)
    ),
)
"""Every calibration of habits, bumps and pooling."""
