"""Screening many variants: a candidate and no more; what it is worth must be tested afresh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator
from scipy.special import stdtr  # scipy.stats takes seconds to import

from truerun.errors import FitImpossible, PlanBroken
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.findings.several_words import SCREENING_WORDS
from truerun.series import RunTable
from truerun.stats.rounds import every_order, sample_rounds
from truerun.stats.several import Shrinkage, holm, screening, shrinkage
from truerun.trial.agreement import Record
from truerun.trial.phrases import chance
from truerun.trial.plan import End, Measurand
from truerun.trial.rounds import SettingRuns, drawn_settings, observe_settings

__all__ = [
    "SAMPLED_ORDERS",
    "AgainstControl",
    "Screened",
    "ScreeningFigures",
    "ScreeningPlan",
    "VariantFound",
    "screen_runs",
    "screening_figures",
]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

SAMPLED_ORDERS = 9_999
"""Orders drawn by lot where there are too many to list; the one used is added."""


class ScreeningPlan(Record):
    """All that is fixed before the first run of a screening; keys as in the schema ``truerun/screening/1``.

    ``level`` is the share of screenings of equal variants that may name a candidate: a false candidate costs one
    fresh test, so it may be larger than the share of false alarms of a test.
    """

    schema_: Literal["truerun/screening/1"] = Field(default="truerun/screening/1", alias="schema")
    id: str
    looking_for: str | None = None
    variants: tuple[Annotated[str, Field(min_length=1)], ...] = Field(min_length=4)
    control: str | None = None
    repeats: int = Field(ge=2, le=20)
    measurand: Measurand = Measurand()
    end: End
    level: float = Field(default=0.2, gt=0, lt=0.5)
    seed: str = Field(min_length=16)
    order: tuple[str, ...]
    made: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$")]
    note: str | None = None

    @model_validator(mode="after")
    def _holds_together(self) -> ScreeningPlan:
        if len(set(self.variants)) != len(self.variants):
            raise ValueError("every variant must have a name of its own")
        if self.control is not None and self.control not in self.variants:
            raise ValueError("the control must be one of the variants")
        if self.order != drawn_settings(self.seed, self.variants, self.repeats):
            raise ValueError("the order must be the one that the seed draws")
        return self

    def document(self) -> dict[str, Any]:
        """Give the plan as plain data, ready to be written as JSON."""
        return self.model_dump(mode="json", by_alias=True)


@dataclass(frozen=True, slots=True)
class ScreeningFigures:
    """What the runs show, on the scale on which an effect adds.

    ``means`` of each variant less the mean of all, shape (k,); ``spread`` from run to run with ``df`` degrees of
    freedom, None where the runs do not spread at all; ``p`` how often the order alone lets one stand out as far.
    """

    means: Array
    spread: float
    df: int
    best: int
    worth: Shrinkage
    p: float
    orders: int
    sampled: bool


@dataclass(frozen=True, slots=True)
class VariantFound:
    """One variant: its mean above the mean of all, and its single runs, on the scale on which an effect adds."""

    name: str
    mean: float
    runs: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class AgainstControl:
    """A variant against the control: the difference and its p, corrected for their number after Holm."""

    name: str
    difference: float
    p: float


@dataclass(frozen=True, slots=True)
class Screened:
    """A screening as it stands; ``figures`` and all that follows are None or empty until the last run is done."""

    plan: ScreeningPlan
    candidate: str | None
    headline: str
    sentence: str
    figures: ScreeningFigures | None
    variants: tuple[VariantFound, ...]
    against: tuple[AgainstControl, ...]
    findings: tuple[Finding, ...]
    done: int
    inputs: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """Give the screening as plain data, keys as in the schema ``truerun/screening-result/1``."""
        figures = self.figures
        return {
            "schema": "truerun/screening-result/1",
            "screening": self.plan.id,
            "candidate": self.candidate,
            "headline": self.headline,
            "sentence": self.sentence,
            "done": self.done,
            "planned": len(self.plan.order),
            "measurand": self.plan.measurand.model_dump(),
            "level": self.plan.level,
            "variants": [{"name": each.name, "mean": each.mean, "runs": list(each.runs)} for each in self.variants],
            "best": None if figures is None else self.plan.variants[figures.best],
            "shown": None if figures is None else figures.worth.shown,
            "expected": None if figures is None else figures.worth.expected,
            "by_luck": None if figures is None else figures.worth.luck,
            "kept": None if figures is None else figures.worth.factor,
            "spread": None if figures is None else {"value": figures.spread, "df": figures.df},
            "p": None if figures is None else figures.p,
            "orders": None if figures is None else figures.orders,
            "sampled": None if figures is None else figures.sampled,
            "against_control": [
                {"name": each.name, "difference": each.difference, "p_holm": each.p} for each in self.against
            ],
            "findings": [found.document() for found in self.findings],
            "inputs": list(self.inputs),
        }


def screening_figures(y: Array, used: Whole, rounds: int, orders: Whole, *, sampled: bool = False) -> ScreeningFigures:
    """Compute what a finished screening shows.

    Parameters
    ----------
    y : array, shape (n,)
        One value a slot, on the scale on which an effect adds.
    used : array of int, shape (n,)
        Variant of each slot, 0 to k - 1, each once in every round.
    rounds : int
        At least two.
    orders : array of int, shape (m, n)
        Every order that could have been drawn, or a sample with the one used.
    sampled : bool
        Whether it is a sample.

    Returns
    -------
    ScreeningFigures

    Raises
    ------
    PlanBroken
        If there is one round only: then nothing tells a variant from its slot.
    FitImpossible
        If there are fewer than four variants, or the runs do not spread at all.

    Notes
    -----
    The mean of each round and one straight line in the run number are taken off first, blind to the variants, so
    that the comparison with other orders stays exact. The spread is what variants and rounds leave over, with
    (k - 1)(rounds - 1) - 1 degrees of freedom.

    Examples
    --------
    >>> used = np.array([0, 1, 2, 3, 3, 1, 0, 2])
    >>> y = np.array([1.0, 3.0, 1.1, 0.9, 1.2, 3.2, 1.1, 1.0])
    >>> found = screening_figures(y, used, 2, every_order(4, 2))
    >>> found.best, round(found.worth.shown, 2), found.orders
    (1, 1.42, 576)
    """
    if rounds < 2:
        raise PlanBroken(
            "A screening repeats every variant", "each was run once", "Make at least two runs of each, in new orders."
        )
    rest = _levelled(y, rounds)
    variants = len(y) // rounds
    means = np.array([rest[used == variant].mean() for variant in range(variants)])
    left = rest - means[used]
    df = (variants - 1) * (rounds - 1) - 1
    squares = float(left @ left)
    if squares <= 1e-18 * float(y @ y):
        raise FitImpossible("The runs of a variant do not differ at all; read the times more finely.")
    variance = squares / df
    stands_out = screening(rest, used, orders)
    worth = shrinkage(means, variance / rounds, df)
    return ScreeningFigures(means, variance**0.5, df, stands_out.best, worth, stands_out.p, len(orders), sampled)


def _levelled(y: Array, rounds: int) -> Array:
    """Take off the mean of each round and one straight line within the rounds."""
    by_round = y.reshape(rounds, -1)
    around = by_round - by_round.mean(axis=1, keepdims=True)
    line = np.arange(by_round.shape[1]) - (by_round.shape[1] - 1) / 2
    slope = float((around @ line).sum()) / (rounds * float(line @ line))
    return np.asarray((around - slope * line).ravel())


def screen_runs(table: RunTable, plan: ScreeningPlan, *, against_control: bool = False) -> Screened:
    """Say what a screening shows: a candidate for a fresh test, or none.

    Parameters
    ----------
    table : RunTable
        As read.
    plan : ScreeningPlan
        Sealed before the first run.
    against_control : bool
        Compare every variant with the control as well, corrected for their number after Holm.

    Returns
    -------
    Screened
        Counts only until the last run is done.

    Raises
    ------
    PlanBroken
        If the runs do not fit the plan, or ``against_control`` is asked for and the plan names no control.
    RecordingUnreadable
        If a variant is not known.
    """
    if against_control and plan.control is None:
        raise PlanBroken(
            "To compare with a control the sealed plan must name one", "it names none", "Test the candidate afresh."
        )
    seen = observe_settings(table, plan.order, plan.variants, plan.measurand)
    inputs = (table.digest,) if table.digest else ()
    if not seen.complete:
        text = SCREENING_WORDS["counts"].format(done=seen.done, planned=len(plan.order))
        return Screened(plan, None, SCREENING_WORDS["counts-only"], text, None, (), (), (), seen.done, inputs)
    orders, sampled = _orders(plan, seen.used)
    figures, kept_ahead = _figures(seen, plan, orders, sampled=sampled)
    stands_out = kept_ahead and figures.p <= plan.level and figures.worth.factor > 0
    best = plan.variants[figures.best]
    candidate = best if stands_out and best != plan.control else None
    key = "candidate" if candidate else "control-best" if stands_out else "none"
    headline = SCREENING_WORDS[key].format(name=best)
    against = _against(figures, plan) if against_control else ()
    found = (*table.findings, *seen.findings, *_doubts(plan))
    text = _sentence(figures, plan, named=candidate is not None)
    return Screened(
        plan, candidate, headline, text, figures, _variants(figures, seen, plan), against, found, seen.done, inputs
    )


def _figures(seen: SettingRuns, plan: ScreeningPlan, orders: Whole, *, sampled: bool) -> tuple[ScreeningFigures, bool]:
    """Give the figures, and whether the best variant stays ahead with runs that were stopped seen at their worst."""
    figures = screening_figures(seen.y, seen.used, plan.repeats, orders, sampled=sampled)
    if not seen.worst.any():
        return figures, True
    weakened = seen.against(seen.used == figures.best)
    again = screening_figures(weakened, seen.used, plan.repeats, orders, sampled=sampled)
    return again, again.best == figures.best


def _orders(plan: ScreeningPlan, used: Whole) -> tuple[Whole, bool]:
    """List every order, or draw some from the seed and add the one used."""
    listed = every_order(len(plan.variants), plan.repeats)
    if listed is not None:
        return listed, False
    drawn = sample_rounds(f"{plan.seed}|list", len(plan.variants), plan.repeats, SAMPLED_ORDERS)
    return np.vstack([drawn, used[None, :]]), True


def _variants(figures: ScreeningFigures, seen: SettingRuns, plan: ScreeningPlan) -> tuple[VariantFound, ...]:
    """Give every variant in the order of the list."""
    rest = _levelled(seen.y, plan.repeats)
    return tuple(
        VariantFound(name, float(figures.means[place]), tuple(float(value) for value in rest[seen.used == place]))
        for place, name in enumerate(plan.variants)
    )


def _against(figures: ScreeningFigures, plan: ScreeningPlan) -> tuple[AgainstControl, ...]:
    """Compare every variant with the control by Student's t, corrected after Holm."""
    control = plan.variants.index(plan.control or "")
    error = figures.spread * (2 / plan.repeats) ** 0.5
    others = [place for place in range(len(plan.variants)) if place != control]
    gaps = [float(figures.means[place] - figures.means[control]) for place in others]
    single = [float(2 * stdtr(figures.df, -abs(gap) / error)) for gap in gaps]
    return tuple(
        AgainstControl(plan.variants[place], gap, p) for place, gap, p in zip(others, gaps, holm(single), strict=True)
    )


def _doubts(plan: ScreeningPlan) -> list[Finding]:
    """Say what stands against the runs of any variant."""
    return [finding("look-standstill")] if plan.end is End.STANDSTILL else []


def _sentence(figures: ScreeningFigures, plan: ScreeningPlan, *, named: bool) -> str:
    """Say what the best variant is worth."""
    count = len(plan.variants)
    parts = round(100 * figures.worth.factor)
    if named:
        text = SCREENING_WORDS["decides-nothing"].format(count=count) + SCREENING_WORDS["part"].format(parts=parts)
    else:
        text = SCREENING_WORDS["no-candidate" if parts else "all-luck"].format(count=count)
    text += SCREENING_WORDS["order"].format(count=count, luck=chance(figures.p, figures.orders))
    return text + (SCREENING_WORDS["afresh"].format(runs=len(plan.order)) if named else "")
