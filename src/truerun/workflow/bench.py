"""What a person does at the bench and before it, one function each; terminal and browser call only these.

Every function writes one entry into the notebook and returns when it is on the disk. Observations are always taken;
what changes the plan, a value or the end of a test quotes the head that it was made from.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from datetime import datetime
from typing import Any

from truerun.errors import HeadMoved, PlanBroken, ValueOutOfRange
from truerun.notebook.entries import Entry, Kind
from truerun.notebook.files import store_file
from truerun.notebook.ledger import Notebook, TestRow
from truerun.notebook.projection import kept_state
from truerun.notebook.state import RunState, TestState
from truerun.trial.mishaps import MISHAPS, Becomes, becomes
from truerun.trial.plan import Role
from truerun.workflow.plan_files import SealedPlan, read_plan
from truerun.workflow.planning import PlanResult, plan

__all__ = [
    "LARGEST_CLAIM",
    "LONGEST_RUN",
    "abort_run",
    "adopt_plan",
    "answer_challenge",
    "attach_photo",
    "attach_recording",
    "begin_run",
    "break_seal",
    "close_test",
    "correct",
    "describe_rig",
    "draft_plan",
    "find_test",
    "guess",
    "note",
    "open_test",
    "record_agreement",
    "require_time",
    "seal_plan",
    "something_wrong",
    "start_clock",
    "start_session",
    "state_of",
    "stop_clock",
    "tap",
    "warm_up",
    "withdraw",
    "write_claim",
]

_SIDES = ("claimant", "sceptic")

LONGEST_RUN = 30 * 86400.0
"""Longest time of a run [s]; more is a slip of the keys."""

LARGEST_CLAIM = 10.0
"""Largest size of a claim, where 1 runs by itself; more is a slip of the keys."""

_MEASURED = frozenset((Kind.RUN_BEGUN, Kind.STARTED, Kind.TAP, Kind.STOPPED, Kind.PASSES, Kind.RECORDING, Kind.GUESS))
"""What a run rests on; a note or a photo that is withdrawn takes nothing from it."""

_WITHDRAWN = _MEASURED | {Kind.NOTE, Kind.PHOTO, Kind.RIG, Kind.WARM_UP}

_CORRECTED: Mapping[str, tuple[Kind, ...]] = {
    "seconds": (Kind.STOPPED,),
    "unfinished": (Kind.STOPPED,),
    "guess": (Kind.GUESS,),
    "seen": (Kind.ABORTED, Kind.WENT_WRONG),
}
"""What can be corrected, and the kinds of entry that hold it."""


def open_test(
    notebook: Notebook, name: str, *, invented: bool = False, answers: str | None = None, role: Role | None = None
) -> TestState:
    """Open a test.

    Parameters
    ----------
    notebook : Notebook
    name : str
        What people call it.
    invented : bool
        Whether it is a demonstration that never took place.
    answers, role
        The id of the test that it belongs to, and what it is for there.

    Returns
    -------
    TestState
    """
    words = name.strip()
    if not words:
        raise ValueOutOfRange("The name of the test", "empty", "a few words", "Write what people call it.")
    linked = {} if answers is None else {"answers": answers, "role": None if role is None else role.value}
    entry = notebook.open_test({"name": words, "invented": invented} | linked)
    return state_of(notebook, entry.test)


def state_of(notebook: Notebook, test: str) -> TestState:
    """Give everything that stands in a test."""
    return kept_state(notebook, test)


def find_test(notebook: Notebook, said: str | None) -> str:
    """Find a test by its id, its number or its name.

    Parameters
    ----------
    notebook : Notebook
    said : str or None
        None where there is only one.

    Returns
    -------
    str
        Its id.

    Raises
    ------
    ValueOutOfRange
        If none or several fit; says which there are.
    """
    rows = notebook.tests()
    names = {row.id: str(notebook.entries(row.id, first=1)[0].body.get("name", "")) for row in rows}
    listed = ", ".join(f'{row.number} "{names[row.id]}"' for row in rows) or "none yet"
    if said is None and len(rows) == 1:
        return rows[0].id
    found = [row for row in rows if said is not None and _fits(row, names[row.id], said)]
    if len(found) != 1:
        asked = "not said" if said is None else f'"{said}"'
        raise ValueOutOfRange("The test", asked, f"one of this notebook: {listed}", "Name its number.")
    return found[0].id


def _fits(row: TestRow, name: str, said: str) -> bool:
    """Tell whether a test is meant."""
    return said in (row.id, str(row.number)) or said.strip().casefold() == name.casefold()


def write_claim(
    notebook: Notebook,
    test: str,
    words: str,
    *,
    against: str | None = None,
    by: str | None = None,
    claimed: float | None = None,
) -> Entry:
    """Write down the claim in the claimant's own words, and what would count against it."""
    _require_unsealed(state_of(notebook, test), "The claim")
    if not words.strip():
        raise ValueOutOfRange("The claim", "empty", "the claimant's own words")
    if claimed is not None and not -LARGEST_CLAIM <= claimed <= LARGEST_CLAIM:
        remedy = "100 % would run by itself."
        raise ValueOutOfRange("The size of the claim", f"{100 * claimed:g} %", "1000 % at most", remedy)
    return notebook.append(test, Kind.CLAIM, {"words": words.strip(), "against": against, "by": by, "claimed": claimed})


def record_agreement(notebook: Notebook, test: str, side: str, answers: Mapping[str, str | None]) -> Entry:
    """Write down what one side answered before the plan was sealed.

    Parameters
    ----------
    notebook : Notebook
    test : str
    side : {"claimant", "sceptic"}
    answers : mapping
        ``fair``, ``would_change_my_mind``, ``excuse_to_come``.
    """
    if side not in _SIDES:
        raise ValueOutOfRange("Who answers", f'"{side}"', "claimant or sceptic")
    keys = ("fair", "would_change_my_mind", "excuse_to_come")
    return notebook.append(test, Kind.AGREEMENT, {"side": side} | {key: answers.get(key) for key in keys})


def describe_rig(notebook: Notebook, test: str, rig: Mapping[str, Any]) -> Entry:
    """Write down the rig: whatever was weighed, levelled, measured."""
    return notebook.append(test, Kind.RIG, rig)


def draft_plan(notebook: Notebook, test: str, request: Mapping[str, Any], head: str) -> Entry:
    """Keep the draft of a plan, so that it can be gone on with elsewhere."""
    _require_unsealed(state_of(notebook, test), "The plan")
    return notebook.append(test, Kind.PLAN, {"request": dict(request)}, head=head)


def seal_plan(
    notebook: Notebook, test: str, request: Mapping[str, Any], head: str, *, seed: str | None = None
) -> PlanResult:
    """Make the plan, draw its order, seal it; drawing again before the first run is an entry and counted.

    Parameters
    ----------
    notebook : Notebook
    test : str
    request : mapping
        What ``truerun plan`` would be told; claim and answers come from the test where it has them.
    head : str
        Digest of the last line that was seen.
    seed : str, optional
        Of the draw, for demonstrations and tests.

    Returns
    -------
    PlanResult

    Raises
    ------
    PlanBroken
        If a run was begun already, or the plan could not decide.
    """
    state = state_of(notebook, test)
    _require_drawable(state)
    values = _request_with_claim(state, request)
    made = plan(values, seed=seed, made=datetime.fromisoformat(notebook.time()).replace(microsecond=0))
    notebook.append(test, Kind.SEALED, {"plan": made.document()}, head=head)
    return made


def _require_drawable(state: TestState) -> None:
    """Refuse to draw the order of a plan where one must not be drawn any more."""
    if state.screening is not None:
        raise PlanBroken("A screening has a sealed list of its own", "a plan was given", "Open the fresh test for it.")
    if state.runs:
        raise PlanBroken("An order is drawn before the first run", "a run was begun", "Open a new test instead.")


def adopt_plan(notebook: Notebook, test: str, source: Any, head: str) -> SealedPlan:
    """Take a plan that ``truerun plan`` sealed into a test; its seal must still fit.

    Raises
    ------
    PlanBroken
        If a run was begun already, or the plan was changed after it was sealed.
    """
    _require_drawable(state_of(notebook, test))
    sealed = read_plan(source)
    document = sealed.plan.document() | {"seal": sealed.seal.document()}
    notebook.append(test, Kind.SEALED, {"plan": document}, head=head)
    return sealed


def _request_with_claim(state: TestState, request: Mapping[str, Any]) -> dict[str, Any]:
    """Fill a request with the claim and the answers that were written down before."""
    claim = state.claim or {}
    known = {"claim": claim.get("words"), "against": claim.get("against"), "claimant": claim.get("by")}
    values = {key: value for key, value in known.items() if value is not None} | dict(request)
    if claim.get("claimed") is not None:
        values.setdefault("claimed", claim["claimed"])
    if state.agreed and "agreed" not in values:
        values["agreed"] = {
            side: {"present": True} | {key: answer.get(key) for key in answer if key != "side"}
            for side, answer in state.agreed.items()
        }
    return values


def start_session(
    notebook: Notebook, test: str, *, words: str | None = None, temperature: float | None = None
) -> Entry:
    """Begin a sitting; its warm-up launches come first."""
    return notebook.append(test, Kind.SESSION, {"note": words, "temperature": temperature})


def warm_up(notebook: Notebook, test: str, *, sender: str | None = None) -> Entry:
    """Count a warm-up launch."""
    return notebook.append(test, Kind.WARM_UP, {}, sender=sender)


def begin_run(notebook: Notebook, test: str, *, slot: int | None = None, sender: str | None = None) -> RunState:
    """Begin the next run of the sealed plan, or a further attempt at it; one that was begun and waits is given back.

    Parameters
    ----------
    notebook : Notebook
    test : str
    slot : int, optional
        The run that is meant, where it was seen before; another one is not begun in its place.
    sender : str, optional
        Becomes the id of the run.

    Raises
    ------
    PlanBroken
        If nothing is sealed, all runs are done, the test is closed, or another run than ``slot`` comes next.
    """
    while True:
        state = state_of(notebook, test)
        before = next((run for run in state.runs if run.id == sender), None)
        waiting = before or _run_that_waits(state)
        following = state.next_slot if waiting is None else waiting.slot
        if slot not in (None, following) and before is None:
            raise PlanBroken(f"Run {following} is next", f"run {slot} was asked for", "Keep to the order.")
        if waiting is not None:
            return waiting
        attempt = 1 + sum(run.slot == following for run in state.runs)
        name = sender or str(uuid.uuid4())
        body = {"run": name, "slot": following, "attempt": attempt}
        with suppress(HeadMoved):  # somebody else wrote in between, perhaps began this very run: look again
            notebook.append(test, Kind.RUN_BEGUN, body, sender=sender, head=state.head.digest)
            return _run_named(state_of(notebook, test), name)


def _run_named(state: TestState, name: str) -> RunState:
    """Give a run by its id."""
    found = next((run for run in state.runs if run.id == name), None)
    if found is None:
        raise ValueOutOfRange("The id of the sender", f'"{name}", used before', "a new one for each thing sent")
    return found


def _run_that_waits(state: TestState) -> RunState | None:
    """Give the run that was begun and not ended; None where the next one may begin, and refuse where none may."""
    if state.screening is not None:
        raise PlanBroken("Runs of a screening are timed with a watch", "another way was asked for", "Type the time in.")
    if state.plan is None:
        raise PlanBroken("Runs follow a sealed plan", "none is sealed yet", "Seal the plan first.")
    if state.closed is not None:
        raise PlanBroken("A closed test gets no more runs", "it was closed", "Open a new test.")
    if state.next_slot is None:
        raise PlanBroken(f"The plan has {len(state.order)} runs", "all are done", "Decide the test.")
    return state.open_run


def start_clock(notebook: Notebook, test: str, run: str, at: float, *, sender: str | None = None) -> Entry:
    """Note that the watch was started, at a time of the sender's own clock [s]."""
    return notebook.append(test, Kind.STARTED, {"run": run, "at": at}, sender=sender)


def tap(notebook: Notebook, test: str, run: str, at: float, *, sender: str | None = None) -> Entry:
    """Note a pass of the mark, at a time of the sender's own clock [s]."""
    return notebook.append(test, Kind.TAP, {"run": run, "at": at}, sender=sender)


def stop_clock(
    notebook: Notebook,
    test: str,
    run: str,
    seconds: float,
    *,
    by: str = "hand",
    unfinished: bool = False,
    typed: bool = False,
    sender: str | None = None,
) -> Entry:
    """Note the time of a run; ``unfinished`` where the wheel had not come to the end by then."""
    require_time(seconds)
    body = {"run": run, "seconds": seconds, "by": by, "unfinished": unfinished, "typed": typed}
    return notebook.append(test, Kind.STOPPED, body, sender=sender)


def require_time(seconds: Any) -> None:
    """Refuse what is no time of a run."""
    if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 < seconds <= LONGEST_RUN:
        allowed = "a number of seconds above 0, and 30 days at most"
        raise ValueOutOfRange("The time of the run", f"{seconds} s", allowed, "Look for a slip of the keys.")


def abort_run(
    notebook: Notebook,
    test: str,
    run: str,
    reason: str,
    *,
    seen: bool,
    excused: bool = False,
    sender: str | None = None,
) -> Entry:
    """Stop a run with a reason; ``seen``: its time had been seen by then; ``excused``: the plan does not repeat it."""
    body = {"run": run, "reason": reason.strip() or "stopped", "seen": seen} | ({"excused": True} if excused else {})
    return notebook.append(test, Kind.ABORTED, body, sender=sender)


def something_wrong(
    notebook: Notebook,
    test: str,
    run: str,
    what: str,
    *,
    seen: bool,
    words: str | None = None,
    sender: str | None = None,
) -> str:
    """Note that something went wrong in a run, and give the plan's rule and the next step in words.

    Parameters
    ----------
    notebook : Notebook
    test, run : str
    what : str
        One of :data:`truerun.trial.mishaps.MISHAPS`.
    seen : bool
        Whether the time of the run had been seen by then.
    words : str, optional
        What happened.
    sender : str, optional

    Returns
    -------
    str
    """
    if what not in MISHAPS:
        raise ValueOutOfRange("What went wrong", f'"{what}"', ", ".join(MISHAPS))
    state = state_of(notebook, test)
    plan = state.plan or {}
    fate = becomes(plan.get("mishaps", {}), what)
    slot = next((each.slot for each in state.runs if each.id == run), None)
    if fate is Becomes.COUNTS:
        note(notebook, test, f"Run {slot}: {words or MISHAPS[what]}. By the plan it counts.", run=run, sender=sender)
        return f"By the plan this is no reason to stop: run {slot} counts. The plan says: {plan['left_out_rule']}"
    body = {"run": run, "what": what, "words": words, "seen": seen}
    excuse = {"excused": True} if fate is Becomes.LEFT_OUT and not seen else {}
    notebook.append(test, Kind.WENT_WRONG, body | excuse, sender=sender)
    if seen:
        step = f"Its time had been seen, so run {slot} stays in the list, reckoned at its worst for each side."
    elif excuse:
        step = f"Nobody had seen its time, so run {slot} is left out and not done again, as the plan said beforehand."
    else:
        step = f"Nobody had seen its time, so run {slot} is done again, in the same condition."
    return f"{step} The plan says: {plan.get('left_out_rule', '')}"


def attach_recording(
    notebook: Notebook,
    test: str,
    run: str,
    name: str,
    pieces: Iterable[bytes],
    *,
    media: str = "text/csv",
    marks: int | None = None,
    most: int | None = None,
    sender: str | None = None,
) -> Entry:
    """Attach a recording to a run; its bytes are kept as they are."""
    digest, size = store_file(notebook, pieces, media, most=most)
    body = {"run": run, "digest": digest, "name": name, "media": media, "size": size, "marks": marks}
    return notebook.append(test, Kind.RECORDING, body, sender=sender)


def attach_photo(
    notebook: Notebook,
    test: str,
    name: str,
    pieces: Iterable[bytes],
    *,
    run: str | None = None,
    media: str = "image/jpeg",
    most: int | None = None,
    sender: str | None = None,
) -> Entry:
    """Attach a photo to a test, or to one run of it."""
    digest, size = store_file(notebook, pieces, media, most=most)
    body = {"run": run, "digest": digest, "name": name, "media": media, "size": size}
    return notebook.append(test, Kind.PHOTO, body, sender=sender)


def note(
    notebook: Notebook,
    test: str,
    words: str,
    *,
    run: str | None = None,
    measured: Mapping[str, float] | None = None,
    sender: str | None = None,
) -> Entry:
    """Write a note; ``measured`` is what was measured before the launch of a run, by name."""
    more = {"measured": dict(measured)} if measured else {}
    return notebook.append(test, Kind.NOTE, {"words": words, "run": run} | more, sender=sender)


def guess(notebook: Notebook, test: str, run: str, condition: str, *, sender: str | None = None) -> Entry:
    """Write down which condition somebody who did not know took a run for."""
    names = set(state_of(notebook, test).order)
    if condition not in names:
        raise ValueOutOfRange("The guess", f'"{condition}"', " or ".join(f'"{name}"' for name in sorted(names)))
    return notebook.append(test, Kind.GUESS, {"run": run, "condition": condition}, sender=sender)


def correct(notebook: Notebook, test: str, entry: int, changes: Mapping[str, Any], *, why: str, head: str) -> Entry:
    """Correct a typing mistake; the old value stays visible.

    Parameters
    ----------
    notebook : Notebook
    test : str
    entry : int
        Number of the entry that is corrected.
    changes : mapping
        New values: ``seconds``, ``unfinished``, ``guess``, ``seen``.
    why : str
    head : str
        Digest of the last line that was seen.
    """
    for name in changes:
        if name not in _CORRECTED:
            raise ValueOutOfRange("What is corrected", f'"{name}"', ", ".join(_CORRECTED))
    kinds = [kind for name in changes for kind in _CORRECTED[name]]
    old = _entry(notebook, test, entry, kinds)
    if "seconds" in changes:
        if state_of(notebook, test).decided is not None:
            remedy = "Write a note of the mistake instead."
            raise PlanBroken("A time is corrected before the result is opened", "it is open", remedy)
        require_time(changes["seconds"])
    before = {name: old.body.get("condition" if name == "guess" else name) for name in changes}
    body = {"entry": entry, "run": old.body.get("run"), "changes": dict(changes), "before": before, "why": why}
    return notebook.append(test, Kind.CORRECTED, body, head=head)


def withdraw(notebook: Notebook, test: str, entry: int, *, why: str, head: str) -> Entry:
    """Withdraw an entry; it stays, and so does the withdrawal. A run whose measurement it was counts no more."""
    old = _entry(notebook, test, entry, _WITHDRAWN)
    run = old.body.get("run") if old.kind in _MEASURED else None
    body = {"entry": entry, "kind": old.kind.value, "run": run, "why": why}
    return notebook.append(test, Kind.WITHDRAWN, body, head=head)


def _entry(notebook: Notebook, test: str, number: int, kinds: Collection[Kind]) -> Entry:
    """Give one entry, which must stand and be of one of these kinds."""
    state = state_of(notebook, test)
    if not 1 <= number <= state.head.count:
        raise ValueOutOfRange("The entry", number, f"1 to {state.head.count}")
    (found,) = notebook.entries(test, number - 1, first=1)
    if found.kind not in kinds or number in state.withdrawn:
        said = (
            f"{number}, which was withdrawn" if number in state.withdrawn else f'{number}, of kind "{found.kind.value}"'
        )
        allowed = " or ".join(f'"{kind.value}"' for kind in Kind if kind in kinds)
        raise ValueOutOfRange("The entry", said, f"one of kind {allowed} that stands", "See the logbook.")
    return found


def break_seal(notebook: Notebook, test: str, *, why: str, head: str) -> Entry:
    """Break the seal before the last planned run; only the running bet then decides."""
    state = state_of(notebook, test)
    if state.plan is None or state.complete:
        found = "the plan is complete" if state.plan is not None else "no plan is sealed here"
        raise PlanBroken("A seal is broken before the last run", found, "Decide the test; nothing need be broken.")
    return notebook.append(test, Kind.SEAL_BROKEN, {"why": why}, head=head)


def close_test(notebook: Notebook, test: str, *, why: str, head: str) -> Entry:
    """Close a test; it then takes no more runs."""
    return notebook.append(test, Kind.CLOSED, {"why": why}, head=head)


def answer_challenge(
    notebook: Notebook, test: str, words: str, *, by: str | None = None, role: Role = Role.CHALLENGE
) -> TestState:
    """Open a new test that answers a challenge ("try position 17") or is a control, linked both ways.

    One in the same words in which nothing was planned yet is gone on with: also what a program that was killed between
    two writes had left without a link.
    """
    asked = state_of(notebook, test)
    begun = _answer_begun(notebook, test, words.strip(), role)
    answer = begun or open_test(notebook, words, invented=asked.invented, answers=test, role=role)
    if all(each["test"] != answer.id for each in asked.challenges):
        body = {"words": words, "by": by, "test": answer.id, "role": role.value}
        notebook.append(test, Kind.CHALLENGE, body, sender=f"{answer.id}:linked")
    said = "Answers a challenge to" if role is Role.CHALLENGE else "Belongs to"
    notebook.append(answer.id, Kind.NOTE, {"words": f'{said} the test "{asked.name}".'}, sender=f"{answer.id}:linked")
    return state_of(notebook, answer.id)


def _answer_begun(notebook: Notebook, test: str, name: str, role: Role) -> TestState | None:
    """Give the answer to a test that was opened under a name and holds no draft yet, None where there is none."""
    wanted = {"name": name, "answers": test, "role": role.value}
    for row in notebook.tests():
        if wanted.items() <= notebook.entries(row.id, first=1)[0].body.items():
            state = state_of(notebook, row.id)
            if state.request is None and state.plan is None and state.closed is None:
                return state
    return None


def _require_unsealed(state: TestState, what: str) -> None:
    """Refuse a change of what was sealed."""
    if state.plan is not None and state.runs:
        raise PlanBroken(f"{what} was sealed", "a run was begun", "Open a new test for another one.")
