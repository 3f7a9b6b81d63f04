"""Invented tests in a notebook, at every stage. No such test took place."""

from __future__ import annotations

import numpy as np

from truerun.notebook.ledger import Notebook
from truerun.virtual.bench import Bench, Watch
from truerun.virtual.tables import simulate_times
from truerun.workflow.bench import (
    begin_run,
    open_test,
    record_agreement,
    seal_plan,
    start_session,
    state_of,
    stop_clock,
    warm_up,
    write_claim,
)
from truerun.workflow.deciding import decide
from truerun.workflow.screening_runs import open_screening, record_screened

REQUEST = {"source": "arc in", "control": "arc out", "end": "speed", "spread": 0.0154, "margin": 0.02, "run_minutes": 5}
SEED = "a seed for the tests of the pages"


def opened(notebook: Notebook, name: str = "The rim arc") -> str:
    """Open a test with its claim."""
    test = open_test(notebook, name, invented=True).id
    words = "With the arc in place the wheel gains on every turn."
    write_claim(notebook, test, words, against="A brake in a sealed plan.", by="the builder of the arc", claimed=1.0)
    return test


def agreed(notebook: Notebook, test: str) -> None:
    """Give the answers of both sides."""
    claimant = {"fair": "Yes.", "would_change_my_mind": "A brake over these speeds.", "excuse_to_come": "Not run in."}
    record_agreement(notebook, test, "claimant", claimant)
    sceptic = {"fair": "Yes.", "would_change_my_mind": "A drive in a sealed plan.", "excuse_to_come": "A draught."}
    record_agreement(notebook, test, "sceptic", sceptic)


def sealed(notebook: Notebook, test: str, **more: object) -> None:
    """Seal a plan and begin a sitting."""
    seal_plan(notebook, test, REQUEST | more, notebook.head(test).digest, seed=SEED)
    start_session(notebook, test)
    for _ in range(3):
        warm_up(notebook, test)


def run(notebook: Notebook, test: str, count: int, *, drive: float = -0.055) -> None:
    """Do so many runs on the virtual bench."""
    order = state_of(notebook, test).order
    bench = Bench(mean_time=159.7, drive_fraction=drive, spread=0.0125, watch=Watch(0.0, 0.1))
    signs = np.array([1 if name == "arc in" else -1 for name in order])
    times = simulate_times(bench, signs, np.random.default_rng(1))
    for seconds in times[:count]:
        stop_clock(notebook, test, begin_run(notebook, test).id, round(float(seconds), 2))


def screening(notebook: Notebook, name: str, runs: int, *, better: float = 0.0) -> str:
    """Open a screening of eight places with three runs each, and do so many runs; the fifth place is better."""
    places = [f"position {number}" for number in range(1, 9)]
    test = open_screening(notebook, name, places, 3, end="speed", invented=True, seed="a seed for a screening").id
    order = (state_of(notebook, test).screening or {})["order"]
    chance = np.random.default_rng(3)
    for slot, place in enumerate(order[:runs], 1):
        size = 1 + (better if place == "position 5" else 0.0)
        record_screened(notebook, test, slot, round(150 * size * float(np.exp(chance.normal(0, 0.01))), 2))
    return test


def every_stage(notebook: Notebook) -> None:
    """Open six tests: only opened, agreed, sealed, half done, all done, decided; and a screening half and all done."""
    opened(notebook, "The pulsed rotor")
    agreed(notebook, opened(notebook, "The leaning pendulum"))
    for name, runs in (("The double wheel", 0), ("The rim arc", 8), ("The tilted disc", 16), ("The lift weight", 16)):
        test = opened(notebook, name)
        agreed(notebook, test)
        sealed(notebook, test)
        run(notebook, test, runs)
    decide(notebook, test)
    screening(notebook, "Where to put the arc", 5)
    screening(notebook, "Where to put the weight", 24, better=0.08)
