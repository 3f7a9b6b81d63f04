"""Several tests together: published meta-analyses through the same road, and what may not be pooled."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import FitImpossible, PlanBroken
from truerun.series import Run, RunTable
from truerun.stats.orders import orders_for
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.linked import places
from truerun.trial.plan import Blinding, Conditions, End, Measurand, Plan
from truerun.trial.pooled import PooledTests, pool_effects, pool_tests
from truerun.trial.rules import Rules, rules_of_plan
from truerun.trial.verdict import Verdict
from truerun.workflow.planning import plan

Array = NDArray[np.float64]

SETS: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "data" / "stats" / "pooling_sets.json").read_text("utf-8")
)
NAMES = Conditions(source="in", control="out")


def sealed(number: int, **more: Any) -> Plan:
    """Make a plan that differs from others in id, seed and minute."""
    request = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed", "timing": "sensor", "runs": 12}
    return plan(request | more, seed=f"a seed for test number {number}").plan.model_copy(
        update={"id": f"plan {number}", "made": f"2026-03-14T17:{number:02d}:00Z"}
    )


def finished(
    made: Plan, drive: float = 0.03, *, spread: float = 0.004, done: int | None = None, seed: int = 1
) -> Comparison:
    """Make the runs of a plan, all or the first few, and compare."""
    noise = np.random.default_rng(seed).normal(size=made.runs) * spread
    times = 60 * np.exp(noise - np.log1p(-drive) * (made.signs > 0))
    runs = tuple(
        Run(slot, name, round(float(time), 3) if slot <= (done or made.runs) else None)
        for slot, (name, time) in enumerate(zip(made.order, times, strict=True), 1)
    )
    return compare_runs(RunTable(runs, resolution=0.001), rules_of_plan(made))


def several(count: int, **more: Any) -> list[Comparison]:
    """Make several finished tests of one claim."""
    return [finished(sealed(number), seed=number, **more) for number in range(1, count + 1)]


def stored(name: str) -> tuple[Array, Array]:
    """Give effects and variances of a stored set."""
    found = SETS[name]
    if "variances" in found:
        return np.array(found["estimates"]), np.array(found["variances"])
    return np.array(found["estimates"]), np.array(found["standard_uncertainties"]) ** 2


class TestPublishedMetaAnalysesComeOutOfTheSameRoad:
    def test_bcg_vaccine(self) -> None:
        # Colditz (1994), thirteen trials; tau^2 .3181 and its interval, Q, I^2 as in the documentation of R's metafor
        found = pool_effects(*stored("bcg"))
        assert found.mean.spread**2 == pytest.approx(0.3181, abs=5e-5)
        assert [end**2 for end in found.spread] == pytest.approx((0.1197, 1.1115), abs=5e-5)
        assert (found.agreement.q, found.agreement.i_squared) == pytest.approx((152.2330, 0.921173), abs=5e-5)
        assert len(found.rest) == 13

    def test_teachers_expectations(self) -> None:
        # Raudenbush (1985), nineteen experiments: Q 35.83 (effects stored to .01); mean and standard error lie near
        # the published Knapp-Hartung .0893 and .0636, whose spread is by moments and not Paule-Mandel
        found = pool_effects(*stored("raudenbush"))
        assert found.agreement.q == pytest.approx(35.8295, abs=2e-3)
        assert found.mean.effect == pytest.approx(0.0893, abs=0.02)
        assert found.mean.standard_error == pytest.approx(0.0636, rel=0.25)

    def test_length_of_stay(self) -> None:
        # Normand (1999), table 9: the moment and likelihood estimates of the spread are 218.7 and 685.2 and the
        # means -14.10 and -15.12; Paule-Mandel solves its own equation, checked here as such
        rows = SETS["normand"]["rows"]
        effects = np.array([row["m1"] - row["m2"] for row in rows])
        squares = np.array([(row["n1"] - 1) * row["sd1"] ** 2 + (row["n2"] - 1) * row["sd2"] ** 2 for row in rows])
        sizes = np.array([(row["n1"], row["n2"]) for row in rows])
        variances = squares / (sizes.sum(axis=1) - 2) * (1 / sizes).sum(axis=1)
        found = pool_effects(effects, variances)
        assert 218.7 < found.mean.spread**2 < 1000
        assert -16 < found.mean.effect < -14
        scatter = ((effects - found.mean.effect) ** 2 / (variances + found.mean.spread**2)).sum()
        assert scatter == pytest.approx(8, rel=1e-9)  # the equation that Paule and Mandel solve


class TestHowManyTests:
    def test_one_is_refused(self) -> None:
        with pytest.raises(FitImpossible, match="this needs 2"):
            pool_tests(several(1))

    def test_two_stand_side_by_side(self) -> None:
        found = pool_tests(several(2))
        assert found.verdict is None
        assert found.together is None
        assert found.headline == "Two tests, side by side."
        assert found.luck is not None

    def test_three_are_pooled(self) -> None:
        found = pool_tests(several(3))
        assert found.verdict is Verdict.ADDS
        assert found.together is not None
        assert found.together.rest == ()
        assert "Taken together, 3 tests put the drive of the source at +3" in found.sentence

    def test_from_four_on_each_is_left_out_in_turn(self) -> None:
        found = pool_tests(several(4))
        assert found.together is not None
        assert len(found.together.rest) == 4
        assert len(found.document()["pooled"]["leave_one_out"]) == 4

    def test_a_brake_is_found_as_readily(self) -> None:
        assert pool_tests(several(3, drive=-0.03)).verdict is Verdict.TAKES

    def test_nothing_is_no_difference(self) -> None:
        assert pool_tests(several(3, drive=0.0)).verdict is Verdict.NO_DIFFERENCE

    @pytest.mark.parametrize(("drive", "said"), [(0.05, True), (0.0, False)])
    def test_a_sum_that_decides_says_that_the_cause_is_no_surer(self, drive: float, said: bool) -> None:  # noqa: FBT001  a row of a table
        assert ("not its cause" in pool_tests(several(3, drive=drive)).sentence) is said


class TestWhatIsPooledIsTheCovarianceAnalysis:
    def test_on_the_adding_scale(self) -> None:
        tests = several(3)
        pairs = np.array([(t.at.opinions["ancova"].effect, t.at.opinions["ancova"].standard_error) for t in tests])
        expected = pool_effects(pairs[:, 0], pairs[:, 1] ** 2).mean
        document = pool_tests(tests).document()["pooled"]
        assert document["adding_scale"]["value"] == expected.effect
        assert document["drive_fraction"]["low"] == pytest.approx(1 - np.exp(-expected.low), rel=1e-12)

    def test_its_effect_is_that_of_the_exact_list(self) -> None:
        for test in several(3):
            assert test.at.opinions["ancova"].effect == pytest.approx(test.at.effect, rel=1e-9)


class TestIsThereAnythingAtAll:
    def test_evidence_is_the_product(self) -> None:
        tests = several(3, drive=0.002)
        luck = pool_tests(tests).luck
        assert luck is not None
        bets = [test.at.drawn.evidence for test in tests]
        assert luck.evidence == pytest.approx(np.prod([bet.last for bet in bets if bet is not None]))

    def test_every_combination_of_orders_is_counted(self) -> None:
        luck = pool_tests(several(3)).luck
        assert luck is not None
        assert luck.exact
        assert luck.combinations == orders_for("blocks-of-four", 12).count ** 3

    def test_three_drives_give_less_luck_than_any_list_alone_can(self) -> None:
        luck = pool_tests(several(3, drive=0.01)).luck
        assert luck is not None
        assert luck.p < 2 / 216

    def test_orders_that_are_counted_and_not_listed_are_drawn(self) -> None:
        # 12 + 12 in any order: 2.7 million orders, whose list is counted; two tests of it against the p of one
        tests = [finished(sealed(n, runs=24, orders="complete", adjust="none"), 0.002, seed=n) for n in (1, 2)]
        assert [test.at.drawn.plus.heap for test in tests] == [None, None]
        luck = pool_tests(tests).luck
        assert luck is not None
        assert luck.combinations == 100_000**2
        assert 0 < luck.p <= 1


class TestCoverage:
    def test_the_one_that_the_plans_agreed_on(self) -> None:
        tests = [finished(sealed(n, alpha=0.1), seed=n) for n in (1, 2, 3)]
        found = pool_tests(tests)
        assert found.alpha == 0.1
        assert "right 90 times in 100" in found.sentence


class TestWhatIsNotPooled:
    def reasons(self, found: PooledTests) -> list[str | None]:
        """Give why each test is not pooled."""
        return [test.why_not for test in found.tests]

    def test_a_test_that_is_not_complete_stays_covered(self) -> None:
        found = pool_tests([*several(3), finished(sealed(9), done=6)])
        assert self.reasons(found)[:3] == [None] * 3
        assert "not all done" in str(self.reasons(found)[3])
        assert found.document()["tests"][3]["drive_fraction"] is None
        assert found.document()["tests"][3]["covariance_analysis"] is None

    def test_a_test_that_is_not_fair_says_why(self) -> None:
        table = finished(sealed(9)).at.table
        unfair = compare_runs(table, Rules(conditions=NAMES, end=End.SPEED, blinding=Blinding(timing="sensor")))
        found = pool_tests([*several(2), unfair])
        assert "not a fair test: Nothing says that the order of the runs was drawn by lot." in str(
            self.reasons(found)[2]
        )
        assert found.verdict is None

    def test_a_control_is_no_test_of_the_source(self) -> None:
        control = finished(sealed(9, role="dummy", main_test="plan 1"))
        assert "something else: dummy" in str(self.reasons(pool_tests([*several(2), control]))[2])

    def test_different_measurands_are_refused(self) -> None:
        other = finished(sealed(9))
        rules = Rules(NAMES, Measurand(scale="linear"), End.SPEED, orders="blocks-of-four")
        with pytest.raises(PlanBroken, match="linear scale"):
            pool_tests([*several(2), compare_runs(other.at.table, rules)])

    def test_one_test_twice_is_refused(self) -> None:
        tests = several(2)
        with pytest.raises(PlanBroken, match="test 1 and test 3 are the same test"):
            pool_tests([*tests, tests[0]])


class TestTestsOfOneClaimAreLinked:
    def test_by_its_words_in_the_order_of_their_seals(self) -> None:
        plans = [sealed(3), sealed(1), sealed(2, claim="it  GAINS.")]
        assert [(place.number, place.of) for place in places(plans) if place] == [(3, 3), (1, 3), (2, 3)]

    def test_by_the_test_that_is_answered(self) -> None:
        plans = [sealed(1), sealed(2, claim="Not with plywood.", role="challenge", main_test="plan 1")]
        assert [(place.claim, place.number, place.of) for place in places(plans) if place] == [(0, 1, 2), (0, 2, 2)]

    def test_a_test_that_is_not_here_is_said(self) -> None:
        tests = [finished(sealed(n, role="challenge", main_test="plan 77"), seed=n) for n in (1, 2)]
        found = pool_tests(tests)
        assert [place.of for test in found.tests if (place := test.place)] == [3, 3]
        assert [each.check for each in found.findings] == ["tests-missing"]
        assert "plan 77" in found.findings[0].sentence

    def test_a_screening_before_it_is_no_test(self) -> None:
        (place,) = places([sealed(1, main_test="a screening")])
        assert place is not None
        assert (place.of, place.missing) == (1, ())

    def test_different_claims_are_doubted(self) -> None:
        tests = [finished(sealed(n, claim=f"Claim {n}."), seed=n) for n in (1, 2, 3)]
        assert "claims-differ" in [each.check for each in pool_tests(tests).findings]

    def test_a_table_without_a_plan_is_doubted(self) -> None:
        table = finished(sealed(9)).at.table
        rules = Rules(NAMES, end=End.SPEED, orders="blocks-of-four", blinding=Blinding(timing="sensor"))
        found = pool_tests([*several(2), compare_runs(table, rules)])
        assert found.tests[2].place is None
        assert "tests-not-sealed" in [each.check for each in found.findings]


class TestAHandDoesNotAverageOut:
    def test_a_span_beside_zero_by_less_than_a_hand_could_make_does_not_count(self) -> None:
        by_hand = [finished(sealed(n, timing="hand"), 0.0017, spread=0.0005, seed=n) for n in (1, 2, 3, 4)]
        by_sensor = [finished(sealed(n), 0.0017, spread=0.0005, seed=n) for n in (1, 2, 3, 4)]
        sure, doubtful = pool_tests(by_sensor), pool_tests(by_hand)
        assert sure.together is not None
        assert 0 < sure.together.mean.low < 0.1 / 60  # .10 s of a minute
        assert (sure.verdict, doubtful.verdict) == (Verdict.ADDS, Verdict.NO_DIFFERENCE)
        assert "timing by hand" in doubtful.sentence
        assert sure.document()["pooled"] == doubtful.document()["pooled"]

    def test_on_a_linear_scale_the_hand_is_reckoned_in_seconds(self) -> None:
        linear = {"measurand": Measurand(scale="linear")}
        plans = [sealed(n, timing="hand").model_copy(update=linear) for n in (1, 2, 3, 4)]
        tests = [finished(made, 0.0015, spread=0.0005, seed=n) for n, made in enumerate(plans, 1)]
        found = pool_tests(tests)
        assert found.together is not None
        assert 0.002 < found.together.mean.low < 0.1  # s: beyond .10 s / 60 s as a bare number, within .10 s
        assert found.verdict is Verdict.NO_DIFFERENCE
        assert "less than the 0.1\N{NO-BREAK SPACE}s that timing by hand could make" in found.sentence
