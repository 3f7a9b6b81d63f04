"""The running bet: fair whatever the observations, with known ceilings, and the same thing as its interval."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from truerun.stats.evidence import confidence_sequence, evidence, highest_evidence
from truerun.stats.orders import orders_for

Array = NDArray[np.float64]
Signs = NDArray[np.int8]


def arrangements(name: str) -> Signs:
    """The orders of one block."""
    found = orders_for(name, 12).arrangements
    assert found is not None
    return found


FOUR, PAIR = arrangements("blocks-of-four"), arrangements("pairs")


def by_the_formula(y: Array, used: Signs, kinds: Signs) -> list[float]:
    """E after each block, written down from the method, section 4, "When to stop", with no slot left out."""
    size = kinds.shape[1]
    paths = dict.fromkeys((1, -1, 2, -2, 4, -4), 1.0)
    steps, squares = [], 0.0
    for block in range(len(used) // size):
        part = y[block * size : (block + 1) * size]
        dev = part - part.mean()
        squares += float(dev @ dev)
        s = math.sqrt(squares / ((block + 1) * (size - 1)))
        for theta in paths:
            bets = [math.exp(theta * float(kind @ dev) / (2 * s)) for kind in kinds]
            mine = math.exp(theta * float(used[block * size : (block + 1) * size] @ dev) / (2 * s))
            paths[theta] *= mine / (sum(bets) / len(bets))
        steps.append(sum(paths.values()) / 6)
    return steps


class TestItIsWhatTheMethodSays:
    @pytest.mark.parametrize(("name", "runs"), [("blocks-of-four", 16), ("pairs", 14), ("abba-blocks", 12)])
    def test_second_route(self, name: str, runs: int) -> None:
        rng = np.random.default_rng(runs)
        chosen = orders_for(name, runs)
        y, used = rng.normal(size=runs) + 5, chosen.order(int(rng.integers(chosen.count)))
        assert evidence(y, used, arrangements(name)).steps == pytest.approx(
            by_the_formula(y, used, arrangements(name)), rel=1e-12
        )

    def test_nothing_was_run(self) -> None:
        assert evidence(np.zeros(0), np.zeros(0, dtype=np.int8), FOUR).last == 1.0


class TestTheBetIsFair:
    """Its mean over all orders that could have been drawn is 1: method, section 4, laws, within 1e-12."""

    @settings(max_examples=40)
    @given(st.sampled_from([("blocks-of-four", 12), ("pairs", 12), ("abba-blocks", 16)]), st.data())
    def test_for_any_observations_with_left_out_slots(self, which: tuple[str, int], data: st.DataObject) -> None:
        chosen = orders_for(*which)
        y = np.array(data.draw(st.lists(st.floats(-1e3, 1e3, width=32), min_size=chosen.runs, max_size=chosen.runs)))
        y[data.draw(st.lists(st.integers(0, chosen.runs - 1), max_size=3))] = np.nan
        kinds = arrangements(which[0])
        bets = np.array([evidence(y, used, kinds).steps for used in chosen.all()])
        assert bets.mean(axis=0) == pytest.approx(1.0, abs=1e-12)

    def test_it_reaches_twenty_in_at_most_one_order_of_twenty_however_often_one_looks(self) -> None:
        # Ville's inequality, here counted over all 1296 orders of one set of observations
        rng = np.random.default_rng(0)
        chosen = orders_for("blocks-of-four", 16)
        for scale in (1.0, 20.0):
            y = rng.normal(size=16) + scale * np.tile([1.0, -1, -1, 1], 4)
            reached = sum(evidence(y, used, FOUR).steps.max() >= 20 for used in chosen.all())
            assert reached <= 1296 / 20


class TestCeilings:
    """Method, section 4: perfect separation gives 2.478, 12.670, 67.630 in blocks of four; six pairs 20.9."""

    def test_blocks_of_four(self) -> None:
        assert highest_evidence(FOUR, 3) == pytest.approx([2.478, 12.670, 67.630], abs=5e-4)

    def test_pairs(self) -> None:
        assert highest_evidence(PAIR, 6)[-1] == pytest.approx(20.9, abs=0.05)
        assert highest_evidence(PAIR, 5)[-1] < 20

    @settings(max_examples=40)
    @given(st.lists(st.floats(-1e3, 1e3, width=32), min_size=12, max_size=12), st.integers(0, 215))
    def test_no_observations_give_more(self, values: list[float], index: int) -> None:
        steps = evidence(np.array(values), orders_for("blocks-of-four", 12).order(index), FOUR).steps
        assert (steps <= highest_evidence(FOUR, 3) * (1 + 1e-9)).all()


class TestWhatChangesNothing:
    @given(st.floats(-1e3, 1e3), st.floats(0.01, 100), st.sampled_from([1, -1]))
    def test_zero_unit_and_labels(self, shift: float, unit: float, sign: int) -> None:
        y = np.array([3.0, 1, 2, 5, 4, 2, 2, 6, 1, 1, 0, 4])
        used = orders_for("blocks-of-four", 12).order(100)
        other = evidence(sign * unit * y + shift, used, FOUR).steps
        assert other == pytest.approx(evidence(y, used, FOUR).steps, rel=1e-7)  # rounding of the shift

    def test_steps_of_the_bench_between_blocks(self) -> None:
        y = np.random.default_rng(1).normal(size=12)
        used = orders_for("blocks-of-four", 12).order(55)
        moved = y + np.repeat([0.0, 100.0, -40.0], 4)
        assert evidence(moved, used, FOUR).steps == pytest.approx(evidence(y, used, FOUR).steps, rel=1e-10)

    def test_runs_that_do_not_differ_leave_the_stake_as_it_is(self) -> None:
        y = np.full(12, math.log(59.97))
        assert evidence(y, orders_for("blocks-of-four", 12).order(3), FOUR).steps == pytest.approx(1.0, abs=0)
        y[[1, 6]] = np.nan  # the mean of three equal logarithms may round to another number
        assert evidence(y, orders_for("blocks-of-four", 12).order(3), FOUR).steps == pytest.approx(1.0, abs=0)

    def test_a_block_that_is_left_out_whole_bets_nothing(self) -> None:
        y, used = np.random.default_rng(2).normal(size=12), orders_for("blocks-of-four", 12).order(55)
        gap = y.copy()
        gap[4:8] = np.nan
        steps = evidence(gap, used, FOUR).steps
        assert steps[1] == steps[0]
        shorter = evidence(np.delete(y, range(4, 8)), np.delete(used, range(4, 8)), FOUR).steps
        assert steps[2] == pytest.approx(shorter[1], rel=1e-12)


class TestConfidenceSequence:
    @settings(max_examples=15)
    @given(st.integers(0, 2**32 - 1), st.sampled_from(["blocks-of-four", "pairs"]))
    def test_it_is_the_hull_of_what_the_bet_has_not_excluded(self, seed: int, name: str) -> None:
        rng = np.random.default_rng(seed)
        chosen, kinds = orders_for(name, 16), arrangements(name)
        used = chosen.order(int(rng.integers(chosen.count)))
        y = rng.normal(size=16) + 0.5 * used
        low, high = confidence_sequence(y, used, kinds, 0.05)
        assert low is not None
        assert high is not None
        grid = np.linspace(low - 3 * np.ptp(y), high + 3 * np.ptp(y), 400)
        open_ = [float(d) for d in grid if evidence(y - d * used / 2, used, kinds).last < 20]
        step = 0.03 * np.ptp(y)  # an island narrower than the grid of the search may be missed
        assert low <= min(open_) + 1e-9
        assert max(open_) <= high + 1e-9
        assert min(open_) <= low + step + (grid[1] - grid[0])
        assert high - step - (grid[1] - grid[0]) <= max(open_)

    def test_it_excludes_zero_exactly_where_the_bet_reaches_one_in_alpha(self) -> None:
        chosen = orders_for("blocks-of-four", 12)
        rng = np.random.default_rng(6)
        decided = 0
        for _ in range(40):
            used = chosen.order(int(rng.integers(216)))
            y = rng.normal(size=12) + rng.uniform(0, 5) * used
            low, high = confidence_sequence(y, used, FOUR, 0.05)
            outside = (low is not None and low > 0) or (high is not None and high < 0)
            assert not outside or evidence(y, used, FOUR).last >= 20
            decided += outside
        assert decided > 5

    def test_two_blocks_exclude_nothing(self) -> None:
        used = orders_for("blocks-of-four", 8).order(9)
        assert confidence_sequence(50.0 * used.astype(np.float64), used, FOUR, 0.05) == (None, None)

    def test_an_effect_moves_it_by_itself(self) -> None:
        y, used = np.random.default_rng(9).normal(size=16), orders_for("blocks-of-four", 16).order(500)
        one, other = (confidence_sequence(y + d * used / 2, used, FOUR, 0.05) for d in (0.0, 1.5))
        assert other == pytest.approx([1.5 + (end or 0.0) for end in one], abs=1e-6)

    def test_runs_that_do_not_differ_have_none(self) -> None:
        used = orders_for("blocks-of-four", 12).order(9)
        assert confidence_sequence(np.full(12, 4.1), used, FOUR, 0.05) == (None, None)
