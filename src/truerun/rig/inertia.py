"""Moment of inertia of a wheel about its axle, from what was weighed and measured."""

from __future__ import annotations

from truerun.errors import ValueOutOfRange

__all__ = ["disc_inertia", "points_inertia"]


def disc_inertia(mass: float, diameter: float, bore: float = 0.0) -> float:
    r"""Moment of inertia of a flat disc or ring about its axle.

    Parameters
    ----------
    mass : float
        Of the disc as it is, with its hole [kg].
    diameter : float
        Over all [m].
    bore : float
        Diameter of the hole in the middle, 0 where there is none [m].

    Returns
    -------
    float
        [kg m^2]

    Raises
    ------
    ValueOutOfRange
        If the hole is not smaller than the disc.

    Notes
    -----
    .. math:: I = \tfrac12 m (R^2 + r^2)

    for the same thickness and the same stuff everywhere. From memory, and checked on a grid.

    Examples
    --------
    >>> round(disc_inertia(2.29022104, 0.30), 8)
    0.02576499
    """
    if not 0 <= bore < diameter:
        raise ValueOutOfRange(
            "The hole of the wheel", f"{bore:g} m", f"0 to below {diameter:g} m", "Measure both again."
        )
    return mass * (diameter**2 + bore**2) / 8


def points_inertia(mass: float, count: float, circle: float) -> float:
    r"""Moment of inertia of equal small parts on one circle about the axle.

    Parameters
    ----------
    mass : float
        Of one part [kg].
    count : float
        How many there are.
    circle : float
        Diameter of the circle through their middles [m].

    Returns
    -------
    float
        [kg m^2]

    Notes
    -----
    .. math:: I = n m r^2

    The parts' own inertia is left out: for a part of size s that is about s^2/(12 r^2) of it.

    Examples
    --------
    >>> round(points_inertia(0.025, 8, 0.24), 6)
    0.00288
    """
    return count * mass * (circle / 2) ** 2
