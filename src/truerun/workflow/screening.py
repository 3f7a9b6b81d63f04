"""Screening many variants: drawing and sealing the order, and naming a candidate at the end.

Pages and pictures are imported where a result is shown as one: templates and drawings would double the time of a cold
start.
"""

from __future__ import annotations

import math
import secrets
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.report.screening_text import screening_plan_text, screening_text
from truerun.trial.plan import End, Measurand
from truerun.trial.planning import runs_that_find
from truerun.trial.rounds import drawn_settings
from truerun.trial.screening import Screened, ScreeningPlan, screen_runs
from truerun.trial.seal import seal_of
from truerun.workflow.comparing import one_of
from truerun.workflow.results import SeveralResult
from truerun.workflow.rounds import SHEET, SealedRounds, is_folder, read_sealed_rounds, read_settings_table, sheet_text
from truerun.workflow.small_texts import read_small_text
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.several_page import SeveralPage

__all__ = ["PLAN", "ScreeningPlanResult", "ScreeningResult", "plan_screening", "read_variants", "screen"]

PLAN = "screening.json"
_FEWEST = 4


@dataclass(frozen=True, slots=True, repr=False)
class ScreeningPlanResult(SealedRounds[ScreeningPlan]):
    """A sealed screening; it can show itself."""

    def __repr__(self) -> str:
        return f"<screening: {len(self.plan.variants)} variants, {len(self.plan.order)} runs, sealed {self.seal.code}>"

    def summary(self) -> str:
        """Give the plan as plain text."""
        return screening_plan_text(self.plan, self.seal)

    def run_sheet_csv(self) -> str:
        """Give the run sheet to fill in."""
        heading = self.plan.looking_for or f"Screening of {len(self.plan.variants)} variants"
        return sheet_text(heading, self.seal, self.plan.order, self.plan.measurand, self.plan.repeats)


@dataclass(frozen=True, slots=True, repr=False)
class ScreeningResult(SeveralResult):
    """A screening as it stands; it can show itself."""

    screened: Screened

    def __repr__(self) -> str:
        return f"<screening: {self.screened.headline}>"

    @property
    def candidate(self) -> str | None:
        """The variant worth a fresh test, None if there is none."""
        return self.screened.candidate

    @property
    def stopped(self) -> bool:
        """Whether only counts may be shown yet."""
        return self.screened.figures is None

    def summary(self) -> str:
        """Give the screening as plain text."""
        return screening_text(self.screened, self.runs_needed())

    def document(self) -> dict[str, Any]:
        """Give the screening as plain data, schema ``truerun/screening-result/1``."""
        return self.screened.document() | {
            "fresh_test": self.fresh_test() if self.candidate else None,
            "runs_needed": self.runs_needed(),
            "versions": versions(),
        }

    def _said(self, document: dict[str, Any] | None, *, invented: bool) -> SeveralPage:
        """Give what the page says; the document is enclosed where there is one."""
        from truerun.report.screening_page import screening_said  # noqa: PLC0415  see the head of this module

        return screening_said(self.screened, self.runs_needed(), document, invented=invented)

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.charts.screening import draw_screened  # noqa: PLC0415  see the head of this module

        drawn = draw_screened(self.screened)
        return () if drawn is None else (drawn,)

    def runs_needed(self) -> dict[str, int | None] | None:
        """Give how many runs find what can be expected, and what was shown, in 8 tests of 10.

        None if there is no candidate; a number is None beyond 32 + 32 runs.
        """
        figures = self.screened.figures
        if figures is None or self.candidate is None or self.screened.plan.measurand.scale == "linear":
            return None
        sizes = {"expected": figures.worth.expected, "shown": figures.worth.shown}
        return {
            name: runs_that_find(-math.expm1(-size), "blocks-of-four", 0.05, figures.spread)
            for name, size in sizes.items()
        }

    def fresh_test(self) -> dict[str, Any]:
        """Give what a plan takes over for the fresh, sealed test of the candidate: keys of a plan request.

        ``control`` is there only where the screening names one; else say what the candidate is to be compared with.

        Raises
        ------
        PlanBroken
            If there is no candidate.
        """
        plan, figures = self.screened.plan, self.screened.figures
        if self.candidate is None or figures is None:
            raise PlanBroken("A fresh test needs a candidate", "there is none", "Screen other variants.")
        measurand = plan.measurand
        values: dict[str, Any] = {
            "claim": f"With {self.candidate} it does better than with {plan.control or 'the others'}.",
            "source": self.candidate,
            "control": plan.control,
            "end": plan.end.value,
            "measure": measurand.name,
            "scale": measurand.scale,
            "less_is_more": measurand.sign < 0,
            "unit": measurand.unit,
            "pilot_spread": figures.spread,
            "pilot_runs": figures.df + 2,
            "main_test": plan.id,
            "note": f"Candidate of a screening of {len(plan.variants)} variants, seal {seal_of(plan).code}. "
            "None of its runs counts here.",
        }
        return {key: value for key, value in values.items() if value is not None and value is not False}


def read_variants(path: Path) -> list[str]:
    """Read a list of variants from a file of text: one a line; empty lines and lines that start with # are skipped.

    Raises
    ------
    RecordingUnreadable
        If the file cannot be read as text.
    """
    lines = read_small_text(path, "Give a file of text with one variant a line.").splitlines()
    stripped = (line.strip() for line in lines)
    return [line for line in stripped if line and not line.startswith("#")]


def plan_screening(
    variants: Sequence[str],
    repeats: int = 2,
    *,
    end: str,
    control: str | None = None,
    looking_for: str | None = None,
    measure: str = "time",
    scale: str = "log",
    unit: str | None = "s",
    less_is_more: bool = False,
    level: float = 0.2,
    note: str | None = None,
    seed: str | None = None,
    identity: str | None = None,
    made: datetime | None = None,
) -> ScreeningPlanResult:
    """Draw the order of a screening by lot and seal it.

    Parameters
    ----------
    variants : sequence of str
        At least four different names.
    repeats : int
        Runs of each, 2 to 20: with one run nothing tells a variant from its place in time.
    end : {"speed", "turns", "standstill"}
        What ends a run.
    control : str, optional
        The variant that is the control, for the fresh test (and for a comparison after Holm).
    looking_for : str, optional
        What is looked for, in words.
    measure, scale, unit, less_is_more
        As for :func:`truerun.workflow.comparing.compare`.
    level : float
        Share of screenings of equal variants that may name a candidate.
    note : str, optional
        Anything else that is to be sealed.
    seed, identity, made
        Of the draw, of the screening, and now; made up where they are not given.

    Returns
    -------
    ScreeningPlanResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Examples
    --------
    >>> sealed = plan_screening([f"position {n}" for n in range(1, 25)], end="speed")
    >>> len(sealed.plan.order)
    48
    """
    names = tuple(" ".join(name.split()) for name in variants)
    control = " ".join(control.split()) if control is not None else None
    _require_screenable(names, repeats, control, level)
    drawn_from = (seed or secrets.token_hex(32)).strip()  # as it will be stored
    sealed = ScreeningPlan(
        id=identity or str(uuid.uuid4()),
        looking_for=looking_for,
        variants=names,
        control=control,
        repeats=repeats,
        measurand=Measurand(
            name=measure, scale=one_of("scale", scale, ("log", "linear")), sign=-1 if less_is_more else 1, unit=unit
        ),
        end=End(one_of("end", end, tuple(each.value for each in End))),
        level=level,
        seed=drawn_from,
        order=drawn_settings(drawn_from, names, repeats),
        made=(made or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        note=note,
    )
    return ScreeningPlanResult(sealed, seal_of(sealed))


def _require_screenable(names: tuple[str, ...], repeats: int, control: str | None, level: float) -> None:
    """Refuse a list or a number of repeats that could say nothing."""
    if not 2 <= repeats <= 20:
        remedy = "With one run of each, nothing tells a variant from its place in time." if repeats < 2 else ""
        raise ValueOutOfRange("The number of runs of each variant", repeats, "2 to 20", remedy)
    if len(names) < _FEWEST:
        raise ValueOutOfRange(
            "The number of variants",
            len(names),
            f"at least {_FEWEST}",
            "For one or two, plan a test with truerun plan.",
        )
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ValueOutOfRange("The list of variants", f'with "{twice}" twice', "one of different names")
    if control is not None and control not in names:
        raise ValueOutOfRange("The control", f'"{control}"', "one of the variants", "Add it to the list.")
    if not 0 < level < 0.5:
        raise ValueOutOfRange("The level", f"{level:g}", "above 0 and below 0.5", "Give 0.2 for 20 %.")


def screen(
    table: Any,
    plan: Any = None,
    *,
    holm: bool = False,
    code: str | None = None,
    decimal: str | None = None,
) -> ScreeningResult:
    """Say what a screening shows: a candidate for a fresh test, or none; never a verdict.

    Parameters
    ----------
    table : folder, path, data frame, mapping of columns, or RunTable
        The filled-in sheet; or the folder that holds it beside its plan.
    plan : path or mapping, optional
        The sealed screening, where ``table`` is not the folder.
    holm : bool
        Compare every variant with the sealed control as well, corrected for their number after Holm. Weaker than a
        fresh test.
    code : str, optional
        Spoken code that the screening must have.
    decimal : {".", ","}, optional
        Decimal sign of the table, where it cannot be told.

    Returns
    -------
    ScreeningResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.
    """
    if plan is None:
        if not is_folder(table):
            raise PlanBroken("A screening needs its sealed plan", "none was given", "Give the folder that holds both.")
        plan, table = Path(table) / PLAN, Path(table) / SHEET
    sealed = read_sealed_rounds(plan, ScreeningPlan, "truerun screening", code)
    read = read_settings_table(table, sealed.plan.measurand.name, decimal)
    return ScreeningResult(screen_runs(read, sealed.plan, against_control=holm))
