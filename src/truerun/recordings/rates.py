"""Rate of the readings and unit of their values, where lines above the numbers of a recording state them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.recordings.headings import plain_word
from truerun.recordings.signal_headings import signal_unit
from truerun.units.number import parse_number
from truerun.units.unit import Dimension, Unit

__all__ = ["Rate", "find_rate"]

RATE_WORDS = (
    "rate samplerate samplingrate samplefrequency samplingfrequency framerate fps fs abtastrate abtastfrequenz bildrate"
    " frequencedechantillonnage frecuenciademuestreo"
)
STEP_WORDS = (
    "dt timestep sampleinterval samplinginterval sampleperiod samplingperiod abtastintervall schrittweite"
    " increment pasdetemps intervalodemuestreo"
)
RATES, STEPS = frozenset(RATE_WORDS.split()), frozenset(STEP_WORDS.split())
HERTZ = {"": 1.0, "hz": 1.0, "khz": 1e3, "mhz": 1e6, "1s": 1.0, "sas": 1.0, "ss": 1.0, "persecond": 1.0, "fps": 1.0}
NUMBER_AND_UNIT = re.compile(r"(?P<number>[-+]?[0-9][0-9.,]*(?:[eE][-+]?[0-9]+)?)\s*(?P<unit>.*)")


@dataclass(frozen=True, slots=True)
class Rate:
    """Readings at equal steps [s], as stated by ``text``; ``unit`` is one that a word above the numbers names."""

    step: float
    text: str
    unit: Unit | None = None

    @property
    def dimension(self) -> Dimension | None:
        """What the unit measures."""
        return self.unit.dimension if self.unit else None


def find_rate(above: Sequence[Sequence[str]]) -> Rate | None:
    """Find the rate, or the step, that is stated above the numbers.

    Parameters
    ----------
    above : sequence of sequences of str
        Cells of the lines above the numbers and their headings.

    Returns
    -------
    Rate or None

    Examples
    --------
    >>> rate = find_rate([("trigger_start_deg", "sample_rate"), ("90", "1000")])
    >>> rate.step, rate.unit.symbol
    (0.001, '°')
    >>> round(find_rate([("Sample interval", "20", "us")]).step, 9)
    2e-05
    """
    pairs = list(_pairs(above))
    unit = _unit_above(key for key, _ in pairs)
    for key, written in pairs:
        word = plain_word(re.sub(r"[\[(].*", "", key))
        inside = re.search(r"[\[(](.*?)[\])]", key)
        number = NUMBER_AND_UNIT.fullmatch(written)
        if number is None or word not in RATES | STEPS:
            continue
        try:
            size = parse_number(number["number"])
        except (ValueOutOfRange, ChoiceNeeded):
            continue
        behind = (number["unit"] or (inside[1] if inside else "")).strip()
        factor = HERTZ.get(plain_word(behind) if behind else "") if word in RATES else _seconds(behind)
        if factor is not None and size > 0:
            step = 1.0 / (size * factor) if word in RATES else size * factor
            return Rate(step, f"{key}: {written}", unit)
    return None


def _seconds(text: str) -> float | None:
    """Size of a unit of time, seconds where none is named."""
    unit = signal_unit(text, Dimension.TIME) if text else None
    return unit.factor if unit else (None if text else 1.0)


def _pairs(above: Sequence[Sequence[str]]) -> Iterator[tuple[str, str]]:
    """Names with what they are given: in one line, or in a line of names above a line of values."""
    for cells in above:
        filled = [cell for cell in cells if cell]
        if len(filled) in (2, 3):
            yield filled[0], " ".join(filled[1:])
    for names, values in pairwise(above):
        if len(names) == len(values) and len(names) > 1:
            yield from zip(names, values, strict=True)


def _unit_above(keys: Iterator[str]) -> Unit | None:
    """Find the unit of a speed, an angle or a voltage that a name above the numbers holds."""
    for key in keys:
        for part in re.split(r"[\s_\[\]()]+", key):
            unit = signal_unit(part) if len(part) > 1 else None
            if unit and unit.dimension in (Dimension.SPEED, Dimension.ANGLE, Dimension.VOLTAGE):
                return unit
    return None
