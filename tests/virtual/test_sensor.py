"""Every kind of dirt stands where the truth says, and nowhere else."""

from functools import cache

import numpy as np
import pytest

from truerun.series import Clock, Passes
from truerun.virtual.course import Course, course_angles, course_speeds, place_angles, simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig
from truerun.virtual.sensor import (
    Bounces,
    Dirt,
    FalseMark,
    Jitter,
    Missed,
    SensorClock,
    Truth,
    record_passes,
    true_strip,
)

MARKS = (0.0, 1.5, 3.1, 4.8)


@cache
def course() -> Course:
    """About 6 turns, then captured, then rocking past several marks."""
    return simulate_run(Rig(PowerLaw(((0, 0.15),)), cosine=(0.8,), marks=MARKS), Launch(4.0), tolerance=1e-10)


def recorded(*dirt: Dirt, seed: int = 1, clock: SensorClock | None = None) -> tuple[Passes, Truth]:
    return record_passes(course(), np.random.default_rng(seed), dirt=dirt, clock=clock)


class TestACleanSensor:
    def test_it_records_the_true_passes(self) -> None:
        passes, truth = recorded()
        true = true_passes(course())
        np.testing.assert_array_equal(passes.times, true.times)
        np.testing.assert_array_equal(truth.places, true.places)
        assert truth.real.all()
        assert truth.missing.places.size == 0
        assert truth.breaks == ()
        assert (truth.speeds < 0).any()  # passes backwards after capture are part of it

    @pytest.mark.parametrize("dirt", [(Jitter(1e-3),), (Missed(0.2), Bounces(0.2)), (Bounces(0.1), Jitter(1e-3, 0.1))])
    def test_one_seed_one_record(self, dirt: tuple[Dirt, ...]) -> None:
        first, again, other = recorded(*dirt), recorded(*dirt), recorded(*dirt, seed=2)
        np.testing.assert_array_equal(first[0].times, again[0].times)
        assert not np.array_equal(first[0].times, other[0].times)

    def test_columns_beside_the_times(self) -> None:
        passes, truth = record_passes(
            course(), np.random.default_rng(1), dirt=(Bounces(at=(3,)),), numbered=True, counted=True, trigger=1.0
        )
        assert passes.mark is not None
        assert passes.counts is not None
        assert passes.triggers is not None
        assert passes.mark[:6].tolist() == [1, 2, 3, 0, -1, 1]  # the bounce is nobody's mark
        np.testing.assert_array_equal(passes.counts, np.arange(1, truth.times.size + 1))
        speeds = course_speeds(course(), passes.triggers)
        forward = passes.triggers[speeds > 0]
        # between two triggers of the free run all four marks pass once
        between = np.searchsorted(true_passes(course()).times, forward[:5])
        np.testing.assert_array_equal(np.diff(between), 4)


class TestDirt:
    def test_jitter_has_its_size_and_lag(self) -> None:
        off = np.concatenate([recorded(Jitter(1e-3, lag=0.01), seed=seed)[0].times for seed in range(40)])
        off -= np.tile(true_passes(course()).times, 40)
        assert off.mean() == pytest.approx(0.01, abs=1e-4)  # about 1400 draws: 4 standard errors
        assert off.std() == pytest.approx(1e-3, rel=0.08)

    def test_missed_passes_are_gone_and_listed(self) -> None:
        passes, truth = recorded(Missed(at=(2, 5)))
        true = true_passes(course())
        np.testing.assert_array_equal(passes.times, np.delete(true.times, [2, 5]))
        assert truth.missing.places.tolist() == [3, 6]
        np.testing.assert_array_equal(truth.missing.times, true.times[[2, 5]])

    def test_bounces_come_a_little_after_and_are_not_real(self) -> None:
        passes, truth = recorded(Bounces(delay=3e-4, at=(2, 5)))
        assert np.flatnonzero(~truth.real).tolist() == [3, 7]
        gaps = passes.times[[3, 7]] - passes.times[[2, 6]]
        assert ((gaps > 0) & (gaps <= 3e-4)).all()
        np.testing.assert_array_equal(passes.times[truth.real], true_passes(course()).times)

    def test_a_missed_pass_may_have_bounced_and_the_counts_stay_right(self) -> None:
        _, truth = recorded(Bounces(0.3), Missed(0.3))
        places = np.concatenate([truth.places[truth.real], truth.missing.places])
        assert sorted(places.tolist()) == sorted(true_passes(course()).places.tolist())

    def test_a_scratch_is_taken_for_a_mark_every_turn(self) -> None:
        passes, truth = recorded(FalseMark(mark=2, angle=0.05, marks=4))
        false = np.flatnonzero(~truth.real)
        np.testing.assert_array_equal(truth.places[false] % 4, 2)
        assert false.size == (true_passes(course()).places % 4 == 2).sum()
        fast = false[truth.speeds[false] > 2]
        gaps = passes.times[fast] - passes.times[fast - 1]
        np.testing.assert_allclose(gaps * truth.speeds[fast], 0.05, rtol=1e-9)


class TestClocks:
    def test_a_counter_rounds_down_to_its_tick(self) -> None:
        passes, truth = recorded(clock=SensorClock(resolution=1e-3))
        late = truth.times - passes.times
        assert ((late >= 0) & (late <= 1e-3 + 1e-12)).all()
        ticks = passes.times / 1e-3
        np.testing.assert_allclose(ticks, np.rint(ticks), atol=1e-6)
        assert passes.timing.resolution == 1e-3
        assert passes.timing.clock is Clock.SENSOR

    def test_a_fast_clock_shows_more(self) -> None:
        passes, truth = recorded(clock=SensorClock(ppm=1258.0, start=5.0))
        np.testing.assert_allclose(passes.times, (truth.times + 5.0) * 1.001258, rtol=1e-12)

    def test_a_32_bit_counter_of_microseconds_begins_again(self) -> None:
        wrap = 2**32 * 1e-6  # 71.6 minutes
        clock = SensorClock(resolution=1e-6, start=wrap - 5.0, wrap=wrap)
        passes, truth = recorded(clock=clock)
        assert truth.breaks == tuple(np.flatnonzero(np.diff(passes.times) < 0) + 1)
        assert len(truth.breaks) == 1
        whole = np.where(np.arange(passes.times.size) >= truth.breaks[0], passes.times + wrap, passes.times)
        np.testing.assert_allclose(whole - (wrap - 5.0), truth.times, atol=1.1e-6)  # one tick and rounding

    def test_a_clock_that_lost_power_begins_at_zero(self) -> None:
        passes, truth = recorded(clock=SensorClock(start=2.0, restart=4.0))
        assert truth.breaks == tuple(np.flatnonzero(np.diff(passes.times) < 0) + 1)
        after = truth.times >= 4.0
        np.testing.assert_allclose(passes.times[after], truth.times[after] - 4.0)


class TestBothEdges:
    def edges(self) -> tuple[Passes, Truth]:
        return record_passes(course(), np.random.default_rng(1), pulse=0.1)

    def test_a_mark_is_there_for_its_width(self) -> None:
        passes, truth = self.edges()
        assert passes.ends is not None
        fast = truth.speeds > 2.5
        wide = (passes.ends - passes.times)[fast] * truth.speeds[fast]
        np.testing.assert_allclose(wide, 0.1, rtol=0.02)  # the speed changes by up to 1.5 % within the width

    def test_edges_alternate_also_when_the_wheel_turns_back(self) -> None:
        passes, truth = self.edges()
        assert passes.ends is not None
        assert (truth.speeds < 0).any()
        assert (passes.ends > passes.times).all()
        assert (passes.times[1:] > passes.ends[:-1]).all()

    def test_backwards_the_other_edge_comes_first(self) -> None:
        strip = true_strip(course(), pulse=0.1)
        back = strip.truth.speeds < 0
        assert strip.ends is not None
        # angles of the wheel when the sensor says that the mark came and went
        begins = place_angles(course().rig, strip.truth.places)
        came, went = course_angles(course(), strip.times), course_angles(course(), strip.ends)
        np.testing.assert_allclose(came, begins + np.where(back, 0.1, 0.0), atol=1e-9)
        returned = np.abs(came - went) < 1e-6  # turned round within the mark
        through = begins + np.where(back, 0.0, 0.1)
        np.testing.assert_allclose(went[~returned], through[~returned], atol=1e-9)
        assert returned.sum() <= len(course().turn_backs)
