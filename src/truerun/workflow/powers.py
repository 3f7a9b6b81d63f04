"""What the runs of an opened test say in watts, once an inertia is known: losses, the source, and where they go."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from truerun.motion.drag_curve import drag_at
from truerun.motion.hill import capture_speed
from truerun.motion.measured import Measured, hill_of
from truerun.motion.rundown_data import TERM_NAMES, usual_terms
from truerun.motion.sustained import SustainedRun
from truerun.trial.comparison import Comparison
from truerun.trial.plan import Window
from truerun.uncertainty import source
from truerun.units.formats import format_quantity
from truerun.workflow.comparing import ComparisonResult
from truerun.workflow.recorded import RecordedRun

__all__ = ["LossFound", "PowersFound", "drag_at_launch", "power_rows", "powers_of"]


@dataclass(frozen=True, slots=True)
class LossFound:
    """What the wheel lost on average over the window in one condition [W], and what it is made of at ``speed``."""

    condition: str
    is_source: bool
    runs: int
    power: UFloat
    parts: tuple[tuple[str, UFloat], ...]
    whole: UFloat | None


@dataclass(frozen=True, slots=True)
class PowersFound:
    """Losses of both conditions over one window.

    ``net`` is what the source adds [W], ``energy`` what the wheel gives up over the window [J], ``caught`` what is left
    when the bump catches it [J] (None: no bump was measured). ``speed`` is where the parts are given [rad/s].
    """

    window: Window
    losses: tuple[LossFound, ...]
    net: UFloat
    energy: UFloat
    caught: UFloat | None
    speed: float


def drag_at_launch(result: ComparisonResult) -> UFloat | None:
    """Give what the wheel loses each second at half its launch speed, over all recorded runs [rad/s^2]."""
    runs = () if result.recorded is None else result.recorded.runs
    slowing = [each.measured for each in runs if not isinstance(each.measured, SustainedRun)]
    if not slowing:
        return None
    halfway = [float(drag_at(each.drag, np.array([each.speed_high / 2]))[0][0]) for each in slowing]
    return _mean("drag during the fall", np.array(halfway))


def powers_of(result: ComparisonResult, inertia: UFloat) -> PowersFound | None:
    """Give the losses of both conditions in watts.

    Parameters
    ----------
    result : ComparisonResult
        Opened.
    inertia : UFloat
        Of the wheel [kg m^2].

    Returns
    -------
    PowersFound or None
        None where the runs were not timed between two known speeds, or some did not come to the lower one.

    Notes
    -----
    Over a window the wheel gives up E = I (w_1^2 - w_2^2) / 2 in both conditions, so its mean loss is E / T, with the
    mean T of the condition and its standard error. The source adds the control's loss less the source's. A part of
    the drag that goes with the k-th power of speed takes I c_k w^(k + 1).
    """
    comparison, recorded = result.comparison, result.recorded
    window = recorded.window if recorded is not None else comparison.at.rules.window
    if (
        not isinstance(window, Window)
        or comparison.at.rules.measurand.name != "time"
        or comparison.at.seen.capped.any()
    ):
        return None
    energy = inertia * (window.from_**2 - window.to**2) / 2
    speed = math.sqrt(window.from_ * window.to)
    runs = () if recorded is None else recorded.runs
    losses = []
    for sign in (1, -1):
        times = _times(comparison, sign)
        if not times.size:
            return None
        names = comparison.at.rules.conditions
        name = names.source if sign > 0 else names.control
        mine = [each for each in runs if each.run.condition == name]
        parts, whole = _parts(mine, inertia, speed)
        losses.append(LossFound(name, sign > 0, times.size, energy / _mean(f"times of {name}", times), parts, whole))
    return PowersFound(window, tuple(losses), losses[1].power - losses[0].power, energy, _caught(runs, inertia), speed)


def power_rows(powers: PowersFound) -> tuple[tuple[str, str], ...]:
    """Say the mean losses over the window in watts, each with its standard uncertainty."""
    adds = powers.net.nominal_value > 0
    return (
        *((f"{each.condition} loses on average", _milliwatts(each.power)) for each in powers.losses),
        ("so the source adds" if adds else "so the source takes", _milliwatts(powers.net if adds else -powers.net)),
    )


def _milliwatts(power: UFloat) -> str:
    """Write a power with its standard uncertainty."""
    return format_quantity(power.nominal_value, "mW", power.std_dev)


def _times(comparison: Comparison, sign: int) -> NDArray[np.float64]:
    """Give the times of one condition, of the runs that count [s]."""
    seen = comparison.at.seen
    return np.asarray(seen.raw[seen.kept & (seen.used == sign) & np.isfinite(seen.raw)])


def _mean(name: str, values: NDArray[np.float64]) -> UFloat:
    """Give a mean with its standard error; of one value alone nothing is known of its scatter."""
    if values.size < 2:
        return source(name, float(values.mean()), 0.0)
    return source(name, float(values.mean()), float(values.std(ddof=1) / math.sqrt(values.size)), values.size - 1)


def _parts(
    runs: Sequence[RecordedRun], inertia: UFloat, speed: float
) -> tuple[tuple[tuple[str, UFloat], ...], UFloat | None]:
    """Give the parts of the drag at one speed and their sum, as the runs of one condition show them [W]."""
    terms = [None if isinstance(each.measured, SustainedRun) else usual_terms(each.measured) for each in runs]
    known = [each for each in terms if each is not None]
    if not known or len(known) < len(terms) or len({each.powers for each in known}) > 1:
        return (), None
    coefficients = np.array([each.coefficients for each in known])
    parts = tuple(
        (
            TERM_NAMES[power],
            inertia * _mean(f"drag with power {power:g}", coefficients[:, place]) * speed ** (power + 1),
        )
        for place, power in enumerate(known[0].powers)
    )
    whole = coefficients @ np.array([speed**power for power in known[0].powers])
    return parts, inertia * _mean("drag", whole) * speed


def _caught(runs: Sequence[RecordedRun], inertia: UFloat) -> UFloat | None:
    """Give the energy at which the largest bump of any run catches the wheel [J]."""
    speeds = [capture for each in runs if (capture := _capture(each.measured)) is not None]
    if not speeds:
        return None
    speed, uncertainty = max(speeds)
    return inertia * source("speed at which the bump catches", speed, uncertainty) ** 2 / 2


def _capture(measured: Measured | SustainedRun) -> tuple[float, float] | None:
    """Give the speed at which the bump of one run catches the wheel."""
    if isinstance(measured, SustainedRun):
        return None
    hill = hill_of(measured)
    return None if hill is None else capture_speed(hill)
