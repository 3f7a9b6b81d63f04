"""Recordings as sensors, loggers and people write them: one file becomes one series, with all that was recognised."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from itertools import chain

from truerun.errors import RecordingUnreadable
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.recordings.grid import Grid, shown
from truerun.recordings.layout import Layout, recognise_layout
from truerun.recordings.line_blocks import ByteStream, RawBytes, encoding_of, line_blocks, opened
from truerun.recordings.number_columns import Block, Wanted, gathered, read_number_blocks
from truerun.recordings.pass_series import bare_kind, passes_from_intervals, passes_from_times
from truerun.recordings.rates import find_rate
from truerun.recordings.settled_units import said_units
from truerun.recordings.signal_columns import Assigned, Kind, assign_columns, parse_kind
from truerun.recordings.signal_headings import SignalHeading, SignalRole
from truerun.recordings.signals import Signals
from truerun.recordings.spreadsheets import looks_like_spreadsheet, read_spreadsheet
from truerun.recordings.text_tables import decode_text
from truerun.recordings.track_series import angle_track, position_track, releases, speed_table
from truerun.recordings.waveforms import passes_from_waveform
from truerun.series import Recording, Series

__all__ = ["read_recording"]

R = SignalRole
LOOKED_AT = 1000  # lines from which the layout is told; a logger writes far fewer above its numbers
MAY_BE_EMPTY = (R.MARK, R.COUNT, R.TRIGGER, R.END)
SIGNS = {"\t": "a tab", ";": "a semicolon", ",": "a comma", None: "blanks"}
MAKERS: dict[Kind, Callable[[Signals], Series]] = {
    Kind.PASSES: passes_from_times,
    Kind.INTERVALS: passes_from_intervals,
    Kind.SPEEDS: speed_table,
    Kind.ANGLES: angle_track,
    Kind.POSITIONS: position_track,
    Kind.RELEASES: releases,
}


def read_recording(
    source: str | os.PathLike[str] | ByteStream,
    *,
    kind: str | None = None,
    unit: str | None = None,
    decimal: str | None = None,
    columns: Sequence[str] | None = None,
) -> Recording:
    r"""Read one recording of a wheel.

    Parameters
    ----------
    source : path or stream of bytes
        Text (comma, semicolon, tab or blanks between cells; decimal point or comma; UTF-8, UTF-16 or Western
        European), .xlsx, .ods or .xls. Lines above the numbers are skipped, apart from headings, units and a rate.
    kind : str, optional
        "passes" (times at which marks passed), "intervals" (times between them), "speeds", "angles", "positions"
        (x and y of a point), "waveform" (voltages of a sensor) or "releases" (angles at which a wheel was let go from
        rest and turned back); found from the headings where they are clear.
    unit : str, optional
        Unit of the numbers, or several with commas between ("s, r/min"); goes before those in the headings.
    decimal : str, optional
        ``"."`` or ``","``; found from the numbers where they are clear.
    columns : sequence of str, optional
        Headings to use in place of those in the file, one for each column, "" for those that do not count. Their
        words: time, end, interval, mark, count, trigger, edge, speed, error, angle, x, y, voltage, let go,
        turned back.

    Returns
    -------
    Recording
        Passes, a speed table, an angle track, a track of positions or releases, in SI units. Nothing is
        repaired: the times are those of the file, in its order.

    Raises
    ------
    RecordingUnreadable
        With the file, the line, what was found there and what to do.
    ChoiceNeeded
        If the file could be read in two ways; the sentence tells how to say which one is meant.
    ValueOutOfRange
        If an argument is none of the words allowed.

    References
    ----------
    RFC 4180 (comma-separated values): quotes, doubled quotes and CRLF as there.

    Examples
    --------
    >>> from io import BytesIO
    >>> recording = read_recording(BytesIO(b"time [ms];mark\n0,5;1\n250,5;2\n"))
    >>> recording.series.times, recording.series.mark
    (array([0.0005, 0.2505]), array([1, 2]))
    >>> read_recording(BytesIO(b"5.25\n5.75\n6.5\n"))
    Traceback (most recent call last):
    ...
    truerun.errors.ChoiceNeeded: the recording: its one column of numbers could be "passes" or "intervals".
    Say with "kind" what it holds.
    """
    wanted_kind, units = parse_kind(kind), said_units(unit)
    with opened(source) as raw:
        blocks, layout, findings = _laid_out(raw, decimal)
        rate = find_rate(layout.above)
        assigned = assign_columns(layout, wanted_kind, columns, rate)
        wanted = _wanted(assigned)
        signals = Signals(layout, assigned, {}, units, rate, [_said_layout(layout)])
        ends: list[Block] = []
        numbers = _remember_last(read_number_blocks(blocks, layout, wanted), ends)
        if assigned.kind is Kind.WAVEFORM:
            series: Series = passes_from_waveform(signals, numbers, wanted)
        else:
            series = _made(signals, numbers, wanted)
        for _ in raw.blocks():  # whatever is left counts for the digest
            pass
    return Recording(
        series,
        os.fspath(source) if isinstance(source, str | os.PathLike) else None,
        raw.digest.hexdigest(),
        tuple(signals.said),
        (*findings, *_check_end(layout, ends)),
    )


def _laid_out(raw: RawBytes, decimal: str | None) -> tuple[Iterator[bytes], Layout, tuple[Finding, ...]]:
    """Blocks of lines of a source, its layout, and doubts about its encoding."""
    stream = raw.blocks()
    head = next(stream, b"")
    if not head:
        raise RecordingUnreadable(raw.name, "", "the file is empty. Record once more, or give another file.")
    if looks_like_spreadsheet(head):
        lines = _lines_of_sheet(read_spreadsheet(b"".join((head, *stream)), raw.name), raw.name)
        layout = recognise_layout(lines, raw.name, place="row", decimal=decimal)
        return iter(["\n".join(lines).encode()]), layout, ()
    mark, encoding = encoding_of(head)
    first = next(line_blocks(iter([head.removeprefix(mark)]), encoding or "cp1252"), b"")
    complete = len(head) == len(first) or b"\n" not in first
    text, _ = decode_text(first.rstrip(b"\x00"), raw.name, "utf-8")  # a file that was cut off may be padded
    lines = text.removesuffix("\n").split("\n")
    whole = complete and len(lines) <= LOOKED_AT
    layout = recognise_layout(lines[:LOOKED_AT], raw.name, decimal=decimal, complete=whole)
    findings = () if encoding else (finding("encoding-guessed", path=raw.name),)
    rest = chain([head.removeprefix(mark)], stream)
    return line_blocks(rest, encoding or "cp1252"), layout, findings


def _lines_of_sheet(sheets: dict[str, Grid], name: str) -> list[str]:
    """Rows of the only sheet as lines, each at its own number."""
    if len(sheets) != 1:
        listed = ", ".join(f'"{sheet}"' for sheet in sheets) or "none"
        found = f"sheets that hold anything: {listed}; a recording has one."
        raise RecordingUnreadable(name, "", f"{found} Save the sheet that you mean as CSV.")
    lines = next(iter(sheets.values())).lines
    texts = [""] * (lines[-1].number if lines else 0)
    for line in lines:
        texts[line.number - 1] = "\t".join(shown(cell, 100).replace("\t", " ") for cell in line.cells)
    return texts


def _said_layout(layout: Layout) -> str:
    """Say how the file is written."""
    begins = f"The numbers begin in {layout.place} {layout.top + 1}"
    sign = "decimal comma" if "," in layout.decimals else "decimal point"
    if layout.width == 1:
        return f"{begins}: one column, {sign}."
    return f"{begins}: {layout.width} columns with {SIGNS[layout.delimiter]} between them, {sign}."


def _wanted(assigned: Assigned) -> tuple[Wanted, ...]:
    """Columns to read, by their places."""
    several = len(assigned.places.get(R.TIME, ())) > 1
    chosen = []
    for role, places in assigned.places.items():
        optional = (role in MAY_BE_EMPTY and assigned.kind is not Kind.WAVEFORM) or (role is R.TIME and several)
        chosen += [Wanted(place, _called(role, assigned.headings[place]), optional) for place in places]
    return tuple(sorted(chosen, key=lambda one: one.column))


def _called(role: SignalRole, heading: SignalHeading) -> str:
    """Name of a column inside a sentence."""
    return f'"{heading.text}"' if heading.text else f"the {role.value}"


def _remember_last(numbers: Iterator[Block], ends: list[Block]) -> Iterator[Block]:
    """Pass blocks on, and remember how the file ended."""
    for block in numbers:
        ends[:] = [block]
        yield block


def _made(signals: Signals, numbers: Iterator[Block], wanted: tuple[Wanted, ...]) -> Series:
    """Series of any kind that is held whole in memory."""
    values = gathered(numbers, signals.layout, wanted)
    kind = signals.assigned.kind
    if kind is None:
        kind = bare_kind(signals.layout.name, values[0])
        signals.said.append("One column of numbers that rise from near 0: read as the times of passes.")
    filled = Signals(signals.layout, signals.assigned, values, signals.units, signals.rate, signals.said)
    return MAKERS[kind](filled)


def _check_end(layout: Layout, ends: Sequence[Block]) -> tuple[Finding, ...]:
    """Doubts about how the file ends."""
    findings = []
    for block in ends:
        if block.empty_rows:
            findings.append(finding("empty-tail", path=layout.name, rows=block.empty_rows))
        if block.cut:
            findings.append(finding("last-line-cut", path=layout.name))
    return tuple(findings)
