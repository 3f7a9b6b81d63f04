"""Rocking after capture: how the swings die away tells dry from viscous friction, their period the hill's curvature."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.least_squares import fit_least_squares
from truerun.motion.swing import widening
from truerun.motion.turnings import Turnings, turning_points
from truerun.motion.words import lag_one

__all__ = ["Decay", "Friction", "Rocking", "fit_rocking", "principal_axis"]

FEWEST = 6
ALIKE = 6.0
MOST_BEND = 2
NEARLY_ROUND = 1.3
_OF_ANGLES, _OF_SPEEDS = 8 / 9, 2 / 9


class Friction(Enum):
    """Which of two forms of friction the falling swings prefer."""

    DRY = "dry: each swing smaller by the same amount"
    VISCOUS = "viscous: each swing smaller by the same share"
    UNDECIDED = "not told apart"


@dataclass(frozen=True, slots=True)
class Decay:
    """One form of decay fitted to the swings: ``rate`` is their fall per second (a share of them if exponential).

    ``uncertainty`` is widened for residuals that hang together, ``reading`` is not; ``start`` is the swing at the first
    one used, ``rms`` that of the residuals.
    """

    rate: float
    uncertainty: float
    reading: float
    start: float
    rms: float


@dataclass(frozen=True, slots=True, eq=False)
class Rocking:
    """What the turning points of a rocking wheel say.

    ``swings`` (n,) are half the differences of successive turning points, at ``times`` (n,) [s] between them, with
    their ``half_swings`` (n,) [s]. ``straight`` and ``exponential`` are both fitted; ``behind`` is by how much the
    criterion prefers ``friction`` (see Notes of the fit). Each turning point follows from the one before as
    A' = kept A - lost: ``kept`` and ``lost`` with standard uncertainties, about ``offset``. ``curvature`` [1/s^2] is
    that of the hill at the bottom over the inertia; ``viscous`` [1/s] and ``dry`` [unit/s^2] the specific drag,
    ``dead_band`` [unit] how far from the bottom dry friction can hold the wheel: these three from turning points that
    were carried over to a round well by ``stretch`` (see Notes of the fit).
    """

    times: NDArray[np.float64]
    swings: NDArray[np.float64]
    half_swings: NDArray[np.float64]
    straight: Decay
    exponential: Decay
    friction: Friction
    behind: float
    kept: float
    kept_uncertainty: float
    lost: float
    lost_uncertainty: float
    offset: float
    offset_uncertainty: float
    curvature: float
    curvature_uncertainty: float
    viscous: float
    viscous_uncertainty: float
    dry: float
    dry_uncertainty: float
    dead_band: float
    dead_band_uncertainty: float
    stretch: float
    findings: tuple[Finding, ...]


def principal_axis(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Find the displacement along the line on which a point moves most.

    Parameters
    ----------
    x, y : array, shape (n,)
        Positions.

    Returns
    -------
    array, shape (n,)
        From the mean position, with the sign of x (of y where the line is upright).

    Examples
    --------
    >>> principal_axis(np.array([0.0, 3.0, 6.0]), np.array([0.0, 4.0, 8.0])).round(9)
    array([-5.,  0.,  5.])
    """
    away = np.column_stack([x - x.mean(), y - y.mean()])
    axis = np.linalg.svd(away, full_matrices=False)[2][0]
    lead = axis[0] if abs(axis[0]) > 1e-9 else axis[1]
    along: NDArray[np.float64] = away @ axis * np.sign(lead)
    return along


def fit_rocking(
    times: NDArray[np.float64],
    values: NDArray[np.float64],
    *,
    largest: float | None = None,
    between: tuple[float, float] | None = None,
    speeds: bool = False,
) -> Rocking:
    """Fit the decay of a rocking wheel from its turning points.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    values : array, shape (n,)
        Angle [rad], or displacement in any unit.
    largest : float, optional
        Turning points further out than this are not used (unit of the values).
    between : (float, float), optional
        Only swings whose middle lies between these times [s].
    speeds : bool
        Whether the values are speeds of the swing.

    Returns
    -------
    Rocking

    Raises
    ------
    FitImpossible
        If fewer than six turning points are left.

    Notes
    -----
    Over one half swing h in a well of curvature W^2 the distance from the bottom goes from A to q A - (1 + q) c0/W^2,
    with q = exp(-c1 h/2): dry friction c0 takes 2 c0/W^2 each time, viscous friction c1 a share. Half swings are
    carried to swing 0 by a polynomial in the squared swing: h = h0 (1 + s A^2). A well that is not quite a parabola
    shows itself by s alone: with turning points at B = A (1 - 8/9 s A^2), for peaks of speed (1 - 2/9 s A^2), the step
    from one to the next is again q B - (1 + q) c0/W^2, to first order in s for dry and to 1 in 20 of it for viscous
    drag. Dry and viscous drag are those of B, where half swings differ by less than 1.3 times. The choice between the
    two forms is the difference of n ln(sum of squares) of a straight line and an exponential over time, n counted (1 -
    r)/(1 + r) times for neighbours with correlation r; below 6 (odds of 20 to 1) it stays open.
    """
    found = _within(turning_points(times, values), largest)
    middles = (found.times[1:] + found.times[:-1]) / 2
    if between is not None:
        inside = (middles >= between[0]) & (middles <= between[1])
        found = _chosen(found, np.append(inside, inside[-1:]) | np.append(inside[:1], inside))
        middles = (found.times[1:] + found.times[:-1]) / 2
    if found.times.size < FEWEST:
        raise FitImpossible(
            f"The recording has {found.times.size} usable turning points; it must have at least {FEWEST}. Record "
            "more swings, or allow larger ones."
        )
    swings, halves = np.abs(np.diff(found.values)) / 2, np.diff(found.times)
    straight, line_left = _straight(middles, swings)
    exponential, curve_left = _exponential(middles, swings)
    friction, behind = _preferred(line_left, curve_left)
    return _rocking(found, (middles, swings, halves), (straight, exponential), (friction, behind), speeds=speeds)


def _within(found: Turnings, largest: float | None) -> Turnings:
    """Keep the turning points from the first one that is near enough."""
    if largest is None:
        return found
    near = np.abs(found.values) <= largest
    first = int(np.argmax(near)) if near.any() else near.size
    return _chosen(found, np.arange(near.size) >= first)


def _chosen(found: Turnings, chosen: NDArray[np.bool_]) -> Turnings:
    """Keep some turning points."""
    return Turnings(found.times[chosen], found.values[chosen], found.value_uncertainty[chosen], found.jumps)


def _straight(times: NDArray[np.float64], swings: NDArray[np.float64]) -> tuple[Decay, NDArray[np.float64]]:
    """Fit a straight line to the swings."""
    columns = np.column_stack([np.ones_like(times), -(times - times[0])])
    found = fit_least_squares(lambda p: (swings - columns @ p, columns), np.zeros(2), floor=_floor(swings))
    return _decay(found.parameters, found.covariance * found.variance, found.residuals), found.residuals


def _exponential(times: NDArray[np.float64], swings: NDArray[np.float64]) -> tuple[Decay, NDArray[np.float64]]:
    """Fit an exponential to the swings."""
    since = times - times[0]

    def misses(p: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        fall = np.exp(-p[1] * since)
        return swings - p[0] * fall, np.column_stack([fall, -p[0] * since * fall])

    half = float(np.log(2) / max(np.interp(swings[0] / 2, swings[::-1], since[::-1]), since[1]))
    found = fit_least_squares(misses, np.array([swings[0], half]), floor=_floor(swings))
    return _decay(found.parameters, found.covariance * found.variance, found.residuals), found.residuals


def _floor(swings: NDArray[np.float64]) -> float:
    """Variance below which nothing matters."""
    return float((1e-9 * swings.max()) ** 2)


def _decay(parameters: NDArray[np.float64], covariance: NDArray[np.float64], residuals: NDArray[np.float64]) -> Decay:
    """Make the record of one form."""
    reading = float(np.sqrt(covariance[1, 1]))
    rms = float(np.sqrt(np.mean(residuals**2)))
    return Decay(float(parameters[1]), reading * widening(lag_one(residuals)), reading, float(parameters[0]), rms)


def _preferred(line: NDArray[np.float64], curve: NDArray[np.float64]) -> tuple[Friction, float]:
    """Which form leaves less, and by how much of the criterion."""
    line_sum, curve_sum = float(line @ line), float(curve @ curve)
    best = line if line_sum <= curve_sum else curve
    floor = np.finfo(float).tiny
    gap = line.size / widening(lag_one(best)) ** 2 * float(np.log(max(curve_sum, floor) / max(line_sum, floor)))
    if abs(gap) < ALIKE:
        return Friction.UNDECIDED, abs(gap)
    return (Friction.DRY if gap > 0 else Friction.VISCOUS), abs(gap)


def _rocking(
    found: Turnings,
    series: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    decays: tuple[Decay, Decay],
    choice: tuple[Friction, float],
    *,
    speeds: bool,
) -> Rocking:
    """Carry turning points over to the specific drag, and make the record."""
    middles, swings, halves = series
    (kept, lost, offset), spread = _carried(found.values)
    half, half_error, bent, bent_error = _small_half_swing(swings, halves)
    if not (kept > 0 and half > 0):
        raise FitImpossible(
            "The turning points do not follow from one another as those of a rocking wheel do. Cut off what is no "
            "rocking."
        )
    pace2 = (np.pi / half) ** 2 + (np.log(kept) / half) ** 2
    pace2_error = 2 * pace2 * half_error / half
    share = (_OF_SPEEDS if speeds else _OF_ANGLES) if halves.max() < NEARLY_ROUND * halves.min() else 0.0
    (loss, loss_error), (band, band_error) = _drag_of(found.values - offset, share * bent, share * bent_error)
    errors = np.sqrt(np.diag(spread))
    said = []
    if found.jumps:
        said.append(finding("track-jumps", count=found.jumps))
    if halves.max() > MOST_BEND * halves.min():
        said.append(finding("well-not-round", longest=f"{halves.max():.3g} s", shortest=f"{halves.min():.3g} s"))
    return Rocking(
        times=middles,
        swings=swings,
        half_swings=halves,
        straight=decays[0],
        exponential=decays[1],
        friction=choice[0],
        behind=choice[1],
        kept=kept,
        kept_uncertainty=float(errors[0]),
        lost=lost,
        lost_uncertainty=float(errors[1]),
        offset=offset,
        offset_uncertainty=float(errors[2]),
        curvature=pace2,
        curvature_uncertainty=pace2_error,
        viscous=2 * loss / half,
        viscous_uncertainty=2 * loss_error / half,
        dry=band * pace2,
        dry_uncertainty=float(np.hypot(band_error * pace2, band * pace2_error)),
        dead_band=band,
        dead_band_uncertainty=band_error,
        stretch=share * bent,
        findings=tuple(said),
    )


def _carried(values: NDArray[np.float64]) -> tuple[tuple[float, float, float], NDArray[np.float64]]:
    """Share kept and amount lost from one turning point to the next, and the middle, with their covariance.

    All turning points follow from the first: a regression of each on the one before would take the scatter of that
    one for decay.
    """
    side = np.where(np.arange(values.size) % 2, -1.0, 1.0) * np.sign(values[0] - values[1])

    def misses(p: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        kept, lost, middle, now = p.tolist()
        away, slopes, slope = [], [], np.array([0.0, 0.0, 0.0, 1.0])
        for _ in range(values.size):
            away.append(now)
            slopes.append(slope)
            slope = kept * slope + np.array([now, -1.0, 0.0, 0.0])
            now = kept * now - lost
        columns = side[:, None] * np.array(slopes)
        columns[:, 2] = 1.0
        return values - middle - side * np.array(away), columns

    middle = float(values.mean())
    start = np.array([1.0, float(np.ptp(np.abs(values - middle))) / values.size, middle, abs(values[0] - middle)])
    found = fit_least_squares(misses, start, floor=_floor(np.abs(values)))
    kept, lost, middle, _ = found.parameters.tolist()
    return (kept, lost, middle), (found.covariance * found.variance)[:3, :3]


def _drag_of(
    away: NDArray[np.float64], stretch: float, stretch_error: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Logarithmic decrement of a half swing, and dead band, of turning points carried over to a round well."""
    found = []
    for each in (stretch, stretch + stretch_error):
        (kept, lost, _), spread = _carried(away * (1 - each * away**2))
        found.append((-float(np.log(kept)), lost / (1 + kept)))
        if len(found) == 1:
            band = lost / (1 + kept)
            row = np.array([-band / (1 + kept), 1 / (1 + kept), 0.0])
            errors = float(np.sqrt(spread[0, 0])) / kept, float(np.sqrt(row @ spread @ row))
    (loss, band), moved = found
    return (loss, float(np.hypot(errors[0], moved[0] - loss))), (band, float(np.hypot(errors[1], moved[1] - band)))


def _small_half_swing(swings: NDArray[np.float64], halves: NDArray[np.float64]) -> tuple[float, float, float, float]:
    """Half swing h0 at swing 0 by a polynomial in the squared swing, and s in h0 (1 + s A^2), with uncertainties."""
    terms = 3 if halves.size >= 2 * FEWEST else 2
    columns = (swings / swings.max())[:, None] ** (2 * np.arange(terms))
    weights, _, _, _ = np.linalg.lstsq(columns, halves, rcond=None)
    left = halves - columns @ weights
    spread = np.linalg.inv(columns.T @ columns) * float(left @ left) / max(left.size - terms, 1)
    unit = float(weights[0] * swings.max() ** 2)
    return (
        float(weights[0]),
        float(np.sqrt(spread[0, 0])),
        float(weights[1]) / unit,
        float(np.sqrt(spread[1, 1])) / unit,
    )
