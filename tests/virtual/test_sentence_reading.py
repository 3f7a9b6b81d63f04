"""The reader finds what was put wrong into a sentence, and nothing in a right one."""

from dataclasses import replace

import numpy as np
import pytest

from tests.trial.constructed import ORDER, stated, table, times
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import Blinding
from truerun.trial.verdict import Verdict
from truerun.virtual.sentence_rates import any_result
from truerun.virtual.sentence_reading import contradictions

SPACE = "\N{NO-BREAK SPACE}"
# two lists worked by two routes in the description of the method; times are invented
ONE = [61.2, 58.9, 59.3, 61.9, 60.0, 62.4, 62.9, 60.8, 63.0, 61.1, 63.4, 61.5]
TWO = [60.1, 59.0, 60.6, 60.2, 61.4, 60.3, 62.0, 61.1, 61.9, 61.0, 61.2, 62.3]


def judged(values: list[float], margin: float | None = None, claimed: float | None = None) -> Comparison:
    rules = stated(blinding=Blinding(grade=2, timing="sensor"), margin=margin, claimed=claimed)
    return compare_runs(table(ORDER, list(values)), rules)


ADDS = judged(ONE, claimed=0.035)
NOTHING = judged(TWO)
SMALL = judged(TWO, margin=0.02)
OPEN = judged(TWO, claimed=0.01)
BRAKE = judged([1 / time for time in ONE])


@pytest.mark.parametrize(
    ("result", "verdict"),
    [
        (ADDS, Verdict.ADDS),
        (BRAKE, Verdict.TAKES),
        (NOTHING, Verdict.NO_DIFFERENCE),
        (SMALL, Verdict.WITHIN_MARGIN),
        (OPEN, Verdict.INCONCLUSIVE),
    ],
)
def test_a_right_sentence_has_no_contradiction(result: Comparison, verdict: Verdict) -> None:
    assert result.verdict is verdict
    assert contradictions(result) == ()


@pytest.mark.parametrize(
    ("result", "word", "wrong", "found"),
    [
        (ADDS, "% less than", "% more than", "the direction"),
        (ADDS, f"3.7{SPACE}%", f"3.8{SPACE}%", "the size"),
        (ADDS, f"between 3.4{SPACE}%", f"between 3.5{SPACE}%", "the span"),
        (ADDS, "claimed lies in", "claimed does not lie in", "the claim"),
        (NOTHING, f"1.6{SPACE}%", f"1.5{SPACE}%", "a limit"),
        (NOTHING, f"less than 1.1{SPACE}%", "next to nothing", "a limit"),
        (NOTHING, f"less than 1.1{SPACE}%", "an amount that cannot be bounded", "a limit"),
        (SMALL, f"the 2.0{SPACE}%", f"the 3.0{SPACE}%", "the margin"),
        (SMALL, f"+1.6{SPACE}%", f"+2.1{SPACE}%", "the span against the margin"),
        (OPEN, f"the 1.0{SPACE}%", f"the 2.0{SPACE}%", "the claim against the span"),
        (OPEN, f"+1.8{SPACE}%", f"+1.7{SPACE}%", "the span"),
    ],
)
def test_a_wrong_word_is_found(result: Comparison, word: str, wrong: str, found: str) -> None:
    assert word in result.sentence
    assert found in contradictions(replace(result, sentence=result.sentence.replace(word, wrong)))


def test_words_of_no_difference_over_a_span_beside_zero_are_found() -> None:
    said = replace(NOTHING, at=ADDS.at)
    assert "no difference, and a span beside zero" in contradictions(said)


def test_a_test_that_was_not_fair_gives_no_span_to_contradict() -> None:
    unfair = compare_runs(table(ORDER, times(ORDER)), stated(end=None))
    assert unfair.verdict is Verdict.NOT_FAIR
    assert contradictions(unfair) == ()


def test_results_of_every_kind_come_up() -> None:
    # the rarest of the five makes up some 7 % of them: none in 150 has chance 2e-5
    rng = np.random.default_rng(2)
    assert {any_result(rng).verdict for _ in range(150)} == set(Verdict) - {Verdict.NOT_FAIR}
