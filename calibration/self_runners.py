"""How often two wheels that are driven alike, and do not slow down, are said to differ: from files to the verdict."""

from __future__ import annotations

import csv
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from truerun.virtual.calibration import Calibration, Recipe, share_at_most
from truerun.virtual.course import simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.made_tests import drawn_plans, made_plan
from truerun.virtual.recording_files import write_passes
from truerun.virtual.rig import Launch, Rig
from truerun.virtual.sensor import SensorClock, record_passes
from truerun.workflow.comparing import compare

__all__ = ["RECIPES"]

ALPHA = 0.05
RUNS = 12
SPEED = 12.0
"""At launch [rad/s]."""

DRAG = PowerLaw(((0, 0.08), (1, 0.006)))
SPREAD = 0.01
"""Run-to-run standard deviation of ln(drag) and of ln(speed at launch)."""

SECONDS = 60.0
MARKS = (0.0, 1.57, 3.15, 4.71)


def differs(folder: Path, order: tuple[str, ...], rig: Rig, rng: np.random.Generator) -> bool:
    """Tell whether a test of recordings, all of one rig, is said to drive or to brake."""
    with (folder / "runs.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["run", "condition", "recording", "marks"])
        for number, condition in enumerate(order, start=1):
            launch = Launch(SPEED * float(np.exp(SPREAD * rng.normal())), 0.3, float(np.exp(SPREAD * rng.normal())))
            course = simulate_run(rig, launch, SECONDS, tolerance=1e-8)
            passes, _ = record_passes(course, rng, clock=SensorClock(resolution=1e-6))
            path = folder / f"{number}.csv"
            path.unlink(missing_ok=True)
            write_passes(path, passes)
            table.writerow([number, condition, path.name, len(MARKS)])
    names = sorted(set(order))
    found = compare(folder / "runs.csv", source=names[0], control=names[1], orders="blocks-of-four", end="speed")
    return found.verdict in ("adds-energy", "takes-energy")


def alike(drive: float, name: str, repetitions: int, rng: np.random.Generator) -> Calibration:
    """Measure how often wheels with the same drive, in so many times the loss at launch, are said to differ."""
    loss = float(DRAG(np.array([SPEED]))[0])
    rig = Rig(DRAG, marks=MARKS, drive=PowerLaw(((0, drive * loss),)))
    plans = drawn_plans(made_plan(RUNS), repetitions, rng)
    with TemporaryDirectory() as folder:
        said = [differs(Path(folder), plan.order, rig, rng) for plan in plans]
    sentence = f"Both conditions are driven by {drive:g} times the loss at launch, and are said to differ: 6 + 6 files."
    return share_at_most(name, sentence, np.array(said), ALPHA)


RECIPES = tuple(
    Recipe(f"recordings, driven alike by {drive:g} times the loss", partial(alike, drive), 300, 8)
    for drive in (1.0, 1.02, 1.4)
)
"""Calibrations of wheels that do not slow down."""
