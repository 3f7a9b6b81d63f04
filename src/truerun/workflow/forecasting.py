"""What a plan could find and how long it would take, before anything is drawn or sealed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.report.layout import minutes_text
from truerun.trial.phrases import count_words, percent
from truerun.trial.planning import Prospect, Schedule
from truerun.workflow.planning import make_plan, request_from

__all__ = ["Forecasted", "Reach", "forecast", "reach_of"]

_ONE_PERCENT = 0.01
_OF_A_PLAN = frozenset(
    ("spread", "pilot_spread", "pilot_runs", "run_minutes", "sitting_minutes", "spare_blocks", "look_after")
)
"""What sizes and sets are compared without."""

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
            "chance": None if self.chance is None else f"in {round(10 * self.chance)} tests of 10",
        }


@dataclass(frozen=True, slots=True)
class Reach:
    """What a number of runs in a set of orders can do, whatever the spread; ``why`` it cannot decide, else empty.

    ``spreads`` is the effect on ln T that is found in 8 tests of 10, in run-to-run spreads; ``orders`` how many could
    be drawn, ``luck`` how many of them split as clean as a perfect one.
    """

    runs: int
    spreads: float = math.nan
    orders: int = 0
    luck: int = 0
    why: str = ""

    def finds(self, spread: float) -> float:
        """Give the share of the losses that is found in 8 tests of 10, at a spread of ln T."""
        return -math.expm1(-self.spreads * spread)


def reach_of(values: Mapping[str, Any], runs: int, orders: str) -> Reach:
    """Say what other sizes and sets of a plan could do; what is measured scatters by the spread, so it only scales.

    Parameters
    ----------
    values : mapping
        As for :func:`forecast`.
    runs, orders
        In place of those of the plan.

    Returns
    -------
    Reach

    Examples
    --------
    >>> said = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed"}
    >>> found = reach_of(said, 12, "blocks-of-four")
    >>> found.orders, found.luck, round(found.spreads, 1)
    (216, 2, 1.9)
    >>> reach_of(said, 8, "blocks-of-four").orders
    0
    """
    asked = {key: value for key, value in values.items() if key not in _OF_A_PLAN}
    asked |= {"runs": runs, "orders": orders, "spread": _ONE_PERCENT}
    try:
        ahead = make_plan(request_from(asked), seed=_NO_SEED, identity="forecast", made=_NO_DAY).prospect
    except (PlanBroken, ValueOutOfRange) as error:
        return Reach(runs, why=str(error))
    luck = round(ahead.smallest_p * ahead.orders)
    return Reach(runs, -math.log1p(-ahead.finds) / ahead.spread, ahead.orders, luck)


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
