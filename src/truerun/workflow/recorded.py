"""From a table that names recordings to one that holds times over one fair window, blind to the conditions."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from truerun.errors import FitImpossible, RecordingUnreadable, TruerunError
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drive_curve import DriveCurve, drive_curve
from truerun.motion.fair_window import fair_window
from truerun.motion.measured import Measured, defined_by, measured_window
from truerun.motion.rundown import Rundown
from truerun.series import Run, RunTable
from truerun.trial.plan import Window, WindowRule
from truerun.workflow.reducing import As, read_as, reduced
from truerun.workflow.workers import never, worked

__all__ = ["As", "RecordedRun", "RecordedRuns", "drive_over_speed", "fill_from_recordings"]

_SEED = 1

Reduced = tuple[str | None, Measured, tuple[Finding, ...]]


@dataclass(frozen=True, slots=True)
class RecordedRun:
    """One run that was measured from its recording; ``condition`` is for showing, after the window was found."""

    run: Run
    measured: Measured
    digest: str | None


@dataclass(frozen=True, slots=True)
class RecordedRuns:
    """A table whose times come from recordings.

    ``table`` holds the times over ``window``; ``runs`` the measured rundowns, ``findings`` what was noticed in them.
    """

    table: RunTable
    window: Window
    runs: tuple[RecordedRun, ...]
    findings: tuple[Finding, ...]


def fill_from_recordings(
    table: RunTable,
    how: As,
    window: Window | WindowRule | None,
    *,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] = never,
) -> RecordedRuns:
    """Measure every run of a table from its recording, over one window.

    Parameters
    ----------
    table : RunTable
        With recordings, whose paths are relative to the table.
    how : As
        How they are read; the table's own number of marks goes before.
    window : Window, WindowRule or None
        As sealed; None: the rule, which nobody sealed.
    workers : int
        Processes; 1 works in this one.
    progress : callable, optional
        Called with the recordings done and all.
    cancelled : callable
        Asked between recordings.

    Returns
    -------
    RecordedRuns

    Raises
    ------
    TruerunError
        One sentence that names the run and its file.

    Notes
    -----
    Nothing here knows a condition: runs are measured, the window is found from all of them together, and only then are
    times put back into the table. Where a run did not fall to the sealed end, the end moves up to the lowest speed
    that all runs fell through (y = ln T as usual); that is a deviation and is said.
    """
    named = [run for run in table.runs if run.recording is not None and run.left_out is None]
    folder = Path(table.path).parent if table.path else Path()
    pieces = [(os.fspath(folder / str(run.recording)), _how(how, run), run.slot) for run in named]
    found: dict[int, Reduced] = {}
    for place, one in worked(_reduce_one, pieces, workers=workers, cancelled=cancelled):
        found[place] = one
        if progress is not None:
            progress(len(found), len(named))
    runs = [RecordedRun(run, found[place][1], found[place][0]) for place, run in enumerate(named) if place in found]
    _require_all(named, runs)
    _require_different(runs)
    measured = [each.measured for each in runs]
    sealed, said = _window(measured, window)
    filled = [_filled(each, sealed) for each in runs]
    times = {id(run): with_time for run, with_time in zip(named, filled, strict=True)}
    noticed = _gathered({each.run.slot: found[place][2] for place, each in enumerate(runs)})
    whole = replace(
        table,
        runs=tuple(times.get(id(run), run) for run in table.runs),
        measure="time",
        unit="s",
        resolution=None,
    )
    return RecordedRuns(whole, sealed, tuple(runs), (*said, *noticed))


def drive_over_speed(recorded: RecordedRuns, source: str, control: str) -> DriveCurve | None:
    """Compare the drag of two conditions at every speed.

    Parameters
    ----------
    recorded : RecordedRuns
    source, control : str
        Names of the conditions.

    Returns
    -------
    DriveCurve or None
        None where runs were not measured from passes, or the control's drag is not clearly above 0. The width of its
        band is found by 20 000 draws with a fixed seed, so that a report can be made again byte for byte.
    """
    sides: dict[str, list[Rundown]] = {source: [], control: []}
    for each in recorded.runs:
        if not isinstance(each.measured, Rundown):
            return None
        if each.run.condition in sides:
            sides[each.run.condition].append(each.measured)
    try:
        return drive_curve(sides[source], sides[control], np.random.default_rng(_SEED))
    except FitImpossible:
        return None


def _how(how: As, run: Run) -> As:
    """Take the marks from the table where it names them."""
    return how if run.marks is None else replace(how, marks=run.marks)


def _reduce_one(path: str, how: As, slot: int) -> Reduced:
    """Read and fit one recording; what is refused names its run."""
    read = read_as(path, how)
    try:
        measured, findings = reduced(read, how)
    except FitImpossible as error:
        raise FitImpossible(f"Run {slot}, {path}: {error}") from error
    return read.digest, measured, findings


def _require_all(named: Sequence[Run], runs: Sequence[RecordedRun]) -> None:
    """Refuse to go on with some of the recordings only."""
    if not runs or len(runs) < len(named):
        raise FitImpossible(
            f"{len(runs)} of {len(named)} recordings were measured before it was broken off. Begin again; nothing "
            "was written."
        )


def _require_different(runs: Sequence[RecordedRun]) -> None:
    """Refuse one recording under two names."""
    seen: dict[str, Run] = {}
    for each in runs:
        if each.digest is None:
            continue
        first = seen.setdefault(each.digest, each.run)
        if first is not each.run:
            raise RecordingUnreadable(
                str(each.run.recording),
                "",
                f"its bytes are the same as those of {first.recording}, so runs {first.slot} and {each.run.slot} are "
                "one recording. Name the recording of each run.",
            )


def _window(measured: Sequence[Measured], window: Window | WindowRule | None) -> tuple[Window, tuple[Finding, ...]]:
    """Find the window from all runs together."""
    said: list[Finding] = []
    if isinstance(window, Window):
        start, end = window.from_, window.to
    else:
        start, end = fair_window(measured)
        if window is None:
            said.append(finding("window-not-sealed"))
    lowest = max(each.speed_low for each in measured)
    if lowest > end:
        said.append(finding("window-end-moved", sealed=f"{end:.4g}", moved=f"{lowest:.4g}"))
        end = lowest
    slowest = min(each.speed_high for each in measured)
    if slowest < start:
        said.append(finding("window-start-moved", sealed=f"{start:.4g}", moved=f"{slowest:.4g}"))
        start = slowest
    if not start > end:
        raise FitImpossible(
            f"No window of speeds is held by all runs: the slowest launch is {start:.4g} rad/s, and it would end at "
            f"{end:.4g} rad/s. Launch faster, or lower the magnetic bump."
        )
    kinds = {defined_by(each) for each in measured}
    kind = next(name for name in ("speed", "turn-time", "energy") if name in kinds)
    return Window.model_validate({"from": start, "to": end, "defined_by": kind}), tuple(said)


def _filled(each: RecordedRun, window: Window) -> Run:
    """Put the time over the window into the run."""
    try:
        value = measured_window(each.measured, window.from_, window.to).time
    except TruerunError as error:
        raise FitImpossible(f"Run {each.run.slot}, {each.run.recording}: {error}") from error
    return replace(each.run, value=value)


def _gathered(by_run: dict[int, tuple[Finding, ...]]) -> tuple[Finding, ...]:
    """Say what was noticed in the recordings: once for each check, with the runs it was noticed in."""
    checks: dict[str, list[tuple[int, Finding]]] = {}
    for slot, findings in by_run.items():
        for each in findings:
            checks.setdefault(each.check, []).append((slot, each))
    gathered = []
    for places in checks.values():
        slots = list(dict.fromkeys(slot for slot, _ in places))
        first = places[0][1]
        where = f"Run {slots[0]}" if len(slots) == 1 else f"{_these(slots, len(by_run))}, first in run {slots[0]}"
        gathered.append(replace(first, sentence=f"{where}: {first.sentence}"))
    return tuple(gathered)


def _these(slots: Sequence[int], runs: int) -> str:
    """Name runs at the beginning of a sentence."""
    if len(slots) == runs:
        return f"All {runs} runs"
    return f"Runs {', '.join(map(str, slots[:-1]))} and {slots[-1]}"
