"""Recordings of one wheel there and back: what changes sign with the direction, and what does not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from truerun.errors import FitImpossible
from truerun.findings.finding import Finding, Severity
from truerun.motion.two_way import TwoWay, split_two_way
from truerun.motion.two_way_data import two_way_data
from truerun.report.two_way_text import two_way_text
from truerun.series import Recording
from truerun.workflow.reducing import As, Path, RundownResult, reduce_recordings
from truerun.workflow.results import RecordingResult
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.recording_page import Said

__all__ = ["BothWaysResult", "both_ways"]

_OF_PARTS = ("negative-drag-term", "terms-trade-off")


@dataclass(frozen=True, slots=True, repr=False)
class BothWaysResult(RecordingResult):
    """Drag measured both ways that can show itself; ``there`` and ``back`` are the recordings each way."""

    there: tuple[RundownResult, ...]
    back: tuple[RundownResult, ...]
    halves: TwoWay
    findings: tuple[Finding, ...]

    def __repr__(self) -> str:
        return f"<both ways: push {self.halves.mean_drive:.3g} rad/s², drag {self.halves.mean_drag:.3g} rad/s²>"

    @property
    def stopped(self) -> bool:
        """Whether a check says stop."""
        return any(found.severity is Severity.STOP for found in self.findings)

    @property
    def first(self) -> BothWaysResult:
        """What a page shows: all of it."""
        return self

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """The recordings, those there first."""
        return tuple(each.recording for each in (*self.there, *self.back))

    @property
    def _runs(self) -> tuple[int, int]:
        """How many recordings there were each way."""
        return len(self.there), len(self.back)

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/two-way/1``."""
        return (
            {"schema": "truerun/two-way/1", "runs": dict(zip(("there", "back"), self._runs, strict=True))}
            | two_way_data(self.halves)
            | {
                "findings": [each.document() for each in self.findings],
                "inputs": [each.digest for each in self.recordings if each.digest],
                "versions": versions(),
            }
        )

    def summary(self) -> str:
        """Give the result as plain text."""
        return two_way_text(self.halves, self._runs, self.findings)

    def _said(self) -> Said:
        """Give what the page says."""
        from truerun.report.two_way_page import two_way_said  # noqa: PLC0415  pages and drawings are heavy

        return two_way_said(self.halves, self._runs, self.recordings)

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.charts.both_ways import draw_push, draw_shared_drag  # noqa: PLC0415  drawings are heavy

        return draw_push(self.halves), draw_shared_drag(self.halves)


def both_ways(
    there: Sequence[Path | Recording],
    back: Sequence[Path | Recording],
    how: As | None = None,
    *,
    window: tuple[float, float] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> BothWaysResult:
    """Split the drag of a wheel into what both ways share and what changes sign with the direction.

    Parameters
    ----------
    there, back : sequence of path or Recording
        Rundowns one way and the other, nothing else changed between them; at least one each.
    how : As, optional
        How they are read.
    window : (float, float), optional
        Speeds between which they are compared, the higher one first [rad/s]. None: all that every one of them holds.
    progress : callable, optional
        Called with the recordings done and all.

    Returns
    -------
    BothWaysResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.
    """
    if not there or not back:
        given = f"{len(there)} recordings there and {len(back)} back"
        raise FitImpossible(
            f"There are {given}; a comparison of both ways needs at least one each way. Record the other."
        )
    results = reduce_recordings([*there, *back], how or As(), window=window, progress=progress).results
    ways = results[: len(there)], results[len(there) :]
    low, high = _common(results) if window is None else (window[1], window[0])
    ahead, behind = ([each.measured.drag for each in way] for way in ways)
    halves = split_two_way(ahead, behind, low, high)
    return BothWaysResult(*ways, halves, (*halves.findings, *_noticed(results)))


def _noticed(results: Sequence[RundownResult]) -> tuple[Finding, ...]:
    """Give what was noticed in any of the recordings, each kind once; the parts of the drag do not matter here."""
    said = {found.check: found for each in reversed(results) for found in reversed(each.findings)}
    return tuple(found for check, found in said.items() if check not in _OF_PARTS)


def _common(results: Sequence[RundownResult]) -> tuple[float, float]:
    """Give the speeds that every recording holds."""
    drags = [each.measured.drag.basis for each in results]
    low = max(*(each.measured.speed_low for each in results), *(basis.low for basis in drags))
    high = min(*(each.measured.speed_high for each in results), *(basis.high for basis in drags))
    if not low < high:
        raise FitImpossible(
            f"No speed is in all of these recordings: one begins at {high:.4g} rad/s, another ends at {low:.4g} rad/s. "
            "Launch all of them faster, and let them run down further."
        )
    return low, high
