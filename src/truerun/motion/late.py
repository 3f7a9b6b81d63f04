"""A rundown whose sensor is late: by what is known of a coil's input, or by delays of marks that the passes show."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.choice import choose_rundown
from truerun.motion.counting import CountedPasses
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.motion.lag import (
    coupling_shift,
    delays_seen,
    fit_with_delays,
    fit_with_lag,
    pass_speeds,
    slowest_usable_speed,
)
from truerun.motion.rundown import Rundown

__all__ = ["Coil", "choose_late_rundown"]

Coil = tuple[float, float]
"""Corner frequency of the input [Hz], and half width of a pulse: the angle from its zero to either peak [rad]."""

PER_MINUTE = 30 / np.pi
MOST_PASSES = 20_000
"""More passes than this are not searched for delays of marks, which would take longer than the fit."""


def choose_late_rundown(counted: CountedPasses, coil: Coil | None = None) -> tuple[Rundown, tuple[Finding, ...]]:
    """Fit counted passes, and allow for a sensor that is late.

    Parameters
    ----------
    counted : CountedPasses
    coil : (float, float), optional
        Corner frequency [Hz] and half width [rad] of a coil's pulses behind an input that holds back slow signals.

    Returns
    -------
    rundown : Rundown
        As of :func:`truerun.motion.choice.choose_rundown`, of times less delays.
    findings : tuple of Finding
        What was allowed for.

    Raises
    ------
    FitImpossible
        If the passes cannot be fitted, or the lag is as large as what it is measured against.
    ValueOutOfRange
        If the corner frequency or the width is not positive.

    Notes
    -----
    Delays of single marks are allowed for where their chi-squared is above log(n) for each of them but one. The fit
    of the delays has no drift of the drag; the rundown that is given has, and holds what the delays cost.
    """
    choose = partial(
        choose_rundown, marks=counted.marks, sigma=counted.sigma, counts=counted.counts, mark_angles=counted.mark_angles
    )
    if coil is not None:
        found = fit_with_lag(choose, counted.times, lambda speeds: coupling_shift(speeds, *coil))
        return found, _said_of_coil(found, coil)
    found = choose(counted.times)
    if found.marks < 2 or found.passes > MOST_PASSES or not delays_seen(found):
        return found, ()
    return _without_delays(found, counted, choose) or (found, ())


def _without_delays(
    found: Rundown, counted: CountedPasses, choose: Callable[[NDArray[np.float64]], Rundown]
) -> tuple[Rundown, tuple[Finding, ...]] | None:
    """Fit again with the delays of the marks, and let the drag drift; None where they do not settle."""

    def plain(like: Rundown) -> Callable[[NDArray[np.float64]], Rundown]:
        return partial(
            fit_rundown, marks=counted.marks, sigma=counted.sigma, counts=counted.counts,
            mark_angles=counted.mark_angles, terms=like.drag.weights.size,
            harmonics=0 if like.hill is None else like.hill.cosine.size,
        )  # fmt: skip

    try:
        late = fit_with_delays(plain(found), counted.times)
        late = fit_with_delays(plain(choose(counted.times - late.moved)), counted.times)
        better = with_drift(late.rundown)
    except FitImpossible:
        return None
    apart = float(np.ptp(late.delays))
    return better, (finding("marks-late", apart=f"{1e3 * apart:.2g} ms"),)


def _said_of_coil(found: Rundown, coil: Coil) -> tuple[Finding, ...]:
    """Say by how much the coil's input shifted the passes, and where that leans on the shape of a pulse."""
    slowest = float(pass_speeds(found).min())
    shift = -1e3 * float(coupling_shift(slowest, *coil))
    said = [finding("coil-early", shift=f"{shift:.2g} ms", speed=f"{slowest * PER_MINUTE:.3g} r/min")]
    usable = slowest_usable_speed(*coil)
    if slowest < usable:
        said.append(finding("coil-too-slow", speed=f"{usable * PER_MINUTE:.3g} r/min"))
    return tuple(said)
