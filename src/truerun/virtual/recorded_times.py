"""Times that went through recordings: each run is made as a wheel, written to a file, read, counted, fitted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad

from truerun.series import Clock, Passes, RunTable, Timing
from truerun.trial.plan import Window
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.many_rundowns import simulate_many
from truerun.virtual.noise import standard_normal
from truerun.virtual.recorded_rates import measured_time
from truerun.virtual.recording_files import write_passes
from truerun.virtual.rig import Launch, Rig, uneven_marks

__all__ = ["WINDOW", "through_files"]

Array = NDArray[np.float64]

WINDOW = Window.model_validate({"from": 9.0, "to": 3.0})
"""Where a plan seals no speeds as numbers: between these, by energy [rad/s]."""

_LAW = ((0, 0.06), (1, 0.012), (2, 0.0006))
_MARKS = 4
_MOST_TURNS = 400


def through_files(table: RunTable, window: Window, rng: np.random.Generator) -> RunTable:
    """Replace the times of a made-up table by what recordings of such runs tell.

    Parameters
    ----------
    table : RunTable
        Finished runs with their times over the window [s].
    window : Window
        Speeds by energy [rad/s].
    rng : numpy.random.Generator
        For marks, launches, jitter and missed passes.

    Returns
    -------
    RunTable
        Times as read from files of passes: four marks placed by eye, 20 us of jitter, ticks of 1 us, 2 % missed.

    Notes
    -----
    The drag is dry, viscous and quadratic, scaled in each run so that the window takes the time of the table. The
    motion is followed by an adaptive method of eighth order, which shares nothing with the fit.
    """
    law = PowerLaw(_LAW)
    unit = float(quad(lambda speed: 1 / float(law(np.array([speed]))[0]), window.to, window.from_, epsrel=1e-12)[0])
    rig = Rig(law, marks=uneven_marks(_MARKS, 5e-3, rng))
    times = np.array([run.value for run in table.runs], dtype=float)
    speeds = window.from_ * (1.1 + 0.05 * rng.random(times.size))
    launches = [Launch(float(speed), 0.0, unit / float(time)) for speed, time in zip(speeds, times, strict=True)]
    turns = min(_MOST_TURNS, 8 + 1.6 * times.max() * (window.from_ + window.to) / 2 / (2 * np.pi))
    made = simulate_many(rig, launches, _MARKS * int(turns))
    with TemporaryDirectory(prefix="truerun-") as folder:
        read = [
            _read(Path(folder) / f"{number}.csv", passed[at > 0.6 * window.to], window, rng)
            for number, (passed, at) in enumerate(zip(made.times, made.speeds, strict=True))
        ]
    runs = tuple(replace(run, value=value) for run, value in zip(table.runs, read, strict=True))
    return replace(table, runs=runs, resolution=1e-6)


def _read(path: Path, times: Array, window: Window, rng: np.random.Generator) -> float:
    """Write a recording and give the time over the window that it tells."""
    seen = times[rng.random(times.size) >= 0.02]
    stamped = np.rint((5.0 + seen + 2e-5 * standard_normal(rng, seen.shape)) / 1e-6) * 1e-6
    write_passes(path, Passes(stamped, timing=Timing(1e-6, Clock.SENSOR)))
    return measured_time(path, _MARKS, window)
