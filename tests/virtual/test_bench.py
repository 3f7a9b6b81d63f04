"""A bench whose truth is known: what is put in comes out."""

import numpy as np
import pytest

from truerun.errors import ValueOutOfRange
from truerun.virtual.bench import HAND_WATCH, SENSOR_WATCH, Bench, Watch, read_watch, simulate_taps, true_times
from truerun.virtual.noise import LevelStep, Line

ORDER = np.array([1, -1, -1, 1] * 3, dtype=np.int8)


def generator(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


class TestTheDriveFractionIsTheOneAskedFor:
    @pytest.mark.parametrize("drive", [-0.3, 0.0, 0.05, 0.9])
    def test_one_minus_control_over_source(self, drive: float) -> None:
        times = true_times(Bench(drive_fraction=drive, spread=0.0), ORDER, generator())
        assert 1 - times[1] / times[0] == pytest.approx(drive, abs=1e-12)  # rounding only

    def test_a_source_that_pays_for_all_losses_never_ends(self) -> None:
        times = true_times(Bench(drive_fraction=1.0, spread=0.01, time_limit=600.0), ORDER, generator())
        assert np.isinf(times[ORDER > 0]).all()
        assert np.isfinite(times[ORDER < 0]).all()


class TestTheScatterIsTheOneAskedFor:
    def test_each_condition_has_its_own_spread(self) -> None:
        orders = np.tile(ORDER, (20_000, 1))
        logs = np.log(true_times(Bench(spread=0.02, spread_ratio=3.0), orders, generator()))
        # relative standard error 1/sqrt(2 x 120 000) = .2 %: outside 1 % by luck less than 1 in a million
        assert logs[orders < 0].std() == pytest.approx(0.02, rel=0.01)
        assert logs[orders > 0].std() == pytest.approx(0.06, rel=0.01)

    def test_drifts_add_in_the_logarithm(self) -> None:
        drifts = (Line(0.1), LevelStep(0.05, 3))
        times = true_times(Bench(mean_time=60.0, spread=0.0, drifts=drifts), ORDER, generator())
        expected = 60.0 * np.exp(Line(0.1).draw(generator(), 1, 12) + LevelStep(0.05, 3).draw(generator(), 1, 12))
        np.testing.assert_allclose(times, expected[0], rtol=1e-12)  # rounding only

    def test_one_order_and_a_row_of_orders_give_the_same_times(self) -> None:
        alone = true_times(Bench(), ORDER, generator())
        assert alone.shape == (12,)
        assert (alone == true_times(Bench(), ORDER[None, :], generator())[0]).all()


class TestAWatchReadsInItsOwnSteps:
    @pytest.mark.parametrize("resolution", [0.2, 0.1, 0.01, 1.0, 1 / 3])
    def test_every_reading_is_a_whole_number_of_steps(self, resolution: float) -> None:
        read = read_watch(np.linspace(10, 90, 101), Watch(0.1, resolution), generator())
        steps = read / resolution
        np.testing.assert_allclose(steps, np.rint(steps), atol=1e-2)  # 1/3 s is written to thousandths

    def test_hundredths_print_as_hundredths(self) -> None:
        read = read_watch(np.linspace(10, 90, 1001), HAND_WATCH, generator())
        assert all(len(repr(value).partition(".")[2]) <= 2 for value in read.tolist())

    def test_the_hand_adds_its_error_and_the_sensor_none(self) -> None:
        times = np.full(40_000, 60.0)
        # standard error .10/sqrt(80 000) = .00035: outside .0015 by luck less than 1 in 10 000
        assert read_watch(times, HAND_WATCH, generator()).std() == pytest.approx(0.10, abs=0.0015)
        assert (read_watch(times, SENSOR_WATCH, generator()) == 60.0).all()

    def test_no_run_is_shorter_than_one_step(self) -> None:
        assert read_watch(np.array([1e-6]), HAND_WATCH, generator()).min() == 0.01


class TestTapsFollowThePasses:
    PASSES = np.cumsum(np.linspace(0.8, 1.2, 41), dtype=np.float64)

    def test_they_scatter_by_what_was_asked(self) -> None:
        taps = np.array([simulate_taps(self.PASSES, generator(seed)) for seed in range(400)])
        # 16 400 taps: standard error .07/sqrt(32 800) = .0004: outside .002 by luck less than 1 in 100 000
        assert (taps - self.PASSES).std() == pytest.approx(0.07, abs=0.002)

    def test_they_rise_even_where_passes_come_faster_than_a_finger(self) -> None:
        taps = simulate_taps(np.linspace(0.02, 4.0, 200), generator())
        assert (np.diff(taps) > 0).all()

    def test_some_are_missed(self) -> None:
        taps = simulate_taps(np.arange(1.0, 1001.0), generator(), missed=0.1)
        # binomial(1000, .9): standard deviation 9.5: outside 40 by luck 1 in 30 000
        assert abs(len(taps) - 900) < 40


class TestABenchThatMeansNothingIsRefused:
    def test_no_time(self) -> None:
        with pytest.raises(ValueOutOfRange, match="mean time is 0 s"):
            Bench(mean_time=0.0)

    def test_negative_spread(self) -> None:
        with pytest.raises(ValueOutOfRange, match="0 or more"):
            Bench(spread=-0.01)

    def test_a_self_runner_that_nobody_breaks_off(self) -> None:
        with pytest.raises(ValueOutOfRange, match="broken off"):
            Bench(drive_fraction=1.2)
