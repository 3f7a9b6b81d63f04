"""How often the whole road is wrong: wheel, sensor, file, reading, counting, fit, window, list, verdict.

A wheel with a lossless bump in one condition and the same drag in both must not be said to gain or lose; one with a
drive must be found as often as the plan forecasts. Every run is written to a file and read again as a user's is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import brentq

from truerun.motion.choice import choose_rundown
from truerun.motion.counting import count_passes
from truerun.motion.window import fit_window
from truerun.recordings.recording import read_recording
from truerun.series import Clock, Passes, Run, RunTable, Timing
from truerun.stats.power import detectable_effect, power_of
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import Plan, Window
from truerun.trial.rules import rules_of_plan
from truerun.virtual.calibration import Calibration, Recipe, binomial_band, share_at_most
from truerun.virtual.drag_laws import PowerLaw, draw_drift
from truerun.virtual.made_tests import differs, drawn_plans, made_plan
from truerun.virtual.many_rundowns import simulate_many
from truerun.virtual.noise import standard_normal
from truerun.virtual.recording_files import write_passes
from truerun.virtual.rig import Launch, Rig, uneven_marks, with_source

__all__ = ["RECIPES", "judge_recordings", "measured_time", "passive_pair"]

Array = NDArray[np.float64]

ALPHA = 0.05
RUNS = 12
MARKS = 4
SPREAD = 0.01
"""Run-to-run standard deviation of ln(drag), hence of ln T."""

FROM, TO = 9.0, 3.6
"""Window by energy [rad/s]; TO is above three capture speeds of the bump below, and where a turn takes a tenth of the
energy, so that a gap of several passes can still be counted."""

WINDOW = Window.model_validate({"from": FROM, "to": TO})

DRAG = PowerLaw(((0, 0.06), (1, 0.012), (2, 0.0006)))
BUMP = (0.4, 0.3)
"""First harmonic, cosine and sine [rad^2/s^2]: its top is .5, its capture speed 1 rad/s."""

PLACES = 4 * 62
_AT_A_TIME = 20


@dataclass(frozen=True, slots=True)
class Pair:
    """The truth of a test: the wheel with the source and without."""

    source: Rig
    control: Rig


def passive_pair(rng: np.random.Generator) -> Pair:
    """Give a wheel and, as source, a lossless bump: nothing that drives or brakes.

    Examples
    --------
    >>> pair = passive_pair(np.random.default_rng(1))
    >>> pair.source.cosine, pair.control.cosine, pair.source.drag == pair.control.drag
    ((0.4,), (), True)
    """
    control = Rig(DRAG, marks=uneven_marks(MARKS, 5e-3, rng))
    return Pair(with_source(control, cosine=BUMP[:1], sine=BUMP[1:]), control)


def driven_pair(drive: float, rng: np.random.Generator) -> Pair:
    """Give a wheel and, as source, the same bump with a constant drive [rad/s^2]."""
    passive = passive_pair(rng)
    return Pair(with_source(passive.source, drive=PowerLaw(((0, drive),))), passive.control)


def window_time(drive: float = 0.0) -> float:
    """Give the time over the window without bump and scatter, by quadrature [s]."""
    return float(quad(lambda speed: 1 / (float(DRAG(np.array([speed]))[0]) - drive), TO, FROM, epsrel=1e-12)[0])


def measured_time(path: Path, marks: int, window: Window) -> float:
    """Give the time over a window as a recording tells it.

    Parameters
    ----------
    path : Path
        File of passes.
    marks : int
        Marks a turn.
    window : Window
        Speeds by energy.

    Returns
    -------
    float
        [s].
    """
    passes = read_recording(path).series
    if not isinstance(passes, Passes):
        raise TypeError(f"{path}: no passes")
    counted = count_passes(passes, marks)
    rundown = choose_rundown(
        counted.times, counted.marks, counts=counted.counts, sigma=counted.sigma, mark_angles=counted.mark_angles
    )
    return fit_window(rundown, window.from_, window.to).time


def judge_recordings(
    pair: Pair, repetitions: int, rng: np.random.Generator, *, wander: float = 0.0
) -> Iterator[Comparison]:
    """Make up tests, write every run to a file, and judge what is read from the files.

    Parameters
    ----------
    pair : Pair
        The truth.
    repetitions : int
        How many tests of 6 + 6 runs in blocks of four.
    rng : numpy.random.Generator
    wander : float
        Standard deviation of the drag within a run, hanging together over ten turns, as a share of it.

    Yields
    ------
    Comparison
        Of each test.
    """
    plan = made_plan(RUNS, window=WINDOW)
    plans = drawn_plans(plan, repetitions, rng)
    with TemporaryDirectory() as folder:
        for first in range(0, repetitions, _AT_A_TIME):
            chunk = plans[first : first + _AT_A_TIME]
            times = _times_of(pair, np.concatenate([each.signs for each in chunk]), Path(folder), rng, wander)
            for each, row in zip(chunk, times.reshape(-1, RUNS), strict=True):
                yield compare_runs(_table(each, row), rules_of_plan(each))


def _table(plan: Plan, times: Array) -> RunTable:
    """Fill in the sheet of a plan."""
    runs = (Run(slot, name, float(time)) for slot, (name, time) in enumerate(zip(plan.order, times, strict=True), 1))
    return RunTable(tuple(runs), resolution=1e-6)


def _times_of(pair: Pair, signs: NDArray[np.int8], folder: Path, rng: np.random.Generator, wander: float) -> Array:
    """Give the time over the window that each run's file tells."""
    times = np.empty(signs.size)
    for sign, rig in ((1, pair.source), (-1, pair.control)):
        chosen = np.flatnonzero(signs == sign)
        recorded = _recorded(rig, _launches(chosen.size, rng, wander), rng)
        for run, passes in zip(chosen, recorded, strict=True):
            path = folder / f"{run}.csv"
            write_passes(path, passes)
            times[run] = measured_time(path, MARKS, WINDOW)
    return times


def _launches(runs: int, rng: np.random.Generator, wander: float) -> list[Launch]:
    """Draw launches that reach the window with any energy above it, and what drag each run has."""
    speeds = 10.3 + 0.3 * rng.random(runs)
    scales = np.exp(SPREAD * standard_normal(rng, (runs,)))
    drifts = [draw_drift(PLACES // MARKS + 1, wander, 10.0, rng) for _ in range(runs)]
    return [
        Launch(float(speed), 0.0, float(scale), drift)
        for speed, scale, drift in zip(speeds, scales, drifts, strict=True)
    ]


def _recorded(rig: Rig, launches: Sequence[Launch], rng: np.random.Generator) -> Iterator[Passes]:
    """Record runs by a sensor with 20 us of jitter and ticks of 1 us; any mark may be the first one, 2 % are missed."""
    made = simulate_many(rig, launches, PLACES)
    for times, speeds in zip(made.times, made.speeds, strict=True):
        last = int((speeds > 0.5 * TO).sum())
        part = times[int(rng.random() * MARKS) : last]
        seen = part[rng.random(part.size) >= 0.02]
        read = np.rint((5.0 + seen + 2e-5 * standard_normal(rng, seen.shape)) / 1e-6) * 1e-6
        yield Passes(read, timing=Timing(1e-6, Clock.SENSOR))


def passive(wander: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a lossless bump is said to drive or to brake."""
    said = [differs(found) for found in judge_recordings(passive_pair(rng), repetitions, rng, wander=wander)]
    sentence = "A lossless bump is said to drive or brake: 6 + 6 recordings, written, read, counted, fitted, compared."
    return share_at_most(name, sentence, np.array(said), ALPHA)


def driven(name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often a drive is found that the plan says is found in 80 %."""
    effect = detectable_effect(0.8, "blocks-of-four", RUNS, "run-number", ALPHA)
    drive = brentq(lambda push: np.log(window_time(push) / window_time()) - effect * SPREAD, 0.0, 0.03)
    said = [differs(found) for found in judge_recordings(driven_pair(float(drive), rng), repetitions, rng)]
    forecast = power_of(effect, "blocks-of-four", RUNS, "run-number", ALPHA)
    low, high = binomial_band(forecast, repetitions)
    sentence = f"A drive of {effect:.2f} spreads is found in 6 + 6 recordings; forecast {forecast:.3f}."
    return Calibration(name, sentence, repetitions, float(np.mean(said)), low, high)


RECIPES = (
    Recipe("recordings, lossless bump", partial(passive, 0.0), 500, 20),
    Recipe("recordings, lossless bump, drag that wanders", partial(passive, 0.01), 200, 20),
    Recipe("recordings, power", driven, 300, 20),
)
"""Calibrations of the whole road."""
