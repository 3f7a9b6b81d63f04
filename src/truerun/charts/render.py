"""A drawing as SVG or PNG, in any scheme.

Vega-Lite is turned into SVG by ``vl-convert``, which runs inside this process, asks for nothing from outside, and is
loaded when the first drawing is rendered. Its output is then written anew: marks painted alike become one path, text
stays text, and title and description come first. So 1296 marks take 33 kB and not 185.

Colours are written twice: as those of the scheme asked for, and as custom properties with these as a fallback
(``fill="#12171a" style="fill:var(--ink,#12171a)"``). A drawing on its own shows the scheme asked for; in a page that
sets ``--ink`` and the others (:func:`truerun.charts.palette.variables_of`), one drawing follows the page's scheme,
dark or printed. There is no background unless ``ground`` is true.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from xml.etree import ElementTree as ET
from xml.sax.saxutils import escape, quoteattr

from truerun.charts.drawing import Drawing
from truerun.charts.palette import Scheme, colours_of

__all__ = ["FACES", "png_of", "svg_of"]

FACES = (
    "-apple-system,Segoe UI,Roboto,Noto Sans,Ubuntu,Cantarell,DejaVu Sans Condensed,DejaVu Sans,Liberation Sans,"
    "sans-serif"
)
"""Faces for text, the first that is there; nothing is fetched."""

_VEGA_LITE = "6.4"
_PAINTS = ("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "font-size", "font-weight")
_NUMBER = re.compile(r"-?\d*\.?\d+(?:e-?\d+)?")
_COMMAND = re.compile(r"([A-Za-z])([^A-Za-z]*(?:e-?\d+[^A-Za-z]*)*)")


@dataclass(frozen=True, slots=True)
class _Leaf:
    """One drawn thing: how it is painted, and a path or a text at its place."""

    paint: tuple[tuple[str, str], ...]
    path: str
    text: str


def svg_of(drawing: Drawing, scheme: Scheme = Scheme.LIGHT, *, ground: bool = False) -> str:
    """Render a drawing as SVG.

    Parameters
    ----------
    drawing : Drawing
        From one of the ``draw_`` functions.
    scheme : Scheme
        Colours, where the page that holds the drawing sets none.
    ground : bool
        Whether to fill the background.

    Returns
    -------
    str
        One ``svg`` element without a declaration: for a page, or a file of its own. The same drawing gives the same
        bytes. Its identifiers come from its content, so that different drawings can stand in one page.
    """
    return _svg(drawing, scheme, ground=ground, live=True)


def png_of(drawing: Drawing, scheme: Scheme = Scheme.LIGHT, scale: float = 2.0) -> bytes:
    """Render a drawing as PNG, on the ground of the scheme.

    Parameters
    ----------
    drawing : Drawing
        As for :func:`svg_of`.
    scheme : Scheme
        Colours.
    scale : float
        Pixels of the file for each of the drawing.

    Returns
    -------
    bytes
        Text is set in the first of :data:`FACES` that this machine has.
    """
    import vl_convert  # noqa: PLC0415  heavy (84 MB), and needed only where something is rendered

    picture: bytes = vl_convert.svg_to_png(_svg(drawing, scheme, ground=True, live=False), scale=scale)
    return picture


def _svg(drawing: Drawing, scheme: Scheme, *, ground: bool, live: bool) -> str:
    """Write the whole element."""
    described = json.dumps(drawing.description, sort_keys=True)
    key = hashlib.sha256(f"{described}{drawing.title}{drawing.alternative}{scheme}".encode()).hexdigest()[:10]
    name = f"{drawing.name}-{key}"
    colours = colours_of(scheme)
    labelled = f'role="img" aria-labelledby="{name}-title" aria-describedby="{name}-desc"'
    size = f'viewBox="0 0 {drawing.width} {drawing.height}" width="{drawing.width}" height="{drawing.height}"'
    backing = f'<path d="M0,0h{drawing.width}v{drawing.height}h-{drawing.width}Z" fill="{colours["sheet"]}"/>'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} {labelled}>',
            f'<title id="{name}-title">{escape(drawing.title)}</title>',
            f'<desc id="{name}-desc">{escape(drawing.alternative)}</desc>',
            f'<g aria-hidden="true" fill="none" font-family="{FACES}" font-variant-numeric="lining-nums tabular-nums">',
            *([backing] if ground else []),
            *_groups(_leaves(_converted(described)), colours, live=live),
            "</g>",
            "</svg>",
        ]
    )


@lru_cache(maxsize=32)
def _converted(description: str) -> str:
    """Let Vega-Lite place everything; the schemes of one drawing share this."""
    import vl_convert  # noqa: PLC0415  heavy, see above

    made: str = vl_convert.vegalite_to_svg(description, vl_version=_VEGA_LITE, allowed_base_urls=[])
    return made


def _leaves(svg: str) -> list[_Leaf]:
    """Give what is drawn, in order; the converter's own background is left out."""
    root = ET.fromstring(svg)  # noqa: S314  written by the converter in this process, not by a stranger
    return list(_walk(root, 0.0, 0.0))


def _walk(element: ET.Element, left: float, top: float) -> Iterator[_Leaf]:
    """Walk through the groups, adding up where they stand."""
    moved = [float(part) for part in _NUMBER.findall(element.get("transform", "0 0"))]
    x, y = left + moved[0], top + moved[1]
    kind = element.tag.rpartition("}")[2]
    if kind in ("svg", "g"):
        for child in element:
            yield from _walk(child, x, y)
        return
    if element.get("class") in ("background", "foreground"):
        return
    paint = {key: element.attrib[key] for key in _PAINTS if element.get(key, "none") != "none"}
    if kind == "text":
        anchor = element.get("text-anchor", "start")
        paint |= {"text-anchor": anchor} if anchor != "start" else {}
        place = f'<text x="{_short(x)}" y="{_short(y)}">{escape(element.text or "")}</text>'
        yield _Leaf(tuple(paint.items()), "", place)
    else:
        path = element.get("d") or f"M0,0L{element.get('x2', '0')},{element.get('y2', '0')}"
        yield _Leaf(tuple(paint.items()), _moved(path, x, y), "")


def _moved(path: str, x: float, y: float) -> str:
    """Move a path; relative commands (small letters) stay as they are."""
    pieces = []
    for command, rest in _COMMAND.findall(path):
        numbers = [float(part) for part in _NUMBER.findall(rest)]
        if command in "HV":
            numbers = [number + (x if command == "H" else y) for number in numbers]
        elif command.isupper() and numbers:
            step = 7 if command == "A" else 2
            for last in range(step - 1, len(numbers), step):
                numbers[last - 1] += x
                numbers[last] += y
        pieces.append(command + ",".join(map(_short, numbers)))
    return "".join(pieces)


def _short(number: float) -> str:
    """Write a coordinate to a hundredth of a pixel."""
    text = f"{number:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _groups(leaves: list[_Leaf], colours: dict[str, str], *, live: bool) -> Iterator[str]:
    """Write neighbours that are painted alike as one path, or as one group of texts."""
    for (paint, is_text), group in groupby(leaves, key=lambda leaf: (leaf.paint, bool(leaf.text))):
        attributes = _attributes(paint, colours, live=live)
        if is_text:
            yield f"<g{attributes}>{''.join(leaf.text for leaf in group)}</g>"
        else:
            yield f'<path{attributes} d="{"".join(leaf.path for leaf in group)}"/>'


def _attributes(paint: tuple[tuple[str, str], ...], colours: dict[str, str], *, live: bool) -> str:
    """Write how something is painted; a stroke round letters lies behind them."""
    plain, style = [], []
    for key, value in paint:
        named = re.fullmatch(r"var\(--([a-z0-9-]+)\)", value)
        plain.append((key, colours[named[1]] if named else value))
        if named:
            style.append(f"{key}:{_variable(named[1], colours)}")
    keys = {key for key, _ in paint}
    if {"font-size", "stroke"} <= keys:
        plain += [("paint-order", "stroke"), ("stroke-linejoin", "round")]
    if live and style:
        plain.append(("style", ";".join(style)))
    return "".join(f" {key}={quoteattr(value)}" for key, value in plain)


def _variable(name: str, colours: dict[str, str]) -> str:
    """Write a custom property with its fallback; marks of the heap follow the edge where a page does not name them."""
    if name == "near":
        return f"var(--near,var(--edge,{colours['near']}))"
    return f"var(--{name},{colours[name]})"
