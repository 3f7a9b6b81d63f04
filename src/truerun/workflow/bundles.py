"""A test as one file for strangers, and a test taken over from such a file."""

from __future__ import annotations

import mimetypes
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from truerun.errors import FitImpossible, PlanBroken, RecordingUnreadable, ValueOutOfRange
from truerun.notebook.bundle import check_bundle, read_bundle, runs_csv, write_bundle
from truerun.notebook.entries import Entry, Kind
from truerun.notebook.files import store_file
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState, fold
from truerun.notebook.verification import Checked, Fault, verify_notebook
from truerun.trial.screening import ScreeningPlan
from truerun.workflow.bench import state_of
from truerun.workflow.comparing import ComparisonResult
from truerun.workflow.deciding import report, shown
from truerun.workflow.plan_files import read_plan
from truerun.workflow.rounds import read_sealed_rounds
from truerun.workflow.screening_runs import report_screened
from truerun.workflow.showing import covered

__all__ = ["Bundled", "bundle", "import_bundle", "verify"]


@dataclass(frozen=True, slots=True)
class Bundled:
    """A bundle that was written: its file, its SHA-256, and the last line of its logbook."""

    path: Path
    sha256: str
    count: int
    head: str


def bundle(notebook: Notebook, test: str, path: Path) -> Bundled:
    """Write a test as one file that opens without truerun.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Its id.
    path : Path
        A file that is not there yet.

    Returns
    -------
    Bundled
        The report is inside where a plan was sealed; before its last run it shows counts only, and no time stands
        in the table of runs. That of a screening is inside after its last run.

    Raises
    ------
    ValueOutOfRange
        If the file is there already or cannot be written.
    """
    before = state_of(notebook, test)
    result = _shown_result(notebook, before)
    page = None if result is None else report(notebook, test, decided=result)
    if before.screening is not None and not covered(before):
        page = report_screened(notebook, test)
    state = state_of(notebook, test)
    runs = runs_csv(state, _measured(result), hidden=covered(state))
    try:
        sha256 = write_bundle(notebook, state, path, runs=runs, report=None if page is None else page.encode())
    except FileExistsError as error:
        raise ValueOutOfRange(f"{path}", "there already", "a new file", "Choose another name.") from error
    except OSError as error:
        why = (error.strerror or "not writable").lower()
        raise ValueOutOfRange(f"{path}", f"not writable ({why})", "a file that you may write") from error
    notebook.append(test, Kind.BUNDLED, {"digest": sha256})
    return Bundled(path, sha256, state.head.count, state.head.digest)


def _shown_result(notebook: Notebook, state: TestState) -> ComparisonResult | None:
    """Give what may be shown of a test; None where nothing can be made of its runs: its logbook can be handed on."""
    if state.plan is None:
        return None
    with suppress(PlanBroken, RecordingUnreadable, FitImpossible):
        return shown(notebook, state.id)
    return None


def _measured(result: ComparisonResult | None) -> dict[tuple[int, int], float | None] | None:
    """Give the times that recordings gave, where these decided; without a common window there are none."""
    if result is None or result.recorded is None:
        return None
    table = result.recorded.table
    timed = result.recorded.window is not None
    return {(run.slot, run.attempt): run.value if timed else None for run in table.runs}


def import_bundle(notebook: Notebook, path: Path) -> str:
    """Take a test over from a bundle that holds; every line keeps its bytes, so its chain goes on.

    Parameters
    ----------
    notebook : Notebook
    path : Path
        Of the bundle.

    Returns
    -------
    str
        Id of the test.

    Raises
    ------
    RecordingUnreadable
        If it is no bundle, or does not hold.
    HeadMoved
        If the test is here with another history.
    """
    read = read_bundle(path)
    _require_readable(path, read.entries)
    for digest, name in read.names.items():
        store_file(notebook, read.file(digest), mimetypes.guess_type(name)[0] or "application/octet-stream")
    notebook.take_over(read.entries)
    return read.entries[0].test


def _require_readable(path: Path, entries: Sequence[Entry]) -> None:
    """Refuse a test that no page could show: taken over, it would stand in the notebook for good."""
    try:
        state = fold(entries[0].test, entries)
        if state.plan is not None:
            read_plan(state.plan)
        if state.screening is not None:
            read_sealed_rounds(state.screening, ScreeningPlan, "truerun screening")
        said = [] if state.claim is None else [state.claim["words"]]
        "".join(said + [each["test"] for each in state.challenges])  # texts, or it is refused
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise RecordingUnreadable(
            path, "data/ledger.jsonl", "no truerun wrote this logbook. Ask for the bundle once more."
        ) from error


def verify(place: Notebook | Path, *, progress: Callable[[int, int], None] | None = None) -> Checked:
    """Check a notebook or a bundle, byte by byte.

    Parameters
    ----------
    place : Notebook or Path
        An open notebook, or the file of a bundle.
    progress : callable, optional
        Called with the tests of a notebook that are checked, and all.

    Returns
    -------
    Checked
        Every fault names its line, byte or file, and what it means.
    """
    if isinstance(place, Notebook):
        return verify_notebook(place, progress=progress)
    head, faults = check_bundle(place)
    found: tuple[Fault, ...] = tuple(faults)
    return Checked(head.count, 0, {"": head}, found)
