"""The verdict: covered until the last planned run, opened by one button, then with everything it rests on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from starlette.responses import Response

from truerun.charts.luck import luck_orders_csv
from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.ledger import TestRow
from truerun.notebook.state import TestState
from truerun.report.figures_shown import figures_shown
from truerun.report.pictures import pictures_of
from truerun.report.standings import standings
from truerun.trial.comparison import Comparison, with_controls
from truerun.trial.holding import Kind
from truerun.trial.phrases import adjusted_words
from truerun.trial.plan import Window
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.reckoning import Reckoning, reckoned
from truerun.web.road import next_step
from truerun.web.runs import lacking
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import break_seal
from truerun.workflow.comparing import ComparisonResult
from truerun.workflow.deciding import decide, linked, shown
from truerun.workflow.plan_files import read_plan
from truerun.workflow.showing import covered

__all__ = ["break_early", "linked_of", "open_seal", "opened", "orders", "reckoning", "result_of", "verdict"]

_MOST = 256
"""Recordings whose measurements are kept; the oldest go."""


def result_of(visit: Visit, row: TestRow, state: TestState) -> ComparisonResult:
    """Give the result of a test, reckoned once for each state of its logbook.

    Raises
    ------
    PlanBroken
        If it is still covered, or nobody has opened it.
    """
    if state.plan is None or covered(state) or state.decided is None:
        raise PlanBroken("A result is opened after the last planned run", "it is still covered", "Go on with the runs.")
    key, notebook, before = _key(row, state), visit.notebook, visit.bench.measured
    made = visit.bench.kept(key, lambda: shown(notebook, row.id, kept=before))
    assert isinstance(made, ComparisonResult)  # noqa: S101  ours, not a person's
    return replace(made, comparison=with_controls(made.comparison, linked_of(visit, state)))


def reckoning(visit: Visit, row: TestRow, state: TestState, here: str = "verdict") -> Response | None:
    """Give the page that says how far the result of an opened test is, None once it is there."""
    bench, key = visit.bench, _key(row, state)
    if key in bench.results and row.id not in bench.reckonings:
        return None

    def make(progress: Callable[[int, int], None]) -> None:
        bench.kept(key, lambda: shown(visit.notebook, row.id, kept=bench.measured, progress=progress))
        for oldest in list(bench.measured)[:-_MOST]:
            bench.measured.pop(oldest, None)

    return _going_on(visit, row, state, reckoned(bench.reckonings, row.id, make, bench.patience), here)


def _going_on(visit: Visit, row: TestRow, state: TestState, going: Reckoning | None, here: str) -> Response | None:
    """Say how far something is; the page comes again by itself."""
    if going is None:
        return None
    answer = page_of_test(visit, row, state, "verdict_reckoning.html.j2", here=here, done=going.done, of=going.of)
    answer.headers["refresh"] = "1"
    return answer


def _key(row: TestRow, state: TestState) -> tuple[str, str, str]:
    """Name the result of a state of a logbook."""
    return "result", row.id, state.head.digest


def linked_of(visit: Visit, state: TestState) -> list[Comparison]:
    """Give the results of the tests that belong to this one and are opened, reckoned once for each state of theirs."""
    if not state.challenges:
        return []
    theirs = {str(each["test"]) for each in state.challenges}
    heads = tuple(row.head.digest for row in visit.notebook.tests() if row.id in theirs)
    made: list[Comparison] = visit.bench.kept(
        ("linked", state.id, heads), lambda: linked(visit.notebook, state, kept=visit.bench.measured)
    )
    return made


def verdict(visit: Visit) -> Response:
    """Show the verdict; or that it is sealed, ready to be opened, or not planned yet."""
    row = visit.row
    state = visit.state(row)
    step = next_step(row.number, state)
    if state.plan is None:
        return page_of_test(visit, row, state, "verdict_none.html.j2", here="verdict", step=step)
    if covered(state):
        done = (state.next_slot or 1) - 1
        return page_of_test(visit, row, state, "verdict_sealed.html.j2", here="verdict", step=step, done=done)
    if state.decided is None:
        return page_of_test(visit, row, state, "verdict_ready.html.j2", here="verdict", **_ready(state))
    wait = reckoning(visit, row, state)
    if wait is not None:
        return wait
    result = result_of(visit, row, state)
    both = visit.bench.kept(("impressions", state.head.digest), result.impressions)
    shown_here = _shown(visit, state, result.comparison)
    return page_of_test(visit, row, state, "verdict.html.j2", here="verdict", impressions=both, **shown_here)


def _ready(state: TestState) -> dict[str, Any]:
    """Give what is shown before the seal is opened: what each side said, and what must still be noted."""
    return {"sides": _sides(state), "lacking": lacking(read_plan(state.plan or {}).plan, state)}


def _sides(state: TestState) -> list[tuple[str, str | None]]:
    """Give what each side said beforehand would change its mind."""
    return [
        (called, (state.agreed.get(side) or {}).get("would_change_my_mind"))
        for side, called in (("claimant", "The claimant"), ("sceptic", "The sceptic"))
    ]


def _shown(visit: Visit, state: TestState, comparison: Comparison) -> Mapping[str, Any]:
    """Give everything that stands on a verdict's page."""
    rules, checks = comparison.at.rules, standings(comparison)
    return {
        "result": comparison,
        "rules": rules,
        "allowed_for": adjusted_words(rules.adjust),
        "figures": figures_shown(comparison),
        "pictures": visit.bench.kept(("pictures", state.head.digest), lambda: pictures_of(comparison)),
        "checks": checks,
        "kinds": Kind,
        "standing": [each for each in checks if each.check == "cause-not-isolated"],
        "covered": False,
        "over_speeds": isinstance(rules.window, Window),
        "sides": _sides(state),
    }


def open_seal(visit: Visit) -> Response:
    """Open the seal after the last run; once, and written down."""
    row = visit.row
    state = visit.state(row)
    if state.plan is None or not state.complete:
        raise PlanBroken("The seal is opened after the last planned run", "runs are missing", "Go on with the runs.")
    if state.decided is None:
        _decided(visit, row)
    return moved(f"/t/{row.number}/verdict/opened")


def _decided(visit: Visit, row: TestRow) -> Reckoning | None:
    """Have a test decided; what is measured for it is kept for its pages."""

    def make(progress: Callable[[int, int], None]) -> None:
        if visit.state(row).decided is None:
            decide(visit.notebook, row.id, kept=visit.bench.measured, progress=progress)

    return reckoned(visit.bench.reckonings, row.id, make, visit.bench.patience)


def _still_deciding(visit: Visit, row: TestRow, state: TestState) -> Response | None:
    """Say how far the deciding of a test is that was opened a moment ago, None where none goes on."""
    if row.id not in visit.bench.reckonings:
        return None
    return _going_on(visit, row, state, _decided(visit, row), "verdict")


def opened(visit: Visit) -> Response:
    """Show what luck could have done, then the verdict; while it is being reckoned, how far that is."""
    row = visit.row
    state = visit.state(row)
    wait = reckoning(visit, row, state) if state.decided is not None else _still_deciding(visit, row, state)
    if wait is not None:
        return wait
    state = visit.state(row)
    comparison = result_of(visit, row, state).comparison
    return page_of_test(visit, row, state, "verdict_opened.html.j2", here="verdict", **_shown(visit, state, comparison))


def break_early(visit: Visit) -> Response:
    """Break the seal before the last run, with a reason; it is written down for every reader."""
    row = visit.row
    state = visit.state(row)
    if state.plan is None or not covered(state):
        return moved(f"/t/{row.number}/verdict")
    form = Form(visit.form)
    done = (state.next_slot or 1) - 1
    if visit.posted:
        why = form.needed("why", "The reason")
        form.one_of("sure", "That it cannot be undone", ("yes",))
        if not done:
            form.troubles["why"] = "No run is done yet, so there is nothing to look at."
        if not form.troubles:
            break_seal(visit.notebook, row.id, why=why, head=form["head"])
            decide(visit.notebook, row.id, kept=visit.bench.measured)
            return moved(f"/t/{row.number}/verdict")
    status = 422 if form.troubles else 200
    return page_of_test(visit, row, state, "verdict_break.html.j2", here="verdict", form=form, done=done, status=status)


def orders(visit: Visit) -> Response:
    """Give every order that could have been drawn, to count in a spreadsheet."""
    row = visit.row
    text = luck_orders_csv(result_of(visit, row, visit.state(row)).comparison)
    if text is None:
        raise ValueOutOfRange("The list of orders", "not there", "that of a finished test", "Read the verdict.")
    return Response(text, media_type="text/csv", headers={"content-disposition": 'attachment; filename="orders.csv"'})
