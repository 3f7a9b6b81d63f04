"""Several finished tests together: side by side, pooled from three on, and whether there is anything at all."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible, PlanBroken
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.findings.several_words import POOL_WORDS
from truerun.stats.draw import draw_many
from truerun.stats.exact import ExactList, exact_list, nuisance_basis
from truerun.stats.orders import orders_for
from truerun.stats.pooling import (
    Consistency,
    Pooled,
    SpreadPrior,
    consistency,
    half_normal_pooled,
    leave_one_out,
    pooled,
    spread_interval,
)
from truerun.stats.stratified import Stratified, combined_evidence, stratified_test
from truerun.trial.comparison import Comparison
from truerun.trial.context import Context, amount, hand_allowance, shown
from truerun.trial.decision import SAMPLED_ORDERS, Figures
from truerun.trial.linked import Place, places
from truerun.trial.phrases import chance, stake
from truerun.trial.plan import Plan, Role
from truerun.trial.verdict import Verdict, side_of_zero

__all__ = ["Luck", "OneOfSeveral", "PooledEffects", "PooledTests", "pool_effects", "pool_tests"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PooledEffects:
    """One effect from three tests or more, with all that shows how far it may be trusted.

    All on the scale on which an effect adds. ``spread`` is the interval of the standard deviation between tests,
    ``rest`` what pooling gives without each test in turn (empty below four), ``prior`` the sensitivity line.
    """

    mean: Pooled
    spread: tuple[float, float]
    agreement: Consistency
    rest: tuple[Pooled, ...]
    prior: SpreadPrior


@dataclass(frozen=True, slots=True)
class OneOfSeveral:
    """One of the tests: ``place`` among those of its claim, ``why_not`` it is not pooled (None: it is)."""

    name: str
    comparison: Comparison
    place: Place | None
    why_not: str | None

    @property
    def opinion(self) -> tuple[float, float]:
        """Effect and its standard error, from the covariance analysis."""
        found = self.comparison.at.opinions["ancova"]
        return found.effect, found.standard_error


@dataclass(frozen=True, slots=True)
class Luck:
    """Is there anything at all: all orders of all tests together, and the product of their running bets.

    ``above`` and ``below`` are one-sided shares of combinations; ``evidence`` is None where a test has no running bet.
    """

    above: float
    below: float
    p: float
    combinations: int
    exact: bool
    evidence: float | None
    bets: int


@dataclass(frozen=True, slots=True)
class PooledTests:
    """Several tests together. ``together`` and ``verdict`` are None below three tests that can be pooled."""

    verdict: Verdict | None
    headline: str
    sentence: str
    tests: tuple[OneOfSeveral, ...]
    together: PooledEffects | None
    luck: Luck | None
    alpha: float
    findings: tuple[Finding, ...]

    @property
    def used(self) -> tuple[OneOfSeveral, ...]:
        """The tests that are pooled, or would be."""
        return tuple(test for test in self.tests if test.why_not is None)

    @property
    def at(self) -> Context:
        """Scale and names: those of the first test, which all share."""
        return self.tests[0].comparison.at

    def document(self) -> dict[str, Any]:
        """Give the tests as plain data, keys as in the schema ``truerun/pool/1``."""
        return {
            "schema": "truerun/pool/1",
            "verdict": self.verdict.value if self.verdict else None,
            "headline": self.headline,
            "sentence": self.sentence,
            "alpha": self.alpha,
            "measurand": self.at.rules.measurand.model_dump(),
            "tests": [_test_document(test) for test in self.tests],
            "pooled": _pooled_document(self, self.together) if self.together else None,
            "anything_at_all": _luck_document(self.luck) if self.luck else None,
            "findings": [found.document() for found in self.findings],
        }


def pool_effects(effects: Array, variances: Array, alpha: float = 0.05) -> PooledEffects:
    """Pool effects that are known with their standard errors.

    Parameters
    ----------
    effects, variances : array, shape (k,)
        Each test's effect on the scale on which it adds, and the square of its standard error; at least three.
    alpha : float
        One minus the coverage.

    Returns
    -------
    PooledEffects

    Raises
    ------
    FitImpossible
        If there are fewer than three tests.

    Notes
    -----
    Paule-Mandel spread, Hartung-Knapp interval with a factor of at least 1. The prior on the spread, for the
    sensitivity line only, is half-normal with the root mean square of the standard errors as its scale: own choice.

    Examples
    --------
    >>> found = pool_effects(np.array([1.0, 2.0, 6.0]), np.ones(3))
    >>> round(found.mean.effect, 3), round(found.mean.low, 3), round(found.mean.spread, 3)
    (3.0, -3.572, 2.449)
    """
    mean = pooled(effects, variances, alpha)
    low, high = spread_interval(effects, variances, alpha)
    return PooledEffects(
        mean,
        (math.sqrt(low), math.sqrt(high)),
        consistency(effects, variances),
        leave_one_out(effects, variances, alpha) if len(effects) >= 4 else (),
        half_normal_pooled(effects, variances, math.sqrt(float(variances.mean())), alpha),
    )


def pool_tests(comparisons: Sequence[Comparison], names: Sequence[str] | None = None) -> PooledTests:
    """Put finished tests together.

    Parameters
    ----------
    comparisons : sequence of Comparison
        At least two, of one measurand.
    names : sequence of str, optional
        What each is called; None: its table, else its number.

    Returns
    -------
    PooledTests

    Raises
    ------
    FitImpossible
        If there is only one test.
    PlanBroken
        If two tests measure different things, or one comes twice.
    """
    if len(comparisons) < 2:
        raise FitImpossible(f"There is {len(comparisons)} test and this needs 2. Name the others too.")
    called = list(names) if names else [test.at.table.path or f"test {n}" for n, test in enumerate(comparisons, 1)]
    _require_one_measurand(comparisons, called)
    _require_different_tests(comparisons, called)
    placed = places([test.at.rules.plan for test in comparisons])
    tests = tuple(
        OneOfSeveral(name, test, place, _why_not(test))
        for name, test, place in zip(called, comparisons, placed, strict=True)
    )
    alpha = max(_alpha(test) for test in comparisons)  # a test that ended at a planned look has a smaller one
    used = [test for test in tests if test.why_not is None]
    together = None
    if len(used) >= 3:
        effects, errors = np.array([test.opinion for test in used]).T
        together = pool_effects(effects, errors**2, alpha)
    luck = _luck(tests)
    verdict = _verdict(together, used) if together else None
    text = _sentence(tests, together, luck, alpha)
    return PooledTests(verdict, _headline(tests, verdict), text, tests, together, luck, alpha, _findings(tests))


def _alpha(test: Comparison) -> float:
    """Give the share of false alarms that a test allowed."""
    return test.at.rules.plan.alpha if test.at.rules.plan else test.at.rules.alpha


def _require_one_measurand(comparisons: Sequence[Comparison], names: Sequence[str]) -> None:
    """Refuse tests that measure different things."""
    first = comparisons[0].at.rules.measurand
    for test, name in zip(comparisons, names, strict=True):
        measured = test.at.rules.measurand
        if measured != first:
            raise PlanBroken(
                f"Tests of different things cannot be pooled: {names[0]} measures {_measured(comparisons[0])}",
                f"{name} measures {_measured(test)}",
                "Pool those that measure the same.",
            )


def _measured(test: Comparison) -> str:
    """Say what a test measures."""
    measurand = test.at.rules.measurand
    unit = f" [{measurand.unit}]" if measurand.unit else ""
    return (
        f"{measurand.name}{unit} on a {measurand.scale} scale, {'more' if measurand.sign > 0 else 'less'} is more drive"
    )


def _require_different_tests(comparisons: Sequence[Comparison], names: Sequence[str]) -> None:
    """Refuse one test twice, by its plan or by its table."""
    seen: dict[str, str] = {}
    for test, name in zip(comparisons, names, strict=True):
        plan, digest = test.at.rules.plan, test.at.table.digest
        keys = ([f"plan {plan.id}"] if plan else []) + ([f"table {digest}"] if digest else [])
        for key in keys:
            if key in seen:
                raise PlanBroken(
                    "Every test counts once", f"{seen[key]} and {name} are the same test", "Leave one of them out."
                )
        seen |= dict.fromkeys(keys, name)


def _why_not(test: Comparison) -> str | None:
    """Say why a test is not pooled, None if it is."""
    if test.verdict is None:
        return POOL_WORDS["not-complete"]
    if test.verdict is Verdict.NOT_FAIR:
        stops = [found.sentence for found in test.findings if found.severity.value == "stop"]
        return POOL_WORDS["not-fair"].format(first=stops[0])
    if test.at.rules.role not in (Role.MAIN, Role.CHALLENGE):
        return POOL_WORDS["control"].format(role=test.at.rules.role.value)
    if test.withdrawn:
        return POOL_WORDS["withdrawn"]
    if test.at.seen.capped.any():
        return POOL_WORDS["unfinished"]
    return POOL_WORDS["no-opinion"] if "ancova" not in test.at.opinions else None


def _luck(tests: Sequence[OneOfSeveral]) -> Luck | None:
    """Ask whether there is anything at all; None below two tests."""
    fair = [
        test.comparison
        for test in tests
        if test.comparison.verdict not in (None, Verdict.NOT_FAIR)
        and test.comparison.at.rules.role in (Role.MAIN, Role.CHALLENGE)
    ]
    planned = [test.at for test in fair if not test.withdrawn]
    if len(planned) < 2:
        return None
    sides = (_stratified(planned, lambda drawn: drawn.plus), _stratified(planned, lambda drawn: drawn.minus))
    bets = [test.at.drawn.evidence for test in fair]
    running = [bet.last for bet in bets if bet is not None]
    return Luck(
        sides[0].p_plus,
        sides[1].p_minus,
        min(1.0, 2 * min(sides[0].p_plus, sides[1].p_minus)),
        sides[0].combinations,
        sides[0].exact,
        combined_evidence(running) if len(running) == len(bets) else None,
        len(running),
    )


def _stratified(planned: Sequence[Context], side: Callable[[Figures], ExactList]) -> Stratified:
    """Compare each test with its own orders, weighted by the root of its number of runs."""
    lists = [_with_heap(side(at.drawn), at) for at in planned]
    heaps = [found.heap for found in lists if found.heap is not None]
    weights = [math.sqrt(int(at.seen.kept.sum())) for at in planned]
    seed = " ".join(at.drawn.seed for at in planned)
    return stratified_test(heaps, [found.delta for found in lists], weights, seed=seed)


def _with_heap(found: ExactList, at: Context) -> ExactList:
    """Draw orders by lot where they were counted and not listed."""
    if found.heap is not None:
        return found
    used = at.seen.used
    allowed = orders_for(at.rules.orders or "", len(used))
    drawn = np.array(draw_many(f"{at.drawn.seed}|list", allowed.count, SAMPLED_ORDERS), dtype=np.int64)
    orders = np.vstack([allowed.unrank(drawn), used[None, :]])
    basis = nuisance_basis(np.zeros((len(used), 0)), (), used.astype(np.float64))
    return exact_list(at.seen.y, orders, used, basis)


def _verdict(together: PooledEffects, used: Sequence[OneOfSeveral]) -> Verdict:
    """Decide on which side of zero the pooled interval lies; what a hand could make does not average out."""
    side = side_of_zero(together.mean.low, together.mean.high, _allowance(used))
    return side or Verdict.NO_DIFFERENCE


def _allowance(used: Sequence[OneOfSeveral]) -> float:
    """Give the most that a hand could have made in one of the tests, on the scale on which an effect adds."""
    return max((hand_allowance(test.comparison.at) or 0.0 for test in used), default=0.0)


def _headline(tests: Sequence[OneOfSeveral], verdict: Verdict | None) -> str:
    """Give the result in a few words."""
    if verdict is None:
        used = sum(test.why_not is None for test in tests)
        return POOL_WORDS["side-by-side" if used == 2 else "nothing"]
    measurand = tests[0].comparison.at.rules.measurand
    key = verdict.value
    if measurand.scale == "linear" and verdict is not Verdict.NO_DIFFERENCE:
        key = "higher" if (verdict is Verdict.ADDS) == (measurand.sign > 0) else "lower"
    return POOL_WORDS[key].format(name=measurand.name)


def _sentence(tests: Sequence[OneOfSeveral], together: PooledEffects | None, luck: Luck | None, alpha: float) -> str:
    """Say the result with its numbers."""
    used = [test for test in tests if test.why_not is None]
    if together is not None:
        text = _pooled_sentence(used, together, alpha)
    elif len(used) == 2:
        text = POOL_WORDS["two"]
    else:
        text = POOL_WORDS["too-few"].format(all=len(tests), count=len(used))
    if luck is not None:
        text += POOL_WORDS["luck"].format(luck=chance(luck.p, luck.combinations))
        if together is not None and luck.p <= alpha and _verdict(together, used) is Verdict.NO_DIFFERENCE:
            text += POOL_WORDS["not-alike"]
        if luck.evidence is not None:
            text += POOL_WORDS["bet"].format(count=luck.bets, evidence=stake(luck.evidence))
    decided = together is not None and _verdict(together, used) is not Verdict.NO_DIFFERENCE
    return text + (POOL_WORDS["cause"] if decided else "")


def _pooled_sentence(used: Sequence[OneOfSeveral], together: PooledEffects, alpha: float) -> str:
    """Say the pooled effect and its span."""
    at, mean = used[0].comparison.at, together.mean
    ends = sorted((shown(at, mean.low), shown(at, mean.high)))
    text = POOL_WORDS["pooled"].format(
        count=len(used),
        what="drive of the source" if at.logarithmic else f"difference in {at.rules.measurand.name}",
        value=amount(at, shown(at, mean.effect), signed=True),
        low=amount(at, ends[0], signed=True),
        high=amount(at, ends[1], signed=True),
        coverage=f"{100 * (1 - alpha):g}",
    )
    allowance = _allowance(used)
    off, kept_off = side_of_zero(mean.low, mean.high, 0.0), side_of_zero(mean.low, mean.high, allowance)
    return text + (POOL_WORDS["hand"].format(allowance=amount(at, allowance)) if off and not kept_off else "")


def _findings(tests: Sequence[OneOfSeveral]) -> tuple[Finding, ...]:
    """Say what stands against putting these tests together."""
    plans = [test.comparison.at.rules.plan for test in tests]
    found = []
    missing = sorted({absent for test in tests if test.place for absent in test.place.missing})
    if missing:
        found.append(finding("tests-missing", ids=", ".join(missing)))
    if len({test.place.claim for test in tests if test.place}) > 1:
        found.append(finding("claims-differ", claims=_claims(plans)))
    if None in plans:
        found.append(
            finding("tests-not-sealed", names=", ".join(t.name for t in tests if not t.comparison.at.rules.plan))
        )
    used = [test.comparison.at.rules for test in tests if test.why_not is None]
    if len({str((rules.end, rules.window)) for rules in used}) > 1:
        found.append(finding("windows-differ"))
    return tuple(found)


def _claims(plans: Sequence[Plan | None]) -> str:
    """Quote the different claims."""
    words = dict.fromkeys(plan.claim.words for plan in plans if plan)
    return "; ".join(f'"{each}"' for each in words)


def _test_document(test: OneOfSeveral) -> dict[str, Any]:
    """Give one test as plain data: what its own list says, and what is pooled."""
    whole = test.comparison.document()
    plan = test.comparison.at.rules.plan
    opinion = test.comparison.at.opinions.get("ancova") if test.comparison.verdict else None
    taken = ("verdict", "headline", "sentence", "drive_fraction", "effect", "p", "orders", "evidence", "inputs")
    return {
        "name": test.name,
        "plan": plan.id if plan else None,
        "claim": plan.claim.words if plan else None,
        "number": test.place.number if test.place else None,
        "of": test.place.of if test.place else None,
        "pooled": test.why_not is None,
        "why_not": test.why_not,
        **{key: whole[key] for key in taken},
        "covariance_analysis": None
        if opinion is None
        else {"value": opinion.effect, "standard_error": opinion.standard_error, "df": opinion.df},
    }


def _pooled_document(result: PooledTests, both: PooledEffects) -> dict[str, Any]:
    """Give what the tests say together as plain data; effects on the adding scale, and as a reader wants them."""
    names = [test.name for test in result.used]
    return {
        "tests": len(names),
        "drive_fraction" if result.at.logarithmic else "effect": _on_shown_scale(result.at, both.mean),
        "adding_scale": {
            "value": both.mean.effect,
            "standard_error": both.mean.standard_error,
            "low": both.mean.low,
            "high": both.mean.high,
        },
        "coverage": 1 - result.alpha,
        "spread": {"value": both.mean.spread, "low": both.spread[0], "high": both.spread[1]},
        "prediction": _prediction(result.at, both.mean),
        "agreement": {
            "q": both.agreement.q,
            "df": both.agreement.df,
            "p": both.agreement.p,
            "i_squared": both.agreement.i_squared,
        },
        "leave_one_out": [
            {"without": name} | _on_shown_scale(result.at, rest) for name, rest in zip(names, both.rest, strict=False)
        ],
        "half_normal_prior": {"scale": both.prior.scale} | _on_shown_scale(result.at, both.prior),
    }


def _on_shown_scale(at: Context, found: Pooled | SpreadPrior) -> dict[str, float]:
    """Give an effect with its span as drive fractions, or as measured."""
    low, high = sorted((shown(at, found.low), shown(at, found.high)))
    return {"value": shown(at, found.effect), "low": low, "high": high}


def _prediction(at: Context, found: Pooled) -> dict[str, float] | None:
    """Give where the true effect of one more test is expected."""
    if found.predicted_low is None or found.predicted_high is None:
        return None
    low, high = sorted((shown(at, found.predicted_low), shown(at, found.predicted_high)))
    return {"low": low, "high": high}


def _luck_document(luck: Luck) -> dict[str, Any]:
    """Give the answer to "is there anything at all" as plain data."""
    return {
        "p": luck.p,
        "p_plus": luck.above,
        "p_minus": luck.below,
        "combinations": luck.combinations,
        "exact": luck.exact,
        "evidence": luck.evidence,
    }
