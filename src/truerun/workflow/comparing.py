"""Deciding on a table of runs.

Pages and their pictures are imported where a result is shown as one: templates and drawings would double the time of
a cold start, and most comparisons end on a terminal.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from truerun.errors import ChoiceNeeded, ValueOutOfRange
from truerun.recordings.run_tables import read_run_table
from truerun.report.plain_text import comparison_text
from truerun.series import RunTable
from truerun.trial.comparison import Comparison, compare_runs, may_be_seen
from truerun.trial.impressions import Impression, stopwatch_impression
from truerun.trial.plan import Blinding, Conditions, End, Measurand
from truerun.trial.planning import default_adjust
from truerun.trial.rules import Rules, rules_of_plan
from truerun.workflow.plan_files import SealedPlan, read_plan
from truerun.workflow.results import Result
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.motion.drive_curve import DriveCurve
    from truerun.report.result_cards import Card
    from truerun.report.two_impressions import TwoImpressions
    from truerun.workflow.recorded import Measurements, RecordedRuns

__all__ = ["ComparisonResult", "compare", "conditions_of", "one_of"]


@dataclass(frozen=True, slots=True, repr=False)
class ComparisonResult(Result):
    """A finished comparison that can show itself.

    ``sealed`` is the plan that gave its rules, ``recorded`` what was measured where the times came from recordings,
    ``impression`` what a stopwatch said of the same runs.
    """

    comparison: Comparison
    sealed: SealedPlan | None = None
    recorded: RecordedRuns | None = None
    impression: Impression | None = None

    def __repr__(self) -> str:
        return f"<comparison: {self.comparison.headline}>"

    @property
    def verdict(self) -> str | None:
        """The verdict's identifier, None where a sealed plan is not complete."""
        return self.comparison.verdict.value if self.comparison.verdict else None

    @property
    def stopped(self) -> bool:
        """Whether nothing could be decided: not a fair test, or counts only."""
        return self.verdict in (None, "not-a-fair-test")

    def summary(self) -> str:
        """Give the result as plain text."""
        return comparison_text(self.comparison)

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/comparison/1``."""
        rules = self.comparison.at.rules
        settings = {
            "orders": rules.orders,
            "adjust": list(rules.adjust),
            "alpha": rules.alpha,
            "blinding": rules.blinding.model_dump(),
            "hill_bound": rules.hill_bound,
            "stop": rules.stop,
            "plan": rules.plan.id if rules.plan else None,
        }
        whole = self.comparison.document() | {"versions": versions(), "settings": settings}
        if self.recorded is not None:
            whole["inputs"] += [each.digest for each in self.recorded.runs if each.digest is not None]
            whole["drive_curve"] = None if self.drive_curve is None else self.drive_curve.document()
            whole["stopwatch"] = None if self.impression is None else self.impression.document()
        return whole

    @property
    def _fingerprints(self) -> list[tuple[int, str]]:
        """Run and digest of each recording."""
        runs = () if self.recorded is None else self.recorded.runs
        return [(each.run.slot, each.digest) for each in runs if each.digest is not None]

    @property
    def drive_curve(self) -> DriveCurve | None:
        """The drive at each speed, where the runs were measured from recordings and may be seen."""
        if self.recorded is None or self.comparison.verdict is None:
            return None
        from truerun.workflow.recorded import drive_over_speed  # noqa: PLC0415  see the head of this module

        names = self.comparison.at.rules.conditions
        return drive_over_speed(self.recorded, names.source, names.control)

    def impressions(self) -> TwoImpressions | None:
        """Put what a stopwatch says of the same runs beside the result; None where none was kept."""
        if self.impression is None or self.recorded is None:
            return None
        from truerun.report.two_impressions import two_impressions  # noqa: PLC0415  see the head of this module
        from truerun.workflow.recorded import captures  # noqa: PLC0415

        names = self.comparison.at.rules.conditions
        return two_impressions(self.comparison, self.impression, captures(self.recorded, names.source, names.control))

    def _repr_html_(self) -> str:
        """Show the result in a notebook."""
        from truerun.report.fragments import comparison_fragment  # noqa: PLC0415  see the head of this module

        return comparison_fragment(self.comparison)

    def report(self, *, made: datetime | None = None, **more: Any) -> str:
        """Write the report, one HTML page.

        Parameters
        ----------
        made : datetime, optional
            When it is made; None: now. The same time gives the same bytes.
        **more : object
            ``stamp``, ``linked``, ``answers``, ``interests`` and ``invented`` of
            :func:`truerun.report.full_report.render_report`.

        Returns
        -------
        str
        """
        from truerun.report.full_report import render_report  # noqa: PLC0415  see the head of this module

        return render_report(
            self.comparison,
            made=made or datetime.now(UTC),
            plan=self.sealed.plan if self.sealed is not None else None,
            seal=self.sealed.seal if self.sealed is not None else None,
            versions=versions(),
            drive_curve=self.drive_curve,
            impressions=self.impressions(),
            fingerprints=self._fingerprints,
            **more,
        )

    def cards(self, *, invented: bool = False) -> tuple[Card, ...]:
        """Give cards of 1920 by 1080 points to hold into a film; none while the result is covered."""
        from truerun.report.result_cards import cards_of  # noqa: PLC0415  see the head of this module

        return cards_of(self.comparison, invented=invented, **self._sealed_parts)

    def words_to_paste(self, *, invented: bool = False) -> str:
        """Give the text to paste under a film; nothing while the result is covered."""
        from truerun.report.result_cards import words_to_paste  # noqa: PLC0415  see the head of this module

        return words_to_paste(self.comparison, invented=invented, **self._sealed_parts)

    @property
    def _sealed_parts(self) -> dict[str, Any]:
        """The plan and the code of its seal, where there is one."""
        return {} if self.sealed is None else {"plan": self.sealed.plan, "code": self.sealed.seal.code}

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.report.pictures import drawings_of  # noqa: PLC0415  see the head of this module

        return drawings_of(self.comparison)


def compare(
    table: Any,
    plan: Any = None,
    *,
    source: str | None = None,
    control: str | None = None,
    orders: str | None = None,
    adjust: str | None = None,
    covariates: Sequence[str] = (),
    end: str | None = None,
    stop: str | None = None,
    hill_bound: float | None = None,
    alpha: float = 0.05,
    margin: float | None = None,
    claimed: float | None = None,
    timing: str | None = None,
    blinding: int = 0,
    measure: str = "time",
    scale: str = "log",
    less_is_more: bool = False,
    break_seal: bool = False,
    code: str | None = None,
    decimal: str | None = None,
    marks: int | None = None,
    mark_angles: Sequence[float] | None = None,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    kept: Measurements | None = None,
) -> ComparisonResult:
    """Decide what a table of runs says about the source.

    Parameters
    ----------
    table : path, data frame, mapping of columns, or RunTable
        One line a run: ``run``, ``condition``, ``time`` or ``recording`` (paths relative to the table), and more as
        they come.
    plan : path or mapping, optional
        The sealed plan; it then gives every rule, and the options below (but ``break_seal``, ``code``,
        ``decimal`` and those about recordings) must stay away.
    source, control : str, optional
        Names of the conditions. One names the other; without a plan at least one is needed.
    orders : str, optional
        The set from which the order was drawn, on your word. None: a description, not a fair test.
    adjust : {"run-number", "session", "none"}, optional
        What is adjusted for; None: what is usual for the set of orders.
    covariates : sequence of str
        Further columns to adjust for.
    end : {"speed", "turns", "standstill"}, optional
        What ended a run; None counts as standstill.
    stop : {"turns-back", "lies-still"}, optional
        Which stop, where runs were timed to standstill.
    hill_bound : float, optional
        Largest share of a time that a magnetic bump alone could change, as measured.
    alpha, margin, claimed : float
        Share of false alarms allowed; smallest drive that matters; drive that is claimed.
    timing : {"hand", "sensor"}, optional
        What timed the runs; None: a hand, or a sensor where the times come from recordings.
    blinding : {0, 1, 2, 3}
        Who knew which was which.
    measure : str
        Column that is compared, and in which ``scale`` ("log": effects are factors; "linear": they add).
    less_is_more : bool
        Whether less of the measured quantity means more drive.
    break_seal : bool
        Look although the planned runs are not complete; only the running bet then decides.
    code : str, optional
        Spoken code that the plan must have.
    decimal : {".", ","}, optional
        Decimal sign of the table, where it cannot be told.
    marks : int, optional
        Marks a turn in the recordings, where the table has no column for it.
    mark_angles : sequence of float, optional
        Where uneven marks sit [rad].
    workers : int
        Processes that reduce recordings.
    progress : callable, optional
        Called with the recordings done and all.
    kept : mapping, optional
        What was measured from recordings before, see :func:`truerun.workflow.recorded.fill_from_recordings`.

    Returns
    -------
    ComparisonResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Examples
    --------
    >>> runs = {"run": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12],
    ...         "condition": ["in", "out", "out", "in", "out", "in", "in", "out", "in", "out", "in", "out"],
    ...         "time": [61.2, 58.9, 59.3, 61.9, 60.0, 62.4, 62.9, 60.8, 63.0, 61.1, 63.4, 61.5]}
    >>> compare(runs, control="out", orders="blocks-of-four", end="speed")
    <comparison: "in" adds energy.>
    """
    how = Reading(marks, None if mark_angles is None else tuple(mark_angles), workers, progress, kept)
    if plan is not None:
        sealed = read_plan(plan, code=code)
        rules = rules_of_plan(sealed.plan, seal_broken=break_seal)
        read = _table(table, rules.measurand.name, decimal)
        return _decided(read, rules, how, sealed)
    read = _table(table, measure, decimal)
    timing = timing or ("sensor" if read.recorded else "hand")
    rules = Rules(
        conditions=conditions_of(read, source, control),
        measurand=Measurand(
            name=measure,
            scale=one_of("scale", scale, ("log", "linear")),
            sign=-1 if less_is_more else 1,
            unit=read.unit,
        ),
        end=End(one_of("end", end, tuple(each.value for each in End))) if end is not None else None,
        stop=one_of("stop", stop, ("turns-back", "lies-still")) if stop is not None else None,
        hill_bound=hill_bound,
        orders=orders,
        adjust=_adjusted(adjust, orders, covariates),
        alpha=_share("alpha", alpha, 0.5),
        margin=None if margin is None else _share("margin", margin, 1 if scale == "log" else float("inf")),
        claimed=claimed,
        blinding=_blinding(blinding, timing),
    )
    return _decided(read, rules, how, None)


@dataclass(frozen=True, slots=True)
class Reading:
    """How the recordings that a table names are read."""

    marks: int | None
    mark_angles: tuple[float, ...] | None
    workers: int
    progress: Callable[[int, int], None] | None
    kept: Measurements | None = None


def _decided(table: RunTable, rules: Rules, how: Reading, sealed: SealedPlan | None) -> ComparisonResult:
    """Decide; where the times come from recordings, measure them first, unless the result is still sealed."""
    if not table.recorded or not may_be_seen(table, rules):
        return ComparisonResult(compare_runs(table, rules), sealed)
    from truerun.workflow.recorded import (  # noqa: PLC0415  fits are heavy, and seldom needed
        As,
        fill_from_recordings,
        loss_opinion,
    )

    window = rules.window if rules.plan is None else rules.plan.window
    read_as = As(how.marks, how.mark_angles)
    recorded = fill_from_recordings(table, read_as, window, workers=how.workers, progress=how.progress, kept=how.kept)
    filled, over = recorded.table, replace(rules, window=recorded.window, end=End.SPEED)
    if recorded.window is None:
        lost = Measurand(name=filled.measure, scale="linear", sign=1, unit=filled.unit)
        over = replace(over, measurand=lost, margin=None, claimed=None)
    impression = stopwatch_impression(filled, over)
    beside = (loss_opinion(recorded, rules.conditions.source), impression.finding if impression else None)
    said = (*table.findings, *recorded.findings, *(each for each in beside if each is not None))
    return ComparisonResult(compare_runs(replace(filled, findings=said), over), sealed, recorded, impression)


def _table(table: Any, measure: str, decimal: str | None) -> RunTable:
    """Read a table unless it was read already."""
    return table if isinstance(table, RunTable) else read_run_table(table, measure=measure, decimal=decimal)


def conditions_of(table: RunTable, source: str | None, control: str | None) -> Conditions:
    """Tell which condition is the source and which the control.

    Raises
    ------
    ChoiceNeeded
        If neither was named.
    ValueOutOfRange
        If a name does not stand in the table, or both are the same.
    """
    names = table.conditions
    for role, name in (("The source", source), ("The control", control)):
        if name is not None and name not in names:
            raise ValueOutOfRange(role, f'"{name}"', " or ".join(f'"{each}"' for each in names))
    if source is None and control is None:
        raise ChoiceNeeded("The control", names, "Name it with --control.")
    if source == control:
        raise ValueOutOfRange("The source", f'"{source}", and so is the control', "another condition than the control")
    if source is None:
        source = next(name for name in names if name != control)
    if control is None:
        control = next(name for name in names if name != source)
    return Conditions(source=source, control=control)


def _blinding(grade: int, timing: str) -> Blinding:
    """Give who knew, and what timed the runs."""
    if grade not in range(4):
        raise ValueOutOfRange("blinding", grade, "0, 1, 2 or 3", "0: everybody knew. 3: guesses were written down.")
    return Blinding.model_validate({"grade": grade, "timing": one_of("timing", timing, ("hand", "sensor"))})


def _adjusted(adjust: str | None, orders: str | None, covariates: Sequence[str]) -> tuple[str, ...]:
    """Give the columns to adjust for."""
    if adjust is None:
        usual = default_adjust(orders) if orders else ()
    else:
        kind = one_of("adjust", adjust, ("run-number", "session", "none"))
        usual = () if kind == "none" else (kind,)
    return (*usual, *covariates)


def one_of(name: str, given: str, allowed: tuple[str, ...]) -> Any:
    """Refuse a word that is not one of a few."""
    if given not in allowed:
        raise ValueOutOfRange(name, f'"{given}"', "one of " + ", ".join(allowed))
    return given


def _share(name: str, given: float, below: float) -> float:
    """Refuse a share that is not between 0 and its bound."""
    if not 0 < given < below:
        raise ValueOutOfRange(name, f"{given:g}", f"above 0 and below {below:g}", "Give 0.05 for 5 %.")
    return given
