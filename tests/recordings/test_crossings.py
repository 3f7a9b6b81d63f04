"""Crossings of sampled signals whose passes are known because the test made the signal."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.recordings.crossings import detect_crossings, find_levels

STEP = 1e-4  # s
EDGE = 4e-4  # s, from level to level along a straight line
LENGTH = 3e-3  # s, between the middles of both edges


def instants(count: int = 60) -> NDArray[np.float64]:
    """Passes of a wheel that slows down, none of them at a sample."""
    return 0.0131537 + np.cumsum(0.02 + 0.0007 * np.arange(count))


def pulses(at: NDArray[np.float64], *, low: float = 0.2, high: float = 4.8) -> NDArray[np.float64]:
    """Sample trapezoids: halfway up at each instant, halfway down ``LENGTH`` later."""
    times = STEP * np.arange(round((at[-1] + 0.05) / STEP))
    since = times - at[np.maximum(np.searchsorted(at, times + EDGE) - 1, 0)]
    height = np.clip(np.minimum(since / EDGE + 0.5, (LENGTH - since) / EDGE + 0.5), 0, 1)
    return low + (high - low) * height


class TestPassesAreFoundBetweenSamples:
    def test_straight_edges_are_found_exactly(self) -> None:
        at = instants()
        passes = detect_crossings(pulses(at), 0.0, STEP)
        assert passes.ends is not None
        # the middle between the medians of both levels is halfway up; rounding alone is left
        np.testing.assert_allclose(passes.times, at, rtol=0, atol=1e-12)
        np.testing.assert_allclose(passes.ends, at + LENGTH, rtol=0, atol=1e-12)
        assert passes.timing.resolution is None

    def test_inverted_pulses_are_the_same_passes(self) -> None:
        at = instants()
        passes = detect_crossings(5.0 - pulses(at), 0.0, STEP)
        np.testing.assert_allclose(passes.times, at, rtol=0, atol=1e-12)

    @settings(max_examples=30, deadline=None)
    @given(st.floats(-50, 50), st.floats(0.01, 100), st.floats(-10, 10))
    def test_offset_gain_and_start_change_nothing_else(self, offset: float, gain: float, start: float) -> None:
        at = instants(12)
        passes = detect_crossings(offset + gain * pulses(at), start, STEP)
        np.testing.assert_allclose(passes.times, start + at, rtol=0, atol=1e-9)  # rounding of the offset

    def test_played_backwards_ends_are_passes(self) -> None:
        values = pulses(instants())
        there, back = detect_crossings(values, 0.0, STEP), detect_crossings(values[::-1], 0.0, STEP)
        assert there.ends is not None
        length = STEP * (values.size - 1)
        np.testing.assert_allclose(np.sort(length - back.times), there.ends, rtol=0, atol=1e-12)

    def test_a_square_wave_that_is_high_half_of_the_time(self) -> None:
        times = STEP * np.arange(20_000)
        values = 5.0 * (np.mod(times, 0.01) < 0.005)
        passes = detect_crossings(values, 0.0, STEP)
        assert passes.times.size == 199  # the first mark was there at the start
        np.testing.assert_allclose(np.diff(passes.times), 0.01, rtol=0, atol=1.001 * STEP)  # one sample
        assert passes.timing.resolution == STEP  # no samples on the edges

    def test_a_coil_s_pulses_up_and_down_count_once(self) -> None:
        at = instants()
        times = STEP * np.arange(round((at[-1] + 0.05) / STEP))
        since = (times - at[np.argmin(np.abs(times[:, None] - at), axis=1)]) / 8e-4
        passes = detect_crossings(-since * np.exp(-(since**2) / 2), 0.0, STEP)
        assert passes.times.size == at.size
        np.testing.assert_allclose(np.diff(passes.times), np.diff(at), rtol=0, atol=STEP / 5)

    def test_a_mark_at_the_end_has_no_end(self) -> None:
        values = np.concatenate((pulses(instants(5)), np.full(7, 4.8)))
        passes = detect_crossings(values, 0.0, STEP)
        assert passes.ends is not None
        assert np.isnan(passes.ends).tolist() == [False] * 5 + [True]


class TestWhatASensorAddsIsBorne:
    def test_quantised_to_eight_bits(self) -> None:
        at = instants()
        lsb = 5.0 / 255
        passes = detect_crossings(np.round(pulses(at) / lsb) * lsb, 0.0, STEP)
        # half a step of the converter on an edge of (4.6 V) / EDGE, on both samples and the levels
        np.testing.assert_allclose(passes.times, at, rtol=0, atol=1.5 * lsb / 4.6 * EDGE)

    @pytest.mark.parametrize("seed", range(5))
    def test_noise_makes_no_passes_and_moves_them_little(self, seed: int) -> None:
        at = instants()
        noise = 0.25
        values = pulses(at) + noise * np.random.default_rng(seed).standard_normal(pulses(at).size)
        passes = detect_crossings(values, 0.0, STEP)
        assert passes.times.size == at.size
        # The noise of one sample over the slope of the edge; on the line between two samples it is never more. By luck
        # the mean of 60 squares reaches 4 times its expectation with p < 1e-20, the mean 4 of its errors with p = 6e-5.
        expected = noise / (4.6 / EDGE)
        assert np.sqrt(np.mean((passes.times - at) ** 2)) < 2 * expected
        assert abs(np.mean(passes.times - at)) < 4 * expected / np.sqrt(at.size)

    @pytest.mark.parametrize("drift", [-30.0, 30.0])
    def test_a_baseline_that_drifts_by_six_steps(self, drift: float) -> None:
        at = instants(200)
        values = pulses(at)
        values = values + drift * np.linspace(0, 1, values.size) ** 2
        passes = detect_crossings(values, 0.0, STEP)
        assert passes.times.size == at.size
        # straight lines between medians of 64 windows miss a parabola by drift / (8 * 64**2), and the pulses within a
        # window lift its median by up to their share of the time times the drift in it
        np.testing.assert_allclose(passes.times, at, rtol=0, atol=0.05 * EDGE)

    def test_one_odd_sample_is_no_level(self) -> None:
        at = instants()
        values = pulses(at)
        values[77] = 400.0
        assert find_levels(values).mark == pytest.approx(4.8, rel=1e-12)
        passes = detect_crossings(pulses(at), 0.0, STEP)
        assert passes.times.size == at.size

    def test_a_second_touch_within_the_hysteresis_is_one_pass(self) -> None:
        values = np.tile([0.0, 0.0, 0.0, 0.0, 0.0, 2.6, 2.4, 2.6, 5.0, 5.0, 5.0], 9)
        assert detect_crossings(values, 0.0, 1.0).times.size == 9

    def test_single_precision_finds_the_same(self) -> None:
        at = instants()
        passes = detect_crossings(pulses(at).astype(np.float32), 0.0, STEP)
        np.testing.assert_allclose(passes.times, at, rtol=0, atol=1e-6 * EDGE)


class TestWithoutTwoLevelsItIsSaid:
    @pytest.mark.parametrize("seed", range(20))
    def test_noise_alone(self, seed: int) -> None:
        with pytest.raises(FitImpossible, match="does not go back and forth between two levels"):
            detect_crossings(np.random.default_rng(seed).standard_normal(20_000), 0.0, STEP)

    @pytest.mark.parametrize(
        "values", [np.zeros(1000), np.linspace(0, 5, 1000), np.array([0.0, 5.0]), np.repeat([0.0, 5.0], 500)]
    )
    def test_a_flat_line_a_ramp_too_few_samples_and_one_edge(self, values: NDArray[np.float64]) -> None:
        with pytest.raises(FitImpossible, match="Record with the sensor nearer to the marks"):
            detect_crossings(values, 0.0, STEP)
