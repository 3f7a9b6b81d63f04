"""An invented screening: twelve places of the arc round the rim, two runs each, of which none does anything."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from truerun.virtual.bench import Bench, Watch
from truerun.virtual.tables import simulate_times
from truerun.workflow.rounds import SHEET
from truerun.workflow.screening import PLAN, ScreeningPlanResult, plan_screening

__all__ = ["demonstration_screening"]

_SEED = "invented screening of the rim arc"
_IDENTITY = "00000000-0000-4000-8000-000000000012"
_MADE = datetime(2026, 3, 7, 9, 0, tzinfo=UTC)
_BENCH = Bench(mean_time=159.7, drive_fraction=0.0, spread=0.0125, watch=Watch(0.0, 0.1))


def demonstration_screening() -> dict[str, str]:
    """Give the files of a folder that ``truerun screening`` reads: the sealed list and the filled-in sheet.

    Returns
    -------
    dict
        Text by name. The times come from the virtual bench, in which the places make no difference at all.

    Examples
    --------
    >>> sorted(demonstration_screening())
    ['run-sheet.csv', 'screening.json']
    """
    sealed = plan_screening(
        [f"arc at {hour} o'clock" for hour in range(1, 13)],
        end="speed",
        looking_for="a place at which the arc drives the wheel (invented)",
        note="An invented example; the times come from a virtual bench.",
        seed=_SEED,
        identity=_IDENTITY,
        made=_MADE,
    )
    return {PLAN: sealed.json(), SHEET: _filled(sealed)}


def _filled(sealed: ScreeningPlanResult) -> str:
    """Write the times into the sheet."""
    same = np.full(len(sealed.plan.order), -1, dtype=np.int8)
    times = iter(simulate_times(_BENCH, same, np.random.default_rng(12)))
    lines = sealed.run_sheet_csv().splitlines()
    filled = [line.replace(",,", f",{next(times):.1f},", 1) if line[:1].isdigit() else line for line in lines]
    return "# Invented: times from a virtual bench.\n" + "\n".join(filled) + "\n"
