"""What is looked at again and again at the bench, in words for sheets on screen and on paper."""

from __future__ import annotations

__all__ = ["ONCE_A_BLOCK"]

ONCE_A_BLOCK: tuple[str, ...] = (
    "Wheel at rest: pull at each part on the rim; its witness line is unbroken and photographed",
    "Level as before, bench and stand fixed",
    "Phones and steel tools in their usual places",
)
"""Once a block of runs, before its first launch (common practice, no source)."""
