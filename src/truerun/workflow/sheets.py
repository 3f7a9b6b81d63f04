"""The printed run sheet as an equal road: runs that were written on paper, typed in later and marked so."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from truerun.errors import PlanBroken
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import RunState, TestState
from truerun.recordings.run_checks import Compared
from truerun.recordings.run_tables import read_run_table
from truerun.series import Run, RunTable
from truerun.trial.mishaps import Becomes
from truerun.workflow.bench import abort_run, attach_recording, begin_run, note, state_of, stop_clock
from truerun.workflow.screening_runs import begin_screened

__all__ = ["record_slot", "type_in_sheet"]


def type_in_sheet(notebook: Notebook, test: str, sheet: Path, *, decimal: str | None = None) -> int:
    """Type in the runs of a sheet that are not in the notebook yet, of a test or of a screening.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Id of the test.
    sheet : Path
        The filled-in run sheet.
    decimal : {".", ","}, optional
        Its decimal sign, where it cannot be told.

    Returns
    -------
    int
        Runs that were typed in.

    Raises
    ------
    PlanBroken
        If the sheet is not one of this plan or screening; nothing is written then.
    TruerunError
        If the sheet cannot be read.
    """
    state = state_of(notebook, test)
    table, order = _sheet_of(state, sheet, decimal)
    known = {(run.slot, run.attempt) for run in state.runs if run.ended}
    fresh = [
        run
        for run in sorted(table.runs, key=lambda run: (run.slot, run.attempt))
        if (run.slot, run.attempt) not in known and (run.value is not None or run.left_out is not None)
    ]
    for run in fresh:
        if run.slot > len(order):
            found = f"line {run.line} of the sheet is run {run.slot}"
            raise PlanBroken(f"The plan has {len(order)} runs", found, "Take out what was not planned.")
        if run.condition != order[run.slot - 1]:
            found = f'the sheet has "{run.condition}" for run {run.slot}'
            remedy = "If the wrong condition was set up, say so with left_out; else mend the sheet."
            raise PlanBroken(f'The plan has "{order[run.slot - 1]}" there', found, remedy)
    for run in fresh:
        after = next((other for other in fresh if (other.slot, other.attempt) > (run.slot, run.attempt)), run)
        _type_in(notebook, test, run, state, went_on=after.slot > run.slot)
    return len(fresh)


def _sheet_of(state: TestState, sheet: Path, decimal: str | None) -> tuple[RunTable, Sequence[str]]:
    """Read the sheet of a plan or of a screening, and give the order that was drawn."""
    sealed = state.plan or state.screening
    if sealed is None:
        raise PlanBroken("A sheet follows a sealed plan", "none is sealed yet", "Seal the plan first.")
    conditions = Compared.TWO if state.plan is not None else Compared.SEVERAL
    measure = str(sealed["measurand"]["name"])
    return read_run_table(sheet, measure=measure, decimal=decimal, conditions=conditions), sealed["order"]


def _type_in(notebook: Notebook, test: str, line: Run, state: TestState, *, went_on: bool) -> None:
    """Type in one line; one that is left out, where the sheet goes on with the next run, was not done again."""
    if state.screening is not None:
        run = begin_screened(notebook, test, line.slot)
    else:
        run = begin_run(notebook, test, slot=line.slot).id
        _note_measured(notebook, test, run, line, state)
    if line.value is not None:
        stop_clock(notebook, test, run, line.value, unfinished=line.unfinished, typed=True)
    if line.left_out is not None:
        seen = line.seen if line.seen is not None else line.value is not None
        allowed = Becomes.LEFT_OUT.value in (state.plan or {}).get("mishaps", {}).values()
        abort_run(notebook, test, run, line.left_out, seen=seen, excused=allowed and went_on and not seen)


def _note_measured(notebook: Notebook, test: str, run: str, line: Run, state: TestState) -> None:
    """Note what the plan names to be measured before each launch, where the sheet has it."""
    named = [name for name in (state.plan or {}).get("adjust", ()) if isinstance(line.extra.get(name), float | int)]
    values = {name: float(line.extra[name] or 0.0) for name in named}
    if values:
        words = "; ".join(f"{name} {value:g}" for name, value in values.items())
        note(notebook, test, f"{words}, before the launch of run {line.slot}", run=run, measured=values)


def record_slot(
    notebook: Notebook,
    test: str,
    slot: int,
    name: str,
    pieces: Iterable[bytes],
    *,
    marks: int | None = None,
    media: str = "text/csv",
) -> None:
    """Attach a recording to the last attempt at a run; the next run is begun by it where it was not begun before.

    Raises
    ------
    PlanBroken
        If that run is not the next one and was not begun.
    """
    run = _attempt(notebook, test, slot)
    attach_recording(notebook, test, run.id, name, pieces, marks=marks, media=media)


def _attempt(notebook: Notebook, test: str, slot: int) -> RunState:
    """Find the last attempt at a run, or begin it where it comes next."""
    tries = [run for run in state_of(notebook, test).runs if run.slot == slot and run.left_out is None]
    return tries[-1] if tries else begin_run(notebook, test, slot=slot)
