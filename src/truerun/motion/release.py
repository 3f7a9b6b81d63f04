"""Release from rest at many places: the hill from where the wheel starts and where it turns back, without a clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.hill import Hill, hill_matrix
from truerun.motion.least_squares import LeastSquares, fit_least_squares

__all__ = ["HillByRelease", "absolute_hill", "fit_releases"]

ADVISED = 12
WEAK = 0.03
ALLOWED_MISFIT = 5.0
MOST_DRAG = 1e6


@dataclass(frozen=True, slots=True, eq=False)
class HillByRelease:
    """Hill in units of dry drag.

    ``shape`` holds the harmonics of u/c0 [rad] with their covariance: how far dry drag alone would use up each.
    ``used`` (n,) says which releases moved. ``sigma`` is the standard uncertainty of an angle [rad], as stated or
    from the scatter; ``misfit`` is chi2 per degree of freedom where it was stated, else None.
    """

    shape: Hill
    used: NDArray[np.bool_]
    residuals: NDArray[np.float64]
    sigma: float
    misfit: float | None
    freedom: int
    findings: tuple[Finding, ...]


def fit_releases(
    starts: NDArray[np.float64],
    turnings: NDArray[np.float64],
    *,
    harmonics: int,
    sigma: float | None = None,
) -> HillByRelease:
    """Fit the hill to releases from rest.

    Parameters
    ----------
    starts : array, shape (n,)
        Angles at which the wheel was let go, at rest [rad].
    turnings : array, shape (n,)
        Angles at which it first turned back, counted on through whole turns [rad].
    harmonics : int
        Highest order K of the hill.
    sigma : float, optional
        Standard uncertainty of a single angle [rad]. None: from the scatter.

    Returns
    -------
    HillByRelease

    Raises
    ------
    FitImpossible
        If there are fewer than 2 K + 2 releases that moved, or their places cannot tell the harmonics apart.

    Notes
    -----
    From rest to rest no kinetic energy is left over: u(b) - u(a) = -c0 |b - a| for dry drag c0. Both sides grow alike
    with c0, so without a clock the hill is found in units of c0 only, and viscous drag must be small. Each release
    is weighted by how far its own two angles can be off: with h = u(b)/c0 - u(a)/c0 + |b - a| the derivatives of h to
    b and a are u'(b)/c0 + s and -(u'(a)/c0 + s), s the direction; the sum of h^2 over its variance is made small. A
    release within the dead band does not move and says only that |u'| is below c0 there.

    Examples
    --------
    >>> from scipy.optimize import brentq
    >>> a = np.linspace(0.3, 2.8, 12)
    >>> b = np.array([brentq(lambda b, a=a: np.cos(b) - np.cos(a) + 0.02 * (b - a), np.pi, 2 * np.pi) for a in a])
    >>> fit_releases(a, b, harmonics=1).shape.cosine.round(6)
    array([50.])
    """
    starts, turnings = np.asarray(starts, dtype=float), np.asarray(turnings, dtype=float)
    if harmonics < 1 or starts.shape != turnings.shape:
        given = f"{harmonics}, for {starts.size} starts and {turnings.size} turnings"
        raise ValueOutOfRange("number of hill harmonics", given, "1 or more, with one turning for each start")
    used = np.abs(turnings - starts) > (3 * sigma if sigma is not None else 0.0)
    if int(used.sum()) < 2 * harmonics + 2:
        raise FitImpossible(
            f"{int(used.sum())} of {starts.size} releases moved; {harmonics} harmonics need at least "
            f"{2 * harmonics + 2}, better {max(ADVISED, 4 * harmonics)}. Release at more places, all round."
        )
    found = _fitted(starts[used], turnings[used], harmonics, sigma)
    stated = sigma is not None
    unit = 1.0 if stated else found.variance
    weights = found.parameters
    shape = Hill(weights[0::2], weights[1::2], found.covariance * unit)
    return HillByRelease(
        shape=shape,
        used=used,
        residuals=found.residuals,
        sigma=sigma if sigma is not None else float(np.sqrt(found.variance)),
        misfit=found.variance if stated else None,
        freedom=found.freedom,
        findings=_doubts(starts, used, shape, found, stated=stated),
    )


def absolute_hill(found: HillByRelease, drag: float, uncertainty: float) -> Hill:
    """Turn the hill in units of dry drag into a specific potential.

    Parameters
    ----------
    found : HillByRelease
    drag : float
        Specific dry drag at low speed, from a rundown or from rocking, positive [rad/s^2].
    uncertainty : float
        Its standard uncertainty [rad/s^2].

    Returns
    -------
    Hill
        [rad^2/s^2]; the drag's uncertainty is shared by all harmonics.

    Raises
    ------
    ValueOutOfRange
        If the drag is not positive, its uncertainty is negative, or one of them is beyond what a wheel can lose.
    """
    if not 0 < drag < MOST_DRAG:
        remedy = "Take it from a rundown or from rocking."
        raise ValueOutOfRange("dry drag", f"{drag:g} rad/s²", f"positive and below {MOST_DRAG:g}", remedy)
    if not 0 <= uncertainty < MOST_DRAG:
        allowed = f"0 or more, and below {MOST_DRAG:g}"
        raise ValueOutOfRange("standard uncertainty of the dry drag", f"{uncertainty:g} rad/s²", allowed)
    shape = found.shape
    covariance = shape.covariance * drag**2 + np.outer(shape.coefficients, shape.coefficients) * uncertainty**2
    return Hill(shape.cosine * drag, shape.sine * drag, covariance)


def _fitted(
    starts: NDArray[np.float64], turnings: NDArray[np.float64], harmonics: int, sigma: float | None
) -> LeastSquares:
    """Fit the harmonics, from the straight regression that takes all angles for exact."""
    before, after = hill_matrix(starts, harmonics), hill_matrix(turnings, harmonics)
    way, side = np.abs(turnings - starts), np.sign(turnings - starts)
    rise = after - before
    singular = np.linalg.svd(rise, compute_uv=False)
    # the weakest direction is the hill itself: where drag is small, start and turning lie nearly at one height
    if singular[-2] < WEAK * singular[0]:
        raise FitImpossible(
            f"These places cannot tell {harmonics} harmonics apart. Release at places all round the turn, from both "
            "sides of each bottom, or ask for fewer harmonics."
        )
    tilt_before, tilt_after = _tilts(starts, harmonics), _tilts(turnings, harmonics)
    own = sigma if sigma is not None else 1.0

    def misses(p: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        gap = rise @ p + way
        push_before, push_after = tilt_before @ p + side, tilt_after @ p + side
        spread = own * np.hypot(push_before, push_after)
        bend = own**2 * (tilt_before * push_before[:, None] + tilt_after * push_after[:, None]) / spread[:, None] ** 2
        return -gap / spread, (rise - gap[:, None] * bend) / spread[:, None]

    start = np.linalg.lstsq(rise, -way, rcond=None)[0]
    return fit_least_squares(misses, np.asarray(start, dtype=float), stated=sigma is not None, floor=1e-20)


def _tilts(angles: NDArray[np.float64], harmonics: int) -> NDArray[np.float64]:
    """Differentiate the harmonics with respect to the angle."""
    waves = hill_matrix(angles, harmonics).reshape(angles.size, harmonics, 2)
    orders = np.arange(1, harmonics + 1)[:, None]
    turned = np.stack([-waves[..., 1], waves[..., 0]], axis=-1) * orders
    return turned.reshape(angles.size, 2 * harmonics)


def _doubts(
    starts: NDArray[np.float64], used: NDArray[np.bool_], shape: Hill, found: LeastSquares, *, stated: bool
) -> tuple[Finding, ...]:
    """List what the fit says against itself."""
    said = []
    if int(used.sum()) < ADVISED:
        said.append(finding("few-releases", count=int(used.sum()), advised=ADVISED))
    still = starts[~used]
    if still.size:
        rows = _tilts(still, shape.cosine.size)
        spread = np.sqrt(np.einsum("np,pq,nq->n", rows, shape.covariance, rows))
        against = int(np.count_nonzero(np.abs(rows @ shape.coefficients) - 3 * spread > 1))
        if against:
            said.append(finding("stuck-where-it-should-move", count=against, all=still.size))
    if stated and (found.variance - 1) * np.sqrt(found.freedom / 2) > ALLOWED_MISFIT:
        said.append(finding("release-misfit", ratio=f"{np.sqrt(found.variance):.2g}"))
    return tuple(said)
