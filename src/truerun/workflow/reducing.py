"""Reducing recordings of a slowing wheel to drag, bump, capture speed and the time over a window.

Pages and pictures are imported where a result is shown as one, as in :mod:`truerun.workflow.comparing`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import ChoiceNeeded, FitImpossible, RecordingUnreadable, ValueOutOfRange
from truerun.findings.finding import Finding, Severity
from truerun.motion.counting import CountedPasses, count_passes
from truerun.motion.doubts import rundown_findings
from truerun.motion.fair_window import held_window
from truerun.motion.late import choose_late_rundown
from truerun.motion.measured import Measured, measured_window
from truerun.motion.rundown import Rundown
from truerun.motion.rundown_data import rundown_data, window_data
from truerun.motion.speed_fit import fit_speeds
from truerun.motion.window import Window
from truerun.recordings.recording import read_recording
from truerun.report.rundown_text import rundown_text
from truerun.series import AngleTrack, Clock, Passes, PositionTrack, Recording, Series, SpeedTable
from truerun.workflow.results import PageResult, Result
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.motion.swings import Swings
    from truerun.motion.unseen import UnseenHill

__all__ = ["As", "Reduced", "RundownResult", "RundownResults", "read_as", "reduce_recordings", "reduced", "rundown"]

Path = str | os.PathLike[str]


@dataclass(frozen=True, slots=True)
class As:
    """How recordings are to be read: what cannot be told from the files.

    ``dry_drag`` is the specific dry drag with its standard uncertainty [rad/s^2], for releases from rest; ``coil`` the
    corner frequency of the input behind a coil [Hz] and the angle from a pulse's zero to its peak [rad].
    """

    marks: int | None = None
    mark_angles: tuple[float, ...] | None = None
    kind: str | None = None
    unit: str | None = None
    decimal: str | None = None
    dry_drag: tuple[float, float] | None = None
    coil: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, repr=False)
class RundownResult(PageResult):
    """A reduced recording that can show itself.

    ``window`` is None where none was asked for and no fair one lies within the recording. ``findings`` hold what
    reading, counting and fitting noticed, in this order. ``swings`` are those after the bump caught the wheel, where
    the recording goes on that long and tells to and fro apart. ``unseen`` is the bump that could have been missed,
    where none was seen.
    """

    recording: Recording
    measured: Measured
    window: Window | None
    findings: tuple[Finding, ...]
    swings: Swings | None = None
    unseen: UnseenHill | None = None

    def __repr__(self) -> str:
        return f"<rundown: {self.measured.speed_high:.4g} to {self.measured.speed_low:.4g} rad/s>"

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/rundown/1``."""
        return (
            {"schema": "truerun/rundown/1"}
            | rundown_data(self.measured)
            | {
                "window": window_data(self.window, self.measured),
                "swings": self._swings_data(),
                "unseen_hill": None if self.unseen is None else asdict(self.unseen),
                "read_as": list(self.recording.said),
                "findings": [each.document() for each in self.findings],
                "inputs": [self.recording.digest] if self.recording.digest else [],
                "versions": versions(),
            }
        )

    def _swings_data(self) -> dict[str, Any] | None:
        """Give the swings after the rundown as plain data."""
        if self.swings is None:
            return None
        from truerun.motion.swings_data import swings_data  # noqa: PLC0415  few recordings hold swings

        return swings_data(self.swings)

    def summary(self) -> str:
        """Give the result as plain text."""
        text = rundown_text(self.measured, self.window, self.recording.said, self.findings, self.unseen)
        if self.swings is None:
            return text
        from truerun.report.swings_text import swings_after_text  # noqa: PLC0415  few recordings hold swings

        return f"{text}\n\n{swings_after_text(self.swings)}"

    def _repr_html_(self) -> str:
        """Show the result in a notebook."""
        from truerun.report.rundown_report import rundown_fragment  # noqa: PLC0415  see the head of this module

        return rundown_fragment(self.measured, self.window, self.findings)

    def _page(self, made: datetime, *, invented: bool) -> str:
        """Write the page."""
        from truerun.report.rundown_report import render_rundown  # noqa: PLC0415  see the head of this module

        return render_rundown(
            self.measured,
            self.window,
            recording=self.recording,
            findings=self.findings,
            document=self.document(),
            made=made,
            invented=invented,
            swings=self.swings,
            unseen=self.unseen,
        )

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.report.rundown_report import rundown_drawings  # noqa: PLC0415  see the head of this module

        return rundown_drawings(self.measured, self.window, self.swings)


@dataclass(frozen=True, slots=True, repr=False)
class RundownResults(Result):
    """Several reduced recordings over one window."""

    results: tuple[RundownResult, ...]

    @property
    def stopped(self) -> bool:
        """Whether a check says stop."""
        return any(found.severity is Severity.STOP for each in self.results for found in each.findings)

    def document(self) -> dict[str, Any]:
        """Give one result as it is, several as schema ``truerun/rundowns/1``."""
        if len(self.results) == 1:
            return self.results[0].document()
        return {"schema": "truerun/rundowns/1", "rundowns": [each.document() for each in self.results]}

    def summary(self) -> str:
        """Give the results as plain text, one after the other."""
        if len(self.results) == 1:
            return self.results[0].summary()
        return "\n\n\n".join(f"{each.recording.path}\n{each.summary()}" for each in self.results)


def rundown(
    recording: Any,
    marks: int | None = None,
    *,
    window: tuple[float, float] | None = None,
    mark_angles: Sequence[float] | None = None,
    kind: str | None = None,
    unit: str | None = None,
    decimal: str | None = None,
) -> RundownResult:
    r"""Reduce one recording of a wheel that slows down freely.

    Parameters
    ----------
    recording : path, stream of bytes or Recording
        Pass times, intervals, speeds, angles, or the waveform of a sensor.
    marks : int, optional
        Marks a turn; None: as many as there are angles, one for taps by hand, else it is asked for.
    window : (float, float), optional
        Two speeds, the higher one first [rad/s]. None: from the speed at the first pass down to three times the
        capture speed, rounded up to .1 rad/s, where the recording holds that.
    mark_angles : sequence of float, optional
        Where the marks sit, from the first one on, in the direction of travel [rad]. None: evenly spaced.
    kind, unit, decimal : str, optional
        What the file holds, where it cannot be told: see :func:`truerun.recordings.recording.read_recording`.

    Returns
    -------
    RundownResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Examples
    --------
    >>> from io import BytesIO
    >>> passes = "\n".join(f"{4 * (1 - (1 - k / 60) ** 0.5):.6f}" for k in range(40))
    >>> result = rundown(BytesIO(f"time [s]\n{passes}\n".encode()), 1, window=(180.0, 120.0))
    >>> round(result.window.time, 3)
    1.273
    """
    how = As(marks, None if mark_angles is None else tuple(mark_angles), kind, unit, decimal)
    read = read_as(recording, how)
    found = reduced(read, how)
    return _shown(read, found, window or held_window([found.measured]))


def reduce_recordings(
    paths: Sequence[Path | Recording],
    how: As,
    *,
    window: tuple[float, float] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> RundownResults:
    """Reduce several recordings over one window.

    Parameters
    ----------
    paths : sequence of path or Recording
    how : As
        How they are read.
    window : (float, float), optional
        As for :func:`rundown`; None: from the slowest launch of all to three times the largest capture speed.
    progress : callable, optional
        Called with the recordings done and all.

    Returns
    -------
    RundownResults

    Raises
    ------
    TruerunError
        As for :func:`rundown`; also where two paths hold the same recording.
    """
    done: list[tuple[Recording, Reduced]] = []
    for path in paths:
        read = read_as(path, how)
        _require_another(read, [before for before, _ in done])
        done.append((read, reduced(read, how)))
        if progress is not None:
            progress(len(done), len(paths))
    common = window or held_window([found.measured for _, found in done])
    return RundownResults(tuple(_shown(read, found, common) for read, found in done))


def read_as(source: Any, how: As) -> Recording:
    """Read one recording, unless it is one; places of a point that goes round are read as its angles."""
    if isinstance(source, Recording):
        read = source
    else:
        read = read_recording(source, kind=how.kind, unit=how.unit, decimal=how.decimal)
    if isinstance(read.series, AngleTrack | PositionTrack):
        from truerun.motion.track_rows import rows_in_order  # noqa: PLC0415  pass times need none of it

        series, doubts = rows_in_order(read.series)
        read = replace(read, series=series, findings=(*read.findings, *doubts))
    if not isinstance(read.series, PositionTrack):
        return read
    from truerun.motion.round_track import round_track  # noqa: PLC0415  few recordings hold places

    found = round_track(read.series)
    if found is None:
        return read
    angles, circle = found
    centre = f"({circle.x:.4g}, {circle.y:.4g})"
    said = f"The point lies on a circle of radius {circle.radius:.4g} round {centre}: its angle is taken."
    return replace(read, series=angles, said=(*read.said, said))


@dataclass(frozen=True, slots=True, eq=False)
class Reduced:
    """One recording as it was fitted.

    ``counted`` is None where it did not come from passes; ``unseen`` is given for tracks in which no bump was seen.
    """

    measured: Measured
    findings: tuple[Finding, ...]
    counted: CountedPasses | None = None
    unseen: UnseenHill | None = None


def reduced(read: Recording, how: As) -> Reduced:
    """Fit one recording.

    Parameters
    ----------
    read : Recording
    how : As
        For the marks.

    Returns
    -------
    Reduced
        With findings of reading, counting and fitting.

    Raises
    ------
    FitImpossible
        If it holds no rundown, or too little of one.
    ChoiceNeeded
        If the number of marks was not said.
    """
    series = read.series
    _require_free(series)
    if isinstance(series, SpeedTable):
        table = fit_speeds(series, marks=how.marks)
        return Reduced(table, (*read.findings, *table.findings))
    if isinstance(series, AngleTrack):
        return _tracked(series, read.findings)
    if isinstance(series, Passes):
        angles = None if how.mark_angles is None else _in_order(np.asarray(how.mark_angles))
        counted = count_passes(series, _marks(how, angles, series), mark_angles=angles)
        found, late = choose_late_rundown(counted, how.coil)
        return Reduced(found, (*read.findings, *counted.findings, *late, *rundown_findings(found)), counted)
    raise FitImpossible("This recording holds no pass times, speeds or angles; a rundown needs one of them.")


def _require_free(series: Series) -> None:
    """Refuse a recording of swings, which no rundown is in."""
    if not isinstance(series, AngleTrack | SpeedTable | PositionTrack):
        return
    from truerun.motion.swings import only_swings  # noqa: PLC0415  pass times need none of it

    if only_swings(series):
        raise FitImpossible(
            "This recording holds swings to and fro and no free rundown. Record the wheel from a higher speed; "
            "for what swings say by themselves, reduce them with truerun rundown."
        )


def _tracked(series: AngleTrack, said: tuple[Finding, ...]) -> Reduced:
    """Fit a track of angles."""
    from truerun.motion.track_choice import choose_track  # noqa: PLC0415  pass times need none of it
    from truerun.motion.unseen import UnseenHill  # noqa: PLC0415

    found = choose_track(series)
    unseen = None if found.unseen is None else UnseenHill.of(found.unseen, found.fit.speed_high)
    return Reduced(found.fit, (*said, *found.fit.findings), unseen=unseen)


def _in_order(angles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Refuse mark angles that no turn can show one after the other."""
    if not angles.size or angles[0] < 0 or not angles[-1] < 2 * np.pi or not (np.diff(angles) > 0).all():
        listed = ", ".join(f"{each:g}" for each in np.degrees(angles))
        raise ValueOutOfRange("list of mark angles", f"{listed} degrees", "increasing from 0 to below 360 degrees")
    return angles


def _marks(how: As, angles: NDArray[np.float64] | None, passes: Passes) -> int:
    """Give the marks a turn: as said, as many as there are angles, or one for taps."""
    if how.marks is not None:
        return how.marks
    if angles is not None:
        return int(angles.size)
    if passes.timing.clock is Clock.HAND:
        return 1
    raise ChoiceNeeded("The number of marks on the wheel", ("1", "any other"), "Say it with --marks.")


def _shown(read: Recording, found: Reduced, window: tuple[float, float] | None) -> RundownResult:
    """Put a result together."""
    over = None if window is None else measured_window(found.measured, *window)
    swings = _swings_after(read.series)
    said = () if swings is None else swings.findings
    unseen = found.unseen
    if isinstance(found.measured, Rundown) and found.measured.hill is None:
        from truerun.motion.unseen import unseen_hill  # noqa: PLC0415  most recordings show a bump

        unseen = unseen_hill(found.measured)
    return RundownResult(read, found.measured, over, (*found.findings, *said), swings, unseen)


def _swings_after(series: Series) -> Swings | None:
    """Find the swings after the bump caught the wheel."""
    if not isinstance(series, AngleTrack | SpeedTable):
        return None
    from truerun.motion.swings import swings_after  # noqa: PLC0415  pass times need none of it

    return swings_after(series)


def _require_another(read: Recording, before: Sequence[Recording]) -> None:
    """Refuse the same recording under two names."""
    for other in before:
        if read.digest is not None and read.digest == other.digest:
            raise RecordingUnreadable(
                read.path or "the recording",
                "",
                f"its bytes are the same as those of {other.path}. One run cannot count twice; name the right file.",
            )
