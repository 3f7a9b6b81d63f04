"""Runs that did not reach the end: the end moved for all, or counted up to one limit, and what then stays true."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.stats.exact import exact_list, interval, nuisance_basis, two_sided_p
from truerun.stats.orders import orders_for, rejecting_orders
from truerun.stats.unfinished import common_end, cut_to_common_limit, honest_ends

Array = NDArray[np.float64]


class TestOneEndForAll:
    """Method, section 1, (a): every run fell through some lower common speed."""

    def test_exponential_rundowns(self) -> None:
        # w = 20 exp(-t / tau), watched to different ends: time from 18 to the common end is tau ln(18 / end)
        taus, ends = np.array([40.0, 55.0, 47.0]), np.array([3.0, 6.0, 4.0])
        times = [np.linspace(0, tau * np.log(20 / end), 4000) for tau, end in zip(taus, ends, strict=True)]
        speeds = [20 * np.exp(-t / tau) for t, tau in zip(times, taus, strict=True)]
        end, window = common_end(speeds, times, 18.0)
        assert end == pytest.approx(6.0)
        assert window == pytest.approx(taus * np.log(18.0 / 6.0), rel=1e-5)  # straight lines between 4000 points

    def test_coulomb_friction_is_exact(self) -> None:
        times = [np.array([0.0, 30.0]), np.array([0.0, 20.0])]
        end, window = common_end([np.array([10.0, 4.0]), np.array([10.0, 5.0])], times, 9.0)
        assert (end, window.tolist()) == (5.0, pytest.approx([20.0, 16.0]))

    def test_labels_are_not_looked_at(self) -> None:
        speeds = [np.array([9.0, 5, 3]), np.array([9.0, 6, 4]), np.array([9.0, 7, 2])]
        times = [np.array([0.0, 3, 6]), np.array([0.0, 4, 8]), np.array([0.0, 2, 9])]
        end, window = common_end(speeds, times, 8.0)
        again, turned = common_end(speeds[::-1], times[::-1], 8.0)
        assert end == again
        assert window[::-1] == pytest.approx(turned)

    @pytest.mark.parametrize(("first", "second"), [([9.0, 5.0], [9.0, 8.5]), ([9.0, 5.0], [7.0, 4.0])])
    def test_no_common_window_is_refused(self, first: list[float], second: list[float]) -> None:
        with pytest.raises(FitImpossible, match="No speed below 8 rad/s was passed by every run"):
            common_end([np.array(first), np.array(second)], [np.array([0.0, 5.0])] * 2, 8.0)


class TestOneLimitForAll:
    """Method, section 1, (b): y = min(ln T, ln L)."""

    @given(st.lists(st.tuples(st.floats(1, 1e4), st.booleans()), min_size=1, max_size=20))
    def test_the_shortest_limit_holds_for_every_run(self, runs: list[tuple[float, bool]]) -> None:
        times = np.array([time for time, _ in runs])
        unfinished = np.array([still for _, still in runs])
        cut = cut_to_common_limit(times, unfinished)
        if not unfinished.any():
            assert (cut.times == times).all()
            assert not cut.capped.any()
            return
        assert cut.limit == times[unfinished].min()
        assert (cut.times == np.minimum(times, cut.limit)).all()
        assert cut.capped[unfinished].all()
        assert (cut.times[cut.capped] == cut.limit).all()

    def test_exact_where_there_is_no_effect(self) -> None:
        # the rule does not look at labels, so of all 50 orders no more than floor(alpha m) reject, whatever the times
        chosen = orders_for("restricted", 8)
        for seed in range(20):
            times = np.exp(np.random.default_rng(seed).normal(6, 0.1, 8))
            y = np.log(np.minimum(times, np.exp(6.05)))
            rejected = 0
            for used in chosen.all():
                basis = nuisance_basis(np.zeros((8, 0)), (), used.astype(np.float64))
                rejected += two_sided_p(exact_list(y, chosen.all(), used, basis)) <= 0.2
            assert rejected <= 2 * rejecting_orders(50, 0.2)


class TestEndsThatStayTrue:
    def missed(self, effect: float, limit: float, alpha: float, repetitions: int = 1500) -> tuple[int, int, int]:
        """How often the true effect lies outside an end that was kept, low and high; how often an end was open."""
        rng = np.random.default_rng(17)
        chosen = orders_for("restricted", 8)
        orders = chosen.all()
        low_missed = high_missed = opened = 0
        for _ in range(repetitions):
            used = chosen.order(int(rng.integers(chosen.count)))
            source = used > 0
            y = rng.normal(0, 0.1, 8) + effect * source
            capped = y >= limit
            basis = nuisance_basis(np.zeros((8, 0)), (), used.astype(np.float64))
            found = exact_list(np.minimum(y, limit), orders, used, basis)
            low, high = honest_ends(
                *interval(found, alpha),
                source_capped=bool((capped & source).any()),
                control_capped=bool((capped & ~source).any()),
            )
            low_missed += low is not None and low > effect + 1e-9
            high_missed += high is not None and high < effect - 1e-9
            opened += low is None or high is None
        return low_missed, high_missed, opened

    @pytest.mark.parametrize("effect", [0.0, 0.15, -0.15])
    @pytest.mark.parametrize("limit", [0.0, 0.1])
    def test_no_end_misses_the_true_effect_too_often(self, effect: float, limit: float) -> None:
        # each end may miss alpha / 2 = .1 of 1500; 4 standard deviations more by luck: 1 chance in 30 000 an end
        low, high, opened = self.missed(effect, limit, 0.2)
        most = 150 + 4 * (1500 * 0.1 * 0.9) ** 0.5
        assert low <= most
        assert high <= most
        assert opened > 0

    def test_by_themselves_the_ends_would_miss_it(self) -> None:
        # what the opening is for: a drive that the limit hides almost whole
        rng = np.random.default_rng(3)
        chosen = orders_for("restricted", 8)
        beyond = 0
        for _ in range(200):
            used = chosen.order(int(rng.integers(chosen.count)))
            y = np.minimum(rng.normal(0, 0.1, 8) + 0.5 * (used > 0), 0.1)
            basis = nuisance_basis(np.zeros((8, 0)), (), used.astype(np.float64))
            high = interval(exact_list(y, chosen.all(), used, basis), 0.2)[1]
            beyond += high is not None and high < 0.5
        assert beyond > 150

    @pytest.mark.parametrize(
        ("low", "high", "source", "control", "kept"),
        [
            (0.02, 0.05, False, False, (0.02, 0.05)),
            (0.02, 0.05, True, False, (0.02, None)),
            (-0.02, 0.05, True, False, (-0.02, None)),
            (-0.05, -0.02, True, False, (-0.05, -0.02)),
            (-0.02, 0.05, False, True, (None, 0.05)),
            (-0.02, 0.05, True, True, (None, None)),
            (-0.05, -0.02, True, True, (None, -0.02)),
            (None, None, True, True, (None, None)),
        ],
    )
    def test_each_case(
        self,
        low: float | None,
        high: float | None,
        source: bool,  # noqa: FBT001 - a row of the table
        control: bool,  # noqa: FBT001 - a row of the table
        kept: tuple[float | None, float | None],
    ) -> None:
        assert honest_ends(low, high, source_capped=source, control_capped=control) == kept
