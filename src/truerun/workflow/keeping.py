"""The passes of a live sensor in the open run of a notebook, piece by piece, and how such a run begins and ends."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from datetime import datetime

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.entries import Entry, Kind
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import RunState
from truerun.sensing.capture import Pass
from truerun.sensing.pass_files import format_pass, pass_head
from truerun.workflow.bench import attach_recording, begin_run, something_wrong, state_of
from truerun.workflow.live import LiveNow

__all__ = ["QUIET", "RunKeeper", "begin_live_run", "end_live_run", "finish_run", "require_real"]

_BROKE_OFF = "no passes came any more, and the run was begun anew"
_TWICE = "two programs kept passes of this run at once"

QUIET = 30.0
"""Without a further pass for so long [s], a run that was not ended is taken to be recorded by nobody any more."""


class RunKeeper:
    """Keeps passes as entries of a run; a piece that is sent twice stands once.

    Parameters
    ----------
    notebook : Notebook
    test, run : str
    """

    def __init__(self, notebook: Notebook, test: str, run: str) -> None:
        self._notebook, self._test, self._run = notebook, test, run
        self._name, self._sent = str(uuid.uuid4()), 0

    def keep(self, segment: int, passes: Sequence[Pass], places: int) -> None:
        """Append an entry with the passes."""
        body = {
            "run": self._run,
            "segment": segment,
            "places": places,
            "times": [round(each.time, places) for each in passes],
            "indexed": None if passes[0].indexed is None else [bool(each.indexed) for each in passes],
        }
        self._notebook.append(self._test, Kind.PASSES, body, sender=f"{self._name}:{self._sent}")
        self._sent += 1

    def interrupted(self, segment: int, why: str) -> None:
        """Append that a segment broke off."""
        body = {"run": self._run, "segment": segment, "why": why}
        self._notebook.append(self._test, Kind.INTERRUPTED, body, sender=f"{self._name}:broken:{segment}")


def begin_live_run(notebook: Notebook, test: str) -> RunState:
    """Begin the next run for a sensor; one that broke off with passes in it is left out first, and done again.

    Raises
    ------
    PlanBroken
        If nothing is sealed, all runs are done or the test is closed; or passes of the run came in just now, so that
        another program is still recording it.
    """
    run = begin_run(notebook, test)
    if not run.passes:
        return run
    quiet = _quiet(notebook, test, run)
    if quiet < QUIET:
        found = f"its last pass came {quiet:.0f} s ago"
        remedy = "End it where it is recorded; if nobody records it any more, begin again in half a minute."
        raise PlanBroken(f"Run {run.slot} is being recorded elsewhere", found, remedy)
    notebook.append(test, Kind.INTERRUPTED, {"run": run.id, "why": _BROKE_OFF}, sender=f"{run.id}:broken-off")
    something_wrong(notebook, test, run.id, "device-died", seen=False, words=_BROKE_OFF, sender=f"{run.id}:died")
    return begin_run(notebook, test)


def _quiet(notebook: Notebook, test: str, run: RunState) -> float:
    """Give how long ago passes of a run were written down last [s]; a clock that was put back tells no less than 0."""
    last = _of_kind(notebook, test, run.id, Kind.PASSES)[-1].time
    return abs((datetime.fromisoformat(notebook.time()) - datetime.fromisoformat(last)).total_seconds())


def _of_kind(notebook: Notebook, test: str, run: str, kind: Kind) -> list[Entry]:
    """Give the entries of one kind that belong to a run."""
    return [each for each in notebook.entries(test) if each.kind is kind and each.body.get("run") == run]


def end_live_run(notebook: Notebook, test: str, run: RunState, marks: int) -> Entry | None:
    """Attach the passes of a run as its recording, as they stand in the notebook.

    Parameters
    ----------
    notebook : Notebook
    test : str
    run : RunState
    marks : int
        Marks a turn.

    Returns
    -------
    Entry or None
        None where the run was interrupted, or two programs kept passes of it: it then counts as a sensor that died,
        its passes stay, and the same condition is run again.
    """
    broken = _trouble(notebook, test, run)
    if broken is not None:
        something_wrong(notebook, test, run.id, "device-died", seen=False, words=broken, sender=f"{run.id}:died")
        return None
    pieces = _of_kind(notebook, test, run.id, Kind.PASSES)
    if not pieces:
        raise ValueOutOfRange("The run", "without a single pass", "one with passes", "Check the sensor, launch again.")
    name = f"run-{run.slot}.csv" if run.attempt == 1 else f"run-{run.slot}-{run.attempt}.csv"
    return attach_recording(notebook, test, run.id, name, _written(pieces, marks), marks=marks, sender=f"{run.id}:file")


def _trouble(notebook: Notebook, test: str, run: RunState) -> str | None:
    """Say why the passes of a run are no whole recording of one sensor; None where they are."""
    broken = _of_kind(notebook, test, run.id, Kind.INTERRUPTED)
    if broken:
        return str(broken[0].body["why"])
    keepers = {str(each.sender).partition(":")[0] for each in _of_kind(notebook, test, run.id, Kind.PASSES)}
    return _TWICE if len(keepers) > 1 else None


def finish_run(
    notebook: Notebook,
    test: str,
    run: RunState,
    now: LiveNow,
    marks: int,
    *,
    wrong: str | None = None,
    words: str | None = None,
) -> str:
    """End a run as it came out, and say what that is.

    Parameters
    ----------
    notebook : Notebook
    test : str
    run : RunState
    now : LiveNow
        When the sensor was stopped.
    marks : int
        Marks a turn.
    wrong, words : str, optional
        What went wrong, one of :data:`truerun.trial.mishaps.MISHAPS`, and in a few words.

    Returns
    -------
    str
    """
    if wrong is not None:
        return something_wrong(notebook, test, run.id, wrong, seen=False, words=words, sender=f"{run.id}:wrong")
    if not now.kept:
        return f"Nothing passed. Run {run.slot} waits."
    if end_live_run(notebook, test, run, marks) is None:
        return f"Run {run.slot} was interrupted: {_trouble(notebook, test, run)}. Its passes are kept; it is run again."
    return f"Run {run.slot}: {now.kept} passes are kept. What they say stays sealed until the last run."


def require_real(notebook: Notebook, test: str, *, made_up: bool) -> None:
    """Refuse to keep made-up passes as a run of a test that is not invented."""
    if made_up and not state_of(notebook, test).invented:
        raise PlanBroken(
            "A run of this test is measured", "the sensor is made up", "Try it in a test that was opened as invented."
        )


def _written(entries: Sequence[Entry], marks: int) -> Iterable[bytes]:
    """Write the passes that stand in entries as a file."""
    yield pass_head(marks, indexed=entries[0].body["indexed"] is not None).encode()
    for entry in entries:
        times, indexed = entry.body["times"], entry.body["indexed"]
        flags = [None] * len(times) if indexed is None else indexed
        lines = (format_pass(Pass(time, flag), entry.body["places"]) for time, flag in zip(times, flags, strict=True))
        yield "".join(f"{line}\n" for line in lines).encode()
