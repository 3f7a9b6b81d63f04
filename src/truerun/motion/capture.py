r"""A magnetic bump without any loss, and what it does to a stopwatch that waits for standstill.

The model is a wheel with a bump u = (h/2) cos(angle) (h from bottom to top, divided by the inertia) and a specific
drag c0 + c1 w + c2 w^2, where the loss of one turn is much smaller than the bump. Energy is then lost evenly over a
turn (or over a rocking swing, after capture), and the time between two energies is::

    t = integral of dE tau(E) / W(E)        W = c0 S + c1 J + c2 Q

with tau the time of one turn or swing, S the way travelled in it, J the integral of the speed over that way and Q
that of its square. For a cosine bump all four are elliptic integrals: they are those of the pendulum with
w_p^2 = h/2, and with m = (E - E_bottom) / h

* rocking, m < 1: tau = 4 K(m)/w_p, S = 8 asin(sqrt m), J = 16 w_p [E(m) - (1 - m) K(m)],
  Q = 8 h [(m - 1/2) phi + sin(phi)/2], phi = 2 asin(sqrt m);
* turning, m > 1: tau = 2 K(1/m)/(w_p sqrt m), S = 2 pi, J = 8 w_p sqrt(m) E(1/m), Q = 4 pi h (m - 1/2).

The wheel first turns back when m falls to 1 and comes to rest at m = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange

__all__ = ["CaptureWheel", "Ending", "capture_speed", "free_time", "rocking_time", "time_to_end", "turning_time"]

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)
_NODES = (_NODES + 1) / 2
_WEIGHTS = _WEIGHTS / 2


class Ending(Enum):
    """Which end of a run to standstill was timed."""

    FIRST_TURN_BACK = "first turn-back"
    FINAL_REST = "final rest"


@dataclass(frozen=True, slots=True)
class CaptureWheel:
    """A wheel with drag and a bump, all divided by its inertia.

    ``dry`` [rad/s^2], ``viscous`` [1/s] and ``quadratic`` [1] are the drag terms, ``hill`` is the height of the
    bump from bottom to top [rad^2/s^2], 0 for none.
    """

    dry: float
    viscous: float = 0.0
    quadratic: float = 0.0
    hill: float = 0.0

    def __post_init__(self) -> None:
        """Check that the wheel comes to rest."""
        if not self.dry > 0 or min(self.viscous, self.quadratic, self.hill) < 0:
            raise ValueOutOfRange(
                "The drag of the wheel",
                f"{self.dry:g} + {self.viscous:g} w + {self.quadratic:g} w^2 with a bump of {self.hill:g}",
                "positive in its dry part and not negative elsewhere",
            )


def capture_speed(wheel: CaptureWheel) -> float:
    """Give the speed w = sqrt(2 E), mean bump 0, below which the bump catches the wheel [rad/s].

    Examples
    --------
    >>> capture_speed(CaptureWheel(dry=0.05, hill=0.25))
    0.5
    """
    return float(np.sqrt(wheel.hill))


def free_time(wheel: CaptureWheel, speed_from: Array | float, speed_to: Array | float = 0.0) -> Array:
    """Give the time between two speeds where there is no bump.

    Parameters
    ----------
    wheel : CaptureWheel
        Its bump is not looked at.
    speed_from, speed_to : float or array
        Not negative [rad/s].

    Returns
    -------
    array
        [s], shape of the speeds broadcast.

    Examples
    --------
    >>> float(free_time(CaptureWheel(dry=0.05), 10.0).round(6))
    200.0
    """
    start = np.asarray(speed_to, dtype=np.float64)
    reach = np.asarray(speed_from, dtype=np.float64) - start
    speed = start[..., None] + reach[..., None] * _NODES
    drag = wheel.dry + wheel.viscous * speed + wheel.quadratic * speed**2
    return np.asarray(reach * (_WEIGHTS / drag).sum(axis=-1))


def turning_time(wheel: CaptureWheel, speed_from: Array | float, speed_to: Array | float | None = None) -> Array:
    """Give the time between two speeds while the wheel turns over the bump.

    Parameters
    ----------
    wheel : CaptureWheel
        With or without a bump.
    speed_from, speed_to : float or array
        w = sqrt(2 E), at or above the capture speed [rad/s]; ``speed_to`` None: down to the first turn-back.

    Returns
    -------
    array
        [s], shape of the speeds broadcast.

    Raises
    ------
    ValueOutOfRange
        If a speed lies below the capture speed.

    Notes
    -----
    See the head of this module; valid where the loss of a turn is much smaller than the bump (the last turn itself
    takes as long as its launch phase makes it: that scatter is left out), or where the speed stays above about
    twice the capture speed. The variable of integration is sqrt(m - 1), which smooths the end at the top.

    Examples
    --------
    >>> wheel = CaptureWheel(dry=0.05, hill=0.25)
    >>> float((turning_time(wheel, 10.0, 1.5) / free_time(wheel, 10.0, 1.5)).round(5))  # down to 3 capture speeds
    1.00014
    """
    lowest = capture_speed(wheel)
    start = np.asarray(speed_from, dtype=np.float64)
    stop = np.asarray(lowest if speed_to is None else speed_to, dtype=np.float64)
    if min(start.min(), stop.min()) < lowest:
        raise ValueOutOfRange(
            "The speed", f"{min(start.min(), stop.min()):g} rad/s", f"at least the capture speed {lowest:g} rad/s"
        )
    if wheel.hill == 0:
        return free_time(wheel, start, stop)
    from scipy.special import ellipe, ellipkm1  # noqa: PLC0415  a tenth of a second, and only hills need it

    high, low = (np.sqrt(np.maximum(speed**2 / wheel.hill - 1, 0) / 2) for speed in (start, stop))
    reach = high - low
    root = low[..., None] + reach[..., None] * _NODES
    m = 1 + root**2
    pendulum = np.sqrt(wheel.hill / 2)
    inverse = 1 / m
    period = 2 * ellipkm1(1 - inverse) / (pendulum * np.sqrt(m))
    loss = (
        2 * np.pi * wheel.dry
        + 8 * pendulum * np.sqrt(m) * ellipe(inverse) * wheel.viscous
        + 4 * np.pi * wheel.hill * (m - 0.5) * wheel.quadratic
    )
    return np.asarray(2 * wheel.hill * reach * (_WEIGHTS * root * period / loss).sum(axis=-1))


def rocking_time(wheel: CaptureWheel) -> float:
    """Give the time from the first turn-back to rest [s].

    Notes
    -----
    The band of angles in which dry friction holds the wheel against the bump, dry/(h/2), is taken as small.

    Examples
    --------
    >>> round(rocking_time(CaptureWheel(dry=0.05, hill=0.25)), 1)
    23.6
    """
    if wheel.hill == 0:
        return 0.0
    from scipy.special import ellipe, ellipkm1  # noqa: PLC0415  a tenth of a second, and only hills need it

    # m = sin^2(half_swing / 2): a swing reaches to that angle; the cube crowds the nodes near rest
    half_swing = np.pi * _NODES**3
    width = 3 * np.pi * _NODES**2 * _WEIGHTS
    m = np.sin(half_swing / 2) ** 2
    rest = np.cos(half_swing / 2) ** 2
    pendulum = np.sqrt(wheel.hill / 2)
    period = 4 * ellipkm1(rest) / pendulum
    loss = (
        4 * half_swing * wheel.dry
        + 16 * pendulum * (ellipe(m) - rest * ellipkm1(rest)) * wheel.viscous
        + 8 * wheel.hill * ((m - 0.5) * half_swing + np.sin(half_swing) / 2) * wheel.quadratic
    )
    return float(wheel.hill / 2 * (width * np.sin(half_swing) * period / loss).sum())


def time_to_end(wheel: CaptureWheel, launch_speed: Array | float, ending: Ending) -> Array:
    """Give what a stopwatch reads that waits for standstill.

    Parameters
    ----------
    wheel : CaptureWheel
        With or without a bump.
    launch_speed : float or array
        w = sqrt(2 E) at launch, above the capture speed [rad/s].
    ending : Ending
        Which end was timed.

    Returns
    -------
    array
        [s], shape of ``launch_speed``.

    Notes
    -----
    A bump of 1 % of the launch energy shortens the time to the first turn-back of a dry wheel by 6 % and lengthens
    the time to rest by 10 %; with viscous drag of three times the dry drag at launch 13 % and 20 %.

    Examples
    --------
    >>> def shares(viscous, quadratic):
    ...     wheel = CaptureWheel(1.0, viscous, quadratic, hill=0.005)  # launch speed 1 rad/s, energy 1/2
    ...     return [int(round(100 * float(time_to_end(wheel, 1.0, end) / free_time(wheel, 1.0) - 1))) for end in Ending]
    >>> shares(0, 0), shares(3, 0), shares(10, 0), shares(0, 10), shares(0, 30)
    ([-6, 10], [-13, 20], [-21, 31], [-16, 25], [-24, 37])
    """
    turning = turning_time(wheel, launch_speed)
    return turning + rocking_time(wheel) if ending is Ending.FINAL_REST else turning
