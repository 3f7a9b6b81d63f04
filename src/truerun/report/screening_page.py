"""A screening as a page: a candidate for a fresh test, or none, and never a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from truerun.charts.screening import draw_screened, reading_of_measurand, size_shown
from truerun.findings.several_words import SCREENING_WORDS
from truerun.report.json_text import json_text
from truerun.report.pictures import picture_of
from truerun.report.plan_words import end_words
from truerun.report.several_page import Pairs, Section, SeveralPage, checks_of
from truerun.trial.phrases import count_words
from truerun.trial.screening import Screened, ScreeningFigures
from truerun.trial.seal import seal_of

__all__ = ["screening_said"]

Needed = Mapping[str, int | None]


def screening_said(
    result: Screened,
    runs_needed: Needed | None = None,
    document: dict[str, Any] | None = None,
    *,
    invented: bool = False,
) -> SeveralPage:
    """Give all that a page of a screening says.

    Parameters
    ----------
    result : Screened
        Finished, or covered: then there are counts only.
    runs_needed : mapping, optional
        Runs that find what can be expected, and what was shown, in 8 tests of 10; None beyond 32 + 32.
    document : dict, optional
        The result as plain data, to be enclosed.
    invented : bool
        Whether the runs never took place; the page then says so first.

    Returns
    -------
    SeveralPage
    """
    needed = runs_needed or {}
    plan, figures = result.plan, result.figures
    made = plan.made.replace("T", " ").replace("Z", " UTC")
    return SeveralPage(
        kind=f"screening of {len(plan.variants)} variants",
        tag=f"Screening sealed on {plan.made[:10]}, before run 1. It names what is worth a test and decides nothing.",
        headline=result.headline,
        lede=result.sentence,
        claim=plan.looking_for,
        claim_tag="Looked for",
        figure_tag=f"To expect of {plan.variants[figures.best]}" if figures else "",
        figure=_size(result, figures.worth.expected) if figures else None,
        figure_words=f"after taking off what luck gives the best of {len(plan.variants)}" if figures else "",
        keys=_keys(result, figures, needed) if figures else _counts(result),
        picture=picture_of(lambda width: draw_screened(result, width)),
        sections=tuple(_sections(result, figures)) if figures else (_plan(result),),
        checks=checks_of(result.findings),
        seal=seal_of(plan),
        sealed=f"Screening made {made}.",
        document=json_text(document) if document is not None and figures else None,
        invented=invented,
    )


def _counts(result: Screened) -> Pairs:
    """Give what may be said before the last run."""
    return (("Runs done", f"{result.done}"), ("Planned in all", f"{len(result.plan.order)}"))


def _keys(result: Screened, figures: ScreeningFigures, needed: Needed) -> Pairs:
    """Give the few figures that stand beside the headline."""
    worth, count = figures.worth, len(result.variants)
    ranked = sorted(result.variants, key=lambda each: -each.mean)
    words = {"expected": "what can be expected", "shown": "as much as was seen"}
    return (
        ("As seen", _size(result, worth.shown)),
        (f"Next best, {ranked[1].name}", _size(result, ranked[1].mean)),
        (f"Luck alone, best of {count}", _size(result, worth.luck)),
        ("Spread from run to run", _size(result, figures.spread).lstrip("+")),
        *(
            (f"To find {words[key]}", f"{runs // 2} + {runs // 2} runs" if runs else "more than 32 + 32 runs")
            for key, runs in needed.items()
        ),
    )


def _sections(result: Screened, figures: ScreeningFigures) -> list[Section]:
    """Give the parts of the page below the picture."""
    parts = [_why(result, figures), _next(result), _variants(result, figures)]
    if result.against:
        parts.append(_against(result))
    return [*parts, _runs(result), _plan(result)]


def _why(result: Screened, figures: ScreeningFigures) -> Section:
    """Say why less can be expected than was seen."""
    worth, count = figures.worth, len(result.variants)
    seen, expected = _size(result, worth.shown), _size(result, worth.expected)
    kept, luck = round(100 * worth.factor), _size(result, worth.luck)
    return Section(
        f"Why {seen} becomes {expected}",
        words=(
            (
                "The best of many is picked because it looks best, and luck helped it there. How much of a difference "
                "comes back next time is read from how well the runs of one variant agree, against how far the "
                "variants lie apart."
            ),
            (
                f"Here {kept} of every 100 parts can be expected to be there next time; the rest is luck. If all "
                f"variants were equal, the best of {count} would still stand at about {luck}."
            ),
        ),
    )


def _next(result: Screened) -> Section:
    """Say what to do next."""
    if result.candidate is None:
        return Section("What comes next", words=("No fresh test follows from this. Screen other variants, or stop.",))
    return Section(
        "What comes next",
        words=(
            (
                f"A fresh, sealed test of {result.candidate} alone. None of these {len(result.plan.order)} runs counts "
                "in it. Until then nobody knows whether it is better."
            ),
        ),
    )


def _variants(result: Screened, figures: ScreeningFigures) -> Section:
    """Give every variant, the best first."""
    ranked = sorted(result.variants, key=lambda each: -each.mean)
    return Section(
        "Every variant, the best first",
        words=("Against the mean of all; up is more drive. What drifted along within each round is taken off first.",),
        caption="Every variant with what can be expected of it",
        columns=("Variant", "As seen", "To expect", "Its runs"),
        rows=tuple(
            (
                each.name,
                _size(result, each.mean),
                _size(result, figures.worth.factor * each.mean),
                ", ".join(_size(result, run) for run in each.runs),
            )
            for each in ranked
        ),
    )


def _against(result: Screened) -> Section:
    """Give every variant against the control, corrected for their number."""
    ranked = sorted(result.against, key=lambda each: (each.p, -each.difference))
    said = SCREENING_WORDS["weaker"].format(count=len(ranked), control=f'"{result.plan.control}"')
    return Section(
        f'Against "{result.plan.control}"',
        words=(said, "Holm's p: how often luck alone would do as much for any of them; below 0.05 is rare."),
        caption="Every variant against the control",
        columns=("Variant", "Difference", "Holm's p"),
        rows=tuple((each.name, _size(result, each.difference), f"{each.p:.3g}") for each in ranked),
    )


def _runs(result: Screened) -> Section:
    """Give every run in the order that was drawn."""
    plan, left = result.plan, {each.name: list(each.runs) for each in result.variants}
    around = len(plan.variants)
    rows = tuple(
        (str(slot), str((slot - 1) // around + 1), name, _size(result, left[name].pop(0)))
        for slot, name in enumerate(plan.order, 1)
    )
    return Section(
        "Every run, in the order drawn",
        caption="Every run, in the order drawn by lot",
        columns=("Run", "Round", "Variant", "Against the mean of all"),
        rows=rows,
        in_words=3,
    )


def _plan(result: Screened) -> Section:
    """Give what was sealed."""
    plan, figures = result.plan, result.figures
    rows = [
        ("Runs", f"{len(plan.order)}: {len(plan.variants)} variants in {plan.repeats} rounds, each in a new order"),
        ("A run is timed", end_words(plan.end, None, None)),
        ("Compared with", plan.control or "the mean of all variants"),
        ("A candidate by luck alone", f"in at most {100 * plan.level:g} of 100 screenings of equal variants"),
    ]
    if figures is not None:
        lot = ", drawn by lot from all" if figures.sampled else ""
        rows.append(("Orders looked at", f"{count_words(figures.orders)}{lot}"))
    if plan.note:
        rows.append(("Written down with it", plan.note))
    return Section("What was sealed", pairs=tuple(rows))


def _size(result: Screened, size: float) -> str:
    """Write a size on the adding scale as a reader wants it."""
    measurand = result.plan.measurand
    return reading_of_measurand(measurand).write(size_shown(measurand, size))
