"""Guesses against the orders of the plan, and Bang's index against published output."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.guesses import bang_by_condition, bang_index, guess_test
from truerun.stats.orders import orders_for

BLOCKS = orders_for("blocks-of-four", 12).all()


def swapped(order: NDArray[np.int8], pairs: int) -> NDArray[np.int8]:
    """Guess an order with so many wrong pairs, each within one block."""
    guesses = order.copy()
    for block in range(pairs):
        part = guesses[4 * block : 4 * block + 4]
        part[[int(np.argmax(part)), int(np.argmin(part))]] *= -1
    return guesses


class TestMatchesAreCountedOverTheOrders:
    def test_ten_of_twelve_in_blocks_is_no_surprise(self) -> None:
        # a block of four has 1, 4, 1 orders with 4, 2, 0 matches: 12 or 10 of 12 in 1 + 3 x 4 of 216 orders
        found = guess_test(swapped(BLOCKS[100], 1), BLOCKS[100], BLOCKS)
        assert (found.matches, found.answered) == (10, 12)
        assert found.p == 13 / 216
        assert stats.binomtest(10, 12, alternative="greater").pvalue == pytest.approx(0.0193, abs=5e-5)

    def test_all_right_is_one_order(self) -> None:
        assert guess_test(BLOCKS[7], BLOCKS[7], BLOCKS).p == 1 / 216

    def test_a_lady_tasting_tea(self) -> None:
        # R. A. Fisher (1935): eight cups, four of each: 1 of 70 all right, 17 of 70 three of four or better
        cups = orders_for("complete", 8).all()
        guesses = cups[30].copy()
        assert guess_test(guesses, cups[30], cups).p == 1 / 70
        guesses[[int(np.argmax(guesses)), int(np.argmin(guesses))]] *= -1
        assert guess_test(guesses, cups[30], cups).p == 17 / 70
        table = [[3, 1], [1, 3]]
        assert stats.fisher_exact(table, alternative="greater").pvalue == pytest.approx(17 / 70, rel=1e-12)

    def test_who_does_not_know_matches_nothing(self) -> None:
        nothing = np.zeros(12, dtype=np.int8)
        assert guess_test(nothing, BLOCKS[0], BLOCKS).p == 1.0
        half = swapped(BLOCKS[0], 0)
        half[6:] = 0
        found = guess_test(half, BLOCKS[0], BLOCKS)
        assert (found.matches, found.answered) == (6, 6)
        # the first block and half of the second are fixed: 6 of 216 orders for the third times those of the second
        matching = (BLOCKS[:, :6] == BLOCKS[0, :6]).all(axis=1).mean()
        assert found.p == pytest.approx(matching, rel=1e-12)

    def test_for_any_guesses_no_more_orders_than_stated_call_it_known(self) -> None:
        guesses = np.random.default_rng(1).integers(-1, 2, size=12).astype(np.int8)
        p = np.array([guess_test(guesses, used, BLOCKS).p for used in BLOCKS])
        for alpha in (0.02, 0.05, 0.2):
            assert (p <= alpha).mean() <= alpha

    def test_what_does_not_fit_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="number of guesses"):
            guess_test(BLOCKS[0][:11], BLOCKS[0], BLOCKS)
        with pytest.raises(ValueOutOfRange, match="not among the orders"):
            guess_test(BLOCKS[0], np.ones(12, dtype=np.int8), BLOCKS)


class TestBangsIndex:
    # H. Bang et al. (2004); example and output as in the documentation of BlindingIndex.jl, a port of R's BI 1.2.0:
    # treatment .115 (.018) .08 to .15; placebo .022 (.019) -.016 to .06
    def test_published_example(self) -> None:
        treatment, placebo = bang_index(48, 4, 330), bang_index(30, 22, 319)
        assert (treatment.index, treatment.standard_error) == pytest.approx((0.115, 0.018), abs=6e-4)
        assert (treatment.low, treatment.high) == pytest.approx((0.080, 0.150), abs=6e-4)
        assert (placebo.index, placebo.standard_error) == pytest.approx((0.022, 0.019), abs=6e-4)
        assert (placebo.low, placebo.high) == pytest.approx((-0.016, 0.060), abs=6e-4)

    def test_the_ends_of_the_scale(self) -> None:
        assert (bang_index(6, 0, 0).index, bang_index(0, 6, 0).index, bang_index(3, 3, 0).index) == (1, -1, 0)
        assert bang_index(6, 0, 0).standard_error == 0

    def test_standard_error_against_the_spread_of_single_answers(self) -> None:
        answers = np.repeat([1.0, -1.0, 0.0], [7, 3, 5])
        assert bang_index(7, 3, 5).standard_error == pytest.approx(answers.std() / 15**0.5, rel=1e-12)

    def test_each_condition_is_counted_by_itself(self) -> None:
        used = np.array([1, 1, 1, -1, -1, -1], dtype=np.int8)
        guesses = np.array([1, -1, 0, -1, -1, 1], dtype=np.int8)
        source, control = bang_by_condition(guesses, used)
        assert source == bang_index(1, 1, 1)
        assert control == bang_index(2, 1, 0)

    def test_no_guesses(self) -> None:
        with pytest.raises(FitImpossible, match="no guesses"):
            bang_index(0, 0, 0)
