"""Rotors for the motion tests: seven cases of one wheel that slows from 20 rad/s, with their exact pass times."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from truerun.virtual.rotor import Motion, Rotor, simulate_passes

LAUNCH = 20.0
LEAD = 0.02  # the launch lies this far before nominal mark 0 [rad]


@dataclass(frozen=True)
class Case:
    """One change from the usual wheel each; ``hill`` is its top as a share of the energy at the end."""

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


@dataclass(frozen=True)
class Truth:
    """What the wheel is, and when its marks pass without any reading error."""

    case: Case
    drag: NDArray[np.float64]
    cosine: NDArray[np.float64]
    sine: NDArray[np.float64]
    spacing: NDArray[np.float64]
    motion: Motion


def power_drag(
    coefficients: NDArray[np.float64], powers: tuple[float, ...]
) -> Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]:
    def drag(speed: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
        del angle
        return np.asarray(sum(c * speed**power for c, power in zip(coefficients, powers, strict=True)))

    return drag


@cache
def truth(name: str, passes: int | None = None) -> Truth:
    """Drag scaled so that the speed ratio is reached without the hill; energy at launch is that of 20 rad/s."""
    case = CASES[name]
    count = passes or case.passes
    last = LAUNCH / case.ratio
    shape = np.array([0.03, 0.01, 0.0006, 0.003][: len(case.powers)])
    speed = np.linspace(LAUNCH, last, 20001)
    rate = sum(c * speed**power for c, power in zip(shape, case.powers, strict=True))
    drag = shape * np.trapezoid(speed / rate, -speed) / (2 * np.pi * count / case.marks)
    cosine, sine = np.array([1.0, 0.3, 0.2])[: case.harmonics], np.array([0.2, -0.3, 0.1])[: case.harmonics]
    if case.harmonics:
        angle = np.linspace(0, 2 * np.pi, 20000)
        heights = sum(
            a * np.cos(k * angle) + b * np.sin(k * angle)
            for k, (a, b) in enumerate(zip(cosine, sine, strict=True), start=1)
        )
        scale = case.hill * last**2 / 2 / float(np.max(heights))
        cosine, sine = cosine * scale, sine * scale
    spacing = 5e-3 * np.random.default_rng(5).standard_normal(case.marks)
    spacing -= spacing.mean()
    marks = LEAD + 2 * np.pi * np.arange(case.marks) / case.marks + spacing
    turned = _turned(cosine, sine, LEAD)
    rotor = Rotor(power_drag(drag, case.powers), *turned, tuple(marks))
    first = float(np.sqrt(LAUNCH**2 - 2 * sum(turned[0])))
    return Truth(case, drag, cosine, sine, spacing, simulate_passes(rotor, first, count))


def _turned(
    cosine: NDArray[np.float64], sine: NDArray[np.float64], lead: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Harmonics when the angle starts ``lead`` before mark 0."""
    orders = np.arange(1, cosine.size + 1) * lead
    return (
        tuple(cosine * np.cos(orders) - sine * np.sin(orders)),
        tuple(cosine * np.sin(orders) + sine * np.cos(orders)),
    )
