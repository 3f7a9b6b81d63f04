"""Cells of a table to values: times and other observations, unfinished runs, whole numbers, yes and no."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from truerun.errors import ValueOutOfRange
from truerun.recordings.grid import Cell, shown
from truerun.units.number import decimal_sign, nearest_float, parse_written
from truerun.units.quantity import read_quantity
from truerun.units.unit import Dimension, Unit

__all__ = [
    "Observation",
    "parse_number_cell",
    "parse_observation",
    "parse_text",
    "parse_whole_number",
    "parse_yes_no",
    "prove_decimal_sign",
    "written_numbers",
]

UNFINISHED = re.compile(
    r"(?:>=|>|≥|⩾|unfinished\s+(?:after|at)|not\s+finished\s+(?:after|at)|still\s+running\s+(?:after|at)"
    r"|unvollendet\s+nach|läuft\s+noch\s+nach|inachevé\s+après|sin\s+terminar\s+(?:tras|a\s+los))\s*(?P<limit>\S.*)"
    r"|(?P<plus>[^+\s][^+]*?)\s*\+",
    re.IGNORECASE,
)
# "2 min 3.4 s", "2m03s", "1 h 2 min 3 s", 2'03"4 is left to the person.
SPELLED = re.compile(
    r"(?:(?P<h>[0-9]{1,3})\s*h\s*)?(?P<m>[0-9]{1,4})\s*(?:min|m|['′’])\s*"
    r"(?P<s>[0-9]{1,2}(?P<rest>[.,][0-9]+)?)\s*(?:sec|s|\"|″|”)?",
    re.IGNORECASE,
)
NUMERIC = re.compile(r"[-+−]?[0-9][0-9., \u00a0\u2009\u202f]*(?:[eE][-+]?[0-9]{1,3})?|[-+−]?[.,][0-9]+")
THREE_PART_CLOCK = re.compile(r"[0-9]+:[0-9]{2}:(?P<s>[0-9]{2}(?:[.,][0-9]+)?)")
YES = frozenset(["yes", "y", "true", "1", "x", "ja", "j", "oui", "o", "sí", "si", "s", "wahr", "vrai", "verdadero"])
NO = frozenset(["no", "n", "false", "0", "nein", "non", "falsch", "faux", "falso"])


@dataclass(frozen=True, slots=True)
class Observation:
    """What one cell says of a run, in SI units.

    ``step`` is that of the last digit. ``hours`` is true where the cell is a clock time of three parts
    (h:mm:ss), as a spreadsheet makes it also from 2:03 that was meant as minutes. ``bare`` is true for a number
    without any unit of its own.
    """

    value: float
    step: float
    unfinished: bool = False
    hours: bool = False
    bare: bool = False


def parse_observation(cell: Cell, unit: Unit | None, decimal: str, dimension: Dimension | None) -> Observation:
    """Read the observation of a run.

    Parameters
    ----------
    cell : str, float or timedelta
        ``61.2``, ``2:03.4``, ``1:02:03``, ``61.2 s``, ``2 min 3.4 s``; ``> 600`` or ``unfinished after 600`` for a
        run that had not ended.
    unit : Unit or None
        Of the heading; goes for cells without a unit of their own.
    decimal : str
        ``"."`` or ``","``.
    dimension : Dimension or None
        What the column holds; None for plain numbers.

    Returns
    -------
    Observation

    Raises
    ------
    ValueOutOfRange
        If the cell holds something else.

    Examples
    --------
    >>> parse_observation("> 2:03.4", None, ".", Dimension.TIME)
    Observation(value=123.4, step=0.1, unfinished=True, hours=False, bare=False)
    """
    if isinstance(cell, timedelta):
        return _clock_cell(cell)
    text = cell if isinstance(cell, str) else shown(cell)
    sign = decimal if isinstance(cell, str) else "."
    unfinished = UNFINISHED.fullmatch(text)
    if unfinished:
        text = (unfinished["limit"] or unfinished["plus"]).strip()
    if dimension is None:
        written = parse_written(text, sign)
        value, step = nearest_float(written.value, "number"), nearest_float(written.step, "step")
        return Observation(value, step, bool(unfinished), bare=True)
    quantity = read_quantity(_as_clock(text), dimension, unit=unit, decimal=sign)
    hours = THREE_PART_CLOCK.fullmatch(text) is not None
    bare = ":" not in text and NUMERIC.fullmatch(text) is not None
    return Observation(quantity.value, quantity.resolution, bool(unfinished), hours, bare)


def _clock_cell(cell: timedelta) -> Observation:
    """Cell that a spreadsheet or frame keeps as a time."""
    digits = f"{cell.microseconds:06d}".rstrip("0")
    return Observation(cell / timedelta(seconds=1), 10.0 ** -len(digits), hours=True)


def _as_clock(text: str) -> str:
    """Write "2 min 3.4 s" as 2:03.4; any other text stays as it is."""
    found = SPELLED.fullmatch(text)
    if not found:
        return text
    whole = found["s"].replace(found["rest"] or "", "") if found["rest"] else found["s"]
    hours, minutes = (f"{int(found['h'])}:", f"{int(found['m']):02d}") if found["h"] else ("", found["m"])
    return f"{hours}{minutes}:{int(whole):02d}{found['rest'] or ''}"


def written_numbers(cells: Iterable[Cell]) -> list[str]:
    """Texts of a column that can tell which decimal sign was written.

    Parameters
    ----------
    cells : iterable of str, float or timedelta
        The column.

    Returns
    -------
    list of str
        Numbers and clock times, without "unfinished after" and without their units.

    Examples
    --------
    >>> written_numbers(["61,2", "> 2:03,456", "a, b", 7.0])
    ['61,2', '003,456']
    """
    texts = []
    for cell in cells:
        if not isinstance(cell, str):
            continue
        found = UNFINISHED.fullmatch(cell)
        text = (found["limit"] or found["plus"]).strip() if found else cell
        number = text.rstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ%°µΩ/²").rstrip()
        # Seconds behind a colon are below 60: their comma cannot mark thousands, which a leading 0 says.
        front, colon, seconds = number.rpartition(":")
        if colon and NUMERIC.fullmatch(seconds) and front.replace(":", "").isdigit():
            number = f"0{seconds}"
        if NUMERIC.fullmatch(number):
            texts.append(number)
    return texts


def prove_decimal_sign(texts: Sequence[str]) -> str | None:
    """Decimal sign that some numbers prove, None where none of them does.

    Parameters
    ----------
    texts : sequence of str
        As :func:`written_numbers` gives them.

    Returns
    -------
    str or None

    Raises
    ------
    ValueOutOfRange
        If some prove a point and others a comma.

    Examples
    --------
    >>> prove_decimal_sign(["1,234", "61,2"]), prove_decimal_sign(["1,234"]), prove_decimal_sign(["61"])
    (',', None, None)
    """
    proved = [sign for sign, other in ((".", "0,5"), (",", "0.5")) if _contradicts(texts, other)]
    if len(proved) > 1:
        decimal_sign([text for text in texts if _contradicts([text], "0,5") or _contradicts([text], "0.5")])
    return proved[0] if proved else None


def _contradicts(texts: Sequence[str], number: str) -> bool:
    """Whether some text has another decimal sign than a number that is clear."""
    try:
        decimal_sign([number, *texts])
    except ValueOutOfRange:
        return True
    return False


def parse_number_cell(cell: Cell, decimal: str) -> float | str | None:
    """Read a further column: a number where there is one, else the text, None for an empty cell.

    Parameters
    ----------
    cell : str, float or timedelta
        What was written.
    decimal : str
        ``"."`` or ``","``.

    Returns
    -------
    float, str or None
        Numbers stay in the unit of their heading.

    Examples
    --------
    >>> parse_number_cell("21,5", ","), parse_number_cell("draught?", ","), parse_number_cell("", ",")
    (21.5, 'draught?', None)
    """
    if isinstance(cell, float):
        return cell
    text = shown(cell, 100_000) if isinstance(cell, timedelta) else cell
    if not NUMERIC.fullmatch(text):
        return text or None
    try:
        return float(parse_written(text, decimal).value)
    except (ValueOutOfRange, OverflowError):
        return text


def parse_text(cell: Cell) -> str | None:
    """Read a cell as text, None where it is empty; a whole number loses its ".0".

    Examples
    --------
    >>> parse_text(2.0), parse_text("Monday"), parse_text("")
    ('2', 'Monday', None)
    """
    return (cell if isinstance(cell, str) else shown(cell)) or None


def parse_whole_number(cell: Cell) -> int | None:
    """Read a number that counts, such as a run; None where the cell is not one.

    Examples
    --------
    >>> parse_whole_number("7."), parse_whole_number(7.0), parse_whole_number("7b")
    (7, 7, None)
    """
    found = re.fullmatch(r"([0-9]{1,9})(?:\.|[.,]0+)?", shown(cell))
    return int(found[1]) if found else None


def parse_yes_no(cell: Cell) -> bool | None:
    """Read a yes or no in one of four languages; None where the cell is neither.

    Examples
    --------
    >>> parse_yes_no("Ja"), parse_yes_no("no"), parse_yes_no("perhaps")
    (True, False, None)
    """
    word = shown(cell).casefold()
    return word in YES if word in YES | NO else None
