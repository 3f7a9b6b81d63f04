"""Kinds of recordings, and which column holds what in one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.recordings.layout import Layout
from truerun.recordings.rates import Rate
from truerun.recordings.signal_headings import SignalHeading, SignalRole, parse_signal_heading
from truerun.units.unit import Dimension

__all__ = ["Assigned", "Kind", "assign_columns", "parse_kind"]


class Kind(Enum):
    """What a recording holds; the value is the word to say it with."""

    PASSES = "passes"
    INTERVALS = "intervals"
    SPEEDS = "speeds"
    ANGLES = "angles"
    POSITIONS = "positions"
    WAVEFORM = "waveform"
    RELEASES = "releases"


R = SignalRole
NEEDED = {
    Kind.PASSES: (R.TIME,),
    Kind.INTERVALS: (R.INTERVAL,),
    Kind.SPEEDS: (R.TIME, R.SPEED),
    Kind.ANGLES: (R.TIME, R.ANGLE),
    Kind.POSITIONS: (R.TIME, R.X, R.Y),
    Kind.WAVEFORM: (R.TIME, R.VOLTAGE),
    Kind.RELEASES: (R.RELEASED, R.TURNED),
}
BESIDE = {
    Kind.PASSES: (R.MARK, R.END, R.COUNT, R.TRIGGER, R.EDGE),
    Kind.INTERVALS: (R.MARK, R.COUNT),
    Kind.SPEEDS: (R.ERROR, R.COUNT),
    Kind.ANGLES: (),
    Kind.POSITIONS: (),
    Kind.WAVEFORM: (R.TRIGGER,),
    Kind.RELEASES: (),
}
RATED = (Kind.ANGLES, Kind.WAVEFORM)  # kinds that need no times where a rate is stated
OBSERVED = (R.SPEED, R.ANGLE, R.VOLTAGE)
BY_UNIT = {Dimension.SPEED: R.SPEED, Dimension.ANGLE: R.ANGLE, Dimension.VOLTAGE: R.VOLTAGE, Dimension.TIME: R.INTERVAL}
SAY_KIND = 'Say with "kind" what it holds'
SAY_COLUMNS = 'Name every column with "columns", with "" for those that do not count.'


@dataclass(frozen=True, slots=True)
class Assigned:
    """Columns of a recording by their roles; ``kind`` is None for one bare column that only its numbers can tell."""

    kind: Kind | None
    headings: tuple[SignalHeading, ...]
    places: Mapping[SignalRole, tuple[int, ...]]

    def place(self, role: SignalRole) -> int | None:
        """Column of a role, None where there is none."""
        found = self.places.get(role, ())
        return found[0] if found else None

    def heading(self, role: SignalRole) -> SignalHeading:
        """Heading of the column of a role that is there."""
        return self.headings[self.places[role][0]]


def parse_kind(word: str | None) -> Kind | None:
    """Kind that a word names.

    Parameters
    ----------
    word : str or None
        One of "passes", "intervals", "speeds", "angles", "positions", "waveform", "releases"; None: to be recognised.

    Returns
    -------
    Kind or None

    Raises
    ------
    ValueOutOfRange
        If it is another word.

    Examples
    --------
    >>> parse_kind("speeds")
    <Kind.SPEEDS: 'speeds'>
    """
    if word is None:
        return None
    try:
        return Kind(word)
    except ValueError:
        allowed = ", ".join(f'"{kind.value}"' for kind in Kind)
        raise ValueOutOfRange("kind", f'"{word}"', f"one of {allowed}", "Leave it out to have it found.") from None


def assign_columns(layout: Layout, kind: Kind | None, columns: Sequence[str] | None, rate: Rate | None) -> Assigned:
    """Tell what each column of a recording holds.

    Parameters
    ----------
    layout : Layout
        The recording.
    kind : Kind or None
        Where the person has said it.
    columns : sequence of str or None
        Headings to use in place of those of the file.
    rate : Rate or None
        Of the readings, where a line above the numbers states it.

    Returns
    -------
    Assigned

    Raises
    ------
    RecordingUnreadable
        If a column that is needed is not there.
    ChoiceNeeded
        If the kind, or the column of a role, cannot be told.

    Examples
    --------
    >>> from truerun.recordings.layout import recognise_layout
    >>> layout = recognise_layout(["t [s];speed [rpm]", "0,0;691", "0,5;638"], "run.csv")
    >>> assign_columns(layout, None, None, None).kind
    <Kind.SPEEDS: 'speeds'>
    """
    headings = _headings(layout, kind, columns, rate)
    if headings is None:
        return Assigned(None, (parse_signal_heading(""),), {R.TIME: (0,)})
    places = _places(layout, headings)
    if kind is None:
        kind = _kind(layout, places, rate)
    if kind is Kind.PASSES and R.TIME not in places and R.INTERVAL in places:
        kind = Kind.INTERVALS
    _require_columns(layout, kind, headings, places, rate)
    return Assigned(kind, headings, _chosen(layout, kind, headings, places))


def _headings(
    layout: Layout, kind: Kind | None, columns: Sequence[str] | None, rate: Rate | None
) -> tuple[SignalHeading, ...] | None:
    """Headings as said, as written or as usual for a kind; None where one bare column must speak for itself."""
    texts = columns if columns is not None else layout.headings
    if texts is not None:
        if len(texts) != layout.width and columns is not None:
            found = f"{len(texts)} names for the {layout.width} columns of {layout.name}"
            raise ValueOutOfRange("columns", found, "one name for each column", SAY_COLUMNS)
        return tuple(parse_signal_heading(text) for text in texts)
    bare = _bare_roles(layout, kind, rate)
    if bare is None and kind is None and layout.width == 1:
        return None
    if bare is None:
        kinds = tuple(one.value for one in Kind) if kind is None else ("time", "mark", "end", "speed", "error")
        what = "what it holds" if kind is None else "a column without a heading"
        remedy = f"{SAY_KIND}. {SAY_COLUMNS}" if kind is None else SAY_COLUMNS
        raise ChoiceNeeded(f"{layout.name}: {what}", kinds, remedy)
    return tuple(SignalHeading("", role) for role in bare)


def _bare_roles(layout: Layout, kind: Kind | None, rate: Rate | None) -> tuple[SignalRole, ...] | None:
    """Roles of columns without headings, where the kind leaves no doubt about them."""
    if layout.width == 1 and layout.clocks and kind in (None, Kind.PASSES):
        return (R.TIME,)
    if kind is None:
        role = BY_UNIT.get(rate.dimension) if rate and rate.dimension and layout.width == 1 else None
        return None if role is None or role is R.INTERVAL else (role,)
    needed = NEEDED[kind]
    if kind in RATED and rate is not None and layout.width == 1:
        return needed[1:]
    if kind is Kind.WAVEFORM and layout.width == len(needed) + 1:
        return (*needed, R.VOLTAGE)
    return needed if layout.width == len(needed) else None


def _places(layout: Layout, headings: Sequence[SignalHeading]) -> dict[SignalRole, tuple[int, ...]]:
    """Columns of each role; a signal that only knows 0 and 1, logged where it changes, is an edge."""
    places: dict[SignalRole, tuple[int, ...]] = {}
    for i, heading in enumerate(headings):
        if heading.role:
            places[heading.role] = (*places.get(heading.role, ()), i)
    volts = places.get(R.VOLTAGE, ())
    if len(volts) == 1 and headings[volts[0]].unit is None and _is_logic(layout, volts[0]):
        places[R.EDGE] = places.pop(R.VOLTAGE)
    return places


def _is_logic(layout: Layout, column: int) -> bool:
    """Whether a column holds nothing but 0 and 1, in turn."""
    cells = [line.cells[column] for line in layout.sample]
    in_turn = all(one != other for one, other in pairwise(cells))
    return set(cells) <= {"0", "1"} and in_turn and len(cells) > 1


def _kind(layout: Layout, places: Mapping[SignalRole, tuple[int, ...]], rate: Rate | None) -> Kind:
    """Kind that the columns leave no doubt about."""
    for kind in (Kind.RELEASES, Kind.SPEEDS, Kind.ANGLES, Kind.POSITIONS, Kind.WAVEFORM):
        needed = NEEDED[kind][1:] if kind in RATED and rate else NEEDED[kind]
        if set(needed) <= set(places):
            others = [role for role in OBSERVED if role in places and role not in needed]
            if others:
                choices = tuple(role.value for role in (*needed[-1:], *others))
                raise ChoiceNeeded(f"{layout.name}: what is observed", choices, f"{SAY_KIND}.")
            return kind
    observed = next((role for role in OBSERVED if role in places), None)
    if observed:
        found = f"there is a column of {observed.value} and none of times, so this is no recording of a run."
        raise layout.unreadable(None, f'{found} Give a file with the times, or name the columns with "columns".')
    if R.TIME in places:
        return Kind.PASSES
    if R.INTERVAL in places:
        return Kind.INTERVALS
    named = ", ".join(f'"{text}"' for text in layout.headings or ())
    choices = tuple(one.value for one in Kind)
    raise ChoiceNeeded(f"{layout.name}: what its columns {named} hold", choices, f"{SAY_KIND}. {SAY_COLUMNS}")


def _require_columns(
    layout: Layout,
    kind: Kind,
    headings: Sequence[SignalHeading],
    places: Mapping[SignalRole, tuple[int, ...]],
    rate: Rate | None,
) -> None:
    """Refuse a kind whose columns are not there."""
    for role in NEEDED[kind]:
        if role not in places and not (role is R.TIME and kind in RATED and rate):
            named = ", ".join(f'"{heading.text}"' for heading in headings)
            found = f"there is no column of {role.value}, which {kind.value} need; the headings are {named}."
            raise layout.unreadable(None, f"{found} {SAY_COLUMNS}")


def _chosen(
    layout: Layout, kind: Kind, headings: Sequence[SignalHeading], places: Mapping[SignalRole, tuple[int, ...]]
) -> dict[SignalRole, tuple[int, ...]]:
    """Columns that the kind uses; ask where two could be meant."""
    chosen = {role: places[role] for role in (*NEEDED[kind], *BESIDE[kind]) if role in places}
    if kind is Kind.WAVEFORM and len(chosen[R.VOLTAGE]) == 2 and R.TRIGGER not in chosen:
        chosen |= {R.VOLTAGE: places[R.VOLTAGE][:1], R.TRIGGER: places[R.VOLTAGE][1:]}
    for role, found in chosen.items():
        several = kind is Kind.PASSES and role is R.TIME
        if len(found) > 1 and not several:
            choices = tuple(headings[i].text or f"column {i + 1}" for i in found)
            raise ChoiceNeeded(f"{layout.name}: the column of {role.value}", choices, SAY_COLUMNS)
    return chosen
