"""The road of a test: seven stages, what is done, and what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from truerun.notebook.state import TestState

__all__ = ["NextStep", "Stage", "next_step", "road_of", "standing"]


@dataclass(frozen=True, slots=True)
class Stage:
    """One station: its address, its state in two or three words, whether it is done, and whether it is shown now."""

    key: str
    name: str
    address: str
    words: str
    done: bool
    here: bool


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next: a sentence, the button that leads there, its address."""

    sentence: str
    button: str
    address: str


def road_of(number: int, state: TestState, here: str) -> tuple[Stage, ...]:
    """Give the stages of a test; ``here`` is the one that is shown."""
    base = f"/t/{number}"
    rows = (
        ("claim", "Claim", "claim", _day(state.claim, "written"), state.claim is not None),
        ("agreement", "Agreement", "agreement", _agreed(state), len(state.agreed) == 2),
        ("rig", "Rig", "rig", "described" if state.rig else "may wait", state.rig is not None),
        ("plan", "Plan", "plan" if state.plan is None else "plan/seal", _planned(state), state.plan is not None),
        ("runs", "Runs", "runs", _runs(state), state.complete),
        ("verdict", "Verdict", "verdict", _verdict(state), state.decided is not None and _open(state)),
        ("report", "Report", "report", "written" if state.reports else "not yet", state.reports > 0),
    )
    return tuple(
        Stage(key, name, f"{base}/{place}", words, done, key == here) for key, name, place, words, done in rows
    )


def next_step(number: int, state: TestState) -> NextStep:
    """Say what comes next in a test."""
    base = f"/t/{number}"
    if state.closed is not None:
        return NextStep(f"The test was closed: {state.closed}", "Read how it stands", f"{base}/runs")
    if state.screening is not None:
        return _in_a_screening(base, state)
    if state.claim is None:
        return NextStep("Write down the claim, in the claimant's own words.", "Write the claim", f"{base}/claim")
    if state.plan is None:
        return _before_the_seal(base, state)
    if state.complete or state.broken is not None:
        return _after_the_runs(base, state)
    return _at_the_bench(base, state)


def _in_a_screening(base: str, state: TestState) -> NextStep:
    """Say what comes next in a screening."""
    slot, planned = state.next_screened, len((state.screening or {})["order"])
    if slot is None:
        return NextStep(f"All {planned} runs of the screening are done.", "See what it shows", f"{base}/screening")
    return NextStep(f"Run {slot} of {planned} of the screening is next.", f"Go to run {slot}", f"{base}/screening")


def _before_the_seal(base: str, state: TestState) -> NextStep:
    """Say what comes before a plan is sealed."""
    if len(state.agreed) < 2 and state.request is None:
        return NextStep("Both sides say what would change their minds.", "Go to the agreement", f"{base}/agreement")
    return NextStep("Make the plan, then draw the order and seal it.", "Go on planning", f"{base}/plan")


def _at_the_bench(base: str, state: TestState) -> NextStep:
    """Say what comes next at the bench."""
    if not state.sessions:
        return NextStep("Begin a sitting, with its warm-up launches.", "Begin a sitting", f"{base}/session")
    slot, planned = state.next_slot, len(state.order)
    sentence = f"Run {slot} of {planned} is next. The result stays sealed until run {planned}."
    return NextStep(sentence, f"Go to run {slot}", f"{base}/runs/{slot}/sheet")


def _after_the_runs(base: str, state: TestState) -> NextStep:
    """Say what comes after the last run, or after the seal was broken."""
    if state.decided is None or not _open(state):
        return NextStep(f"All {len(state.order)} runs are done.", "Go to the verdict", f"{base}/verdict")
    if not state.reports:
        return NextStep("The verdict can be read.", "Read the verdict", f"{base}/verdict")
    return NextStep("The report is written.", "Read the report", f"{base}/report")


def standing(state: TestState) -> str:
    """Say in a few words how far a test is."""
    if state.closed is not None:
        return "Closed"
    if state.screening is not None:
        planned = len(state.screening["order"])
        return (
            f"Screening, {planned if state.next_screened is None else state.next_screened - 1} of {planned} runs done"
        )
    if state.decided is not None and _open(state):
        return str(state.decided.get("headline", "Decided"))
    if state.complete:
        return "All runs done, not opened yet"
    if state.plan is not None:
        return f"{(state.next_slot or 1) - 1} of {len(state.order)} runs done"
    return "Plan being made" if state.request is not None else "Not planned yet"


def _open(state: TestState) -> bool:
    """Tell whether the result may be seen."""
    return state.plan is not None and (state.complete or state.broken is not None)


def _day(body: Mapping[str, Any] | None, word: str) -> str:
    return "not written" if body is None else word


def _agreed(state: TestState) -> str:
    if len(state.agreed) == 2:
        return "both sides"
    if state.agreed:
        return f"only the {next(iter(state.agreed))}"
    return "nobody yet"


def _planned(state: TestState) -> str:
    if state.plan is not None:
        return f"sealed {state.plan['made'][:10]}"
    return "being made" if state.request is not None else "not made"


def _runs(state: TestState) -> str:
    if state.plan is None:
        return "none yet"
    done = len(state.order) if state.complete else (state.next_slot or 1) - 1
    return f"{done} of {len(state.order)} done"


def _verdict(state: TestState) -> str:
    if state.broken is not None and not state.complete:
        return "seal broken"
    if state.plan is None:
        return "not yet"
    if not state.complete:
        return "sealed"
    return "opened" if state.decided is not None else "ready to open"
