"""Screening: a candidate and never a verdict, judged by what luck alone lets stand out."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from truerun.errors import FitImpossible, PlanBroken, RecordingUnreadable, ValueOutOfRange
from truerun.series import Run, RunTable
from truerun.stats.rounds import every_order
from truerun.trial.screening import Screened, ScreeningPlan, screen_runs, screening_figures
from truerun.workflow.planning import plan as plan_test
from truerun.workflow.screening import ScreeningPlanResult, plan_screening, read_variants, screen

VARIANTS = tuple(f"position {number}" for number in range(1, 25))
MADE = datetime(2026, 3, 14, 17, 40, tzinfo=UTC)


def sealed(**more: object) -> ScreeningPlanResult:
    """Draw a screening of 24 positions from a fixed seed."""
    given: dict[str, object] = {"end": "speed", "seed": "a seed for the positions", "identity": "s1", "made": MADE}
    return plan_screening(VARIANTS, **given | more)  # type: ignore[arg-type]


def filled(plan: ScreeningPlan, drives: dict[str, float], spread: float = 0.01, done: int | None = None) -> RunTable:
    """Fill in the sheet: normal scatter of ln T, and a drive of some variants."""
    noise = np.random.default_rng(5).normal(size=len(plan.order)) * spread
    return RunTable(
        tuple(
            Run(slot, name, 60 * float(np.exp(extra + drives.get(name, 0.0))) if slot <= (done or 1000) else None)
            for slot, (name, extra) in enumerate(zip(plan.order, noise, strict=True), 1)
        )
    )


def screened(drives: dict[str, float], **more: object) -> Screened:
    """Screen 24 positions with some drives."""
    made = sealed().plan
    return screen_runs(filled(made, drives), made, **more)  # type: ignore[arg-type]


class TestItNamesACandidateAndNoMore:
    def test_a_large_drive_is_a_candidate(self) -> None:
        found = screened({"position 17": 0.08})
        assert found.candidate == "position 17"
        assert found.headline == "Candidate: position 17."
        assert "It decides nothing: among 24 one always looks best." in found.sentence
        assert "None of these 48 runs counts in the fresh test." in found.sentence
        assert "verdict" not in found.document()

    def test_equal_variants_name_none(self) -> None:
        found = screened({})
        assert found.candidate is None
        assert found.headline == "No candidate: no variant stands out from luck."

    def test_the_control_is_no_candidate(self) -> None:
        made = sealed(control="position 3").plan
        found = screen_runs(filled(made, {"position 3": 0.08}), made)
        assert found.candidate is None
        assert found.headline == "No candidate: the control, position 3, stands out."

    def test_less_is_more_turns_the_sign(self) -> None:
        made = sealed(less_is_more=True).plan
        assert screen_runs(filled(made, {"position 9": -0.08}), made).candidate == "position 9"

    def test_until_the_last_run_there_are_counts_only(self) -> None:
        made = sealed().plan
        found = screen_runs(filled(made, {"position 17": 0.08}, done=47), made)
        document = found.document()
        assert found.headline == "Sealed until the last run."
        assert (document["done"], document["best"], document["variants"], document["p"]) == (47, None, [], None)


class TestShrinkage:
    def test_the_parts_that_can_be_expected_are_printed(self) -> None:
        found = screened({"position 17": 0.08})
        assert found.figures is not None
        worth = found.figures.worth
        assert f"{round(100 * worth.factor)} of every 100 parts can be expected next time" in found.sentence
        assert worth.expected == worth.factor * worth.shown

    def test_where_nothing_stands_out_no_part_is_promised(self) -> None:
        found = screened({})
        assert found.candidate is None
        assert "can be expected next time; the rest" not in found.sentence
        assert "Luck alone lets one of 24 stand out as far" in found.sentence

    def test_the_spread_is_what_variants_and_rounds_leave_over(self) -> None:
        # two-way analysis of variance with one entry a cell, and a straight line within the rounds, by least squares
        rng = np.random.default_rng(3)
        used = np.concatenate([rng.permutation(5) for _ in range(3)])
        y = rng.normal(size=15)
        found = screening_figures(y, used, 3, np.vstack([used]))
        line = np.tile(np.arange(5.0), 3)
        around = y - np.repeat(y.reshape(3, 5).mean(axis=1), 5)
        level = around - np.polyfit(line, around, 1)[0] * (line - 2)
        columns = np.column_stack([np.repeat(np.eye(3), 5, axis=0), np.eye(5)[used]])
        left = level - columns @ np.linalg.lstsq(columns, level, rcond=None)[0]
        assert found.df == 7
        assert found.spread == pytest.approx((left @ left / 7) ** 0.5, rel=1e-9)

    def test_a_drift_shared_by_all_changes_nothing(self) -> None:
        made = sealed().plan
        calm = filled(made, {"position 17": 0.05})
        drifting = RunTable(
            tuple(Run(r.slot, r.condition, float((r.value or 0) * np.exp(0.004 * r.slot))) for r in calm.runs)
        )
        first, second = screen_runs(calm, made).figures, screen_runs(drifting, made).figures
        assert first is not None
        assert second is not None
        assert second.means == pytest.approx(first.means, abs=1e-12)
        assert second.p == first.p


class TestLuck:
    def test_of_all_orders_no_more_name_a_best_than_allowed(self) -> None:
        # fixed observations, every one of the 576 orders used in turn: no luck in it, whatever the noise
        orders = every_order(4, 2)
        assert orders is not None
        y = np.random.default_rng(7).standard_cauchy(8)
        p = np.array([screening_figures(y, used, 2, orders).p for used in orders])
        for level in (0.05, 0.2, 0.4):
            assert (p <= level).mean() <= level

    def test_one_run_of_each_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="nothing tells a variant from its place in time"):
            sealed(repeats=1)
        with pytest.raises(PlanBroken, match="each was run once"):
            screening_figures(np.arange(4.0), np.arange(4), 1, np.arange(4)[None, :])


class TestHolmAgainstTheControl:
    def test_against_scipy_and_statsmodels(self) -> None:
        made = sealed(control="position 1").plan
        found = screen_runs(filled(made, {"position 17": 0.05}), made, against_control=True)
        assert found.figures is not None
        means = {each.name: each.mean for each in found.variants}
        error = found.figures.spread * (2 / made.repeats) ** 0.5
        t = [(means[each.name] - means["position 1"]) / error for each in found.against]
        single = 2 * stats.t.sf(np.abs(t), found.figures.df)
        assert [each.p for each in found.against] == pytest.approx(
            list(multipletests(single, method="holm")[1]), rel=1e-9
        )

    def test_it_needs_a_sealed_control(self) -> None:
        with pytest.raises(PlanBroken, match="it names none"):
            screened({}, against_control=True)


class TestAFreshTestIsLinkedToIt:
    def test_its_values_make_a_plan(self) -> None:
        made = sealed(control="position 1").plan
        found = screen(
            filled(made, {"position 17": 0.08}),
            {**made.document(), "seal": sealed(control="position 1").seal.document()},
        )
        fresh = plan_test(found.fresh_test()).plan
        assert (fresh.conditions.source, fresh.conditions.control) == ("position 17", "position 1")
        assert fresh.main_test == "s1"
        assert fresh.pilot is not None
        assert fresh.pilot.degrees_of_freedom == 22

    def test_without_a_candidate_there_is_none(self) -> None:
        made = sealed()
        found = screen(filled(made.plan, {}), made.document())
        assert found.document()["fresh_test"] is None
        with pytest.raises(PlanBroken, match="needs a candidate"):
            found.fresh_test()


class TestSealed:
    def test_a_change_is_noticed(self) -> None:
        document = sealed().document()
        with pytest.raises(PlanBroken, match="changed after it was sealed"):
            screen({}, document | {"level": 0.4})

    def test_another_order_than_the_one_drawn_is_refused(self) -> None:
        document = sealed().document()
        with pytest.raises(RecordingUnreadable, match="the order must be the one that the seed draws"):
            screen({}, document | {"order": document["order"][::-1]})

    def test_the_code_of_another_screening_is_refused(self) -> None:
        with pytest.raises(PlanBroken, match="not the plan of this code"):
            screen({}, sealed().document(), code="7777 7777 7777 7777")


class TestRunsThatWentWrong:
    def table(self, *more: Run) -> RunTable:
        """Fill in a sheet with further lines."""
        return RunTable((*filled(sealed().plan, {}).runs, *more))

    def test_one_that_was_left_out_must_be_repeated(self) -> None:
        runs = list(filled(sealed().plan, {}).runs)
        runs[6] = Run(7, runs[6].condition, None, left_out="string caught")
        with pytest.raises(PlanBroken, match="run 7 was left out"):
            screen_runs(RunTable(tuple(runs)), sealed().plan)
        again = Run(7, runs[6].condition, 60.0, attempt=2)
        found = screen_runs(RunTable((*runs[:7], again, *runs[7:])), sealed().plan)
        assert [each.check for each in found.findings] == ["repeated"]

    @pytest.mark.parametrize("repeated", [True, False])
    def test_one_stopped_after_its_time_was_seen_counts_at_its_worst(self, *, repeated: bool) -> None:
        # as in a comparison (method, section 4): a further attempt does not mend it, so its time does not matter
        said = []
        for second in (50.0, 70.0):
            runs = list(filled(sealed().plan, {}).runs)
            again = [Run(7, runs[6].condition, second, attempt=2)] if repeated else []
            runs[6:7] = [Run(7, runs[6].condition, 61.0, left_out="knocked"), *again]
            said.append(screen_runs(RunTable(tuple(runs)), sealed().plan))
        assert [each.check for each in said[0].findings] == ["aborted-seen"]
        assert said[0].document() == said[1].document()

    def test_a_candidate_must_stay_ahead_with_such_a_run_at_its_worst(self) -> None:
        whole = filled(sealed().plan, {"position 17": 0.08})
        runs = [
            replace(run, left_out="knocked") if run.condition == "position 17" and run.slot > len(VARIANTS) else run
            for run in whole.runs
        ]
        found = screen_runs(RunTable(tuple(runs)), sealed().plan)
        assert screen_runs(whole, sealed().plan).candidate == "position 17"
        assert found.candidate is None

    def test_one_set_up_wrongly_counts_as_drawn(self) -> None:
        runs = list(filled(sealed().plan, {}).runs)
        other = next(name for name in VARIANTS if name != runs[6].condition)
        runs[6] = Run(7, other, runs[6].value)
        found, plain = screen_runs(RunTable(tuple(runs)), sealed().plan), screened({})
        assert [each.check for each in found.findings] == ["wrong-set-up"]
        assert [each.mean for each in found.variants] == [each.mean for each in plain.variants]

    def test_one_that_was_not_planned_is_refused(self) -> None:
        with pytest.raises(PlanBroken, match="has a run 49"):
            screen_runs(self.table(Run(49, "position 1", 60.0)), sealed().plan)

    def test_a_variant_that_is_not_known_is_refused(self) -> None:
        with pytest.raises(RecordingUnreadable, match='the condition is "position 99"'):
            screen_runs(self.table(Run(48, "position 99", 60.0)), sealed().plan)

    def test_runs_without_any_spread_are_refused(self) -> None:
        with pytest.raises(FitImpossible, match="do not differ at all"):
            screen_runs(filled(sealed().plan, {}, spread=0.0), sealed().plan)

    def test_a_stop_as_end_is_doubted(self) -> None:
        made = sealed(end="standstill").plan
        assert [each.check for each in screen_runs(filled(made, {}), made).findings] == ["look-standstill"]


class TestTheList:
    def test_one_a_line(self, tmp_path: Path) -> None:
        path = tmp_path / "variants.txt"
        path.write_text("# gaps\n\n 5 mm \n8 mm\n", encoding="utf-8")
        assert read_variants(path) == ["5 mm", "8 mm"]

    @pytest.mark.parametrize(
        ("names", "sentence"),
        [(["a", "b", "c"], "at least 4"), (["a", "b", "c", "a"], '"a" twice')],
    )
    def test_what_is_no_list_is_refused(self, names: list[str], sentence: str) -> None:
        with pytest.raises(ValueOutOfRange, match=sentence):
            plan_screening(names, end="speed")

    def test_a_control_must_be_on_it(self) -> None:
        with pytest.raises(ValueOutOfRange, match="one of the variants"):
            sealed(control="position 25")


def test_means_of_the_figures_belong_to_their_names() -> None:
    made = sealed().plan
    found = screen_runs(filled(made, {"position 5": 0.1, "position 20": -0.1}, spread=1e-4), made)
    means = {each.name: each.mean for each in found.variants}
    # the line in the run number is fitted blind to the variants, so it takes up some hundredths of what they differ
    assert means["position 5"] == pytest.approx(0.1, abs=0.01)
    assert means["position 20"] == pytest.approx(-0.1, abs=0.01)
    assert all(abs(mean) < 0.01 for name, mean in means.items() if name not in ("position 5", "position 20"))
