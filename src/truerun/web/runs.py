"""At the bench: sittings with their warm-up, the sheet of the next run, all runs, and taking a run back."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from starlette.responses import JSONResponse, Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.entries import Kind
from truerun.notebook.state import RunState, TestState
from truerun.report.bench_lists import ONCE_A_BLOCK
from truerun.report.plan_words import plan_end_words
from truerun.trial.mishaps import excused
from truerun.trial.plan import Plan
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.road import next_step
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import begin_run, note, start_session, stop_clock, warm_up
from truerun.workflow.bench import guess as write_guess
from truerun.workflow.bench import withdraw as take_back
from truerun.workflow.pace import time_after
from truerun.workflow.plan_files import read_plan
from truerun.workflow.rig import launch_for
from truerun.workflow.showing import covered

__all__ = [
    "asks_for",
    "guess",
    "lacking",
    "runs",
    "session",
    "sheet",
    "sheet_now",
    "shows_condition",
    "typed_time",
    "warm",
    "withdraw",
    "write_note",
]

_BLIND = 2
"""Grade of blinding from which who times must not know the condition."""

_GUESSES = 3
"""Grade of blinding at which guesses are written down."""


@dataclass(frozen=True, slots=True)
class Line:
    """One attempt, or one run that is still to come; ``condition`` is None where it must not be shown yet."""

    slot: int
    condition: str | None
    is_source: bool
    attempt: int
    words: str
    time: str | None
    run: str | None
    left_out: str | None


def _plan(state: TestState) -> Plan:
    """Give the sealed plan."""
    if state.plan is None:
        raise PlanBroken("Runs follow a sealed plan", "none is sealed yet", "Seal the plan first.")
    return read_plan(state.plan).plan


def runs(visit: Visit) -> Response:
    """Show every run: conditions up to the next one, times only once the result is open."""
    row = visit.row
    state = visit.state(row)
    if state.plan is None:
        return page_of_test(visit, row, state, "runs_none.html.j2", here="runs", step=next_step(row.number, state))
    plan = _plan(state)
    return page_of_test(
        visit,
        row,
        state,
        "runs.html.j2",
        here="runs",
        lines=_lines(plan, state),
        lacking=lacking(plan, state),
        open=_may_see(state),
        blind=plan.blinding.grade >= _BLIND,
        step=next_step(row.number, state),
        form=str(uuid.uuid4()),
    )


def shows_condition(plan: Plan, *, tried: bool, seen: bool) -> bool:
    """Tell whether a page that anybody may open names the condition of a run: not where somebody must not know it."""
    return plan.drawn_by == "lot" and (seen or (tried and plan.blinding.grade < _BLIND))


def lacking(plan: Plan, state: TestState) -> list[tuple[int, str]]:
    """Name what the plan wants measured before each launch and was not noted yet, by run."""
    counted = [run for run in state.runs if run.counts and state.decided is None]
    missing = [(run.slot, [each for each in plan.covariates if each not in run.measured]) for run in counted]
    return [(slot, ", ".join(names)) for slot, names in missing if names]


def _may_see(state: TestState) -> bool:
    """Tell whether times may stand beside conditions: the result is open, and was opened."""
    return not covered(state) and state.decided is not None


def _lines(plan: Plan, state: TestState) -> list[Line]:
    """Give a line for every attempt and every run to come."""
    lines, seen = [], _may_see(state)
    for slot, name in enumerate(plan.order, 1):
        tried = [run for run in state.runs if run.slot == slot]
        known = shows_condition(plan, tried=bool(tried) or slot == state.next_slot, seen=seen)
        shown = (slot, name if known else None, name == plan.conditions.source)
        lines += [Line(*shown, run.attempt, _stands(run), _time(run, seen=seen), run.id, run.left_out) for run in tried]
        if not tried or (slot == state.next_slot and tried[-1].ended):
            words = "next" if slot == state.next_slot else "to come"
            lines.append(Line(*shown, len(tried) + 1, words, None, None, None))
    return lines


def _stands(run: RunState) -> str:
    """Say how an attempt stands."""
    if run.left_out is not None:
        unseen = "left out unseen, as the plan said" if run.excused else "stopped before its time was seen"
        return "left out, its time had been seen" if run.seen else unseen
    if not run.ended:
        return "begun"
    return "done, typed in" if run.typed else "done"


def _time(run: RunState, *, seen: bool) -> str | None:
    """Write the time of a run, where it may be seen."""
    return f"{run.seconds:.2f}" if seen and run.seconds is not None else None


def session(visit: Visit) -> Response:
    """Begin a sitting; its warm-up launches come first."""
    row = visit.row
    state = visit.state(row)
    plan = _plan(state)
    form = Form(visit.form)
    if visit.posted:
        degrees = form.celsius("temperature", "The temperature")
        if not form.troubles:
            start_session(visit.notebook, row.id, words=form.said("note"), temperature=degrees)
            return moved(f"/t/{row.number}/warm-up")
    status = 422 if form.troubles else 200
    first, now = state.next_slot or 1, _wall(visit)
    stops = [(each, time_after(state, now, each - first + 1)) for each in _breaks(plan) if each >= first]
    shown = {"plan": plan, "breaks": stops, "form": form}
    return page_of_test(visit, row, state, "session.html.j2", here="runs", status=status, **shown)


def _breaks(plan: Plan) -> Sequence[int]:
    """Give the runs after which a sitting may end: as planned, else the ends of blocks."""
    block = plan.order_set.block
    usual = range(block, plan.runs, block) if block else ()
    return plan.sessions.breaks_after or tuple(usual)


def warm(visit: Visit) -> Response:
    """Count the warm-up launches of a sitting."""
    row = visit.row
    state = visit.state(row)
    plan = _plan(state)
    if not state.sessions:
        return moved(f"/t/{row.number}/session")
    if visit.posted:
        warm_up(visit.notebook, row.id, sender=visit.form.get("sender") or None)
        return moved(f"/t/{row.number}/warm-up")
    return page_of_test(
        visit,
        row,
        state,
        "warm_up.html.j2",
        here="runs",
        planned=plan.sessions.warm_up_launches,
        launch=launch_for(plan, state.rig),
        step=next_step(row.number, state),
        sender=f"warm-up-{state.sessions}-{state.warm_ups + 1}",
    )


def sheet(visit: Visit) -> Response:
    """Show the sheet of the next run; another one leads to it, or says that it is done."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    plan = _plan(state)
    if not 1 <= slot <= plan.runs:
        raise ValueOutOfRange("The run", slot, f"1 to {plan.runs}", "See all runs.")
    if state.closed is not None or slot != state.next_slot:
        return _not_this_one(visit, state, slot)
    if not state.sessions:
        return moved(f"/t/{row.number}/session")
    return page_of_test(visit, row, state, "sheet.html.j2", here="runs", **_sheet(plan, state, slot, _wall(visit)))


def sheet_now(visit: Visit) -> Response:
    """Say where a run stands, to a sheet of it that lies open: phones or a terminal may have begun or ended it."""
    slot = int(visit.place["slot"])
    state = visit.state(visit.row)
    waiting = state.open_run
    following = state.closed is None and slot == state.next_slot
    return JSONResponse(
        {
            "next": following,
            "attempt": _attempt(state, slot),
            "run": waiting.id if following and waiting else "",
            "started": following and waiting is not None and waiting.started is not None,
        }
    )


def _attempt(state: TestState, slot: int) -> int:
    """Count the attempt at a run that waits or comes next."""
    return state.open_run.attempt if state.open_run else 1 + sum(run.slot == slot for run in state.runs)


def _sheet(plan: Plan, state: TestState, slot: int, now: datetime) -> dict[str, Any]:
    """Give what stands on a run sheet; ``now`` is the time on the wall."""
    name, waiting = plan.order[slot - 1], state.open_run
    before = plan.order[slot - 2] if slot > 1 else None
    block = plan.order_set.block
    best = next((each for each in _breaks(plan) if each >= slot), None)
    return {
        "launch": launch_for(plan, state.rig),
        "checks": ONCE_A_BLOCK if plan.order_set.begins_block(slot) else (),
        "stop_at": "" if best is None else time_after(state, now, best - slot + 1),
        "done_at": time_after(state, now, plan.runs - slot + 1),
        "covariates": plan.covariates,
        "measured": {} if waiting is None else waiting.measured,
        "slot": slot,
        "planned": plan.runs,
        "attempt": _attempt(state, slot),
        "run": waiting.id if waiting else "",
        "started": waiting is not None and waiting.started is not None,
        "condition": name,
        "is_source": name == plan.conditions.source,
        "again": name == before,
        "source": plan.conditions.source,
        "hidden": plan.drawn_by == "bag",
        "blind": plan.blinding.grade >= _BLIND,
        "guesses": plan.blinding.grade >= _GUESSES,
        "end": plan_end_words(plan),
        "stop_word": {"turns-back": "It turns back", "lies-still": "It lies still"}.get(plan.stop or "", "Stop"),
        "wrong": excused(plan.mishaps),
        "rule": plan.left_out_rule,
        "block": f"block {(slot - 1) // block + 1} of {plan.runs // block}" if block else "",
        "best_stop": best,
        "sitting": state.sessions,
    }


def _wall(visit: Visit) -> datetime:
    """Give the time on the wall, in the zone of this computer."""
    return datetime.fromisoformat(visit.notebook.time()).astimezone()


def _not_this_one(visit: Visit, state: TestState, slot: int) -> Response:
    """Say that a run is done, or not next yet."""
    row = visit.row
    done = any(run.slot == slot and run.ended for run in state.runs)
    step = next_step(row.number, state)
    return page_of_test(visit, row, state, "sheet_done.html.j2", here="runs", slot=slot, done=done, step=step)


def typed_time(visit: Visit) -> Response:
    """Take a time that was read off another watch."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    if slot != state.next_slot:
        return _not_this_one(visit, state, slot)
    form = Form(visit.form)
    if visit.posted:
        form.needed("seconds", "The time", "Write it as 61.2 or 2:03.4.")
        seconds = form.seconds("seconds", "The time")
        if seconds is not None and seconds <= 0:
            form.troubles["seconds"] = "The time must be above 0 s."
        if seconds is not None and not form.troubles:
            run = begin_run(visit.notebook, row.id, slot=slot)
            stop_clock(visit.notebook, row.id, run.id, seconds, typed=True, sender=f"typed-{run.id}")
            return moved(f"/t/{row.number}/runs/{slot}/guess" if _asks(state) else next_step_of(visit))
    plan = _plan(state)
    return page_of_test(
        visit,
        row,
        state,
        "typed.html.j2",
        here="runs",
        status=422 if form.troubles else 200,
        slot=slot,
        form=form,
        condition=plan.order[slot - 1] if shows_condition(plan, tried=True, seen=False) else None,
        is_source=plan.order[slot - 1] == plan.conditions.source,
        end=plan_end_words(plan),
    )


def _asks(state: TestState) -> bool:
    """Tell whether guesses are written down."""
    return _plan(state).blinding.grade >= _GUESSES


def next_step_of(visit: Visit) -> str:
    """Give the address of what comes next."""
    return next_step(visit.row.number, visit.state(visit.row)).address


def asks_for(run: RunState, state: TestState) -> bool:
    """Tell whether a guess of a run is still wanted: after the result is opened it would be none."""
    return run.counts and state.decided is None and _asks(state)


def guess(visit: Visit) -> Response:
    """Ask whoever did not know which condition they took a run for."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    plan = _plan(state)
    run = next((each for each in reversed(state.runs) if each.slot == slot and each.counts), None)
    if run is None or not asks_for(run, state):
        return moved(next_step_of(visit))
    form = Form(visit.form)
    names = (plan.conditions.source, plan.conditions.control)
    if visit.posted and form.one_of("condition", "The guess", names) in names:
        write_guess(visit.notebook, row.id, run.id, form["condition"], sender=f"guess-{run.id}")
        return moved(next_step_of(visit))
    return page_of_test(visit, row, state, "guess.html.j2", here="runs", slot=slot, names=names, form=form)


def withdraw(visit: Visit) -> Response:
    """Take a run back, with a reason; it stays in the record and is reckoned at its worst."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    run = next((each for each in reversed(state.runs) if each.slot == slot and each.counts), None)
    if run is None:
        raise ValueOutOfRange("The run", slot, "one that is done", "See all runs.")
    form = Form(visit.form)
    if visit.posted:
        why = form.needed("why", "The reason")
        form.one_of("sure", "That it cannot be undone", ("yes",))
        if not form.troubles:
            take_back(visit.notebook, row.id, _entry_of(visit, run), why=why, head=form["head"])
            return moved(f"/t/{row.number}/runs")
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "withdraw.html.j2", here="runs", slot=slot, form=form, status=status)


def _entry_of(visit: Visit, run: RunState) -> int:
    """Give the number of the entry that holds the time of a run."""
    kinds = (Kind.STOPPED, Kind.RECORDING)
    entries = visit.notebook.entries(visit.row.id)
    return next(each.number for each in reversed(entries) if each.kind in kinds and each.body.get("run") == run.id)


def write_note(visit: Visit) -> Response:
    """Write a note."""
    words = visit.form.get("words", "")
    if words:
        note(visit.notebook, visit.row.id, words, sender=visit.form.get("sender") or None)
    return moved(f"/t/{visit.row.number}/runs#notes")
