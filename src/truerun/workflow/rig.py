"""The rig as it was weighed and measured, what a launch gives it, and what that says of its inertia."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from uncertainties import UFloat, wrap

from truerun.errors import TruerunError, ValueOutOfRange
from truerun.rig.inertia import disc_inertia, points_inertia
from truerun.rig.launch import (
    GRAVITY,
    GRAVITY_HALF_WIDTH,
    fall_energy,
    fall_speed,
    friction_work,
    inertia_from_fall,
    kinetic_energy,
    launch_speed,
)
from truerun.trial.plan import Plan
from truerun.uncertainty import quantity_source, source
from truerun.units.formats import format_quantity
from truerun.units.quantity import Quantity, Spread, read_quantity
from truerun.units.unit import Dimension, parse_unit

__all__ = [
    "MEASURED",
    "WORDS",
    "LaunchFound",
    "Measure",
    "launch_for",
    "launch_of",
    "launch_words",
    "read_measure",
    "rig_body",
    "rig_rows",
]


@dataclass(frozen=True, slots=True)
class Measure:
    """Something that can be measured on a rig: what it is called, its kind, the unit of a bare number, a hint."""

    key: str
    called: str
    dimension: Dimension
    unit: str
    hint: str = ""


MEASURED: dict[str, tuple[Measure, ...]] = {
    "The wheel": (
        Measure("mass", "The wheel weighs", Dimension.MASS, "kg", "With everything that is screwed to it, or without."),
        Measure("diameter", "Its diameter", Dimension.LENGTH, "mm"),
        Measure("bore", "Hole in the middle", Dimension.LENGTH, "mm", "Its diameter. Empty: a full disc."),
        Measure("inertia", "Moment of inertia", Dimension.INERTIA, "kg m²", "Only if you know it from elsewhere."),
    ),
    "Parts on the wheel that were not weighed with it": (
        Measure("part_count", "How many", Dimension.RATIO, "", "Equal parts, such as magnets, on one circle."),
        Measure("part_mass", "One of them weighs", Dimension.MASS, "g"),
        Measure("part_circle", "Circle through their middles", Dimension.LENGTH, "mm", "Its diameter."),
    ),
    "Launch by a falling weight": (
        Measure("weight", "The weight", Dimension.MASS, "g"),
        Measure("height", "It falls", Dimension.LENGTH, "mm"),
        Measure("drum", "The string runs on", Dimension.LENGTH, "mm", "Diameter of the drum or axle."),
        Measure("fall_time", "The fall takes", Dimension.TIME, "s", "Timed from rest. It gives the inertia."),
    ),
    "Round about": (
        Measure("level", "Axle out of level by", Dimension.RATIO, "mm/m"),
        Measure("gap", "Source to wheel", Dimension.LENGTH, "mm"),
        Measure("pull", "The source pulls the wheel with", Dimension.FORCE, "N", "On a scale, 100 g are 0.98 N."),
        Measure("marks", "Marks for the sensor", Dimension.RATIO, "", "How many pass in one turn."),
    ),
}
"""All that can be measured, under the headings of its page; every one may be left out."""

WORDS: tuple[tuple[str, str, str], ...] = (
    ("bearing", "Bearing", "Kind, size, grease, age."),
    ("sensor", "Sensor", "What times the wheel, and where it sits."),
    ("note", "Anything else", "Guard, bench, steel and phones round about."),
)
"""What is told in words: key, name, hint."""

_MAY_BE_NONE = ("bore", "level", "pull")
_EVERY = {each.key: each for part in MEASURED.values() for each in part}


def read_measure(each: Measure, text: str) -> Quantity:
    """Read one measure as somebody wrote it.

    Raises
    ------
    TruerunError
        If it cannot be understood, or is not above 0 where it must be.

    Examples
    --------
    >>> read_measure(MEASURED["Launch by a falling weight"][0], "400 g ± 1 g").value
    0.4
    """
    found = read_quantity(text, each.dimension, name=each.called, unit=parse_unit(each.unit))
    if found.value < 0 or (found.value == 0 and each.key not in _MAY_BE_NONE):
        raise ValueOutOfRange(each.called, f'"{text}"', "above 0", "Leave it empty if it was not measured.")
    return found


def rig_body(typed: Mapping[str, str]) -> dict[str, Any]:
    """Give a rig as it is written down: as it was typed, and in SI with standard uncertainties.

    Parameters
    ----------
    typed : mapping
        Texts by the keys of :data:`MEASURED` and :data:`WORDS`; empty ones are left out.

    Returns
    -------
    dict
    """
    measured = {key: text for key, text in typed.items() if key in _EVERY and text}
    values = {}
    for key, text in measured.items():
        found = quantity_source(key, read_measure(_EVERY[key], text))
        values[key] = {"value": found.nominal_value, "standard_uncertainty": found.std_dev}
    words = {key: typed[key] for key, _, _ in WORDS if typed.get(key)}
    return words | {"typed": measured, "values": values}


def rig_rows(rig: Mapping[str, Any] | None) -> tuple[tuple[str, str], ...]:
    """Give what was written down of a rig, to be read: what it is called, and as it was typed, with its unit.

    Examples
    --------
    >>> rig_rows(rig_body({"level": "0.3", "sensor": "a light barrier"}))
    (('Round about: axle out of level by', '0.3 mm/m'), ('Sensor', 'a light barrier'))
    """
    told = rig or {}
    typed = told.get("typed", {})
    measured = (
        (f"{part}: {each.called[0].lower()}{each.called[1:]}", _with_unit(each, typed[each.key]))
        for part, every in MEASURED.items()
        for each in every
        if typed.get(each.key)
    )
    words = ((name, str(told[key])) for key, name, _ in WORDS if told.get(key))
    return (*measured, *words)


def _with_unit(each: Measure, text: str) -> str:
    """Add the unit to a bare number."""
    bare = not any(sign.isalpha() or sign == "%" for sign in text)
    return f"{text} {each.unit}" if bare and each.unit else text


@dataclass(frozen=True, slots=True)
class LaunchFound:
    """What a rig says of a launch; None where something for it was not measured.

    ``inertia`` is the one that is reckoned with and ``inertia_from`` says where from; ``by_fall`` and ``by_parts`` are
    those from the fall and from sizes. ``shares`` says where the energy of a launch went, with a sign; ``troubles``
    what does not fit.
    """

    energy: UFloat | None
    inertia: UFloat | None
    inertia_from: str
    by_fall: UFloat | None
    by_parts: UFloat | None
    speed: UFloat | None
    shares: tuple[tuple[str, UFloat], ...]
    rim_speed: UFloat | None
    part_energy: UFloat | None
    part_pull: UFloat | None
    troubles: tuple[str, ...]

    @property
    def agree(self) -> bool | None:
        """Whether the inertias from the fall and from sizes agree within twice their uncertainty."""
        if self.by_fall is None or self.by_parts is None:
            return None
        apart = self.by_fall - self.by_parts
        return bool(abs(apart.nominal_value) <= 2 * apart.std_dev)


def launch_of(rig: Mapping[str, Any] | None, drag: UFloat | None = None) -> LaunchFound:
    """Work out what a launch gives.

    Parameters
    ----------
    rig : mapping or None
        As it was written down.
    drag : UFloat, optional
        What the wheel loses each second at launch speeds, from its recordings [rad/s^2]; None: friction during the
        fall is left out.

    Returns
    -------
    LaunchFound
        First-order uncertainties by the GUM; what two figures share stays shared.
    """
    at = _sources(rig or {})
    troubles: list[str] = []
    gravity = source("gravity", GRAVITY, GRAVITY_HALF_WIDTH / Spread.RECTANGULAR.divisor)
    by_fall = _by_fall(at, drag, gravity, troubles)
    by_parts = _by_parts(at, troubles)
    choices = (
        ("as you gave it", at.get("inertia")),
        ("by the falling weight", by_fall),
        ("from sizes and masses", by_parts),
    )
    words, inertia = next(((words, found) for words, found in choices if found is not None), ("", None))
    energy = None
    if _all(at, "weight", "height"):
        energy = wrap(fall_energy)(at["weight"], at["height"], gravity)
    speed = _speed(at, inertia, drag, gravity, troubles)
    return LaunchFound(
        energy=energy,
        inertia=inertia,
        inertia_from=words,
        by_fall=by_fall,
        by_parts=by_parts,
        speed=speed,
        shares=_shares(at, energy, inertia, speed, drag),
        rim_speed=None if speed is None or "diameter" not in at else speed * at["diameter"] / 2,
        part_energy=_part(at, speed, lambda mass, way, rate: mass * (way * rate) ** 2 / 2),
        part_pull=_part(at, speed, lambda mass, way, rate: mass * rate**2 * way),
        troubles=tuple(troubles),
    )


def launch_words(rig: Mapping[str, Any] | None) -> str:
    """Say what launches the wheel, as whoever hangs the weight reads it; empty where it was not written down.

    Examples
    --------
    >>> launch_words(rig_body({"weight": "0.5 kg ± 1 g", "height": "40 cm"})).replace("\N{NO-BREAK SPACE}", " ")
    '0.5 kg from the 40 cm mark'
    """
    typed = (rig or {}).get("typed", {})
    if not typed.get("weight"):
        return ""
    said = {}
    for key in ("weight", "height"):
        if typed.get(key):
            found = read_measure(_EVERY[key], typed[key])
            said[key] = format_quantity(found.value, found.unit)
    return f"{said['weight']} from the {said['height']} mark" if "height" in said else said["weight"]


def launch_for(plan: Plan, rig: Mapping[str, Any] | None) -> str:
    """Say what launches the wheel: as the plan sealed it, else as the rig was measured; empty where neither says."""
    return plan.launch_setting or launch_words(rig)


def _sources(rig: Mapping[str, Any]) -> dict[str, UFloat]:
    """Give every measure as a number with its own source of uncertainty."""
    typed = rig.get("typed", {})
    return {
        key: quantity_source(_EVERY[key].called, read_measure(_EVERY[key], text))
        for key, text in typed.items()
        if key in _EVERY
    }


def _all(at: Mapping[str, UFloat], *keys: str) -> bool:
    """Tell whether all of these were measured."""
    return all(key in at for key in keys)


def _by_fall(at: Mapping[str, UFloat], drag: UFloat | None, gravity: UFloat, troubles: list[str]) -> UFloat | None:
    """Work the inertia out from the time of the fall."""
    if not _all(at, "weight", "height", "drum", "fall_time"):
        return None

    def inertia(*inputs: float) -> float:
        return inertia_from_fall(*inputs[:4], drag=inputs[4], gravity=inputs[5])

    loss = 0.0 if drag is None else drag
    return _tried(troubles, inertia, at["weight"], at["drum"], at["height"], at["fall_time"], loss, gravity)


def _by_parts(at: Mapping[str, UFloat], troubles: list[str]) -> UFloat | None:
    """Add the inertia up from sizes and masses."""
    disc = None
    if _all(at, "mass", "diameter"):
        disc = _tried(troubles, disc_inertia, at["mass"], at["diameter"], at.get("bore", 0.0))
    if disc is None or not _all(at, "part_count", "part_mass", "part_circle"):
        return disc
    return disc + wrap(points_inertia)(at["part_mass"], at["part_count"].nominal_value, at["part_circle"])


def _tried(troubles: list[str], formula: Any, *inputs: Any) -> UFloat | None:
    """Propagate through a formula; what does not fit is kept as a sentence."""
    try:
        found: UFloat = wrap(formula)(*inputs)
    except TruerunError as error:
        troubles.append(str(error))
        return None
    return found


def _speed(
    at: Mapping[str, UFloat], inertia: UFloat | None, drag: UFloat | None, gravity: UFloat, troubles: list[str]
) -> UFloat | None:
    """Give the speed at launch: from the time of the fall where there is one, else from its energy."""
    if _all(at, "height", "drum", "fall_time"):
        return wrap(fall_speed)(at["height"], at["fall_time"], at["drum"])
    if inertia is None or not _all(at, "weight", "height", "drum"):
        return None

    def speed(*inputs: float) -> float:
        return launch_speed(*inputs[:4], drag=inputs[4], gravity=inputs[5])

    loss = 0.0 if drag is None else drag
    return _tried(troubles, speed, inertia, at["weight"], at["drum"], at["height"], loss, gravity)


def _shares(
    at: Mapping[str, UFloat], energy: UFloat | None, inertia: UFloat | None, speed: UFloat | None, drag: UFloat | None
) -> tuple[tuple[str, UFloat], ...]:
    """Say where the energy of one launch went."""
    if energy is None or inertia is None or speed is None or "drum" not in at:
        return ()
    out = [
        ("Out: the wheel turns", -wrap(kinetic_energy)(inertia, speed)),
        ("Out: the weight still moves as it lands", -wrap(kinetic_energy)(at["weight"], speed * at["drum"] / 2)),
    ]
    if drag is not None:
        work = wrap(friction_work)(inertia, at["drum"], at["height"], drag)
        out.append(("Out: friction during the fall", -work))
    left = energy
    for _, part in out:
        left = left + part
    return (("In: the weight falls", energy), *out, ("Left over", left))


def _part(at: Mapping[str, UFloat], speed: UFloat | None, formula: Any) -> UFloat | None:
    """Work out what one part on the rim would carry, or how hard it pulls."""
    if speed is None or not _all(at, "part_mass", "part_circle"):
        return None
    found: UFloat = formula(at["part_mass"], at["part_circle"] / 2, speed)
    return found
