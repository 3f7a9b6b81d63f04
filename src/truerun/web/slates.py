"""The slate of a run: held before the camera, so that a film can be matched to its run, its seal and its logbook."""

from __future__ import annotations

from starlette.responses import Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.trial.plan import Plan
from truerun.trial.seal import spoken_code
from truerun.web.pages import page
from truerun.web.visit import Visit
from truerun.workflow.plan_files import read_plan

__all__ = ["slate"]

_KNOWING = 1
"""Highest grade of blinding at which whoever launches may know the condition."""


def slate(visit: Visit) -> Response:
    """Show the slate of the next run, or of one that was begun."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    if state.plan is None:
        raise PlanBroken("A slate belongs to a sealed plan", "none is sealed yet", "Seal the plan first.")
    plan = read_plan(state.plan).plan
    begun = any(run.slot == slot for run in state.runs)
    if not 1 <= slot <= plan.runs or not (begun or slot == state.next_slot):
        raise ValueOutOfRange("The run", slot, "one that was begun, or the next one", "Open the slate of the next run.")
    return page(
        visit,
        "slate.html.j2",
        state=state,
        row=row,
        slot=slot,
        planned=plan.runs,
        told=_told(plan),
        condition=plan.order[slot - 1],
        is_source=plan.order[slot - 1] == plan.conditions.source,
        code=read_plan(state.plan).seal.code,
        line=state.head.count,
        closed=" ".join(spoken_code(state.head.digest).split()[:2]),
        back=f"/t/{row.number}/runs/{slot}" + ("/sheet" if slot == state.next_slot else ""),
    )


def _told(plan: Plan) -> str:
    """Say what stands for the condition: itself, a cartridge from the bag, or nothing where it is covered."""
    if plan.drawn_by == "bag":
        return "cartridge"
    return "condition" if plan.blinding.grade <= _KNOWING else "covered"
