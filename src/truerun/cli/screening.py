"""``truerun screening``: many variants, a drawn order, and a candidate for a fresh test."""

from __future__ import annotations

import json
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

PLAN, SHEET = "screening.json", "run-sheet.csv"
_TO_PLAN = ("repeats", "end", "control", "looking_for", "level", "measure", "scale", "unit", "less_is_more", "note")


@command(
    "screening",
    "truerun screening positions.txt --repeats 2 --end speed --out positions",
    "truerun screening positions --candidate candidate.toml",
    "truerun screening positions --report screening.html --pictures pictures",
)
@click.argument("source", type=FILE, metavar="VARIANTS|FOLDER")
@click.option("--repeats", type=WHOLE, metavar="N", help="Runs of each variant, 2 or more; 2 if not said.")
@click.option("--end", type=ENDS, help="What ends the timing of a run.")
@click.option("--control", metavar="NAME", help="The variant that is the control, where there is one.")
@click.option("--looking-for", metavar="WORDS", help="What is looked for.")
@click.option(
    "--level", type=SHARE, help="Share of screenings of equal variants that may name a candidate; 20% if not said."
)
@click.option("--measure", metavar="COLUMN", help="The column that is compared; time if not said.")
@click.option("--scale", type=Word(("log", "linear")), help="Whether effects are factors (log) or add (linear).")
@click.option("--unit", metavar="UNIT", help="Unit of the measured quantity; s if not said.")
@click.option("--less-is-more", is_flag=True, help="Less of the measured quantity means more drive.")
@click.option("--note", metavar="WORDS", help="Anything else that is to be sealed.")
@click.option("--out", type=FILE, metavar="FOLDER", help="Where to write a new screening; this folder if not said.")
@click.option(
    "--holm", is_flag=True, help="At the end: every variant against the control too; weaker than a fresh test."
)
@click.option("--candidate", type=FILE, metavar="FILE", help="At the end: write a TOML file for truerun plan.")
@click.option("--code", metavar="CODE", help="At the end: the spoken code that the screening must have.")
@click.option("--decimal", type=DECIMAL, help="At the end: decimal sign of the table, where it cannot be told.")
@publishing_options
@json_option
def command_line(source: Path, *, as_json: bool, **options: Any) -> int:
    """Find out which of many variants is worth a test of its own.

    VARIANTS is a file of text with one variant a line. The order of all runs is drawn by lot in rounds and sealed;
    screening.json and run-sheet.csv are written. When the sheet is filled in, name the FOLDER: you get a candidate, or
    none, and never a verdict. The candidate needs a fresh, sealed test.
    """
    given = given_options(options)
    if source.is_dir():
        return _evaluate(source, Publishing.taken_from(given), given, as_json=as_json)
    return _plan(source, given, as_json=as_json)


def _plan(variants: Path, given: dict[str, Any], *, as_json: bool) -> int:
    """Draw, seal, write."""
    out = given.pop("out", Path())
    _require_only(given, _TO_PLAN, "Give the folder to evaluate a screening")
    if "end" not in given:
        raise ValueOutOfRange("The screening", "without end", "one that says what ends a run", "Say --end speed.")
    require_new([out / PLAN, out / SHEET])
    from truerun.workflow.screening import plan_screening, read_variants

    sealed = plan_screening(read_variants(variants), given.pop("repeats", 2), **given)
    written = save_new(out, {PLAN: sealed.json(), SHEET: sealed.run_sheet_csv()})
    if as_json:
        show_json(sealed.json().rstrip())
    else:
        show(sealed.summary())
    say(f"\nWritten: {', '.join(str(path) for path in written)}.")
    say(f"Next: make the runs in the order of the sheet, then truerun screening {out}")
    return 0


def _evaluate(folder: Path, publishing: Publishing, given: dict[str, Any], *, as_json: bool) -> int:
    """Say what the filled-in sheet shows."""
    file = given.pop("candidate", None)
    _require_only(given, ("holm", "code", "decimal"), "The sealed screening gives every rule")
    if file is not None:
        require_new([file])
    from truerun.workflow.screening import screen

    result = screen(folder, **given)
    if as_json:
        show_json(result.json())
    else:
        show(result.summary())
    publishing.save(result)
    if file is not None and result.candidate:
        values = result.fresh_test()
        save_new(file.parent, {file.name: _request_text(values)})
        control = "" if "control" in values else " --control NAME"
        say(f"\nWritten: {file}. Next: truerun plan {file}{control}")
    return 1 if result.stopped else 0


def _require_only(given: dict[str, Any], allowed: tuple[str, ...], rule: str) -> None:
    """Refuse options that belong to the other half."""
    other = next((name for name in given if name not in allowed), None)
    if other is not None:
        name = f"--{other.replace('_', '-')}"
        raise PlanBroken(rule, f"{name} was given beside it", f"Leave out {name}.")


def _request_text(values: dict[str, Any]) -> str:
    """Write what a plan takes over; a text in JSON is a text in TOML, and so is a number."""
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    return "# The candidate of a screening, for truerun plan.\n" + "\n".join(lines) + "\n"
