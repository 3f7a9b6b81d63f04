"""What can go wrong in a run, and what the plan said beforehand becomes of it."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

from truerun.errors import ValueOutOfRange

__all__ = ["CHOICES", "MISHAPS", "Becomes", "becomes", "excused", "reason_words", "require_mishaps", "rule_words"]


class Becomes(Enum):
    """What becomes of a run in which something went wrong, where nobody has seen its time."""

    AGAIN = "again"
    LEFT_OUT = "left-out"
    COUNTS = "counts"


MISHAPS: Mapping[str, str] = {
    "string-slipped": "The string slipped, or the launch went wrong",
    "bumped": "The bench or the wheel was bumped",
    "loose": "Something came loose",
    "wrong-condition": "The wrong condition was set up",
    "device-died": "Sensor or phone died",
    "other": "Something else",
}
"""What can go wrong in a run; asked before its time is seen."""

CHOICES: Mapping[str, tuple[Becomes, ...]] = {
    "string-slipped": (Becomes.AGAIN, Becomes.LEFT_OUT, Becomes.COUNTS),
    "bumped": (Becomes.AGAIN, Becomes.LEFT_OUT, Becomes.COUNTS),
    "device-died": (Becomes.AGAIN, Becomes.LEFT_OUT),
}
"""What a plan may choose, what is usual first; all else is done again: a loose part stops the wheel for safety, a wrong
condition is no run of this slot, and what nobody foresaw has no rule."""


def require_mishaps(chosen: Mapping[str, str]) -> dict[str, str]:
    """Check what a plan chose, and keep what is not as usual.

    Raises
    ------
    ValueOutOfRange
        If a mishap or what is to become of it is not to be chosen.

    Examples
    --------
    >>> require_mishaps({"bumped": "counts", "device-died": "again"})
    {'bumped': 'counts'}
    """
    for name, words in chosen.items():
        if name not in CHOICES:
            raise ValueOutOfRange("A mishap", f'"{name}"', ", ".join(CHOICES), "All others are done again.")
        allowed = [each.value for each in CHOICES[name]]
        if words not in allowed:
            raise ValueOutOfRange(f"What becomes of {name}", f'"{words}"', " or ".join(allowed))
    return {name: words for name, words in chosen.items() if words != Becomes.AGAIN.value}


def becomes(chosen: Mapping[str, str], mishap: str) -> Becomes:
    """Say what becomes of a run in which this went wrong, where nobody has seen its time."""
    return Becomes(chosen.get(mishap, Becomes.AGAIN.value))


def excused(chosen: Mapping[str, str]) -> dict[str, str]:
    """Give what is a reason to stop a run, and its words; what the plan lets count is none.

    Examples
    --------
    >>> list(excused({"bumped": "counts"}))
    ['string-slipped', 'loose', 'wrong-condition', 'device-died', 'other']
    """
    after = {Becomes.AGAIN: "", Becomes.LEFT_OUT: " (left out, not done again)"}
    return {
        name: words + after[becomes(chosen, name)]
        for name, words in MISHAPS.items()
        if becomes(chosen, name) is not Becomes.COUNTS
    }


def reason_words(reason: str) -> str:
    """Write why a run was left out, within a sentence; a mishap that is known by its short name gets its words.

    Examples
    --------
    >>> reason_words("string-slipped"), reason_words("bumped: by the cat"), reason_words("a power cut")
    ('the string slipped, or the launch went wrong', 'the bench or the wheel was bumped: by the cat', 'a power cut')
    """
    name, colon, more = reason.partition(":")
    words = MISHAPS.get(name)
    return reason if words is None else words[0].lower() + words[1:] + colon + more


def rule_words(rule: str, chosen: Mapping[str, str]) -> str:
    """Add to the rule for leaving runs out what the plan chose.

    Examples
    --------
    >>> rule_words("Only what was stopped unseen; it is then repeated.", {"bumped": "counts"})
    'Only what was stopped unseen; it is then repeated. No reason to stop, the run counts: the bench or the wheel was \
bumped.'
    """
    said = [rule]
    for fate, head in (
        (Becomes.LEFT_OUT, "Left out and not repeated"),
        (Becomes.COUNTS, "No reason to stop, the run counts"),
    ):
        named = [MISHAPS[name] for name in MISHAPS if chosen.get(name) == fate.value]
        if named:
            said.append(f"{head}: {'; '.join(words[0].lower() + words[1:] for words in named)}.")
    return " ".join(said)
