"""A dose series: more and less of the source, decided by the exact list of the trend."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding, Severity
from truerun.findings.several_words import DOSE_WORDS
from truerun.series import RunTable
from truerun.stats.exact import two_sided_p
from truerun.stats.orders import rejecting_orders
from truerun.stats.rounds import every_order, orders_in_rounds, sample_rounds
from truerun.stats.several import dose_interval, dose_trend, shuffled_rows
from truerun.trial.agreement import Record
from truerun.trial.decision import SAMPLED_ORDERS
from truerun.trial.phrases import chance, count_words, measured, percent
from truerun.trial.plan import End, Measurand
from truerun.trial.rounds import SettingRuns, drawn_settings, observe_settings

__all__ = [
    "DosePlan",
    "DoseRules",
    "Dosed",
    "Trend",
    "dose_name",
    "dose_runs",
    "require_trend_can_decide",
    "rules_of_dose_plan",
]

Array = NDArray[np.float64]


class DosePlan(Record):
    """All that is fixed before the first run of a dose series; keys as in the schema ``truerun/dose/1``.

    ``unit`` is one of what is counted or measured, such as magnet; ``dummies`` tells whether dummies of the same mass
    and shape sit in the empty places; the trend is always adjusted for the run number.
    """

    schema_: Literal["truerun/dose/1"] = Field(default="truerun/dose/1", alias="schema")
    id: str
    main_test: str | None = None
    claim: str | None = None
    unit: str = Field(default="magnet", min_length=1)
    doses: tuple[float, ...] = Field(min_length=2)
    dummies: bool = False
    repeats: int = Field(ge=1, le=20)
    measurand: Measurand = Measurand()
    end: End
    alpha: float = Field(default=0.05, gt=0, lt=0.5)
    seed: str = Field(min_length=16)
    order: tuple[str, ...]
    made: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$")]
    note: str | None = None

    @model_validator(mode="after")
    def _holds_together(self) -> DosePlan:
        if len(set(self.doses)) != len(self.doses) or min(self.doses) < 0:
            raise ValueError("the doses must be 0 or more and all different")
        if self.order != drawn_settings(self.seed, tuple(map(dose_name, self.doses)), self.repeats):
            raise ValueError("the order must be the one that the seed draws")
        return self

    def document(self) -> dict[str, Any]:
        """Give the plan as plain data, ready to be written as JSON."""
        return self.model_dump(mode="json", by_alias=True)


@dataclass(frozen=True, slots=True)
class DoseRules:
    """What decides: from a sealed plan, or on somebody's word.

    ``orders`` is how the order was drawn: ``rounds`` (every dose once in each round), ``any`` (any arrangement of all
    runs), or None where nobody said.
    """

    unit: str
    measurand: Measurand
    end: End | None
    alpha: float
    orders: Literal["rounds", "any"] | None
    dummies: bool
    plan: DosePlan | None = None
    seed: str | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """What the orders say about the trend, on the scale on which an effect adds, per unit of dose.

    ``p`` is None where nobody said how the order was drawn: then there is a slope and nothing to judge it by.
    """

    slope: float
    low: float | None
    high: float | None
    p: float | None
    orders: int
    sampled: bool


@dataclass(frozen=True, slots=True)
class Dosed:
    """A dose series as it stands; ``trend`` is None until the last run is done.

    ``direction`` is +1 where more drives more, -1 where more brakes more, 0 where no trend was found, None where
    nothing was decided.
    """

    rules: DoseRules
    direction: int | None
    headline: str
    sentence: str
    trend: Trend | None
    doses: tuple[float, ...]
    y: Array
    findings: tuple[Finding, ...]
    done: int
    planned: int
    inputs: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """Give the series as plain data, keys as in the schema ``truerun/dose-result/1``."""
        rules, trend = self.rules, self.trend
        return {
            "schema": "truerun/dose-result/1",
            "plan": rules.plan.id if rules.plan else None,
            "direction": self.direction,
            "headline": self.headline,
            "sentence": self.sentence,
            "unit": rules.unit,
            "done": self.done,
            "planned": self.planned,
            "measurand": rules.measurand.model_dump(),
            "alpha": rules.alpha,
            "adjusted_for": ["run-number"],
            "drive_fraction_per_unit": _document(self) if rules.measurand.scale == "log" else None,
            "effect_per_unit": _document(self) if rules.measurand.scale == "linear" else None,
            "p": trend.p if trend else None,
            "orders": trend.orders or None if trend else None,
            "sampled": trend.sampled if trend else None,
            "runs": [{"dose": dose, "adding_scale": float(y)} for dose, y in zip(self.doses, self.y, strict=True)]
            if trend
            else [],
            "findings": [found.document() for found in self.findings],
            "inputs": list(self.inputs),
        }


def dose_name(dose: float) -> str:
    """Write a dose as the condition of a run.

    Examples
    --------
    >>> dose_name(3.0), dose_name(0.25)
    ('3', '0.25')
    """
    return f"{dose:.12g}"


def require_trend_can_decide(doses: int, repeats: int, alpha: float) -> int:
    """Refuse a series whose orders are too few to decide; give their number.

    Examples
    --------
    >>> require_trend_can_decide(6, 1, 0.05)
    720
    """
    orders = orders_in_rounds(doses, repeats)
    if doses < 3:
        raise PlanBroken("A trend needs three doses", f"there are {doses}", "Compare two with truerun plan.")
    if rejecting_orders(orders, alpha) < 1:
        raise PlanBroken(
            f"A series must be able to decide at {percent(alpha)}",
            f"{doses} doses in {repeats} rounds have {orders} orders",
            "Make more rounds, or take more doses.",
        )
    return orders


def rules_of_dose_plan(plan: DosePlan) -> DoseRules:
    """Give the rules that a plan sealed."""
    return DoseRules(plan.unit, plan.measurand, plan.end, plan.alpha, "rounds", plan.dummies, plan=plan, seed=plan.seed)


def dose_runs(table: RunTable, rules: DoseRules) -> Dosed:
    """Decide what a dose series says.

    Parameters
    ----------
    table : RunTable
        Conditions are doses, written as numbers.
    rules : DoseRules
        From a sealed plan, or as stated.

    Returns
    -------
    Dosed
        Counts only until the last planned run is done.

    Raises
    ------
    RecordingUnreadable
        If a condition is not one of the doses.
    ValueOutOfRange
        If a condition is not a number.
    PlanBroken
        If the runs do not fit the plan, or there are fewer than three doses.
    """
    renamed, order = _by_dose(table, rules)
    settings = tuple(dict.fromkeys(rules.plan.order if rules.plan else order))
    doses = tuple(float(name) for name in order)
    seen = observe_settings(renamed, order, settings, rules.measurand)
    inputs = (table.digest,) if table.digest else ()
    if not seen.complete:
        text = DOSE_WORDS["counts"].format(done=seen.done, planned=len(order))
        headline = DOSE_WORDS["counts-only"]
        return Dosed(rules, None, headline, text, None, doses, seen.y, (), seen.done, len(order), inputs)
    trend = _trend(seen, np.array(doses), rules)
    found = (*table.findings, *seen.findings, *_checks(rules, trend, seen, doses))
    stops = [each for each in found if each.severity is Severity.STOP]
    direction = None if stops else _direction(trend)
    return Dosed(
        rules,
        direction,
        _headline(rules, direction),
        _sentence(rules, trend, direction, stops, len(order)),
        trend,
        doses,
        seen.y,
        found,
        seen.done,
        len(order),
        inputs,
    )


def _by_dose(table: RunTable, rules: DoseRules) -> tuple[RunTable, tuple[str, ...]]:
    """Read the conditions as numbers; give the order that was drawn, or else the one that was run."""
    runs = tuple(replace(run, condition=dose_name(_number(run.condition, run.slot))) for run in table.runs)
    if rules.plan is not None:
        return replace(table, runs=runs), rules.plan.order
    last = {run.slot: run.condition for run in runs}
    return replace(table, runs=runs), tuple(last[slot] for slot in sorted(last))


def _number(condition: str, slot: int) -> float:
    """Read a dose from the name of a condition: a number, with or without a word behind it."""
    try:
        dose = float(condition.split(maxsplit=1)[0].replace(",", "."))
    except (ValueError, IndexError):
        dose = math.nan
    if not math.isfinite(dose):
        raise ValueOutOfRange(f"The condition of run {slot}", f'"{condition}"', "a dose, such as 3 or 3 magnets")
    return dose


def _trend(seen: SettingRuns, doses: Array, rules: DoseRules) -> Trend:
    """List the trend over all orders, or over some of them drawn by lot with the one used."""
    number = np.arange(len(doses), dtype=np.float64)[:, None]
    if rules.orders is None:
        alone = dose_trend(seen.y, doses[None, :], doses, number, ("the run number",))
        return Trend(alone.slope, None, None, None, 0, sampled=False)
    orders, sampled = _orders(doses, rules)
    more = doses > np.median(doses)
    up, down = (
        dose_trend(seen.against(favoured), orders, doses, number, ("the run number",)) for favoured in (more, ~more)
    )
    slope = (up.slope + down.slope) / 2
    low, high = dose_interval(up, rules.alpha)[0], dose_interval(down, rules.alpha)[1]
    if seen.capped:  # runs that were broken off hide a part: only an end that leaves zero out stays true
        low, high = low if low is not None and low > 0 else None, high if high is not None and high < 0 else None
    return Trend(slope, low, high, two_sided_p(up.found, down.found), up.found.orders, sampled)


def _orders(doses: Array, rules: DoseRules) -> tuple[Array, bool]:
    """Give the orders from which the one used was drawn."""
    different = np.unique(doses)
    rounds, rest = divmod(len(doses), len(different))
    seed = f"{rules.seed or 'doses as stated'}|list"
    if rules.orders == "rounds":
        if rest or any(len(set(part)) < len(part) for part in doses.reshape(rounds, -1).tolist()):
            raise PlanBroken(
                "In rounds every dose comes once a round", "these runs do not", "Say how the order was drawn."
            )
        listed = every_order(len(different), rounds)
        if listed is not None:
            return different[listed], False
        drawn = different[sample_rounds(seed, len(different), rounds, SAMPLED_ORDERS)]
    else:
        drawn = shuffled_rows(seed, doses, SAMPLED_ORDERS)
    return np.vstack([drawn, doses[None, :]]), True


def _checks(rules: DoseRules, trend: Trend, seen: SettingRuns, doses: tuple[float, ...]) -> list[Finding]:
    """Look at what stands against the series."""
    found = []
    counts = Counter(doses)
    if len(counts) < 3:
        raise PlanBroken(
            "A trend needs three doses", f"there are {len(counts)}", "Compare two conditions with truerun compare."
        )
    if rules.orders is None:
        found.append(finding("order-not-drawn", drift=_drift(seen, doses, rules)))
    elif rules.plan is None:
        words = "rounds of all doses" if rules.orders == "rounds" else "all arrangements of these doses"
        found.append(finding("not-sealed", orders=words))
    if rules.orders is not None and rejecting_orders(trend.orders, rules.alpha) < 1:
        found.append(finding("order-cannot-decide", orders=trend.orders, luck=2))
    if rules.end is None:
        found.append(finding("end-not-stated"))
    elif rules.end is End.STANDSTILL:
        found.append(finding("standstill"))
    if not rules.dummies:
        found.append(finding("empty-places"))
    if trend.sampled:
        orders = _count(counts, len(doses), rules)
        found.append(finding("sampled-orders", all=count_words(orders), sampled=count_words(trend.orders - 1)))
    return found


def _drift(seen: SettingRuns, doses: tuple[float, ...], rules: DoseRules) -> str:
    """Say how far the observations move from first to last run, the doses set aside (straight line)."""
    columns = np.column_stack([np.ones(len(doses)), doses, np.linspace(0.0, 1.0, len(doses))])
    return _amount(rules, float(np.linalg.lstsq(columns, seen.y, rcond=None)[0][2]))


def _count(counts: Counter[float], runs: int, rules: DoseRules) -> int:
    """Count the orders that could have been drawn."""
    if rules.orders == "rounds":
        return orders_in_rounds(len(counts), runs // len(counts))
    return math.factorial(runs) // math.prod(math.factorial(count) for count in counts.values())


def _direction(trend: Trend) -> int:
    """Tell on which side of zero the trend lies."""
    if trend.low is not None and trend.low > 0:
        return 1
    return -1 if trend.high is not None and trend.high < 0 else 0


def _shown(rules: DoseRules, slope: float) -> float:
    """Give the drive fraction of one unit of dose; on a linear scale the difference as measured."""
    return -math.expm1(-slope) if rules.measurand.scale == "log" else rules.measurand.sign * slope


def _ends(rules: DoseRules, trend: Trend) -> tuple[float | None, float | None]:
    """Give the span as a reader wants it, the lower end first."""
    low, high = (None if end is None else _shown(rules, end) for end in (trend.low, trend.high))
    return (low, high) if rules.measurand.scale == "log" or rules.measurand.sign > 0 else (high, low)


def _amount(rules: DoseRules, size: float, *, signed: bool = False) -> str:
    """Write a drive fraction in percent, or a difference on a linear scale with its unit."""
    if rules.measurand.scale == "log":
        return percent(size, signed=signed)
    return measured(size, rules.measurand.unit, signed=signed)


def _plural(unit: str) -> str:
    """Give the plural of a word such as magnet."""
    return unit if unit.endswith("s") else f"{unit}s"


def _headline(rules: DoseRules, direction: int | None) -> str:
    """Give the result in a few words."""
    keys = {None: "not-fair", 0: "none", 1: "rises", -1: "falls"}
    if direction and rules.measurand.scale == "linear":
        keys |= {rules.measurand.sign: "higher", -rules.measurand.sign: "lower"}
    return DOSE_WORDS[keys[direction]].format(plural=_plural(rules.unit), name=rules.measurand.name)


def _sentence(rules: DoseRules, trend: Trend, direction: int | None, stops: list[Finding], runs: int) -> str:
    """Say the trend with its span, and what a trend does not say."""
    if stops:
        return DOSE_WORDS["stopped"].format(first=stops[0].sentence, remedy=stops[0].remedy or "")
    start = DOSE_WORDS["if-as-stated"] if rules.plan is None else ""
    words = {"unit": rules.unit, "plural": _plural(rules.unit), "name": rules.measurand.name, "runs": runs}
    words |= {"coverage": f"{100 * (1 - rules.alpha):g}"}
    ends = _ends(rules, trend)
    if direction == 0:
        low, high = ends
        if low is None or high is None:
            return start + DOSE_WORDS["flat-open"].format(**words)
        low_text, high_text = (_amount(rules, end, signed=True) for end in (low, high))
        return start + DOSE_WORDS["flat"].format(low=low_text, high=high_text, **words)
    value = _shown(rules, trend.slope)
    signed = rules.measurand.scale == "linear"
    key = "changes" if signed else "pays" if value > 0 else "costs"
    text = DOSE_WORDS[key].format(value=_amount(rules, value if signed else abs(value), signed=signed), **words)
    text += _span(rules, ends, words, signed=signed)
    text += DOSE_WORDS["luck"].format(luck=chance(trend.p or 0.0, trend.orders), **words)
    return start + text + DOSE_WORDS["how"].format(**words)


def _span(rules: DoseRules, ends: tuple[float | None, float | None], words: dict[str, Any], *, signed: bool) -> str:
    """Say between which values one unit of dose lies."""
    known = [end for end in ends if end is not None]
    if len(known) < 2:
        return DOSE_WORDS["open"].format(**words)
    sizes = sorted(known if signed else map(abs, known))
    low, high = (_amount(rules, size, signed=signed) for size in sizes)
    return DOSE_WORDS["between"].format(low=low, high=high, **words)


def _document(result: Dosed) -> dict[str, Any] | None:
    """Give the trend of one unit of dose as plain data."""
    if result.trend is None:
        return None
    low, high = _ends(result.rules, result.trend)
    value = _shown(result.rules, result.trend.slope)
    return {"value": value, "low": low, "high": high, "coverage": 1 - result.rules.alpha}
