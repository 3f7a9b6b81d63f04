"""The drive fraction as a function of speed, between two sets of rundowns, with a band for all speeds at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.drag_curve import basis_values
from truerun.motion.rundown import Rundown

__all__ = ["DriveCrossing", "DriveCurve", "drive_curve", "simultaneous_factor"]

PLACES = 61
DRAWS = 20_000
NARROWEST = 1.05


@dataclass(frozen=True, slots=True)
class DriveCrossing:
    """A speed at which the drive fraction passes 0 or 1.

    ``level`` is 0 or 1, ``speed`` [rad/s] where the curve passes it; ``falling`` is true where the drive fraction
    falls as speed rises. From ``speed_low`` to ``speed_high`` the band holds the level; ``low_side`` and
    ``high_side`` say whether the band is clear of the level beyond, or only the recorded speeds end there.
    """

    level: float
    speed: float
    falling: bool
    speed_low: float
    speed_high: float
    low_side: bool
    high_side: bool


@dataclass(frozen=True, slots=True)
class DriveCurve:
    """Drive fraction D over speed.

    ``speed`` (n,) [rad/s] over the range that all rundowns share, ``drive`` (n,) and its simultaneous band ``low``,
    ``high`` (n,) at ``confidence``; ``factor`` is the half width of the band in standard uncertainties, where 1.96
    would be pointwise. ``source_drag`` and ``control_drag`` (n,) are the mean specific drags [rad/s^2].
    ``freedom`` counts the degrees of freedom of the scatter between runs; it is None with one run on each side, and
    then the band knows the reading of those two runs only, not how runs differ.
    """

    speed: NDArray[np.float64]
    drive: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    confidence: float
    factor: float
    source_drag: NDArray[np.float64]
    control_drag: NDArray[np.float64]
    freedom: int | None
    crossings: tuple[DriveCrossing, ...]

    def document(self) -> dict[str, Any]:
        """Give the curve as plain data, in SI units."""
        return {
            "speed": self.speed.tolist(),
            "drive_fraction": self.drive.tolist(),
            "low": self.low.tolist(),
            "high": self.high.tolist(),
            "coverage": self.confidence,
            "source_drag": self.source_drag.tolist(),
            "control_drag": self.control_drag.tolist(),
            "crossings": [asdict(each) for each in self.crossings],
        }


@dataclass(frozen=True, slots=True)
class _Side:
    """The drag curves of one condition: each run's (k, n), and the mean covariance of one run's reading (n, n)."""

    curves: NDArray[np.float64]
    reading: NDArray[np.float64]

    @property
    def mean(self) -> NDArray[np.float64]:
        """Mean drag, shape (n,)."""
        return np.asarray(self.curves.mean(axis=0))

    @property
    def squares(self) -> NDArray[np.float64]:
        """Squares of the distances of the runs from their mean, added up, shape (n,)."""
        return np.asarray(((self.curves - self.mean) ** 2).sum(axis=0))


def drive_curve(
    source: Sequence[Rundown], control: Sequence[Rundown], rng: np.random.Generator, *, confidence: float = 0.95
) -> DriveCurve:
    """Compare the drag of two conditions at every speed that all rundowns share.

    Parameters
    ----------
    source, control : sequence of Rundown
        With and without the alleged source; at least one each, better several, with drift where it was fitted.
    rng : numpy.random.Generator
        For the width of the band.
    confidence : float
        Chance with which the band holds the whole curve.

    Returns
    -------
    DriveCurve

    Raises
    ------
    FitImpossible
        If a side is empty, the rundowns share no range of speeds, or the control's drag is not clearly above 0.

    Notes
    -----
    D(w) = 1 - f_source(w)/f_control(w), f the mean drag of the runs of a condition. The band is Fieller's: all D
    with (f_source - (1 - D) f_control)^2 <= q^2 (v_source/k_source + (1 - D)^2 v_control/k_control). With one run on
    each side v is the covariance of its fit. With more, v is the scatter between runs, pooled over both conditions,
    at each speed, but at least the mean of what the fits say; q then allows for the few degrees of freedom. q is
    :func:`simultaneous_factor`, over speeds, of a process with the correlation of the fits: drag differs between
    runs more smoothly than that, so the band errs on the wide side.

    References
    ----------
    Fieller's theorem: Fieller 1954, J. R. Stat. Soc. B 16:175 (cited from memory). Simultaneous bands by the
    distribution of the largest deviation: Working and Hotelling 1929 (cited from memory).
    """
    speed = _shared_speeds([*source, *control])
    sides = _side(source, speed), _side(control, speed)
    runs = sides[0].curves.shape[0], sides[1].curves.shape[0]
    freedom = sum(runs) - 2 or None
    ratio = sides[0].mean / sides[1].mean
    joint = sides[0].reading / runs[0] + np.outer(ratio, ratio) * sides[1].reading / runs[1]
    factor = simultaneous_factor(joint, rng, freedom=freedom, confidence=confidence)
    variance = _variances(sides, freedom)
    means = sides[0].mean, sides[1].mean
    spread = variance[0] / runs[0], variance[1] / runs[1]
    _require_control(speed, means[1], factor * np.sqrt(spread[1]))
    drive, low, high = _fieller(means, spread, factor)
    crossings = tuple(crossing for level in (0.0, 1.0) for crossing in _crossings(speed, drive, low, high, level))
    return DriveCurve(speed, drive, low, high, confidence, factor, *means, freedom, crossings)


def simultaneous_factor(
    covariance: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    freedom: int | None = None,
    confidence: float = 0.95,
    draws: int = DRAWS,
) -> float:
    """Half width, in standard deviations, of a band that holds a whole Gaussian curve at once.

    Parameters
    ----------
    covariance : array, shape (n, n)
        Of the curve at n places; its scale does not matter.
    rng : numpy.random.Generator
    freedom : int, optional
        Degrees of freedom with which the standard deviation was estimated, at each place from as many independent
        curves. None: known.
    confidence : float
    draws : int
        Simulated curves; 20 000 give the factor to about 0.5 %.

    Returns
    -------
    float

    Examples
    --------
    >>> flat = np.ones((5, 5))  # a curve that only moves up and down: one number, 1.96
    >>> abs(simultaneous_factor(flat, np.random.default_rng(1)) - 1.96) < 0.04
    True
    """
    scale = 1 / np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance * scale * scale[:, None])
    kept = values > 1e-12 * values[-1]
    root = (vectors[:, kept] * np.sqrt(values[kept])).T
    largest = np.abs(rng.standard_normal((draws, root.shape[0])) @ root)
    if freedom is not None:
        squares = np.zeros_like(largest)
        for _ in range(freedom):
            squares += (rng.standard_normal((draws, root.shape[0])) @ root) ** 2
        largest /= np.sqrt(squares / freedom)
    return float(np.quantile(largest.max(axis=1), confidence))


def _shared_speeds(rundowns: list[Rundown]) -> NDArray[np.float64]:
    """Speeds over the range that all rundowns hold, evenly spaced in the square root."""
    low = max(rundown.speed_low for rundown in rundowns)
    high = min(rundown.speed_high for rundown in rundowns)
    if high < NARROWEST * low:
        raise FitImpossible(
            f"The rundowns share no range of speeds: the latest starts at {high:.4g} rad/s, and one already ends at "
            f"{low:.4g} rad/s. Launch them alike and record each one further down."
        )
    return np.linspace(np.sqrt(low), np.sqrt(high), PLACES) ** 2


def _side(rundowns: Sequence[Rundown], speed: NDArray[np.float64]) -> _Side:
    """Drag curves of one condition."""
    if not rundowns:
        raise FitImpossible("One of the two conditions has no rundown. Record at least one of each, better four.")
    curves, reading = [], np.zeros((speed.size, speed.size))
    for rundown in rundowns:
        values = basis_values(rundown.drag.basis, speed)
        curves.append(values @ rundown.drag.weights)
        reading += values @ rundown.drag.covariance @ values.T / len(rundowns)
    return _Side(np.array(curves), reading)


def _variances(sides: tuple[_Side, _Side], freedom: int | None) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Variance of one run's drag on either side, at each speed."""
    reading = np.diag(sides[0].reading), np.diag(sides[1].reading)
    if freedom is None:
        return reading
    between = (sides[0].squares + sides[1].squares) / freedom
    return np.maximum(between, reading[0]), np.maximum(between, reading[1])


def _require_control(speed: NDArray[np.float64], drag: NDArray[np.float64], reach: NDArray[np.float64]) -> None:
    """Refuse a control whose drag is not clearly above 0."""
    unclear = speed[drag <= reach]
    if unclear.size:
        raise FitImpossible(
            f"The control's drag is not clearly above 0 from {unclear[0]:.4g} to {unclear[-1]:.4g} rad/s, so nothing "
            "can be said as a share of it. Record more runs of the control, or compare at other speeds."
        )


def _fieller(
    means: tuple[NDArray[np.float64], NDArray[np.float64]],
    variances: tuple[NDArray[np.float64], NDArray[np.float64]],
    factor: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Drive fraction and the ends of its band, from mean drag of source and control and their variances."""
    (source, control), (by_source, by_control) = means, variances
    room = control**2 - factor**2 * by_control
    square = by_source * control**2 + by_control * source**2 - factor**2 * by_source * by_control
    middle, spread = source * control / room, factor * np.sqrt(np.maximum(square, 0.0)) / room
    return 1 - source / control, 1 - middle - spread, 1 - middle + spread


def _crossings(
    speed: NDArray[np.float64],
    drive: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    level: float,
) -> list[DriveCrossing]:
    """Speeds at which the curve passes a level, with the stretch over which the band holds the level."""
    found = []
    clear = (low > level) | (high < level)
    for place in np.flatnonzero((drive[:-1] > level) != (drive[1:] > level)):
        pair = slice(place, place + 2)
        share = (level - drive[place]) / (drive[place + 1] - drive[place])
        below, above = np.flatnonzero(clear[: place + 1]), np.flatnonzero(clear[place + 1 :]) + place + 1
        found.append(
            DriveCrossing(
                level,
                float(np.interp(share, (0, 1), speed[pair])),
                bool(drive[place] > level),
                float(speed[below[-1] if below.size else 0]),
                float(speed[above[0] if above.size else -1]),
                bool(below.size),
                bool(above.size),
            )
        )
    return found
