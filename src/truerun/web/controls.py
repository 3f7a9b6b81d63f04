"""Controls of a test, what each settles, answers to challenges, and which explanations stand or fell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from starlette.responses import Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.state import TestState
from truerun.report.plan_words import ROLES
from truerun.report.standings import LinkedRow, linked_rows, standings
from truerun.trial.comparison import Comparison
from truerun.trial.controls import CAUSES, NAMES, SETTLES, Cause, left_standing, next_controls
from truerun.trial.controls import taking_out as controls_taking_out
from truerun.trial.holding import Kind
from truerun.trial.plan import Role
from truerun.trial.verdict import Verdict
from truerun.web.family import Family, Relation, family_of
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.verdicts import result_of
from truerun.web.visit import Visit, moved
from truerun.workflow.linking import CONTROLS, open_linked
from truerun.workflow.showing import covered

__all__ = ["challenge", "controls", "explanations", "plan_control"]

_SIDES = (("claimant", "the claimant"), ("sceptic", "the sceptic"))
_BECOMES = {"check": "a check of this test", "control": "a control", "no-excuse": "agreed to be no excuse"}
_TESTED_BY_THE_BENCH = (Role.PLANTED, Role.SAME_AGAINST_SAME)


@dataclass(frozen=True, slots=True)
class ControlShown:
    """One control: its names, what it does to each cause, the test that makes it, and whether it is done."""

    role: Role
    short: str
    name: str
    effects: tuple[str, ...]
    made: Relation | None
    done: bool


@dataclass(frozen=True, slots=True)
class Explanation:
    """One thing that could explain the result: who said it, whether it stands (None: nobody tried), and why."""

    words: str
    said_by: str
    stands: bool | None
    why: str
    address: str | None = None
    kept: bool = False


def controls(visit: Visit) -> Response:
    """Show every control with its state, what it leaves standing, and the explanations."""
    row = visit.row
    state = visit.state(row)
    family, result = family_of(visit, state), _opened(visit, state)
    done = () if result is None else result.at.rules.controls_settled
    return page_of_test(
        visit,
        row,
        state,
        "controls.html.j2",
        here="verdict",
        causes=CAUSES,
        rows=[_control(role, family.linked, done) for role in SETTLES if role is not Role.MAIN],
        bench=[_control(role, family.linked, done) for role in _TESTED_BY_THE_BENCH],
        found=_found(visit, family),
        challenges=[each for each in family.linked if each.role is Role.CHALLENGE],
        standing=_standing(result),
        following=_next(result),
        explanations=list(explanations(state, family, result)),
        result=result,
        covered=covered(state),
    )


def _opened(visit: Visit, state: TestState) -> Comparison | None:
    """Give the result, where it was opened."""
    if state.plan is None or covered(state) or state.decided is None:
        return None
    return result_of(visit, visit.row, state).comparison


def _control(role: Role, linked: Sequence[Relation], done: Sequence[Role]) -> ControlShown:
    """Show one control."""
    made = next((each for each in reversed(linked) if each.role is role), None)
    name = NAMES.get(role) or ROLES[role]
    effects = tuple(each.value for each in SETTLES.get(role, ()))
    finished = made is not None and made.state.decided is not None and not covered(made.state)
    return ControlShown(role, CONTROLS[role][0], name, effects, made, role in done or finished)


def _found(visit: Visit, family: Family) -> list[tuple[Relation, LinkedRow]]:
    """Give the linked tests that were opened, with what each found; side by side, never added up."""
    rows = {row.number: row for row in visit.notebook.tests()}
    found = []
    for each in family.linked:
        if each.state.plan is not None and each.state.decided is not None and not covered(each.state):
            result = result_of(visit, rows[each.number], each.state).comparison
            found += [(each, line) for lines in linked_rows([result]).values() for line in lines]
    return found


def _differs(result: Comparison | None) -> bool:
    """Tell whether there is a difference to be explained."""
    return result is not None and result.verdict in (Verdict.ADDS, Verdict.TAKES)


def _standing(result: Comparison | None) -> tuple[Cause, ...]:
    """Give the causes that stand."""
    if result is None or not _differs(result):
        return ()
    return left_standing(result.at.rules.controls_settled, drive=result.verdict is Verdict.ADDS)


def _next(result: Comparison | None) -> Role | None:
    """Give the control that is worth most now."""
    if result is None or not _differs(result):
        return None
    names = next_controls(result.at.rules.controls_done, drive=result.verdict is Verdict.ADDS)
    return next((role for role, name in NAMES.items() if names and name == names[0]), None)


def explanations(state: TestState, family: Family, result: Comparison | None) -> Iterator[Explanation]:
    """Give every explanation that was offered before or after, and whether it stands.

    Parameters
    ----------
    state : TestState
    family : Family
        With the tests that answer to challenges.
    result : Comparison or None
        Once it is opened.

    Yields
    ------
    Explanation
        Excuses that were foreseen, challenges with what became of them, causes, and checks that found something.
    """
    yield from _foreseen(state)
    yield from (_challenged(each) for each in family.linked if each.role is Role.CHALLENGE)
    if result is not None:
        yield from _causes(result)
        yield from (
            Explanation(each.sentence, "the checks of this test", True, each.remedy or "", kept=True)  # noqa: FBT003
            for each in standings(result)
            if each.kind in (Kind.STOPS, Kind.MIND) and each.check != "cause-not-isolated"
        )


def _foreseen(state: TestState) -> Iterator[Explanation]:
    """Give the excuses that were said before the first run."""
    sorted_before = (state.plan or {}).get("agreed", {}).get("excuses", ())
    for each in sorted_before:
        why = (
            f"Before run 1 it became {_BECOMES.get(each['becomes'], each['becomes'])}. {each.get('how') or ''}".strip()
        )
        stands = False if each["becomes"] == "no-excuse" else None
        yield Explanation(each["words"], "said before run 1", stands, why)
    told = {each["words"].casefold() for each in sorted_before}
    for side, called in _SIDES:
        words = (state.agreed.get(side) or {}).get("excuse_to_come")
        if words and words.casefold() not in told:
            yield Explanation(
                words, f"{called}, before run 1", None, "Foreseen, so it is no news. A test of it can say."
            )


def _challenged(each: Relation) -> Explanation:
    """Say what became of a challenge."""
    said, state = each.by or "a challenge", each.state
    at = f"/t/{each.number}/verdict"
    if state.decided is None or covered(state):
        return Explanation(each.name, said, None, f"Test {each.number} is to say: {each.standing}.", at)
    adds = state.decided.get("verdict") == Verdict.ADDS.value
    why = f"Test {each.number}: {each.standing}" + ("" if adds else " The excuse is used up.")
    return Explanation(each.name, said, adds, why, at)


def _causes(result: Comparison) -> Iterator[Explanation]:
    """Say which causes stand and which a control took out."""
    if not _differs(result):
        return
    drive, settled = result.verdict is Verdict.ADDS, result.at.rules.controls_settled
    left = left_standing(settled, drive=drive)
    for cause in CAUSES:
        if cause.name == "static drive" or (drive and not cause.can_help):
            continue
        stands = cause in left
        by = [name for role in settled for name in controls_taking_out([role], drive=drive) if not stands]
        why = "No control has taken it out." if stands else f"Taken out by {by[0]}."
        yield Explanation(cause.words, "what could make any difference", stands, why, kept=True)


def plan_control(visit: Visit) -> Response:
    """Open a control as a test of its own; one that is open already is gone to."""
    row = visit.row
    state = visit.state(row)
    said = visit.form.get("role", "")
    role = next((each for each in CONTROLS if each.value == said), None)
    if role is None:
        raise ValueOutOfRange("The control", f'"{said}"', ", ".join(each.value for each in CONTROLS))
    made = next((each for each in family_of(visit, state).linked if each.role is role), None)
    drafted = made is not None and (made.state.request is not None or made.state.plan is not None)
    if made is not None and drafted and made.state.decided is None and made.state.closed is None:
        return moved(f"/t/{made.number}/plan")
    opened = open_linked(visit.notebook, row.id, f"{CONTROLS[role][0]}: {state.name}", role=role)
    return moved(f"/t/{_number(visit, opened.id)}/plan")


def _number(visit: Visit, test: str) -> int:
    """Give the number of a test."""
    return next(row.number for row in visit.notebook.tests() if row.id == test)


def challenge(visit: Visit) -> Response:
    """Take a challenge down; it becomes a new test beside this one."""
    row = visit.row
    state = visit.state(row)
    if not visit.posted:
        form = Form({name: visit.query.get(name, "") for name in ("words", "by")} | {"head": state.head.digest})
        return page_of_test(visit, row, state, "challenge.html.j2", here="verdict", form=form)
    form = Form(visit.form)
    words = form.needed("words", "The challenge", "Write it in the words of whoever makes it.")
    if not form.troubles and form["head"] != state.head.digest and _asked_before(state, visit, words):
        raise PlanBroken("A challenge opens one test", "this one was sent already", "See the controls of this test.")
    if form.troubles:
        return page_of_test(visit, row, state, "challenge.html.j2", here="verdict", form=form, status=422)
    opened = open_linked(visit.notebook, row.id, words, by=form.said("by"), changed=form.said("changed"))
    return moved(f"/t/{_number(visit, opened.id)}/claim")


def _asked_before(state: TestState, visit: Visit, words: str) -> bool:
    """Tell whether a challenge in these words is being answered already."""
    return any(each.name == words and each.state.claim is not None for each in family_of(visit, state).linked)
