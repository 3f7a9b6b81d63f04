"""Releases from rest as words and rows of figures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from truerun.charts.slowing import PER_MINUTE
from truerun.findings.finding import Finding
from truerun.motion.hill import capture_speed, hill_matrix
from truerun.motion.release_choice import ReleasedHill
from truerun.report.noticed import recording_text
from truerun.report.rundown_text import per_minute, with_uncertainty

__all__ = ["release_headline", "release_rows", "release_text"]

_SPACE = "\N{NO-BREAK SPACE}"


def release_text(released: ReleasedHill, said: Sequence[str], findings: Sequence[Finding]) -> str:
    """Write releases from rest.

    Parameters
    ----------
    released : ReleasedHill
    said : sequence of str
        As what the file was read.
    findings : sequence of Finding

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    return recording_text(release_headline(released), release_rows(released), said, findings)


def release_headline(released: ReleasedHill) -> str:
    """Say in a sentence how high the bump is."""
    turns = with_uncertainty(released.turns, released.turns_uncertainty)
    return f"From trough to crest the bump is as high as what dry drag uses up in {turns} turns."


def release_rows(released: ReleasedHill) -> list[tuple[str, str]]:
    """Give what the releases say, a name and a value each."""
    found = released.found
    orders = found.shape.cosine.size
    rows = [
        ("Releases", f"{found.used.size}, of which {int(found.used.sum())} moved"),
        ("Height of the bump", f"{with_uncertainty(released.turns, released.turns_uncertainty)} turns of dry drag"),
        ("Shape", f"{orders} harmonic{'s' if orders > 1 else ''}; {_extremes(released)}"),
        ("One angle is good to", f"{np.degrees(found.sigma):.2g}°"),
    ]
    if released.hill is None:
        said = "not known without the dry drag: take it from swings or a rundown, and give it with --dry-drag"
        return [*rows, ("It catches the wheel below", said)]
    speed, spread = capture_speed(released.hill)
    caught = with_uncertainty(speed * PER_MINUTE, spread * PER_MINUTE)
    fair = f"a fair window ends at {per_minute(3 * speed)} or above"
    return [*rows, ("It catches the wheel below", f"{caught}{_SPACE}r/min; {fair}")]


def _extremes(released: ReleasedHill) -> str:
    """Say where the bump is highest and lowest."""
    shape = released.found.shape
    angles = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    height = hill_matrix(angles, shape.cosine.size) @ shape.coefficients
    top, bottom = (np.degrees(angles[int(place)]) for place in (height.argmax(), height.argmin()))
    return f"crest at {top:.0f}°, trough at {bottom:.0f}°"
