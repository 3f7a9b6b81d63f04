"""How much of a bump and of a camera's delay a track of angles can carry, and down to which speed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.motion.track_fit import TrackRundown, fit_track
from truerun.motion.unseen import sure_to_show
from truerun.series import AngleTrack

__all__ = ["TrackChoice", "choose_track"]

MOST_HARMONICS = 2
ENDS = (None, 1.1, 1.25, 1.6, 2.5)
"""Lowest speeds that are tried, in lowest speeds of the track: near capture a fit does not settle."""

PER_MINUTE = 30 / np.pi


@dataclass(frozen=True, slots=True, eq=False)
class TrackChoice:
    """A fitted track, and where no bump was seen the amplitude up to which one could have been missed [rad^2/s^2]."""

    fit: TrackRundown
    unseen: float | None


def choose_track(track: AngleTrack) -> TrackChoice:
    """Fit a track with a bump and a delay of the camera where each is worth its price.

    Parameters
    ----------
    track : AngleTrack

    Returns
    -------
    TrackChoice

    Raises
    ------
    FitImpossible
        If the track holds no rundown.

    Notes
    -----
    A harmonic of the bump, or the delay, stays where its chi-squared is above its price of 2 log(n), by the
    drift-aware covariance. Near capture the motion hangs on the smallest detail and the fit does not settle: then
    the slowest turns are left out, and a finding says so.
    """
    plain = fit_track(track)
    price = 2 * float(np.log(plain.residuals.size))
    best, end, unseen = plain, None, None
    for harmonics in range(MOST_HARMONICS, 0, -1):
        found = _settled(partial(fit_track, track, harmonics=harmonics), plain.speed_low)
        if found is None or found[0].hill is None:
            continue
        hill = found[0].hill
        last = slice(2 * harmonics - 2, 2 * harmonics)
        if _chi2(hill.coefficients[last], hill.covariance[last, last]) > price:
            (best, end), unseen = found, None
            break
        spread = float(np.sqrt(np.linalg.eigvalsh(hill.covariance[:2, :2])[-1]))
        unseen = sure_to_show(plain.residuals.size) * spread
    harmonics = 0 if best.hill is None else int(best.hill.cosine.size)
    late = _delayed(partial(fit_track, track, harmonics=harmonics, speed_to=end, delay=True), price)
    return TrackChoice(_said(late or best, end), unseen)


def _settled(fit: Callable[..., TrackRundown], lowest: float) -> tuple[TrackRundown, float | None] | None:
    """Fit down to the lowest speed at which the fit settles, and give that speed."""
    for end in ENDS:
        speed_to = None if end is None else end * lowest
        try:
            with np.errstate(over="ignore", invalid="ignore"):
                return fit(speed_to=speed_to), speed_to
        except FitImpossible:
            continue
    return None


def _delayed(fit: Callable[[], TrackRundown], price: float) -> TrackRundown | None:
    """Fit the delay too; None where it is not worth its price."""
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            found = fit()
    except FitImpossible:
        return None
    if found.delay is None or found.delay_covariance is None:
        return None
    return found if _chi2(found.delay, found.delay_covariance) > price else None


def _said(fit: TrackRundown, end: float | None) -> TrackRundown:
    """Say what was left out, and that the camera is late."""
    said = list(fit.findings)
    if end is not None:
        said.append(finding("slow-turns-left-out", speed=f"{end * PER_MINUTE:.3g} r/min"))
    if fit.delay is not None:
        most = 2 * float(np.hypot(*fit.delay))
        said.append(finding("film-late", delay=f"{1e3 * most:.2g} ms"))
    return replace(fit, findings=tuple(said))


def _chi2(values: NDArray[np.float64], covariance: NDArray[np.float64]) -> float:
    """Distance from zero in units of the covariance, squared."""
    return float(values @ np.linalg.solve(covariance, values))
