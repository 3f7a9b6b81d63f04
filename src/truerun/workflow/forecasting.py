"""What a plan could find and how long it would take, before anything is drawn or sealed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from truerun.report.layout import minutes_text
from truerun.trial.phrases import count_words, percent
from truerun.trial.planning import Prospect, Schedule
from truerun.workflow.planning import make_plan, request_from

__all__ = ["Forecasted", "forecast"]

_NO_SEED = "a forecast draws nothing"
_NO_DAY = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Forecasted:
    """What a plan can find, how long it takes (None: the length of a run was not said), and its chance."""

    runs: int
    prospect: Prospect
    schedule: Schedule | None
    chance: float | None

    def document(self) -> dict[str, Any]:
        """Give the figures as a reader sees them; what is not known is None."""
        ahead = self.prospect
        return {
            "runs": f"{self.runs // 2} + {self.runs // 2}",
            "orders": count_words(ahead.orders),
            "finds": percent(ahead.finds),
            "finds_surely": percent(ahead.finds_surely),
            "spread": percent(ahead.spread),
            "false_alarms": percent(ahead.false_alarms),
            "time": None if self.schedule is None else minutes_text(self.schedule.minutes),
            "sittings": None if self.schedule is None else self.schedule.sittings,
            "chance": None if self.chance is None else f"{min(round(10 * self.chance), 10)} of 10",
        }


def forecast(values: Mapping[str, Any]) -> Forecasted:
    """Forecast a plan.

    Parameters
    ----------
    values : mapping
        Keys of :class:`truerun.workflow.planning.PlanRequest`.

    Returns
    -------
    Forecasted

    Raises
    ------
    PlanBroken
        If the plan could not decide.
    ValueOutOfRange
        If a value does not fit.

    Examples
    --------
    >>> said = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed", "spread": 0.0154}
    >>> forecast(said | {"run_minutes": 5}).document()["time"]
    '2 h 07 min'
    """
    made = make_plan(request_from(values), seed=_NO_SEED, identity="forecast", made=_NO_DAY)
    return Forecasted(made.plan.runs, made.prospect, made.schedule, made.chance)
