"""Wheels on which the fit of a rundown is measured: seven cases of one wheel, random ones, and drag that drifts.

Their pass times come from integrators that share nothing with the fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from truerun.virtual.rotor import Drag, Motion, Rotor, simulate_passes

__all__ = [
    "CASES",
    "DRIFTING_DRAG",
    "LEAD",
    "Case",
    "RandomWheel",
    "Truth",
    "drifting_runs",
    "power_drag",
    "random_wheel",
    "truth",
]

LAUNCH = 20.0
LEAD = 0.02
"""The launch lies this far before nominal mark 0 [rad]."""


@dataclass(frozen=True, slots=True)
class Case:
    """One change from the usual wheel each; ``hill`` is its top as a share of the energy at the end.

    ``ratio`` of first to last speed, timing ``sigma`` [s], ``powers`` of speed in the drag.
    """

    marks: int = 12
    harmonics: int = 3
    hill: float = 0.5
    ratio: float = 10.0
    sigma: float = 2e-5
    powers: tuple[float, ...] = (0, 1, 2)
    passes: int = 2000


CASES = {
    "usual": Case(),
    "hill at .9 of capture": Case(hill=0.9),
    "laminar air": Case(powers=(0, 1, 2, 1.5)),
    "speed ratio 2": Case(ratio=2.0),
    "1 ms timing, ratio 3": Case(sigma=1e-3, ratio=3.0, hill=0.1),
    "4 marks": Case(marks=4, harmonics=1),
    "1 mark, no hill": Case(marks=1, harmonics=0, hill=0.0),
}
"""From 20 rad/s, spacing errors of 5 mrad, 2 000 passes."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What the wheel is, and when its marks pass without any reading error."""

    case: Case
    drag: NDArray[np.float64]
    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    spacing: NDArray[np.float64]
    motion: Motion


def power_drag(coefficients: NDArray[np.float64], powers: tuple[float, ...]) -> Drag:
    """Give a specific drag that is a sum of powers of speed, whatever the angle.

    Examples
    --------
    >>> power_drag(np.array([0.1, 0.02]), (0, 1))(np.array([5.0]), np.zeros(1))
    array([0.2])
    """

    def drag(speed: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
        del angle
        return np.asarray(sum(c * speed**power for c, power in zip(coefficients, powers, strict=True)))

    return drag


@cache
def truth(name: str, passes: int | None = None) -> Truth:
    """Make a wheel of one of the cases and integrate it.

    Parameters
    ----------
    name : str
        Of :data:`CASES`.
    passes : int, optional
        None: as many as the case has.

    Returns
    -------
    Truth

    Notes
    -----
    Drag is scaled so that the speed ratio is reached without the hill; energy at launch is that of 20 rad/s.
    """
    case = CASES[name]
    count = passes or case.passes
    last = LAUNCH / case.ratio
    shape = np.array([0.03, 0.01, 0.0006, 0.003][: len(case.powers)])
    drag = _slowed(shape, case.powers, (LAUNCH, last), 2 * np.pi * count / case.marks)
    cosine, sine = np.array([1.0, 0.3, 0.2])[: case.harmonics], np.array([0.2, -0.3, 0.1])[: case.harmonics]
    cosine, sine = _raised(cosine, sine, case.hill * last**2 / 2)
    spacing = 5e-3 * np.random.default_rng(5).standard_normal(case.marks)
    spacing -= spacing.mean()
    marks = LEAD + 2 * np.pi * np.arange(case.marks) / case.marks + spacing
    turned = _turned(cosine, sine, LEAD)
    rotor = Rotor(power_drag(drag, case.powers), *turned, tuple(marks))
    first = float(np.sqrt(LAUNCH**2 - 2 * sum(turned[0])))
    return Truth(case, drag, cosine, sine, spacing, simulate_passes(rotor, first, count))


@dataclass(frozen=True, slots=True)
class RandomWheel:
    """A rotor, its launch speed [rad/s], the harmonics of its hill and the turns to record."""

    rotor: Rotor
    speed: float
    harmonics: int
    turns: int


def random_wheel(
    rng: np.random.Generator, ratios: tuple[float, float] = (1.5, 10.0), hills: tuple[float, float] = (0.0, 0.9)
) -> RandomWheel:
    """Draw a wheel.

    Parameters
    ----------
    rng : numpy.random.Generator
    ratios : (float, float)
        Range of the ratio of first to last speed.
    hills : (float, float)
        Range of the top of the hill, as a share of the energy at the end.

    Returns
    -------
    RandomWheel
    """
    ratio, share = np.exp(rng.uniform(*np.log(ratios))), rng.uniform(*hills)
    marks = int(rng.choice([1, 3, 4, 5, 7, 12, 24]))
    harmonics = min((marks - 1) // 2, int(rng.integers(0, 5)))
    turns, last = int(rng.integers(15, 60)), float(np.exp(rng.uniform(0, np.log(8))))
    shape = rng.dirichlet([1, 1, 1]) / (last * ratio) ** np.arange(3)
    drag = _slowed(shape, (0, 1, 2), (last * ratio, last), 2 * np.pi * turns)
    cosine, sine = rng.standard_normal((2, harmonics)) / np.arange(1, harmonics + 1)
    cosine, sine = _raised(cosine, sine, share * last**2 / 2)
    places = 0.1 + 2 * np.pi * np.arange(marks) / marks + 5e-3 * rng.standard_normal(marks)
    rotor = Rotor(power_drag(drag, (0, 1, 2)), tuple(cosine), tuple(sine), tuple(places))
    return RandomWheel(rotor, float(np.sqrt((last * ratio) ** 2 - 2 * cosine.sum())), harmonics, turns)


TURNS, MARKS, STEPS = 100, 4, 24


def drifting_runs(runs: int, size: float, length: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Exact pass times of many runs of one wheel, 100 turns from 20 to 4 rad/s, whose drag changes between turns.

    Parameters
    ----------
    runs : int
        Number r of runs, integrated side by side.
    size : float
        Standard deviation of the extra drag, as a share of the mean drag.
    length : float
        How long it hangs together (first-order autoregression), as a share of the run.
    rng : numpy.random.Generator

    Returns
    -------
    array, shape (r, 401)
        Four marks a turn, a hill of 3 cos(angle) [s].

    Notes
    -----
    Fourth-order Runge-Kutta over the angle, 96 steps a turn.
    """
    tie = float(np.exp(-1 / (TURNS * length)))
    extra = rng.standard_normal((TURNS, runs))
    for turn in range(1, TURNS):
        extra[turn] = tie * extra[turn - 1] + np.sqrt(1 - tie**2) * extra[turn]
    extra *= size * float((DRIFTING_DRAG @ np.linspace(4, LAUNCH, 100) ** np.arange(3)[:, None]).mean())
    step = 2 * np.pi / (MARKS * STEPS)
    state = np.array([np.full(runs, LAUNCH**2 / 2), np.zeros(runs)])
    times = [np.zeros(runs)]
    for count in range(TURNS * MARKS * STEPS):
        state = _stepped(step * count, state, extra[count // (MARKS * STEPS)], step)
        if (count + 1) % STEPS == 0:
            times.append(state[1].copy())
    return np.array(times).T


def _stepped(angle: float, state: NDArray[np.float64], extra: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """Energy and time of all runs one step of the angle later."""

    def rates(place: float, now: NDArray[np.float64]) -> NDArray[np.float64]:
        speed = np.sqrt(2 * (now[0] - 3.0 * np.cos(place)))
        return np.array(
            [-(DRIFTING_DRAG[0] + speed * (DRIFTING_DRAG[1] + speed * DRIFTING_DRAG[2]) + extra), 1 / speed]
        )

    first = rates(angle, state)
    second = rates(angle + step / 2, state + step / 2 * first)
    third = rates(angle + step / 2, state + step / 2 * second)
    fourth = rates(angle + step, state + step * third)
    return np.asarray(state + step / 6 * (first + 2 * second + 2 * third + fourth))


def _slowed(
    shape: NDArray[np.float64], powers: tuple[float, ...], speeds: tuple[float, float], angle: float
) -> NDArray[np.float64]:
    """Scale coefficients of drag so that the wheel slows between two speeds over an angle: the integral of w/f dw."""
    speed = np.linspace(*speeds, 20001)
    rate = sum(c * speed**power for c, power in zip(shape, powers, strict=True))
    return np.asarray(shape * np.trapezoid(speed / rate, -speed) / angle)


def _raised(
    cosine: NDArray[np.float64], sine: NDArray[np.float64], top: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Scale a hill so that its top has a height."""
    if not cosine.size:
        return cosine, sine
    phase = np.linspace(0, 2 * np.pi, 20000)[:, None] * np.arange(1, cosine.size + 1)
    scale = top / float((np.cos(phase) @ cosine + np.sin(phase) @ sine).max())
    return cosine * scale, sine * scale


def _turned(
    cosine: NDArray[np.float64], sine: NDArray[np.float64], lead: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Harmonics when the angle starts ``lead`` before mark 0."""
    orders = np.arange(1, cosine.size + 1) * lead
    return (
        tuple(cosine * np.cos(orders) - sine * np.sin(orders)),
        tuple(cosine * np.sin(orders) + sine * np.cos(orders)),
    )


DRIFTING_DRAG = _slowed(np.array([0.03, 0.01, 0.0006]), (0, 1, 2), (LAUNCH, 4.0), 2 * np.pi * TURNS)
"""Coefficients of the drag of the wheel that drifts, of powers 0, 1, 2 of speed."""
