"""Which test a test belongs to, and which belong to it: said at the head of each of its pages."""

from __future__ import annotations

from dataclasses import dataclass

from truerun.notebook.state import TestState
from truerun.report.plan_words import ROLES
from truerun.trial.plan import Role
from truerun.web.road import standing
from truerun.web.visit import Visit

__all__ = ["Family", "Relation", "family_of"]


@dataclass(frozen=True, slots=True)
class Relation:
    """Another test: its number, what it is called, what it is for, what was asked, how far it is."""

    number: int
    name: str
    role: Role | None
    words: str
    by: str | None
    state: TestState

    @property
    def standing(self) -> str:
        """How far it is, in a few words."""
        return standing(self.state)


@dataclass(frozen=True, slots=True)
class Family:
    """The test that this one belongs to, None where there is none, and those that belong to it."""

    main: Relation | None = None
    linked: tuple[Relation, ...] = ()


def family_of(visit: Visit, state: TestState) -> Family:
    """Give the tests that a test is linked with; one that is in another notebook is left out."""
    if state.answers is None and not state.challenges:
        return Family()
    numbers = {row.id: row.number for row in visit.notebook.tests()}
    asked = [(str(each["test"]), each) for each in state.challenges]
    linked = tuple(
        _relation(visit, numbers[test], test, body.get("role") or Role.CHALLENGE.value, body.get("by"))
        for test, body in asked
        if test in numbers
    )
    if state.answers is None or state.answers["test"] not in numbers:
        return Family(None, linked)
    test = str(state.answers["test"])
    return Family(_relation(visit, numbers[test], test, state.answers.get("role"), None), linked)


def _relation(visit: Visit, number: int, test: str, role: str | None, by: str | None) -> Relation:
    """Look at another test."""
    other = visit.bench.state(test)
    known = None if role is None else Role(role)
    return Relation(number, other.name, known, "" if known is None else ROLES[known], by, other)
