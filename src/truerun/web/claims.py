"""Opening a test, its claim, and what both sides agree on before anything is run."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.state import TestState
from truerun.trial.phrases import percent
from truerun.units.number import whole_number
from truerun.web.forms import Form
from truerun.web.pages import page, page_of_test
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import draft_plan, open_test, record_agreement, write_claim

__all__ = ["agreement", "answer", "claim", "new"]

SIDES = {"claimant": "the claimant", "sceptic": "the sceptic"}

QUESTIONS = {
    "fair": "Is this a fair test, and if not, what is missing?",
    "would_change_my_mind": "Which result would change my mind?",
    "excuse_to_come": "Which excuse do I expect to hear afterwards, from either side?",
}
"""What each side is asked, by the key of its answer."""


_OF_A_LOOK = ("pilot_spread", "pilot_runs", "run_minutes", "source", "control")
"""What a look hands on to the plan."""


def new(visit: Visit) -> Response:
    """Open a test with its claim."""
    if not visit.posted:
        values = {name: visit.query.get(name, "") for name in _OF_A_LOOK}
        return page(visit, "new.html.j2", form=Form(values | {"form": str(uuid.uuid4())}))
    form = Form(visit.form)
    name, words = form.needed("name", "The name of the test"), form.needed("words", "The claim")
    claimed = form.size("claimed", "The size of the claim")
    if form.troubles:
        return page(visit, "new.html.j2", form=form, status=422)
    sent = form["form"]
    if sent not in visit.bench.opened:
        state = open_test(visit.notebook, name)
        write_claim(visit.notebook, state.id, words, against=form.said("against"), by=form.said("by"), claimed=claimed)
        _keep_trial(visit, state.id, form)
        visit.bench.opened[sent] = next(row.number for row in visit.notebook.tests() if row.id == state.id)
    return moved(f"/t/{visit.bench.opened[sent]}/agreement")


def _keep_trial(visit: Visit, test: str, form: Form) -> None:
    """Keep what a look found as the beginning of a plan."""
    kept: dict[str, Any] = {name: form[name] for name in ("source", "control") if form[name]}
    spread, runs = form.share("pilot_spread", "The spread", percent=False), whole_number(form["pilot_runs"])
    if spread is not None and runs is not None:
        kept |= {"pilot_spread": spread, "pilot_runs": runs}
    minutes = form.minutes("run_minutes", "A run")
    if minutes is not None and minutes > 0:
        kept["run_minutes"] = minutes
    if kept:
        draft_plan(visit.notebook, test, kept, visit.notebook.head(test).digest)


def claim(visit: Visit) -> Response:
    """Show the claim; until the plan is sealed it can be written anew."""
    row = visit.row
    state = visit.state(row)
    open_ = state.plan is None
    if not visit.posted:
        return page_of_test(
            visit, row, state, "claim.html.j2", here="claim", form=Form(_typed(state.claim)), open=open_
        )
    if not open_:
        raise PlanBroken("The claim was sealed with the plan", "it is sealed", "Open a new test for another claim.")
    form = Form(visit.form)
    words, claimed = form.needed("words", "The claim"), form.size("claimed", "The size of the claim")
    if form.troubles:
        return page_of_test(visit, row, state, "claim.html.j2", here="claim", form=form, open=open_, status=422)
    write_claim(visit.notebook, row.id, words, against=form.said("against"), by=form.said("by"), claimed=claimed)
    return moved(f"/t/{row.number}/agreement")


def _typed(body: Mapping[str, Any] | None) -> dict[str, str]:
    """Give a claim as it would be typed."""
    if body is None:
        return {}
    texts = {name: body.get(name) or "" for name in ("words", "against", "by")}
    claimed = body.get("claimed")
    return texts | {"claimed": "" if claimed is None else f"{100 * claimed:g}"}


def agreement(visit: Visit) -> Response:
    """Show who has answered; the answers only once both are there or the plan is sealed."""
    row = visit.row
    state = visit.state(row)
    both = len(state.agreed) == len(SIDES) or state.plan is not None
    return page_of_test(
        visit,
        row,
        state,
        "agreement.html.j2",
        here="agreement",
        sides=SIDES,
        questions=QUESTIONS,
        both=both,
        claimed=_claimed(state),
    )


def _claimed(state: TestState) -> str | None:
    """Write the size of the claim."""
    size = (state.claim or {}).get("claimed")
    return None if size is None else percent(size)


def answer(visit: Visit) -> Response:
    """Take the answers of one side."""
    row = visit.row
    state = visit.state(row)
    side = str(visit.place["side"])
    if side not in SIDES:
        raise ValueOutOfRange("Who answers", f'"{side}"', "claimant or sceptic")
    if state.plan is not None:
        raise PlanBroken("Answers are given before the plan is sealed", "it is sealed", "Write a note instead.")
    if not visit.posted:
        given = {name: str(value or "") for name, value in state.agreed.get(side, {}).items()}
        form = Form(given if len(state.agreed) < len(SIDES) else {})
        return _asked(visit, side, form)
    form = Form(visit.form)
    form.needed("would_change_my_mind", "What would change your mind")
    if form.troubles:
        return _asked(visit, side, form, status=422)
    record_agreement(visit.notebook, row.id, side, {key: form.said(key) for key in QUESTIONS})
    return moved(f"/t/{row.number}/agreement")


def _asked(visit: Visit, side: str, form: Form, *, status: int = 200) -> Response:
    """Show the questions to one side."""
    row = visit.row
    return page_of_test(
        visit,
        row,
        visit.state(row),
        "answer.html.j2",
        here="agreement",
        side=side,
        called=SIDES[side],
        questions=QUESTIONS,
        form=form,
        status=status,
    )
