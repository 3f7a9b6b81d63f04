"""A dose series: drawing and sealing the order of the doses, and deciding on the trend at the end.

Pages and pictures are imported where a result is shown as one: templates and drawings would double the time of a cold
start.
"""

from __future__ import annotations

import secrets
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.report.dose_text import dose_plan_text, dose_text
from truerun.trial.dose import (
    Dosed,
    DosePlan,
    DoseRules,
    dose_name,
    dose_runs,
    require_trend_can_decide,
    rules_of_dose_plan,
)
from truerun.trial.plan import End, Measurand
from truerun.trial.rounds import drawn_settings
from truerun.trial.seal import seal_of
from truerun.workflow.comparing import one_of
from truerun.workflow.results import SeveralResult
from truerun.workflow.rounds import SHEET, SealedRounds, is_folder, read_sealed_rounds, read_settings_table, sheet_text
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.several_page import SeveralPage

__all__ = ["DosePlanResult", "DoseResult", "dose", "plan_dose"]

PLAN = "dose.json"


@dataclass(frozen=True, slots=True, repr=False)
class DosePlanResult(SealedRounds[DosePlan]):
    """A sealed dose series; it can show itself."""

    def __repr__(self) -> str:
        return f"<dose series: {len(self.plan.doses)} doses, {len(self.plan.order)} runs, sealed {self.seal.code}>"

    def summary(self) -> str:
        """Give the plan as plain text."""
        return dose_plan_text(self.plan, self.seal)

    def run_sheet_csv(self) -> str:
        """Give the run sheet to fill in."""
        heading = self.plan.claim or f"More and less: number of {self.plan.unit}s in each run under condition"
        return sheet_text(heading, self.seal, self.plan.order, self.plan.measurand, self.plan.repeats)


@dataclass(frozen=True, slots=True, repr=False)
class DoseResult(SeveralResult):
    """A dose series as it stands; it can show itself."""

    dosed: Dosed

    def __repr__(self) -> str:
        return f"<dose series: {self.dosed.headline}>"

    @property
    def stopped(self) -> bool:
        """Whether nothing could be decided: not a fair test, or counts only."""
        return self.dosed.direction is None

    def summary(self) -> str:
        """Give the series as plain text."""
        return dose_text(self.dosed)

    def document(self) -> dict[str, Any]:
        """Give the series as plain data, schema ``truerun/dose-result/1``."""
        return self.dosed.document() | {"versions": versions()}

    def _said(self, document: dict[str, Any] | None, *, invented: bool) -> SeveralPage:
        """Give what the page says; the document is enclosed where there is one."""
        from truerun.report.dose_page import dose_said  # noqa: PLC0415  see the head of this module

        return dose_said(self.dosed, document, invented=invented)

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.charts.dose import draw_dosed  # noqa: PLC0415  see the head of this module

        drawn = draw_dosed(self.dosed)
        return () if drawn is None else (drawn,)


def plan_dose(
    doses: Sequence[float],
    repeats: int = 3,
    *,
    end: str,
    unit: str = "magnet",
    dummies: bool = False,
    claim: str | None = None,
    measure: str = "time",
    scale: str = "log",
    measured_in: str | None = "s",
    less_is_more: bool = False,
    alpha: float = 0.05,
    main_test: str | None = None,
    note: str | None = None,
    seed: str | None = None,
    identity: str | None = None,
    made: datetime | None = None,
) -> DosePlanResult:
    """Draw the order of a dose series by lot and seal it.

    Parameters
    ----------
    doses : sequence of float
        Different numbers from 0 up, such as 0, 1, 2, 3, 6, 12 magnets; at least three.
    repeats : int
        Runs of each, 1 to 20.
    end : {"speed", "turns"}
        What ends a run. Not a stop: more magnets make a higher bump, which alone shortens such a time.
    unit : str
        One of what is counted or measured.
    dummies : bool
        Whether dummies of the same mass and shape, not magnetised, sit in the empty places.
    claim : str, optional
        What is claimed, in words.
    measure, scale, less_is_more
        As for :func:`truerun.workflow.comparing.compare`; ``measured_in`` is the unit of the measured quantity.
    alpha : float
        Share of false alarms allowed.
    main_test : str, optional
        Id of the test that it belongs to.
    note : str, optional
        Anything else that is to be sealed.
    seed, identity, made
        Of the draw, of the series, and now; made up where they are not given.

    Returns
    -------
    DosePlanResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Examples
    --------
    >>> plan_dose([0, 1, 2, 3, 6, 12], end="speed", dummies=True).plan.order[0] in {"0", "1", "2", "3", "6", "12"}
    True
    """
    given = tuple(float(each) for each in doses)
    _require_doses(given, repeats, alpha)
    if one_of("end", end, tuple(each.value for each in End)) == End.STANDSTILL.value:
        raise PlanBroken(
            "A dose series timed to standstill cannot decide",
            "more magnets make a higher bump, which alone changes such a time",
            "Time between two speeds, or count turns.",
        )
    drawn_from = (seed or secrets.token_hex(32)).strip()  # as it will be stored
    sealed = DosePlan(
        id=identity or str(uuid.uuid4()),
        main_test=main_test,
        claim=claim,
        unit=unit,
        doses=given,
        dummies=dummies,
        repeats=repeats,
        measurand=Measurand(
            name=measure,
            scale=one_of("scale", scale, ("log", "linear")),
            sign=-1 if less_is_more else 1,
            unit=measured_in,
        ),
        end=End(end),
        alpha=alpha,
        seed=drawn_from,
        order=drawn_settings(drawn_from, tuple(map(dose_name, given)), repeats),
        made=(made or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        note=note,
    )
    return DosePlanResult(sealed, seal_of(sealed))


def _require_doses(doses: tuple[float, ...], repeats: int, alpha: float) -> None:
    """Refuse doses that make no trend, or too few runs to decide."""
    if not 1 <= repeats <= 20:
        raise ValueOutOfRange("The number of runs of each dose", repeats, "1 to 20")
    if min(doses, default=0.0) < 0:
        raise ValueOutOfRange("A dose", f"{min(doses):g}", "0 or more")
    if len(set(doses)) != len(doses):
        raise ValueOutOfRange("The list of doses", "one with a dose twice", "one of different numbers")
    if not 0 < alpha < 0.5:
        raise ValueOutOfRange("alpha", f"{alpha:g}", "above 0 and below 0.5", "Give 0.05 for 5 %.")
    require_trend_can_decide(len(doses), repeats, alpha)


def dose(
    table: Any,
    plan: Any = None,
    *,
    orders: str | None = None,
    unit: str = "magnet",
    dummies: bool = False,
    end: str | None = None,
    measure: str = "time",
    scale: str = "log",
    less_is_more: bool = False,
    alpha: float = 0.05,
    code: str | None = None,
    decimal: str | None = None,
) -> DoseResult:
    """Decide what more and less of the source does.

    Parameters
    ----------
    table : folder, path, data frame, mapping of columns, or RunTable
        One line a run, the dose under ``condition``; or the folder that holds the sheet beside its plan.
    plan : path or mapping, optional
        The sealed series; it then gives every rule, and the options below (but ``code`` and ``decimal``) stay away.
    orders : {"rounds", "any"}, optional
        Without a plan: how the order was drawn, on your word. None: a description, not a fair test.
    unit, dummies, end, measure, scale, less_is_more, alpha
        Without a plan: as for :func:`plan_dose`.
    code : str, optional
        Spoken code that the series must have.
    decimal : {".", ","}, optional
        Decimal sign of the table, where it cannot be told.

    Returns
    -------
    DoseResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Examples
    --------
    >>> runs = {"run": list(range(1, 7)), "condition": [3, 12, 0, 1, 6, 2],
    ...         "time": [59.2, 57.0, 60.0, 59.8, 58.5, 59.5]}
    >>> dose(runs, orders="rounds", dummies=True, end="speed")
    <dose series: The more magnets, the more it brakes.>
    """
    if plan is None and is_folder(table):
        plan, table = Path(table) / PLAN, Path(table) / SHEET
    if plan is not None:
        sealed = read_sealed_rounds(plan, DosePlan, "truerun dose", code)
        read = read_settings_table(table, sealed.plan.measurand.name, decimal)
        return DoseResult(dose_runs(read, rules_of_dose_plan(sealed.plan)))
    read = read_settings_table(table, measure, decimal)
    rules = DoseRules(
        unit,
        Measurand(
            name=measure,
            scale=one_of("scale", scale, ("log", "linear")),
            sign=-1 if less_is_more else 1,
            unit=read.unit,
        ),
        None if end is None else End(one_of("end", end, tuple(each.value for each in End))),
        alpha,
        None if orders is None else one_of("orders", orders, ("rounds", "any")),
        dummies,
        seed=read.digest,
    )
    return DoseResult(dose_runs(read, rules))
