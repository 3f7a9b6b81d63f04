"""Fit of drag and hill to angles over time, from a film or an encoder: the residual is in angle."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drag_curve import DragBasis, DragTerms, basis_values, chebyshev_basis, power_basis
from truerun.motion.hill import Hill
from truerun.motion.least_squares import LeastSquares, fit_least_squares
from truerun.motion.panels import TURN
from truerun.motion.path import MARGIN, Path, PathGrid, angles_at, path_grid, path_of, pushed
from truerun.motion.rundown import Drift
from truerun.motion.track_angles import free_track
from truerun.motion.wander import average_wander
from truerun.motion.window import Window, require_window
from truerun.motion.words import lag_one, term_findings
from truerun.series import AngleTrack

__all__ = ["TrackRundown", "fit_track", "track_window"]

MOST_BLOCKS = 60
FINEST = 1e-9
ALLOWED_MISFIT = 5.0
ENOUGH_OF_SIGMA = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class TrackRundown:
    """What a track of angles of a freely slowing wheel says.

    ``rows`` (n,) are the rows of the track that were used, ``residuals`` (n,) observed less fitted angles [rad].
    ``speed_high`` and ``speed_low`` are by energy, sqrt(2 eps), at the first and the last time. ``hill`` counts its
    angle as the track does, forwards; None where it was not fitted. ``delay`` (2,) is the cosine and the sine part of
    the delay with which the track sees the wheel over its angle [s], None where it was not fitted. The uncertainties
    are honest ones (drift of the drag included), but ``drag.reading`` and ``reading``.
    ``sigma``, ``misfit``, ``lag_one``: as for a table of speeds.
    """

    rows: NDArray[np.intp]
    times: NDArray[np.float64]
    residuals: NDArray[np.float64]
    turns: float
    speed_high: float
    speed_low: float
    drag: DragTerms
    hill: Hill | None
    delay: NDArray[np.float64] | None
    delay_covariance: NDArray[np.float64] | None
    sigma: float
    chi2: float
    misfit: float | None
    freedom: int
    lag_one: float
    findings: tuple[Finding, ...]
    nodes: PathGrid
    path: Path
    weights: NDArray[np.float64]
    reading: NDArray[np.float64]
    covariance: NDArray[np.float64]
    edges: NDArray[np.float64]
    drift: Drift | None


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """What stays the same during a fit: readings, sizes of the parts of the parameters."""

    times: NDArray[np.float64]
    angles: NDArray[np.float64]
    weight: float
    basis: DragBasis
    harmonics: int
    delayed: bool

    def nodes(self, panels: int) -> PathGrid:
        """Grid over the angles of the track."""
        return path_grid(self.basis, self.harmonics, float(self.angles[0]), float(self.angles[-1]), panels)

    def path(self, nodes: PathGrid, parameters: NDArray[np.float64]) -> Path:
        """Follow the run of these parameters."""
        hill = slice(2 + self.basis.size, 2 + self.basis.size + 2 * self.harmonics)
        return path_of(nodes, float(parameters[0]), float(parameters[1]), parameters[2 : hill.start], parameters[hill])

    def seen(
        self, path: Path, late: NDArray[np.float64], parameters: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Angles that the track should show, and their derivatives."""
        return angles_at(path, self.times, late, parameters[2 + self.basis.size + 2 * self.harmonics :])


def fit_track(
    track: AngleTrack,
    *,
    terms: int | tuple[float, ...] = (0, 1, 2),
    harmonics: int = 0,
    sigma: float | None = None,
    spots: int = 1,
    delay: bool = False,
    speed_to: float | None = None,
    drift: bool = True,
) -> TrackRundown:
    """Fit drag, and if wanted a hill, to a track of angles.

    Parameters
    ----------
    track : AngleTrack
    terms : tuple of float or int
        Exponents of speed such as (0, 1, 2), or the number of Chebyshev terms in sqrt(speed).
    harmonics : int
        Highest order of the hill; 0 for none.
    sigma : float, optional
        Standard uncertainty of an angle [rad]. None: from the scatter.
    spots : int
        Spots that look alike, evenly spaced: angles are known up to a whole number of spacings.
    delay : bool
        Whether a delay that changes once a turn is fitted, as from a camera that reads its rows one after the other.
    speed_to : float, optional
        Slower turns than this are left out [rad/s].
    drift : bool
        Whether the drag may wander within the run, which widens the uncertainty to an honest one.

    Returns
    -------
    TrackRundown

    Raises
    ------
    FitImpossible
        If the frames are too few for the speed, this is no rundown, or there is too little in it.

    Notes
    -----
    The run is solved over the angle: d eps/d angle = -f, dt/d angle = 1/w. The delay enters in seconds, so that over
    a range of speeds it separates from a hill: w times the delay against u/w^2. The path is doubled in fineness until
    no fitted angle moves by more than .1 sigma/sqrt(n).

    Examples
    --------
    >>> times = np.linspace(0, 30, 600)
    >>> angles = 15 * times - 0.1 * times**2
    >>> found = fit_track(AngleTrack(times, angles % (2 * np.pi)), terms=(0,), sigma=1e-3, drift=False)
    >>> float((found.drag.basis.mixing @ found.drag.weights)[0].round(6))
    0.2
    """
    rows, angles, turning, found_before = free_track(track, spots=spots, speed_to=speed_to, turning=harmonics > 0)
    times = track.times[rows]
    low, high = 0.9 * float(turning.min()), float(turning.max())
    basis = power_basis(terms, low, high) if isinstance(terms, tuple) else chebyshev_basis(terms, low, high)
    size = 2 + basis.size + 2 * harmonics + (2 if delay else 0)
    if rows.size < size + 2:
        raise FitImpossible(
            f"The track has {rows.size} angles of the free rundown; this fit needs at least {size + 2}. Record longer, "
            "or ask for fewer terms."
        )
    weight = 1.0 if sigma is None else 1 / sigma
    task = _Task(times, angles, weight, basis, harmonics, delay)
    nodes, found = _fitted(task, _start(task, size), stated=sigma is not None)
    return _rundown(rows, task, (nodes, found), sigma, (track.angle_resolution, found_before), drift=drift)


def track_window(rundown: TrackRundown, speed_from: float, speed_to: float) -> Window:
    """Find the time and the turns between two speeds.

    Parameters
    ----------
    rundown : TrackRundown
    speed_from, speed_to : float
        By energy; within the recorded speeds, the first one higher [rad/s].

    Returns
    -------
    Window

    Raises
    ------
    ValueOutOfRange
        If the speeds are not in falling order.
    FitImpossible
        If the recording does not hold both speeds.
    """
    require_window(rundown.speed_high, rundown.speed_low, speed_from, speed_to)
    path = rundown.path
    energy_slopes, time_slopes = path.energy_slopes, path.time_slopes
    if rundown.drift is not None:
        extra = pushed(rundown.nodes, path, rundown.edges)
        energy_slopes, time_slopes = np.hstack([energy_slopes, extra[0]]), np.hstack([time_slopes, extra[1]])
    values, slopes = [], []
    for speed in (speed_from, speed_to):
        angle, time, rate, moving = _crossing(path, speed**2 / 2)
        by_energy = _between(angle, path.angles, energy_slopes) / rate
        values.append([time, angle])
        slopes.append([_between(angle, path.angles, time_slopes) + by_energy / moving, by_energy])
    change = np.array(slopes[1]) - np.array(slopes[0])
    time, angle = np.array(values[1]) - np.array(values[0])
    shared = path.time_slopes.shape[1]
    chosen = np.r_[0:shared, rundown.reading.shape[0] : rundown.covariance.shape[0]]
    spread = np.sqrt(np.diag(change @ rundown.covariance[np.ix_(chosen, chosen)] @ change.T))
    if rundown.drift is not None:
        moved = change @ rundown.drift.mean[chosen]
        time, angle = time + moved[0], angle + moved[1]
    return Window(speed_from, speed_to, float(time), float(spread[0]), float(angle) / TURN, float(spread[1]) / TURN)


def _crossing(path: Path, energy: float) -> tuple[float, float, float, float]:
    """Angle and time at which the energy falls to a value, with the drag and the speed there."""
    from scipy.interpolate import CubicHermiteSpline  # noqa: PLC0415  half a second, and only tracks need it

    falling = CubicHermiteSpline(path.angles, path.energies, -path.rates)
    angle = float(np.interp(-energy, -path.energies, path.angles))
    for _ in range(3):
        angle -= float((falling(angle) - energy) / falling(angle, 1))
    passing = CubicHermiteSpline(path.angles, path.times, 1 / path.speeds)
    return angle, float(passing(angle)), -float(falling(angle, 1)), 1 / float(passing(angle, 1))


def _between(angle: float, angles: NDArray[np.float64], columns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Columns at an angle, on the straight line between nodes."""
    after = int(np.clip(np.searchsorted(angles, angle), 1, angles.size - 1))
    share = (angle - angles[after - 1]) / (angles[after] - angles[after - 1])
    return np.asarray((1 - share) * columns[after - 1] + share * columns[after])


def _start(task: _Task, size: int) -> NDArray[np.float64]:
    """First guess without a hill: speeds from stretches of the track, regressed on what the drag did to them."""
    count = int(np.clip(task.times.size // 4, 4, 60))
    edges = np.linspace(task.times[0], task.times[-1], count + 1)
    speeds = np.diff(np.interp(edges, task.times, task.angles)) / np.diff(edges)
    middles = (edges[1:] + edges[:-1]) / 2
    values = basis_values(task.basis, np.maximum(speeds, 1e-9))
    done = np.vstack(
        [np.zeros(task.basis.size), np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(middles)[:, None], 0)]
    )
    columns = np.column_stack([np.ones(count), -done])
    weights = np.linalg.lstsq(columns, speeds, rcond=None)[0]
    first = float(weights[0] + values[0] @ weights[1:] * (middles[0] - task.times[0]))
    guess = np.zeros(size)
    guess[:2] = task.times[0] - MARGIN / first, first**2 / 2
    guess[2 : 2 + task.basis.size] = weights[1:]
    return guess


def _fitted(task: _Task, start: NDArray[np.float64], *, stated: bool) -> tuple[PathGrid, LeastSquares]:
    """Fit, and double the fineness of the path until it no longer matters."""
    floor = FINEST**2
    panels = max(2, 3 * task.harmonics)
    for _ in range(4):
        nodes, finer = task.nodes(panels), task.nodes(2 * panels)

        def misses(p: NDArray[np.float64], nodes: PathGrid = nodes) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
            path = task.path(nodes, p)
            seen, slopes = task.seen(path, path.time_slopes, p)
            return (task.angles - seen) * task.weight, slopes * task.weight

        found = fit_least_squares(misses, start, stated=stated, floor=floor)
        try:
            path = task.path(finer, found.parameters)
            seen = task.seen(path, path.time_slopes, found.parameters)[0]
        except ArithmeticError:  # seen finely, it does not last as long as the track
            break
        moved = task.angles - seen - found.residuals / task.weight
        scatter = np.sqrt(1.0 if stated else max(found.variance, floor)) / task.weight
        if float(np.abs(moved).max()) <= ENOUGH_OF_SIGMA * scatter / np.sqrt(task.times.size) + 1e-9:
            return nodes, found
        panels, start = 2 * panels, found.parameters
    raise FitImpossible(
        "The motion could not be computed as finely as the angles are read. Leave out the slowest turns with a higher "
        "end speed."
    )


def _rundown(
    rows: NDArray[np.intp],
    task: _Task,
    fit: tuple[PathGrid, LeastSquares],
    sigma: float | None,
    noticed: tuple[float | None, tuple[Finding, ...]],
    *,
    drift: bool,
) -> TrackRundown:
    """Turn the fit into the record."""
    nodes, found = fit
    path = task.path(nodes, found.parameters)
    floor = max((noticed[0] or 0.0) / np.sqrt(12), FINEST) ** 2
    unit = 1.0 if sigma is not None else max(found.variance, floor)
    reading = found.covariance * unit
    drags = slice(2, 2 + task.basis.size)
    ends = np.interp(task.times[[0, -1]], path.times, path.energies)
    part = reading[drags, drags]
    record = TrackRundown(
        rows=rows,
        times=task.times,
        residuals=found.residuals / task.weight,
        turns=float(task.angles[-1] - task.angles[0]) / TURN,
        speed_high=float(np.sqrt(2 * ends[0])),
        speed_low=float(np.sqrt(2 * ends[1])),
        drag=DragTerms(task.basis, found.parameters[drags], part, part),
        hill=None,
        delay=None,
        delay_covariance=None,
        sigma=sigma if sigma is not None else float(np.sqrt(unit)),
        chi2=found.chi2 if sigma is not None else found.chi2 / unit,
        misfit=found.variance if sigma is not None else None,
        freedom=found.freedom,
        lag_one=lag_one(found.residuals),
        findings=noticed[1],
        nodes=nodes,
        path=path,
        weights=found.parameters,
        reading=reading,
        covariance=reading,
        edges=np.array([path.angles[0], path.angles[-1]]),
        drift=None,
    )
    if drift:
        record = _wandered(record, task, found, unit)
    return replace(_parts(record, task), findings=(*record.findings, *_doubts(record)))


def _wandered(record: TrackRundown, task: _Task, found: LeastSquares, unit: float) -> TrackRundown:
    """Let the drag wander from stretch to stretch of the run."""
    blocks = int(np.clip(record.turns, 8, MOST_BLOCKS))
    edges = np.linspace(task.angles[0], task.angles[-1], blocks + 1)
    _, late = pushed(record.nodes, record.path, edges)
    extra = task.seen(record.path, late, record.weights)[1][:, :blocks] * task.weight
    columns = np.column_stack([found.slopes, extra, found.residuals])
    padded = np.vstack([columns, np.zeros((max(columns.shape[1] - columns.shape[0], 0), columns.shape[1]))])
    triangle = np.asarray(np.linalg.qr(padded, mode="r"), dtype=np.float64)
    level = float(np.abs(record.path.rates).mean())
    stated = record.misfit is not None
    wander = average_wander(triangle, blocks, found.freedom, level / float(np.sqrt(unit)), stated=stated)
    drift = Drift(wander.size, wander.length, wander.none, wander.mean, wander.covariance)
    return replace(record, covariance=wander.covariance, edges=edges, drift=drift)


def _parts(record: TrackRundown, task: _Task) -> TrackRundown:
    """Drag, hill and delay with their honest covariance, moved to the drift-aware estimate."""
    weights = record.weights if record.drift is None else record.weights + record.drift.mean[: record.weights.size]
    drags = slice(2, 2 + task.basis.size)
    hills = slice(drags.stop, drags.stop + 2 * task.harmonics)
    delays = slice(hills.stop, record.weights.size)
    covariance = record.covariance
    hill = Hill(weights[hills][0::2], weights[hills][1::2], covariance[hills, hills]) if task.harmonics else None
    return replace(
        record,
        drag=replace(record.drag, weights=weights[drags], covariance=covariance[drags, drags]),
        hill=hill,
        delay=weights[delays] if task.delayed else None,
        delay_covariance=covariance[delays, delays] if task.delayed else None,
    )


def _doubts(record: TrackRundown) -> tuple[Finding, ...]:
    """List what the fit says against itself."""
    said = list(term_findings(record.drag))
    if record.misfit is not None and (record.misfit - 1) * np.sqrt(record.freedom / 2) > ALLOWED_MISFIT:
        said.append(finding("track-misfit", ratio=f"{np.sqrt(record.misfit):.2g}"))
    scattered = record.chi2 > 0.1 * record.freedom and record.residuals.size > 10
    if scattered and record.lag_one > 2 / np.sqrt(record.residuals.size):
        said.append(finding("residuals-hang-together", lag=f"{record.lag_one:.2f}"))
    return tuple(said)
