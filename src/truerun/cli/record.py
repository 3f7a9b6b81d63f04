"""``truerun record``: what was written on paper or by a sensor, into the notebook."""

from __future__ import annotations

import mimetypes
from collections.abc import Iterator
from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.parameters import DECIMAL, FILE, WHOLE
from truerun.cli.screen import show
from truerun.errors import RecordingUnreadable, ValueOutOfRange

__all__ = ["command_line"]

_PIECE = 1 << 20


@command(
    "record",
    "truerun record --sheet run-sheet.csv",
    "truerun record --run 5 --recording run-5.csv --marks 12",
    'truerun record --note "The window was open from run 3 on."',
)
@test_argument
@click.option("--sheet", type=FILE, help="A run sheet that was filled in on paper or in a spreadsheet.")
@click.option("--run", "slot", type=WHOLE, metavar="N", help="The run that a recording or photo belongs to.")
@click.option("--recording", type=FILE, help="A recording of that run; its bytes are kept as they are.")
@click.option("--marks", type=WHOLE, metavar="N", help="Marks a turn in the recording.")
@click.option("--photo", type=FILE, help="A photo.")
@click.option("--note", "words", metavar="WORDS", help="A note.")
@click.option("--decimal", type=DECIMAL, help="Decimal sign of the sheet, where it cannot be told.")
@notebook_option
def command_line(
    test: str | None,
    *,
    sheet: Path | None,
    slot: int | None,
    recording: Path | None,
    marks: int | None,
    photo: Path | None,
    words: str | None,
    decimal: str | None,
    notebook: str | None,
) -> int:
    """Write into TEST what was taken down elsewhere: its number, id or name; the only one if not said.

    Times from a sheet are marked as typed in. Nothing that is there is written over; a mistake is corrected by a new
    line, and the old value stays to be seen.
    """
    if sheet is None and recording is None and photo is None and words is None:
        raise ValueOutOfRange("What is to be recorded", "nothing", "--sheet, --recording, --photo or --note")
    if recording is not None and slot is None:
        raise ValueOutOfRange("The run of the recording", "not said", "named with --run")
    from truerun.workflow.bench import attach_photo, find_test, note

    with opened(notebook) as book:
        found = find_test(book, test)
        if sheet is not None:
            from truerun.workflow.sheets import type_in_sheet

            show(f"{type_in_sheet(book, found, sheet, decimal=decimal)} runs were typed in from {sheet}.")
        if recording is not None and slot is not None:
            from truerun.workflow.sheets import record_slot

            record_slot(book, found, slot, recording.name, _pieces(recording), marks=marks, media=_media(recording))
            show(f"{recording} is attached to run {slot}.")
        if photo is not None:
            attach_photo(book, found, photo.name, _pieces(photo), media=_media(photo))
            show(f"{photo} is attached.")
        if words is not None:
            note(book, found, words)
            show("The note is written.")
    return 0


def _media(path: Path) -> str:
    """Guess the media type from the name."""
    return mimetypes.guess_type(path.name)[0] or "application/octet-stream"


def _pieces(path: Path) -> Iterator[bytes]:
    """Read a file piece by piece."""
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE):
                yield piece
    except OSError as error:
        why = (error.strerror or "cannot be read").lower()
        raise RecordingUnreadable(path, "", f"{why}. Check the name and the folder.") from error
