"""The detectable hill against a table of the method, against fits of jittered times, and its laws."""

import numpy as np
import pytest

from truerun.errors import ValueOutOfRange
from truerun.motion.detectable import detectable_hill
from truerun.motion.fit import fit_rundown
from truerun.virtual.rotor import jittered
from truerun.virtual.wheels import truth

# millionths of the launch energy, 150 turns from 20 rad/s, spacing fitted: the method, section 3
TABLE = [
    (4, 10.0, 0.85, 1.7, 85),
    (4, 3.0, 17, 34, 1700),
    (12, 10.0, 0.47, 0.95, 47),
    (12, 3.0, 10, 20, 975),
    (60, 10.0, 0.21, 0.42, 21),
    (60, 3.0, 4.4, 8.7, 435),
]


class TestTheTableOfTheMethod:
    @pytest.mark.parametrize(("marks", "ratio", "fine", "middle", "coarse"), TABLE)
    def test_within_a_tenth(self, marks: int, ratio: float, fine: float, middle: float, coarse: float) -> None:
        for timing, expected in ((1e-5, fine), (2e-5, middle), (1e-3, coarse)):
            found = 1e6 * detectable_hill(timing, marks, (20.0, 20.0 / ratio), 150)
            assert found == pytest.approx(expected, rel=0.1)  # its last digit, and a drag split that it does not state


class TestItIsWhatTheFitStates:
    def test_on_a_wheel_without_a_hill(self) -> None:
        # 600 passes of the same drag: exact times of an independent integrator, 20 to 2 rad/s, 50 turns, 12 marks
        wheel = truth("usual", 600)
        rundown = fit_rundown(
            jittered(wheel.motion.times, 2e-5, np.random.default_rng(0)), 12, terms=(0, 1, 2), harmonics=3, sigma=2e-5
        )
        assert rundown.hill is not None
        stated = 3 * np.sqrt(rundown.hill.covariance[0, 0]) / 200
        # that wheel has a hill at half of capture, which makes slow turns slower and so shows itself a little better
        assert detectable_hill(2e-5, 12, (20.0, 2.0), 50, harmonics=3) == pytest.approx(stated, rel=0.2)


class TestLaws:
    def test_the_same_wheel_twice_as_fast_needs_half_the_timing(self) -> None:
        # times scale by a half, energies by four: the share is the same
        slow, fast = detectable_hill(2e-5, 4, (10.0, 2.0), 40), detectable_hill(1e-5, 4, (20.0, 4.0), 40)
        assert fast == pytest.approx(slow, rel=0.15)  # the split of the drag does not scale along

    def test_known_spacing_shows_more(self) -> None:
        # sd(a_1) grows by 1.6 at speed ratio 10 and 4.5 at 1.5 against known spacing (method, section 3)
        for ratio, growth in ((10.0, 1.6), (1.5, 4.5)):
            free = detectable_hill(1e-5, 12, (20.0, 20.0 / ratio), 150)
            known = detectable_hill(1e-5, 12, (20.0, 20.0 / ratio), 150, spacing=False)
            assert free / known == pytest.approx(growth, rel=0.2)

    def test_two_marks_show_no_hill(self) -> None:
        with pytest.raises(ValueOutOfRange, match="with 2 marks"):
            detectable_hill(1e-5, 2, (20.0, 2.0), 50)
        with pytest.raises(ValueOutOfRange, match="falling"):
            detectable_hill(1e-5, 4, (2.0, 20.0), 50)
