"""From a table that names recordings to one that holds times over one fair window, blind to the conditions."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, MutableMapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ChoiceNeeded, FitImpossible, RecordingUnreadable, TruerunError, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.drag_curve import drag_at
from truerun.motion.drive_curve import DriveCurve, drive_curve
from truerun.motion.fair_window import fair_window
from truerun.motion.hill import capture_speed
from truerun.motion.measured import Measured, defined_by, hill_of, measured_window
from truerun.motion.pass_counts import pass_count_findings
from truerun.motion.readout import fitted_speeds
from truerun.motion.rundown import Rundown
from truerun.motion.sustained import SustainedRun, sustained_run
from truerun.series import Run, RunTable
from truerun.trial.phrases import percent
from truerun.trial.plan import Window, WindowRule
from truerun.trial.signed_loss import SignedLosses, loss_drive, pooled_drag, signed_losses
from truerun.workflow.reducing import As, Reduced, read_as, reduced
from truerun.workflow.workers import never, worked

__all__ = [
    "LOSS",
    "As",
    "Measurements",
    "RecordedRun",
    "RecordedRuns",
    "captures",
    "drive_over_speed",
    "fill_from_recordings",
    "loss_opinion",
]

LOSS = "loss saved"
"""Heading of signed losses: how much less a run lost than all runs together would have at its speeds."""

Measurements = MutableMapping[tuple[str, str, As], tuple[str | None, Reduced | SustainedRun]]
"""What was measured from recordings, by the digest of their bytes, the end of their name, and how they were read."""

_SEED = 1
_CLEAR = 5


@dataclass(frozen=True, slots=True)
class RecordedRun:
    """One run that was measured from its recording: a rundown, or a wheel that kept its speed or gained."""

    run: Run
    measured: Measured | SustainedRun
    digest: str | None


@dataclass(frozen=True, slots=True)
class RecordedRuns:
    """A table whose times come from recordings.

    ``table`` holds the times over ``window``; ``runs`` the measured rundowns, ``findings`` what was noticed in them.
    Where no window is held by all runs, ``window`` is None and the table holds signed losses instead: how much less
    each run lost, at its own speeds, than all runs together would have [rad^2/s^3].
    """

    table: RunTable
    window: Window | None
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
    kept: Measurements | None = None,
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
    kept : mapping, optional
        What was measured before by this version; it is not measured again, and what is new is added.

    Returns
    -------
    RecordedRuns

    Raises
    ------
    TruerunError
        One sentence that names the run and its file.

    Notes
    -----
    No time depends on a condition: runs are measured, the window is found from all of them together, and only then are
    times put back into the table; conditions serve only to say whether the sensor saw the passes of both alike. Where
    a run did not fall to the sealed end, the end moves up to the lowest speed that all runs fell through (y = ln T as
    usual); that is a deviation and is said. Where no speeds are common to all, or a wheel kept its speed or gained,
    signed losses are compared (:mod:`truerun.trial.signed_loss`), and that is said too.
    """
    named = [run for run in table.runs if run.recording is not None and run.left_out is None]
    folder = Path(table.path).parent if table.path else Path()
    pieces = [(os.fspath(folder / str(run.recording)), _how(how, run), run.slot) for run in named]
    before = {} if kept is None else kept
    keys = [_key(path, how) for path, how, _ in pieces] if kept is not None else []
    found = {place: before[key] for place, key in enumerate(keys) if key in before}
    left = [place for place in range(len(pieces)) if place not in found]
    for nth, one in worked(_reduce_one, [pieces[place] for place in left], workers=workers, cancelled=cancelled):
        found[left[nth]] = one
        if kept is not None:
            kept[keys[left[nth]]] = one
        if progress is not None:
            progress(len(found), len(named))
    runs = [
        RecordedRun(run, each.measured if isinstance(each := found[place][1], Reduced) else each, found[place][0])
        for place, run in enumerate(named)
        if place in found
    ]
    _require_all(named, runs)
    _require_different(runs)
    every = [found[place][1] for place in range(len(runs))]
    noticed = _gathered({each.run.slot: one.findings for each, one in zip(runs, every, strict=True)})
    alike = pass_count_findings(
        [
            (each.run.condition, one.counted)
            for each, one in zip(runs, every, strict=True)
            if isinstance(one, Reduced) and one.counted is not None
        ]
    )
    filled = _filled_in(table, runs, window)
    return replace(filled, findings=(*filled.findings, *alike, *noticed))


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


def captures(recorded: RecordedRuns, source: str, control: str) -> tuple[float | None, float | None]:
    """Give the speed below which the bump catches the wheel in each condition, as most of its recordings show it.

    Parameters
    ----------
    recorded : RecordedRuns
    source, control : str
        Names of the conditions.

    Returns
    -------
    (float or None, float or None)
        Middle value of the runs [rad/s]; None where fewer than half of them show a bump that is clearly there.
    """
    first, second = (
        _capture([each.measured for each in recorded.runs if each.run.condition == name]) for name in (source, control)
    )
    return first, second


def _capture(measured: Sequence[Measured | SustainedRun]) -> float | None:
    """Give the middle one of the capture speeds, where most runs show a bump."""
    found = _clear([each for each in measured if not isinstance(each, SustainedRun)])
    return float(np.median(found)) if found and 2 * len(found) > len(measured) else None


def _clear(turning: Sequence[Measured]) -> list[float]:
    """Give the capture speeds of the runs that show a bump which is clearly there [rad/s]."""
    hills = [hill for hill in map(hill_of, turning) if hill is not None]
    return [speed for speed, uncertainty in map(capture_speed, hills) if speed > _CLEAR * uncertainty]


def _filled_in(table: RunTable, runs: Sequence[RecordedRun], window: Window | WindowRule | None) -> RecordedRuns:
    """Put into the table what is compared: times over the window, or signed losses where no window is common."""
    falling = [each.measured for each in runs if not isinstance(each.measured, SustainedRun)]
    sealed, said = _window(falling, window) if len(falling) == len(runs) else (None, ())
    if sealed is None:
        values = _losses(runs).values.tolist()
        heading, unit = LOSS, "rad²/s³"
    else:
        values = [_time(each, sealed) for each in runs]
        heading, unit = "time", "s"
    found = {(each.run.slot, each.run.attempt): value for each, value in zip(runs, values, strict=True)}
    lines = tuple(
        run if (value := found.get((run.slot, run.attempt))) is None else replace(run, value=value)
        for run in table.runs
    )
    whole = replace(
        table, runs=lines, measure=heading, unit=unit, resolution=None, capture=max(_clear(falling), default=None)
    )
    return RecordedRuns(whole, sealed, tuple(runs), said)


def _losses(runs: Sequence[RecordedRun]) -> SignedLosses:
    """Find how much less each run lost than all runs together would have at its speeds.

    Where some wheels slowed down and others did not, it is the drag of those that slowed down, whatever their
    condition: at speeds that only the others passed, all runs together would lose just what these lost.
    """
    measured = [each.measured for each in runs]
    low, high = min(each.speed_low for each in measured), max(each.speed_high for each in measured)
    speeds = np.linspace(low, high, 200)
    falling = [each for each in measured if not isinstance(each, SustainedRun)]
    mixed = 0 < len(falling) < len(measured)
    drags = np.array([_drags(each, speeds) for each in (falling if mixed else measured)])
    first, last, lasted = np.array([_ends(each) for each in measured]).T
    return signed_losses(first, last, lasted, pooled_drag(speeds, drags, beyond=mixed))


def _drags(each: Measured | SustainedRun, speeds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the drag of a run at speeds it passed [rad/s^2], NaN elsewhere."""
    if isinstance(each, SustainedRun):
        return each.drag(speeds)
    inside = (speeds >= each.speed_low) & (speeds <= each.speed_high)
    return np.where(inside, drag_at(each.drag, speeds)[0], np.nan)


def _ends(each: Measured | SustainedRun) -> tuple[float, float, float]:
    """Give the speeds at both ends of a run [rad/s] and the time between them [s]."""
    if isinstance(each, SustainedRun):
        return each.speed_first, each.speed_last, each.duration
    return each.speed_high, each.speed_low, float(np.ptp(fitted_speeds(each)[0]))


def loss_opinion(recorded: RecordedRuns, source: str) -> Finding | None:
    """Say the drive fraction of runs that share no window, as a second opinion; None where they share one.

    Parameters
    ----------
    recorded : RecordedRuns
    source : str
        Name of the condition with the source in place.

    Returns
    -------
    Finding or None
    """
    if recorded.window is not None:
        return None
    with_source = np.array([each.run.condition == source for each in recorded.runs])
    kept = [isinstance(each.measured, SustainedRun) for each in recorded.runs]
    words = {"against": "those that slowed down" if any(kept) and not all(kept) else "all runs together"}
    try:
        found = loss_drive(_losses(recorded.runs), with_source, at=with_source if any(kept) else None).ratio
    except TruerunError as error:
        return finding(
            "no-common-window", words, drive=f"As a share of the control's loss nothing can be said: {error}"
        )
    value, low, high = (percent(size or 0.0, signed=True) for size in (found.value, found.low, found.high))
    drive = f"At these speeds that is a drive of {value}, between {low} and {high}."
    return finding("no-common-window", words, drive=drive)


def _how(how: As, run: Run) -> As:
    """Take the marks from the table where it names them."""
    return how if run.marks is None else replace(how, marks=run.marks)


def _key(path: str, how: As) -> tuple[str, str, As]:
    """Give what a measurement hangs on: the bytes, the end of the name, and how they are read."""
    with Path(path).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest(), Path(path).suffix, how


def _reduce_one(path: str, how: As, slot: int) -> tuple[str | None, Reduced | SustainedRun]:
    """Read and fit one recording; what is refused names its run."""
    read = read_as(path, how)
    try:
        return read.digest, reduced(read, how)
    except FitImpossible as error:
        sustained = sustained_run(read.series, how.marks)
        if sustained is not None:
            return read.digest, replace(sustained, findings=(*read.findings, *sustained.findings))
        raise FitImpossible(f"Run {slot}, {path}: {error}") from error
    except ChoiceNeeded as error:
        raise ChoiceNeeded(f"Run {slot}, {path}: {error.name}", error.choices, error.remedy) from error
    except ValueOutOfRange as error:
        name = f"Run {slot}, {path}: {error.name}"
        raise ValueOutOfRange(name, error.found, error.allowed, error.remedy) from error


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


def _window(
    measured: Sequence[Measured], window: Window | WindowRule | None
) -> tuple[Window | None, tuple[Finding, ...]]:
    """Find the window from all runs together; None where no speeds are common to all."""
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
        return None, tuple(found for found in said if found.check == "window-not-sealed")
    kinds = {defined_by(each) for each in measured}
    kind = next(name for name in ("speed", "turn-time", "energy") if name in kinds)
    return Window.model_validate({"from": start, "to": end, "defined_by": kind}), tuple(said)


def _time(each: RecordedRun, window: Window) -> float:
    """Give the time of a run over the window."""
    if isinstance(each.measured, SustainedRun):
        raise TypeError("A wheel that keeps its speed has no time over a window.")
    try:
        return measured_window(each.measured, window.from_, window.to).time
    except TruerunError as error:
        raise FitImpossible(f"Run {each.run.slot}, {each.run.recording}: {error}") from error


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
