"""What the hill's capture alone, without any loss, can do to a time that was taken to standstill."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from truerun.errors import ValueOutOfRange
from truerun.motion.capture import CaptureWheel, Ending, free_time, time_to_end
from truerun.motion.hill import Hill, hill_matrix

__all__ = ["CaptureBound", "capture_bound", "capture_bound_of_hill", "caught_to_explain", "drags_up_to_table"]

Drag = tuple[float, float, float]

ANGLES = 721
SLOWEST_CAUGHT, FASTEST_CAUGHT, HALVINGS = 1e-5, 0.7, 24


@dataclass(frozen=True, slots=True)
class CaptureBound:
    """Largest shares of the hill-free time to standstill that capture alone can change, 0 to 1.

    ``turn_back``: by so much earlier the wheel first turns back, for any shape of hill; ``rest``: by so much later it
    comes to rest, for a hill of equal bumps. ``capture_speed`` [rad/s] is the speed they hold for.
    """

    turn_back: float
    rest: float
    capture_speed: float

    @property
    def either(self) -> float:
        """The larger one, where nobody knows which stop was timed."""
        return max(self.turn_back, self.rest)


def capture_bound(
    launch_speed: float, capture_speed: float, drags: Sequence[Drag] | None = None, *, height: float | None = None
) -> CaptureBound:
    """Bound what capture can do to a time to standstill.

    Parameters
    ----------
    launch_speed : float
        Slowest launch of all runs, by energy [rad/s].
    capture_speed : float
        Largest of all runs and conditions, with its uncertainty added; below the launch speed [rad/s].
    drags : sequence of (dry, viscous, quadratic), optional
        Specific drags that the data allow, for powers 0, 1, 2 of speed, dry positive, the others not negative; only
        their ratios matter. None: :func:`drags_up_to_table`, where nothing is known.
    height : float, optional
        Of the hill from bottom to top [rad^2/s^2]. None: as much below its mean as above.

    Returns
    -------
    CaptureBound
        The worst of the drags.

    Raises
    ------
    ValueOutOfRange
        If the launch is not above capture, or the drag does not bring the wheel to rest.

    Notes
    -----
    First turn-back. By energy, dt = dE tau(E)/W(E) with tau the time of a turn and W its loss. 1/w is convex in the
    energy and w concave, so (Jensen) tau is at least, W at most, that of a wheel without a hill at the same energy:
    down to capture the hill only delays. What can be missing is the hill-free time below capture,

        share = T(w_c)/T(w_0)

    which grows with w_c. Rest: time to rest of a cosine bump of that height less the hill-free time; any number of
    equal bumps gives the same, since way and loss of a swing shrink together. Uneven bumps can hold a wheel for
    longer on a flat top. Both hold where a turn loses much less than the hill's height, and at equal launch energy.

    References
    ----------
    Own derivation. For a hill of 1 % of the launch energy the turn-back of simulated cosine bumps comes 6 % earlier
    (dry), 13 and 21 % (viscous, 3 and 10 times the dry drag at launch), 16 and 24 % (quadratic, 10 and 30 times).

    Examples
    --------
    >>> bound = capture_bound(1.0, 0.005**0.5, [(1.0, 0.0, 0.0)])
    >>> round(bound.turn_back, 3), round(bound.rest, 3)
    (0.071, 0.103)
    """
    if not 0 <= capture_speed < launch_speed:
        raise ValueOutOfRange(
            "capture speed",
            f"{capture_speed:g} rad/s",
            f"below the launch speed of {launch_speed:g} rad/s and not negative",
            "Launch faster.",
        )
    tall = capture_speed**2 if height is None else height
    found = [_shares(launch_speed, capture_speed, tall, drag) for drag in drags or drags_up_to_table(launch_speed)]
    turn_back, rest = (max(shares) for shares in zip(*found, strict=True))
    return CaptureBound(turn_back, rest, capture_speed)


def capture_bound_of_hill(
    launch_speed: float, hill: Hill, drags: Sequence[Drag] | None = None, *, confidence: float = 0.95
) -> CaptureBound:
    """Bound what capture can do from a measured hill, over all hills that the data allow.

    Parameters
    ----------
    launch_speed : float
        Slowest launch, by energy [rad/s].
    hill : Hill
        As fitted; where it is hardly seen, fitted all the same, so that its uncertainty counts.
    drags : sequence of (dry, viscous, quadratic), optional
        As for :func:`capture_bound`.
    confidence : float
        Chance that the true hill is among those allowed.

    Returns
    -------
    CaptureBound

    Notes
    -----
    Top and bottom are those of a band round the fitted hill that holds the whole hill at once (Scheffe's: the root
    of the chi-squared quantile with as many degrees of freedom as the hill has coefficients).

    Examples
    --------
    >>> unseen = Hill(np.array([0.0]), np.array([0.0]), np.diag([1e-4, 1e-4]))
    >>> round(capture_bound_of_hill(20.0, unseen, [(1.0, 0.0, 0.0)]).turn_back, 4)
    0.0111
    """
    from scipy.special import chdtri  # noqa: PLC0415  a tenth of a second, and only hills need it

    waves = hill_matrix(np.linspace(0, 2 * np.pi, ANGLES), hill.cosine.size)
    factor = float(np.sqrt(chdtri(hill.coefficients.size, 1 - confidence)))
    spread = factor * np.sqrt(np.einsum("np,pq,nq->n", waves, hill.covariance, waves))
    top, bottom = float((waves @ hill.coefficients + spread).max()), float((waves @ hill.coefficients - spread).min())
    return capture_bound(launch_speed, float(np.sqrt(2 * top)), drags, height=top - bottom)


def caught_to_explain(longer: float, endings: Sequence[Ending] = tuple(Ending)) -> float | None:
    """Find the slowest capture that alone could make one time to standstill so much longer than another.

    Parameters
    ----------
    longer : float
        The longer time over the shorter one, above 1.
    endings : sequence of Ending
        Which stops may have been timed.

    Returns
    -------
    float or None
        Capture speed over launch speed, for whichever of :func:`drags_up_to_table` suits it most. The bump then has
        twice its square of the launch energy from trough to crest. None where no capture below .7 of the launch
        speed would do.

    Raises
    ------
    ValueOutOfRange
        If the ratio is not above 1.

    Notes
    -----
    First turn-back: the wheel with the bump is the one with the shorter time; rest: the one with the longer time.

    Examples
    --------
    >>> caught = caught_to_explain(1.05)
    >>> round(caught, 4), round(2 * caught**2, 5)  # .015 % of the launch energy
    (0.0086, 0.00015)
    """
    if not longer > 1:
        raise ValueOutOfRange("ratio of the times", f"{longer:g}", "above 1")

    def enough(caught: float) -> bool:
        bound = capture_bound(1.0, caught)
        earlier = Ending.FIRST_TURN_BACK in endings and bound.turn_back >= 1 - 1 / longer
        return earlier or (Ending.FINAL_REST in endings and bound.rest >= longer - 1)

    low, high = SLOWEST_CAUGHT, FASTEST_CAUGHT
    if not enough(high):
        return None
    for _ in range(HALVINGS):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def drags_up_to_table(launch_speed: float) -> tuple[Drag, ...]:
    """Drags between which real wheels lie where nothing is known of theirs.

    Parameters
    ----------
    launch_speed : float
        [rad/s].

    Returns
    -------
    tuple of (dry, viscous, quadratic)
        Dry alone; viscous drag 10 times the dry one at launch; quadratic 30 times. A bearing with less dry drag than
        that runs down for longer and is held by a smaller hill: then measure the drag. (Common practice, no source.)
    """
    return (1.0, 0.0, 0.0), (1.0, 10 / launch_speed, 0.0), (1.0, 0.0, 30 / launch_speed**2)


def _shares(launch_speed: float, caught: float, height: float, drag: Drag) -> tuple[float, float]:
    """Shares for one drag: turn-back earlier at most, rest later."""
    wheel = CaptureWheel(*drag, hill=height)
    free = float(free_time(wheel, launch_speed))
    rest = float(time_to_end(wheel, launch_speed, Ending.FINAL_REST)) / free - 1
    return float(free_time(wheel, caught)) / free, max(rest, 0.0)
