"""A screening in a notebook: drawn and sealed, its runs one by one, and the fresh test of what it found."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime

from truerun.errors import HeadMoved, PlanBroken, ValueOutOfRange
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState
from truerun.series import Run, RunTable
from truerun.trial.plan import Role
from truerun.workflow.bench import (
    abort_run,
    answer_challenge,
    draft_plan,
    open_test,
    require_time,
    state_of,
    stop_clock,
    write_claim,
)
from truerun.workflow.kept_reports import keep_report
from truerun.workflow.screening import ScreeningResult, plan_screening, screen

__all__ = [
    "begin_screened",
    "fresh_test_of",
    "open_fresh_test",
    "open_screening",
    "record_screened",
    "report_screened",
    "screened",
    "stop_screened",
]

_AFRESH = ", tested afresh"


def open_screening(
    notebook: Notebook,
    name: str,
    variants: Sequence[str],
    repeats: int = 2,
    *,
    end: str,
    control: str | None = None,
    looking_for: str | None = None,
    invented: bool = False,
    seed: str | None = None,
) -> TestState:
    """Draw the order of a screening, seal it, and open it as a test of its own.

    Parameters
    ----------
    notebook : Notebook
    name : str
        What people call it.
    variants, repeats, end, control, looking_for, seed
        As for :func:`truerun.workflow.screening.plan_screening`.
    invented : bool
        Whether it never takes place.

    Returns
    -------
    TestState
        It is numbered and counted like any test.

    Raises
    ------
    TruerunError
        Before anything is written, if the list could say nothing.
    """
    made = datetime.fromisoformat(notebook.time())
    drawn = plan_screening(variants, repeats, end=end, control=control, looking_for=looking_for, seed=seed, made=made)
    test = open_test(notebook, name, invented=invented).id
    notebook.append(test, Kind.SCREENING, {"plan": drawn.document()}, head=notebook.head(test).digest)
    return state_of(notebook, test)


def begin_screened(notebook: Notebook, test: str, slot: int, *, sender: str | None = None) -> str:
    """Begin a run of a screening, and give its id.

    Raises
    ------
    PlanBroken
        If it is not the next one, or the screening is closed.
    """
    while True:
        state = state_of(notebook, test)
        if any(run.id == sender for run in state.runs):
            return str(sender)  # sent twice
        _require_next(state, slot)
        waiting = state.open_run
        if waiting is not None and waiting.slot == slot:
            return waiting.id  # begun before, and broken off before its time was written down
        tries = sum(run.slot == slot for run in state.runs)
        name = sender or str(uuid.uuid4())
        body = {"run": name, "slot": slot, "attempt": tries + 1}
        with suppress(HeadMoved):  # somebody else wrote in between, perhaps began this very run: look again
            notebook.append(test, Kind.RUN_BEGUN, body, sender=name, head=state.head.digest)
            return name


def _require_next(state: TestState, slot: int) -> None:
    """Refuse a run that is not the next one of an open screening."""
    if state.screening is None or state.closed is not None:
        found = "it was closed" if state.screening is not None else "none is sealed here"
        raise PlanBroken("A run belongs to an open screening", found, "Open a screening.")
    following = state.next_screened
    if following is None:
        raise PlanBroken(f"The screening has {len(state.drawn)} runs", "all are done", "See what it shows.")
    if slot != following:
        found = f"run {following} is next, and not run {slot}"
        raise PlanBroken("Runs are made in the order drawn", found, f"Make run {following}.")


def record_screened(
    notebook: Notebook, test: str, slot: int, seconds: float, *, typed: bool = True, sender: str | None = None
) -> None:
    """Write down the time of the next run of a screening [s]; ``typed`` where no watch of truerun took it.

    Raises
    ------
    ValueOutOfRange
        If that is no time of a run; nothing is written then.
    PlanBroken
        If it is not the next one, the screening is closed, or the run was given another time just now.
    """
    require_time(seconds)
    run = begin_screened(notebook, test, slot, sender=sender)
    stands = stop_clock(notebook, test, run, seconds, typed=typed, sender=f"{run}:time").body["seconds"]
    if stands != seconds:
        raise PlanBroken(f"Run {slot} has one time", f"another one, {seconds:g} s, came", "Write a note if it matters.")


def stop_screened(notebook: Notebook, test: str, slot: int, why: str, *, sender: str | None = None) -> None:
    """Write down that the next run was stopped before its time was seen; it is made again at once."""
    run = begin_screened(notebook, test, slot, sender=sender)
    abort_run(notebook, test, run, why, seen=False, sender=f"{run}:stopped")


def screened(state: TestState) -> ScreeningResult:
    """Say what a screening shows: counts only until its last run is done.

    Raises
    ------
    PlanBroken
        If the test is no screening.
    """
    if state.screening is None:
        raise PlanBroken("A screening has a sealed list", "none is sealed here", "Open a screening.")
    runs = tuple(
        Run(
            slot=run.slot,
            condition=state.drawn[run.slot - 1],
            value=run.seconds,
            unfinished=run.unfinished,
            attempt=run.attempt,
            left_out=run.left_out,
            seen=run.seen,
        )
        for run in state.runs
        if run.ended
    )
    return screen(RunTable(runs), dict(state.screening))


def report_screened(notebook: Notebook, test: str) -> str:
    """Write the page of a finished screening; that it was written is an entry.

    Raises
    ------
    PlanBroken
        If the test is no screening, or a run of it is not done.
    """
    state = state_of(notebook, test)
    result = screened(state)
    if result.stopped:
        raise PlanBroken("A screening is reported after its last run", "it is not done", "Make the runs that are left.")
    made = datetime.fromisoformat(notebook.time())
    page = result.report(made=made, invented=state.invented)
    keep_report(notebook, test, page, made)
    return page


def fresh_test_of(notebook: Notebook, state: TestState, variant: str) -> TestState | None:
    """Give the fresh test of a variant that was opened from a screening and not closed, None where there is none."""
    here = {row.id for row in notebook.tests()}
    opened = [state_of(notebook, str(each["test"])) for each in state.challenges if each["test"] in here]
    return next((made for made in opened if made.name == f"{variant}{_AFRESH}" and made.closed is None), None)


def open_fresh_test(notebook: Notebook, test: str, variant: str | None = None) -> TestState:
    """Open the fresh test that decides about a variant of a finished screening; once for each variant.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Id of the screening.
    variant : str, optional
        None: the candidate.

    Returns
    -------
    TestState
        With a claim and the draft of a plan; none of the screening's runs counts in it.

    Raises
    ------
    PlanBroken
        If a run of the screening is not done, or it names no candidate.
    ValueOutOfRange
        If it holds no such variant.
    """
    state = state_of(notebook, test)
    result = screened(state)
    if result.stopped:
        found = f"{result.screened.done} of {len(state.drawn)} runs are done"
        raise PlanBroken("A fresh test follows a finished screening", found, "Make the runs that are left.")
    values = result.fresh_test()
    names = (state.screening or {})["variants"]
    chosen = variant or result.candidate or ""
    if chosen not in names:
        raise ValueOutOfRange("The variant", f'"{chosen}"', "one of the screening's list")
    if chosen != result.candidate:
        control = values.get("control") or "the others"
        values |= {"source": chosen, "claim": f"With {chosen} it does better than with {control}."}
    made = fresh_test_of(notebook, state, chosen)
    if made is not None and (made.request is not None or made.plan is not None):
        return made
    answer = answer_challenge(notebook, test, f"{chosen}{_AFRESH}", role=Role.MAIN)
    claim = str(values.pop("claim"))
    if answer.claim is None:
        write_claim(notebook, answer.id, claim)
    draft_plan(notebook, answer.id, values, notebook.head(answer.id).digest)
    return state_of(notebook, answer.id)
