"""Recordings of swings: drag and stiffness from how they die away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from truerun.errors import FitImpossible
from truerun.findings.finding import Finding
from truerun.motion.swings import Swings, find_swings
from truerun.motion.swings_data import swings_data
from truerun.report.swings_text import swings_text
from truerun.series import AngleTrack, PositionTrack, Recording, SpeedTable
from truerun.workflow.reducing import As, read_as
from truerun.workflow.results import RecordingResult
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.recording_page import Said

__all__ = ["SwingResult", "no_rundown", "swing_result", "swings"]


@dataclass(frozen=True, slots=True, repr=False)
class SwingResult(RecordingResult):
    """A recording of swings that can show itself."""

    recording: Recording
    swings: Swings
    findings: tuple[Finding, ...]

    def __repr__(self) -> str:
        return f"<swings: {self.swings.turning_points} turning points, {self.swings.period.value:.4g} s>"

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/rundown/1``; what only a rundown has is null."""
        return no_rundown([self.recording], self.findings) | {"swings": swings_data(self.swings)}

    def summary(self) -> str:
        """Give the result as plain text."""
        return swings_text(self.swings, self.recording.said, self.findings)

    def _said(self) -> Said:
        """Give what the page says."""
        from truerun.report.swings_page import swings_said  # noqa: PLC0415  pages and drawings are heavy

        return swings_said(self.swings, self.recording)

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.charts.swings import draw_swings  # noqa: PLC0415  drawings are heavy

        return (draw_swings(self.swings),)


def swings(
    recording: Any, *, kind: str | None = None, unit: str | None = None, decimal: str | None = None
) -> SwingResult:
    r"""Find drag and stiffness from swings that die away.

    Parameters
    ----------
    recording : path, stream of bytes or Recording
        Angles, places of a point, or speeds to both sides.
    kind, unit, decimal : str, optional
        What the file holds, where it cannot be told: see :func:`truerun.recordings.recording.read_recording`.

    Returns
    -------
    SwingResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Examples
    --------
    >>> from io import BytesIO
    >>> from math import cos, exp
    >>> rows = "\n".join(f"{k / 100};{0.3 * exp(-k / 1000) * cos(k / 20):.6f}" for k in range(900))
    >>> swings(BytesIO(f"time [s];angle [rad]\n{rows}\n".encode()))
    <swings: 12 turning points, 1.257 s>
    """
    read = read_as(recording, As(None, None, kind, unit, decimal))
    series = read.series
    if not isinstance(series, AngleTrack | PositionTrack | SpeedTable):
        raise FitImpossible("This recording holds no angles, places or speeds; swings need one of them.")
    return swing_result(read, series)


def swing_result(read: Recording, series: AngleTrack | PositionTrack | SpeedTable) -> SwingResult:
    """Fit swings and put the result together.

    Parameters
    ----------
    read : Recording
    series : AngleTrack, PositionTrack or SpeedTable
        What swings in it: its series, or angles made from it.

    Returns
    -------
    SwingResult
    """
    found = find_swings(series)
    return SwingResult(read, found, (*read.findings, *found.findings))


def no_rundown(read: list[Recording], findings: tuple[Finding, ...]) -> dict[str, Any]:
    """Give the keys that every result of ``truerun rundown`` has, for one that holds no free rundown."""
    nothing = ("passes", "turns", "marks", "window", "drag", "hill", "capture_speed", "spacing")
    return (
        {"schema": "truerun/rundown/1"}
        | dict.fromkeys(nothing)
        | {
            "read_as": [sentence for each in read for sentence in each.said],
            "findings": [each.document() for each in findings],
            "inputs": [each.digest for each in read if each.digest],
            "versions": versions(),
        }
    )
