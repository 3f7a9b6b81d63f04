"""The page of one reduced recording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import PurePath
from typing import Any

from truerun.charts.drag import draw_drag
from truerun.charts.drawing import Drawing
from truerun.charts.hill import draw_hill, draw_hill_ring
from truerun.charts.render import svg_of
from truerun.charts.residuals import draw_residuals, residual_views
from truerun.charts.slowing import draw_slowing
from truerun.charts.swings import draw_swings
from truerun.errors import ValueOutOfRange
from truerun.findings.finding import Finding
from truerun.motion.hill import capture_speed
from truerun.motion.measured import Measured, hill_of, turns_of
from truerun.motion.rundown_data import TERM_NAMES, usual_terms
from truerun.motion.swings import Swings
from truerun.motion.unseen import UnseenHill
from truerun.motion.window import Window
from truerun.report.json_text import json_text
from truerun.report.pages import rendered
from truerun.report.pictures import Picture, picture_of
from truerun.report.recording_page import wide_and_narrow
from truerun.report.rundown_text import headline, measured_rows, per_minute, short_time, with_uncertainty
from truerun.report.standings import found_standings
from truerun.report.swings_text import swings_rows
from truerun.series import Recording

__all__ = ["RundownPictures", "key_rows", "render_rundown", "rundown_drawings", "rundown_fragment", "rundown_pictures"]

_BUMP_ROWS = ("Magnetic bump", "One that could be missed", "That one would catch")
_UNITS = {0.0: "rad/s²", 1.0: "1/s", 2.0: "1/rad"}


@dataclass(frozen=True, slots=True)
class RundownPictures:
    """All drawings of a rundown; those of the bump are None where none was fitted."""

    slowing: Picture
    drag: Picture
    hill: Picture | None
    ring: Picture | None
    residuals: tuple[Picture, ...]
    swings: Picture | None = None


def rundown_pictures(rundown: Measured, window: Window | None, swings: Swings | None = None) -> RundownPictures:
    """Draw everything that the page of a rundown shows."""
    ring = draw_hill_ring(rundown)
    return RundownPictures(
        slowing=wide_and_narrow(partial(draw_slowing, rundown, window)),
        drag=wide_and_narrow(partial(draw_drag, rundown)),
        hill=picture_of(partial(draw_hill, rundown)),
        ring=None if ring is None else Picture(ring, svg_of(ring), svg_of(ring)),
        residuals=tuple(
            wide_and_narrow(partial(draw_residuals, rundown, against)) for against in residual_views(rundown)
        ),
        swings=None if swings is None else wide_and_narrow(partial(draw_swings, swings)),
    )


def rundown_drawings(rundown: Measured, window: Window | None, swings: Swings | None = None) -> tuple[Drawing, ...]:
    """Give every drawing of a rundown in its wide form, to be saved as files."""
    made = rundown_pictures(rundown, window, swings)
    drawn = (made.slowing, made.drag, made.hill, made.ring, made.swings, *made.residuals)
    return tuple(picture.drawing for picture in drawn if picture is not None)


def render_rundown(
    rundown: Measured,
    window: Window | None,
    *,
    recording: Recording,
    findings: Sequence[Finding],
    document: Mapping[str, Any],
    made: datetime,
    invented: bool = False,
    swings: Swings | None = None,
    unseen: UnseenHill | None = None,
) -> str:
    """Write the page of a reduced recording.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown
    window : Window or None
    recording : Recording
        From which it was reduced: name, fingerprint, as what it was read.
    findings : sequence of Finding
    document : mapping
        The result as plain data.
    made : datetime
        With its time zone; the same time gives the same bytes.
    invented : bool
        Whether the run never took place; the page then says so first.
    swings : Swings, optional
        After the bump caught the wheel.
    unseen : UnseenHill, optional
        The bump that could have been missed, where none was seen.

    Returns
    -------
    str
        One HTML page without script and without any request.

    Raises
    ------
    ValueOutOfRange
        If the time has no zone.
    """
    if made.tzinfo is None:
        raise ValueOutOfRange("The time of the report", made.isoformat(), "given with its time zone")
    rows = measured_rows(rundown, window, unseen)
    return rendered(
        "rundown_report.html.j2",
        headline=headline(rundown, window),
        figure=f"{window.time:.2f} s" if window is not None else f"{turns_of(rundown):.1f} turns",
        name=PurePath(recording.path).name if recording.path else "a recording",
        digest=recording.digest,
        read_as=recording.said,
        made=made.astimezone(UTC),
        invented=invented,
        rows=rows,
        keys=key_rows(rundown, window),
        seal=None,
        bump_rows=[] if hill_of(rundown) is not None else [row for row in rows if row[0] in _BUMP_ROWS],
        terms=_term_rows(rundown),
        pictures=rundown_pictures(rundown, window, swings),
        swing_rows=[] if swings is None else swings_rows(swings),
        checks=found_standings(findings),
        document=json_text(document),
    )


def rundown_fragment(rundown: Measured, window: Window | None, findings: Sequence[Finding]) -> str:
    """Write a reduced recording as a piece of a page: how it slowed down, key figures, what was noticed.

    Parameters
    ----------
    rundown : Rundown or SpeedRundown
    window : Window or None
    findings : sequence of Finding

    Returns
    -------
    str
        One ``div``, without script and without any request.
    """
    return rendered(
        "rundown_fragment.html.j2",
        headline=headline(rundown, window),
        keys=key_rows(rundown, window),
        picture=wide_and_narrow(partial(draw_slowing, rundown, window)),
        checks=found_standings(findings),
    )


def key_rows(rundown: Measured, window: Window | None) -> list[tuple[str, str]]:
    """Give the few figures that stand at the top."""
    rows = [("First pass at", per_minute(rundown.speed_high)), ("Last pass at", per_minute(rundown.speed_low))]
    if window is not None:
        rows += [("Turns in the window", f"{window.turns:.1f}"), ("Time good to", short_time(window.time_uncertainty))]
    hill = hill_of(rundown)
    if hill is not None:
        caught, _ = capture_speed(hill)
        rows += [("Bump catches the wheel below", per_minute(caught)), ("Fair end, at least", per_minute(3 * caught))]
    return rows


def _term_rows(rundown: Measured) -> list[tuple[str, str, str]]:
    """Give the named terms of the drag as rows."""
    terms = usual_terms(rundown)
    if terms is None:
        return []
    return [
        (TERM_NAMES[power], with_uncertainty(value, variance**0.5), _UNITS[power])
        for power, value, variance in zip(terms.powers, terms.coefficients, terms.covariance.diagonal(), strict=True)
    ]
