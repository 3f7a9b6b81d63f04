"""Tests that belong to another one: its controls, and answers to challenges; each is a test of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from truerun.errors import PlanBroken
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState
from truerun.trial.plan import Plan, Role
from truerun.workflow.bench import answer_challenge, draft_plan, state_of, write_claim
from truerun.workflow.plan_files import read_plan

__all__ = ["CONTROLS", "open_linked"]

CONTROLS: dict[Role, tuple[str, str, str]] = {
    Role.DUMMY: ("Dummy", "{source}", "dummy"),
    Role.REVERSAL: ("The other way round", "{source}", "{control}"),
    Role.POLARITY: ("Poles turned", "{source}, poles turned", "{control}"),
    Role.LOAD_MATCHED: ("Same pull", "{source}", "same pull"),
    Role.DISTANCE: ("Farther away", "{source}, farther away", "{control}"),
    Role.BENCH_TURNED: ("Bench turned", "bench turned", "bench as before"),
    Role.MAINS_OFF: ("Mains off", "{source}", "{control}"),
    Role.SAME_AGAINST_SAME: ("Same against same", "{control}, first", "{control}, second"),
    Role.PLANTED: ("Known help", "help hung on", "{control}"),
}
"""What a control is called in short, and what its two conditions are called until somebody writes it better."""

_OF_ITS_OWN = ("agreed", "role", "main_test", "note", "claim", "against", "claimant", "claimed", "source", "control")


def open_linked(
    notebook: Notebook,
    test: str,
    words: str,
    *,
    role: Role = Role.CHALLENGE,
    by: str | None = None,
    changed: str | None = None,
) -> TestState:
    """Open a test that belongs to another one, with the plan of that one as its draft; one that broke off is finished.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Id of the test that it belongs to.
    words : str
        A challenge in the words of whoever makes it; or what a control is called.
    role : Role
        What the new test is for.
    by : str, optional
        Who makes the challenge.
    changed : str, optional
        What the changed wheel is called, to be compared in place of the source.

    Returns
    -------
    TestState
        Of the new test: nothing of it is sealed, and everything of its draft can be changed.

    Raises
    ------
    PlanBroken
        If a control is asked for before the test itself has a sealed plan.
    ValueOutOfRange
        If there are no words.
    """
    state = state_of(notebook, test)
    if role in CONTROLS and state.plan is None:
        raise PlanBroken("A control follows a sealed plan", "none is sealed yet", "Seal the plan of this test first.")
    answer = answer_challenge(notebook, test, words, by=by, role=role)
    if answer.claim is None:
        write_claim(notebook, answer.id, words, by=by)
    draft = _draft(state, role, changed)
    if draft:
        draft_plan(notebook, answer.id, draft, notebook.head(answer.id).digest)
    return state_of(notebook, answer.id)


def _draft(state: TestState, role: Role, changed: str | None) -> dict[str, Any]:
    """Begin the plan of a linked test with what the other one fixed."""
    plan = None if state.plan is None else read_plan(state.plan).plan
    asked = state.request if state.request is not None else {} if plan is None else _asked_for(plan)
    draft = {key: value for key, value in asked.items() if key not in _OF_ITS_OWN}
    draft |= _names(asked, plan, role)
    if changed:
        draft["source"] = changed
    if plan is not None:
        draft |= {"role": role.value, "main_test": plan.id}
    return draft


def _names(asked: Mapping[str, Any], plan: Plan | None, role: Role) -> dict[str, str]:
    """Name the two conditions."""
    source = plan.conditions.source if plan is not None else asked.get("source")
    control = plan.conditions.control if plan is not None else asked.get("control")
    if not source or not control:
        return {}
    _, first, second = CONTROLS.get(role, ("", "{source}", "{control}"))
    return {
        name: text.format(source=source, control=control) for name, text in (("source", first), ("control", second))
    }


def _asked_for(plan: Plan) -> dict[str, Any]:
    """Give what a plan from elsewhere was asked for with."""
    asked = {
        "runs": plan.runs,
        "orders": plan.orders,
        "end": plan.end.value,
        "stop": plan.stop,
        "hill_bound": plan.hill_bound,
        "margin": plan.margin,
        "timing": plan.blinding.timing,
        "launch": plan.blinding.launch,
        "blinding": plan.blinding.grade,
        "warm_up_launches": plan.sessions.warm_up_launches,
        "spread": None if plan.forecast is None else plan.forecast.spread,
    }
    return {key: value for key, value in asked.items() if value is not None}
