"""A finished drawing: its description, what it says in words, and the same as a table."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

__all__ = ["Drawing", "Width"]


class Width(Enum):
    """For which width a drawing is laid out [px]; text has the same size in all of them."""

    WIDE = 700
    PHONE = 354
    PRINT = 640


@dataclass(frozen=True, slots=True)
class Drawing:
    """What a picture shows, before it has colours.

    ``alternative`` is the finding and the key figures, for a screen reader. ``description`` is Vega-Lite as plain
    data; values in it are those of the result, as in its JSON. ``columns`` and ``rows`` are the same as a table.
    """

    name: str
    title: str
    alternative: str
    caption: str
    description: dict[str, Any]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    width: int
    height: int
