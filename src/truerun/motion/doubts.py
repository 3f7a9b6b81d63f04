"""What a fitted rundown says against itself, in sentences."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drag_curve import drag_at
from truerun.motion.rundown import FitDoubt, Rundown
from truerun.motion.rundown_data import usual_terms
from truerun.motion.words import power_findings

__all__ = ["rundown_findings"]

FEWEST_FOR_A_HILL = 3
"""Marks a turn: with m of them (m - 1)/2 harmonics of a hill can be told from the spacing of the marks."""

NO_DRIFT = 0.05
"""Share of belief that there is no drift, below which it counts as seen."""

WIDENED = 1.5
"""From how many times the reading error on the honest uncertainty is worth a word."""


def rundown_findings(rundown: Rundown) -> tuple[Finding, ...]:
    """Say what casts doubt on a fitted rundown, and what it cannot show.

    Parameters
    ----------
    rundown : Rundown

    Returns
    -------
    tuple of Finding
        Misfit, weak or rounded fits; marks too few for a hill; parts of the drag that are negative or stand in for
        each other; drag that wandered.
    """
    said: list[Finding] = []
    if FitDoubt.MISFIT in rundown.doubts and rundown.misfit is not None:
        said.append(finding("fit-misfit", ratio=f"{math.sqrt(rundown.misfit):.2g}"))
    if FitDoubt.WEAK in rundown.doubts:
        said.append(finding("fit-weak"))
    if FitDoubt.ROUNDING in rundown.doubts:
        said.append(finding("fit-rounding"))
    if rundown.marks < FEWEST_FOR_A_HILL:
        said.append(finding("hill-unseen", marks="one mark" if rundown.marks == 1 else f"{rundown.marks} marks"))
    if rundown.drift is not None and rundown.drift.none < NO_DRIFT:
        ratio = float(np.median(_band_ratio(rundown)))
        if ratio > WIDENED:
            said.append(finding("drag-wanders", ratio=f"{ratio:.2g}"))
    terms = usual_terms(rundown)
    if terms is not None:
        said += power_findings(terms.powers, terms.coefficients, terms.covariance)
    return tuple(said)


def _band_ratio(rundown: Rundown) -> NDArray[np.float64]:
    """Honest over reading uncertainty of the drag, over the range of speeds."""
    _, honest, reading = drag_at(rundown.drag, np.linspace(rundown.speed_low, rundown.speed_high, 40))
    return honest / reading
