"""The sensor in the browser: choose its port, see it live, check it, arm it for the next run, end the run."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass

from starlette.responses import JSONResponse, Response

from truerun.errors import TruerunError, ValueOutOfRange
from truerun.notebook.state import TestState
from truerun.trial.mishaps import excused
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.road import next_step
from truerun.web.visit import Visit, moved
from truerun.workflow.live import LiveNow
from truerun.workflow.live_words import speed_words, trouble_words, turning_words
from truerun.workflow.sensor_stand import SensorStand

__all__ = ["sensor", "sensor_now"]

_MOST_MARKS = 1000
_SPEEDS = ("115200", "9600", "19200", "57600", "230400", "250000", "500000", "1000000", "2000000")
_PAUSE = 0.03  # s of collecting on a line
_MAKING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Shown:
    """What stands on the page of the sensor, in words: ``seen`` is true for a moment after each pass."""

    speed: str
    passes: str
    check: str
    trouble: str
    seen: bool


def sensor(visit: Visit) -> Response:
    """Show the sensor, or do what was asked: plug, check, arm, end, unplug."""
    row = visit.row
    state = visit.state(row)
    stand = _stand(visit)
    form = Form(visit.form)
    if visit.posted:
        done = _DONE.get(form["do"])
        if done is None:
            raise ValueOutOfRange("What is to be done", f'"{form["do"]}"', f"one of {', '.join(_DONE)}")
        answer = done(visit, form)
        if answer is not None:
            return answer
    now = stand.now()
    armed = stand.armed
    return page_of_test(
        visit,
        row,
        state,
        "sensor.html.j2",
        here="runs",
        status=422 if form.troubles else 200,
        form=form,
        ports=[(port.name, f"{port.name}: {port.words}") for port in stand.ports()] if now is None else [],
        speeds=[(each, f"{each} bits a second") for each in _SPEEDS],
        port=stand.name,
        marks=stand.marks,
        shown=None if now is None else _shown(now, stand.trouble),
        armed=armed,
        here_armed=armed is not None and armed.test == row.id,
        may_arm=state.plan is not None and state.next_slot is not None and state.closed is None,
        wrong=_excused(state),
        step=next_step(row.number, state),
    )


def _excused(state: TestState) -> dict[str, str]:
    """Give what is a reason to stop a run of this test."""
    return excused((state.plan or {}).get("mishaps", {}))


def sensor_now(visit: Visit) -> Response:
    """Tell how the sensor is, to the script of the page."""
    now = _stand(visit).now()
    shown = None if now is None else asdict(_shown(now, _stand(visit).trouble))
    return JSONResponse({"open": now is not None, "shown": shown})


def _stand(visit: Visit) -> SensorStand:
    """Give the one stand of the application, made when it is first asked for."""
    with _MAKING:
        if visit.bench.sensor is None:
            visit.bench.sensor = SensorStand(time.monotonic, lambda: time.sleep(_PAUSE))
        return visit.bench.sensor


def _shown(now: LiveNow, trouble: str | None) -> Shown:
    """Put it in words; in a run of a sealed plan without the speed."""
    return Shown(
        speed=turning_words(now) if now.armed else speed_words(now),
        passes=f"{now.kept} kept" if now.armed else str(now.passes),
        check="" if now.check is None else now.check.words,
        trouble=trouble or trouble_words(now),
        seen=now.silent is not None and now.silent < 0.4,
    )


def _plug(visit: Visit, form: Form) -> Response | None:
    """Open a port."""
    port = form.needed("port", "The port", "Choose one.")
    marks = _marks(form)
    baud = form.one_of("baud", "The speed of the line", _SPEEDS)
    if form.troubles:
        return None
    try:
        _stand(visit).plug(port, marks=marks, baud=int(baud))
    except TruerunError as error:
        form.troubles["port"] = str(error)
        return None
    return _back(visit)


def _marks(form: Form) -> int:
    """Read the number of marks."""
    text = form["marks"]
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:9]) <= _MOST_MARKS and len(text) < 9):
        form.troubles["marks"] = f"The marks a turn: write a whole number from 1 to {_MOST_MARKS}."
        return 0
    return int(text)


def _check(visit: Visit, form: Form) -> Response:
    """Begin the check."""
    del form
    _stand(visit).check()
    return _back(visit)


def _arm(visit: Visit, form: Form) -> Response:
    """Arm the sensor for the next run."""
    del form
    if not visit.state(visit.row).sessions:
        return moved(f"/t/{visit.row.number}/session")
    _stand(visit).arm(visit.notebook, visit.row.id)
    return _back(visit)


def _end(visit: Visit, form: Form) -> Response | None:
    """End the run; whether all was well is said first."""
    wrong = form.one_of("kind", "Whether all was well", ("well", *_excused(visit.state(visit.row))))
    if form.troubles:
        return None
    row = visit.row
    said = _stand(visit).end(visit.notebook, row.id, wrong=None if wrong == "well" else wrong)
    state = visit.state(row)
    step = next_step(row.number, state)
    last = state.runs[-1]
    guess = f"/t/{row.number}/runs/{last.slot}/guess"  # leads on where none is asked
    onward = guess if last.counts else step.address
    return page_of_test(visit, row, state, "sensor_ended.html.j2", here="runs", said=said, step=step, onward=onward)


def _unplug(visit: Visit, form: Form) -> Response:
    """Let the port go."""
    del form
    _stand(visit).unplug()
    return _back(visit)


def _back(visit: Visit) -> Response:
    """Lead back to the page of the sensor."""
    return moved(f"/t/{visit.row.number}/sensor")


_DONE: dict[str, Callable[[Visit, Form], Response | None]] = {
    "plug": _plug,
    "check": _check,
    "arm": _arm,
    "end": _end,
    "unplug": _unplug,
}
"""What can be done, and how."""
