"""Deciding a test of a notebook: its runs as a table, its recordings as files, the sealed plan as the rule."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from truerun.errors import HeadMoved, PlanBroken
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.notebook.entries import Kind
from truerun.notebook.files import read_file
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState, fold, run_table
from truerun.report.beside import Beside
from truerun.series import RunTable
from truerun.trial.comparison import Comparison
from truerun.trial.phrases import runs_named
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.kept_reports import keep_report

if TYPE_CHECKING:  # fits are heavy, and seldom needed
    from truerun.workflow.recorded import Measurements

__all__ = ["decide", "linked", "report", "shown", "table_of"]


def decide(
    notebook: Notebook,
    test: str,
    *,
    workers: int = 1,
    kept: Measurements | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ComparisonResult:
    """Decide a test by its sealed plan; before the last planned run there are counts only.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Its id.
    workers : int
        Processes that reduce recordings.
    kept : mapping, optional
        What was measured from recordings before, by their bytes; what is new is added.
    progress : callable, optional
        Called with the recordings done and all.

    Returns
    -------
    ComparisonResult
        A verdict is also an entry of the test.

    Raises
    ------
    PlanBroken
        If nothing was sealed.
    TruerunError
        As for :func:`truerun.workflow.comparing.compare`.
    """
    measured: Measurements = {} if kept is None else kept
    while True:
        state = _added_up(notebook, test)
        result = _compared(notebook, state, workers, measured, progress)
        if result.verdict is None:
            return result
        with suppress(HeadMoved):  # somebody wrote meanwhile, perhaps corrected a time: it is reckoned again
            notebook.append(test, Kind.DECIDED, {"comparison": result.document()}, head=state.head.digest)
            return result


def shown(
    notebook: Notebook,
    test: str,
    *,
    workers: int = 1,
    kept: Measurements | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ComparisonResult:
    """Give the result of a test to look at again; nothing is written, and before the last run there are counts only."""
    return _compared(notebook, _added_up(notebook, test), workers, kept, progress)


def report(
    notebook: Notebook,
    test: str,
    *,
    decided: ComparisonResult | None = None,
    workers: int = 1,
    made: datetime | None = None,
    invented: bool = False,
) -> str:
    """Write the report of a test, one HTML page; the notebook keeps it, and that it was written is an entry.

    ``decided`` is what :func:`decide` has just given, so that recordings need not be measured a second time; ``made``
    is the time that stands on the page, now if not said; ``invented`` says that it never took place, whatever the
    notebook says.
    """
    state = _added_up(notebook, test)
    result = decided or _compared(notebook, state, workers)
    when = made or datetime.fromisoformat(notebook.time())
    page = result.report(
        made=when,
        linked=linked(notebook, state, workers=workers),
        beside=_beside(state, result),
        invented=state.invented or invented,
    )
    keep_report(notebook, test, page, when)
    return page


def _beside(state: TestState, result: ComparisonResult) -> Beside:
    """Give what a notebook knows of a test beside its runs; before the last run nothing that could tell a time."""
    from truerun.workflow.rig import rig_rows  # noqa: PLC0415  rigs and fits are heavy

    beside = Beside(logbook=(state.head.count, state.head.digest), broken=state.broken, rig=rig_rows(state.rig))
    if result.verdict is None:
        return beside
    return replace(
        beside,
        watts=_watts(state, result),
        typed=tuple(dict.fromkeys(run.slot for run in state.runs if run.typed and run.counts)),
        notes=tuple((time[:19].replace("T", " "), words) for time, words in state.notes),
        photos=tuple((each.name, each.digest) for each in state.photos),
    )


def _watts(state: TestState, result: ComparisonResult) -> tuple[tuple[str, str], ...]:
    """Give the losses in watts; none where the rig does not give the inertia of the wheel."""
    if not state.rig:
        return ()
    from truerun.workflow.powers import drag_at_launch, power_rows, powers_of  # noqa: PLC0415
    from truerun.workflow.rig import launch_of  # noqa: PLC0415

    inertia = launch_of(state.rig, drag_at_launch(result)).inertia
    powers = None if inertia is None else powers_of(result, inertia)
    return () if powers is None else tuple(power_rows(powers))


def linked(
    notebook: Notebook, state: TestState, *, workers: int = 1, kept: Measurements | None = None
) -> list[Comparison]:
    """Give the results of the tests that belong to a test, of those that are opened; a covered one stays covered."""
    here = {row.id for row in notebook.tests()}
    states = [_added_up(notebook, each["test"]) for each in state.challenges if each["test"] in here]
    opened = [each for each in states if each.plan is not None and each.decided is not None]
    results = [_compared(notebook, each, workers, kept).comparison for each in opened]
    return [each for each in results if each.verdict is not None]


def table_of(state: TestState, recordings: dict[str, str] | None = None) -> RunTable:
    """Give the table of a test; recordings count where every run that counts has one."""
    counted = [run for run in state.runs if run.counts]
    by_recording = bool(counted) and all(run.recordings for run in counted)
    silent = next((run.slot for run in counted if run.seconds is None), None)
    if not by_recording and silent is not None:
        timed = next(run.slot for run in counted if not run.recordings)
        raise PlanBroken(
            "All runs of a test are timed in one way",
            f"run {silent} has only a recording and run {timed} only a time",
            f"Add the recording of run {timed} and of whichever else lacks one.",
        )
    table = run_table(state, recordings if by_recording else None)
    return table if by_recording else replace(table, findings=(*table.findings, *_corrected(state)))


def _corrected(state: TestState) -> Iterator[Finding]:
    """Say which times were corrected after they had been written down."""
    counted = [run for run in state.runs if run.counts]
    slots = [run.slot for run in counted if any("seconds" in each["changes"] for each in run.corrections)]
    if slots:
        yield finding("times-corrected", runs=runs_named(slots), count=len(slots), all=len(counted))


def _added_up(notebook: Notebook, test: str) -> TestState:
    """Add up every entry anew; a verdict never rests on a state that was kept."""
    return fold(test, notebook.entries(test))


def _compared(
    notebook: Notebook,
    state: TestState,
    workers: int,
    kept: Measurements | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ComparisonResult:
    """Compare the runs of a test."""
    if state.plan is None:
        raise PlanBroken("A verdict follows a sealed plan", "none was sealed", "Seal a plan, then do its runs.")
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="truerun-")))
        paths: dict[str, str] = {}
        for run in state.runs:
            for each in run.recordings:
                path = folder / each.file_name
                with path.open("wb") as file:
                    file.writelines(read_file(notebook, each.digest))
                paths[each.digest] = str(path)
        table, early = table_of(state, paths), state.broken is not None
        return compare(table, state.plan, break_seal=early, workers=workers, kept=kept, progress=progress)
