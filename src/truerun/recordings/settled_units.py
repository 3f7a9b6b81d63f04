"""Units of the columns of a recording: as said, as headed, or as only one unit fits; else a question."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.recordings.signal_headings import SignalHeading, signal_unit
from truerun.units.unit import Dimension, Unit, parse_unit

__all__ = ["SHORTEST", "said_units", "settle_time_unit", "settle_unit"]

SHORTEST, LONGEST = 0.2, 1e5  # s; no rundown that a person starts is shorter, and no free one lasts over a day
CLOCK_UNITS = ("s", "ms", "µs")
CHOICES = {
    Dimension.SPEED: ("r/min", "rad/s", "turns/s", "°/s"),
    Dimension.ANGLE: ("°", "rad", "turns"),
    Dimension.TIME: CLOCK_UNITS,
}
WORDS = {Dimension.SPEED: "speeds", Dimension.ANGLE: "angles", Dimension.TIME: "times", Dimension.VOLTAGE: "voltages"}
REMEDY = 'Say it with "unit", or write it into the heading.'


def said_units(text: str | None) -> dict[Dimension, Unit]:
    """Units that the person has stated, by what they measure.

    Parameters
    ----------
    text : str or None
        One unit, or several with commas between: ``"ms"`` or ``"s, r/min"``.

    Returns
    -------
    dict of Dimension to Unit

    Raises
    ------
    ValueOutOfRange
        If one is no unit of a recording.

    Examples
    --------
    >>> {dimension.value: unit.symbol for dimension, unit in said_units("ms, rpm").items()}
    {'time': 'ms', 'speed of rotation': 'r/min'}
    """
    units = {}
    for part in re.split(r"[,;]", text or ""):
        unit = signal_unit(part) if part.strip() else None
        if unit is not None:
            units[unit.dimension] = unit
        elif part.strip():
            allowed = "a unit of time, speed, angle, length or voltage, or several with commas between"
            raise ValueOutOfRange("unit", f'"{part.strip()}"', allowed, "For example ms, r/min, rad/s, °.")
    return units


def settle_unit(
    name: str, heading: SignalHeading, dimension: Dimension, said: Mapping[Dimension, Unit], above: Unit | None = None
) -> Unit:
    """Settle the unit of the speeds, angles or voltages of a recording.

    Parameters
    ----------
    name : str
        Of the file, for the question.
    heading : SignalHeading
        Of the column.
    dimension : Dimension
        What it measures.
    said : mapping of Dimension to Unit
        What the person has stated.
    above : Unit, optional
        Unit that stands above the numbers.

    Returns
    -------
    Unit

    Raises
    ------
    ChoiceNeeded
        If nothing names it.

    Examples
    --------
    >>> from truerun.recordings.signal_headings import parse_signal_heading
    >>> settle_unit("run.csv", parse_signal_heading("speed [rpm]"), Dimension.SPEED, {}).symbol
    'r/min'
    """
    if dimension in said:
        return said[dimension]
    if heading.unit is not None and heading.unit.dimension is dimension:
        return heading.unit
    if above is not None and above.dimension is dimension:
        return above
    choices = ("turns/s", "rad/s") if heading.per_second else CHOICES[dimension]
    raise ChoiceNeeded(f"{name}: the unit of the {WORDS[dimension]}", choices, REMEDY)


def settle_time_unit(
    name: str, heading: SignalHeading, times: NDArray[np.float64], said: Mapping[Dimension, Unit]
) -> tuple[Unit, str | None]:
    """Settle the unit of the times of a recording.

    Parameters
    ----------
    name : str
        Of the file, for the question.
    heading : SignalHeading
        Of the column.
    times : array, shape (n,)
        As written.
    said : mapping of Dimension to Unit
        What the person has stated.

    Returns
    -------
    tuple
        The unit, and a sentence where it was told from how long the recording lasts.

    Raises
    ------
    ChoiceNeeded
        If nothing names it and several units fit.

    Examples
    --------
    >>> bare = SignalHeading("time")
    >>> settle_time_unit("run.csv", bare, np.array([0.0, 60.0]), {})[0].symbol
    's'
    >>> settle_time_unit("run.csv", bare, np.array([0.12, 300.0]), {})
    Traceback (most recent call last):
    ...
    truerun.errors.ChoiceNeeded: run.csv: the unit of the times could be "s" or "ms".
    Say it with "unit", or write it into the heading.
    """
    if Dimension.TIME in said:
        return said[Dimension.TIME], None
    if heading.unit is not None and heading.unit.dimension is Dimension.TIME:
        return heading.unit, None
    span = float(np.nanmax(times) - np.nanmin(times))
    fitting = [symbol for symbol in CLOCK_UNITS if SHORTEST <= span * parse_unit(symbol).factor <= LONGEST]
    if len(fitting) != 1:
        raise ChoiceNeeded(f"{name}: the unit of the times", tuple(fitting) or CLOCK_UNITS, REMEDY)
    unit = parse_unit(fitting[0])
    lasts = f"{span * unit.factor:.4g} s"
    sentence = f"No heading names the unit of the times. Only {unit.symbol} makes this a run: it lasts {lasts}."
    return unit, sentence
