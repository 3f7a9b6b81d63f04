"""Questions in plain words, asked on a terminal one by one; they go to standard error, as they are no results."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from truerun.cli.group import did_you_mean
from truerun.cli.parameters import ENDS, MINUTES, SHARE, WHOLE, Word
from truerun.cli.screen import on_terminal, say
from truerun.errors import PlanBroken, TruerunError, ValueOutOfRange
from truerun.units.number import whole_number

__all__ = ["ask", "ask_control", "ask_for_plan", "yes_or_no"]

_YES, _NO = ("y", "yes"), ("n", "no")


def ask(
    question: str,
    read: Callable[[str], Any] = str,
    *,
    example: str | None = None,
    default: str | None = None,
    may_be_empty: bool = False,
) -> Any:
    """Ask until the answer can be read.

    Parameters
    ----------
    question : str
        In plain words.
    read : callable
        Takes the text of the answer; what it refuses is said, and the question asked again.
    example : str, optional
        Shown below the question.
    default : str, optional
        What Enter alone means.
    may_be_empty : bool
        Whether Enter alone means that there is no answer (None).

    Returns
    -------
    object
        What ``read`` made of the answer.
    """
    say(f"\n{question}")
    if example is not None:
        say(f"  for example: {example}")
    unless = default if default is not None else "" if may_be_empty else None
    hint = f"  [Enter: {default}]" if default is not None else "  [Enter: leave it out]" if may_be_empty else " "
    while True:
        text = click.prompt(hint, default=unless, show_default=False, prompt_suffix=" > ", err=True).strip()
        if not text and may_be_empty:
            return None
        try:
            return read(text)
        except TruerunError as refusal:
            say(f"  {refusal}")


def ask_control(table: Path, given: dict[str, Any], decimal: str | None, *, asking: bool) -> Any:
    """Ask which condition is the control, where nobody said and somebody is there to ask.

    Returns
    -------
    RunTable or Path
        The table, read already where a question had to be asked; the answer is put into ``given``.
    """
    if not asking or "source" in given or "control" in given or not on_terminal():
        return table
    from truerun.recordings.run_tables import read_run_table

    read = read_run_table(table, measure=given.get("measure", "time"), decimal=decimal)
    names = read.conditions
    if len(names) == 2:
        listed = ", ".join(f"{number} = {name}" for number, name in enumerate(names, 1))
        question = f"Which is the control, with the source taken away?  {listed}"
        given["control"] = ask(question, lambda text: _one_of(text, names))
    return read


def _one_of(text: str, names: tuple[str, ...]) -> str:
    """Read a name or its number."""
    chosen = whole_number(text)
    if chosen is not None and 1 <= chosen <= len(names):
        return names[chosen - 1]
    if text not in names:
        listed = " or ".join(f'"{name}"' for name in names)
        raise ValueOutOfRange("The answer", f'"{text}"', f"{listed}, or its number", did_you_mean(text, names))
    return text


def ask_for_plan() -> dict[str, Any]:
    """Ask for everything that a plan needs, one question after the other.

    Returns
    -------
    dict
        Keys of a plan request.
    """
    say("A plan in a dozen questions. Enter takes what stands in brackets; Ctrl-C leaves, and nothing is written.")
    values = _asked_claim() | _asked_runs() | _asked_size()
    values |= _asked_trial(values)
    values["agreed"] = {side: _asked_side(side) for side in ("claimant", "sceptic")}
    return {key: value for key, value in values.items() if value is not None}


def _asked_claim() -> dict[str, Any]:
    """Ask what is claimed, and what the two conditions are called."""
    claim = ask("What is claimed, in the claimant's own words?", _words, example="The arc makes it run longer.")
    against = ask(
        "What would count against it?", example="It runs no longer with the arc than without.", may_be_empty=True
    )
    source = ask("What do you call the wheel with the source in place?", _words, default="source in")

    def other(text: str) -> str:
        if text == source:
            raise ValueOutOfRange("The name", f'"{text}" again', "another name", "Call it source out, for example.")
        return _words(text)

    control = ask("And with the source taken away?", other, default="source out")
    return {"claim": claim, "against": against, "source": source, "control": control}


def _asked_runs() -> dict[str, Any]:
    """Ask how a run is timed, and how long it takes."""
    end = ask(
        "What ends the timing of a run: a set speed, a count of turns, or standstill?",
        _end,
        example="speed (the fairest), turns or standstill",
        default="speed",
    )
    window = (
        ask("From which speed down to which?", _window, example="120 to 40 r/min", may_be_empty=True)
        if end == "speed"
        else None
    )
    timing = ask("What times the runs, a hand or a sensor?", _converted(Word(("hand", "sensor"))), default="hand")
    minutes = ask("How many minutes does one run take, launch included?", _minutes, example="6", may_be_empty=True)
    return {"end": end, "window": window, "timing": timing, "run_minutes": minutes}


def _asked_size() -> dict[str, Any]:
    """Ask how small an effect matters, and how many runs there may be."""
    question = "How small an effect would you still care about, as a share of the losses?"
    margin = ask(question, _margin, example="2%", may_be_empty=True)
    runs = ask("How many runs in all, in blocks of four?", _runs, example="16, eight of each", default="16")
    return {"margin": margin, "runs": runs}


def _asked_trial(values: dict[str, Any]) -> dict[str, Any]:
    """Ask for trial runs, which tell how much the runs scatter."""

    def trial(text: str) -> dict[str, Any]:
        from truerun.workflow.looking import look

        return look(text, source=values["source"], control=values["control"], end=values["end"]).pilot

    question = "Did you make trial runs? Name the table of their times."
    return ask(question, trial, example="trial.csv", may_be_empty=True) or {}


def _asked_side(side: str) -> dict[str, Any]:
    """Ask for the answers of one side, which are sealed with the plan."""
    if not ask(f"Can the {side} answer three questions before the plan is sealed? y or n", yes_or_no, default="n"):
        return {"present": False}
    return {
        "present": True,
        "fair": ask(f"The {side}: is this test fair?", example="Yes, if nobody moves the bench.", may_be_empty=True),
        "would_change_my_mind": ask(
            f"The {side}: what would change your mind?", example="Eight clear runs each way.", may_be_empty=True
        ),
        "excuse_to_come": ask(
            f"The {side}: which excuse will come?", example="The bearing was not run in.", may_be_empty=True
        ),
    }


def _converted(kind: click.ParamType[Any]) -> Callable[[str], Any]:
    """Read an answer like the value of an option."""
    return lambda text: kind.convert(text, None, None)


def _words(text: str) -> str:
    """Refuse an answer without a word."""
    if not text:
        raise ValueOutOfRange("The answer", "empty", "at least a word")
    return text


def _end(text: str) -> str:
    """Refuse an end at standstill: without a measured bound such a plan cannot decide."""
    end: str = ENDS.convert(text, None, None)
    if end == "standstill":
        raise PlanBroken(
            "A plan timed to standstill cannot decide",
            "a magnetic bump alone changes such a time by 6 to 36 %",
            "Time between two speeds, or count turns. With a measured bound, write the plan into a file.",
        )
    return end


def _window(text: str) -> tuple[float, float]:
    """Read two speeds with ``to`` between them; the unit may stand once, at the end."""
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension

    first, to, second = text.partition(" to ")
    if not to:
        raise ValueOutOfRange("The answer", f'"{text}"', "two speeds, such as 120 to 40 r/min")
    stop = read_quantity(second, Dimension.SPEED, name="The slower speed")
    start = read_quantity(first, Dimension.SPEED, name="The faster speed", unit=stop.unit)
    if not start.value > stop.value > 0:
        raise ValueOutOfRange("The window", text, "from a speed down to a slower one above 0")
    return start.value, stop.value


def _margin(text: str) -> float:
    """Read a share between 0 and 1."""
    share: float = SHARE.convert(text, None, None)
    if not 0 < share < 1:
        raise ValueOutOfRange("The answer", f'"{text}"', "above 0 and below 100%", "Write 2%, for example.")
    return share


def _minutes(text: str) -> float:
    """Read a length of time above 0."""
    minutes: float = MINUTES.convert(text, None, None)
    if minutes <= 0:
        raise ValueOutOfRange("The answer", f'"{text}"', "above 0", "Write 6 or 5:30, for example.")
    return minutes


def _runs(text: str) -> int:
    """Read a number of runs that can decide."""
    from truerun.trial.planning import require_can_decide

    runs: int = WHOLE.convert(text, None, None)
    require_can_decide("blocks-of-four", runs, 0.05)
    return runs


def yes_or_no(text: str) -> bool:
    """Read yes or no."""
    if text.lower() not in _YES + _NO:
        raise ValueOutOfRange("The answer", f'"{text}"', "y or n")
    return text.lower() in _YES
