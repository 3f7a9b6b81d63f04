"""Closed forms of a rundown without a hill: J dw/dt = -(a + b w + c w^2) with a, b, c not negative."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange

__all__ = [
    "angle_between_speeds",
    "angle_to_stop",
    "speed_after",
    "speed_after_angle",
    "stopping_time",
    "time_between_speeds",
]

Number = float | NDArray[np.float64]


def time_between_speeds(
    inertia: float, first: Number, last: Number, *, dry: float, viscous: float = 0.0, quadratic: float = 0.0
) -> NDArray[np.float64]:
    r"""Time in which a rotor slows from one speed to another under dry, viscous and quadratic drag.

    Parameters
    ----------
    inertia : float
        About the spin axis [kg m2].
    first, last : float or array
        Speeds, ``last`` not above ``first`` [rad/s].
    dry : float
        Torque that does not depend on speed [N m].
    viscous : float
        Torque per unit speed [N m s].
    quadratic : float
        Torque per unit speed squared [N m s2].

    Returns
    -------
    array
        [s]; infinite where the lower speed is never reached.

    Raises
    ------
    ValueOutOfRange
        If a coefficient or the inertia is negative, or all drag is zero.

    Notes
    -----
    With D = 4 a c - b^2 and z = (w0 - w1)/(2 a + b (w0 + w1) + 2 c w0 w1):

    .. math:: t = (2 J/\sqrt D) \arctan(\sqrt D z)

    which becomes artanh for D < 0 and 2 J z for D = 0; written like this no digits are lost near D = 0.

    References
    ----------
    Own derivation: both arctangents (or logarithms) of the textbook form are joined by the addition theorem.

    Examples
    --------
    >>> round(float(time_between_speeds(0.01, 50.0, 0.0, dry=0.002, viscous=1e-4)), 9)
    125.27629685
    """
    _require_drag(inertia, dry, viscous, quadratic)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.subtract(first, last) / (
            2 * dry + viscous * np.add(first, last) + 2 * quadratic * np.multiply(first, last)
        )
        root = (4 * dry * quadratic - viscous**2) * z**2
        time: NDArray[np.float64] = np.where(np.isfinite(z), 2 * inertia * z * _arctangent(root), np.inf)
    return time


def stopping_time(
    inertia: float, speed: Number, *, dry: float, viscous: float = 0.0, quadratic: float = 0.0
) -> NDArray[np.float64]:
    """Time from a speed to rest.

    Parameters
    ----------
    inertia : float
        About the spin axis [kg m2].
    speed : float or array
        [rad/s].
    dry, viscous, quadratic : float
        Coefficients of the drag torque [N m, N m s, N m s2].

    Returns
    -------
    array
        [s]; infinite without dry drag.

    Examples
    --------
    >>> float(stopping_time(0.01, 50.0, dry=0.002))
    250.0
    """
    return time_between_speeds(inertia, speed, 0.0, dry=dry, viscous=viscous, quadratic=quadratic)


def speed_after(
    inertia: float, speed: Number, time: Number, *, dry: float, viscous: float = 0.0, quadratic: float = 0.0
) -> NDArray[np.float64]:
    """Speed after a time.

    Parameters
    ----------
    inertia : float
        About the spin axis [kg m2].
    speed : float or array
        At the start [rad/s].
    time : float or array
        [s].
    dry, viscous, quadratic : float
        Coefficients of the drag torque [N m, N m s, N m s2].

    Returns
    -------
    array
        [rad/s]; 0 once the rotor has stopped.

    Notes
    -----
    The inverse of :func:`time_between_speeds`: z = tan(sqrt(D) t/(2 J))/sqrt(D), then
    w = (w0 - z (2 a + b w0))/(1 + z (b + 2 c w0)).

    Examples
    --------
    >>> round(float(speed_after(0.01, 50.0, 60.0, dry=0.002)), 9)
    38.0
    """
    stop = stopping_time(inertia, speed, dry=dry, viscous=viscous, quadratic=quadratic)
    half = np.minimum(time, stop) / (2 * inertia)
    z = half * _tangent((4 * dry * quadratic - viscous**2) * half**2)
    start = np.asarray(speed, dtype=float)
    moving = (start - z * (2 * dry + viscous * start)) / (1 + z * (viscous + 2 * quadratic * start))
    left: NDArray[np.float64] = np.where(time < stop, np.maximum(moving, 0.0), 0.0)
    return left


def angle_between_speeds(
    inertia: float, first: Number, last: Number, *, dry: float, viscous: float = 0.0, quadratic: float = 0.0
) -> NDArray[np.float64]:
    """Angle turned while a rotor slows from one speed to another.

    Parameters
    ----------
    inertia : float
        About the spin axis [kg m2].
    first, last : float or array
        Speeds [rad/s].
    dry, viscous, quadratic : float
        Coefficients of the drag torque [N m, N m s, N m s2].

    Returns
    -------
    array
        [rad].

    Notes
    -----
    With q(w) = a + b w + c w^2: (J/2c) ln(q(w0)/q(w1)) - b t/(2c); for c = 0 J (w0 - w1)/b - a t/b; for
    b = c = 0 J (w0^2 - w1^2)/(2 a). Digits are lost where c w0 is far below b, but not zero.

    Examples
    --------
    >>> float(angle_between_speeds(0.01, 50.0, 0.0, dry=0.002))
    6250.0
    """
    _require_drag(inertia, dry, viscous, quadratic)
    first, last = np.asarray(first, dtype=float), np.asarray(last, dtype=float)
    if quadratic == 0.0 and viscous == 0.0:
        return inertia * (first**2 - last**2) / (2 * dry)
    drag = {"dry": dry, "viscous": viscous, "quadratic": quadratic}
    slow = viscous * time_between_speeds(inertia, first, last, **drag) if viscous * quadratic or dry else 0.0
    if quadratic == 0.0:
        return inertia * (first - last) / viscous - (dry / viscous**2 * slow if dry else 0.0)
    if dry == 0.0:
        with np.errstate(divide="ignore"):  # an unbounded angle
            return inertia / quadratic * np.log((viscous + quadratic * first) / (viscous + quadratic * last))
    top, bottom = (dry + viscous * speed + quadratic * speed**2 for speed in (first, last))
    angle: NDArray[np.float64] = (inertia * np.log(top / bottom) - slow) / (2 * quadratic)
    return angle


def angle_to_stop(
    inertia: float, speed: Number, *, dry: float, viscous: float = 0.0, quadratic: float = 0.0
) -> NDArray[np.float64]:
    """Angle turned from a speed to rest.

    Parameters
    ----------
    inertia : float
        About the spin axis [kg m2].
    speed : float or array
        [rad/s].
    dry, viscous, quadratic : float
        Coefficients of the drag torque [N m, N m s, N m s2].

    Returns
    -------
    array
        [rad]; finite without dry drag as long as there is viscous drag.

    Examples
    --------
    >>> round(float(angle_to_stop(0.01, 50.0, dry=0.0, viscous=1e-4)), 9)
    5000.0
    """
    return angle_between_speeds(inertia, speed, 0.0, dry=dry, viscous=viscous, quadratic=quadratic)


def speed_after_angle(
    inertia: float, speed: float, angle: float, *, dry: float, viscous: float = 0.0, quadratic: float = 0.0
) -> float:
    """Speed after an angle, where a closed form exists.

    Parameters
    ----------
    inertia : float
        About the spin axis [kg m2].
    speed : float
        At the start [rad/s].
    angle : float
        Less than the angle to stop [rad].
    dry, viscous, quadratic : float
        Coefficients of the drag torque [N m, N m s, N m s2]; viscous or quadratic must be 0, or dry.

    Returns
    -------
    float
        [rad/s].

    Raises
    ------
    ValueOutOfRange
        If all three kinds of drag are there: then there is no closed form.

    Notes
    -----
    Energy for dry and quadratic drag, Lambert's W for dry and viscous drag: with y = 1 + b w/a,
    y = -W_{-1}(-exp(ln y0 - y0 + angle b^2/(a J))), as long as y0 is below about 700.

    Examples
    --------
    >>> round(speed_after_angle(0.01, 50.0, 6.283185307179586, dry=0.002), 9)
    49.974860939
    """
    _require_drag(inertia, dry, viscous, quadratic)
    if viscous == 0.0:
        decay = -2 * quadratic * angle / inertia
        lost = 2 * dry * angle / inertia * (np.expm1(decay) / decay if quadratic else 1.0)
        return float(np.sqrt(speed**2 * np.exp(decay) - lost))
    if dry == 0.0:
        fall = np.exp(-quadratic * angle / inertia)
        spent = -np.expm1(-quadratic * angle / inertia) / quadratic if quadratic else angle / inertia
        return float(speed * fall - viscous * spent)
    if quadratic:
        raise ValueOutOfRange(
            "drag", "dry, viscous and quadratic at once", "without one of them", "Use angle_between_speeds."
        )
    from scipy.special import lambertw  # noqa: PLC0415  a tenth of a second, and only this form needs it

    start = 1 + viscous * speed / dry
    inner = np.log(start) - start + angle * viscous**2 / (dry * inertia)
    return float((-lambertw(-np.exp(inner), -1).real - 1) * dry / viscous)


def _arctangent(square: NDArray[np.float64]) -> NDArray[np.float64]:
    """Value of arctan(x)/x from x^2, which may be negative (artanh) or tiny."""
    small = np.abs(square) < 1e-4
    root = np.sqrt(np.abs(np.where(small, 1.0, square)))
    large = np.where(square > 0, np.arctan(root), np.arctanh(np.where(square > 0, 0.0, root))) / root
    series = 1 - square / 3 + square**2 / 5 - square**3 / 7
    value: NDArray[np.float64] = np.where(small, series, large)
    return value


def _tangent(square: NDArray[np.float64]) -> NDArray[np.float64]:
    """Value of tan(x)/x from x^2, which may be negative (tanh) or tiny."""
    small = np.abs(square) < 1e-4
    root = np.sqrt(np.abs(np.where(small, 1.0, square)))
    large = np.where(square > 0, np.tan(root), np.tanh(root)) / root
    series = 1 + square / 3 + 2 * square**2 / 15 + 17 * square**3 / 315
    value: NDArray[np.float64] = np.where(small, series, large)
    return value


def _require_drag(inertia: float, dry: float, viscous: float, quadratic: float) -> None:
    """Refuse a rotor without inertia or drag."""
    if inertia <= 0:
        raise ValueOutOfRange("inertia", f"{inertia:g} kg m2", "positive")
    if min(dry, viscous, quadratic) < 0 or dry + viscous + quadratic == 0:
        found = f"{dry:g}, {viscous:g} and {quadratic:g}"
        raise ValueOutOfRange("drag", found, "not negative, and not zero altogether")
