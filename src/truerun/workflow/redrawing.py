"""Drawing the order of a sealed plan anew, before the first run; how often it was drawn stays to be seen."""

from __future__ import annotations

import secrets
import uuid
from datetime import datetime

from truerun.errors import PlanBroken
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import Notebook
from truerun.stats.orders import orders_for
from truerun.trial.plan import Plan
from truerun.trial.seal import drawn_order, seal_of
from truerun.workflow.bench import state_of
from truerun.workflow.plan_files import SealedPlan, read_plan

__all__ = ["draw_again"]


def draw_again(notebook: Notebook, test: str, head: str, *, seed: str | None = None) -> SealedPlan:
    """Draw the order of a test's plan anew and seal it; all else of the plan stays as it is.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Its id.
    head : str
        Digest of the last line that was seen.
    seed : str, optional
        Of the draw; None: from the system's source of chance.

    Returns
    -------
    SealedPlan
        With its own seal. The state of the test counts the draws.

    Raises
    ------
    PlanBroken
        If nothing is sealed yet, or a run was begun.
    """
    state = state_of(notebook, test)
    if state.plan is None:
        raise PlanBroken("An order is drawn anew after it was sealed", "none is sealed yet", "Seal the plan first.")
    if state.runs:
        raise PlanBroken("An order is drawn before the first run", "a run was begun", "Open a new test instead.")
    drawn = _drawn(read_plan(state.plan).plan, seed or secrets.token_hex(16), notebook.time())
    seal = seal_of(drawn)
    notebook.append(test, Kind.SEALED, {"plan": drawn.document() | {"seal": seal.document()}}, head=head)
    return SealedPlan(drawn, seal)


def _drawn(plan: Plan, seed: str, time: str) -> Plan:
    """Give the plan with another order."""
    made = datetime.fromisoformat(time).replace(microsecond=0).isoformat().replace("+00:00", "Z")
    spare = _names(plan, len(plan.stopping.spare_order), f"{seed}|spare") if plan.stopping.spare_order else ()
    changed = {
        "id": str(uuid.uuid4()),
        "seed": seed,
        "order": _names(plan, plan.runs, seed),
        "stopping": plan.stopping.model_copy(update={"spare_order": spare}),
        "made": made,
    }
    return plan.model_copy(update=changed)


def _names(plan: Plan, runs: int, seed: str) -> tuple[str, ...]:
    """Draw an order and name the condition of each run."""
    names, signs = plan.conditions, drawn_order(orders_for(plan.orders, runs), seed)
    return tuple(names.source if sign > 0 else names.control for sign in signs)
