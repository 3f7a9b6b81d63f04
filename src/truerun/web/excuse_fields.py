"""Excuses that somebody expects to hear, sorted before the seal: what was typed becomes part of a plan request."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from truerun.notebook.state import TestState
from truerun.web.forms import Form

__all__ = ["BECOMES", "PLACES", "excuses_of", "typed_excuses", "with_answers"]

BECOMES: tuple[tuple[str, str], ...] = (
    ("", "not sorted yet"),
    ("check", "a check of this test"),
    ("control", "a control: a test of its own"),
    ("no-excuse", "no excuse: agreed not to count"),
)
"""What an excuse can become."""

PLACES = range(3)
"""Fields of the form."""


def excuses_of(form: Form) -> list[dict[str, Any]]:
    """Read the excuses; one that is written down must be sorted before the seal, and is left out until then."""
    read = []
    for place in PLACES:
        words, becomes = form[f"excuse-{place}"], form[f"becomes-{place}"]
        if not words:
            continue
        if becomes not in [value for value, _ in BECOMES if value]:
            if form["then"] == "seal":
                said = f"“{words}” is not sorted yet. Say what it becomes, or empty its field."
                form.troubles[f"becomes-{place}"] = said
            continue
        read.append({"words": words, "becomes": becomes, "how": form.said(f"how-{place}")})
    return read


def typed_excuses(excuses: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Give excuses as they would be typed."""
    typed: dict[str, str] = {}
    for place, each in zip(PLACES, excuses, strict=False):
        typed |= {f"excuse-{place}": each["words"], f"becomes-{place}": each["becomes"]}
        typed[f"how-{place}"] = each.get("how") or ""
    return typed


def with_answers(state: TestState, values: Mapping[str, str]) -> dict[str, str]:
    """Fill in the excuses that both sides expect, once both have answered, where the draft has none of its own."""
    if len(state.agreed) < 2 or values.get("excuse-0"):
        return dict(values)
    said = [words for answer in state.agreed.values() if (words := answer.get("excuse_to_come"))]
    expected = {words.casefold(): words for words in said}.values()  # what both sides say is asked once
    return dict(values) | {f"excuse-{place}": words for place, words in enumerate(expected)}
