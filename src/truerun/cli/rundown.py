"""``truerun rundown``: reduce recordings of a slowing wheel."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import DECIMAL, FILE, NUMBER, SPEED, WHOLE, Word, given_options, json_option, parse_angles
from truerun.cli.progress import progress_line
from truerun.cli.publishing import Publishing, publishing_options
from truerun.cli.screen import show, show_json
from truerun.errors import ValueOutOfRange

if TYPE_CHECKING:
    from truerun.workflow.both_ways import BothWaysResult
    from truerun.workflow.recognising import Recognised
    from truerun.workflow.reducing import As

__all__ = ["command_line"]

# written out because what defines them imports numpy; a test compares
KINDS = Word(("passes", "intervals", "speeds", "angles", "positions", "waveform", "releases"))


@command(
    "rundown",
    "truerun rundown run-8.csv --marks 12",
    'truerun rundown run-8.csv --marks 12 --window "120 r/min" "40 r/min" --report run-8.html',
    "truerun rundown run-*.csv --marks 12",
    "truerun rundown swings.csv",
    "truerun rundown there-1.csv there-2.csv --back back-1.csv --back back-2.csv --marks 12",
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
@click.option(
    "--back",
    type=FILE,
    multiple=True,
    help="A recording of the same wheel turning the other way, FILES being one way; may be repeated.",
)
@click.option(
    "--dry-drag",
    type=NUMBER,
    nargs=2,
    metavar="DRAG UNCERTAINTY",
    help="For releases from rest: dry drag and its standard uncertainty in r/min lost each second, as swings gave it.",
)
@click.option(
    "--coil",
    type=NUMBER,
    nargs=2,
    metavar="HZ DEGREES",
    help="For magnets past a coil: the lowest frequency that the input passes (-3 dB), and the angle from a pulse's "
    "zero to its peak; slow passes are then corrected.",
)
@click.option("--kind", type=KINDS, help="What the files hold, where it cannot be told.")
@click.option("--unit", metavar="UNIT", help="Unit of the times, speeds or angles, where it cannot be told.")
@click.option("--decimal", type=DECIMAL, help="Decimal sign of the files, where it cannot be told.")
@publishing_options
@json_option
def command_line(
    files: tuple[Path, ...],
    *,
    marks: int | None,
    mark_angles: str | None,
    window: tuple[float, float] | None,
    back: tuple[Path, ...],
    dry_drag: tuple[float, float] | None,
    coil: tuple[float, float] | None,
    kind: str | None,
    unit: str | None,
    decimal: str | None,
    as_json: bool,
    **saved: Any,
) -> int:
    """Reduce recordings of a wheel that slows down freely.

    FILES are pass times, intervals, speeds or the waveform of a sensor, as text or in a spreadsheet. You see the time
    over a fair window, the drag at each speed, the magnetic bump, and the speed below which it catches the wheel.
    Several files get one window: from the slowest launch to three times the highest speed at which the bump catches, or
    to the lowest speed that all fell through.

    A wheel that swings to and fro (angles, places of a point, speeds to both sides) gives the stiffness of the bump and
    dry and viscous drag, also where it swings after a rundown. With --back the drag is split into what both ways
    share and a push that keeps its direction. A table of places where the wheel was let go from rest and where it
    turned back gives the bump without a clock.
    """
    if len(files) > 1 and not back and given_options(saved):
        name = next(iter(given_options(saved)))
        raise ValueOutOfRange(
            f"--{name}", f"given with {len(files)} files", "given with one file", "Reduce them singly."
        )
    publishing = Publishing.taken_from(saved)
    from truerun.workflow.reducing import As

    angles = None if mark_angles is None else parse_angles(mark_angles)
    drag = None if dry_drag is None else (math.radians(6 * dry_drag[0]), math.radians(6 * dry_drag[1]))
    late = None if coil is None else (coil[0], math.radians(coil[1]))
    how = As(marks, angles, kind, unit, decimal, drag, late)
    with progress_line("recordings") as progress:
        shown = progress if len(files) + len(back) > 1 else None
        results = _reduced(files, back, how, window, shown)
    if as_json:
        show_json(results.json())
    else:
        show(results.summary())
    publishing.save(results.first)
    return 1 if results.stopped else 0


def _reduced(
    files: tuple[Path, ...],
    back: tuple[Path, ...],
    how: As,
    window: tuple[float, float] | None,
    progress: Callable[[int, int], None] | None,
) -> BothWaysResult | Recognised:
    """Reduce recordings singly, or those there against those back."""
    if back:
        from truerun.workflow.both_ways import both_ways

        return both_ways(files, back, how, window=window, progress=progress)
    from truerun.workflow.recognising import recognise_recordings

    return recognise_recordings(files, how, window=window, progress=progress)
