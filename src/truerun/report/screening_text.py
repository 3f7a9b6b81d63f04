"""A screening as plain text: when it is sealed, and what it shows."""

from __future__ import annotations

import math

from truerun.findings.several_words import SCREENING_WORDS
from truerun.report.layout import rows_text, wrapped
from truerun.report.noticed import findings_text
from truerun.trial.phrases import measured, percent
from truerun.trial.screening import Screened, ScreeningFigures, ScreeningPlan
from truerun.trial.seal import Seal, spoken

__all__ = ["screening_plan_text", "screening_text"]


def screening_plan_text(plan: ScreeningPlan, seal: Seal) -> str:
    """Write what a sealed screening holds.

    Parameters
    ----------
    plan : ScreeningPlan
        Sealed.
    seal : Seal
        Its fingerprint.

    Returns
    -------
    str
    """
    count = len(plan.variants)
    say = (
        "The screening is sealed. It finds what is worth a test; it decides nothing: among "
        f"{count} one always looks best."
    )
    code = "\n".join(f"    {group}   {spoken(group)}" for group in seal.code.split())
    rows = [
        ("Runs", f"{len(plan.order)}: {count} variants in {plan.repeats} rounds, each round in a new order"),
        ("A candidate by luck alone", f"in at most {100 * plan.level:g} of 100 screenings of equal variants"),
        ("Compared with", plan.control or "the mean of all variants"),
    ]
    return "\n\n".join([wrapped(say), code, rows_text(rows)])


def screening_text(result: Screened, runs_needed: dict[str, int | None] | None = None) -> str:
    """Write what a screening shows; it never sounds like a verdict.

    Parameters
    ----------
    result : Screened
        As it stands.
    runs_needed : dict, optional
        Runs that find what can be expected, and what was shown, in 8 tests of 10; None beyond 32 + 32.

    Returns
    -------
    str
    """
    parts = [result.headline, wrapped(result.sentence)]
    if result.figures is not None:
        parts.append(rows_text(_figure_rows(result, result.figures, runs_needed or {})))
        parts.append(rows_text(_variant_rows(result)))
    if result.against:
        count, control = len(result.against), f'"{result.plan.control}"'
        rows = [
            (each.name, f"{_size(result, each.difference)}, p = {each.p:.3g}")
            for each in sorted(result.against, key=lambda each: (each.p, -each.difference))
        ]
        parts += [wrapped(SCREENING_WORDS["weaker"].format(count=count, control=control)), rows_text(rows)]
    if result.findings:
        parts.append(findings_text(result.findings))
    return "\n\n".join(parts)


def _figure_rows(
    result: Screened, figures: ScreeningFigures, runs_needed: dict[str, int | None]
) -> list[tuple[str, str]]:
    """Give what the best one is worth."""
    worth, name = figures.worth, result.plan.variants[figures.best]
    rows = [
        (f"To expect of {name}", _size(result, worth.expected)),
        ("As seen", f"{_size(result, worth.shown)}, against the mean of all"),
        (f"Luck alone, best of {len(result.plan.variants)}", _size(result, worth.luck)),
        ("Spread from run to run", _size(result, figures.spread).lstrip("+")),
    ]
    words = {"expected": "what can be expected", "shown": "as much as was seen"}
    for key, runs in runs_needed.items():
        half = f"{runs // 2} + {runs // 2} runs" if runs else "more than 32 + 32 runs"
        rows.append((f"To find {words[key]}", half))
    return rows


def _variant_rows(result: Screened) -> list[tuple[str, str]]:
    """Give every variant, the best first."""
    in_order = sorted(result.variants, key=lambda each: -each.mean)
    return [
        (each.name, f"{_size(result, each.mean)}   (runs {', '.join(_size(result, run) for run in each.runs)})")
        for each in in_order
    ]


def _size(result: Screened, size: float) -> str:
    """Write a drive fraction in percent, or a difference on a linear scale with its unit; up is more drive."""
    measurand = result.plan.measurand
    if measurand.scale == "log":
        return percent(-math.expm1(-size), signed=True)
    return measured(size, measurand.unit, signed=True)
