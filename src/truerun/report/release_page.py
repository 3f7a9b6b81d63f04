"""The page of releases from rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from truerun.charts.releases import draw_releases
from truerun.findings.finding import Finding
from truerun.motion.release_choice import ReleasedHill
from truerun.report.recording_page import Part, Said, render_recording, rendered_fragment, wide_and_narrow
from truerun.report.release_text import release_headline, release_rows
from truerun.report.rundown_text import with_uncertainty
from truerun.report.standings import found_standings
from truerun.series import Recording

__all__ = ["release_fragment", "render_releases"]


def render_releases(
    released: ReleasedHill,
    *,
    recording: Recording,
    findings: Sequence[Finding],
    document: Mapping[str, Any],
    made: datetime,
    invented: bool = False,
) -> str:
    """Write the page of releases from rest.

    Parameters
    ----------
    released : ReleasedHill
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
    picture = wide_and_narrow(partial(draw_releases, released))
    said = Said(
        tag="A wheel that was let go from rest at many places",
        figure=f"{with_uncertainty(released.turns, released.turns_uncertainty)} turns of drag",
        headline=release_headline(released),
        keys=[(name, value.split("; ")[0]) for name, value in release_rows(released)],
        rows=release_rows(released),
        parts=(Part("releases", "The magnetic bump", (), (picture,)),),
        recordings=(recording,),
    )
    return render_recording(said, findings=findings, document=document, made=made, invented=invented)


def release_fragment(released: ReleasedHill, findings: Sequence[Finding]) -> str:
    """Write releases as a piece of a page."""
    picture = wide_and_narrow(partial(draw_releases, released))
    return rendered_fragment(release_headline(released), release_rows(released), picture, found_standings(findings))
