"""The page of a recording of swings."""

from __future__ import annotations

from functools import partial

from truerun.charts.swings import draw_swings
from truerun.motion.swings import Swings
from truerun.report.recording_page import Part, Said, wide_and_narrow
from truerun.report.rundown_text import with_uncertainty
from truerun.report.swings_text import stops_words, swings_headline, swings_rows
from truerun.series import Recording

__all__ = ["swings_part", "swings_said"]

_KEYS = ("Stiffness of the bump", "Dry drag", "Viscous drag", "It catches the wheel below")


def swings_said(swings: Swings, recording: Recording) -> Said:
    """Give what the page of a recording of swings says.

    Parameters
    ----------
    swings : Swings
    recording : Recording
        In which they were found.

    Returns
    -------
    Said
    """
    return Said(
        tag="One recording of a wheel that swings to and fro",
        figure=f"{with_uncertainty(swings.period.value, swings.period.uncertainty)} s a swing",
        headline=swings_headline(swings),
        keys=_keys(swings),
        rows=swings_rows(swings),
        parts=(swings_part(swings),),
        recordings=(recording,),
    )


def swings_part(swings: Swings) -> Part:
    """Give the part of a page that shows how the swings die away."""
    picture = wide_and_narrow(partial(draw_swings, swings))
    title = (
        "How the swings die away, after the bump has caught the wheel" if swings.after else "How the swings die away"
    )
    return Part("swings", title, (stops_words(swings),), (picture,))


def _keys(swings: Swings) -> list[tuple[str, str]]:
    """Give the few figures that stand at the top."""
    rows = dict(swings_rows(swings))
    return [(name, rows[name].split(", ")[0]) for name in _KEYS if name in rows]
