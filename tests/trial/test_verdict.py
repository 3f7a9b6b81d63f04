"""Six verdicts, the first that holds; every sentence carries its numbers and fits its interval."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trial.constructed import NAMES, ORDER, checks, runs_of, sealed, signs, stated, table, times
from truerun.series import RunTable
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import Blinding, End, Measurand, Role
from truerun.trial.rules import Rules, rules_of_plan
from truerun.trial.verdict import Verdict, side_of_zero

SENSOR = Blinding(timing="sensor")
GAP = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"

W1 = [61.2, 58.9, 59.3, 61.9, 60.0, 62.4, 62.9, 60.8, 63.0, 61.1, 63.4, 61.5]
W2 = [60.1, 59.0, 60.6, 60.2, 61.4, 60.3, 62.0, 61.1, 61.9, 61.0, 61.2, 62.3]


def decided(values: list[float] | list[float | None], **rules: Any) -> Comparison:
    """Compare the twelve runs of the worked order."""
    return compare_runs(table(ORDER, list(values)), stated(**({"blinding": SENSOR} | rules)))


class TestTheOrderOfTheSix:
    """Method, section 5."""

    def test_a_failed_check_comes_before_any_figure(self) -> None:
        assert decided(W1, end=None).verdict is Verdict.NOT_FAIR

    def test_off_zero_comes_before_the_margin(self) -> None:
        result = decided(W1, margin=0.5)
        assert result.verdict is Verdict.ADDS
        assert "a little" in result.headline
        assert f"less than the 50{GAP}% that was called meaningful" in result.sentence

    def test_the_margin_comes_before_the_claimed_size(self) -> None:
        # W2 at 90 %: (-.0107, .0158) of ln T, so D within 2 %; the claim of 1.6 % lies inside the 95 % interval
        assert decided(W2, margin=0.02, claimed=0.016).verdict is Verdict.WITHIN_MARGIN
        assert decided(W2, margin=0.015, claimed=0.016).verdict is Verdict.INCONCLUSIVE

    def test_the_claimed_size_comes_before_the_margin_as_what_is_at_stake(self) -> None:
        # W2 at 95 %: D up to 1 - exp(-.0179887) = .01783
        assert decided(W2, claimed=0.0178).verdict is Verdict.INCONCLUSIVE
        assert decided(W2, claimed=0.0179).verdict is Verdict.NO_DIFFERENCE
        assert decided(W2, claimed=0.03, margin=0.01).verdict is Verdict.NO_DIFFERENCE
        assert decided(W2, margin=0.0156).verdict is Verdict.INCONCLUSIVE  # 90 % reaches 1 - exp(-.0157819) = .01566

    def test_a_claimed_brake_is_no_size_that_a_drive_could_reach(self) -> None:
        assert decided(W2, claimed=-0.01).verdict is Verdict.NO_DIFFERENCE

    def test_none_of_these(self) -> None:
        assert decided(W2).verdict is Verdict.NO_DIFFERENCE

    def test_takes(self) -> None:
        turned = ORDER.translate(str.maketrans("+-", "-+"))
        result = compare_runs(table(turned, list(W1)), stated(blinding=SENSOR))
        assert result.verdict is Verdict.TAKES
        assert "an invisible brake in metal" in result.sentence

    @pytest.mark.parametrize(
        ("low", "high", "allowance", "side"),
        [
            (0.01, 0.02, 0.0, Verdict.ADDS),
            (0.01, None, 0.009, Verdict.ADDS),
            (0.01, 0.02, 0.01, None),
            (-0.02, -0.01, 0.0, Verdict.TAKES),
            (None, -0.01, 0.005, Verdict.TAKES),
            (-0.02, -0.01, 0.01, None),
            (0.0, 0.02, 0.0, None),
            (None, None, 0.0, None),
        ],
    )
    def test_side_of_zero(self, low: float | None, high: float | None, allowance: float, side: Verdict | None) -> None:
        assert side_of_zero(low, high, allowance) is side


class TestSentencesCarryTheirNumbers:
    """Worked lists W1 and W2 of the method, rounded to two digits."""

    def test_adds(self) -> None:
        text = decided(W1).sentence
        assert text.startswith("If the order was drawn as stated: ")
        assert f"loses 3.7{GAP}% less" in text  # D .0365467
        assert f"between 3.4{GAP}% and 4.0{GAP}%; this method is right 95 times in 100 (12 runs)" in text
        assert "Luck alone does this in 2 of 216 orders." in text
        assert "It is not enough to run by itself." in text
        assert "The cause is not isolated: less or more load on the bearing, the air round the source and" in text

    def test_adds_with_a_claim(self) -> None:
        assert f"The 3.5{GAP}% that is claimed lies in this span." in decided(W1, claimed=0.035).sentence
        assert f"The 20{GAP}% that is claimed does not lie in this span." in decided(W1, claimed=0.2).sentence

    def test_no_difference(self) -> None:
        # limits at 90 %: 1 - exp(-.0157819) = 1.57 %, exp(.0107339) - 1 = 1.08 %
        text = decided(W2).sentence
        assert (
            f"adds anything, it is less than 1.6{GAP}% of the losses; if it takes anything, less than 1.1{GAP}%" in text
        )
        assert "each right 95 times in 100" in text

    def test_within_the_margin(self) -> None:
        text = decided(W2, margin=0.02).sentence
        assert f"smaller than the 2.0{GAP}% that was agreed" in text
        assert f"between {MINUS}1.1{GAP}% and +1.6{GAP}%, right 90 times in 100" in text

    def test_inconclusive(self) -> None:
        text = decided(W2, claimed=0.016).sentence
        assert (
            f"it also includes the 1.6{GAP}% that is claimed: it lies between {MINUS}1.5{GAP}% and +1.8{GAP}%" in text
        )
        assert re.search(r"A fresh test of about \d+ \+ \d+ runs would tell them apart", text)

    def test_what_the_plan_was_made_to_find(self) -> None:
        made = sealed(timing="sensor")
        order = signs(made)
        result = compare_runs(table(order, times(order, 1.0, spread=0.01, seed=2)), rules_of_plan(made.plan))
        assert result.verdict is Verdict.NO_DIFFERENCE
        assert re.search(r"The plan was made to find 1\.9\s% in 80 tests of 100; the runs scattered", result.sentence)
        assert "If the order was drawn" not in result.sentence

    def test_not_fair_says_how_many_checks_and_what_to_do(self) -> None:
        one, two = decided(W1, end=None), decided(W1, end=None, role=Role.SCREENING)
        assert one.sentence.startswith("One check stops the verdict: Nobody said what ended a run")
        assert two.sentence.startswith("2 checks stop the verdict; the first: Nobody said")
        for each in (one, two):
            assert "Say --end speed or --end turns" in each.sentence

    @pytest.mark.parametrize("claimed", [1.0, 1.5])
    def test_runs_by_itself_is_refuted_by_runs_that_slowed_down(self, claimed: float) -> None:
        for values in (W1, W2):
            text = decided(values, claimed=claimed).sentence
            assert f'in all 6 runs with "{NAMES.source}"' in text
        assert "is refuted" not in decided(W1, claimed=0.5).sentence
        assert "is refuted" not in decided(W1, claimed=claimed, end=End.TURNS).sentence

    def test_a_run_that_was_stopped_did_not_slow_down_through_the_window(self) -> None:
        runs = table(ORDER, list(W2), left_out=["too long", *[None] * 11])
        assert "in all 5 runs" in compare_runs(runs, stated(claimed=1.0)).sentence
        still = table(ORDER, [700.0, *W2[1:]], unfinished=[True, *[False] * 11])
        assert "is refuted" not in compare_runs(still, stated(claimed=1.0)).sentence

    def test_controls_that_were_made_shorten_what_stands(self) -> None:
        result = decided(W1, controls_done=(Role.REVERSAL, Role.DUMMY))
        assert result.verdict is Verdict.ADDS
        assert "not isolated: the field of the mains would explain it too." in result.sentence
        found = next(each for each in result.findings if each.check == "cause-not-isolated")
        assert found.remedy is not None
        assert found.remedy.startswith("Next, in this order: the same pull on the bearing")

    def test_a_control_test_says_nothing_about_causes(self) -> None:
        result = decided(W1, role=Role.DUMMY)
        assert "cause" not in result.sentence
        assert "cause-not-isolated" not in checks(result)


class TestLinearMeasurands:
    def of(self, sign: int, difference: float, **more: Any) -> Comparison:
        """A mass in grams that the source changes by so much."""
        values = [100 + difference * (each == "+") + 0.01 * (slot * 5 % 7) for slot, each in enumerate(ORDER)]
        mass = Measurand(name="mass", scale="linear", sign=1 if sign > 0 else -1, unit="g")
        runs = RunTable(tuple(runs_of(ORDER, list(values))), measure="mass", unit="g", resolution=0.01)
        return compare_runs(runs, stated(measurand=mass, **more))

    @pytest.mark.parametrize("sign", [1, -1])
    @pytest.mark.parametrize("difference", [1.0, -1.0])
    def test_more_and_less(self, sign: int, difference: float) -> None:
        result = self.of(sign, difference)
        document = result.document()
        assert result.verdict is (Verdict.ADDS if sign * difference > 0 else Verdict.TAKES)
        assert document["drive_fraction"] is document["log_time_difference"] is None
        found = document["effect"]
        assert found["low"] < found["value"] < found["high"]
        assert found["value"] == pytest.approx(difference, abs=0.03)
        assert ("higher by" if difference > 0 else "lower by") in result.sentence
        assert ("higher" if difference > 0 else "lower") in result.headline
        assert document["evidence_interval"]["low"] < difference < document["evidence_interval"]["high"]

    @pytest.mark.parametrize("sign", [1, -1])
    def test_spans_are_written_from_low_to_high(self, sign: int) -> None:
        for more in ({"margin": 0.5}, {"claimed": 0.02}):
            text = self.of(sign, 0.005, **more).sentence
            ends = re.search(r"between ([−+][\d.]+)\sg and ([−+][\d.]+)\sg", text)
            assert ends
            low, high = (float(end.replace(MINUS, "-")) for end in ends.groups())
            assert low < high

    def test_more_and_less_are_mirror_images(self) -> None:
        one, other = self.of(1, 0.3), self.of(-1, 0.3)
        assert one.figures is not None
        assert other.figures is not None
        assert one.figures.p == other.figures.p
        assert one.figures.low == pytest.approx(-(other.figures.high or math.nan))
        limits, turned = one.document()["limits"], other.document()["limits"]
        assert limits["adds_less_than"] == pytest.approx(turned["takes_less_than"])


SETTLED = st.sampled_from([None, 0.005, 0.02, 0.1])


class TestTheSentenceNeverContradictsItsInterval:
    @settings(max_examples=150, deadline=None)
    @given(
        st.integers(0, 2**32 - 1),
        st.sampled_from([0.9, 0.98, 0.995, 1.0, 1.004, 1.03]),
        st.sampled_from([0.0005, 0.005, 0.03]),
        st.tuples(SETTLED, SETTLED),
        st.booleans(),
    )
    def test_for_any_runs(
        self,
        seed: int,
        factor: float,
        spread: float,
        sizes: tuple[float | None, float | None],
        by_hand: bool,  # noqa: FBT001 - drawn
    ) -> None:
        margin, claimed = sizes
        rules: Rules = stated(margin=margin, claimed=claimed, blinding=Blinding() if by_hand else SENSOR)
        result = compare_runs(table(ORDER, times(ORDER, factor, spread, seed)), rules)
        drawn, verdict = result.figures, result.verdict
        assert drawn is not None
        assert drawn.low is not None
        assert drawn.high is not None
        found, limits = result.document()["drive_fraction"], result.document()["limits"]
        assert found["low"] <= found["value"] <= found["high"]
        off = drawn.low > 0 or drawn.high < 0
        assert off == (drawn.p <= 0.05)
        if verdict in (Verdict.ADDS, Verdict.TAKES):
            assert off
            assert (verdict is Verdict.ADDS) == (found["value"] > 0)
            assert ("less than with" in result.sentence) == (verdict is Verdict.ADDS)
            return
        by_hand = "timing by hand could make" in result.sentence or "A hand that knew" in result.sentence
        assert not off or ("hand-allowance" in checks(result) and by_hand)
        assert not off or "includes no difference" not in result.sentence
        if verdict is Verdict.WITHIN_MARGIN:
            assert margin is not None
            assert limits["adds_less_than"] < margin
            assert limits["takes_less_than"] < margin
        elif verdict is Verdict.INCONCLUSIVE:
            size = claimed if claimed is not None else margin
            assert size is not None
            assert found["high"] >= size
        else:
            assert verdict is Verdict.NO_DIFFERENCE
            size = claimed if claimed is not None else margin
            assert size is None or found["high"] < size
        for text in (result.sentence, result.headline):
            assert text.endswith(".")
            assert not re.search(r"[!{}]|\bnan\b|None", text)

    def test_passive_wheels_are_called_driven_or_braked_no_more_often_than_alpha(self) -> None:
        # attained level 10/216; 400 tests: 18.5 expected; 4 standard deviations: 1 chance in 10 000 by luck
        rng = np.random.default_rng(3)
        orders = ["++--", "+-+-", "+--+", "-++-", "-+-+", "--++"]
        alarms = 0
        for seed in range(400):
            order = "".join(rng.choice(orders, 3))
            result = compare_runs(table(order, times(order, 1.0, 0.01, seed)), stated(blinding=SENSOR))
            alarms += result.verdict in (Verdict.ADDS, Verdict.TAKES)
        assert alarms <= 18.5 + 4 * 18.5**0.5
