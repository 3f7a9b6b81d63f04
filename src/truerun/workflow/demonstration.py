"""An invented test from claim to verdict: a village repair hall tests "the rim arc"."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime

import numpy as np

from truerun.recordings.run_tables import read_run_table
from truerun.stats.orders import orders_for
from truerun.trial.seal import drawn_order
from truerun.virtual.bench import Bench, Watch
from truerun.virtual.tables import format_table, simulate_table, simulate_times
from truerun.workflow.looking import look
from truerun.workflow.planning import PlanResult, plan
from truerun.workflow.request_files import parse_plan_request

__all__ = ["CLAIM", "demonstration_files"]

CLAIM = """\
# An invented example: a village repair hall tests a claim about an arc of magnets beside the rim of a wheel.
# Every key outside a table is also an option of truerun plan, with - for _.

claim = "With the arc in place the wheel gains on every turn."
against = "With the arc in place the wheel slows down no later than without it."
source = "arc in"
control = "arc out"
end = "speed"
window = ["120 r/min", "40 r/min"]
claimed = "100%"          # gains on every turn: all of the losses, and more
margin = "2%"             # the smallest effect that both sides would care about
timing = "sensor"
run_minutes = 6.9         # launch and run
change_minutes = 2        # taking the arc off and setting it again
sitting_minutes = 100
note = "An invented example; the times come from a virtual bench."

[agreed.claimant]
present = true
fair = "Yes. The arc is set by its own marks each time."
would_change_my_mind = "Sixteen runs that say otherwise."
excuse_to_come = "The gap was not right."

[agreed.sceptic]
present = true
fair = "Yes, as long as nobody chooses the order."
would_change_my_mind = "The arc adds something in runs drawn by lot."
excuse_to_come = "The bearing was lighter with the arc in."
"""
"""What is asked for, as it stands in the file ``claim.toml``."""

# this seed draws the order of the mock-ups: in out out in, out out in in, out in in out, in out out in
_SEED = "invented demonstration 7385"
_IDENTITY = "00000000-0000-4000-8000-000000000002"
_MADE = datetime(2026, 3, 14, 17, 40, tzinfo=UTC)
_BENCH = Bench(mean_time=159.7, drive_fraction=-0.0546, spread=0.0125, watch=Watch(0.0, 0.1))
_INVENTED = "# Invented: times from a virtual bench.\n"


def demonstration_files() -> dict[str, str]:
    """Give the files of the demonstration: claim, trial runs, sealed plan, filled-in sheet, printed sheet.

    Returns
    -------
    dict
        Text by name: ``claim.toml``, ``trial.csv``, ``plan.json``, ``run-sheet.csv``, ``run-sheet.html``.

    Notes
    -----
    All invented and always the same: the times are simulated from a fixed seed, with a brake of 5.5 % that is there.
    """
    trial = _trial_text()
    request = parse_plan_request(CLAIM, "claim.toml")
    runs = read_run_table(list(csv.DictReader(io.StringIO(trial.removeprefix(_INVENTED)))))
    pilot = look(runs, control=request["control"], end=request["end"]).pilot
    sealed = plan(request | pilot, seed=_SEED, identity=_IDENTITY, made=_MADE)
    return {
        "claim.toml": CLAIM,
        "trial.csv": trial,
        "plan.json": sealed.json(),
        "run-sheet.csv": _filled_sheet(sealed),
        "run-sheet.html": sealed.run_sheet_html(),
    }


def _trial_text() -> str:
    """Make four trial runs of each condition, before the plan."""
    order = drawn_order(orders_for("blocks-of-four", 8), f"{_SEED}|trial")
    table = simulate_table(_BENCH, order, np.random.default_rng(129), conditions=("arc in", "arc out"))
    return _INVENTED + format_table(table)


def _filled_sheet(sealed: PlanResult) -> str:
    """Make the planned runs and write their times into the sheet."""
    times = iter(simulate_times(_BENCH, sealed.plan.signs, np.random.default_rng(1)))
    lines = sealed.run_sheet_csv().splitlines()
    filled = [line.replace(",,", f",{next(times):.1f},", 1) if line[:1].isdigit() else line for line in lines]
    return _INVENTED + "\n".join(filled) + "\n"
