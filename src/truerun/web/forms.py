"""Reading a form: every field is read, every trouble is kept with its field, and what was typed stays."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from truerun.errors import TruerunError, ValueOutOfRange
from truerun.units.quantity import read_quantity
from truerun.units.share import parse_share
from truerun.units.unit import Dimension, parse_unit
from truerun.workflow.bench import LARGEST_CLAIM, LONGEST_RUN

__all__ = ["Form"]

Read = TypeVar("Read")

_COLDEST, _HOTTEST = 60, 200  # °C of frost and of heat; beyond them it is a slip of the keys


@dataclass(frozen=True, slots=True)
class Form:
    """What was typed, and what is to be put right, by the name of the field.

    Examples
    --------
    >>> form = Form({"claimed": "a lot", "name": "the arc"})
    >>> form.share("claimed", "The size"), form.needed("name", "The name"), list(form.troubles)
    (None, 'the arc', ['claimed'])
    """

    values: Mapping[str, str]
    troubles: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> str:
        """Give what was typed, or nothing."""
        return self.values.get(name, "")

    def needed(self, name: str, called: str, remedy: str = "Write a few words.") -> str:
        """Read a text that must not be empty."""
        if not self[name]:
            self.troubles[name] = f"{called} is empty. {remedy}"
        return self[name]

    def said(self, name: str) -> str | None:
        """Read a text that may be empty."""
        return self[name] or None

    def one_of(self, name: str, called: str, allowed: Iterable[str]) -> str:
        """Read a choice."""
        if self[name] not in allowed:
            self.troubles[name] = f"{called}: choose one."
        return self[name]

    def share(self, name: str, called: str, *, percent: bool = True) -> float | None:
        """Read a share; a number alone is in percent where the field says so."""

        def read(text: str) -> float:
            if not percent or "%" in text:
                return parse_share(text, called)
            try:
                return parse_share(f"{text} %", called)
            except ValueOutOfRange as why:
                raise ValueOutOfRange(called, f'"{text}"', "a number in percent", "For 5 of 100 write 5.") from why

        return self._read(name, read)

    def size(self, name: str, called: str) -> float | None:
        """Read the size of a claim, in percent."""
        share = self.share(name, called)
        if share is not None and abs(share) > LARGEST_CLAIM:
            allowed = f"{100 * LARGEST_CLAIM:g} at most"
            self.troubles[name] = str(ValueOutOfRange(called, self[name], allowed, "100 would run by itself."))
        return share

    def above_zero(self, name: str, called: str) -> float | None:
        """Read a share that must be above 0, in percent."""
        share = self.share(name, called)
        if share is not None and share <= 0:
            self.troubles[name] = f"{called} must be above 0. Leave it empty if you have none."
        return share

    def minutes(self, name: str, called: str) -> float | None:
        """Read a length of time; a number alone is in minutes."""

        def read(text: str) -> float:
            minutes = read_quantity(text, Dimension.TIME, name=called, unit=parse_unit("min")).value / 60
            if minutes < 0:
                raise ValueOutOfRange(called, f"{text} min", "0 min or more")
            return minutes

        return self._read(name, read)

    def seconds(self, name: str, called: str) -> float | None:
        """Read a length of time; a number alone is in seconds."""

        def read(text: str) -> float:
            try:
                seconds = read_quantity(text, Dimension.TIME, name=called, unit=parse_unit("s")).value
            except ValueOutOfRange as why:
                raise ValueOutOfRange(called, f'"{text}"', "a time in seconds, such as 61.2 or 2:03.4") from why
            if seconds > LONGEST_RUN:
                raise ValueOutOfRange(called, f"{text} s", "30 days at most", "Look for a slip of the keys.")
            return seconds

        return self._read(name, read)

    def celsius(self, name: str, called: str) -> float | None:
        """Read a temperature in degrees Celsius, as a bench can have it."""
        degrees = self.number(name, called)
        if degrees is not None and not -_COLDEST <= degrees <= _HOTTEST:
            allowed = f"from −{_COLDEST} to {_HOTTEST} °C"
            self.troubles[name] = str(
                ValueOutOfRange(called, f"{degrees:g} °C", allowed, "Look for a slip of the keys.")
            )
        return degrees

    def number(self, name: str, called: str) -> float | None:
        """Read a number without a unit; a degree sign behind it is let go."""

        def read(text: str) -> float:
            return read_quantity(text.rstrip("C °"), Dimension.RATIO, name=called, unit=parse_unit("1")).value

        return self._read(name, read)

    def _read(self, name: str, read: Callable[[str], Read]) -> Read | None:
        """Read a field unless it is empty; what cannot be read is kept as trouble."""
        if not self[name]:
            return None
        try:
            return read(self[name])
        except TruerunError as error:
            self.troubles[name] = str(error)
            return None
