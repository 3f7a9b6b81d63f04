"""Which tests of a claim there are, in words: "test 2 of 3 of this claim", and which of them are not here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truerun.report.plan_words import ROLES
from truerun.trial.comparison import Comparison
from truerun.trial.linked import places
from truerun.trial.plan import Plan, Role

__all__ = ["ClaimTests", "claim_tests"]

_OF_THE_CLAIM = (Role.MAIN, Role.CHALLENGE)


@dataclass(frozen=True, slots=True)
class ClaimTests:
    """Place of a test among those of its claim, as a page says it.

    ``rows`` are the known tests: place, day of the seal, what for, verdict; ``missing`` names those that are not here.
    """

    place: str
    sentence: str
    rows: tuple[tuple[str, str, str, str], ...]
    missing: str | None


def claim_tests(comparison: Comparison, plan: Plan | None, linked: Sequence[Comparison]) -> ClaimTests | None:
    """Say which tests of its claim a report knows.

    Parameters
    ----------
    comparison : Comparison
        Of the report.
    plan : Plan or None
        As it was sealed.
    linked : sequence of Comparison
        Other tests that were brought; controls test something else and are not counted here.

    Returns
    -------
    ClaimTests or None
        None without a plan, or where it is itself a control.
    """
    if plan is None or plan.role not in _OF_THE_CLAIM:
        return None
    known = [(plan, comparison)]
    known += [
        (other.at.rules.plan, other)
        for other in linked
        if other.at.rules.plan is not None
        and other.at.rules.plan.role in _OF_THE_CLAIM
        and other.at.rules.plan.id != plan.id
    ]
    placed = places([each for each, _ in known])
    mine = placed[0]
    if mine is None:
        return None
    rows = sorted(
        (place.number, sealed.made[:10], ROLES[sealed.role] + (", this one" if sealed is plan else ""), test.headline)
        for place, (sealed, test) in zip(placed, known, strict=True)
        if place is not None and place.claim == mine.claim
    )
    alone = mine.of == 1
    return ClaimTests(
        place=f"Test {mine.number} of {mine.of} of this claim",
        sentence="No other test of this claim was brought to this report. If there are others, they belong here, "
        "whatever they found."
        if alone
        else f"This is test {mine.number} of {mine.of} of this claim, counted by the day of the seal. All of them "
        "count, whatever they found.",
        rows=() if alone else tuple((f"{number}", day, role, found) for number, day, role, found in rows),
        missing=_missing(mine.missing),
    )


def _missing(ids: Sequence[str]) -> str | None:
    """Name the tests that are not here."""
    if not ids:
        return None
    one = len(ids) == 1
    return (
        f"Not here: {'a test' if one else 'tests'} that this claim was answered by before, plan {', plan '.join(ids)}."
    )
