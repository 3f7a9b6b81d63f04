"""A made-up rig: a wheel with drag, drive, bump and marks, all divided by its inertia, and how it is launched."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ValueOutOfRange
from truerun.virtual.drag_laws import NOTHING, STEADY, DriftingDrag, Law, Together, draw_drift
from truerun.virtual.noise import standard_normal

__all__ = [
    "Launch",
    "LaunchHabit",
    "Push",
    "Rig",
    "draw_launch",
    "height",
    "slope",
    "uneven_marks",
    "with_source",
    "with_unbalance",
]

Array = NDArray[np.float64]

_GRAVITY = 9.80665  # m/s^2, standard acceleration of free fall


@dataclass(frozen=True, slots=True)
class Rig:
    """The truth about a wheel and what stands beside it.

    ``drag`` acts against the motion, ``drive`` in the direction of launch [rad/s^2 over rad/s]. ``cosine`` and
    ``sine`` are the harmonics 1, 2, ... of the bump [rad^2/s^2], over the angle that the wheel has turned from where
    its mark 0 stood at the sensor. ``marks`` are the angles at which the marks pass, from 0 up, within one turn [rad].
    """

    drag: Law = NOTHING
    drive: Law = NOTHING
    cosine: tuple[float, ...] = ()
    sine: tuple[float, ...] = ()
    marks: tuple[float, ...] = (0.0,)

    def __post_init__(self) -> None:
        """Check the marks."""
        places = np.array(self.marks)
        if not places.size or places[0] < 0 or places[-1] >= 2 * np.pi or (np.diff(places) <= 0).any():
            raise ValueOutOfRange("The angles of the marks", self.marks, "rising, from 0 up and below one turn")


@dataclass(frozen=True, slots=True)
class Push:
    """A torque from outside in the direction of launch: ``strength`` [rad/s^2] from ``start`` to ``stop`` [s]."""

    start: float
    stop: float
    strength: float


@dataclass(frozen=True, slots=True)
class Launch:
    """How one run begins, and what is special about it.

    ``speed`` [rad/s], not negative, at ``angle`` [rad], time 0. ``scale`` is the drag of this run over the law of the
    rig; ``drift`` multiplies it within the run. ``pushes`` come in the order of time and do not overlap: a run-up
    begins with one at 0.
    """

    speed: float
    angle: float = 0.0
    scale: float = 1.0
    drift: DriftingDrag = STEADY
    pushes: tuple[Push, ...] = ()

    def __post_init__(self) -> None:
        """Check that the wheel moves and the pushes are in order."""
        edges = [edge for push in self.pushes for edge in (push.start, push.stop)]
        if self.speed < 0 or (self.speed == 0 and not (self.pushes and self.pushes[0].start == 0)):
            raise ValueOutOfRange(
                "The speed at launch", f"{self.speed:g} rad/s", "positive, or with a push from time 0"
            )
        if edges != sorted(edges) or (edges and edges[0] < 0):
            raise ValueOutOfRange("The times of the pushes", edges, "not negative and in order")


@dataclass(frozen=True, slots=True)
class LaunchHabit:
    """How launches scatter.

    ``speed`` [rad/s] scatters by the share ``speed_scatter``, the drag of a run by ``drag_scatter`` (both standard
    deviations of the logarithm); ``any_angle`` launches from anywhere, else from angle 0. ``drift_size`` and
    ``drift_length`` [turns] say how drag wanders within a run of about ``turns``.
    """

    speed: float = 20.0
    speed_scatter: float = 0.02
    drag_scatter: float = 0.01
    any_angle: bool = True
    drift_size: float = 0.0
    drift_length: float = 20.0
    turns: int = 200


def draw_launch(habit: LaunchHabit, rng: np.random.Generator) -> Launch:
    """Draw one launch.

    Parameters
    ----------
    habit : LaunchHabit
    rng : numpy.random.Generator

    Returns
    -------
    Launch

    Examples
    --------
    >>> launch = draw_launch(LaunchHabit(), np.random.default_rng(1))
    >>> round(launch.speed, 3), round(launch.angle, 3), round(launch.scale, 4)
    (20.012, 0.906, 1.0166)
    """
    speed, scale = np.exp(standard_normal(rng, (2,)) * np.array([habit.speed_scatter, habit.drag_scatter]))
    angle = 2 * np.pi * rng.random() if habit.any_angle else 0.0
    drift = draw_drift(habit.turns, habit.drift_size, habit.drift_length, rng) if habit.drift_size else STEADY
    return Launch(float(habit.speed * speed), float(angle), float(scale), drift)


def height(rig: Rig, angle: Array) -> Array:
    """Give the specific potential at some angles.

    Parameters
    ----------
    rig : Rig
    angle : array, shape (n,)
        [rad].

    Returns
    -------
    array, shape (n,)
        u = sum of a_k cos k angle + b_k sin k angle [rad^2/s^2].

    Examples
    --------
    >>> height(Rig(cosine=(0.5,), sine=(0.0, 0.1)), np.array([0.0, np.pi / 4])).round(4).tolist()
    [0.5, 0.4536]
    """
    total = np.zeros_like(angle)
    for order, (cosine, sine) in enumerate(_harmonics(rig), start=1):
        total += cosine * np.cos(order * angle) + sine * np.sin(order * angle)
    return total


def slope(rig: Rig, angle: Array) -> Array:
    """Give the slope of the specific potential, which pulls the wheel back.

    Parameters
    ----------
    rig : Rig
    angle : array, shape (n,)
        [rad].

    Returns
    -------
    array, shape (n,)
        du/d angle [rad/s^2].

    Examples
    --------
    >>> slope(Rig(cosine=(0.5,)), np.array([np.pi / 2])).round(4).tolist()
    [-0.5]
    """
    total = np.zeros_like(angle)
    for order, (cosine, sine) in enumerate(_harmonics(rig), start=1):
        total += order * (sine * np.cos(order * angle) - cosine * np.sin(order * angle))
    return total


def _harmonics(rig: Rig) -> list[tuple[float, float]]:
    """Pair the cosine and sine parts, with 0 where one list is shorter."""
    orders = max(len(rig.cosine), len(rig.sine))
    cosine = (*rig.cosine, *(0.0,) * (orders - len(rig.cosine)))
    sine = (*rig.sine, *(0.0,) * (orders - len(rig.sine)))
    return list(zip(cosine, sine, strict=True))


def uneven_marks(count: int, spread: float, rng: np.random.Generator) -> tuple[float, ...]:
    """Place marks round the wheel by eye.

    Parameters
    ----------
    count : int
    spread : float
        Standard deviation of the error of each mark, much smaller than their distance [rad].
    rng : numpy.random.Generator

    Returns
    -------
    tuple of float
        Angles at which they pass; the first is at 0 [rad].

    Examples
    --------
    >>> [round(angle, 3) for angle in uneven_marks(4, 0.005, np.random.default_rng(1))]
    [0.0, 1.579, 3.136, 4.72]
    """
    angles = 2 * np.pi * np.arange(count) / count + spread * standard_normal(rng, (count,))
    return tuple(float(angle) for angle in angles - angles[0])


def with_unbalance(rig: Rig, moment: float, inertia: float, tilt: float, phase: float = 0.0) -> Rig:
    """Add the bump of a heavy spot, which is one harmonic a turn.

    Parameters
    ----------
    rig : Rig
    moment : float
        Mass of the spot times its radius [kg m].
    inertia : float
        Of the wheel [kg m^2].
    tilt : float
        Of the axle from the plumb line [rad]; pi/2 for an axle that lies level.
    phase : float
        Angle at which the spot stands highest [rad].

    Returns
    -------
    Rig

    Notes
    -----
    u = (moment g sin(tilt) / inertia) cos(angle - phase).

    Examples
    --------
    >>> level = with_unbalance(Rig(), moment=1e-4, inertia=0.0225, tilt=np.pi / 2)
    >>> round(level.cosine[0] * 0.0225 * 1e3, 3)  # mJ
    0.981
    """
    size = moment * _GRAVITY * float(np.sin(tilt)) / inertia
    first = (rig.cosine[:1] or (0.0,))[0] + size * float(np.cos(phase))
    second = (rig.sine[:1] or (0.0,))[0] + size * float(np.sin(phase))
    return replace(rig, cosine=(first, *rig.cosine[1:]), sine=(second, *rig.sine[1:]))


def with_source(
    rig: Rig,
    drive: Law | None = None,
    drag: Law | None = None,
    cosine: tuple[float, ...] = (),
    sine: tuple[float, ...] = (),
) -> Rig:
    """Put a source beside the wheel.

    Parameters
    ----------
    rig : Rig
        The control.
    drive, drag : callable, optional
        What the source adds [rad/s^2 over rad/s].
    cosine, sine : tuple of float
        The bump that it adds [rad^2/s^2].

    Returns
    -------
    Rig

    Examples
    --------
    >>> from truerun.virtual.drag_laws import PowerLaw
    >>> wheel = Rig(PowerLaw(((0, 0.05), (1, 0.01))), cosine=(0.1,))
    >>> driven = with_source(wheel, drive=PowerLaw(((0, 0.03),)), cosine=(0.2, 0.1))
    >>> driven.drive(np.array([-5.0])).tolist(), [round(part, 3) for part in driven.cosine]
    ([0.03], [0.3, 0.1])
    """
    return replace(
        rig,
        drag=rig.drag if drag is None else Together((rig.drag, drag)),
        drive=rig.drive if drive is None else Together((rig.drive, drive)),
        cosine=_added(rig.cosine, cosine),
        sine=_added(rig.sine, sine),
    )


def _added(first: tuple[float, ...], second: tuple[float, ...]) -> tuple[float, ...]:
    """Add two lists of harmonics of different length."""
    total = np.zeros(max(len(first), len(second)))
    total[: len(first)] += first
    total[: len(second)] += second
    return tuple(float(part) for part in total)
