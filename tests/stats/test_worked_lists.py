"""The exact list on data that were worked out elsewhere: the method's own lists, Fisher's maize, Student's sleep."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.stats.complete import complete_list
from truerun.stats.evidence import confidence_sequence, evidence
from truerun.stats.exact import ExactList, attained, exact_list, interval, nuisance_basis, severity, two_sided_p
from truerun.stats.opinions import welch
from truerun.stats.orders import orders_for

ORDER = np.array([1 if sign == "+" else -1 for sign in "+--+-++-+-+-"], dtype=np.int8)
W1 = np.log([61.2, 58.9, 59.3, 61.9, 60.0, 62.4, 62.9, 60.8, 63.0, 61.1, 63.4, 61.5])
W2 = np.log([60.1, 59.0, 60.6, 60.2, 61.4, 60.3, 62.0, 61.1, 61.9, 61.0, 61.2, 62.3])

# C. Darwin, The Effects of Cross and Self Fertilisation (1876), differences in eighths of an inch, as in
# R. A. Fisher, The Design of Experiments (1935), section 17.
MAIZE = np.array([49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48], dtype=np.float64)

# Student, Biometrika 6 (1908) 1: hours of extra sleep.
FIRST = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
SECOND = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])


def in_blocks(y: NDArray[np.float64]) -> ExactList:
    """List of a worked example: three blocks of four, run number adjusted."""
    slots = np.arange(1.0, 13.0)[:, None]
    basis = nuisance_basis(slots, ("run-number",), ORDER.astype(np.float64))
    return exact_list(y, orders_for("blocks-of-four", 12).all(), ORDER, basis)


def in_pairs(differences: NDArray[np.float64]) -> ExactList:
    """List of paired differences: in each pair the source came first."""
    y = np.column_stack([differences, np.zeros(len(differences))]).ravel()
    used = np.tile(np.array([1, -1], dtype=np.int8), len(differences))
    orders = orders_for("pairs", len(y)).all()
    return exact_list(y, orders, used, nuisance_basis(np.zeros((len(y), 0)), (), used.astype(np.float64)))


class TestFirstWorkedList:
    """Own data, two independent routes; figures as worked out with the method."""

    def test_effect_p_and_intervals(self) -> None:
        found = in_blocks(W1)
        assert two_sided_p(found) * 216 == pytest.approx(2)
        assert found.delta == pytest.approx(0.0372312, abs=5e-8)  # all printed digits
        assert interval(found, 0.05) == pytest.approx((0.0341098, 0.0405926), abs=5e-8)
        assert interval(found, 0.01) == pytest.approx((0.0329651, 0.0422957), abs=5e-8)
        assert attained(found, 0.05) == pytest.approx(1 - 10 / 216)

    def test_drive_fraction(self) -> None:
        found = in_blocks(W1)
        ends = [found.delta, *(end or 0.0 for end in interval(found, 0.05))]
        assert [1 - math.exp(-end) for end in ends] == pytest.approx([0.0365467, 0.0335346, 0.0397798], abs=5e-8)

    def test_running_bet(self) -> None:
        four = orders_for("blocks-of-four", 12).arrangements
        assert four is not None
        assert evidence(W1, ORDER, four).steps == pytest.approx([2.429248, 11.886803, 59.996470], abs=5e-7)
        assert confidence_sequence(W1, ORDER, four, 0.05) == pytest.approx((0.0237, 0.0490), abs=5e-5)

    def test_second_opinion(self) -> None:
        other = welch(W1[ORDER > 0], W1[ORDER < 0])
        assert (other.low, other.high) == pytest.approx((0.0160779, 0.0557366), abs=5e-8)


class TestSecondWorkedList:
    """Own data, two independent routes where said."""

    def test_effect_p_and_intervals(self) -> None:
        found = in_blocks(W2)
        assert two_sided_p(found) * 216 == pytest.approx(166)
        assert found.delta == pytest.approx(0.0019518, abs=5e-8)
        assert interval(found, 0.05) == pytest.approx((-0.0146301, 0.0179887), abs=5e-8)
        assert interval(found, 0.10) == pytest.approx((-0.0107339, 0.0157819), abs=5e-8)

    def test_severity(self) -> None:
        effects = -np.log1p(-np.array([0.01, 0.015, 0.02]))
        assert severity(in_blocks(W2), effects) == pytest.approx([0.8750, 0.9491, 0.9907], abs=5e-5)

    def test_running_bet(self) -> None:
        four = orders_for("blocks-of-four", 12).arrangements
        assert four is not None
        assert evidence(W2, ORDER, four).last == pytest.approx(0.0995397, abs=5e-8)

    def test_strong_marks_of_the_luck_picture_number_p_times_m(self) -> None:
        for y in (W1, W2):
            found = in_blocks(y)
            assert found.heap is not None
            strong = (np.abs(found.heap) >= abs(found.delta) - 1e-12).sum()
            assert strong == round(two_sided_p(found) * found.orders)


class TestDarwinsMaize:
    """Fisher (1935), section 21: 863 of 32768 sign assignments reach the sum of 314."""

    def test_p(self) -> None:
        assert two_sided_p(in_pairs(MAIZE)) == pytest.approx(1726 / 32768)

    def test_intervals_by_inversion(self) -> None:
        found = in_pairs(MAIZE)
        assert interval(found, 0.05) == pytest.approx((-1 / 6, 41.0), abs=1e-9)
        assert interval(found, 0.10) == pytest.approx((3.75, 38.142857), abs=5e-7)


class TestStudentsSleep:
    """Exact sign flips 4/1024; exact two-sample permutation 15048/184756."""

    def test_paired(self) -> None:
        found = in_pairs(SECOND - FIRST)
        assert two_sided_p(found) * 1024 == pytest.approx(4)
        assert interval(found, 0.05) == pytest.approx((0.833333, 2.466667), abs=5e-7)
        assert interval(found, 0.01) == pytest.approx((0.6, 2.95), abs=1e-9)

    def test_two_samples(self) -> None:
        found = complete_list(SECOND, FIRST)
        assert two_sided_p(found) * 184756 == pytest.approx(15048)
        assert interval(found, 0.05) == pytest.approx((-0.22, 3.375), abs=1e-9)

    def test_listed_and_counted_orders_agree(self) -> None:
        y = np.concatenate([SECOND, FIRST])
        used = np.repeat(np.array([1, -1], dtype=np.int8), 10)
        listed = exact_list(
            y, orders_for("complete", 20).all(), used, nuisance_basis(np.zeros((20, 0)), (), used.astype(np.float64))
        )
        counted = complete_list(SECOND, FIRST)
        assert two_sided_p(listed) == two_sided_p(counted)
        assert interval(listed, 0.05) == pytest.approx(interval(counted, 0.05), abs=1e-12)
