"""``truerun run``: the next runs, led from launch to launch."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.questions import ask, yes_or_no
from truerun.cli.screen import on_terminal, say, show
from truerun.cli.screened import lead_screening, note_screened
from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.units.number import whole_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from truerun.notebook.ledger import Notebook
    from truerun.notebook.state import RunState, TestState

__all__ = ["command_line"]

_STARTED = (
    "A watch was started for this run before. If it still runs elsewhere, leave here with Ctrl-C and end it there."
)
_KEYS = "Enter stops the watch; w and Enter: something went wrong."


@command("run", "truerun run", 'truerun run "the rim arc"', "truerun run --time 61.2")
@test_argument
@click.option("--time", "seconds", metavar="TIME", help="Only note the time of the next run, such as 61.2 or 1:01.2.")
@notebook_option
def command_line(test: str | None, *, seconds: str | None, notebook: str | None) -> int:
    """Do the next runs of TEST, or of a screening: its number, id or name; the only one if not said.

    You are told what to set up. Enter starts the watch as you let go, Enter stops it. Ctrl-C leaves at any moment;
    everything up to then is kept, and the same run waits next time. With several times, write them with truerun record.
    """
    from truerun.workflow.bench import find_test, state_of

    with opened(notebook) as book:
        found = find_test(book, test)
        screening = state_of(book, found).screening is not None
        if seconds is not None:
            note = note_screened if screening else _note
            note(book, found, _seconds(seconds))
        elif not on_terminal():
            raise PlanBroken("Runs are led on a terminal", "there is none", "Give the time with --time.")
        elif screening:
            lead_screening(book, found)
        else:
            _lead(book, found)
    return 0


def _note(book: Notebook, test: str, seconds: float) -> None:
    """Note the time of the next run."""
    from truerun.workflow.bench import begin_run, stop_clock

    stop_clock(book, test, begin_run(book, test).id, seconds)
    show(_done(book, test))


def _lead(book: Notebook, test: str) -> None:
    """Lead through the runs that are left."""
    from truerun.workflow.bench import begin_run, state_of

    _begin_sitting(book, test)
    while state_of(book, test).next_slot is not None:
        _one_run(book, test, begin_run(book, test))
        show(_done(book, test))
        if state_of(book, test).next_slot is None or not ask("Go on? y or n", yes_or_no, default="y"):
            break


def _begin_sitting(book: Notebook, test: str) -> None:
    """Begin a sitting with its warm-up launches, where the last one is over."""
    from truerun.workflow.bench import start_session, state_of, warm_up

    state = state_of(book, test)
    if state.sessions and not ask("Is this a new sitting, after a break? y or n", yes_or_no, default="n"):
        return
    start_session(book, test)
    planned = int(state.plan["sessions"]["warm_up_launches"]) if state.plan is not None else 0
    for number in range(1, planned + 1):
        click.prompt(f"Warm-up launch {number} of {planned}, not counted. Enter when done", default="", err=True,
                     show_default=False, prompt_suffix=" > ")  # fmt: skip
        warm_up(book, test)


def _one_run(book: Notebook, test: str, run: RunState) -> None:
    """Lead through one run."""
    from truerun.workflow.bench import start_clock, state_of, stop_clock
    from truerun.workflow.plan_files import read_plan
    from truerun.workflow.rig import launch_for

    state = state_of(book, test)
    plan = read_plan(state.plan).plan
    condition, launch = state.order[run.slot - 1], launch_for(plan, state.rig)
    again = f", attempt {run.attempt}" if run.attempt > 1 else ""
    say(f"\nRun {run.slot}{again}: {condition}\nTake the source off and set it again. Guard closed, eyes protected.")
    if launch:
        say(f"Launch: {launch}")
    if run.started is not None:
        say(_STARTED)
    _measure_first(book, test, run, plan.covariates)
    click.prompt("Enter as you let go", default="", err=True, show_default=False, prompt_suffix=" > ")
    begun = time.monotonic()
    start_clock(book, test, run.id, begun)
    answer = click.prompt(_KEYS, default="", err=True, show_default=False, prompt_suffix=" > ").strip().lower()
    seconds = time.monotonic() - begun
    if answer.startswith("w"):
        _wrong(book, test, run)
        return
    if ask("Was all well? y or n", yes_or_no, default="y"):
        _require_no_time(state_of(book, test), run)
        stop_clock(book, test, run.id, seconds)
    else:
        _wrong(book, test, run)


def _require_no_time(state: TestState, run: RunState) -> None:
    """Refuse a second time of a run: another watch gave one while this one ran."""
    if any(each.id == run.id and (each.seconds, each.left_out) != (None, None) for each in state.runs):
        found, remedy = "another watch ended it meanwhile", "Write a note if this one matters, then go on."
        raise PlanBroken(f"Run {run.slot} has one time", found, remedy)


def _measure_first(book: Notebook, test: str, run: RunState, names: Sequence[str]) -> None:
    """Ask for what the plan names to be measured before each launch."""
    from truerun.workflow.bench import note

    asked = [name for name in names if name not in run.measured]
    values = {name: ask(f"{name}, measured now?", _number, example="21.5") for name in asked}
    if values:
        words = "; ".join(f"{name} {value:g}" for name, value in values.items())
        note(book, test, f"{words}, before the launch of run {run.slot}", run=run.id, measured=values)


def _number(text: str) -> float:
    """Read a number without a unit."""
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension, parse_unit

    return read_quantity(text, Dimension.RATIO, name="The answer", unit=parse_unit("1")).value


def _wrong(book: Notebook, test: str, run: RunState) -> None:
    """Ask what went wrong, before the time is seen; say the plan's rule and the next step."""
    from truerun.trial.mishaps import excused
    from truerun.workflow.bench import something_wrong, state_of

    offered = excused((state_of(book, test).plan or {}).get("mishaps", {}))
    names = list(offered)
    listed = ", ".join(f"{number} = {offered[name].lower()}" for number, name in enumerate(names, 1))

    def read(text: str) -> str:
        chosen = whole_number(text)
        if chosen is None or not 1 <= chosen <= len(names):
            raise ValueOutOfRange("The answer", f'"{text}"', f"a number from 1 to {len(names)}")
        return names[chosen - 1]

    what = ask(f"What went wrong? {listed}", read)
    words = ask("In a few words?", may_be_empty=True)
    show(something_wrong(book, test, run.id, what, seen=False, words=words))


def _done(book: Notebook, test: str) -> str:
    """Say how far the test is."""
    from truerun.workflow.bench import state_of

    state = state_of(book, test)
    planned = len(state.order)
    if state.next_slot is None:
        return f"All {planned} runs are done. Next: truerun decide"
    return f"{state.next_slot - 1} of {planned} runs are done. What they say stays sealed until run {planned}."


def _seconds(text: str) -> float:
    """Read a time."""
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension, parse_unit

    return read_quantity(text, Dimension.TIME, name="--time", unit=parse_unit("s")).value
