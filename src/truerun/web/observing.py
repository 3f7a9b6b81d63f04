"""What is observed at the bench: each with an id of its sender, taken once, and answered when it is on the disk."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from starlette.responses import JSONResponse, Response

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.state import RunState, TestState
from truerun.web.measuring import note_typed
from truerun.web.road import next_step
from truerun.web.visit import Visit
from truerun.workflow.bench import begin_run, guess, note, something_wrong, start_clock, stop_clock, tap

__all__ = ["observe"]


def observe(visit: Visit) -> Response:
    """Take one observation; the same one again changes nothing and is answered alike."""
    row, what = visit.row, str(visit.sent.get("what"))
    sender = _text(visit, "sender")
    if what not in _TAKEN:
        raise ValueOutOfRange("What was observed", f'"{what}"', ", ".join(_TAKEN))
    answer = _TAKEN[what](visit, row.id, sender)
    state = visit.state(row)
    step = next_step(row.number, state)
    return JSONResponse(answer | {"next": {"button": step.button, "address": step.address, "words": step.sentence}})


def _begin(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Begin a run."""
    slot = visit.sent.get("slot")
    if not isinstance(slot, int):
        raise ValueOutOfRange("The run", f'"{slot}"', "the number of the next one", "Open the run sheet anew.")
    return {"run": begin_run(visit.notebook, test, slot=slot, sender=sender).id}


def _start(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Note the start of the watch."""
    run = _run(visit)
    start_clock(visit.notebook, test, run.id, _number(visit, "at"), sender=sender)
    return {"run": run.id}


def _tap(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Note a pass of the mark."""
    run = _run(visit)
    tap(visit.notebook, test, run.id, _number(visit, "at"), sender=sender)
    return {"run": run.id}


def _stop(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Note the time of a run; a second time from elsewhere is refused."""
    run = _run(visit)
    if run.ended and not _taken_before(visit, test, sender):
        raise PlanBroken(f"Run {run.slot} has a time already", "a run has one", "Write a note if another one matters.")
    stop_clock(visit.notebook, test, run.id, _number(visit, "seconds"), sender=sender)
    return {"run": run.id}


def _wrong(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Note what went wrong, and say the plan's rule and the next step."""
    run = _run(visit)
    seen = bool(visit.sent.get("seen")) or run.seconds is not None  # a time that is written down was shown
    words = str(visit.sent.get("words") or "").strip() or None
    if run.left_out is not None and not _taken_before(visit, test, sender):
        raise PlanBroken(f"Run {run.slot} was left out once", "it is left out already", "Write a note instead.")
    kind = str(visit.sent.get("kind"))
    return {
        "run": run.id,
        "sentence": something_wrong(visit.notebook, test, run.id, kind, seen=seen, words=words, sender=sender),
    }


def _guess(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Note a guess of who did not know."""
    run = _run(visit)
    guess(visit.notebook, test, run.id, _text(visit, "condition"), sender=sender)
    return {"run": run.id}


def _note(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Write a note."""
    run = visit.sent.get("run")
    note(visit.notebook, test, _text(visit, "words"), run=None if run is None else str(run), sender=sender)
    return {"run": run}


def _measured(visit: Visit, test: str, sender: str) -> dict[str, Any]:
    """Note what was typed on the sheet as measured before the launch."""
    run, typed = _run(visit), visit.sent.get("typed")
    if not isinstance(typed, dict) or not all(
        isinstance(each, str) and len(each) <= _LONGEST for each in typed.values()
    ):
        raise ValueOutOfRange("What was measured", "not sent as typed", "a text for each field")
    if not _taken_before(visit, test, sender):
        note_typed(visit, visit.state(visit.row), run, typed, sender)
    return {"run": run.id}


_LONGEST = 4000
"""Letters that a text may have."""

_TAKEN: dict[str, Callable[[Visit, str, str], dict[str, Any]]] = {
    "begin": _begin,
    "start": _start,
    "tap": _tap,
    "stop": _stop,
    "wrong": _wrong,
    "guess": _guess,
    "note": _note,
    "measured": _measured,
}
"""What can be observed, and how it is taken."""


def _run(visit: Visit) -> RunState:
    """Give the run that an observation names."""
    state: TestState = visit.state(visit.row)
    said = visit.sent.get("run")
    found = next((run for run in state.runs if run.id == said), None)
    if found is None:
        raise ValueOutOfRange("The run", f'"{said}"', "one that was begun", "Open the run sheet anew.")
    return found


def _taken_before(visit: Visit, test: str, sender: str) -> bool:
    """Tell whether this observation is in the notebook already."""
    return visit.notebook.sent(test, sender) is not None


def _number(visit: Visit, name: str) -> float:
    """Give a number that was sent."""
    value = visit.sent.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueOutOfRange(f"The observation: {name}", f'"{value}"', "a number of seconds")
    return float(value)


def _text(visit: Visit, name: str) -> str:
    """Give a text that was sent."""
    value = visit.sent.get(name)
    if not isinstance(value, str) or not 0 < len(value.strip()) <= _LONGEST:
        raise ValueOutOfRange(f"The observation: {name}", "empty or too long", f"a text of up to {_LONGEST} letters")
    return value.strip()
