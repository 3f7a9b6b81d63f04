"""Drawings as they stand in a page: wide, for a phone, and for paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from truerun.charts.drawing import Drawing, Width
from truerun.charts.drive_line import draw_drive_line
from truerun.charts.evidence import draw_evidence
from truerun.charts.luck import draw_luck
from truerun.charts.render import svg_of
from truerun.charts.runs import draw_runs
from truerun.charts.severity import draw_severity
from truerun.trial.comparison import Comparison

__all__ = ["Picture", "Pictures", "drive_line_picture", "pictures_of"]

Draw = Callable[[Comparison, Width], Drawing | None]


@dataclass(frozen=True, slots=True)
class Picture:
    """One drawing as SVG in its widths, every text in it escaped by the renderer.

    ``paper`` is None where the wide one prints, or on a first page the narrow one.
    """

    drawing: Drawing
    wide: str
    narrow: str
    paper: str | None = None


@dataclass(frozen=True, slots=True)
class Pictures:
    """All drawings of a comparison; None where the result has none to show."""

    drive_line: Picture | None
    runs: Picture | None
    luck: Picture | None
    severity: Picture | None
    evidence: Picture | None


def pictures_of(result: Comparison) -> Pictures:
    """Draw everything that a report shows."""
    return Pictures(
        drive_line=_picture(result, draw_drive_line),
        runs=_picture(result, draw_runs),
        luck=_picture(result, draw_luck, anew=True),
        severity=_picture(result, draw_severity),
        evidence=_picture(result, draw_evidence),
    )


def drive_line_picture(result: Comparison) -> Picture | None:
    """Draw the drive line alone."""
    return _picture(result, draw_drive_line)


def _picture(result: Comparison, draw: Draw, *, anew: bool = False) -> Picture | None:
    """Render one drawing; ``anew`` makes a third one for paper."""
    wide, narrow = draw(result, Width.WIDE), draw(result, Width.PHONE)
    paper = draw(result, Width.PRINT) if anew else None
    if wide is None or narrow is None:
        return None
    return Picture(wide, svg_of(wide), svg_of(narrow), svg_of(paper) if paper is not None else None)
