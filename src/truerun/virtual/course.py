"""The whole course of one made-up run: push, free rundown, capture, rocking, rest.

The equation of motion over time, angle'' = -u'(angle) + drive + push -/+ scale drift(angle) drag(speed), is handed to
``scipy.integrate`` leg by leg; a leg ends where a push begins or ends, or where the wheel stands still for a moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import OdeSolution, solve_ivp

from truerun.virtual.rig import Launch, Rig, height, slope

__all__ = [
    "Course",
    "TruePasses",
    "course_angles",
    "course_energies",
    "course_speeds",
    "place_angles",
    "simulate_run",
    "true_passes",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A stretch of one direction (+1 as launched, -1 back), from ``start`` to ``stop`` [s]."""

    start: float
    stop: float
    direction: int
    motion: OdeSolution


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The motion of one run.

    ``free_from`` is when the last push ended, ``stop`` when the motion was followed no longer [s]. ``turn_backs``
    (n, 2) are the times [s] and angles [rad] at which the wheel stood and turned back. ``rest`` is when it came to
    rest for good, None where it was still moving.
    """

    rig: Rig
    launch: Launch
    legs: tuple[Leg, ...]
    free_from: float
    stop: float
    turn_backs: Array
    rest: float | None


@dataclass(frozen=True, slots=True, eq=False)
class TruePasses:
    """When marks really were at the sensor, in the order of time.

    ``times`` (n,) [s]; ``places`` (n,) number the marks as they lie along the motion: turn times marks plus mark, so
    that they count down while the wheel turns back; ``speeds`` (n,) are signed [rad/s].
    """

    times: Array
    places: NDArray[np.intp]
    speeds: Array


def simulate_run(rig: Rig, launch: Launch, limit: float = 3600.0, *, tolerance: float = 1e-12) -> Course:
    """Follow one run to its rest.

    Parameters
    ----------
    rig : Rig
        The truth about the wheel.
    launch : Launch
        How the run begins.
    limit : float
        When the motion is no longer followed [s].
    tolerance : float
        Of one step of the integrator, relative and absolute; a run of 150 s takes seconds.

    Returns
    -------
    Course

    Notes
    -----
    An eighth-order Runge-Kutta method with steps of its own choice. The wheel rests where it stands still and dry
    friction, drag at speed 0, holds it against bump and drive.

    Examples
    --------
    >>> from truerun.virtual.drag_laws import PowerLaw
    >>> course = simulate_run(Rig(PowerLaw(((0, 0.5),))), Launch(10.0))  # dry friction alone
    >>> round(course.rest, 9), round(float(course_angles(course, np.array([20.0]))[0]), 9)
    (20.0, 100.0)
    """
    legs: list[Leg] = []
    turn_backs: list[tuple[float, float]] = []
    state, time, direction = np.array([launch.angle, launch.speed]), 0.0, 1
    edges = [edge for push in launch.pushes for edge in (push.start, push.stop) if 0 < edge < limit]
    for edge in [*edges, limit]:
        while time < edge:
            if state[1] == 0:
                direction = _direction_from_rest(rig, launch, float(state[0]), time)
                if direction == 0 and edge == limit:
                    return _course(rig, launch, legs, turn_backs, time)
            leg = _leg(rig, launch, state, (time, edge), direction, tolerance=tolerance)
            legs.append(leg)
            state, time = np.array(leg.motion(leg.stop)), leg.stop
            if time < edge:
                state[1] = 0.0
                turn_backs.append((time, float(state[0])))
    return _course(rig, launch, legs, turn_backs, None)


def _course(
    rig: Rig, launch: Launch, legs: list[Leg], turn_backs: list[tuple[float, float]], rest: float | None
) -> Course:
    """Put the record together."""
    free_from = launch.pushes[-1].stop if launch.pushes else 0.0
    stands = np.array(turn_backs[: len(turn_backs) - (rest is not None)]).reshape(-1, 2)
    return Course(rig, launch, tuple(legs), free_from, legs[-1].stop if legs else 0.0, stands, rest)


def _push(launch: Launch, time: float) -> float:
    """Give the push in the stretch that begins at a time."""
    return sum(push.strength for push in launch.pushes if push.start <= time < push.stop)


def _direction_from_rest(rig: Rig, launch: Launch, angle: float, time: float) -> int:
    """Give where the wheel goes that stands still, 0 if dry friction holds it."""
    still, place = np.zeros(1), np.array([angle])
    pull = float((rig.drive(still) - slope(rig, place))[0]) + _push(launch, time)
    friction = float((launch.scale * launch.drift(place - launch.angle) * rig.drag(still))[0])
    return 0 if abs(pull) <= friction else int(np.sign(pull))


def _leg(rig: Rig, launch: Launch, state: Array, span: tuple[float, float], direction: int, *, tolerance: float) -> Leg:
    """Integrate until the wheel stands, or to the end of the span; direction 0 stays where it is."""
    push = _push(launch, span[0])
    moves = float(direction != 0)

    def rates(_time: float, now: Array) -> list[float]:
        angle, speed = now[:1], now[1:]
        drag = launch.scale * launch.drift(angle - launch.angle) * rig.drag(np.abs(speed))
        gain = rig.drive(speed) + push - slope(rig, angle) - direction * drag
        return [moves * float(now[1]), moves * float(gain[0])]

    def stands(_time: float, now: Array) -> float:
        return float(direction * now[1]) if moves else 1.0

    stands.terminal, stands.direction = True, -1  # type: ignore[attr-defined]  # how solve_ivp asks for it
    found = solve_ivp(
        rates, span, state, method="DOP853", events=stands, dense_output=True, rtol=tolerance, atol=tolerance
    )
    return Leg(span[0], float(found.t[-1]), direction, found.sol)


def course_angles(course: Course, times: Array) -> Array:
    """Give the angle at some times.

    Parameters
    ----------
    course : Course
    times : array, shape (n,)
        From launch on; after rest the angle stays [s].

    Returns
    -------
    array, shape (n,)
        [rad].
    """
    return np.asarray(_states(course, times)[0])


def course_speeds(course: Course, times: Array) -> Array:
    """Give the signed speed at some times.

    Parameters
    ----------
    course : Course
    times : array, shape (n,)
        From launch on; after rest the speed is 0 [s].

    Returns
    -------
    array, shape (n,)
        [rad/s].
    """
    return np.asarray(np.where(np.asarray(times) <= course.stop, _states(course, times)[1], 0.0))


def course_energies(course: Course, times: Array) -> Array:
    """Give the specific mechanical energy at some times, speed^2/2 + u(angle).

    Parameters
    ----------
    course : Course
    times : array, shape (n,)
        Not after the end of the course [s].

    Returns
    -------
    array, shape (n,)
        [rad^2/s^2].
    """
    angle, speed = _states(course, times)
    return np.asarray(speed**2 / 2 + height(course.rig, angle))


def _states(course: Course, times: Array) -> Array:
    """Give angle and speed, shape (2, n); before and after the course its ends."""
    inside = np.clip(np.asarray(times, dtype=np.float64), 0.0, course.stop)
    starts = np.array([leg.start for leg in course.legs])
    owner = np.maximum(np.searchsorted(starts, inside, side="right") - 1, 0)
    states = np.empty((2, inside.size))
    for number in np.unique(owner):
        chosen = owner == number
        states[:, chosen] = course.legs[number].motion(inside[chosen])
    return states


def true_passes(course: Course) -> TruePasses:
    """Find when marks were at the sensor.

    Parameters
    ----------
    course : Course

    Returns
    -------
    TruePasses
        All of them, from launch to rest; a mark that stands at the sensor at launch has passed already.

    Notes
    -----
    Each place is bracketed by the ends of a leg and found by halving, then by Newton's rule on the integrator's own
    interpolation: within 1e-12 of the angle.

    Examples
    --------
    >>> from truerun.virtual.drag_laws import PowerLaw
    >>> course = simulate_run(Rig(PowerLaw(((0, 0.5),)), marks=(0.0, 3.0)), Launch(10.0))
    >>> passes = true_passes(course)
    >>> passes.times[:3].round(4).tolist(), passes.places[:3].tolist()  # angle = 10 t - t^2/4
    ([0.3023, 0.6385, 0.9509], [1, 2, 3])
    """
    found = [_leg_passes(course.rig, leg) for leg in course.legs if leg.direction != 0]
    times, places, speeds = (np.concatenate(part) for part in zip(*found, strict=True)) if found else (np.empty(0),) * 3
    return TruePasses(times, np.asarray(places, dtype=np.intp), speeds)


def place_angles(rig: Rig, places: NDArray[np.intp]) -> Array:
    """Give the angles of some places along the motion.

    Parameters
    ----------
    rig : Rig
    places : array of int, shape (n,)
        Turn times marks plus mark.

    Returns
    -------
    array, shape (n,)
        [rad].

    Examples
    --------
    >>> place_angles(Rig(marks=(0.0, 3.0)), np.array([-1, 0, 1])).round(3).tolist()
    [-3.283, 0.0, 3.0]
    """
    marks = np.array(rig.marks)
    return np.asarray(2 * np.pi * (places // marks.size) + marks[places % marks.size])


def _leg_passes(rig: Rig, leg: Leg) -> tuple[Array, NDArray[np.intp], Array]:
    """Find the passes of one leg."""
    ends = np.sort(np.array([leg.motion(leg.start)[0], leg.motion(leg.stop)[0]]))
    turns = np.floor(ends / (2 * np.pi)).astype(np.intp)
    places = np.arange(turns[0] * len(rig.marks), (turns[1] + 1) * len(rig.marks))
    angles = place_angles(rig, places)
    kept = (angles > ends[0]) & (angles <= ends[1]) if leg.direction > 0 else (angles >= ends[0]) & (angles < ends[1])
    places = places[kept][:: leg.direction]
    times = _times_at(leg, place_angles(rig, places))
    return times, places, np.asarray(leg.motion(times)[1]) if times.size else np.empty(0)


def _times_at(leg: Leg, angles: Array) -> Array:
    """Find when a leg reaches some angles that lie on it."""
    knots = np.asarray(leg.motion.ts)
    reached = leg.direction * leg.motion(knots)[0]
    right = np.clip(np.searchsorted(reached, leg.direction * angles), 1, knots.size - 1)
    early, late = knots[right - 1].copy(), knots[right].copy()
    times = (early + late) / 2
    for _ in range(60):
        angle, speed = leg.motion(times) if times.size else np.empty((2, 0))
        ahead = leg.direction * (angle - angles)
        early, late = np.where(ahead <= 0, times, early), np.where(ahead >= 0, times, late)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = times - (angle - angles) / speed
        inside = (newton > early) & (newton < late)
        moved = np.where(inside, newton, (early + late) / 2)
        if np.all(np.abs(moved - times) <= 1e-13 * (1 + np.abs(times))):
            break
        times = moved
    return np.asarray(times)
