"""Putting right what was written: the logbook of a test, taking back, correcting, drawing anew, closing.

Nothing is written over. Each change is a line of its own, and what stood there before stays to be seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from starlette.responses import Response

from truerun.errors import HeadMoved, PlanBroken, ValueOutOfRange
from truerun.notebook.entries import Entry, Kind
from truerun.notebook.state import TestState
from truerun.units.formats import format_time
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import close_test, withdraw
from truerun.workflow.bench import correct as write_correction
from truerun.workflow.entry_wording import entry_time, entry_words
from truerun.workflow.redrawing import draw_again

__all__ = ["close", "correct", "logbook", "redraw", "take_back"]

CALLED: dict[Kind, str] = {
    Kind.OPENED: "Test opened",
    Kind.CLAIM: "Claim",
    Kind.AGREEMENT: "Answers of one side",
    Kind.RIG: "Rig",
    Kind.PLAN: "Draft of the plan",
    Kind.SEALED: "Order drawn, plan sealed",
    Kind.SESSION: "Sitting begun",
    Kind.WARM_UP: "Warm-up launch",
    Kind.RUN_BEGUN: "Run begun",
    Kind.STARTED: "Watch started",
    Kind.TAP: "Tap",
    Kind.STOPPED: "Time of a run",
    Kind.ABORTED: "Run stopped",
    Kind.WENT_WRONG: "Something went wrong",
    Kind.PASSES: "Passes",
    Kind.INTERRUPTED: "Interrupted",
    Kind.RECORDING: "Recording",
    Kind.PHOTO: "Photo",
    Kind.GUESS: "Guess",
    Kind.NOTE: "Note",
    Kind.CORRECTED: "Corrected",
    Kind.WITHDRAWN: "Taken back",
    Kind.SEAL_BROKEN: "Seal broken",
    Kind.CLOSED: "Test closed",
    Kind.DECIDED: "Result opened",
    Kind.REPORTED: "Report written",
    Kind.BUNDLED: "Handed on as one file",
    Kind.CHALLENGE: "Linked test opened",
    Kind.SCREENING: "Screening sealed",
}
"""What an entry is called on a page."""

_TAKEN_BACK = (Kind.NOTE, Kind.PHOTO, Kind.GUESS, Kind.RIG, Kind.WARM_UP)
_OF_A_RUN = (Kind.STOPPED, Kind.RECORDING)
_QUIET = (Kind.TAP, Kind.PASSES)
_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the logbook, and where it can be put right; ``gone`` where it was taken back."""

    number: int
    time: str
    called: str
    words: str
    gone: bool
    back: str | None = None
    right: str | None = None


def logbook(visit: Visit) -> Response:
    """Show what was written, the last line first; times stay covered as long as the result is."""
    row = visit.row
    state = visit.state(row)
    every = visit.query.get("all") == "yes"
    entries = visit.notebook.entries(row.id) if every else visit.notebook.entries(row.id, last=_AT_ONCE)
    lines = [_line(row.number, state, each) for each in reversed(entries) if every or each.kind not in _QUIET]
    return page_of_test(
        visit, row, state, "logbook.html.j2", here="", lines=lines, every=every, more=state.head.count > len(lines)
    )


def _line(number: int, state: TestState, entry: Entry) -> Line:
    """Show one line."""
    gone = entry.number in state.withdrawn
    at = f"/t/{number}/logbook/{entry.number}"
    slot = next((run.slot for run in state.runs if run.id == entry.body.get("run")), None)
    back = right = None
    if not gone and state.closed is None:
        if entry.kind in _TAKEN_BACK:
            back = f"{at}/take-back"
        if entry.kind in _OF_A_RUN and slot is not None and state.decided is None:
            back = f"/t/{number}/runs/{slot}/withdraw"
        if entry.kind is Kind.STOPPED and state.decided is None:
            right = f"{at}/correct"
    words = entry_words(state, entry)
    return Line(entry.number, entry_time(state, entry), CALLED[entry.kind], words, gone, back, right)


def _entry(visit: Visit, kinds: tuple[Kind, ...], what: str) -> Entry:
    """Give the entry that the path names, which must be of one of these kinds."""
    state, number = visit.state(visit.row), int(visit.place["entry"])
    stands = 1 <= number <= state.head.count
    found = visit.notebook.entries(visit.row.id, number - 1, first=1) if stands else []
    if not found or found[0].kind not in kinds or number in state.withdrawn:
        allowed = " or ".join(f"“{CALLED[kind].lower()}”" for kind in kinds)
        raise ValueOutOfRange(f"The line that {what}", number, f"one of {allowed} that stands", "See the logbook.")
    return found[0]


def _written(form: Form, write: Callable[[], object]) -> bool:
    """Write; where somebody else wrote in between, keep what was typed and say so."""
    try:
        write()
    except HeadMoved as error:
        form.troubles["head"] = str(error)
        return False
    return True


def take_back(visit: Visit) -> Response:
    """Take back a line; it stays to be seen, and so does that it was taken back."""
    row = visit.row
    state = visit.state(row)
    entry = _entry(visit, _TAKEN_BACK, "is taken back")
    form = Form(visit.form if visit.posted else {"head": state.head.digest})
    if visit.posted:
        why = form.needed("why", "The reason")

        def write() -> Entry:
            return withdraw(visit.notebook, row.id, entry.number, why=why, head=form["head"])

        if not form.troubles and _written(form, write):
            return moved(f"/t/{row.number}/logbook")
    line = _line(row.number, state, entry)
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "take_back.html.j2", here="", status=status, form=form, line=line)


def correct(visit: Visit) -> Response:
    """Correct the time of a run that was typed or read wrongly; the old value stays to be seen."""
    row = visit.row
    state = visit.state(row)
    entry = _entry(visit, (Kind.STOPPED,), "is corrected")
    if state.decided is not None:
        raise PlanBroken(
            "A time is corrected before the result is opened", "it is open", "Write a note of the mistake instead."
        )
    run = next(each for each in state.runs if each.id == entry.body["run"])
    form = Form(visit.form if visit.posted else {"head": state.head.digest})
    if visit.posted:
        form.needed("seconds", "The right time", "Write it as 61.2 or 2:03.4.")
        seconds, why = form.seconds("seconds", "The right time"), form.needed("why", "The reason")
        if seconds is not None and seconds <= 0:
            form.troubles["seconds"] = "The time must be above 0 s."

        def write() -> Entry:
            changes = {"seconds": seconds}
            return write_correction(visit.notebook, row.id, entry.number, changes, why=why, head=form["head"])

        if not form.troubles and _written(form, write):
            return moved(f"/t/{row.number}/logbook")
    status = 422 if form.troubles else 200
    before = None if run.seconds is None else format_time(run.seconds, 2)
    return page_of_test(
        visit,
        row,
        state,
        "correct.html.j2",
        here="",
        status=status,
        form=form,
        slot=run.slot,
        before=before,
        entry=entry.number,
    )


def redraw(visit: Visit) -> Response:
    """Draw the order anew before the first run; every draw is counted and said."""
    row = visit.row
    state = visit.state(row)
    if state.plan is None:
        return moved(f"/t/{row.number}/plan")
    form = Form(visit.form if visit.posted else {"head": state.head.digest})
    if visit.posted:
        form.one_of("sure", "That every draw is counted", ("yes",))
        if not form.troubles and _written(form, lambda: draw_again(visit.notebook, row.id, form["head"])):
            return moved(f"/t/{row.number}/plan/seal")
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "redraw.html.j2", here="plan", status=status, form=form)


def close(visit: Visit) -> Response:
    """Close a test for good; it keeps its number and takes no more runs."""
    row = visit.row
    state = visit.state(row)
    if state.closed is not None:
        return moved(f"/t/{row.number}/logbook")
    form = Form(visit.form if visit.posted else {"head": state.head.digest})
    if visit.posted:
        why = form.needed("why", "The reason")
        form.one_of("sure", "That it cannot be undone", ("yes",))
        if not form.troubles and _written(form, lambda: close_test(visit.notebook, row.id, why=why, head=form["head"])):
            return moved(f"/t/{row.number}/logbook")
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "close.html.j2", here="", status=status, form=form)
