"""Headings of recordings: what a column of numbers holds, in what unit, and with what stated error."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

from truerun.errors import ValueOutOfRange
from truerun.recordings.headings import UNIT_WORDS, plain_word
from truerun.units.number import parse_number
from truerun.units.unit import Dimension, Unit, parse_unit

__all__ = ["SignalHeading", "SignalRole", "parse_signal_heading", "signal_unit", "words_of"]


class SignalRole(Enum):
    """What a column of a recording holds; the value is the word used in messages and in ``columns``."""

    TIME = "time"
    END = "end"
    INTERVAL = "interval"
    MARK = "mark"
    COUNT = "count"
    TRIGGER = "trigger"
    EDGE = "edge"
    SPEED = "speed"
    ERROR = "error"
    ANGLE = "angle"
    X = "x"
    Y = "y"
    VOLTAGE = "voltage"
    RELEASED = "let go"
    TURNED = "turned back"


_R = SignalRole
# English, German, French, Spanish, as `plain_word` gives them. The first role with a word of the heading wins.
WORDS = {
    _R.RELEASED: "letgo let losgelassen lache soltado",
    _R.TURNED: "turned turnedback umkehr umkehrpunkt retour regreso",
    _R.ERROR: "error err fehler erreur uncertainty unsicherheit incertitude incertidumbre sigma abweichung",
    _R.INTERVAL: "interval intervals intervall intervalle intervalo period periode periodo dt deltat δt abstand",
    _R.TRIGGER: "trigger triggers index once onceaturn zero nullmarke ausloser declencheur disparo",
    _R.END: "end ends leave leaves left leaving off fall falling release ende austritt sortie salida",
    _R.EDGE: "edge level state flanke pegel zustand front niveau etat flanco nivel estado",
    _R.MARK: "mark marks magnet marke marken marque marca",
    _R.COUNT: "count counts counter turn turns revolutions zahler zaehler umdrehungen compteur tours contador vueltas",
    _R.SPEED: "speed velocity omega ω w rpm drehzahl geschwindigkeit winkelgeschwindigkeit vitesse velocidad gyro",
    _R.ANGLE: "angle theta θ phi φ winkel angulo drehwinkel",
    _R.VOLTAGE: "volt volts voltage v u ch channel kanal spannung tension voltaje canal signal",
    _R.X: "x",
    _R.Y: "y",
    _R.TIME: "time times t zeit zeiten temps tiempo seconds second pass passes"
    " enter on rise rising eintritt entree entrada",
}
DIMENSIONS = {
    _R.TIME: Dimension.TIME,
    _R.END: Dimension.TIME,
    _R.INTERVAL: Dimension.TIME,
    _R.SPEED: Dimension.SPEED,
    _R.ANGLE: Dimension.ANGLE,
    _R.VOLTAGE: Dimension.VOLTAGE,
    _R.RELEASED: Dimension.ANGLE,
    _R.TURNED: Dimension.ANGLE,
    _R.X: Dimension.LENGTH,
    _R.Y: Dimension.LENGTH,
}
COUNTING = (_R.MARK, _R.COUNT, _R.EDGE)  # numbers without a unit; with one of time they are times of a mark
BY_DIMENSION = {
    Dimension.TIME: _R.TIME,
    Dimension.SPEED: _R.SPEED,
    Dimension.ANGLE: _R.ANGLE,
    Dimension.VOLTAGE: _R.VOLTAGE,
}
PER_SECOND = frozenset(["1/s", "s-1", "hz", "/s"])  # a count a second, or an angle a second: the heading must tell
TURNING = {"n", "rev", "revs", "revolutions", "drehzahl", "drehfrequenz", "rotationalfrequency", "turns", "rotations"}
ANGULAR = {"omega", "ω", "w", "angularvelocity", "angularspeed", "winkelgeschwindigkeit", "vitesseangulaire"}

BRACKETS = re.compile(r"\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\)")
STATED = re.compile(
    r"(?:(?:fehler|error|err|erreur|uncertainty|unsicherheit|incertidumbre)\s*[:=]?\s*(?:\+/-|±)?|(?:\+/-|±))\s*"
    r"(?P<size>[0-9]+(?:[.,][0-9]+)?)",
    re.IGNORECASE,
)
JOINED = (
    re.compile(r"(?P<name>.*\S)\s+in\s+(?P<unit>\S.*)"),
    re.compile(r"(?P<name>.*[^\s_])[\s_]+(?P<unit>[^\s_/]+[/_][^\s_/]+)"),
    re.compile(r"(?P<name>.*[^/,\s])\s*[/,]\s*(?P<unit>\S.*)"),
    re.compile(r"(?P<name>.*[^\s_])[\s_]+(?P<unit>[^\s_]+)"),
)
OBSERVED = (*BY_DIMENSION, Dimension.LENGTH)


@dataclass(frozen=True, slots=True)
class SignalHeading:
    """One heading: ``text`` as typed, its role and unit where it names them, and the error that it states.

    ``per_second`` is true where the unit is a bare 1/s and the words do not tell turns from radians.
    """

    text: str
    role: SignalRole | None = None
    unit: Unit | None = None
    error: float | None = None
    per_second: bool = False


def words_of(text: str) -> set[str]:
    """Words of a heading in their plain form, without digits at their ends, and all of them together.

    Examples
    --------
    >>> sorted(words_of("angular_velocity 2"))
    ['angular', 'angularvelocity', 'velocity']
    """
    parts = [plain_word(part) for part in re.split(r"[\W_]+", text) if part]
    parts = [stripped for part in parts if (stripped := part.rstrip("0123456789"))]
    return {*parts, "".join(parts)} - {""}


def signal_unit(text: str, dimension: Dimension | None = None) -> Unit | None:
    """Find the unit of a recording that a text names, None where it names none.

    Parameters
    ----------
    text : str
        Such as ``ms``, ``Sekunden`` or ``rad_s``.
    dimension : Dimension, optional
        What it must measure.

    Returns
    -------
    Unit or None

    Examples
    --------
    >>> signal_unit("Sekunden").symbol, signal_unit("rad_s").symbol, signal_unit("Volt").symbol
    ('s', 'rad/s', 'V')
    """
    word = UNIT_WORDS.get(plain_word(text), text.strip().replace("_", "/"))
    for spelling in (word, word.casefold()):
        try:
            unit = parse_unit(spelling, dimension)
        except ValueOutOfRange:
            continue
        return unit if unit.dimension is not Dimension.RATIO else None
    return {"volt": parse_unit("V"), "volts": parse_unit("V")}.get(word.casefold())


def parse_signal_heading(text: str) -> SignalHeading:
    """Role, unit and stated error of a column.

    Parameters
    ----------
    text : str
        The heading, such as ``time [ms]``, ``w[rpm] fehler: +/-2``, ``t_s``, ``CH1`` or ``rpm``.

    Returns
    -------
    SignalHeading

    Examples
    --------
    >>> heading = parse_signal_heading("w[rpm] fehler: +/-2")
    >>> heading.role, heading.unit.symbol, heading.error
    (<SignalRole.SPEED: 'speed'>, 'r/min', 2.0)
    >>> parse_signal_heading("tare_torque").role
    """
    text = " ".join(text.split())
    stated = STATED.search(text)
    rest = text.replace(stated[0], " ").strip() if stated else text
    error = parse_number(stated["size"].replace(",", ".")) if stated else None
    name, unit, written = _parted(rest)
    words = words_of(name)
    role = _role(words, unit)
    if written.casefold() in PER_SECOND:
        return _per_second(text, words, role, error)
    return SignalHeading(text, role, unit, error)


def _parted(text: str) -> tuple[str, Unit | None, str]:
    """Name, unit and the text of the unit, which may stand in brackets, behind a sign, or alone."""
    bracketed = BRACKETS.search(text)
    if bracketed:
        inside = bracketed["square"] if bracketed["square"] is not None else bracketed["round"]
        return text.replace(bracketed[0], " ").strip(), signal_unit(inside), inside.strip()
    if (unit := signal_unit(text)) and unit.dimension in BY_DIMENSION and text not in {"h", "turn", "turns"}:
        return "", unit, text
    for pattern in JOINED:
        found = pattern.fullmatch(text)
        unit = signal_unit(found["unit"]) if found else None
        if found and (found["unit"].casefold() in PER_SECOND or (unit and unit.dimension in OBSERVED)):
            return found["name"], unit, found["unit"].strip()
    return text, None, ""


def _role(words: set[str], unit: Unit | None) -> SignalRole | None:
    """Role by the words of a name as far as its unit fits, else by the unit."""
    for role, named in WORDS.items():
        if words & set(named.split()):
            fits = unit is None or DIMENSIONS.get(role) in (None, unit.dimension)
            timed = role in COUNTING and unit is not None and unit.dimension is Dimension.TIME
            if fits and not timed:
                return role
    return BY_DIMENSION.get(unit.dimension) if unit else None


def _per_second(text: str, words: set[str], role: SignalRole | None, error: float | None) -> SignalHeading:
    """Heading in 1/s: turns or radians a second, as its words say."""
    if words & TURNING:
        return SignalHeading(text, SignalRole.SPEED, parse_unit("turns/s"), error)
    if words & ANGULAR:
        return SignalHeading(text, SignalRole.SPEED, parse_unit("rad/s"), error)
    return SignalHeading(text, role or SignalRole.SPEED, None, error, per_second=True)
