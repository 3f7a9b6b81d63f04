"""``truerun look``: a few runs, before any claim or plan."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import DECIMAL, ENDS, FILE, MINUTES, given_options, json_option
from truerun.cli.questions import ask_control
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import on_terminal, say, show, show_json
from truerun.cli.tapping import tapped_runs
from truerun.errors import ChoiceNeeded

__all__ = ["command_line"]


@command(
    "look",
    'truerun look times.csv --control "arc out" --end speed',
    'truerun look times.csv --control "arc out" --end speed --as-pilot trial.toml',
    "truerun look",
)
@click.argument("table", type=FILE, required=False)
@click.option("--source", metavar="NAME", help="The condition with the source in place.")
@click.option("--control", metavar="NAME", help="The condition with the source taken away.")
@click.option("--end", type=ENDS, help="What ended a run; counts as standstill if not said.")
@click.option("--change-minutes", type=MINUTES, help="Minutes between two runs; 2 if not said.")
@click.option("--decimal", type=DECIMAL, help="Decimal sign of the table, where it cannot be told.")
@click.option(
    "--as-pilot", type=FILE, help="Also write these runs into a new TOML file, as the trial for truerun plan."
)
@json_option
def command_line(
    table: Path | None, *, as_pilot: Path | None, as_json: bool, decimal: str | None, **options: Any
) -> int:
    """Look at a few runs with and without the source, before any claim or plan.

    TABLE is a file of text (comma, semicolon or tab) or a spreadsheet with one line a run: run, condition, time. Three
    runs of each are enough. You see how far apart they are, how much they scatter, how easily luck does this, and what
    a deciding test would need. A look never gives a verdict.

    Without TABLE you are led through six runs on the terminal: Enter at every pass of one mark. They are compared over
    speeds that all of them fell through. A column taps, the seconds of a run's taps with spaces between them, does the
    same for a table.
    """
    given = given_options(options)
    if as_pilot is not None:
        require_new([as_pilot])
    from truerun.workflow.looking import look

    runs: Any
    if table is None:
        if not on_terminal():
            raise ChoiceNeeded("The runs", ("a table", "taps on a terminal"), "Name a table: truerun look times.csv")
        runs, given["source"], given["control"] = tapped_runs()
    else:
        runs = ask_control(table, given, decimal, asking=not as_json)
    result = look(runs, decimal=decimal, **given)
    if as_json:
        show_json(result.json())
    else:
        show(result.summary())
    if as_pilot is not None:
        names = {"source": result.look.source, "control": result.look.control, "end": given.get("end")}
        save_new(
            as_pilot.parent,
            {as_pilot.name: _pilot_text(result.pilot | given_options(names), table.name if table else "taps")},
        )
        say(f"\nWritten: {as_pilot}. Next: add the claim to it, then truerun plan {as_pilot}")
    return 0


def _pilot_text(values: dict[str, Any], name: str) -> str:
    """Write the trial runs as the beginning of a plan request."""
    # a text in JSON is a text in TOML, and so is a number
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    heading = f"# Trial runs from {name}, for truerun plan. Add: claim, and what else the plan is to hold.\n"
    return heading + "\n".join(lines) + "\n"
