"""The first page: every test of the notebook with its stage, and what to do first where there is none."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from truerun.notebook.ledger import TestRow
from truerun.notebook.state import TestState
from truerun.web.pages import page
from truerun.web.road import NextStep, next_step, standing
from truerun.web.visit import Visit, moved

__all__ = ["keys", "resumed", "shelf"]


@dataclass(frozen=True, slots=True)
class Shown:
    """One test on the shelf."""

    row: TestRow
    state: TestState
    words: str
    step: NextStep


def shelf(visit: Visit) -> Response:
    """Show every test, the one under way that was written in last first."""
    rows = [(row, visit.state(row)) for row in visit.notebook.tests()]
    if not rows:
        return page(visit, "shelf_empty.html.j2")
    shown = [Shown(row, state, standing(state), next_step(row.number, state)) for row, state in rows]
    latest = {row.id: visit.notebook.entries(row.id, last=1)[0].time for row, _ in rows}
    shown.sort(key=lambda each: latest[each.row.id], reverse=True)
    shown.sort(key=lambda each: each.state.closed is not None or each.state.reports > 0)
    counted = {
        "reported": sum(each.state.reports > 0 for each in shown),
        "closed": sum(each.state.closed is not None and not each.state.reports for each in shown),
    }
    counted["screened"] = sum(_screened(each.state) for each in shown)
    counted["under_way"] = len(shown) - sum(counted.values())
    return page(visit, "shelf.html.j2", first=shown[0], others=shown[1:], counted=counted, count=len(shown))


def _screened(state: TestState) -> bool:
    """Tell whether it is a screening whose runs are all done; it has no report of its own."""
    return state.screening is not None and state.next_screened is None and not state.reports and state.closed is None


def resumed(visit: Visit) -> Response:
    """Lead to where a test goes on."""
    return moved(next_step(visit.row.number, visit.state(visit.row)).address)


def keys(visit: Visit) -> Response:
    """Show the keys."""
    return page(visit, "keys.html.j2")
