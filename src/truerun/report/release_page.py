"""The page of releases from rest."""

from __future__ import annotations

from functools import partial

from truerun.charts.releases import draw_releases
from truerun.motion.release_choice import ReleasedHill
from truerun.report.recording_page import Part, Said, wide_and_narrow
from truerun.report.release_text import release_headline, release_rows
from truerun.report.rundown_text import with_uncertainty
from truerun.series import Recording

__all__ = ["release_said"]


def release_said(released: ReleasedHill, recording: Recording) -> Said:
    """Give what the page of releases from rest says.

    Parameters
    ----------
    released : ReleasedHill
    recording : Recording
        In which they were found.

    Returns
    -------
    Said
    """
    picture = wide_and_narrow(partial(draw_releases, released))
    return Said(
        tag="A wheel that was let go from rest at many places",
        figure=f"{with_uncertainty(released.turns, released.turns_uncertainty)} turns of drag",
        headline=release_headline(released),
        keys=[(name, value.split("; ")[0]) for name, value in release_rows(released)],
        rows=release_rows(released),
        parts=(Part("releases", "The magnetic bump", (), (picture,)),),
        recordings=(recording,),
    )
