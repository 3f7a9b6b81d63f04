"""Drawings as files: SVG and PNG in every scheme, the same as a table, and what each says in words."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from truerun.charts.drawing import Drawing
from truerun.charts.palette import Scheme
from truerun.charts.render import png_of, svg_of

__all__ = ["WORDS_FILE", "picture_files", "picture_names"]

WORDS_FILE = "pictures.txt"
"""Name of the file that says in words what each picture shows."""

_ENDS = {Scheme.LIGHT: "", Scheme.DARK: "-dark", Scheme.GREY_PRINT: "-grey"}


def picture_names(drawings: Sequence[Drawing]) -> list[str]:
    """Give the names of the files, without rendering anything.

    Examples
    --------
    >>> picture_names([])
    ['pictures.txt']
    """
    names = [f"{drawing.name}{end}.{kind}" for drawing in drawings for end in _ENDS.values() for kind in ("svg", "png")]
    return [*names, *(f"{drawing.name}.csv" for drawing in drawings), WORDS_FILE]


def picture_files(drawings: Sequence[Drawing]) -> dict[str, str | bytes]:
    """Render drawings as files.

    Parameters
    ----------
    drawings : sequence of Drawing
        Each of another name.

    Returns
    -------
    dict
        By name: for each drawing SVG and PNG on a ground of its own, light, dark and grey for printing, and its table
        with commas; and one text with what each picture shows in words.
    """
    files: dict[str, str | bytes] = {}
    for drawing in drawings:
        for scheme, end in _ENDS.items():
            files[f"{drawing.name}{end}.svg"] = svg_of(drawing, scheme, ground=True) + "\n"
            files[f"{drawing.name}{end}.png"] = png_of(drawing, scheme)
    files |= {f"{drawing.name}.csv": _table(drawing) for drawing in drawings}
    files[WORDS_FILE] = "\n".join(_words(drawing) for drawing in drawings)
    return files


def _table(drawing: Drawing) -> str:
    """Write the same as a table."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([drawing.columns, *drawing.rows])
    return text.getvalue()


def _words(drawing: Drawing) -> str:
    """Write what a picture shows, for who cannot see it and for who publishes it."""
    return f"{drawing.name}: {drawing.title}\n{drawing.alternative}\nCaption: {drawing.caption}\n"
