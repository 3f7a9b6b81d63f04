"""What the entries of one test add up to: the fold, and nothing else, is the state.

Bodies of the entries (plain data; a key that is not there counts as None):

=============  ======================================================================================================
kind           body
=============  ======================================================================================================
opened         name, invented, answers (the id of the test that it belongs to), role (what it is for there)
claim          words, against, by, claimed
agreement      side (claimant or sceptic), fair, would_change_my_mind, excuse_to_come
rig            note, and whatever was measured
plan           request: what ``truerun plan`` would be told
sealed         plan: as in its file, with its seal
session        note, temperature [°C]
warm-up        (nothing)
run-begun      run (its id), slot, attempt
started        run, at [s of the sender's clock]
tap            run, at [s of the sender's clock]
stopped        run, seconds, by (hand or sensor), unfinished, typed (true where it came off a paper sheet)
aborted        run, reason, seen (whether its time had been seen)
went-wrong     run, what, words, seen, excused (whether the plan leaves it out, unseen, and does not repeat it)
passes         run, times: a piece of passes [s], segment, places (digits written), indexed (None, or for each pass)
interrupted    run, segment, why
recording      run, digest, name, media, size, marks
photo          run, digest, name, media, size
guess          run, condition
note           words, run, measured (what was measured before a launch, by name)
corrected      entry (its number), run, changes, before, why
withdrawn      entry (its number), kind (of that entry), why, run (where the run is to count no more)
seal-broken    why
closed         why
decided        comparison: as in its JSON
reported       bytes: how long the page was; digest: its SHA-256; made: the time that stands on it
bundled        digest
challenge      words, by, test (the id of the new test), role (what it is for; None: an answer to a challenge)
screening      plan: as in its file, with its seal
=============  ======================================================================================================
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import PurePath
from typing import Any

from truerun.notebook.entries import Entry, Kind
from truerun.notebook.heads import Head
from truerun.series import Run, RunTable

__all__ = ["FOLD", "Attached", "RunState", "TestState", "fold", "run_table", "went_on"]


FOLD = 6
"""Raised whenever a step of the fold or a field of the state changes; states kept under another number are rebuilt."""


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that was attached: a recording or a photo."""

    entry: int
    digest: str
    name: str
    media: str
    size: int
    run: str | None = None
    marks: int | None = None

    @property
    def file_name(self) -> str:
        """Its name in a bundle and in a report: the first sixteen digits of its digest."""
        return f"{self.digest[:16]}{PurePath(self.name).suffix.lower()[:8]}"


@dataclass(frozen=True, slots=True)
class RunState:
    """One attempt at one run.

    ``seconds`` is its time [s], None until it ended. ``left_out`` is why it does not count, ``seen`` whether its time
    had been seen by then, ``excused`` whether the plan leaves it out without a further attempt. ``taps`` and
    ``passes`` are times of marks [s], ``session`` counts sittings from 1. ``guess_line`` is the number of the entry of
    ``guess``. ``measured`` is what was measured before its launch, by name; ``corrections`` are the bodies of what
    corrected it.
    """

    id: str
    slot: int
    attempt: int
    begun: str
    session: int
    seconds: float | None = None
    unfinished: bool = False
    by: str | None = None
    typed: bool = False
    started: float | None = None
    taps: tuple[float, ...] = ()
    passes: tuple[float, ...] = ()
    left_out: str | None = None
    seen: bool | None = None
    excused: bool = False
    interrupted: str | None = None
    guess: str | None = None
    guess_line: int = 0
    recordings: tuple[Attached, ...] = ()
    measured: Mapping[str, float] = field(default_factory=dict)
    corrections: tuple[Mapping[str, Any], ...] = ()

    @property
    def ended(self) -> bool:
        """Whether nothing more is awaited from this attempt."""
        return self.seconds is not None or self.left_out is not None or bool(self.recordings)

    @property
    def counts(self) -> bool:
        """Whether this attempt was measured and not left out."""
        return self.left_out is None and (self.seconds is not None or bool(self.recordings))


@dataclass(frozen=True, slots=True)
class TestState:
    """Everything that stands in one test.

    ``plan`` is the sealed plan's document with its seal, ``draws`` how often an order was drawn. ``request`` is the
    draft of a plan. ``agreed`` holds the last answer of each side. ``runs`` are all attempts in order. ``noted`` are
    the numbers of the entries of ``notes``, ``rig_line`` and ``session_line`` those of the last rig and session.
    ``answers`` names the test that this one belongs to, and what for. ``reports`` counts the reports of an opened
    result, ``report`` is the SHA-256 of the last one.
    """

    __test__ = False  # not a test of this project

    id: str
    head: Head
    opened: str = ""
    name: str = ""
    invented: bool = False
    claim: Mapping[str, Any] | None = None
    agreed: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    rig: Mapping[str, Any] | None = None
    rig_line: int = 0
    request: Mapping[str, Any] | None = None
    plan: Mapping[str, Any] | None = None
    sealed: str | None = None
    draws: int = 0
    sessions: int = 0
    session_line: int = 0
    warm_ups: int = 0
    runs: tuple[RunState, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    noted: tuple[int, ...] = ()
    photos: tuple[Attached, ...] = ()
    broken: str | None = None
    closed: str | None = None
    decided: Mapping[str, Any] | None = None
    reports: int = 0
    report: str | None = None
    bundles: int = 0
    challenges: tuple[Mapping[str, Any], ...] = ()
    answers: Mapping[str, Any] | None = None
    screening: Mapping[str, Any] | None = None
    withdrawn: frozenset[int] = frozenset()

    @property
    def order(self) -> tuple[str, ...]:
        """The drawn order of conditions, empty before the seal."""
        return tuple(self.plan["order"]) if self.plan is not None else ()

    @property
    def drawn(self) -> tuple[str, ...]:
        """The drawn order of a plan or of a screening, empty before the seal."""
        return self.order if self.screening is None else tuple(self.screening["order"])

    @property
    def next_slot(self) -> int | None:
        """The next planned run that is not done; None when all are done or nothing is sealed."""
        return self._first_open(len(self.order))

    @property
    def next_screened(self) -> int | None:
        """The next run of a screening that is not done; None when all are done or there is no screening."""
        return self._first_open(0 if self.screening is None else len(self.drawn))

    def _first_open(self, planned: int) -> int | None:
        """Give the first of so many slots that needs a further attempt."""
        done = {run.slot for run in self.runs if _settled(run)}
        return next((slot for slot in range(1, planned + 1) if slot not in done), None)

    @property
    def complete(self) -> bool:
        """Whether every planned run is done."""
        return self.plan is not None and self.next_slot is None

    @property
    def open_run(self) -> RunState | None:
        """The attempt that was begun and has not ended."""
        return next((run for run in reversed(self.runs) if not run.ended), None)


def _settled(run: RunState) -> bool:
    """Tell whether a slot needs no further attempt: it counts, or was left out by the plan or after it was seen."""
    return run.counts or (run.left_out is not None and (bool(run.seen) or run.excused))


def fold(test: str, entries: Iterable[Entry]) -> TestState:
    """Add up the entries of a test.

    Parameters
    ----------
    test : str
        Its id.
    entries : iterable of Entry
        From the first one on.

    Returns
    -------
    TestState

    Examples
    --------
    >>> from truerun.notebook.entries import FIRST, write_entry
    >>> first = write_entry("t", 1, Kind.OPENED, {"name": "the arc"}, time="2026-03-14T19:00:00+00:00", follows=FIRST)
    >>> fold("t", [first]).name
    'the arc'
    """
    return went_on(TestState(test, Head(0, "0" * 64)), entries)


def went_on(state: TestState, entries: Iterable[Entry]) -> TestState:
    """Add further entries to a state.

    Parameters
    ----------
    state : TestState
        Of all entries before.
    entries : iterable of Entry
        The following ones, in order.

    Returns
    -------
    TestState
    """
    for entry in entries:
        state = replace(_STEPS[entry.kind](state, entry), head=Head(entry.number, entry.digest))
    return state


def run_table(state: TestState, recordings: Mapping[str, str] | None = None) -> RunTable:
    """Give the runs of a test as the table that is compared.

    Parameters
    ----------
    state : TestState
        With a sealed plan.
    recordings : mapping, optional
        Paths of recordings by their digest, where times are to come from them.

    Returns
    -------
    RunTable
        One line for every attempt that ended; conditions as drawn.
    """
    lines = []
    for run in state.runs:
        if not run.ended:
            continue
        attached = run.recordings[-1] if run.recordings else None
        path = (recordings or {}).get(attached.digest) if attached is not None else None
        lines.append(
            Run(
                slot=run.slot,
                condition=state.order[run.slot - 1],
                value=None if path is not None else run.seconds,
                unfinished=run.unfinished,
                attempt=run.attempt,
                left_out=run.left_out,
                seen=run.seen,
                session=str(run.session),
                recording=path,
                marks=attached.marks if attached is not None and path is not None else None,
                extra=_beside(run, recorded=path is not None),
            )
        )
    return RunTable(tuple(lines), rig=_rig_names(state.rig))


def _rig_names(rig: Mapping[str, Any] | None) -> tuple[str, ...]:
    """Name what was written down about the rig: measures by their key, words as they stand."""
    told = rig or {}
    words = (str(value) for key, value in told.items() if key not in ("typed", "values") and value not in (None, ""))
    return (*told.get("typed", {}), *words)


def _beside(run: RunState, *, recorded: bool) -> dict[str, float | str | None]:
    """Give what else stands in the line of a run: what was measured, a guess, a stopwatch time beside a recording."""
    beside: dict[str, float | str | None] = dict(run.measured)
    if run.guess is not None:
        beside["guess"] = run.guess
    if recorded and run.seconds is not None:
        beside["stopwatch"] = run.seconds
    return beside


def _opened(state: TestState, entry: Entry) -> TestState:
    body = entry.body
    answers = {"test": body["answers"], "role": body.get("role")} if body.get("answers") else None
    return replace(
        state,
        opened=entry.time,
        name=str(body.get("name", "")),
        invented=bool(body.get("invented")),
        answers=answers,
    )


def _agreement(state: TestState, entry: Entry) -> TestState:
    return replace(state, agreed={**state.agreed, str(entry.body["side"]): dict(entry.body)})


def _sealed(state: TestState, entry: Entry) -> TestState:
    return replace(state, plan=dict(entry.body["plan"]), sealed=entry.time, draws=state.draws + 1)


def _session(state: TestState, entry: Entry) -> TestState:
    noted = _noted(state, entry, *_temperature(entry))
    return replace(noted, sessions=state.sessions + 1, session_line=entry.number, warm_ups=0)


def _temperature(entry: Entry) -> tuple[str, ...]:
    degrees = entry.body.get("temperature")
    return () if degrees is None else (f"{degrees:g}\N{NO-BREAK SPACE}\N{DEGREE SIGN}C",)


def _begun(state: TestState, entry: Entry) -> TestState:
    run = RunState(
        id=str(entry.body["run"]),
        slot=int(entry.body["slot"]),
        attempt=int(entry.body.get("attempt", 1)),
        begun=entry.time,
        session=max(state.sessions, 1),
    )
    return replace(state, runs=(*state.runs, run))


def _changed(state: TestState, entry: Entry, **changes: Any) -> TestState:
    """Change the run that an entry names; an entry about no run of this test changes nothing."""
    name = entry.body.get("run")
    return replace(state, runs=tuple(replace(run, **changes) if run.id == name else run for run in state.runs))


def _run_of(state: TestState, entry: Entry) -> RunState | None:
    name = entry.body.get("run")
    return next((run for run in state.runs if run.id == name), None)


def _started(state: TestState, entry: Entry) -> TestState:
    return _changed(state, entry, started=float(entry.body["at"]))


def _tap(state: TestState, entry: Entry) -> TestState:
    run = _run_of(state, entry)
    taps = () if run is None else (*run.taps, float(entry.body["at"]))
    return _changed(state, entry, taps=tuple(sorted(taps)))


def _passes(state: TestState, entry: Entry) -> TestState:
    run = _run_of(state, entry)
    more = tuple(float(each) for each in entry.body["times"])
    return _changed(state, entry, passes=() if run is None else run.passes + more)


def _stopped(state: TestState, entry: Entry) -> TestState:
    """Take the time of a run; a second one changes nothing, since values are changed by correcting them."""
    body, run = entry.body, _run_of(state, entry)
    if run is None or run.seconds is not None:
        return state
    return _changed(
        state,
        entry,
        seconds=float(body["seconds"]),
        unfinished=bool(body.get("unfinished")),
        by=body.get("by", "hand"),
        typed=bool(body.get("typed")),
    )


def _left_out(state: TestState, entry: Entry) -> TestState:
    """Leave a run out; a time that had been seen stays seen, and the first reason stands."""
    run = _run_of(state, entry)
    if run is not None and run.left_out is not None:
        return _changed(state, entry, seen=bool(run.seen or entry.body.get("seen")))
    told = (entry.body.get("reason") or entry.body.get("what") or "stopped", entry.body.get("words"))
    reason = ": ".join(str(each) for each in told if each)
    seen, excused = bool(entry.body.get("seen")), bool(entry.body.get("excused"))
    return _changed(state, entry, left_out=reason, seen=seen, excused=excused)


def _interrupted(state: TestState, entry: Entry) -> TestState:
    return _changed(state, entry, interrupted=str(entry.body.get("why", "")))


def _attached(entry: Entry) -> Attached:
    body = entry.body
    marks = body.get("marks")
    return Attached(
        entry=entry.number,
        digest=str(body["digest"]),
        name=str(body["name"]),
        media=str(body["media"]),
        size=int(body["size"]),
        run=body.get("run"),
        marks=None if marks is None else int(marks),
    )


def _recording(state: TestState, entry: Entry) -> TestState:
    run = _run_of(state, entry)
    return state if run is None else _changed(state, entry, recordings=(*run.recordings, _attached(entry)))


def _photo(state: TestState, entry: Entry) -> TestState:
    return replace(state, photos=(*state.photos, _attached(entry)))


def _guess(state: TestState, entry: Entry) -> TestState:
    return _changed(state, entry, guess=str(entry.body["condition"]), guess_line=entry.number)


def _noted(state: TestState, entry: Entry, *more: str) -> TestState:
    said = entry.body.get("words") or entry.body.get("note")
    words = "; ".join((*((str(said),) if said else ()), *more))
    if not words:
        return state
    return replace(state, notes=(*state.notes, (entry.time, words)), noted=(*state.noted, entry.number))


def _note(state: TestState, entry: Entry) -> TestState:
    """Take a note; what it says was measured before a launch belongs to its run."""
    measured, run = entry.body.get("measured"), _run_of(state, entry)
    if run is not None and measured:
        state = _changed(state, entry, measured={**run.measured, **measured})
    return _noted(state, entry)


def _corrected(state: TestState, entry: Entry) -> TestState:
    """Take the new values; the old ones stay in the entry that was corrected, which stays in the ledger."""
    changes = {key: value for key, value in entry.body["changes"].items() if key in _CORRECTABLE}
    run = _run_of(state, entry)
    if run is not None:
        changes["corrections"] = (*run.corrections, dict(entry.body))
    return _noted(_changed(state, entry, **changes), entry)


_CORRECTABLE = frozenset(("seconds", "unfinished", "guess", "seen", "left_out"))


def _withdrawn(state: TestState, entry: Entry) -> TestState:
    """Withdraw: a run whose measurement is withdrawn counts as left out, seen; what came in place of it stands."""
    number = int(entry.body["entry"])
    photos = tuple(each for each in state.photos if each.entry != number)
    gone = _without_note(replace(state, withdrawn=state.withdrawn | {number}, photos=photos), number)
    kind = entry.body.get("kind")
    if kind == Kind.GUESS.value:
        run = _run_of(state, entry)
        return gone if run is None or run.guess_line != number else _changed(gone, entry, guess=None)
    if kind == Kind.RIG.value:
        return gone if state.rig_line != number else replace(gone, rig=None)
    if kind == Kind.WARM_UP.value:
        return gone if number < state.session_line else replace(gone, warm_ups=max(gone.warm_ups - 1, 0))
    return _changed(gone, entry, left_out=str(entry.body.get("why") or "withdrawn"), seen=True)


def _without_note(state: TestState, number: int) -> TestState:
    """Take a note back; it stays in the ledger."""
    kept = [(entry, note) for entry, note in zip(state.noted, state.notes, strict=True) if entry != number]
    return replace(state, noted=tuple(entry for entry, _ in kept), notes=tuple(note for _, note in kept))


def _reported(state: TestState, entry: Entry) -> TestState:
    """Count a report; one that goes with a bundle before the last run holds counts only, and is none."""
    if state.decided is None and state.screening is None:
        return state
    return replace(state, reports=state.reports + 1, report=entry.body.get("digest"))


_STEPS: dict[Kind, Callable[[TestState, Entry], TestState]] = {
    Kind.OPENED: _opened,
    Kind.CLAIM: lambda state, entry: replace(state, claim=dict(entry.body)),
    Kind.AGREEMENT: _agreement,
    Kind.RIG: lambda state, entry: replace(state, rig=dict(entry.body), rig_line=entry.number),
    Kind.PLAN: lambda state, entry: replace(state, request=dict(entry.body["request"])),
    Kind.SEALED: _sealed,
    Kind.SESSION: _session,
    Kind.WARM_UP: lambda state, entry: replace(state, warm_ups=state.warm_ups + 1),  # noqa: ARG005
    Kind.RUN_BEGUN: _begun,
    Kind.STARTED: _started,
    Kind.TAP: _tap,
    Kind.STOPPED: _stopped,
    Kind.ABORTED: _left_out,
    Kind.WENT_WRONG: _left_out,
    Kind.PASSES: _passes,
    Kind.INTERRUPTED: _interrupted,
    Kind.RECORDING: _recording,
    Kind.PHOTO: _photo,
    Kind.GUESS: _guess,
    Kind.NOTE: _note,
    Kind.CORRECTED: _corrected,
    Kind.WITHDRAWN: _withdrawn,
    Kind.SEAL_BROKEN: lambda state, entry: replace(state, broken=str(entry.body.get("why", ""))),
    Kind.CLOSED: lambda state, entry: replace(state, closed=str(entry.body.get("why", ""))),
    Kind.DECIDED: lambda state, entry: replace(state, decided=dict(entry.body["comparison"])),
    Kind.REPORTED: _reported,
    Kind.BUNDLED: lambda state, entry: replace(state, bundles=state.bundles + 1),  # noqa: ARG005
    Kind.CHALLENGE: lambda state, entry: replace(state, challenges=(*state.challenges, dict(entry.body))),
    Kind.SCREENING: lambda state, entry: replace(state, screening=dict(entry.body["plan"])),
}
"""What each kind of entry does to the state."""
