"""Which tests are about one claim: "test 2 of 3 of this claim", and which of them are not here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truerun.trial.plan import Plan, Role

__all__ = ["Place", "places"]


@dataclass(frozen=True, slots=True)
class Place:
    """Place of a test among those of its claim: ``number`` of ``of``, in the order of their seals.

    ``claim`` counts the different claims, from 0; ``missing`` are the ids of tests of it that others answer to and
    that are not here.
    """

    claim: int
    number: int
    of: int
    missing: tuple[str, ...]


def places(plans: Sequence[Plan | None]) -> list[Place | None]:
    """Give the place of each test among those of its claim.

    Parameters
    ----------
    plans : sequence of Plan or None
        One for each test; None: it has no plan, so nobody knows what it belongs to.

    Returns
    -------
    list of Place or None
        In the given order.

    Notes
    -----
    Two tests are about one claim if its words are the same but for case and blanks, or if one answers to the other
    (``role`` challenge, ``main_test`` its id). A test that others answer to came before them.
    """
    sealed = {place: plan for place, plan in enumerate(plans) if plan is not None}
    groups = _groups({place: _labels(plan) for place, plan in sealed.items()})
    known = {plan.id for plan in sealed.values()}
    found: list[Place | None] = [None] * len(plans)
    for claim, group in enumerate(groups):
        missing = tuple(sorted({answered for place in group if (answered := _answered(sealed[place]))} - known))
        in_time = sorted(group, key=lambda place: (sealed[place].made, place))
        for number, place in enumerate(in_time, len(missing) + 1):
            found[place] = Place(claim, number, len(group) + len(missing), missing)
    return found


def _answered(plan: Plan) -> str | None:
    """Give the id of the test that a challenge answers to."""
    return plan.main_test if plan.role is Role.CHALLENGE else None


def _labels(plan: Plan) -> set[str]:
    """Give what a test shares with others of its claim."""
    labels = {f"words {' '.join(plan.claim.words.casefold().split())}", f"id {plan.id}"}
    return labels | ({f"id {answered}"} if (answered := _answered(plan)) else set())


def _groups(labels: dict[int, set[str]]) -> list[list[int]]:
    """Put together all that share a label, directly or through others, in the order of first appearance."""
    groups: list[tuple[list[int], set[str]]] = []
    for place, mine in labels.items():
        touching = [group for group in groups if group[1] & mine]
        rest = [group for group in groups if not group[1] & mine]
        members = [member for group in touching for member in group[0]] + [place]
        groups = [*rest, (members, mine.union(*(group[1] for group in touching)))]
    return sorted((sorted(members) for members, _ in groups), key=lambda members: members[0])
