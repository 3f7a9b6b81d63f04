"""A notebook of invented tests: a village repair hall tests "the rim arc". None of them took place."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from truerun.notebook.ledger import Notebook, open_notebook
from truerun.trial.plan import Role
from truerun.virtual.bench import Bench, Watch
from truerun.virtual.rim_arc import MARKS, simulate_rim_arc
from truerun.virtual.tables import simulate_times
from truerun.workflow.bench import (
    answer_challenge,
    attach_recording,
    begin_run,
    describe_rig,
    note,
    open_test,
    record_agreement,
    seal_plan,
    start_session,
    state_of,
    stop_clock,
    warm_up,
    write_claim,
)
from truerun.workflow.deciding import decide, report
from truerun.workflow.demonstration import CLAIM
from truerun.workflow.request_files import parse_plan_request
from truerun.workflow.rig import rig_body
from truerun.workflow.screening_runs import open_fresh_test, open_screening, record_screened, stop_screened

if TYPE_CHECKING:
    from truerun.workflow.recorded import Measurements

__all__ = ["demonstration_notebook"]

_SEED = "invented demonstration of the rim arc"
_FIRST = datetime(2026, 3, 14, 17, 0, tzinfo=UTC)

_RIG = {
    "mass": "741 g ± 1 g",
    "diameter": "340 mm ± 0.5 mm",
    "part_count": "12",
    "part_mass": "46.3 g ± 0.2 g",
    "part_circle": "310 mm ± 1 mm",
    "weight": "400 g ± 1 g",
    "height": "803 mm ± 2 mm",
    "drum": "40 mm ± 0.1 mm",
    "fall_time": "5.02 s ± 0.03 s",
    "gap": "8 mm ± 0.5 mm",
    "level": "0.3 mm/m",
    "marks": "5",
    "bearing": "Invented: one deep-groove ball bearing, its grease washed out, a drop of light oil.",
    "sensor": "Invented: a reflex light barrier at the rim; five strips of white tape pass it in a turn.",
    "note": "Every figure is invented. A 340 mm wheel of birch plywood, 12 mm thick, weighed before twelve ferrite "
    "blocks were glued on. A weight on a string launches it; it falls off the drum as the weight lands. The arc "
    "of five magnets sits on a swing arm and comes to 8 mm from the rim. Guard of wire mesh; nobody stands in the "
    "plane of the wheel.",
}
"""As if weighed and measured: 0.02406 kg m^2 and 16 rad/s, which the virtual bench takes for the same wheel."""

_WATCH = {"end": "speed", "timing": "hand", "run_minutes": 3.0, "change_minutes": 2.0, "spread": 0.0154, "margin": 0.02}

_PLACES = tuple(f"arc at {hour} o'clock" for hour in range(1, 13))
_OUT, _IN = 159.7, 152.0
"""Mean times between the two speeds without the arc, and with it at 8 mm [s]."""


class _Clock:
    """The clock of the invented bench; it goes on when it is told to."""

    def __init__(self) -> None:
        self.now = _FIRST

    def __call__(self) -> datetime:
        """Give the time."""
        return self.now

    def later(self, minutes: float) -> None:
        """Go on."""
        self.now += timedelta(minutes=minutes)

    def next_evening(self) -> None:
        """Go on to five in the afternoon of the next day."""
        self.now = (self.now + timedelta(days=1)).replace(hour=_FIRST.hour, minute=_FIRST.minute)


def demonstration_notebook(
    place: str | os.PathLike[str], *, workers: int = 1, kept: Measurements | None = None
) -> None:
    """Make a notebook of invented tests through the functions of the bench.

    Parameters
    ----------
    place : path
        Of a notebook that is not there yet.
    workers : int
        Processes that measure the recordings.
    kept : mapping, optional
        What was measured is added, so that whoever opens the notebook need not measure it again.

    Notes
    -----
    The rim arc, timed by a sensor and by a stopwatch, decided and reported; the same arc half as near, waiting for
    its next run; a test of nothing against nothing; a helping motor of 3 %; a screening of twelve places, and the
    fresh test of the one that looked best. All times come from the virtual bench with fixed seeds, and every test is
    marked as invented. In the screening all places are alike; its seed was chosen so that one stands out, as luck lets
    it in up to one screening of five.
    """
    clock = _Clock()
    with open_notebook(place, clock=clock) as notebook:
        main = _rim_arc(notebook, clock, workers, kept)
        farther = _challenged(notebook, clock, main)
        _nothing(notebook, clock, main)
        _helped(notebook, clock, main)
        _fresh(notebook, clock, _screened(notebook, clock))
        names = {"source": "arc at 16 mm", "control": "arc out", "role": Role.CHALLENGE.value}
        _by_hand(notebook, clock, farther, names, drive=-0.01, runs=5, seed=4)


def _rim_arc(notebook: Notebook, clock: _Clock, workers: int, kept: Measurements | None) -> str:
    """Test the arc: sensor and stopwatch together, sixteen runs, verdict, report; give its id."""
    request = parse_plan_request(CLAIM, "the invented claim")
    test = open_test(notebook, "The rim arc", invented=True).id
    by = "the builder of the arc"
    write_claim(notebook, test, request["claim"], against=request["against"], by=by, claimed=request["claimed"])
    for side in ("claimant", "sceptic"):
        answers = {key: value for key, value in request["agreed"][side].items() if key != "present"}
        record_agreement(notebook, test, side, answers)
        clock.later(2)
    describe_rig(notebook, test, rig_body(_RIG))
    said = ("claim", "against", "agreed", "claimed")
    wanted = {key: value for key, value in request.items() if key not in said}
    signs = _sealed(notebook, clock, test, wanted | {"pilot_spread": 0.0133, "pilot_runs": 8})
    start_session(notebook, test, words="Bench level, door closed", temperature=19.0)
    _warmed(notebook, clock, test)
    for number, made in enumerate(simulate_rim_arc(signs, np.random.default_rng(7)), start=1):
        clock.later(5)
        run = begin_run(notebook, test).id
        lines = "".join(f"{time:.6f}\n" for time in made.passes)
        file = f"time [s]\n{lines}".encode()
        attach_recording(notebook, test, run, f"run-{number:02}.csv", [file], marks=MARKS)
        stop_clock(notebook, test, run, made.stopwatch)
        clock.later(made.stopwatch / 60)
        if number == 8:
            note(notebook, test, "Eight runs done, a cup of tea; the wheel was covered meanwhile.")
            clock.later(15)
    report(notebook, test, decided=decide(notebook, test, workers=workers, kept=kept))
    clock.later(60)
    return test


def _nothing(notebook: Notebook, clock: _Clock, main: str) -> None:
    """Test nothing against nothing: two names for one condition."""
    test = answer_challenge(notebook, main, "Nothing against nothing", role=Role.SAME_AGAINST_SAME).id
    write_claim(notebook, test, "Two names for the same wheel make no difference.", against="Any difference at all.")
    names = {"source": "arc out, label A", "control": "arc out, label B", "role": Role.SAME_AGAINST_SAME.value}
    _by_hand(notebook, clock, test, names, drive=0.0, runs=16, seed=2)
    decide(notebook, test)


def _helped(notebook: Notebook, clock: _Clock, main: str) -> None:
    """Test a help that is there: a motor that gives back 3 % of the losses."""
    test = answer_challenge(notebook, main, "The helping motor", role=Role.PLANTED).id
    words = "A small motor on the axle is a real drive: can this bench find one that gives 3 % of the losses back?"
    write_claim(notebook, test, words, against="No drive in a sealed plan.", by="the repair hall", claimed=0.03)
    names = {"source": "motor on", "control": "motor off", "role": Role.PLANTED.value}
    _by_hand(notebook, clock, test, names, drive=0.03, runs=16, seed=3)
    decide(notebook, test)


def _screened(notebook: Notebook, clock: _Clock) -> str:
    """Screen twelve places of the arc, of which none does more than another; give its id."""
    clock.next_evening()
    name, best = "Round the clock", "a place at which the arc drives the wheel"
    opened = open_screening(
        notebook,
        name,
        _PLACES,
        end="speed",
        control=_PLACES[-1],
        looking_for=best,
        invented=True,
        seed=f"{_SEED}: {name}",
    )
    note(notebook, opened.id, "In the virtual bench that gives these times all twelve places are alike.")
    places = len((opened.screening or {})["order"])
    bench = Bench(mean_time=_IN, spread=0.0125, watch=Watch(0.0, 0.1))
    times = simulate_times(bench, np.full(places, -1, dtype=np.int8), np.random.default_rng(21))
    for slot, seconds in enumerate(times, start=1):
        if slot == 9:
            clock.later(2)
            stop_screened(notebook, opened.id, slot, "the string slipped")
        clock.later(2 + float(seconds) / 60)
        record_screened(notebook, opened.id, slot, round(float(seconds), 2))
    return opened.id


def _fresh(notebook: Notebook, clock: _Clock, screening: str) -> None:
    """Test the place that looked best afresh, against the place where the arc sat before."""
    opened = open_fresh_test(notebook, screening)
    _by_hand(notebook, clock, opened.id, opened.request or {}, drive=0.0, runs=16, seed=5, mean_time=_IN)
    decide(notebook, opened.id)


def _challenged(notebook: Notebook, clock: _Clock, main: str) -> str:
    """Write down a challenge to the first test; its own test will wait for its next run. Give its id."""
    by = "the builder of the arc"
    test = answer_challenge(notebook, main, "The arc at 16 mm", by=by).id
    words = "Twice as far from the rim the arc no longer brakes, and still drives."
    write_claim(notebook, test, words, against="No drive in a sealed plan.", by=by)
    claimant = {"fair": "Yes.", "would_change_my_mind": "A brake at 16 mm too.", "excuse_to_come": "Not run in."}
    record_agreement(notebook, test, "claimant", claimant)
    clock.later(30)
    return test


def _by_hand(
    notebook: Notebook,
    clock: _Clock,
    test: str,
    names: Mapping[str, Any],
    *,
    drive: float,
    runs: int,
    seed: int,
    mean_time: float = _OUT,
) -> None:
    """Seal a plan of sixteen runs timed by hand, and do the first of them."""
    clock.next_evening()
    signs = _sealed(notebook, clock, test, {**_WATCH, **names})
    start_session(notebook, test, temperature=19.5)
    _warmed(notebook, clock, test)
    bench = Bench(mean_time=mean_time, drive_fraction=drive, spread=0.0125, watch=Watch(0.0, 0.1))
    for seconds in simulate_times(bench, signs, np.random.default_rng(seed))[:runs]:
        clock.later(2)
        run = begin_run(notebook, test).id
        clock.later(float(seconds) / 60)
        stop_clock(notebook, test, run, round(float(seconds), 2))


def _sealed(notebook: Notebook, clock: _Clock, test: str, request: Mapping[str, Any]) -> NDArray[np.int8]:
    """Seal a plan, and give the order: +1 for the source."""
    name = state_of(notebook, test).name
    made = seal_plan(notebook, test, request, notebook.head(test).digest, seed=f"{_SEED}: {name}")
    clock.later(20)
    return np.asarray(made.plan.signs, dtype=np.int8)


def _warmed(notebook: Notebook, clock: _Clock, test: str) -> None:
    """Do the warm-up launches."""
    for _ in range(3):
        clock.later(3)
        warm_up(notebook, test)
