"""Sets of orders: how many there are, each once, and what they can decide."""

from __future__ import annotations

import math
from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from truerun.errors import ValueOutOfRange
from truerun.stats.orders import (
    ENUMERATED_AT_MOST,
    ORDER_SETS,
    attained_level,
    orders_for,
    rejecting_orders,
    smallest_p,
)


class TestTheTableOfTheMethod:
    """Method, section 4, "Orders": count, smallest two-sided p, levels attained at 5 % and 1 %."""

    @pytest.mark.parametrize(
        ("name", "runs", "count", "p", "levels"),
        [
            ("complete", 6, 20, 0.100, (0, 0)),
            ("restricted", 8, 50, 0.040, (0.040, 0)),
            ("restricted", 10, 144, 0.0139, (0.0417, 0)),
            ("blocks-of-four", 12, 216, 0.0093, (0.0463, 0.0093)),
            ("blocks-of-four", 16, 1296, 0.0015, (0.0494, 0.0093)),
            ("pairs", 12, 64, 0.031, (0.031, 0)),
            ("pairs", 16, 256, 0.0078, (0.047, 0.0078)),
            ("abba-blocks", 24, 64, 0.031, (0.031, 0)),
        ],
    )
    def test_row(self, name: str, runs: int, count: int, p: float, levels: tuple[float, float]) -> None:
        assert orders_for(name, runs).count == count
        assert smallest_p(count) == pytest.approx(p, rel=0.04)  # printed with two digits
        assert attained_level(count, 0.05) == pytest.approx(levels[0], rel=0.02)
        assert attained_level(count, 0.01) == pytest.approx(levels[1], rel=0.02)

    @pytest.mark.parametrize(("runs", "p"), [(6, 0.1), (8, 0.02857), (10, 0.00794)])
    def test_smallest_p_of_complete_orders(self, runs: int, p: float) -> None:
        # smallest exact two-sided p of a permutation test: 3+3 .1, 4+4 .02857, 5+5 .00794 (2 / C(2h, h))
        assert smallest_p(orders_for("complete", runs).count) == pytest.approx(p, abs=5e-6)

    def test_alternation_alone_cannot_decide_below_twelve_and_twelve(self) -> None:
        able = [runs for runs in range(4, 40, 4) if rejecting_orders(orders_for("abba-blocks", runs).count, 0.05) >= 1]
        assert able[0] == 24


class TestEachOrderOnce:
    @pytest.mark.parametrize(
        ("name", "runs"),
        [
            ("blocks-of-four", 12),
            ("pairs", 12),
            ("abba-blocks", 24),
            ("complete", 10),
            ("complete", 16),
            ("restricted", 8),
            ("restricted", 12),
        ],
    )
    def test_listed_sets_have_no_order_twice_and_all_are_balanced(self, name: str, runs: int) -> None:
        chosen = orders_for(name, runs)
        orders = chosen.all()
        assert orders.shape == (chosen.count, runs)
        assert len(np.unique(orders, axis=0)) == chosen.count
        assert set(np.unique(orders)) == {-1, 1}
        assert not orders.sum(axis=1).any()
        assert all(chosen.contains(order) for order in orders[:: max(1, len(orders) // 40)])

    def test_complete_orders_are_all_ways_to_choose(self) -> None:
        # second route: every distinct arrangement of four and four
        listed = {tuple(order) for order in orders_for("complete", 8).all().tolist()}
        assert listed == set(permutations([1] * 4 + [-1] * 4))

    def test_blocks_are_every_combination_of_the_six_arrangements(self) -> None:
        six = sorted(set(permutations([1, 1, -1, -1])))
        wanted = {first + second for first, second in product(six, six)}
        assert {tuple(order) for order in orders_for("blocks-of-four", 8).all().tolist()} == wanted

    @pytest.mark.parametrize("runs", [6, 8, 10, 12])
    def test_restricted_orders_by_the_words_of_the_rule(self, runs: int) -> None:
        # no condition more than three times running, mean slots of the conditions within two
        def kept(order: tuple[int, ...]) -> bool:
            text = "".join("+" if sign > 0 else "-" for sign in order)
            slots = np.arange(1, runs + 1)
            signs = np.array(order)
            apart = abs(float(slots[signs > 0].mean() - slots[signs < 0].mean()))
            return "++++" not in text and "----" not in text and apart <= 2 + 1e-12

        wanted = {order for order in product((1, -1), repeat=runs) if sum(order) == 0 and kept(order)}
        assert {tuple(order) for order in orders_for("restricted", runs).all().tolist()} == wanted

    @given(st.sampled_from([("complete", 24), ("complete", 60), ("blocks-of-four", 60), ("pairs", 60)]), st.data())
    def test_neighbours_in_a_set_too_large_to_list_differ(self, which: tuple[str, int], data: st.DataObject) -> None:
        chosen = orders_for(*which)
        first = data.draw(st.integers(0, chosen.count - 2))
        orders = chosen.unrank(np.array([first, first + 1]))
        assert (orders[0] != orders[1]).any()
        assert not orders.sum(axis=1).any()
        assert chosen.contains(orders[0])

    @given(st.integers(0, math.comb(24, 12) - 1))
    def test_complete_orders_count_back_to_their_number(self, index: int) -> None:
        # combinatorial number system: where slot i is a control run, all orders with a source run there come before
        order = orders_for("complete", 24).order(index)
        left, number = 12, 0
        for slot, sign in enumerate(order):
            if sign > 0:
                left -= 1
            elif left:
                number += math.comb(23 - slot, left - 1)
        assert number == index

    @pytest.mark.parametrize(("name", "runs"), [("blocks-of-four", 92), ("pairs", 124), ("complete", 60)])
    def test_the_last_order_of_the_largest_sets_is_right(self, name: str, runs: int) -> None:
        chosen = orders_for(name, runs)
        assert chosen.count < 2**63  # numbers of orders are 64-bit integers
        last = chosen.order(chosen.count - 1)
        assert chosen.contains(last)
        end = {"blocks-of-four": [-1, -1, 1, 1], "pairs": [-1, 1], "complete": [1, 1]}[name]
        assert last[-len(end) :].tolist() == end


class TestMembership:
    def test_orders_outside_a_set(self) -> None:
        fours = orders_for("blocks-of-four", 8)
        assert not fours.contains(np.array([1, 1, 1, -1, -1, -1, -1, 1], dtype=np.int8))
        assert not fours.contains(np.array([1, -1, -1, 1], dtype=np.int8))
        halves = np.array([-1] * 4 + [1] * 4, dtype=np.int8)
        assert orders_for("complete", 8).contains(halves)
        assert not orders_for("restricted", 8).contains(halves)
        assert not orders_for("abba-blocks", 4).contains(np.array([1, -1, 1, -1], dtype=np.int8))


class TestRefusals:
    @pytest.mark.parametrize(
        ("name", "runs"),
        [
            ("blocks-of-four", 14),
            ("blocks-of-four", 0),
            ("blocks-of-four", 96),
            ("pairs", 7),
            ("pairs", 126),
            ("complete", 9),
            ("complete", 62),
            ("restricted", 22),
            ("abba-blocks", 10),
        ],
    )
    def test_a_length_that_a_set_does_not_have(self, name: str, runs: int) -> None:
        with pytest.raises(ValueOutOfRange, match=f"The number of runs is {runs}"):
            orders_for(name, runs)

    def test_an_unknown_name_lists_the_known_ones(self) -> None:
        with pytest.raises(ValueOutOfRange, match='"fours"; it must be one of blocks-of-four, pairs'):
            orders_for("fours", 12)

    def test_large_sets_are_not_listed(self) -> None:
        with pytest.raises(ValueOutOfRange, match=f"at most {ENUMERATED_AT_MOST}"):
            orders_for("complete", 24).all()

    def test_every_set_is_in_the_table_above(self) -> None:
        assert set(ORDER_SETS) == {"blocks-of-four", "pairs", "complete", "restricted", "abba-blocks"}


class TestAlphaIsADecimalFraction:
    def test_the_last_digit_decides_nothing(self) -> None:
        # .05 in binary is a little more than 1/20; 40 orders at .05 make exactly 1 a side
        assert rejecting_orders(40, 0.05) == 1
        assert rejecting_orders(39, 0.05) == 0
        assert rejecting_orders(20, 0.1) == 1
        assert rejecting_orders(20, 2 * 0.05) == 1

    @given(st.integers(2, 10**6), st.integers(1, 499))
    def test_whole_numbers_agree(self, count: int, thousandths: int) -> None:
        assert rejecting_orders(count, thousandths / 1000) == count * thousandths // 2000
