"""Fit of the drag to a table of speeds: the residual is in speed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drag_curve import DragBasis, DragTerms, basis_values, chebyshev_basis, power_basis
from truerun.motion.least_squares import LeastSquares, fit_least_squares
from truerun.motion.rundown import Drift
from truerun.motion.speed_motion import SpeedMotion, fine_times, push_slopes, running_integral, speed_motion
from truerun.motion.speed_rows import RundownRows, rundown_rows
from truerun.motion.wander import average_wander
from truerun.motion.window import require_window
from truerun.motion.words import lag_one, term_findings
from truerun.series import SpeedTable

__all__ = ["SpeedRundown", "SpeedWindow", "fit_speeds", "speed_window"]

MOST_BLOCKS = 60
FINEST = 1e-9
ALLOWED_MISFIT = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class SpeedRundown:
    """What a table of speeds of a freely slowing wheel says.

    ``rows`` (n,) are the rows of the table that were used, ``times`` [s] and ``residuals`` (n,), observed less fitted
    speed [rad/s]. ``drag.covariance`` is the honest one, ``drag.reading`` from the scatter of single readings.
    ``start_speed`` [rad/s] is at the first time used, with its honest standard uncertainty. ``speed_high`` and
    ``speed_low`` are fitted, at the first and the last time. ``sigma`` is the standard uncertainty of a reading
    [rad/s], as stated or from the scatter; ``misfit`` chi2 per degree of freedom where it was stated, else None.
    ``lag_one`` is the correlation of neighbouring residuals. ``covariance`` is that of start speed, weights of the
    drag and (with drift) extra drag of every block, ``pushes`` (m, b) what those do to the speed.
    """

    rows: NDArray[np.intp]
    times: NDArray[np.float64]
    residuals: NDArray[np.float64]
    drag: DragTerms
    start_speed: float
    start_uncertainty: float
    speed_high: float
    speed_low: float
    sigma: float
    chi2: float
    misfit: float | None
    freedom: int
    lag_one: float
    findings: tuple[Finding, ...]
    motion: SpeedMotion
    weights: NDArray[np.float64]
    reading: NDArray[np.float64]
    covariance: NDArray[np.float64]
    pushes: NDArray[np.float64]
    drift: Drift | None

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """Drag of each named power, in rad/s^2 per (rad/s)^power (of a series: its weights)."""
        return self.drag.basis.mixing @ self.drag.weights

    @property
    def coefficient_covariance(self) -> NDArray[np.float64]:
        """Honest covariance of the coefficients."""
        return self.drag.basis.mixing @ self.drag.covariance @ self.drag.basis.mixing.T


@dataclass(frozen=True, slots=True)
class SpeedWindow:
    """Time from one speed to another [s], with its honest and its reading standard uncertainty."""

    speed_from: float
    speed_to: float
    time: float
    time_uncertainty: float
    reading: float


def fit_speeds(
    table: SpeedTable,
    *,
    terms: int | tuple[float, ...] = (0, 1, 2),
    sigma: float | NDArray[np.float64] | None = None,
    marks: int | None = None,
    drift: bool = True,
) -> SpeedRundown:
    """Fit the drag to a table of speeds.

    Parameters
    ----------
    table : SpeedTable
    terms : tuple of float or int
        Exponents of speed such as (0, 1, 2), or the number of Chebyshev terms in sqrt(speed).
    sigma : float or array, shape (rows of the table,), optional
        Standard uncertainty of a speed [rad/s]. None: what the table states, else from the scatter.
    marks : int, optional
        Marks a turn of the counter beside the speeds.
    drift : bool
        Whether the drag may wander within the run, which widens the uncertainty to an honest one.

    Returns
    -------
    SpeedRundown

    Raises
    ------
    FitImpossible
        If this is no rundown, or there is too little in it; the sentence says which.

    Notes
    -----
    dw/dt = -f(w) is followed over time from a fitted start speed; coefficients may be negative. The wander is an extra
    drag for each of up to 60 blocks of time, as for passes.

    Examples
    --------
    >>> times = np.arange(0.0, 60.0, 5.0)
    >>> found = fit_speeds(SpeedTable(times, 20 * np.exp(-0.01 * times)), terms=(1,), sigma=0.01)
    >>> found.coefficients.round(9)
    array([0.01])
    """
    if sigma is not None:
        table = replace(table, standard_uncertainty=np.broadcast_to(np.asarray(sigma, float), table.times.shape))
    rows = rundown_rows(table, marks=marks)
    basis = _basis(terms, rows.speeds)
    if rows.rows.size < basis.size + 2:
        raise FitImpossible(
            f"The rundown has {rows.rows.size} speeds; this fit needs at least {basis.size + 2}. Ask for fewer drag "
            "terms, or record longer."
        )
    fine, places = fine_times(rows.times)
    found = _fitted(rows, basis, fine, places)
    return _rundown(rows, basis, found, (fine, places), table.speed_resolution, drift=drift)


def speed_window(rundown: SpeedRundown, speed_from: float, speed_to: float) -> SpeedWindow:
    """Find the time between two speeds.

    Parameters
    ----------
    rundown : SpeedRundown
    speed_from, speed_to : float
        Within the fitted speeds, the first one higher [rad/s].

    Returns
    -------
    SpeedWindow

    Raises
    ------
    ValueOutOfRange
        If the speeds are not in falling order.
    FitImpossible
        If the recording does not hold both.

    Notes
    -----
    The speed's own change over its rate: dt = dw/f. Without angles these are instantaneous speeds; a hill scatters the
    moment at which one is reached, see the findings.
    """
    require_window(rundown.speed_high, rundown.speed_low, speed_from, speed_to)
    (first, first_slopes), (last, last_slopes) = (_reached(rundown, speed) for speed in (speed_from, speed_to))
    slopes = last_slopes - first_slopes
    moved = 0.0 if rundown.drift is None else float(slopes @ rundown.drift.mean)
    shared = rundown.reading.shape[0]
    honest = float(slopes @ rundown.covariance @ slopes)
    reading = float(slopes[:shared] @ rundown.reading @ slopes[:shared])
    return SpeedWindow(speed_from, speed_to, last - first + moved, float(np.sqrt(honest)), float(np.sqrt(reading)))


def _basis(terms: int | tuple[float, ...], speeds: NDArray[np.float64]) -> DragBasis:
    """Drag basis for these speeds."""
    low, high = 0.9 * float(speeds.min()), float(speeds.max())
    return power_basis(terms, low, high) if isinstance(terms, tuple) else chebyshev_basis(terms, low, high)


def _weight(rows: RundownRows) -> NDArray[np.float64]:
    """Weight of each reading: 1 over its standard uncertainty, or 1."""
    return np.ones_like(rows.speeds) if rows.sigma is None else 1 / rows.sigma


def _fitted(rows: RundownRows, basis: DragBasis, fine: NDArray[np.float64], places: NDArray[np.intp]) -> LeastSquares:
    """Fit start speed and drag, from a straight regression of the speeds on what the drag did to them."""
    weight = _weight(rows)

    def misses(parameters: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        motion = speed_motion(basis, parameters[1:], float(parameters[0]), fine)
        return (rows.speeds - motion.speeds[places]) * weight, motion.slopes[places] * weight[:, None]

    done = running_integral(rows.times, basis_values(basis, rows.speeds))
    columns = np.column_stack([np.ones_like(rows.speeds), -done]) * weight[:, None]
    try:
        start = np.linalg.lstsq(columns, rows.speeds * weight, rcond=None)[0]
    except np.linalg.LinAlgError as error:
        raise FitImpossible("The speeds are too unlike in size for a fit. Look for a slip of the keys.") from error
    floor = (FINEST * float(rows.speeds[0])) ** 2
    return fit_least_squares(misses, np.asarray(start, dtype=float), stated=rows.sigma is not None, floor=floor)


def _rundown(
    rows: RundownRows,
    basis: DragBasis,
    found: LeastSquares,
    nodes: tuple[NDArray[np.float64], NDArray[np.intp]],
    resolution: float | None,
    *,
    drift: bool,
) -> SpeedRundown:
    """Turn the fit into the record."""
    stated = rows.sigma is not None
    motion = speed_motion(basis, found.parameters[1:], float(found.parameters[0]), nodes[0])
    fitted = motion.speeds[nodes[1]]
    floor = max((resolution or 0.0) / np.sqrt(12), FINEST * float(fitted[0])) ** 2
    unit = 1.0 if stated else max(found.variance, floor)
    reading = found.covariance * unit
    typical = 1.0 if rows.sigma is None else float(np.sqrt(np.mean(rows.sigma**2)))
    record = SpeedRundown(
        rows=rows.rows,
        times=rows.times,
        residuals=rows.speeds - fitted,
        drag=DragTerms(basis, found.parameters[1:], reading[1:, 1:], reading[1:, 1:]),
        start_speed=float(found.parameters[0]),
        start_uncertainty=float(np.sqrt(reading[0, 0])),
        speed_high=float(fitted[0]),
        speed_low=float(fitted[-1]),
        sigma=typical * float(np.sqrt(unit)),
        chi2=found.chi2 if stated else found.chi2 / unit,
        misfit=found.variance if stated else None,
        freedom=found.freedom,
        lag_one=lag_one(found.residuals),
        findings=rows.findings,
        motion=motion,
        weights=found.parameters[1:],
        reading=reading,
        covariance=reading,
        pushes=np.zeros((nodes[0].size, 0)),
        drift=None,
    )
    if drift:
        record = _wandered(record, found, (nodes[1], _weight(rows)), unit)
    return replace(record, findings=(*record.findings, *_doubts(record), finding("speed-without-angle")))


def _wandered(
    record: SpeedRundown, found: LeastSquares, readings: tuple[NDArray[np.intp], NDArray[np.float64]], unit: float
) -> SpeedRundown:
    """Let the drag wander in blocks of time."""
    fine, (places, weight) = record.motion.times, readings
    blocks = min(places.size - 1, MOST_BLOCKS)
    pushes = push_slopes(record.motion, np.linspace(fine[0], fine[-1], blocks + 1))
    columns = np.column_stack([found.slopes, pushes[places] * weight[:, None], found.residuals])
    size = columns.shape[1]
    padded = np.vstack([columns, np.zeros((max(size - columns.shape[0], 0), size))])
    triangle = np.asarray(np.linalg.qr(padded, mode="r"), dtype=np.float64)
    speeds = np.linspace(record.speed_low, record.speed_high, 50)
    level = float(np.abs(basis_values(record.drag.basis, speeds) @ record.weights).mean())
    stated = record.misfit is not None
    wander = average_wander(triangle, blocks, found.freedom, level / float(np.sqrt(unit)), stated=stated)
    drags = slice(1, 1 + record.weights.size)
    drag = replace(record.drag, weights=record.weights + wander.mean[drags], covariance=wander.covariance[drags, drags])
    return replace(
        record,
        drag=drag,
        start_speed=record.start_speed + float(wander.mean[0]),
        start_uncertainty=float(np.sqrt(wander.covariance[0, 0])),
        covariance=wander.covariance,
        pushes=pushes,
        drift=Drift(wander.size, wander.length, wander.none, wander.mean, wander.covariance),
    )


def _doubts(record: SpeedRundown) -> tuple[Finding, ...]:
    """List what the fit says against itself."""
    said = list(term_findings(record.drag))
    if record.misfit is not None and (record.misfit - 1) * np.sqrt(record.freedom / 2) > ALLOWED_MISFIT:
        said.append(finding("speed-misfit", ratio=f"{np.sqrt(record.misfit):.2g}"))
    if record.lag_one > 2 / np.sqrt(record.residuals.size) and record.residuals.size > 10:
        said.append(finding("residuals-hang-together", lag=f"{record.lag_one:.2f}"))
    return tuple(said)


def _reached(rundown: SpeedRundown, speed: float) -> tuple[float, NDArray[np.float64]]:
    """Time at which the fitted speed falls to a value, and its derivatives."""
    motion, basis, weights = rundown.motion, rundown.drag.basis, rundown.weights
    before = max(int(np.count_nonzero(motion.speeds >= speed)) - 1, 0)
    nodes, shares = leggauss(8)
    half = (motion.speeds[before] - speed) / 2
    rates = basis_values(basis, speed + half * (nodes + 1)) @ weights
    time = float(motion.times[before] + half * np.sum(shares / rates))
    rate = float(basis_values(basis, np.array([speed]))[0] @ weights)
    every = np.column_stack([motion.slopes, rundown.pushes])
    after = min(before + 1, motion.times.size - 1)
    share = (time - motion.times[before]) / (motion.times[after] - motion.times[before]) if after > before else 0.0
    return time, ((1 - share) * every[before] + share * every[after]) / rate
