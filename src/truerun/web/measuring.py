"""What was measured before the launch of a run and may also matter, such as a temperature."""

from __future__ import annotations

from starlette.responses import Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import note

__all__ = ["measured"]


def measured(visit: Visit) -> Response:
    """Note a value with its name beside a run; it feeds the checks, not the verdict."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    run = next((each for each in reversed(state.runs) if each.slot == slot), None)
    if run is None:
        raise ValueOutOfRange("The run", slot, "one that was begun", "See all runs.")
    if state.decided is not None:
        raise PlanBroken(
            "What was measured is noted before the result is opened", "it is open", "Write a note instead."
        )
    form = Form(visit.form if visit.posted else {"name": next(iter(run.measured), "temperature")})
    if visit.posted:
        name = form.needed("name", "What was measured")
        form.needed("value", "The value", "Write a number, such as 21.5.")
        value = form.number("value", "The value")
        if value is not None and not form.troubles:
            words = f"{name} {value:g}, before the launch of run {slot}"
            note(visit.notebook, row.id, words, run=run.id, measured={name: value})
            return moved(f"/t/{row.number}/runs/{slot}")
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "measured.html.j2", here="runs", status=status, form=form, slot=slot)
