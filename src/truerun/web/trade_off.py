"""How runs, spread, set of orders, detectable drive and time of day trade off, as rows beside the plan maker."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from truerun.errors import TruerunError
from truerun.report.layout import minutes_text
from truerun.report.plan_words import ORDER_SETS
from truerun.trial.phrases import count_words, percent
from truerun.trial.planning import upper_spread
from truerun.web.forms import Form
from truerun.workflow.forecasting import Reach
from truerun.workflow.planning import SPREAD_WITHOUT_TRIAL, request_from

__all__ = ["SIZES", "begin_of", "clock", "planned_spread", "set_row", "size_row", "stop_words"]

SIZES = (8, 12, 16, 20, 24, 32)
"""Numbers of runs that are compared."""

_CLOCK = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)")
_DAY = 24 * 60
_TRIAL_RUNS = 8
"""As many trial runs are taken for granted where their number was not said."""


def begin_of(form: Form) -> int | None:
    """Read the time of day at which somebody would begin [min after midnight]; what cannot be read is kept as trouble.

    Examples
    --------
    >>> begin_of(Form({"begin": "18:30"}))
    1110
    """
    if not form["begin"]:
        return None
    found = _CLOCK.fullmatch(form["begin"])
    if found is None:
        form.troubles["begin"] = f"“{form['begin']}” is no time of day. Write it as 18:30."
        return None
    return 60 * int(found[1]) + int(found[2])


def clock(minutes: float) -> str:
    """Write a time of day; what is past midnight is said.

    Examples
    --------
    >>> clock(1110), clock(1500.4)
    ('18:30', '01:00 the next day')
    """
    whole = round(minutes)
    said = f"{whole % _DAY // 60:02d}:{whole % 60:02d}"
    return said if whole < _DAY else f"{said} the next day"


def planned_spread(values: Mapping[str, Any]) -> float:
    """Give the spread of ln T that a plan reckons with."""
    if values.get("spread") is not None:
        return float(values["spread"])
    if values.get("pilot_spread") is None:
        return SPREAD_WITHOUT_TRIAL
    freedom = max((values.get("pilot_runs") or _TRIAL_RUNS) - 2, 1)
    return upper_spread(float(values["pilot_spread"]), freedom)


def _minutes(values: Mapping[str, Any], runs: int) -> float | None:
    """Give the bench time of so many runs in one sitting, None where the length of a run was not said."""
    each = values.get("run_minutes")
    if each is None:
        return None
    return _warm_up(values) + runs * (float(each) + float(values.get("change_minutes", 2.0)))


def _warm_up(values: Mapping[str, Any]) -> float:
    """Give the time of the warm-up launches of a sitting [min]."""
    return float(values.get("warm_up_launches", 3)) * float(values["run_minutes"])


def size_row(values: Mapping[str, Any], reach: Reach, spread: float, begins: int | None) -> dict[str, Any]:
    """Say what a number of runs finds, how long it takes, and when it would be done."""
    minutes = _minutes(values, reach.runs)
    done = None if minutes is None or begins is None else clock(begins + minutes)
    return {
        "chosen": reach.runs == values.get("runs"),
        "cells": [
            f"{reach.runs // 2} + {reach.runs // 2}",
            "cannot decide" if reach.why else percent(reach.finds(spread)),
            "" if minutes is None else minutes_text(minutes),
            done or "",
        ],
    }


def set_row(values: Mapping[str, Any], reach: Reach, spread: float, orders: str) -> dict[str, Any]:
    """Say what a set of orders can do with the number of runs that was chosen."""
    can = "cannot decide with these runs"
    if not reach.why:
        can = f"finds {percent(reach.finds(spread))}" + (", could decide at 99 % too" if _at_one_percent(reach) else "")
    return {
        "chosen": orders == values.get("orders"),
        "cells": [
            ORDER_SETS[orders],
            count_words(reach.orders) if reach.orders else "",
            f"{reach.luck} of {count_words(reach.orders)}" if reach.orders else "",
            can,
        ],
    }


def _at_one_percent(reach: Reach) -> bool:
    """Tell whether a perfect split would be rarer than one in a hundred."""
    return reach.luck <= 0.01 * reach.orders


def stop_words(values: Mapping[str, Any], begins: int | None) -> str:
    """Name the best places to stop, with the time of day; empty where it is not known."""
    if begins is None or values.get("run_minutes") is None:
        return ""
    try:
        asked = request_from(values)
    except TruerunError:
        return ""
    block = {"blocks-of-four": 4, "abba-blocks": 4, "pairs": 2}.get(asked.orders)
    if block is None:
        return "With this set of orders a break belongs after the last run."
    each = float(values["run_minutes"]) + asked.change_minutes
    places = range(max(block, 4), asked.runs + 1, max(block, 4))
    said = [f"run {slot} ({clock(begins + _warm_up(values) + slot * each)})" for slot in places]
    return f"Best places to stop, in one sitting: after {', '.join(said)}."
