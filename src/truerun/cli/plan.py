"""``truerun plan``: make a fair plan, draw its order, seal it, write it with its run sheets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import (
    ADJUSTMENTS,
    ENDS,
    FILE,
    MINUTES,
    ORDERS,
    SHARE,
    SPEED,
    WHOLE,
    Word,
    given_options,
    json_option,
)
from truerun.cli.questions import ask, ask_for_plan, yes_or_no
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import on_terminal, say, show, show_json
from truerun.errors import ValueOutOfRange

__all__ = ["command_line"]

PLAN, SHEET, PRINTED = "plan.json", "run-sheet.csv", "run-sheet.html"
ROLES = Word(
    (
        "main",
        "dummy",
        "reversal",
        "polarity",
        "load-matched",
        "distance",
        "bench-turned",
        "mains-off",
        "same-against-same",
        "planted",
        "screening",
        "dose",
        "challenge",
    )
)
_NEEDED = ("claim", "source", "control", "end")
_SIZES = ("margin", "claimed", "spread", "pilot_spread")


@command(
    "plan",
    "truerun plan",
    "truerun plan claim.toml --pilot trial.csv --out my-test",
    'truerun plan --claim "The arc makes it gain." --source "arc in" --control "arc out" --end speed',
)
@click.argument("file", type=FILE, required=False)
@click.option("--claim", metavar="WORDS", help="What is claimed, in the claimant's own words.")
@click.option("--against", metavar="WORDS", help="What would count against it.")
@click.option("--claimant", metavar="NAME", help="Who claims it.")
@click.option("--source", metavar="NAME", help="What you call the wheel with the source in place.")
@click.option("--control", metavar="NAME", help="What you call it with the source taken away.")
@click.option("--end", type=ENDS, help="What ends the timing of a run.")
@click.option("--stop", type=Word(("turns-back", "lies-still")), help="Which stop, for an end at standstill.")
@click.option("--hill-bound", type=SHARE, help="Measured bound of what a magnetic bump does to a time to standstill.")
@click.option(
    "--window", type=SPEED, nargs=2, metavar="FROM TO", help='Two speeds with units: --window "120 r/min" "40 r/min".'
)
@click.option(
    "--window-rule",
    is_flag=True,
    help="Seal a rule instead: slowest launch to three times the speed at which the bump catches, off the recordings.",
)
@click.option("--runs", type=WHOLE, metavar="N", help="Number of runs in all; 16 if not said.")
@click.option("--orders", type=ORDERS, help="The set from which the order is drawn; blocks-of-four if not said.")
@click.option("--adjust", type=ADJUSTMENTS, help="What the result is adjusted for; as usual for the set if not said.")
@click.option(
    "--covariate", "covariates", metavar="NAME", multiple=True, help="A further column to adjust for; may be repeated."
)
@click.option("--alpha", type=SHARE, help="Share of false alarms allowed; 5% if not said.")
@click.option("--margin", metavar="SHARE", help="Smallest effect you care about, such as 2%.")
@click.option("--claimed", metavar="SHARE", help="Drive that is claimed, such as 5%; 100% would run by itself.")
@click.option("--pilot", type=FILE, metavar="TABLE", help="Table of trial runs; they tell how much runs scatter.")
@click.option("--pilot-spread", metavar="SHARE", help="Spread of trial runs, as truerun look gives it.")
@click.option("--pilot-runs", type=WHOLE, metavar="N", help="How many trial runs that were; 8 if not said.")
@click.option("--spread", metavar="SHARE", help="Spread from run to run to plan with, whatever the trial runs say.")
@click.option("--timing", type=Word(("hand", "sensor")), help="What times the runs; hand if not said.")
@click.option("--launch", type=Word(("hand", "mechanical")), help="How the wheel is launched; mechanical if not said.")
@click.option(
    "--blinding",
    type=WHOLE,
    metavar="0|1|2|3",
    help="Who knows: 0 everybody; 1 everybody, but sensor and mechanical release; 2 launcher and timekeeper do not; "
    "3 that, with guesses written down.",
)
@click.option("--run-minutes", type=MINUTES, help="How long one run takes, launch included.")
@click.option("--change-minutes", type=MINUTES, help="Taking the source off and setting it again; 2 if not said.")
@click.option(
    "--warm-up-launches", type=WHOLE, metavar="N", help="Uncounted launches at the start of a sitting; 3 if not said."
)
@click.option("--sitting-minutes", type=MINUTES, help="Longest sitting; breaks then go between blocks.")
@click.option("--left-out-rule", metavar="WORDS", help="When a run may be left out.")
@click.option("--role", type=ROLES, help="What the test is for; main if not said.")
@click.option("--main-test", metavar="ID", help="For every other role: the id of the plan it belongs to.")
@click.option("--measure", metavar="COLUMN", help="The column that is compared; time if not said.")
@click.option("--scale", type=Word(("log", "linear")), help="Whether effects are factors (log) or add (linear).")
@click.option("--less-is-more", is_flag=True, help="Less of the measured quantity means more drive.")
@click.option("--unit", metavar="UNIT", help="Unit of the measured quantity; s if not said.")
@click.option("--drawn-by", type=Word(("lot", "bag")), help="By lot now, or cartridges from a bag at the bench.")
@click.option("--look-after", type=WHOLE, metavar="RUN", help="One planned look after this run; none if not said.")
@click.option("--look-alpha", type=SHARE, help="Share of false alarms that the look may use; 1% if not said.")
@click.option("--spare-blocks", type=WHOLE, metavar="N", help="Blocks drawn now for going on openly; 0 if not said.")
@click.option("--end-setting", metavar="WORDS", help='How the end is told at the bench, such as "one turn takes 2 s".')
@click.option(
    "--launch-setting", metavar="WORDS", help='What launches the wheel, such as "0.5 kg from the 40 cm mark".'
)
@click.option("--note", metavar="WORDS", help="Anything else that is to be sealed.")
@click.option("--out", type=FILE, metavar="FOLDER", default=Path(), help="Where to write; this folder if not said.")
@click.option("--seed", hidden=True, help="Of the draw, for tests.")
@json_option
def command_line(
    file: Path | None, *, pilot: Path | None, out: Path, seed: str | None, as_json: bool, **options: Any
) -> int:
    """Make a plan that can decide, draw the order of its runs by lot, and seal it.

    FILE is a TOML file whose keys are the options below with _ for -; an option overrides its key. With neither, on a
    terminal, you are asked. Tables of FILE: [agreed.claimant] and [agreed.sceptic] hold the answers of both sides,
    [mishaps] what becomes of a run that went wrong, such as bumped = "counts" or "left-out", and each [[excuses]] the
    words of one and becomes = "check", "control" or "no-excuse".

    Writes plan.json, run-sheet.csv to fill in and run-sheet.html to print; never over a file that is there.
    """
    given = given_options(options)
    require_new([out / name for name in (PLAN, SHEET, PRINTED)])
    if file is None and pilot is None and not given and not as_json and on_terminal():
        values = ask_for_plan()
        if not ask("Draw the order and seal the plan now? y or n", yes_or_no, default="y"):
            say("Nothing was written.")
            return 0
    else:
        values = _values(file, given, pilot)
    from truerun.workflow.planning import plan

    sealed = plan(values, seed=seed)
    sheets = {PLAN: sealed.json(), SHEET: sealed.run_sheet_csv(), PRINTED: sealed.run_sheet_html()}
    written = save_new(out, sheets)
    if as_json:
        show_json(sealed.json().rstrip())
    else:
        show(sealed.summary())
    say(f"\nWritten: {', '.join(str(path) for path in written)}.")
    say(f"Next: make the runs in the order of the sheet, then truerun compare {written[1]} --plan {written[0]}")
    return 0


def _values(file: Path | None, given: dict[str, Any], pilot: Path | None) -> dict[str, Any]:
    """Put file, options and trial runs together, and say what is lacking."""
    from truerun.workflow.request_files import parse_size, read_plan_request

    values = read_plan_request(file) if file is not None else {}
    linear = given.get("scale", values.get("scale")) == "linear"
    for name in _SIZES:
        if name in given:
            given[name] = parse_size(given[name], f"--{name.replace('_', '-')}", linear=linear)
    values |= given
    lacking = [name for name in _NEEDED if name not in values]
    if lacking:
        remedy = f"Say {', '.join(f'--{name}' for name in lacking)}, or on a terminal truerun plan alone to be asked."
        raise ValueOutOfRange("The plan", f"without {', '.join(lacking)}", f"one with {', '.join(_NEEDED)}", remedy)
    return values | (_trial(pilot, values) if pilot is not None else {})


def _trial(table: Path, values: dict[str, Any]) -> dict[str, Any]:
    """Take the spread from a table of trial runs."""
    from truerun.workflow.looking import look

    return look(table, source=values["source"], control=values["control"]).pilot
