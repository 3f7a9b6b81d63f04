"""A screening of a notebook on the terminal: opened, its runs led from launch to launch, and its fresh test."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from truerun.cli.questions import ask, yes_or_no
from truerun.cli.screen import say, show
from truerun.errors import ValueOutOfRange

if TYPE_CHECKING:
    from truerun.notebook.ledger import Notebook

__all__ = ["lead_screening", "note_screened", "open_fresh", "open_listed"]

_KEYS = "Enter stops the watch; w and Enter: something went wrong."


def open_listed(book: Notebook, name: str, variants: Path, given: dict[str, Any]) -> None:
    """Open a screening of the variants in a file, and say its seal."""
    if given.get("end") is None:
        raise ValueOutOfRange("The screening", "without end", "one that says what ends a run", "Say --end speed.")
    from truerun.workflow.screening import read_variants
    from truerun.workflow.screening_runs import open_screening

    state = open_screening(book, name, read_variants(variants), given.pop("repeats", 2), **given)
    sealed = state.screening or {}
    count = len(sealed["variants"])
    show(f"Sealed: {sealed['seal']['code']}")
    show(
        f"{count} variants in {sealed['repeats']} rounds, {len(state.drawn)} runs. Among {count} one always looks best:"
    )
    show("a screening finds what is worth a test, and decides nothing.")
    _opened(book, state.id, "Next: truerun run")


def open_fresh(book: Notebook, screening: str, variant: str | None) -> None:
    """Open the fresh test of a finished screening."""
    from truerun.workflow.screening_runs import open_fresh_test

    state = open_fresh_test(book, screening, variant)
    control = "" if (state.request or {}).get("control") else " --control NAME"
    show("It has a claim and the draft of a plan; none of the runs of the screening counts in it.")
    _opened(book, state.id, f"Next: truerun amend {{number}} --seal{control}, then truerun run {{number}}")


def _opened(book: Notebook, test: str, following: str) -> None:
    """Say which test was opened, and what comes next."""
    from truerun.workflow.bench import state_of

    number = next(row.number for row in book.tests() if row.id == test)
    show(f'Test {number} "{state_of(book, test).name}" is open in {book.place}.')
    say(following.format(number=number))


def note_screened(book: Notebook, test: str, seconds: float) -> None:
    """Note the time of the next run of a screening."""
    from truerun.workflow.bench import state_of
    from truerun.workflow.screening_runs import record_screened

    record_screened(book, test, state_of(book, test).next_screened or 0, seconds)
    show(_done(book, test))


def lead_screening(book: Notebook, test: str) -> None:
    """Lead through the runs of a screening that are left."""
    from truerun.workflow.bench import state_of

    while (slot := state_of(book, test).next_screened) is not None:
        _one_run(book, test, slot)
        show(_done(book, test))
        if state_of(book, test).next_screened is None or not ask("Go on? y or n", yes_or_no, default="y"):
            break


def _one_run(book: Notebook, test: str, slot: int) -> None:
    """Lead through one run; it is written when its time is known."""
    from truerun.workflow.bench import state_of
    from truerun.workflow.screening_runs import record_screened, stop_screened

    say(f"\nRun {slot}: {state_of(book, test).drawn[slot - 1]}")
    say("Take the last one off and set this one, even if it looks the same. Guard closed, eyes protected.")
    _press("Enter as you let go")
    begun = time.monotonic()
    answer = _press(_KEYS)
    seconds = time.monotonic() - begun
    if answer.startswith("w") or not ask("Was all well? y or n", yes_or_no, default="y"):
        stop_screened(book, test, slot, ask("What happened, in a few words?"))
        say(f"Nobody had seen its time, so run {slot} is made again at once.")
    else:
        record_screened(book, test, slot, seconds, typed=False)


def _press(words: str) -> str:
    """Wait for a key."""
    answer: str = click.prompt(words, default="", err=True, show_default=False, prompt_suffix=" > ")
    return answer.strip().lower()


def _done(book: Notebook, test: str) -> str:
    """Say how far the screening is."""
    from truerun.workflow.bench import state_of

    state = state_of(book, test)
    planned = len(state.drawn)
    if state.next_screened is None:
        return f"All {planned} runs are done. Next: truerun decide"
    slot = state.next_screened
    return f"{slot - 1} of {planned} runs are done. Next: run {slot}, {state.drawn[slot - 1]}."
