"""``truerun rundown``: reduce recordings of a slowing wheel."""

from __future__ import annotations

from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.parameters import DECIMAL, FILE, SPEED, WHOLE, Word, json_option, parse_angles
from truerun.cli.progress import progress_line
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import say, show, show_json
from truerun.errors import ValueOutOfRange

__all__ = ["command_line"]

# written out because what defines them imports numpy; a test compares
KINDS = Word(("passes", "intervals", "speeds", "angles", "positions", "waveform"))


@command(
    "rundown",
    "truerun rundown run-8.csv --marks 12",
    'truerun rundown run-8.csv --marks 12 --window "120 r/min" "40 r/min" --out run-8.html',
    "truerun rundown run-*.csv --marks 12",
)
@click.argument("files", type=FILE, nargs=-1, required=True)
@click.option("--marks", type=WHOLE, metavar="N", help="Marks on the wheel that pass the sensor each turn.")
@click.option(
    "--mark-angles",
    metavar="DEGREES",
    help="Where uneven marks sit, from the first one on, in the direction of travel: --mark-angles 0,30,150,180,300.",
)
@click.option(
    "--window",
    type=SPEED,
    nargs=2,
    metavar="FROM TO",
    help='Two speeds with units, such as "120 r/min" "40 r/min"; the fair window if not said.',
)
@click.option("--kind", type=KINDS, help="What the files hold, where it cannot be told.")
@click.option("--unit", metavar="UNIT", help="Unit of the times, speeds or angles, where it cannot be told.")
@click.option("--decimal", type=DECIMAL, help="Decimal sign of the files, where it cannot be told.")
@click.option("--out", type=FILE, metavar="FILE", help="Also write a page with all pictures; for one file only.")
@click.option("--invented", is_flag=True, help="The page says first that the run never took place.")
@json_option
def command_line(
    files: tuple[Path, ...],
    *,
    marks: int | None,
    mark_angles: str | None,
    window: tuple[float, float] | None,
    kind: str | None,
    unit: str | None,
    decimal: str | None,
    out: Path | None,
    invented: bool,
    as_json: bool,
) -> int:
    """Reduce recordings of a wheel that slows down freely.

    FILES are pass times, intervals, speeds or the waveform of a sensor, as text or in a spreadsheet. You see the time
    over a fair window, the drag at each speed, the magnetic bump, and the speed below which it catches the wheel.
    Several files get one window: from the slowest launch to three times the highest speed at which the bump catches.
    """
    if out is not None:
        if len(files) > 1:
            raise ValueOutOfRange(
                "--out", f"given with {len(files)} files", "given with one file", "Reduce them singly."
            )
        require_new([out])
    from truerun.workflow.reducing import As, reduce_recordings

    how = As(marks, None if mark_angles is None else parse_angles(mark_angles), kind, unit, decimal)
    with progress_line("recordings") as progress:
        results = reduce_recordings(files, how, window=window, progress=progress if len(files) > 1 else None)
    if as_json:
        show_json(results.json())
    else:
        show(results.summary())
    if out is not None:
        save_new(out.parent, {out.name: results.results[0].report(invented=invented)})
        say(f"Written: {out}")
    return 1 if results.stopped else 0
