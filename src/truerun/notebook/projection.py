"""The state of a test kept beside its ledger, so that a long one need not be added up again; it can always be rebuilt.

What a verdict rests on is never read from here: deciding adds up the entries themselves.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from sqlalchemy import delete, select

from truerun.errors import NotebookUnusable
from truerun.notebook.connection import reading, writing
from truerun.notebook.heads import Head
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import FOLD, Attached, RunState, TestState, fold, went_on
from truerun.notebook.tables import ENTRIES, PROJECTIONS

__all__ = ["KEPT_AFTER", "drop_projections", "kept_state", "read_state", "write_state"]

KEPT_AFTER = 200
"""So many new entries are added up again before the state is kept anew."""

_KIND = f"state/{FOLD}"


def kept_state(notebook: Notebook, test: str) -> TestState:
    """Give the state of a test: what was kept of it, and the entries after that.

    Parameters
    ----------
    notebook : Notebook
    test : str
        Its id.

    Returns
    -------
    TestState
        The same as the fold of all its entries.

    Raises
    ------
    NotebookUnusable
        If the store cannot be read; one that cannot be written is no hindrance.
    """
    kept = _kept(notebook, test)
    if kept is None:
        state = fold(test, notebook.entries(test))
        fresh = state.head.count
    else:
        after = notebook.entries(test, kept.head.count)
        state, fresh = went_on(kept, after), len(after)
    if fresh >= KEPT_AFTER:
        with suppress(NotebookUnusable):
            _keep(notebook, state)
    return state


def drop_projections(notebook: Notebook) -> None:
    """Forget every state that was kept; the next look at a test adds it up anew."""
    with writing(notebook.engine, notebook.place) as connection:
        connection.execute(delete(PROJECTIONS))


def write_state(state: TestState) -> bytes:
    """Write a state as JSON.

    Examples
    --------
    >>> state = TestState("t", Head(2, "0" * 64), withdrawn=frozenset((1,)))
    >>> read_state(write_state(state)) == state
    True
    """
    return json.dumps(asdict(state), default=sorted, separators=(",", ":")).encode()


def read_state(stored: bytes) -> TestState:
    """Read a state that :func:`write_state` wrote."""
    data = json.loads(stored)
    special = {
        "head": Head(**data["head"]),
        "runs": tuple(_read_run(each) for each in data["runs"]),
        "notes": tuple((time, words) for time, words in data["notes"]),
        "noted": tuple(data["noted"]),
        "photos": tuple(Attached(**each) for each in data["photos"]),
        "challenges": tuple(data["challenges"]),
        "withdrawn": frozenset(data["withdrawn"]),
    }
    return TestState(**(data | special))


def _read_run(data: dict[str, Any]) -> RunState:
    """Read one attempt at one run."""
    special = {
        "taps": tuple(data["taps"]),
        "passes": tuple(data["passes"]),
        "recordings": tuple(Attached(**each) for each in data["recordings"]),
        "corrections": tuple(data["corrections"]),
    }
    return RunState(**(data | special))


def _kept(notebook: Notebook, test: str) -> TestState | None:
    """Read what was kept; None where nothing was, or it fits another history or another way of adding up."""
    query = (
        select(PROJECTIONS.c.state, ENTRIES.c.digest)
        .join(ENTRIES, (ENTRIES.c.test == PROJECTIONS.c.test) & (ENTRIES.c.number == PROJECTIONS.c.number))
        .where(PROJECTIONS.c.test == test, PROJECTIONS.c.kind == _KIND)
    )
    with reading(notebook.engine, notebook.place) as connection:
        row = connection.execute(query).first()
    if row is None:
        return None
    try:
        state = read_state(bytes(row.state))
    except (ValueError, KeyError, TypeError):
        return None
    return state if (state.id, state.head.digest) == (test, row.digest) else None


def _keep(notebook: Notebook, state: TestState) -> None:
    """Keep a state in place of the one before."""
    row = {"test": state.id, "number": state.head.count, "kind": _KIND, "state": write_state(state)}
    with writing(notebook.engine, notebook.place) as connection:
        connection.execute(delete(PROJECTIONS).where(PROJECTIONS.c.test == state.id))
        connection.execute(PROJECTIONS.insert().values(row))
