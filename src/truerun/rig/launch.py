"""A wheel that is launched by a falling weight on a string: energy, inertia, speed, and where the energy went."""

from __future__ import annotations

import math

from truerun.errors import ValueOutOfRange

__all__ = [
    "GRAVITY",
    "GRAVITY_HALF_WIDTH",
    "fall_energy",
    "fall_speed",
    "friction_work",
    "inertia_from_fall",
    "kinetic_energy",
    "launch_speed",
]

GRAVITY, GRAVITY_HALF_WIDTH = 9.8063, 0.026
"""Between equator (9.78033) and pole (9.83219), by the Geodetic Reference System 1980 [m/s^2]."""


def fall_energy(mass: float, height: float, gravity: float = GRAVITY) -> float:
    """Energy that a weight gives as it falls [J].

    Parameters
    ----------
    mass, height, gravity : float
        [kg], [m], [m/s^2]

    Returns
    -------
    float
        m g h [J]

    Examples
    --------
    >>> round(fall_energy(0.5, 0.8, 9.80665), 5)
    3.92266
    """
    return mass * gravity * height


def kinetic_energy(inertia: float, speed: float) -> float:
    """Energy of a turning wheel; of a weight that moves, with its mass and its speed.

    Parameters
    ----------
    inertia, speed : float
        [kg m^2] and [rad/s], or [kg] and [m/s]

    Returns
    -------
    float
        [J]

    Examples
    --------
    >>> round(kinetic_energy(0.01, 27.4492758574437), 6)
    3.767314
    """
    return inertia * speed**2 / 2


def fall_speed(height: float, time: float, drum: float) -> float:
    r"""Speed of the wheel as the weight lands, from how long the fall took.

    Parameters
    ----------
    height, time : float
        Of the fall, from rest [m], [s].
    drum : float
        Diameter on which the string runs [m].

    Returns
    -------
    float
        [rad/s]

    Notes
    -----
    Weight and friction hardly change during the fall, so the speed grows evenly and its end is twice its mean:

    .. math:: \omega = \frac{2h}{t\,r}

    Examples
    --------
    >>> round(fall_speed(0.8, 2.91446668449382, 0.04), 6)
    27.449276
    """
    return 4 * height / (time * drum)


def inertia_from_fall(
    mass: float, drum: float, height: float, time: float, *, drag: float = 0.0, gravity: float = GRAVITY
) -> float:
    r"""Moment of inertia of a wheel from the time that a weight takes to fall.

    Parameters
    ----------
    mass : float
        Of the weight [kg].
    drum : float
        Diameter on which the string runs [m].
    height, time : float
        Of the fall, from rest [m], [s].
    drag : float
        What the wheel alone loses each second, from the rundown that follows [rad/s^2].
    gravity : float
        [m/s^2]

    Returns
    -------
    float
        [kg m^2]

    Raises
    ------
    ValueOutOfRange
        If the fall is faster than a free one, so that nothing was turned.

    Notes
    -----
    With the drum's radius r, m (g - a) r = I (a / r + f) and a = 2 h / t^2:

    .. math:: I = \frac{m r^2 (g t^2 / 2h - 1)}{1 + f r t^2 / 2h}

    Left out without the drag the inertia comes out too large, by the share f r t^2 / 2h.

    Examples
    --------
    >>> round(inertia_from_fall(0.5, 0.04, 0.8, 2.91446668449382, drag=0.2, gravity=9.80665), 9)
    0.01
    """
    square = time**2 / (2 * height)
    if gravity * square <= 1:
        free = math.sqrt(2 * height / gravity)
        raise ValueOutOfRange(
            "The time of the fall", f"{time:g} s", f"above that of a free fall, {free:.3g} s", "Measure both again."
        )
    radius = drum / 2
    return mass * radius**2 * (gravity * square - 1) / (1 + drag * radius * square)


def launch_speed(
    inertia: float, mass: float, drum: float, height: float, *, drag: float = 0.0, gravity: float = GRAVITY
) -> float:
    r"""Speed that a falling weight gives a wheel.

    Parameters
    ----------
    inertia : float
        [kg m^2]
    mass, drum, height, drag, gravity : float
        As for :func:`inertia_from_fall`.

    Returns
    -------
    float
        As the weight lands [rad/s].

    Raises
    ------
    ValueOutOfRange
        If the weight is too light to turn the wheel against its drag.

    Notes
    -----
    .. math:: \omega^2 = \frac{2 m g h - 2 I f h / r}{I + m r^2}

    Examples
    --------
    >>> round(launch_speed(0.01, 0.5, 0.04, 0.8, drag=0.2, gravity=9.80665), 6)
    27.449276
    """
    left = fall_energy(mass, height, gravity) - friction_work(inertia, drum, height, drag)
    if left <= 0:
        raise ValueOutOfRange(
            "The weight", f"{1000 * mass:g} g", "heavy enough to turn the wheel", "Take a heavier one."
        )
    return math.sqrt(2 * left / (inertia + mass * drum**2 / 4))


def friction_work(inertia: float, drum: float, height: float, drag: float) -> float:
    """Energy that friction takes while the weight falls.

    Parameters
    ----------
    inertia, drum, height, drag : float
        As for :func:`launch_speed`.

    Returns
    -------
    float
        I f h / r [J]

    Examples
    --------
    >>> round(friction_work(0.01, 0.04, 0.8, 0.2), 6)
    0.08
    """
    return inertia * drag * height / (drum / 2)
