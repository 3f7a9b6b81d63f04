"""The page of recordings both ways."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from truerun.charts.both_ways import draw_push, draw_shared_drag
from truerun.charts.slowing import PER_MINUTE
from truerun.motion.two_way import TwoWay
from truerun.motion.two_way_data import Push, push_of
from truerun.report.recording_page import Part, Said, wide_and_narrow
from truerun.report.rundown_text import with_uncertainty
from truerun.report.two_way_text import cause_words, two_way_headline, two_way_rows
from truerun.series import Recording

__all__ = ["two_way_said"]


def two_way_said(found: TwoWay, runs: tuple[int, int], recordings: Sequence[Recording]) -> Said:
    """Give what the page of recordings both ways says.

    Parameters
    ----------
    found : TwoWay
    runs : (int, int)
        How many there were each way.
    recordings : sequence of Recording
        Those there first.

    Returns
    -------
    Said
    """
    shared, push = (wide_and_narrow(partial(draw, found)) for draw in (draw_shared_drag, draw_push))
    return Said(
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


def _figure(found: TwoWay) -> str:
    """Give the figure that stands largest."""
    if push_of(found) is Push.UNSEEN:
        return "no push seen"
    size = with_uncertainty(abs(found.mean_drive) * PER_MINUTE, found.mean_drive_uncertainty * PER_MINUTE)
    return f"{size} r/min each second"
