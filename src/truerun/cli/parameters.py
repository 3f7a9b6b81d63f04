"""Kinds of values on the command line, and the options that several commands share.

Texts are read by the functions that read them everywhere; what they refuse is already a sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from truerun.cli.group import did_you_mean
from truerun.errors import ValueOutOfRange

__all__ = [
    "ADJUSTMENTS",
    "DECIMAL",
    "ENDS",
    "FILE",
    "MINUTES",
    "NUMBER",
    "ORDERS",
    "SECONDS",
    "SHARE",
    "SPEED",
    "WHOLE",
    "Word",
    "given_options",
    "json_option",
    "parse_angles",
    "recordings_options",
]

Convert = Callable[[str, str], Any]


class Read(click.ParamType[Any]):
    """A value that a function reads from its text; the function also gets the name of the option."""

    def __init__(self, name: str, convert: Convert) -> None:
        self.name = name
        self._convert = convert

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ARG002
        """Read a text; what is no text was read already."""
        return self._convert(value, _named(param)) if isinstance(value, str) else value


class Word(click.ParamType[Any]):
    """One of a few words; a word that is nearly one of them gets a question."""

    name = "word"

    def __init__(self, words: Sequence[str]) -> None:
        self.words = tuple(words)

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:  # noqa: ARG002
        """Show the words themselves."""
        return "|".join(self.words)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:  # noqa: ARG002
        """Refuse any other word."""
        if value not in self.words:
            allowed = f"one of {', '.join(self.words)}"
            raise ValueOutOfRange(_named(param), f'"{value}"', allowed, did_you_mean(str(value), self.words))
        return str(value)


def _named(param: click.Parameter | None) -> str:
    """Give the name of an option as it was typed."""
    return param.opts[-1] if param is not None else "The answer"


def _share(text: str, name: str) -> float:
    from truerun.units.share import parse_share

    return parse_share(text, name)


def _whole(text: str, name: str) -> int:
    from truerun.units.number import whole_number

    whole = whole_number(text)
    if whole is None:
        raise ValueOutOfRange(name, f'"{text}"', "a whole number of at most 15 digits", "Write it like 16.")
    return whole


def _speed(text: str, name: str) -> float:
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension

    return read_quantity(text, Dimension.SPEED, name=name).value


def _minutes(text: str, name: str) -> float:
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension, parse_unit

    return read_quantity(text, Dimension.TIME, name=name, unit=parse_unit("min")).value / 60


def _seconds(text: str, name: str) -> float:
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension

    return read_quantity(text, Dimension.TIME, name=name).value


def _number(text: str, name: str) -> float:
    from truerun.units.number import parse_number

    try:
        return parse_number(text)
    except ValueOutOfRange:
        raise ValueOutOfRange(name, f'"{text}"', "a number", "Write it like 1.9.") from None


NUMBER = Read("number", _number)
SHARE = Read("share", _share)
WHOLE = Read("whole", _whole)
SPEED = Read("speed", _speed)
MINUTES = Read("minutes", _minutes)
SECONDS = Read("seconds", _seconds)
FILE = click.Path(path_type=Path)

# written out because what defines them imports numpy or pydantic; a test compares
ORDERS = Word(("blocks-of-four", "pairs", "complete", "restricted", "abba-blocks"))
ENDS = Word(("speed", "turns", "standstill"))
ADJUSTMENTS = Word(("run-number", "session", "none"))
DECIMAL = Word((".", ","))


def json_option(function: Callable[..., int]) -> Callable[..., int]:
    """Add the option ``--json``."""
    return click.option("--json", "as_json", is_flag=True, help="Write the result as one JSON object.")(function)


def recordings_options(function: Callable[..., int]) -> Callable[..., int]:
    """Add the options that say how the recordings of a table are read."""
    marks = click.option("--marks", type=WHOLE, metavar="N", help="Marks a turn in the recordings that TABLE names.")
    angles = click.option(
        "--mark-angles",
        metavar="DEGREES",
        help="Where uneven marks sit, from the first one on, in the direction of travel: 0,30,150,180,300.",
    )
    return marks(angles(function))


def given_options(values: dict[str, Any]) -> dict[str, Any]:
    """Keep what was really given."""
    return {name: value for name, value in values.items() if value is not None and value is not False and value != ()}


def parse_angles(text: str) -> tuple[float, ...]:
    """Read where marks sit, in degrees with commas, semicolons or blanks between them; give radians."""
    from math import radians

    from truerun.units.number import parse_number

    parts = text.replace(";", " ").replace(",", " ").split()
    return tuple(radians(parse_number(part, name="--mark-angles")) for part in parts)
