"""One run: its attempts, its files, and what its recording says once the result is open."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.responses import Response

from truerun.errors import TruerunError, ValueOutOfRange
from truerun.notebook.files import read_file
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import Attached, TestState
from truerun.report.rundown_report import RundownPictures, key_rows, rundown_pictures
from truerun.report.standings import found_standings
from truerun.trial.holding import Standing
from truerun.trial.plan import Window, WindowRule
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.runs import asks_for, shows_condition
from truerun.web.visit import Visit
from truerun.workflow.plan_files import read_plan
from truerun.workflow.reducing import As, read_as, rundown
from truerun.workflow.showing import covered

__all__ = ["run_page"]


@dataclass(frozen=True, slots=True)
class Seen:
    """What the recording of a run says, where it may be seen: figures, drawings, what was put right."""

    attached: Attached
    rows: tuple[tuple[str, str], ...]
    pictures: RundownPictures | None
    checks: tuple[Standing, ...]
    trouble: str | None = None


def run_page(visit: Visit, *, form: Form | None = None, status: int = 200) -> Response:
    """Show one run."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    if state.plan is None or not 1 <= slot <= len(state.order):
        raise ValueOutOfRange("The run", slot, f"1 to {len(state.order)}", "See all runs.")
    plan = read_plan(state.plan).plan
    tried = [run for run in state.runs if run.slot == slot]
    open_ = not covered(state) and state.decided is not None
    known = shows_condition(plan, tried=bool(tried) or slot == state.next_slot, seen=open_)
    names = {run.id for run in tried}
    return page_of_test(
        visit,
        row,
        state,
        "run.html.j2",
        here="runs",
        status=status,
        slot=slot,
        planned=plan.runs,
        condition=plan.order[slot - 1] if known else None,
        is_source=plan.order[slot - 1] == plan.conditions.source,
        tried=tried,
        unguessed=any(each.guess is None and asks_for(each, state) for each in tried),
        open=open_,
        next=slot == state.next_slot,
        seen=[_seen(visit, each, plan.window) for run in tried for each in run.recordings] if open_ else [],
        photos=[each for each in state.photos if each.run in names],
        marks=_marks(state),
        form=form or Form({}),
    )


def _marks(state: TestState) -> str:
    """Give the number of marks in the recording before, as it would be typed."""
    kept = [each.marks for run in state.runs for each in run.recordings if each.marks is not None]
    return str(kept[-1]) if kept else ""


def _seen(visit: Visit, attached: Attached, window: Window | WindowRule | None) -> Seen:
    """Reduce a recording, once."""
    over = (window.from_, window.to) if isinstance(window, Window) else None
    key = ("recording", attached.digest, attached.marks, over)
    made: Seen = visit.bench.kept(key, lambda: _reduced(visit.notebook, attached, over))
    return made


def _reduced(notebook: Notebook, attached: Attached, window: tuple[float, float] | None) -> Seen:
    """Reduce a recording over the window of the plan; without one, over the fair one of this recording."""
    with TemporaryDirectory(prefix="truerun-") as folder:
        path = Path(folder) / f"recording{Path(attached.name).suffix[:12]}"
        with path.open("wb") as file:
            file.writelines(read_file(notebook, attached.digest))
        try:
            result = rundown(read_as(path, As(attached.marks)), attached.marks, window=window)
        except TruerunError as error:
            return Seen(attached, (), None, (), str(error).replace(str(path), attached.name))
    pictures = rundown_pictures(result.measured, result.window, result.swings)
    rows = tuple(key_rows(result.measured, result.window))
    return Seen(attached, rows, pictures, found_standings(result.findings))
