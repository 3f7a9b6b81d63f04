"""``truerun compare``: decide what a table of runs says about the source."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import (
    ADJUSTMENTS,
    DECIMAL,
    ENDS,
    FILE,
    ORDERS,
    SHARE,
    WHOLE,
    Word,
    given_options,
    json_option,
    parse_angles,
    recordings_options,
)
from truerun.cli.progress import progress_line
from truerun.cli.publishing import Publishing, publishing_options
from truerun.cli.questions import ask_control
from truerun.cli.screen import show, show_json
from truerun.errors import PlanBroken

__all__ = ["command_line"]


@command(
    "compare",
    "truerun compare run-sheet.csv --plan plan.json",
    'truerun compare times.csv --control "arc out" --orders blocks-of-four --end speed',
    "truerun compare run-sheet.csv --plan plan.json --report report.html --pictures pictures",
)
@click.argument("table", type=FILE)
@click.option("--plan", type=FILE, help="The sealed plan; it then gives every rule.")
@click.option("--orders", type=ORDERS, help="Without a plan: the set from which the order was drawn, on your word.")
@click.option("--source", metavar="NAME", help="The condition with the source in place.")
@click.option("--control", metavar="NAME", help="The condition with the source taken away.")
@click.option("--adjust", type=ADJUSTMENTS, help="What the result is adjusted for; as usual for the set if not said.")
@click.option(
    "--covariate", "covariates", metavar="NAME", multiple=True, help="A further column to adjust for; may be repeated."
)
@click.option("--end", type=ENDS, help="What ended a run; counts as standstill if not said.")
@click.option("--stop", type=Word(("turns-back", "lies-still")), help="Which stop, where runs end at standstill.")
@click.option("--hill-bound", type=SHARE, help="Largest share of a time that the magnetic bump could change.")
@click.option("--alpha", type=SHARE, help="Share of false alarms allowed; 5% if not said.")
@click.option("--margin", metavar="SHARE", help="Smallest effect you care about, such as 2%.")
@click.option("--claimed", metavar="SHARE", help="Drive that is claimed, such as 5%.")
@click.option("--timing", type=Word(("hand", "sensor")), help="What timed the runs; hand if not said.")
@click.option(
    "--blinding",
    type=WHOLE,
    metavar="0|1|2|3",
    help="Who knew: 0 everybody; 1 everybody, but sensor and mechanical release; 2 launcher and timekeeper did "
    "not; 3 that, with guesses written down.",
)
@click.option("--measure", metavar="COLUMN", help="The column that is compared; time if not said.")
@click.option("--scale", type=Word(("log", "linear")), help="Whether effects are factors (log) or add (linear).")
@click.option("--less-is-more", is_flag=True, help="Less of the measured quantity means more drive.")
@click.option("--break-seal", is_flag=True, help="Look before the last planned run; only the running bet then decides.")
@click.option("--code", metavar="CODE", help="The spoken code that the plan must have.")
@click.option("--decimal", type=DECIMAL, help="Decimal sign of the table, where it cannot be told.")
@recordings_options
@publishing_options
@json_option
def command_line(
    table: Path,
    plan: Path | None,
    *,
    break_seal: bool,
    code: str | None,
    decimal: str | None,
    as_json: bool,
    marks: int | None,
    mark_angles: str | None,
    **rules: Any,
) -> int:
    """Decide what the runs in TABLE say about the source.

    TABLE is a file of text (comma, semicolon or tab) or a spreadsheet with one line a run: run, condition, and time or
    the path of a recording, from which the time over a fair window is then measured. A run that was still going when it
    was stopped is written > 600, or with yes in a column unfinished. With --plan the sealed plan gives every rule;
    without one, what you say is taken on your word.

    The rules that belong to the plan, from --orders to --less-is-more, must stay away where a plan is given. With
    answers of both sides or linked tests, write the page with truerun report.
    """
    publishing = Publishing.taken_from(rules)
    given = given_options(rules)
    _require_plan_or_rules(plan, given, break_seal=break_seal, code=code)
    from truerun.workflow.comparing import compare

    runs: Any = table
    if plan is None:
        _read_sizes(given)
        runs = ask_control(table, given, decimal, asking=not as_json)
    angles = None if mark_angles is None else parse_angles(mark_angles)
    with progress_line("recordings") as progress:
        result = compare(
            runs, plan, break_seal=break_seal, code=code, decimal=decimal, marks=marks, mark_angles=angles,
            workers=os.cpu_count() or 1, progress=progress, **given,
        )  # fmt: skip
    if as_json:
        show_json(result.json())
    else:
        show(result.summary())
    publishing.save(result)
    return 1 if result.stopped else 0


def _require_plan_or_rules(plan: Path | None, given: dict[str, Any], *, break_seal: bool, code: str | None) -> None:
    """Refuse rules beside a plan, and what only a plan has without one."""
    if plan is not None and given:
        name = next(iter(given)).replace("_", "-").replace("covariates", "covariate")
        found = f"--{name} was given beside it"
        raise PlanBroken("The plan gives every rule", found, f"Leave out --{name}, or compare without --plan.")
    if plan is None and (break_seal or code is not None):
        name = "--break-seal" if break_seal else "--code"
        raise PlanBroken(f"{name} needs a sealed plan", "none was given", "Name the plan with --plan.")


def _read_sizes(given: dict[str, Any]) -> None:
    """Read the sizes whose meaning depends on the scale."""
    from truerun.workflow.request_files import parse_size

    for name in ("margin", "claimed"):
        if name in given:
            given[name] = parse_size(given[name], f"--{name}", linear=given.get("scale") == "linear")
