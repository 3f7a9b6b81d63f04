"""Sentences of a verdict where its words and its span could quarrel.

The quarrels were found by reading thousands of made-up results word by word (``truerun.virtual.sentence_rates``);
one of each kind is kept here. Times are invented.
"""

import re

import numpy as np

from tests.trial.constructed import ORDER, runs_of, stated, table, times
from truerun.report.figures_shown import figures_shown
from truerun.series import RunTable
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import Blinding, Measurand
from truerun.trial.rules import Rules
from truerun.trial.verdict import Verdict

HAND = Blinding(grade=0, timing="hand")
SENSOR = Blinding(grade=2, timing="sensor")


def judged(factor: float, spread: float, rules: Rules, seed: int = 1) -> Comparison:
    return compare_runs(table(ORDER, times(ORDER, factor, spread, seed)), rules)


class TestASpanThatOnlyAHandKeepsFromCounting:
    rules = stated(blinding=HAND, claimed=0.002)

    def test_is_not_said_to_include_no_difference(self) -> None:
        result = judged(1.0015, 0.0005, self.rules, seed=2)
        drawn = result.at.drawn
        assert drawn.low is not None
        assert drawn.low > 0
        assert result.verdict is Verdict.INCONCLUSIVE
        assert "includes no difference" not in result.sentence
        assert "neither no difference nor" in result.sentence

    def test_names_what_a_hand_could_have_made(self) -> None:
        # .10 s for start and stop together (Am. J. Phys. 87 (2019) 110) in a minute: 0.17 %
        assert "as much as 0.17\N{NO-BREAK SPACE}%" in judged(1.0015, 0.0005, self.rules, seed=2).sentence


class TestASizeAtStakeOfNextToNothing:
    def test_is_answered_without_a_number_of_runs(self) -> None:
        rules = stated(blinding=SENSOR, margin=1e-6)
        result = judged(1.0, 0.02, rules, seed=2)
        assert result.verdict is Verdict.INCONCLUSIVE
        assert "fresh test" not in result.sentence


class TestFiguresThatPlainDigitsDoNotHold:
    def test_an_end_beside_zero_is_not_written_as_zero(self) -> None:
        # a sensor times to millionths; the span of the drive lies above 0, so no end of it may read 0.00 %
        values = [60 * (1 + 2e-5 * (sign == "+") + 1e-6 * (slot % 5)) for slot, sign in enumerate(ORDER)]
        result = compare_runs(table(ORDER, list(values)), stated(blinding=SENSOR))
        assert result.verdict is Verdict.ADDS
        assert "0.00\N{NO-BREAK SPACE}%" not in result.sentence

    def test_small_and_large_units_are_written_without_the_e_of_a_program(self) -> None:
        for size, written in ((2e-5, "×10⁻⁵\N{NO-BREAK SPACE}N m"), (2000.0, "\N{NO-BREAK SPACE}N m")):
            values = [size * (1 + 0.5 * (sign == "+") + 0.01 * (slot % 5)) for slot, sign in enumerate(ORDER)]
            rules = stated(measurand=Measurand(name="torque", scale="linear", unit="N m"), blinding=SENSOR)
            sentence = compare_runs(RunTable(tuple(runs_of(ORDER, list(values)))), rules).sentence
            assert written in sentence
            assert not re.search(r"[0-9]e[-+\N{MINUS SIGN}]?[0-9]", sentence)


class TestAClaimTheOtherWay:
    def test_of_a_drive_is_not_taken_for_the_brake_that_was_found(self) -> None:
        # "loses 5 % more, between 4.7 % and 5.3 %" and a bare "5 % that is claimed" beside it would quarrel
        result = judged(0.95, 0.003, stated(blinding=SENSOR, claimed=0.05))
        assert result.verdict is Verdict.TAKES
        assert "The +5.0\N{NO-BREAK SPACE}% that is claimed does not lie in this span." in result.sentence

    def test_where_less_is_more_the_page_and_the_sentence_agree(self) -> None:
        power = Measurand(name="power", scale="linear", sign=-1, unit="W")
        values = [10 - 2 * (sign == "+") + 0.02 * (slot % 5) for slot, sign in enumerate(ORDER)]
        rules = stated(measurand=power, blinding=SENSOR, claimed=2.0)
        result = compare_runs(RunTable(tuple(runs_of(ORDER, list(values)))), rules)
        assert "The 2\N{NO-BREAK SPACE}W that is claimed lies in this span." in result.sentence
        page = figures_shown(result)
        assert page is not None
        assert (page.found.claimed, page.found.claim) == ("\N{MINUS SIGN}2\N{NO-BREAK SPACE}W", "inside")


class TestAFreshTest:
    def test_is_never_so_small_that_its_orders_can_decide_nothing(self) -> None:
        # 4 + 4 in blocks of four have 36 orders: 2 of 36 split as clean, which is more than 5 of 100
        rules = stated(blinding=SENSOR, claimed=0.03)
        found = [judged(1.015, 0.012, rules, seed) for seed in range(40)]
        offered = [re.search(r"about ([0-9]+) [+]", each.sentence) for each in found]
        halves = [int(each[1]) for each in offered if each is not None]
        assert halves
        assert min(halves) == 6


class TestALimitOfZero:
    def test_is_next_to_nothing_and_never_less_than_zero(self) -> None:
        rules = stated(blinding=SENSOR)
        found = (judged(1.01, 0.01, rules, seed) for seed in range(60))
        nothing = [each for each in found if each.verdict is Verdict.NO_DIFFERENCE]
        zero = [each for each in nothing if each.document()["limits"]["takes_less_than"] == 0]
        assert zero
        assert all("if it takes anything, next to nothing" in each.sentence for each in zero)
        assert not any(re.search(r"less than 0[.]00\N{NO-BREAK SPACE}%", each.sentence) for each in nothing)


class TestWhereLessIsMoreDrive:
    def test_a_claim_is_written_with_the_sign_that_it_has_in_the_span(self) -> None:
        lag = Measurand(name="lag", scale="linear", sign=-1, unit="s")
        result = judged(1.0, 0.02, stated(blinding=SENSOR, measurand=lag, claimed=0.3), seed=2)
        low, high = (float(result.document()["effect"][end]) for end in ("low", "high"))
        assert result.verdict is Verdict.INCONCLUSIVE
        assert low <= -0.3 <= high
        assert "the \N{MINUS SIGN}0.3\N{NO-BREAK SPACE}s that is claimed" in result.sentence


def test_the_made_up_times_scatter_as_they_should() -> None:
    # 12 values: the standard deviation of a sample lies within half and twice the true one but for 1 in 200
    assert 0.005 < np.std(np.log([each for each in times(ORDER, 1.0, 0.01) if each])) < 0.02
