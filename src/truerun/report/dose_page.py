"""A dose series as a page: whether more of the source does more."""

from __future__ import annotations

import math
from typing import Any

from truerun.charts.dose import draw_dosed, shown_of_dose
from truerun.charts.drawing import Width
from truerun.charts.screening import reading_of_measurand
from truerun.report.json_text import json_text
from truerun.report.pictures import picture_of
from truerun.report.plan_words import end_words
from truerun.report.several_page import Pairs, Section, SeveralPage, checks_of
from truerun.trial.dose import Dosed, Trend
from truerun.trial.phrases import chance, percent
from truerun.trial.seal import seal_of

__all__ = ["dose_said"]


def dose_said(result: Dosed, document: dict[str, Any] | None = None, *, invented: bool = False) -> SeveralPage:
    """Give all that a page of a dose series says.

    Parameters
    ----------
    result : Dosed
        Finished, or covered: then there are counts only.
    document : dict, optional
        The result as plain data, to be enclosed.
    invented : bool
        Whether the runs never took place; the page then says so first.

    Returns
    -------
    SeveralPage
    """
    rules, trend = result.rules, result.trend
    plan = rules.plan
    counts: Pairs = (("Runs done", f"{result.done}"), ("Planned in all", f"{result.planned}"))
    return SeveralPage(
        kind=f"more and less: number of {_plural(rules.unit)}",
        tag=f"Decided by the rule sealed on {plan.made[:10]}, before run 1" if plan else "There is no sealed plan.",
        headline=result.headline,
        lede=result.sentence,
        claim=plan.claim if plan else None,
        figure_tag="Trend",
        figure=_size(result, trend.slope) if trend else None,
        figure_words=f"for each {rules.unit}" if trend else "",
        keys=_keys(result, trend) if trend else counts,
        picture=picture_of(lambda width: draw_dosed(result, width)),
        sections=tuple(_sections(result)) if trend else (_plan(result),),
        checks=checks_of(result.findings),
        seal=seal_of(plan) if plan else None,
        sealed=f"Series made {plan.made.replace('T', ' ').replace('Z', ' UTC')}." if plan else "",
        document=json_text(document) if document is not None and trend else None,
        invented=invented,
    )


def _keys(result: Dosed, trend: Trend) -> Pairs:
    """Give the few figures that stand beside the headline."""
    most, doses = max(result.doses), sorted(set(result.doses))
    rows = [
        ("Between", _between(result, trend)),
        ("Runs", f"{result.done}"),
        (f"Numbers of {_plural(result.rules.unit)}", ", ".join(f"{dose:g}" for dose in doses)),
        (f"{most:g} of them, by the trend", _size(result, trend.slope * most)),
    ]
    if trend.p is not None:
        lot = " drawn by lot" if trend.sampled else ""
        rows.append(("Luck alone does this in", f"{chance(trend.p, trend.orders)} orders{lot}"))
    return tuple(rows)


def _between(result: Dosed, trend: Trend) -> str:
    """Write the span for one unit."""
    if trend.low is None and trend.high is None:
        return "no span"
    measurand = result.rules.measurand
    ends = [None if end is None else shown_of_dose(measurand, end) for end in (trend.low, trend.high)]
    if measurand.scale == "linear" and measurand.sign < 0:
        ends.reverse()
    write = reading_of_measurand(measurand).write
    return " and ".join("open" if end is None else write(end) for end in ends)


def _sections(result: Dosed) -> list[Section]:
    """Give the parts of the page below the picture."""
    many = _plural(result.rules.unit)
    drawing = draw_dosed(result, Width.WIDE)
    parts = [
        Section(
            "What a trend tells, and what not",
            words=(
                (
                    f"If more {many} do more, step by step, it is hard to blame the bench, the launch or the clock: "
                    f"these know nothing of the number of {many}. But a trend says that the {many} do it, not how. "
                    "Iron or copper near the rim would give the same."
                ),
                (
                    "What moved steadily from the first run to the last is taken off first. "
                    + (
                        "The order drawn by lot keeps the rest from favouring any number."
                        if result.rules.orders
                        else "Nothing keeps the rest from favouring some numbers: nobody said that the order was drawn."
                    )
                ),
            ),
        )
    ]
    if drawing is not None:
        parts.append(
            Section(
                f"Every number of {many}",
                caption=f"Against no {many}, with the trend and its span",
                columns=drawing.columns,
                rows=drawing.rows,
            )
        )
    return [*parts, _runs(result), _plan(result)]


def _runs(result: Dosed) -> Section:
    """Give every run as it counts, in the order that was drawn."""
    measurand = result.rules.measurand
    unit = f" [{measurand.unit}]" if measurand.unit else ""
    back = [measurand.sign * float(value) for value in result.y]
    values = [math.exp(value) for value in back] if measurand.scale == "log" else back
    decimals = max(0, 3 - math.floor(math.log10(max(map(abs, values)) or 1.0)))
    return Section(
        "Every run, in the order drawn" if result.rules.orders else "Every run, in the order it was made",
        caption="Every run as it counts",
        columns=("Run", f"Number of {_plural(result.rules.unit)}", f"{measurand.name}{unit}"),
        rows=tuple(
            (str(slot), f"{dose:g}", f"{value:.{decimals}f}".replace("-", "\N{MINUS SIGN}"))
            for slot, (dose, value) in enumerate(zip(result.doses, values, strict=True), 1)
        ),
    )


def _plan(result: Dosed) -> Section:
    """Give what was sealed, or what was stated."""
    rules, plan = result.rules, result.rules.plan
    different = len(set(result.doses))
    drawn = {"rounds": "in rounds, each number once a round", "any": "any arrangement", None: "nobody said how"}
    rows = [
        ("Runs", f"{result.planned} of {different} numbers of {_plural(rules.unit)}"),
        ("Order", f"{drawn[rules.orders]}{', drawn by lot and sealed' if plan else ', as stated'}"),
        ("A run is timed", end_words(rules.end, None, None)),
        ("Empty places", "dummies of the same mass and shape" if rules.dummies else "left empty"),
        ("False alarms allowed", percent(rules.alpha)),
    ]
    if plan is not None and plan.note:
        rows.append(("Written down with it", plan.note))
    return Section("What was sealed" if plan else "What was stated", pairs=tuple(rows))


def _size(result: Dosed, size: float) -> str:
    """Write a size on the adding scale as a reader wants it."""
    measurand = result.rules.measurand
    return reading_of_measurand(measurand).write(shown_of_dose(measurand, size))


def _plural(unit: str) -> str:
    """Give the plural of a word such as magnet."""
    return unit if unit.endswith("s") else f"{unit}s"
