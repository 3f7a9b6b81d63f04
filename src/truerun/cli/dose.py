"""``truerun dose``: more and less of the source, and the trend."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import DECIMAL, ENDS, FILE, SHARE, WHOLE, Word, given_options, json_option
from truerun.cli.publishing import Publishing, publishing_options
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import say, show, show_json
from truerun.errors import PlanBroken, ValueOutOfRange

__all__ = ["command_line"]

PLAN, SHEET = "dose.json", "run-sheet.csv"
_BOTH = ("end", "unit", "dummies", "alpha", "measure", "scale", "less_is_more")
_TO_PLAN = (*_BOTH, "repeats", "claim", "measured_in", "main_test", "note")


@command(
    "dose",
    "truerun dose 0 1 2 3 6 12 --repeats 3 --end speed --dummies --out magnets",
    "truerun dose magnets",
    "truerun dose magnets --report magnets.html --pictures pictures",
    "truerun dose times.csv --orders rounds --end speed --dummies",
)
@click.argument("source", nargs=-1, required=True, metavar="DOSE...|FOLDER|TABLE")
@click.option("--repeats", type=WHOLE, metavar="N", help="Runs of each dose; 3 if not said.")
@click.option("--end", type=ENDS, help="What ends the timing of a run.")
@click.option("--unit", metavar="WORD", help="One of what is counted; magnet if not said.")
@click.option("--dummies", is_flag=True, help="Dummies of the same mass and shape sit in the empty places.")
@click.option("--claim", metavar="WORDS", help="What is claimed.")
@click.option("--alpha", type=SHARE, help="Share of false alarms allowed; 5% if not said.")
@click.option("--measure", metavar="COLUMN", help="The column that is compared; time if not said.")
@click.option("--scale", type=Word(("log", "linear")), help="Whether effects are factors (log) or add (linear).")
@click.option("--measured-in", metavar="UNIT", help="Unit of the measured quantity; s if not said.")
@click.option("--less-is-more", is_flag=True, help="Less of the measured quantity means more drive.")
@click.option("--main-test", metavar="ID", help="The id of the plan it belongs to.")
@click.option("--note", metavar="WORDS", help="Anything else that is to be sealed.")
@click.option("--out", type=FILE, metavar="FOLDER", help="Where to write a new series; this folder if not said.")
@click.option("--orders", type=Word(("rounds", "any")), help="Without a plan: how the order was drawn, on your word.")
@click.option("--code", metavar="CODE", help="At the end: the spoken code that the series must have.")
@click.option("--decimal", type=DECIMAL, help="At the end: decimal sign of the table, where it cannot be told.")
@publishing_options
@json_option
def command_line(source: tuple[str, ...], *, as_json: bool, **options: Any) -> int:
    """Test whether more of the source does more.

    With doses, such as 0 1 2 3 6 12 magnets, the order of all runs is drawn by lot in rounds and sealed; dose.json and
    run-sheet.csv are written. When the sheet is filled in, name the FOLDER: the trend is decided. A TABLE without a
    sealed plan needs --orders, and is taken on your word.
    """
    given = given_options(options)
    place = Path(source[0])
    if len(source) == 1 and place.exists():
        return _evaluate(place, Publishing.taken_from(given), given, as_json=as_json)
    return _plan(_doses(source), given, as_json=as_json)


def _doses(words: tuple[str, ...]) -> list[float]:
    """Read the doses; one word may hold them all, with commas between."""
    from truerun.units.number import parse_number

    if len(words) == 1:
        words = tuple(words[0].split(","))
    if len(words) < 3:
        allowed = "three doses or more, or a folder or table that is there"
        raise ValueOutOfRange("What to test", f'"{" ".join(words)}"', allowed, "Write: truerun dose 0 1 2 3 6 12.")
    return [parse_number(word, name="A dose") for word in words]


def _plan(doses: list[float], given: dict[str, Any], *, as_json: bool) -> int:
    """Draw, seal, write."""
    out = given.pop("out", Path())
    _require_only(given, _TO_PLAN, "Give the folder to evaluate a series")
    if "end" not in given:
        raise ValueOutOfRange("The series", "without end", "one that says what ends a run", "Say --end speed.")
    require_new([out / PLAN, out / SHEET])
    from truerun.workflow.dosing import plan_dose

    sealed = plan_dose(doses, given.pop("repeats", 3), **given)
    written = save_new(out, {PLAN: sealed.json(), SHEET: sealed.run_sheet_csv()})
    if as_json:
        show_json(sealed.json().rstrip())
    else:
        show(sealed.summary())
    say(f"\nWritten: {', '.join(str(path) for path in written)}.")
    say(f"Next: make the runs in the order of the sheet, then truerun dose {out}")
    return 0


def _evaluate(place: Path, publishing: Publishing, given: dict[str, Any], *, as_json: bool) -> int:
    """Decide on the filled-in sheet, or on a table without a plan."""
    if place.is_dir():
        _require_only(given, ("code", "decimal"), "The sealed series gives every rule")
    else:
        _require_only(given, (*_BOTH, "orders", "decimal"), "A table without a plan takes no such option")
    from truerun.workflow.dosing import dose

    result = dose(place, **given)
    if as_json:
        show_json(result.json())
    else:
        show(result.summary())
    publishing.save(result)
    return 1 if result.stopped else 0


def _require_only(given: dict[str, Any], allowed: tuple[str, ...], rule: str) -> None:
    """Refuse options that belong elsewhere."""
    other = next((name for name in given if name not in allowed), None)
    if other is not None:
        name = f"--{other.replace('_', '-')}"
        raise PlanBroken(rule, f"{name} was given beside it", f"Leave out {name}.")
