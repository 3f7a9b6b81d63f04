"""What was measured before the launch of a run and may also matter, such as a temperature."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.state import RunState, TestState
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import begin_run, note
from truerun.workflow.plan_files import read_plan

__all__ = ["measured", "note_typed"]


def measured(visit: Visit) -> Response:
    """Note what was measured beside a run: what the plan names, which the verdict allows for, and what feeds checks."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    run = _run(state, slot)
    if state.decided is not None:
        raise PlanBroken(
            "What was measured is noted before the result is opened", "it is open", "Write a note instead."
        )
    named = read_plan(state.plan or {}).plan.covariates
    form = Form(visit.form if visit.posted else _typed(run, named))
    if visit.posted:
        values = _values(form, named)
        if not form.troubles:
            run = run or begin_run(visit.notebook, row.id, slot=slot)
            _note(visit, run, values)
            back = form["back"] == "sheet" and not run.ended
            return moved(f"/t/{row.number}/runs/{slot}" + ("/sheet" if back else ""))
    shown: dict[str, Any] = {"form": form, "slot": slot, "named": named}
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "measured.html.j2", here="runs", status=status, **shown)


def note_typed(visit: Visit, state: TestState, run: RunState, typed: Mapping[str, str], sender: str) -> None:
    """Note what stood typed on the run sheet when its watch was started.

    Raises
    ------
    ValueOutOfRange
        If something typed is no number.
    """
    form = Form({name: text.strip() for name, text in typed.items()})
    values = _values(form, read_plan(state.plan or {}).plan.covariates)
    if form.troubles:
        remedy = f"Write it down on the page of run {run.slot}."
        raise ValueOutOfRange(f"What was measured before run {run.slot}", "no number", "a number, such as 21.5", remedy)
    _note(visit, run, values, sender)


def _note(visit: Visit, run: RunState, values: dict[str, float], sender: str | None = None) -> None:
    """Write down what was measured before the launch of a run."""
    listed = "; ".join(f"{name} {value:g}" for name, value in values.items())
    words = f"{listed}, before the launch of run {run.slot}"
    note(visit.notebook, visit.row.id, words, run=run.id, measured=values, sender=sender)


def _run(state: TestState, slot: int) -> RunState | None:
    """Give the last attempt at a run, None where it is the next one and was not begun."""
    run = next((each for each in reversed(state.runs) if each.slot == slot), None)
    next_one = slot == state.next_slot and state.closed is None and bool(state.sessions)
    if run is None and not next_one:
        raise ValueOutOfRange("The run", slot, "one that was begun", "See all runs.")
    return None if next_one and run is not None and run.ended else run


def _typed(run: RunState | None, named: tuple[str, ...]) -> dict[str, str]:
    """Give what was noted before, as it would be typed."""
    noted = {} if run is None else run.measured
    other = next((each for each in noted if each not in named), "" if named else "temperature")
    return {"name": other} | {
        f"covariate-{place}": f"{noted[each]:g}" for place, each in enumerate(named) if each in noted
    }


def _values(form: Form, named: tuple[str, ...]) -> dict[str, float]:
    """Read what was measured; at least one value is needed."""
    values = {}
    for place, each in enumerate(named):
        value = form.number(f"covariate-{place}", each)
        if value is not None:
            values[each] = value
    if form["value"] or not (values or form.troubles):
        values |= _other(form, named, alone=not values)
    return values


def _other(form: Form, named: tuple[str, ...], *, alone: bool) -> dict[str, float]:
    """Read a value with a name of its own; where nothing at all was typed, ask for the first that the plan names."""
    if alone and named and not form["value"]:
        form.needed("covariate-0", named[0], "Write a number, such as 21.5.")
        return {}
    name = form.needed("name", "What was measured")
    form.needed("value", "The value", "Write a number, such as 21.5.")
    value = form.number("value", "The value")
    return {} if value is None else {name: value}
