"""How plain text is laid out on a terminal: wrapped sentences, names and values in two columns, lengths of time."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

__all__ = ["WIDTH", "minutes_text", "rows_text", "wrapped"]

WIDTH = 88


def minutes_text(minutes: float) -> str:
    """Write a length of time at the bench.

    Examples
    --------
    >>> minutes_text(55), minutes_text(142)
    ('55 min', '2 h 22 min')
    """
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def rows_text(rows: Iterable[tuple[str, str]]) -> str:
    """Write names and values in two columns."""
    rows = list(rows)
    width = max(len(name) for name, _ in rows) + 2
    return "\n".join(
        textwrap.fill(value, WIDTH, initial_indent=name.ljust(width), subsequent_indent=" " * width)
        for name, value in rows
    )


def wrapped(text: str, *, first: int = 0, hanging: int = 0) -> str:
    """Break a sentence into lines; no-break spaces hold."""
    return textwrap.fill(
        text, WIDTH, initial_indent=" " * first, subsequent_indent=" " * hanging, break_on_hyphens=False
    )
