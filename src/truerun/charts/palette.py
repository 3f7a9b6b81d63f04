"""The colours of every drawing, by name: a description names them, a scheme says what they are."""

from __future__ import annotations

from enum import Enum

__all__ = ["COLOURS", "Scheme", "colours_of", "paint", "variables_of"]


class Scheme(Enum):
    """For what a drawing is coloured."""

    LIGHT = "light"
    DARK = "dark"
    GREY_PRINT = "grey-print"


COLOURS: dict[str, tuple[str, str, str]] = {
    # name: light, dark, grey print
    "sheet": ("#ffffff", "#101314", "#ffffff"),
    "wash": ("#f1f4f4", "#1a1f21", "#f3f3f3"),
    "band": ("#e4e9ea", "#262d30", "#e2e2e2"),
    "ink": ("#12171a", "#f2f4f3", "#000000"),
    "ink2": ("#3f494f", "#c3cbce", "#333333"),
    "ink3": ("#5a656b", "#9ca7ac", "#4d4d4d"),
    "edge": ("#737f86", "#869298", "#666666"),
    "line": ("#c8d0d3", "#363f43", "#bbbbbb"),
    "mark": ("#5a1e82", "#d2abf5", "#000000"),
    "in": ("#8a4300", "#f2ad52", "#000000"),
    "out": ("#14598c", "#86c5f5", "#000000"),
    # a mark of the heap nearer to zero than ours: a grey square on screen, an outline on paper
    "near": ("#737f86", "#869298", "#ffffff"),
    "near-line": ("none", "none", "#8c8c8c"),
}
"""Every colour by name; ``in`` and ``out`` are for data of the two conditions only, ``mark`` for sealed values."""

_ORDER = (Scheme.LIGHT, Scheme.DARK, Scheme.GREY_PRINT)


def paint(name: str) -> str:
    """Give what a description writes for a colour.

    Examples
    --------
    >>> paint("ink")
    'var(--ink)'
    """
    return f"var(--{name})" if name in COLOURS else name


def colours_of(scheme: Scheme) -> dict[str, str]:
    """Give each colour of a scheme.

    Examples
    --------
    >>> colours_of(Scheme.DARK)["ink"]
    '#f2f4f3'
    """
    place = _ORDER.index(scheme)
    return {name: shades[place] for name, shades in COLOURS.items()}


def variables_of(scheme: Scheme) -> str:
    """Give the custom properties that a page sets to turn its drawings to a scheme.

    Examples
    --------
    >>> variables_of(Scheme.LIGHT)[:14]
    '--sheet:#fffff'
    """
    return ";".join(f"--{name}:{shade}" for name, shade in colours_of(scheme).items())
