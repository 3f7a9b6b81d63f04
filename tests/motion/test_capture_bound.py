"""What capture alone can do: the method's table, simulated wheels of any shape, monotony, refusals."""

import numpy as np
import pytest

from truerun.errors import ValueOutOfRange
from truerun.motion.capture import CaptureWheel, Ending, free_time, time_to_end
from truerun.motion.capture_bound import (
    capture_bound,
    capture_bound_of_hill,
    caught_to_explain,
    drags_up_to_table,
)
from truerun.motion.hill import Hill, hill_matrix
from truerun.virtual.rotor import Rotor, simulate_speeds

# the method, section 2: a cosine bump of 1 % of the launch energy, measured on simulated wheels, in %
TABLE = [
    ((1.0, 0.0, 0.0), 6, 10),
    ((1.0, 3.0, 0.0), 13, 20),
    ((1.0, 10.0, 0.0), 21, 31),
    ((1.0, 0.0, 10.0), 16, 25),
    ((1.0, 0.0, 30.0), 24, 36),
]
CAUGHT = 0.005**0.5  # launch speed 1, launch energy 1/2, top at half of 1 % of it


class TestTheTableOfTheMethod:
    @pytest.mark.parametrize(("drag", "earlier", "later"), TABLE)
    def test_turn_back_is_bounded_from_above_and_not_by_much(
        self, drag: tuple[float, float, float], earlier: float, later: float
    ) -> None:
        bound = capture_bound(1.0, CAUGHT, [drag])
        assert 100 * bound.turn_back > earlier
        assert 100 * bound.turn_back < earlier + 3  # any shape of hill, not the cosine alone
        assert 100 * bound.rest == pytest.approx(later, abs=1.6)  # the table is rounded, and of simulated wheels

    def test_the_worst_of_several_drags_counts(self) -> None:
        whole = capture_bound(1.0, CAUGHT)
        each = [capture_bound(1.0, CAUGHT, [drag]) for drag in drags_up_to_table(1.0)]
        assert whole.turn_back == max(bound.turn_back for bound in each)
        assert whole.either == max(bound.rest for bound in each)


class TestAnyHillStaysWithinTheBound:
    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_first_turn_back_of_a_simulated_wheel(self, seed: int) -> None:
        # scipy's DOP853 over the angle, three random harmonics, a turn loses 4 % of the hill's top
        rng = np.random.default_rng(seed)
        dry, viscous = 0.006, 0.004
        waves = hill_matrix(np.linspace(0, 2 * np.pi, 2001), 3)
        shape = rng.standard_normal(6)
        shape /= (waves @ shape).max()
        rotor = Rotor(lambda speed, angle: dry + viscous * speed + 0 * angle, tuple(shape[0::2]), tuple(shape[1::2]))
        launch = 3.0
        start = float(np.sqrt(launch**2 - 2 * shape[0::2].sum()))  # the angle starts at 0, where u = sum of cosines
        ended = simulate_speeds(rotor, start, np.arange(0, 1000, 0.05), rtol=1e-9)
        assert not ended.finished
        wheel = CaptureWheel(dry, viscous)
        free = float(free_time(wheel, launch))
        share = 1 - float(ended.times[-1]) / free
        bound = capture_bound(launch, float(np.sqrt(2)), [(dry, viscous, 0.0)]).turn_back
        assert 0.5 * bound < share < bound


class TestLaws:
    def test_a_higher_capture_speed_can_only_do_more(self) -> None:
        bounds = [capture_bound(1.0, speed) for speed in np.linspace(0, 0.5, 12)]
        assert (np.diff([bound.turn_back for bound in bounds]) > 0).all()
        assert (np.diff([bound.rest for bound in bounds]) > 0).all()
        assert (bounds[0].turn_back, bounds[0].rest) == (0.0, 0.0)

    def test_only_the_ratios_of_the_drag_matter(self) -> None:
        one, other = capture_bound(20.0, 2.0, [(0.05, 0.01, 1e-3)]), capture_bound(20.0, 2.0, [(5.0, 1.0, 0.1)])
        assert one.turn_back == pytest.approx(other.turn_back, rel=1e-12)
        assert one.rest == pytest.approx(other.rest, rel=1e-9)

    def test_the_bound_holds_the_cosine_bump_s_closed_form(self) -> None:
        for hill in (0.01, 0.1, 1.0):
            wheel = CaptureWheel(0.05, 0.01, 1e-3, hill)
            early = 1 - float(time_to_end(wheel, 10.0, Ending.FIRST_TURN_BACK) / free_time(wheel, 10.0))
            assert early < capture_bound(10.0, hill**0.5, [(0.05, 0.01, 1e-3)]).turn_back < 1.3 * early


class TestFromAMeasuredHill:
    def test_a_well_known_hill_gives_its_capture_speed(self) -> None:
        hill = Hill(np.array([2.0]), np.array([0.0]), 1e-12 * np.eye(2))
        found = capture_bound_of_hill(20.0, hill, [(1.0, 0.0, 0.0)])
        assert found.capture_speed == pytest.approx(2.0, rel=1e-5)
        assert found.turn_back == pytest.approx(0.1, rel=1e-5)  # dry: T is proportional to speed

    def test_doubt_about_the_hill_raises_the_bound(self) -> None:
        sure, unsure = (Hill(np.array([2.0]), np.array([0.0]), spread**2 * np.eye(2)) for spread in (0.01, 0.1))
        assert capture_bound_of_hill(20.0, unsure).turn_back > capture_bound_of_hill(20.0, sure).turn_back


def test_a_launch_below_capture_is_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="capture speed is 3 rad/s"):
        capture_bound(2.0, 3.0)


class TestTheBumpThatWouldMakeADifference:
    @pytest.mark.parametrize("longer", [1.01, 1.05, 1.2, 1.5])
    @pytest.mark.parametrize("ending", list(Ending))
    def test_its_bound_is_that_difference(self, longer: float, ending: Ending) -> None:
        caught = caught_to_explain(longer, (ending,))
        assert caught is not None
        bound = capture_bound(1.0, caught)
        made = bound.rest if ending is Ending.FINAL_REST else 1 / (1 - bound.turn_back) - 1
        assert made == pytest.approx(longer - 1, rel=1e-4)

    def test_a_wheel_with_such_a_bump_rests_that_much_later(self) -> None:
        caught = caught_to_explain(1.05, (Ending.FINAL_REST,))
        assert caught is not None
        later = [
            float(time_to_end(CaptureWheel(*drag, hill=caught**2), 1.0, Ending.FINAL_REST))
            / float(free_time(CaptureWheel(*drag), 1.0))
            for drag in drags_up_to_table(1.0)
        ]
        assert max(later) == pytest.approx(1.05, abs=1e-5)

    def test_a_time_three_times_as_long_is_no_capture(self) -> None:
        assert caught_to_explain(3.0, (Ending.FINAL_REST,)) is None

    def test_no_difference_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="above 1"):
            caught_to_explain(1.0)
