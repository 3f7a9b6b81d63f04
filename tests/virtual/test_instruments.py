"""Speed display, film and pick-up against the motion that they look at."""

from functools import cache

import numpy as np
import pytest

from truerun.virtual.course import Course, course_angles, course_speeds, simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.instruments import (
    Film,
    Pickup,
    Pulse,
    SpeedDisplay,
    record_display,
    record_film,
    record_waveform,
    waveform_blocks,
)
from truerun.virtual.rig import Launch, Rig

RPM = 2 * np.pi / 60


@cache
def course() -> Course:
    """12 rad/s, dry friction alone: w = 12 - .6 t, rest after 20 s."""
    return simulate_run(Rig(PowerLaw(((0, 0.6),)), marks=(0.0, 2.0, 4.0)), Launch(12.0), tolerance=1e-10)


def generator() -> np.random.Generator:
    return np.random.default_rng(3)


class TestSpeedDisplay:
    def test_it_shows_whole_turns_a_minute_of_a_past_moment(self) -> None:
        one_mark = simulate_run(Rig(PowerLaw(((0, 0.6),))), Launch(12.0), tolerance=1e-10)
        table, true = record_display(one_mark, SpeedDisplay(every=0.5), generator())
        np.testing.assert_allclose(table.speeds / RPM, np.rint(table.speeds / RPM), atol=1e-9)
        seen = (table.times > 2) & (table.times < 15)
        # the mean of the last whole turn, up to 2.1 s ago, of a wheel that loses .6 rad/s a second; half a digit
        late = table.speeds[seen] - true[seen]
        assert late.min() > -RPM / 2
        assert late.max() < 0.6 * 3.2 + RPM / 2

    def test_it_drops_to_zero_before_the_wheel_stands(self) -> None:
        table, true = record_display(course(), SpeedDisplay(every=0.1, time_out=0.7), generator())
        dropped = (table.speeds == 0) & (table.times > 5)
        first = int(np.flatnonzero(dropped)[0])
        assert true[first] > 1.0
        passes = true_passes(course()).times
        assert table.times[first] - passes[passes <= table.times[first]][-1] > 0.7

    def test_the_counter_is_late_by_its_rows(self) -> None:
        prompt, late = (
            record_display(course(), SpeedDisplay(counted=True, rows_late=rows), generator())[0].counts
            for rows in (0, 1)
        )
        assert prompt is not None
        assert late is not None
        np.testing.assert_array_equal(late[1:], prompt[:-1])
        passes = true_passes(course()).times
        np.testing.assert_array_equal(prompt, [(passes <= second).sum() for second in range(21)])

    def test_what_is_stated_stands_beside_it(self) -> None:
        table, _ = record_display(course(), SpeedDisplay(stated=0.05), generator())
        assert table.standard_uncertainty is not None
        assert set(table.standard_uncertainty) == {0.05}


class TestFilm:
    def test_a_film_without_faults_shows_the_angle(self) -> None:
        track, true = record_film(course(), Film(rate=30.0), generator())
        np.testing.assert_allclose(track.angles, true, atol=1e-12)
        np.testing.assert_allclose(track.angles, 12 * track.times - 0.3 * track.times**2, atol=1e-7)  # tolerance 1e-10
        np.testing.assert_allclose(np.diff(track.times), 1 / 30)

    def test_a_late_row_sees_the_wheel_further_on(self) -> None:
        track, true = record_film(course(), Film(rate=60.0, readout=0.02), generator())
        ahead = track.angles - true
        speed = course_speeds(course(), track.times)
        assert (ahead >= -1e-9).all()
        assert (ahead <= speed * 0.02 + 1e-9).all()
        row = (1 - np.sin(track.angles)) / 2
        np.testing.assert_allclose(ahead, course_angles(course(), track.times + 0.02 * row) - true, atol=1e-9)

    def test_noise_step_and_wrapping(self) -> None:
        track, true = record_film(course(), Film(error=0.01, step=np.pi / 180, wrapped=True), generator())
        assert track.angles.min() >= 0
        assert track.angles.max() <= 2 * np.pi + 1e-9
        off = (track.angles - true + np.pi) % (2 * np.pi) - np.pi
        # 1200 frames: 4 standard errors of a standard deviation are 8 %
        assert off.std() == pytest.approx(np.hypot(0.01, np.pi / 180 / np.sqrt(12)), rel=0.08)


class TestPickup:
    def test_a_coil_crosses_zero_when_the_magnet_passes(self) -> None:
        trace = record_waveform(course(), Pickup(rate=2000.0), generator())
        passes = true_passes(course()).times
        times = trace.start + trace.step * np.arange(trace.values.size)
        for when in passes[5:25]:
            before, after = trace.values[[np.searchsorted(times, when) - 1, np.searchsorted(times, when)]]
            assert before > 0 > after

    def test_a_coil_is_the_weaker_the_slower_and_a_light_is_not(self) -> None:
        coil, light = (record_waveform(course(), Pickup(2000.0, pulse), generator()).values for pulse in Pulse)
        early, late = slice(2000, 8000), slice(20000, 30000)  # 1 to 4 s: 10 rad/s; 10 to 15 s: 6 to 3
        assert coil[early].max() > 1.5 * coil[late].max()
        assert light[early].max() == pytest.approx(light[late].max(), rel=0.02)  # 2000 samples/s cut the tip
        assert coil[early].max() == pytest.approx(0.5 * 1.14, rel=0.02)  # 11.4 rad/s at 1 s

    def test_hum_noise_and_drift_have_their_size(self) -> None:
        still = Pickup(rate=5000.0, size=0.0, hum=0.2)
        values = record_waveform(course(), still, generator()).values
        line = np.abs(np.fft.rfft(values)) * 2 / values.size
        assert np.fft.rfftfreq(values.size, 1 / 5000)[line.argmax()] == pytest.approx(50.0, abs=0.05)
        assert values.max() == pytest.approx(0.2, rel=0.01)
        noisy = record_waveform(course(), Pickup(rate=5000.0, size=0.0, noise=0.1), generator()).values
        assert noisy.std() == pytest.approx(0.1, rel=0.01)  # 100 000 samples: 4 standard errors
        wandering = record_waveform(course(), Pickup(rate=100.0, size=0.0, drift=0.1), generator()).values
        assert np.abs(np.diff(wandering)).max() < 0.01 < np.ptp(wandering)

    def test_blocks_put_together_are_the_whole(self) -> None:
        pickup = Pickup(rate=1000.0, noise=0.01, hum=0.1, drift=0.1)
        whole = record_waveform(course(), pickup, generator()).values
        blocks = list(waveform_blocks(course(), pickup, generator(), block=777))
        assert {block.size for block in blocks[:-1]} == {777}
        np.testing.assert_allclose(np.concatenate(blocks), whole)
