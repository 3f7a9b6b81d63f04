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

__all__ = ["Picture", "Pictures", "drawings_of", "drive_line_picture", "picture_of", "pictures_of"]

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


def drawings_of(result: Comparison) -> tuple[Drawing, ...]:
    """Give every drawing of a comparison in its wide form, to be saved as files."""
    drawn = (draw(result, Width.WIDE) for draw in (draw_drive_line, draw_runs, draw_luck, draw_severity, draw_evidence))
    return tuple(drawing for drawing in drawn if drawing is not None)


def picture_of(draw: Callable[[Width], Drawing | None], *, anew: bool = False) -> Picture | None:
    """Render one drawing in its widths; ``anew`` makes a third one for paper.

    Parameters
    ----------
    draw : callable
        Gives the drawing for a width, None where there is nothing to show.
    anew : bool
        Whether paper gets a drawing of its own.

    Returns
    -------
    Picture or None
    """
    wide, narrow = draw(Width.WIDE), draw(Width.PHONE)
    paper = draw(Width.PRINT) if anew else None
    if wide is None or narrow is None:
        return None
    return Picture(wide, svg_of(wide), svg_of(narrow), svg_of(paper) if paper is not None else None)


def _picture(result: Comparison, draw: Draw, *, anew: bool = False) -> Picture | None:
    """Render one drawing of a comparison."""
    return picture_of(lambda width: draw(result, width), anew=anew)
