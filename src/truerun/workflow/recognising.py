"""Recordings of any kind, each shown as what it holds: a rundown, swings, or releases from rest."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from truerun.findings.finding import Severity
from truerun.series import AngleTrack, PositionTrack, Recording, Releases, SpeedTable
from truerun.workflow.reducing import As, Path, RundownResult, read_as, reduce_recordings
from truerun.workflow.results import Result

if TYPE_CHECKING:
    from truerun.workflow.releasing import ReleaseResult
    from truerun.workflow.swinging import SwingResult

__all__ = ["Recognised", "recognise_recordings"]


@dataclass(frozen=True, slots=True, repr=False)
class Recognised(Result):
    """Results of one recording or several, each by what it holds, in the order of the files."""

    results: tuple[RundownResult | SwingResult | ReleaseResult, ...]

    @property
    def stopped(self) -> bool:
        """Whether a check says stop."""
        return any(found.severity is Severity.STOP for each in self.results for found in each.findings)

    @property
    def first(self) -> RundownResult | SwingResult | ReleaseResult:
        """What a page shows: a page is for one recording."""
        return self.results[0]

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


def recognise_recordings(
    paths: Sequence[Path],
    how: As,
    *,
    window: tuple[float, float] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Recognised:
    """Reduce each recording to what it holds.

    Parameters
    ----------
    paths : sequence of path
    how : As
        How they are read.
    window : (float, float), optional
        For rundowns: see :func:`truerun.workflow.reducing.reduce_recordings`.
    progress : callable, optional
        Called with the rundowns done and all.

    Returns
    -------
    Recognised

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.
    """
    others: dict[int, SwingResult | ReleaseResult] = {}
    running: dict[int, Recording] = {}
    for place, path in enumerate(paths):
        read = read_as(path, how)
        found = _other(read, how)
        if found is not None:
            others[place] = found
        else:
            running[place] = read
    reduced = reduce_recordings(list(running.values()), how, window=window, progress=progress) if running else None
    rundowns = dict(zip(running, reduced.results if reduced else (), strict=True))
    return Recognised(tuple(others[place] if place in others else rundowns[place] for place in range(len(paths))))


def _other(read: Recording, how: As) -> SwingResult | ReleaseResult | None:
    """Reduce a recording of swings or releases; None where it holds anything else."""
    series = read.series
    if isinstance(series, AngleTrack | Releases):
        from truerun.motion.holds import releases_in  # noqa: PLC0415  pass times need none of it
        from truerun.workflow.releasing import release_result  # noqa: PLC0415

        let_go = releases_in(series) if isinstance(series, AngleTrack) else series
        if let_go is not None:
            return release_result(read, let_go, how.dry_drag)
    if not isinstance(series, AngleTrack | PositionTrack | SpeedTable):
        return None
    from truerun.motion.swings import only_swings  # noqa: PLC0415  pass times need none of it
    from truerun.workflow.swinging import swing_result  # noqa: PLC0415

    return swing_result(read, series) if only_swings(series) else None
