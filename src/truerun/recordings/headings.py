"""Headings of tables: which column is which, and in what unit."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import Enum

from truerun.errors import ValueOutOfRange
from truerun.units.unit import Dimension, Unit, parse_unit

__all__ = ["Heading", "Role", "column_name", "parse_column_heading", "plain_word"]


class Role(Enum):
    """What a column says about a run."""

    RUN = "run"
    CONDITION = "condition"
    TIME = "time"
    ATTEMPT = "attempt"
    LEFT_OUT = "left_out"
    SEEN = "seen"
    UNFINISHED = "unfinished"
    SESSION = "session"
    KEEPER = "keeper"
    RECORDING = "recording"
    MARKS = "marks"
    STARTED = "started"


# English, German, French, Spanish, as `plain_word` gives them: no case, accents, blanks or signs.
WORDS = {
    Role.RUN: "run runno runnr runnumber slot no nr # lauf laufnr laufnummer essai essaino ensayo",
    Role.CONDITION: "condition bedingung zustand condicion",
    Role.TIME: "time runtime rundowntime duration t zeit laufzeit auslaufzeit dauer temps duree tiempo duracion",
    Role.ATTEMPT: "attempt try versuch anlauf tentative intento",
    Role.LEFT_OUT: "leftout excluded ausgelassen weggelassen ecarte omitido",
    Role.SEEN: "seen timeseen gesehen vu visto",
    Role.UNFINISHED: "unfinished stillgoing nichtbeendet inacheve inacabado",
    Role.SESSION: "session sitzung seance sesion",
    Role.KEEPER: "keeper timekeeper zeitnehmer chronometreur cronometrador",
    Role.RECORDING: "recording aufnahme aufzeichnung enregistrement grabacion",
    Role.MARKS: "marks marken marques marcas",
    Role.STARTED: "started starttime timestamp timeofday date datum uhrzeit heure horodatage fecha hora",
}
ROLES = {word: role for role, words in WORDS.items() for word in words.split()}

# Words for the units of time that stand in headings of other languages.
UNIT_WORDS = dict.fromkeys(["sek", "sekunde", "sekunden", "seconde", "secondes", "seg", "segundo", "segundos"], "s") | {
    "minuten": "min",
    "minutos": "min",
    "stunden": "h",
}

BRACKETED = re.compile(r"(?P<name>.*\S)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\))")
JOINED = re.compile(r"(?P<name>[^/,]*[^/,\s])\s*(?:/|,|\sin\s)\s*(?P<unit>\S.*)")
TIME_JOINED = re.compile(r"(?P<name>.*[^\s_])[\s_]+(?P<unit>[^\s_]+)")
CLOCK = re.compile(r"[hms]{1,2}(:[hms]{1,2})+([.,]\w+)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Heading:
    """One heading.

    ``text`` is as typed, ``name`` without the unit. ``unit`` is None where none is named; ``clock`` is true for
    a heading such as ``time [m:ss]``. ``odd`` is what stands in square brackets and is no unit that fits.
    """

    text: str
    name: str
    role: Role | None
    unit: Unit | None = None
    clock: bool = False
    odd: str | None = None


def plain_word(text: str) -> str:
    """Letters and digits of a heading, without case and accents.

    Parameters
    ----------
    text : str
        Part of a heading.

    Returns
    -------
    str

    Examples
    --------
    >>> plain_word("Left_out "), plain_word("Durée"), plain_word("#")
    ('leftout', 'duree', '#')
    """
    letters = (letter for letter in unicodedata.normalize("NFKD", text.casefold()) if letter.isalnum())
    return "".join(letters) or text.strip()


def column_name(text: str) -> str:
    """Give a name that a further column of a sheet can be headed with and is found by again.

    Parameters
    ----------
    text : str
        As somebody wrote it.

    Returns
    -------
    str

    Raises
    ------
    ValueOutOfRange
        If the reader of tables would take it for something else.

    Examples
    --------
    >>> column_name("temperature in \N{DEGREE SIGN}C")
    'temperature \N{DEGREE SIGN}C'
    """
    plain = " ".join(text.split())
    for tried in (plain, plain.replace(" in ", " ")):
        heading = parse_column_heading(tried) if tried else None
        if heading is not None and (heading.name, heading.role, heading.unit) == (tried, None, None):
            return tried
    remedy = "Write it plainly, such as temperature \N{DEGREE SIGN}C or launch speed rpm."
    raise ValueOutOfRange("What is measured before a launch", f'"{text}"', "the heading of a column of its own", remedy)


def parse_column_heading(text: str) -> Heading:
    """Name, role and unit of a column.

    Parameters
    ----------
    text : str
        The heading, such as ``time [s]``, ``Zeit (s)``, ``time/ms``, ``t in min`` or ``time``.

    Returns
    -------
    Heading

    Examples
    --------
    >>> heading = parse_column_heading("Zeit (ms)")
    >>> heading.name, heading.role, heading.unit.symbol
    ('Zeit', <Role.TIME: 'time'>, 'ms')
    >>> parse_column_heading("temperature of the bearing").role
    """
    text = " ".join(text.split())
    bracketed = BRACKETED.fullmatch(text)
    if bracketed:
        inside = bracketed["square"] if bracketed["square"] is not None else bracketed["round"]
        return _in_two_parts(text, bracketed["name"], inside.strip())
    role = ROLES.get(plain_word(text))
    if role:
        return Heading(text, text, role)
    joined = JOINED.fullmatch(text)
    if joined and _unit(joined["unit"]):
        return _in_two_parts(text, joined["name"], joined["unit"])
    joined = TIME_JOINED.fullmatch(text)
    if joined and ROLES.get(plain_word(joined["name"])) is Role.TIME and _unit(joined["unit"], Dimension.TIME):
        return _in_two_parts(text, joined["name"], joined["unit"])
    return Heading(text, text, None)


def _unit(text: str, dimension: Dimension | None = None) -> Unit | None:
    """Find the unit of that name, None if there is none; for units of time the case does not matter."""
    word = UNIT_WORDS.get(plain_word(text), text.casefold() if dimension is Dimension.TIME else text)
    try:
        return parse_unit(word, dimension)
    except ValueOutOfRange:
        return None


def _in_two_parts(text: str, name: str, behind: str) -> Heading:
    """Heading of a name and, behind it, a unit, a pattern such as m:ss, or a remark."""
    role = ROLES.get(plain_word(name))
    if CLOCK.fullmatch(behind):
        return Heading(text, name, role, clock=True)
    unit = _unit(behind, Dimension.TIME if role is Role.TIME else None)
    if unit is None:
        return Heading(text, text, role, odd=behind if text.endswith("]") else None)
    return Heading(text, name, role, unit)
