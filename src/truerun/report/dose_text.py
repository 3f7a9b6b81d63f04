"""A dose series as plain text: when it is sealed, and what it says."""

from __future__ import annotations

import math

import numpy as np

from truerun.report.layout import rows_text, wrapped
from truerun.report.noticed import findings_text
from truerun.trial.dose import Dosed, DosePlan, Trend, require_trend_can_decide
from truerun.trial.phrases import count_words, percent
from truerun.trial.seal import Seal, spoken

__all__ = ["dose_plan_text", "dose_text"]


def dose_plan_text(plan: DosePlan, seal: Seal) -> str:
    """Write what a sealed dose series holds.

    Parameters
    ----------
    plan : DosePlan
        Sealed.
    seal : Seal
        Its fingerprint.

    Returns
    -------
    str
    """
    say = (
        "The series is sealed. Tell this code to somebody who will remember the day; a code that only you hold proves "
        "nothing about the date."
    )
    code = "\n".join(f"    {group}   {spoken(group)}" for group in seal.code.split())
    orders = require_trend_can_decide(len(plan.doses), plan.repeats, plan.alpha)
    doses = ", ".join(f"{dose:g}" for dose in plan.doses)
    rows = [
        ("Runs", f"{len(plan.order)}: {doses} {plan.unit}s in {plan.repeats} rounds, each round in a new order"),
        (
            "Empty places",
            "dummies of the same mass and shape" if plan.dummies else "left empty: mind what that changes",
        ),
        ("Orders that could be drawn", count_words(orders)),
        ("False alarms, at most", percent(plan.alpha)),
    ]
    return "\n\n".join([wrapped(say), code, rows_text(rows)])


def dose_text(result: Dosed) -> str:
    """Write what a dose series says.

    Parameters
    ----------
    result : Dosed
        As it stands.

    Returns
    -------
    str
    """
    parts = [result.headline, wrapped(result.sentence)]
    if result.trend is not None:
        parts.append(rows_text([*_dose_rows(result), *_trend_rows(result, result.trend)]))
    if result.findings:
        parts.append(findings_text(result.findings))
    return "\n\n".join(parts)


def _dose_rows(result: Dosed) -> list[tuple[str, str]]:
    """Give the mean of every dose as measured."""
    measurand, doses = result.rules.measurand, np.array(result.doses)
    rows = []
    for dose in sorted(set(result.doses)):
        mean = measurand.sign * float(result.y[doses == dose].mean())
        mean = math.exp(mean) if measurand.scale == "log" else mean
        runs = int((doses == dose).sum())
        unit = f"\N{NO-BREAK SPACE}{measurand.unit}" if measurand.unit else ""
        words = f"{runs} run" + "s" * (runs > 1)
        rows.append((f"{dose:g} {result.rules.unit}" + "s" * (dose != 1), f"{mean:.4g}{unit} on average, {words}"))
    return rows


def _trend_rows(result: Dosed, trend: Trend) -> list[tuple[str, str]]:
    """Give luck and what was adjusted for."""
    rows = [("Adjusted for", "run number"), ("Runs", f"{result.done} of {result.planned}")]
    if trend.p is None:
        return rows
    drawn = " drawn by lot" if trend.sampled else ""
    luck = f"{round(trend.p * trend.orders)} of {count_words(trend.orders)} orders{drawn} (p = {trend.p:.4g})"
    return [("Luck alone does this in", luck), *rows]
