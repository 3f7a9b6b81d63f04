"""The page of recordings both ways."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from truerun.charts.both_ways import draw_push, draw_shared_drag
from truerun.charts.slowing import PER_MINUTE
from truerun.findings.finding import Finding
from truerun.motion.two_way import TwoWay
from truerun.motion.two_way_data import Push, push_of
from truerun.report.recording_page import Part, Said, render_recording, rendered_fragment, wide_and_narrow
from truerun.report.rundown_text import with_uncertainty
from truerun.report.standings import found_standings
from truerun.report.two_way_text import cause_words, two_way_headline, two_way_rows
from truerun.series import Recording

__all__ = ["render_two_way", "two_way_fragment"]


def render_two_way(
    found: TwoWay,
    runs: tuple[int, int],
    *,
    recordings: Sequence[Recording],
    findings: Sequence[Finding],
    document: Mapping[str, Any],
    made: datetime,
    invented: bool = False,
) -> str:
    """Write the page of recordings both ways.

    Parameters
    ----------
    found : TwoWay
    runs : (int, int)
        How many there were each way.
    recordings : sequence of Recording
        Those there first.
    findings : sequence of Finding
    document : mapping
        The result as plain data.
    made : datetime
        With its time zone.
    invented : bool
        Whether they never took place; the page then says so first.

    Returns
    -------
    str
        One HTML page without script and without any request.
    """
    shared, push = (wide_and_narrow(partial(draw, found)) for draw in (draw_shared_drag, draw_push))
    said = Said(
        tag="Recordings of one wheel, there and back",
        figure=_figure(found),
        headline=two_way_headline(found),
        keys=[(name, value.split(", ")[0]) for name, value in two_way_rows(found, runs)[1:4]],
        rows=two_way_rows(found, runs),
        parts=(
            Part("push", "What pushes it one way", (cause_words(found),), (push,)),
            Part("shared", "What slows it down both ways", (), (shared,)),
        ),
        recordings=recordings,
    )
    return render_recording(said, findings=findings, document=document, made=made, invented=invented)


def two_way_fragment(found: TwoWay, runs: tuple[int, int], findings: Sequence[Finding]) -> str:
    """Write recordings both ways as a piece of a page."""
    picture = wide_and_narrow(partial(draw_push, found))
    return rendered_fragment(two_way_headline(found), two_way_rows(found, runs), picture, found_standings(findings))


def _figure(found: TwoWay) -> str:
    """Give the figure that stands largest."""
    if push_of(found) is Push.UNSEEN:
        return "no push seen"
    size = with_uncertainty(abs(found.mean_drive) * PER_MINUTE, found.mean_drive_uncertainty * PER_MINUTE)
    return f"{size} r/min each second"
