"""Runs that a hand tapped: against a textbook's uniformly retarded wheel, and against the virtual bench.

The textbook is Bansal, Engineering Mechanics, example 13.5, p. 473: a wheel falls uniformly from 200 to 160 r/min in
10 s, and so makes 83.33 turns in 50 s to rest.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.tapped import LEAST_TAPS, faster_part, tapped_rundown
from truerun.motion.window import fit_window
from truerun.virtual.bench import simulate_taps
from truerun.virtual.course import simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig

R_MIN = np.pi / 30


def textbook_passes() -> NDArray[np.float64]:
    """Give the times of all 83 turns of the textbook's wheel: 200/60 t - t^2/30 = n."""
    return np.asarray(50.0 - 50 * np.sqrt(1 - np.arange(84) / (250 / 3)))


class TestTheTextbooksWheel:
    def test_passes_without_scatter_give_its_ten_seconds(self) -> None:
        over = fit_window(tapped_rundown(textbook_passes()), 199 * R_MIN, 159 * R_MIN)
        assert over.time == pytest.approx(10.0, abs=0.01)  # three terms hold a constant only nearly

    def test_taps_give_them_within_their_uncertainty_and_state_it_rightly(self) -> None:
        rng = np.random.default_rng(20)
        away = []
        for _ in range(40):
            found = tapped_rundown(simulate_taps(textbook_passes(), rng, scatter=0.02, resolution=0.001))
            over = fit_window(found, 180 * R_MIN, 100 * R_MIN)
            away.append((over.time - 20.0) / over.time_uncertainty)
        # of 40 unit normals: root mean square .72 to 1.29 in 99 of 100, and the fit's own scatter widens it a little
        assert 0.7 < float(np.sqrt(np.mean(np.square(away)))) < 1.4

    def test_a_missed_tap_does_no_harm(self) -> None:
        passes = np.delete(textbook_passes(), [7, 20, 21, 40])
        over = fit_window(tapped_rundown(passes), 199 * R_MIN, 159 * R_MIN)
        assert over.time == pytest.approx(10.0, abs=0.01)


class TestAWheelThatABumpCatches:
    def test_its_last_turns_are_left_off_and_the_rest_is_as_without_the_bump(self) -> None:
        drag = PowerLaw(((0, 0.05),))
        launch = Launch(75 * R_MIN, angle=-1.0)
        course = simulate_run(Rig(drag, cosine=(0.0, 0.0, 0.0, 0.25)), launch, tolerance=1e-8)
        passes = true_passes(course)
        onward = passes.times[: int(np.argmax(passes.places)) + 1]
        found = tapped_rundown(onward, stopped=True)
        assert found.speed_low > 1.5 * np.sqrt(4 * 0.25)  # the energy of the hill's top, 2 x .25, is w^2/2
        over = fit_window(found, 70 * R_MIN, 30 * R_MIN)
        # uniform retardation: dw / a. Three capture speeds would hold the bump's share below .25 %; here it is 2.5 of
        # them, and a fit of three terms bends a little
        assert over.time == pytest.approx(40 * R_MIN / 0.05, rel=0.01)


class TestTheFasterPart:
    def test_it_ends_at_three_tenths_of_the_first_speed(self) -> None:
        times = textbook_passes()
        part = faster_part(times, stopped=False)
        turn = np.diff(part)[-1]
        assert 0.25 < 0.3 / turn < 0.4  # the first turn takes .3 s

    def test_a_run_that_was_left_off_early_is_used_whole(self) -> None:
        assert faster_part(textbook_passes()[:40], stopped=False).size == 40


class TestTapsThatCannotBeUsed:
    def test_few_are_said_with_their_number(self) -> None:
        with pytest.raises(FitImpossible, match=f"There are 9 taps .* at least {LEAST_TAPS}"):
            tapped_rundown(textbook_passes()[:9])

    def test_taps_of_nothing_that_slows_are_refused(self) -> None:
        rng = np.random.default_rng(4)
        with pytest.raises(FitImpossible):
            tapped_rundown(np.cumsum(rng.uniform(0.2, 2.0, 60)))

    def test_taps_of_a_wheel_that_gains_speed_are_refused(self) -> None:
        with pytest.raises(FitImpossible):
            tapped_rundown(textbook_passes()[-1] - textbook_passes()[::-1])
