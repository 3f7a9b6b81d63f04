"""What the lines of a logbook say, in words for a reader; what is sealed stays covered."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from truerun.notebook.entries import Entry, Kind
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState
from truerun.report.layout import rows_text
from truerun.trial.mishaps import reason_words
from truerun.trial.phrases import percent
from truerun.workflow.bench import state_of
from truerun.workflow.showing import covered

__all__ = ["entry_time", "entry_words", "logbook_text"]

_COVERED = frozenset(("seconds", "at", "times", "changes", "before", "size"))
"""Keys of an entry that may say how a condition did; the longer a run, the larger its recording."""

_SILENT = frozenset((Kind.SEALED, Kind.DECIDED, Kind.PLAN, Kind.SCREENING))


def logbook_text(notebook: Notebook, test: str, lines: int) -> str:
    """Write the last lines of a logbook."""
    state = state_of(notebook, test)
    return rows_text(
        (f"{entry.number}", f"{entry_time(state, entry)}  {entry.kind.value}  {entry_words(state, entry)}".rstrip())
        for entry in notebook.entries(test, last=lines)
    )


def entry_time(state: TestState, entry: Entry) -> str:
    """Write when an entry was written, in UTC; while the result is covered no seconds: two lines would time a run."""
    return entry.time[: 16 if covered(state) else 19].replace("T", " ")


def entry_words(state: TestState, entry: Entry) -> str:
    """Write what an entry says in one line, as far as it may be seen.

    Parameters
    ----------
    state : TestState
        Of the whole test; it tells what is still covered, and the numbers of the runs.
    entry : Entry

    Returns
    -------
    str
        Empty where the kind of the entry says it all.
    """
    if entry.kind in _SILENT:
        return ""
    if entry.kind is Kind.AGREEMENT and len(state.agreed) < 2 and state.plan is None:
        return f"the {entry.body['side']}; hidden until both have answered"
    hidden, slots = covered(state), {run.id: run.slot for run in state.runs}
    said = {key: slots.get(value) if key == "run" else value for key, value in entry.body.items() if key != "slot"}
    keys = sorted(said, key=_place)
    return "; ".join(_piece(key, said[key], hidden=hidden) for key in keys if said[key] not in (None, False, ""))


def _place(key: str) -> tuple[int, str]:
    """Give the place of a key within its line."""
    return (_ORDER.index(key) if key in _WORDS else len(_ORDER), key)


def _piece(key: str, value: Any, *, hidden: bool) -> str:
    """Write one thing that an entry says."""
    if hidden and key in _COVERED:
        return f"{_COVERED_WORDS.get(key, key)} covered"
    words = _WORDS.get(key)
    return f"{key.replace('_', ' ')}: {'yes' if value is True else value}" if words is None else words(value)


def _changes(values: Mapping[str, Any]) -> str:
    """Write the values of a correction."""
    return ", ".join(_piece(key, value, hidden=False) for key, value in values.items())


_COVERED_WORDS = {"seconds": "time", "at": "moment", "changes": "new value", "before": "old value"}

_WORDS: Mapping[str, Callable[[Any], str]] = {
    "run": "run {}".format,
    "attempt": "try {}".format,
    "entry": "line {}".format,
    "side": "the {}".format,
    "name": str,
    "words": str,
    "what": reason_words,
    "reason": reason_words,
    "fair": "is it fair: {}".format,
    "would_change_my_mind": "would change my mind: {}".format,
    "excuse_to_come": "excuse to be expected: {}".format,
    "claimed": lambda share: f"claimed: {percent(share)}",
    "against": "would count against it: {}".format,
    "before": lambda values: f"before {_changes(values)}",
    "changes": lambda values: f"now {_changes(values)}",
    "seconds": "{:.6g} s".format,
    "by": "by {}".format,
    "typed": lambda _: "typed in",
    "unfinished": lambda _: "still going",
    "seen": lambda _: "its time had been seen",
    "excused": lambda _: "left out, as the plan said",
    "temperature": "{:g} °C".format,
    "invented": lambda _: "invented",
    "note": str,
    "at": "at {:.3f} s of that clock".format,
    "made": lambda time: f"made {time[:16].replace('T', ' ')}",
    "bytes": "{} bytes".format,
    "digest": "fingerprint {}".format,
    "why": "why: {}".format,
}
"""How each thing is said, in the order in which they are said; what is not named here comes last."""

_ORDER = tuple(_WORDS)
