"""``truerun rehearse``: try a plan on the virtual bench before the first run."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import FILE, SECONDS, SHARE, WHOLE, Word, given_options, json_option
from truerun.cli.progress import progress_line, until_ctrl_c
from truerun.cli.screen import say, show, show_json

__all__ = ["command_line"]

# written out because what defines them imports numpy; a test compares
DRIFTS = Word(("line", "warm-up", "knock", "days", "wander", "memory"))

_BROKEN_OFF = 130


@command(
    "rehearse",
    "truerun rehearse plan.json",
    "truerun rehearse plan.json --drive 2% --drive -2% --spread 1.2% --run-time 1:15",
    "truerun rehearse plan.json --drift line 6% --drift days 1% --tests 200",
    "truerun rehearse plan.json --by-file --tests 20",
)
@click.argument("plan", type=FILE)
@click.option(
    "--drive",
    "drives",
    type=SHARE,
    metavar="SHARE",
    multiple=True,
    help="A drive that is true on the virtual bench, -2% a brake; may be repeated. If not said: nothing, what is at "
    "stake in the plan, and the same as a brake.",
)
@click.option("--spread", type=SHARE, help="Spread from run to run; what the plan reckons with if not said.")
@click.option(
    "--run-time", "run_seconds", type=SECONDS, help="How long a run takes with the control; 60 s if not said."
)
@click.option(
    "--drift",
    "drifts",
    type=(DRIFTS, SHARE),
    metavar="KIND SHARE",
    multiple=True,
    help="How the bench drifts; may be repeated. line: in all from the first run to the last; warm-up: in all, most of "
    "it in three runs; knock: once, after half the runs; days: from sitting to sitting; wander: from run to run; "
    "memory: a disturbance of which each run keeps seven tenths.",
)
@click.option("--tests", type=WHOLE, metavar="N", help="Made-up tests for each truth; 1000 if not said.")
@click.option("--seed", type=WHOLE, metavar="N", help="The same seed gives the same counts; 1 if not said.")
@click.option(
    "--by-file",
    is_flag=True,
    help="Every run is made as a wheel, written to a file of passes, and read, counted and fitted again; this takes "
    "some seconds a test, so say --tests 20.",
)
@click.option(
    "--workers", type=WHOLE, metavar="N", help="Processes that share the work; one for each core if not said."
)
@json_option
def command_line(plan: Path, *, as_json: bool, workers: int | None, **options: Any) -> int:
    """Try a sealed plan on a virtual wheel whose truth is known, to see how often each verdict comes.

    Also: how long the wheel turns in one test, and what would find the drive at stake more often. Nothing is written,
    and the plan stays as it is. Ctrl-C ends it early and shows what was done so far.
    """
    with until_ctrl_c() as pressed, progress_line("made-up tests") as progress:
        from truerun.workflow.rehearsing import rehearse

        count = (os.cpu_count() or 1) if workers is None else workers
        result = rehearse(plan, workers=count, progress=progress, cancelled=pressed, **given_options(options))
    broken_off = result.tests < result.asked
    if result.tests and as_json:
        show_json(result.json())
    elif result.tests:
        show(result.summary())
    if broken_off:
        left = f"after {result.tests} of {result.asked} made-up tests" if result.tests else "before the first results"
        say(f"Broken off {left}.")
    return _BROKEN_OFF if broken_off else 0
