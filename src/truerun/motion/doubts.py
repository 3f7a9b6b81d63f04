"""What a fitted rundown says against itself, in sentences."""

from __future__ import annotations

import math

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.rundown import FitDoubt, Rundown
from truerun.motion.rundown_data import usual_terms
from truerun.motion.words import power_findings

__all__ = ["rundown_findings"]

FEWEST_FOR_A_HILL = 3
"""Marks a turn: with m of them (m - 1)/2 harmonics of a hill can be told from the spacing of the marks."""


def rundown_findings(rundown: Rundown) -> tuple[Finding, ...]:
    """Say what casts doubt on a fitted rundown, and what it cannot show.

    Parameters
    ----------
    rundown : Rundown

    Returns
    -------
    tuple of Finding
        Misfit, weak or rounded fits; marks too few for a hill; parts of the drag that are negative or stand in for
        each other.
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
    terms = usual_terms(rundown)
    if terms is not None:
        said += power_findings(terms.powers, terms.coefficients, terms.covariance)
    return tuple(said)
