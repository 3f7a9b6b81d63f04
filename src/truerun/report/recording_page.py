"""The page of one recording, or of several that belong together, which is no plain rundown."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import PurePath
from typing import Any

from truerun.charts.drawing import Drawing, Width
from truerun.charts.render import svg_of
from truerun.errors import ValueOutOfRange
from truerun.findings.finding import Finding
from truerun.report.json_text import json_text
from truerun.report.pages import rendered
from truerun.report.pictures import Picture
from truerun.report.standings import found_standings
from truerun.series import Recording

__all__ = ["Part", "Said", "recording_fragment", "render_recording", "wide_and_narrow"]


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the page: an anchor, a title, sentences, pictures."""

    anchor: str
    title: str
    sentences: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True)
class Said:
    """What a page says: ``tag`` is what it is of, ``figure`` the one figure that stands largest."""

    tag: str
    figure: str
    headline: str
    keys: Sequence[tuple[str, str]]
    rows: Sequence[tuple[str, str]]
    parts: Sequence[Part]
    recordings: Sequence[Recording] = field(default_factory=tuple)


def render_recording(
    said: Said,
    *,
    findings: Sequence[Finding],
    document: Mapping[str, Any],
    made: datetime,
    invented: bool = False,
) -> str:
    """Write the page.

    Parameters
    ----------
    said : Said
    findings : sequence of Finding
    document : mapping
        The result as plain data.
    made : datetime
        With its time zone; the same time gives the same bytes.
    invented : bool
        Whether the run never took place; the page then says so first.

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
    names = [PurePath(each.path).name for each in said.recordings if each.path]
    return rendered(
        "recording_report.html.j2",
        said=said,
        name=", ".join(names) or "a recording",
        made=made.astimezone(UTC),
        invented=invented,
        seal=None,
        checks=found_standings(findings),
        document=json_text(document),
    )


def recording_fragment(said: Said, findings: Sequence[Finding]) -> str:
    """Write a piece of a page: what was found, the first picture, key figures, what was noticed."""
    return rendered(
        "rundown_fragment.html.j2",
        headline=said.headline,
        keys=said.keys,
        picture=said.parts[0].pictures[0],
        checks=found_standings(findings),
    )


def wide_and_narrow(draw: Callable[[Width], Drawing]) -> Picture:
    """Render a drawing for a desk and for a phone."""
    wide = draw(Width.WIDE)
    return Picture(wide, svg_of(wide), svg_of(draw(Width.PHONE)))
