"""What stands in a notebook, as text and as plain data; what is sealed stays sealed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from truerun.notebook.ledger import Notebook
from truerun.notebook.state import RunState, TestState
from truerun.report.layout import rows_text
from truerun.trial.mishaps import reason_words
from truerun.trial.seal import spoken_code
from truerun.workflow.bench import state_of

__all__ = [
    "covered",
    "notebook_document",
    "notebook_text",
    "state_document",
    "state_text",
]


def covered(state: TestState) -> bool:
    """Tell whether times must not stand beside their conditions: a sealed plan that is not complete, seal unbroken."""
    if state.screening is not None:
        return state.next_screened is not None
    return state.plan is not None and not state.complete and state.broken is None


def notebook_text(notebook: Notebook) -> str:
    """List the tests of a notebook."""
    rows = notebook.tests()
    if not rows:
        return 'The notebook is empty. Open a test with truerun new "its name".'
    lines = []
    for row in rows:
        state = state_of(notebook, row.id)
        lines.append((f"{row.number}", f"{state.name}{' (invented)' if state.invented else ''}: {_stage(state)}"))
    return rows_text(lines)


def notebook_document(notebook: Notebook) -> dict[str, Any]:
    """Give the tests of a notebook as plain data, schema ``truerun/notebook/1``."""
    tests = [{"number": row.number} | state_document(notebook, row.id) for row in notebook.tests()]
    return {"schema": "truerun/notebook/1", "id": notebook.identity, "tests": tests}


def state_text(notebook: Notebook, test: str) -> str:
    """Say how a test stands: claim, plan, runs, what comes next, its last line."""
    state = state_of(notebook, test)
    rows = [("Test", state.name), ("Stands", _stage(state))]
    if state.claim is not None:
        rows.append(("Claim", str(state.claim["words"])))
    sealed = state.plan or state.screening
    if sealed is not None:
        drawn = f", drawn {state.draws} times" if state.draws > 1 else ""
        rows.append(("Seal", f"{sealed['seal']['code']}{drawn}"))
    if state.screening is not None:
        rows += _screening_rows(state, state.screening)
    rows += [(f"Run {run.slot}" + (f", try {run.attempt}" if run.attempt > 1 else ""), _run_words(state, run))
             for run in state.runs]  # fmt: skip
    rows += [("Note", words) for _, words in state.notes]
    rows.append(("Last line", f"{state.head.count}, fingerprint {spoken_code(state.head.digest)}"))
    return rows_text(rows)


def _screening_rows(state: TestState, screening: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Say what a screening looks for, and which run of it is next."""
    count, rounds, slot = len(screening["variants"]), screening["repeats"], state.next_screened
    rows = [("Screening", f"{count} variants in {rounds} rounds; it names what is worth a test and decides nothing")]
    if screening["looking_for"]:
        rows.append(("Looked for", screening["looking_for"]))
    if slot is not None and state.closed is None:
        where = f"run {slot} of {len(state.drawn)}, round {(slot - 1) // count + 1}"
        rows.append(("Next", f"{where}: {state.drawn[slot - 1]}"))
    return rows


def state_document(notebook: Notebook, test: str) -> dict[str, Any]:
    """Give a test as plain data, schema ``truerun/test/1``; sealed times are left out."""
    state = state_of(notebook, test)
    hidden, sealed = covered(state), state.plan or state.screening
    return {
        "schema": "truerun/test/1",
        "id": state.id,
        "name": state.name,
        "invented": state.invented,
        "stands": _stage(state),
        "claim": state.claim,
        "screening": state.screening is not None,
        "seal": None if sealed is None else sealed["seal"],
        "planned": len(state.drawn),
        "next": state.next_slot if state.screening is None else state.next_screened,
        "runs": [_run_document(state, run, hidden=hidden) for run in state.runs],
        "verdict": None if state.decided is None or hidden else state.decided.get("verdict"),
        "head": {"count": state.head.count, "digest": state.head.digest},
    }


def _stage(state: TestState) -> str:
    """Say in a few words how far a test is."""
    if state.closed is not None:
        return f"closed: {state.closed}"
    if state.screening is not None:
        return _stage_of_screening(state)
    if state.plan is None:
        return "no plan is sealed yet" if state.claim is None else "claim written, no plan sealed yet"
    if state.decided is not None and not covered(state):
        return str(state.decided.get("headline", "decided"))
    if state.complete:
        return f"all {len(state.order)} runs done, not decided yet"
    done = (state.next_slot or 1) - 1
    seal = "seal broken" if state.broken is not None else f"sealed until run {len(state.order)}"
    return f"{done} of {len(state.order)} runs done, {seal}"


def _stage_of_screening(state: TestState) -> str:
    """Say in a few words how far a screening is."""
    planned, slot = len(state.drawn), state.next_screened
    done = f"all {planned} runs done" if slot is None else f"{slot - 1} of {planned} runs done, covered until the last"
    return f"screening, {done}"


def _run_words(state: TestState, run: RunState) -> str:
    """Say how a run stands; its time only where it may be seen beside the condition."""
    condition = state.drawn[run.slot - 1] if run.slot <= len(state.drawn) else ""
    if run.left_out is not None:
        stands = f"left out: {reason_words(run.left_out)}"
    elif not run.ended:
        stands = "begun"
    elif covered(state):
        stands = "done"
    else:
        stands = "recorded" if run.seconds is None else f"{run.seconds:.2f} s"
    typed = ", typed in" if run.typed else ""
    broken = f", interrupted: {run.interrupted}" if run.interrupted else ""
    return f"{condition}, {stands}{typed}{broken}"


def _run_document(state: TestState, run: RunState, *, hidden: bool) -> dict[str, Any]:
    """Give a run as plain data."""
    return {
        "run": run.slot,
        "attempt": run.attempt,
        "condition": state.drawn[run.slot - 1] if run.slot <= len(state.drawn) else None,
        "ended": run.ended,
        "seconds": None if hidden else run.seconds,
        "left_out": run.left_out,
        "seen": run.seen,
        "typed": run.typed,
        "recordings": [each.digest for each in run.recordings],
    }
