"""The page of a recording of swings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from truerun.charts.swings import draw_swings
from truerun.findings.finding import Finding
from truerun.motion.swings import Swings
from truerun.report.recording_page import Part, Said, render_recording, rendered_fragment, wide_and_narrow
from truerun.report.rundown_text import with_uncertainty
from truerun.report.standings import found_standings
from truerun.report.swings_text import stops_words, swings_headline, swings_rows
from truerun.series import Recording

__all__ = ["render_swings", "swings_fragment", "swings_part"]

_KEYS = ("Stiffness of the bump", "Dry drag", "Viscous drag", "It catches the wheel below")


def render_swings(
    swings: Swings,
    *,
    recording: Recording,
    findings: Sequence[Finding],
    document: Mapping[str, Any],
    made: datetime,
    invented: bool = False,
) -> str:
    """Write the page of a recording of swings.

    Parameters
    ----------
    swings : Swings
    recording : Recording
        In which they were found.
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
    said = Said(
        tag="One recording of a wheel that swings to and fro",
        figure=f"{with_uncertainty(swings.period.value, swings.period.uncertainty)} s a swing",
        headline=swings_headline(swings),
        keys=_keys(swings),
        rows=swings_rows(swings),
        parts=(swings_part(swings),),
        recordings=(recording,),
    )
    return render_recording(said, findings=findings, document=document, made=made, invented=invented)


def swings_part(swings: Swings) -> Part:
    """Give the part of a page that shows how the swings die away."""
    picture = wide_and_narrow(partial(draw_swings, swings))
    title = (
        "How the swings die away, after the bump has caught the wheel" if swings.after else "How the swings die away"
    )
    return Part("swings", title, (stops_words(swings),), (picture,))


def swings_fragment(swings: Swings, findings: Sequence[Finding]) -> str:
    """Write swings as a piece of a page."""
    picture = wide_and_narrow(partial(draw_swings, swings))
    return rendered_fragment(swings_headline(swings), _keys(swings), picture, found_standings(findings))


def _keys(swings: Swings) -> list[tuple[str, str]]:
    """Give the few figures that stand at the top."""
    rows = dict(swings_rows(swings))
    return [(name, rows[name].split(", ")[0]) for name in _KEYS if name in rows]
