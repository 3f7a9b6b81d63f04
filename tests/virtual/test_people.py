"""Habits do what they say and nothing else."""

import numpy as np
import pytest

from truerun.virtual.people import (
    best_of,
    first_look_below,
    guess_by_chance,
    guess_knowing,
    lean_towards,
    leave_out_bad,
    set_up_with_slips,
)

ORDERS = np.tile(np.array([1, -1, -1, 1] * 4, dtype=np.int8), (5_000, 1))


def generator(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


class TestPeeking:
    def test_the_first_crossing_counts_even_if_it_is_lost_again(self) -> None:
        looks = np.array([[0.5, 0.05, 0.9], [0.06, 0.07, 0.08], [np.nan, np.nan, 0.01]])
        assert first_look_below(looks).tolist() == [1, -1, 2]

    def test_the_best_of_k_fair_tests_is_below_alpha_with_chance_one_minus_its_power(self) -> None:
        # 1 - .95^5 = .2262 for independent tests; standard error .003: outside .012 by luck 1 in 15 000
        p_values = generator().random((20_000, 5))
        shown = p_values[np.arange(20_000), best_of(p_values)]
        assert (shown <= 0.05).mean() == pytest.approx(1 - 0.95**5, abs=0.012)


class TestHands:
    def test_leaning_moves_the_source_only(self) -> None:
        times = np.full(ORDERS.shape, 60.0)
        moved = lean_towards(times, ORDERS, 0.1) - times
        np.testing.assert_allclose(moved, np.where(ORDERS > 0, 0.1, 0.0), atol=1e-12)  # rounding only

    def test_leaving_out_bad_runs_always_helps_the_source(self) -> None:
        times = 60 + generator().standard_normal(ORDERS.shape)

        def difference(kept: "np.ndarray[tuple[int, ...], np.dtype[np.float64]]") -> float:
            source = np.nanmean(np.where(ORDERS > 0, kept, np.nan), axis=1)
            return float((source - np.nanmean(np.where(ORDERS < 0, kept, np.nan), axis=1)).mean())

        kept = leave_out_bad(times, ORDERS, runs=2)
        assert (np.isnan(kept).sum(axis=1) == 2).all()
        assert difference(kept) > difference(times) + 0.2


class TestSlips:
    def test_one_in_sixteen_slots_is_wrong(self) -> None:
        # 80 000 slots: standard error .0009: outside .0035 by luck 1 in 10 000
        assert (set_up_with_slips(ORDERS, generator()) != ORDERS).mean() == pytest.approx(1 / 16, abs=0.0035)

    def test_nobody_slips_at_rate_zero(self) -> None:
        assert (set_up_with_slips(ORDERS, generator(), rate=0.0) == ORDERS).all()


class TestGuesses:
    def test_chance_guesses_are_balanced_and_right_half_the_time(self) -> None:
        guesses = guess_by_chance(ORDERS, generator())
        assert (guesses.sum(axis=1) == 0).all()
        # 80 000 guesses, standard error below .0018: outside .007 by luck 1 in 10 000
        assert (guesses == ORDERS).mean() == pytest.approx(0.5, abs=0.007)

    def test_a_leak_of_a_share_makes_half_of_the_rest_right(self) -> None:
        # .6 + .4 / 2; standard error .0014: outside .006 by luck 1 in 50 000
        assert (guess_knowing(ORDERS, generator(), 0.6) == ORDERS).mean() == pytest.approx(0.8, abs=0.006)
