"""Screening many variants: the list, its runs one by one, what it shows with luck said, and the fresh test."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

from truerun.errors import PlanBroken, TruerunError
from truerun.notebook.state import TestState
from truerun.report.screening_page import screening_said
from truerun.trial.screening import ScreeningPlan
from truerun.trial.seal import spoken
from truerun.units.formats import format_time
from truerun.units.number import whole_number
from truerun.web.forms import Form
from truerun.web.pages import page, page_of_test
from truerun.web.road import next_step, standing
from truerun.web.visit import Visit, moved
from truerun.workflow.rounds import read_sealed_rounds, sheet_text
from truerun.workflow.screening_runs import (
    fresh_test_of,
    open_fresh_test,
    open_screening,
    record_screened,
    screened,
    stop_screened,
)
from truerun.workflow.showing import covered

__all__ = ["fresh", "new", "screening", "sheet", "wrong"]

ENDS = (("speed", "at a set speed"), ("turns", "after a set count of turns"), ("standstill", "at standstill"))
REPEATS = tuple((str(each), str(each)) for each in (2, 3, 4))


def new(visit: Visit) -> Response:
    """Draw a screening from a list of variants, and seal it."""
    usual = {"repeats": "2", "end": "speed", "form": str(uuid.uuid4())}
    form = Form(visit.form if visit.posted else usual)
    if visit.posted:
        made = _opened(visit, form)
        if made is not None:
            return moved(f"/t/{made}/screening")
    status = 422 if form.troubles else 200
    return page(visit, "screening_new.html.j2", form=form, ends=ENDS, repeats=REPEATS, status=status)


def _opened(visit: Visit, form: Form) -> int | None:
    """Open what a form asks for, once; None where something is to be put right."""
    sent = form["form"]
    if sent in visit.bench.opened:
        return visit.bench.opened[sent]
    name = form.needed("name", "The name of the screening")
    form.needed("variants", "The list", "Write one variant a line.")
    repeats = form.one_of("repeats", "Runs of each", [key for key, _ in REPEATS])
    end = form.one_of("end", "What ends a run", [key for key, _ in ENDS])
    if form.troubles:
        return None
    variants = [line for each in form["variants"].splitlines() if (line := each.strip())]
    control, looking_for = form.said("control"), form.said("looking_for")
    try:
        state = open_screening(
            visit.notebook, name, variants, int(repeats), end=end, control=control, looking_for=looking_for
        )
    except TruerunError as error:
        form.troubles["control" if "control" in str(error) else "variants"] = str(error)
        return None
    number = next(row.number for row in visit.notebook.tests() if row.id == state.id)
    visit.bench.opened[sent] = number
    return number


def screening(visit: Visit) -> Response:
    """Show the next run and take its time; after the last one, what the screening shows."""
    row = visit.row
    state = visit.state(row)
    if state.screening is None:
        return moved("/screening")
    form = Form(visit.form if visit.posted else {})
    if visit.posted:
        form.needed("seconds", "The time", "Write it as 61.2 or 2:03.4.")
        seconds = form.seconds("seconds", "The time")
        if seconds is not None and seconds <= 0:
            form.troubles["seconds"] = "The time must be above 0 s."
        if seconds is not None and not form.troubles:
            record_screened(visit.notebook, row.id, _slot(form), seconds, sender=form.said("sender"))
            return moved(f"/t/{row.number}/screening")
    return _shown(visit, state, form)


def _slot(form: Form) -> int:
    """Give the run that a form is about."""
    return whole_number(form["slot"]) or 0


def wrong(visit: Visit) -> Response:
    """Write down that the next run was stopped before its time was seen."""
    row = visit.row
    state = visit.state(row)
    form = Form(visit.form)
    why = form.needed("why", "What went wrong", "A few words.")
    if form.troubles:
        return _shown(visit, state, form)
    stop_screened(visit.notebook, row.id, _slot(form), why, sender=form.said("sender"))
    return moved(f"/t/{row.number}/screening")


def _shown(visit: Visit, state: TestState, form: Form) -> Response:
    """Show a screening as it stands."""
    if state.screening is None:
        raise PlanBroken("A screening has a sealed list", "none is sealed here", "Open a screening.")
    plan, slot = state.screening, state.next_screened
    return page_of_test(
        visit,
        visit.row,
        state,
        "screening.html.j2" if slot is not None else "screening_done.html.j2",
        here="",
        status=422 if form.troubles else 200,
        form=form,
        plan=plan,
        slot=slot,
        lines=_lines(state),
        sender=str(uuid.uuid4()),
        code=[(group, spoken(group)) for group in plan["seal"]["code"].split()],
        **(_next(plan, slot) if slot is not None else _found(visit, state)),
    )


def _next(plan: Mapping[str, Any], slot: int) -> dict[str, Any]:
    """Give what stands on the page of the next run."""
    order = plan["order"]
    again = slot > 1 and order[slot - 1] == order[slot - 2]
    return {"round": (slot - 1) // len(plan["variants"]) + 1, "variant": order[slot - 1], "again": again}


def _found(visit: Visit, state: TestState) -> dict[str, Any]:
    """Give what a finished screening shows."""
    result = visit.bench.kept(("screening", state.head.digest), lambda: screened(state))
    said = visit.bench.kept(("said", state.head.digest), lambda: screening_said(result.screened, result.runs_needed()))
    ranked = sorted(result.screened.variants, key=lambda each: -each.mean)
    made = fresh_test_of(visit.notebook, state, result.candidate) if result.candidate else None
    tests = {row.id: row.number for row in visit.notebook.tests()}
    return {
        "said": said,
        "ranked": [each.name for each in ranked],
        "candidate": result.candidate,
        "step": None if made is None else next_step(tests[made.id], made),
        "made": None if made is None else standing(made),
    }


def _lines(state: TestState) -> list[tuple[int, str, str, str]]:
    """Give every attempt: run, variant, how it stands, and its time once all are done."""
    order, hidden = (state.screening or {})["order"], covered(state)
    rows = []
    for run in state.runs:
        stands = "done" if run.counts else f"stopped: {run.left_out}" if run.left_out else "begun"
        time = "" if hidden or run.seconds is None else format_time(run.seconds, 2)
        rows.append((run.slot, order[run.slot - 1], stands, time))
    return rows


def fresh(visit: Visit) -> Response:
    """Open the fresh test that decides."""
    answer = open_fresh_test(visit.notebook, visit.row.id, visit.form.get("variant") or None)
    number = next(row.number for row in visit.notebook.tests() if row.id == answer.id)
    return moved(f"/t/{number}/plan")


def sheet(visit: Visit) -> Response:
    """Give the run sheet to fill in on paper or elsewhere."""
    state = visit.state(visit.row)
    sealed = read_sealed_rounds(state.screening or {}, ScreeningPlan, "truerun screening")
    plan = sealed.plan
    text = sheet_text(plan.looking_for or state.name, sealed.seal, plan.order, plan.measurand, plan.repeats)
    name = {"content-disposition": f'attachment; filename="screening-{visit.row.number}.csv"'}
    return Response(text, media_type="text/csv", headers=name)
