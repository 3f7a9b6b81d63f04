"""What a plan or the rules of a comparison say, in words."""

from __future__ import annotations

from truerun.trial.plan import End, Plan, Role, Window, WindowRule
from truerun.units.formats import format_quantity

__all__ = ["ADJUSTED", "BLINDING", "ORDER_SETS", "ROLES", "end_words", "plan_end_words"]

_ENDS = {
    End.SPEED: "down to a set speed",
    End.TURNS: "for a set count of turns",
    End.STANDSTILL: "at standstill",
}
_STOPS = {"turns-back": "until the wheel first turns back", "lies-still": "until the wheel lies still"}

ROLES: dict[Role, str] = {
    Role.MAIN: "main test",
    Role.DUMMY: "control: a dummy",
    Role.REVERSAL: "control: the wheel turning the other way",
    Role.POLARITY: "control: the poles turned round",
    Role.LOAD_MATCHED: "control: the same pull without the source",
    Role.DISTANCE: "control: three distances",
    Role.BENCH_TURNED: "control: the bench turned half round",
    Role.MAINS_OFF: "control: the mains off",
    Role.SAME_AGAINST_SAME: "same against same",
    Role.PLANTED: "a known help, hung on",
    Role.SCREENING: "screening of several variants",
    Role.DOSE: "more and less of the source",
    Role.CHALLENGE: "answer to a challenge",
}
"""What a test is for."""

ORDER_SETS: dict[str, str] = {
    "blocks-of-four": "blocks of four, two of each in every block",
    "pairs": "pairs, one of each in every pair",
    "complete": "any order with as many of each",
    "restricted": "well-mixed orders, with as many of each",
    "abba-blocks": "blocks of four, there and back again",
}
"""What each set of orders allows."""

BLINDING: dict[int, str] = {
    0: "everybody knew which was which",
    1: "everybody knew which was which, but a sensor timed and a mechanism released",
    2: "who launched and timed did not know which was which",
    3: "who launched and timed did not know which was which, and wrote down guesses",
}
"""Who knew what, by grade."""


_RULE = (
    "from the slowest launch of all runs down to three times the highest speed at which the magnetic bump caught the "
    "wheel in any run; both are read off the recordings, blind to the conditions"
)


ADJUSTED: dict[str, str] = {
    "run-number": "run number (what drifts steadily from the first run to the last)",
    "session": "sitting (what differs from one sitting to the next)",
}
"""What a result may be adjusted for."""


def end_words(end: End | None, stop: str | None, window: Window | WindowRule | None) -> str:
    """Say what the timing of a run covers.

    Examples
    --------
    >>> end_words(End.SPEED, None, None), end_words(End.STANDSTILL, "lies-still", None)
    ('down to a set speed', 'until the wheel lies still')
    """
    if isinstance(window, Window):
        start, last = (_trimmed(format_quantity(speed, "r/min", digits=4)) for speed in (window.from_, window.to))
        return f"from {start} down to {last}"
    if isinstance(window, WindowRule):
        return _RULE
    if stop in _STOPS:
        return _STOPS[stop]
    return _ENDS[end] if end is not None else "at standstill, as nobody said otherwise"


def plan_end_words(plan: Plan) -> str:
    """Say what the timing of a run of a plan covers, and how that is told at the bench where the plan says it."""
    words = end_words(plan.end, plan.stop, plan.window)
    return f"{words}: {' '.join(plan.end_setting.split())}" if plan.end_setting else words


def _trimmed(text: str) -> str:
    """Leave out noughts behind the decimal point: 120.0 r/min is 120 r/min."""
    number, space, unit = text.partition("\N{NO-BREAK SPACE}")
    return (number.rstrip("0").rstrip(".") if "." in number else number) + space + unit
