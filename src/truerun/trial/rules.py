"""The rules of one comparison: from a sealed plan, or from the word of the person who brings a table."""

from __future__ import annotations

from dataclasses import dataclass, field

from truerun.stats.orders import orders_for
from truerun.stats.stages import planned_look
from truerun.trial.plan import Blinding, Conditions, End, Measurand, Plan, Role, Stopping, Window

__all__ = ["HAND_ERROR", "Rules", "rules_at_look", "rules_of_plan"]

HAND_ERROR = 0.10
"""Start and stop by hand together, standard uncertainty [s]: Am. J. Phys. 87 (2019) 110."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What decides, and by which figures.

    ``orders`` is the name of the set the order was drawn from (None: not said), ``adjust`` the columns that are
    adjusted for (``run-number``, ``session`` or the heading of a further column), ``sealed_covariates`` those among
    them that were fixed before the first run. ``plan`` is None for a table without one. ``stop`` says which stop a run
    to standstill was timed to, ``hill_bound`` the largest share of a time that capture alone could change.
    ``controls_without`` are those of ``controls_done`` in which the difference was not found again.
    """

    conditions: Conditions
    measurand: Measurand = field(default_factory=Measurand)
    end: End | None = None
    stop: str | None = None
    hill_bound: float | None = None
    window: Window | None = None
    orders: str | None = None
    adjust: tuple[str, ...] = ()
    alpha: float = 0.05
    margin: float | None = None
    claimed: float | None = None
    blinding: Blinding = field(default_factory=Blinding)
    role: Role = Role.MAIN
    controls_done: tuple[Role, ...] = ()
    controls_without: tuple[Role, ...] = ()
    plan: Plan | None = None
    seed: str | None = None
    seal_broken: bool = False

    @property
    def controls_settled(self) -> tuple[Role, ...]:
        """Controls that were made and in which the difference was found again, so that they take causes out."""
        return tuple(role for role in self.controls_done if role not in self.controls_without)

    @property
    def by_hand(self) -> bool:
        """Whether times were taken by a hand that knew the condition."""
        return self.blinding.timing == "hand" and self.blinding.grade == 0 and self.measurand.name == "time"


def rules_of_plan(plan: Plan, *, seal_broken: bool = False, controls_done: tuple[Role, ...] = ()) -> Rules:
    """Give the rules that a plan sealed.

    Parameters
    ----------
    plan : Plan
        Sealed before the first run.
    seal_broken : bool
        Whether the result is to be seen although the planned runs are not all there.
    controls_done : tuple of Role
        Roles of the finished tests linked to this one.

    Returns
    -------
    Rules
    """
    return Rules(
        conditions=plan.conditions,
        measurand=plan.measurand,
        end=plan.end,
        stop=plan.stop,
        hill_bound=plan.hill_bound,
        window=plan.window if isinstance(plan.window, Window) else None,
        orders=plan.orders,
        adjust=plan.adjust,
        alpha=_last_alpha(plan),
        margin=plan.margin,
        claimed=plan.claimed,
        blinding=plan.blinding,
        role=plan.role,
        controls_done=controls_done,
        plan=plan,
        seed=plan.seed,
        seal_broken=seal_broken,
    )


def rules_at_look(plan: Plan) -> Rules:
    """Give the rules of the planned look: the first runs alone, at the level of the look.

    Parameters
    ----------
    plan : Plan
        With a planned look.

    Returns
    -------
    Rules
    """
    runs = plan.stopping.look_after or plan.runs
    first = plan.model_copy(
        update={"runs": runs, "order": plan.order[:runs], "alpha": plan.stopping.look_alpha, "stopping": Stopping()}
    )
    return rules_of_plan(first)


def _last_alpha(plan: Plan) -> float:
    """Give the level left for the end of the test."""
    if plan.stopping.look_after is None:
        return plan.alpha
    first = orders_for(plan.orders, plan.stopping.look_after).count
    return planned_look(first, plan.order_set.count, plan.alpha, plan.stopping.look_alpha).last_alpha
