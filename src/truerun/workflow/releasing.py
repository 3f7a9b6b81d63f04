"""Releases from rest: the bump without any clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from truerun.findings.finding import Finding
from truerun.motion.release_choice import ReleasedHill, choose_releases, release_data
from truerun.report.release_text import release_text
from truerun.series import Recording, Releases
from truerun.workflow.results import RecordingResult
from truerun.workflow.swinging import no_rundown

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.recording_page import Said

__all__ = ["ReleaseResult", "release_result"]


@dataclass(frozen=True, slots=True, repr=False)
class ReleaseResult(RecordingResult):
    """A recording of releases that can show itself."""

    recording: Recording
    released: ReleasedHill
    findings: tuple[Finding, ...]

    def __repr__(self) -> str:
        return f"<releases: {self.released.found.used.size}, {self.released.turns:.4g} turns of drag>"

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/rundown/1``; what only a rundown has is null."""
        return no_rundown([self.recording], self.findings) | release_data(self.released)

    def summary(self) -> str:
        """Give the result as plain text."""
        return release_text(self.released, self.recording.said, self.findings)

    def _said(self) -> Said:
        """Give what the page says."""
        from truerun.report.release_page import release_said  # noqa: PLC0415  pages and drawings are heavy

        return release_said(self.released, self.recording)

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.charts.releases import draw_releases  # noqa: PLC0415  drawings are heavy

        return (draw_releases(self.released),)


def release_result(read: Recording, series: Releases, drag: tuple[float, float] | None) -> ReleaseResult:
    """Fit releases and put the result together.

    Parameters
    ----------
    read : Recording
    series : Releases
        What it holds.
    drag : (float, float) or None
        Specific dry drag with its standard uncertainty [rad/s^2].

    Returns
    -------
    ReleaseResult
    """
    found = choose_releases(series, drag)
    return ReleaseResult(read, found, (*read.findings, *found.findings))
