"""One turn and the map of turns: laws, elliptic integrals and an independent integrator."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import ellipk

from truerun.motion.drag_curve import DragBasis, basis_slopes, basis_values, chebyshev_basis, power_basis
from truerun.motion.hill import hill_matrix, turned_hill
from truerun.motion.panels import cumulative, over_turn, rows_at, turn_grid
from truerun.motion.places import even_marks, pass_grid
from truerun.motion.prediction import pass_times, predict, time_slopes
from truerun.motion.start import Guess
from truerun.motion.turn import least_energy, turn_motion
from truerun.motion.turn_map import Caught, Solver
from truerun.virtual.wheels import CASES, LEAD, truth

BASIS = power_basis((0, 1, 2), 1.0, 20.0)


def weights(*coefficients: float) -> NDArray[np.float64]:
    return np.linalg.solve(BASIS.mixing, np.array(coefficients))


class TestIntegralsOverATurn:
    def test_running_integral_of_a_cosine_is_its_sine(self) -> None:
        grid = turn_grid(6)
        found = cumulative(grid, np.cos(3 * grid.angles)[:, None])[:, 0]
        np.testing.assert_allclose(found, np.sin(3 * grid.angles) / 3, atol=2e-10)  # 10 nodes a panel, order 10

    def test_rows_integrate_and_interpolate_anywhere(self) -> None:
        grid, angles = turn_grid(12), np.array([0.0, 0.3, 3.7, 2 * np.pi])
        integrate, interpolate = rows_at(grid, angles)
        np.testing.assert_allclose(integrate @ np.cos(grid.angles), np.sin(angles), atol=1e-14)
        np.testing.assert_allclose(interpolate @ np.cos(grid.angles), np.cos(angles), atol=1e-13)


class TestTheDragBasis:
    @pytest.mark.parametrize("basis", [BASIS, chebyshev_basis(6, 1.0, 20.0), power_basis((0, 1.5), 2.0, 9.0)])
    def test_slopes_are_the_derivatives_of_the_values(self, basis: DragBasis) -> None:
        speed, step = np.linspace(2.0, 19.0, 7), 1e-5
        rise = basis_values(basis, speed + step) - basis_values(basis, speed - step)
        slopes = basis_slopes(basis, speed)
        np.testing.assert_allclose(rise / (2 * step), slopes, rtol=1e-6, atol=1e-8)  # central difference

    def test_five_terms_in_the_root_of_speed_hold_the_four_physical_powers(self) -> None:
        speed = np.linspace(1.0, 20.0, 50)
        values = basis_values(chebyshev_basis(5, 1.0, 20.0), speed)
        for power in (0.0, 1.0, 1.5, 2.0):
            fitted = values @ np.linalg.lstsq(values, speed**power, rcond=None)[0]
            np.testing.assert_allclose(fitted, speed**power, rtol=1e-10)


class TestAWheelWithoutDrag:
    def test_energy_is_conserved_and_the_turn_takes_an_elliptic_integral(self) -> None:
        # u = a cos(angle): T = 4/sqrt(2 (x + a)) K(2 a/(x + a)), complete elliptic integral of scipy.special
        grid, hill, energies = turn_grid(16), 2.0, np.array([2.2, 3.0, 50.0])
        turn = turn_motion(grid, hill * np.cos(grid.angles), BASIS, weights(0, 0, 0), energies)
        exact = 4 / np.sqrt(2 * (energies + hill)) * ellipk(2 * hill / (energies + hill))
        np.testing.assert_allclose(over_turn(grid, 1 / turn.speed), exact, rtol=1e-9)  # nearest is 10 % above the top
        np.testing.assert_array_equal(turn.loss, 0.0)

    def test_the_least_energy_is_the_top_of_the_hill(self) -> None:
        grid = turn_grid(16)
        assert least_energy(grid, 2.0 * np.cos(grid.angles - 1), BASIS, weights(0, 0, 0)) == pytest.approx(
            2.0, rel=1e-5
        )

    def test_dry_drag_takes_the_same_energy_from_every_turn(self) -> None:
        grid = turn_grid(8)
        turn = turn_motion(grid, np.cos(grid.angles), BASIS, weights(0.05, 0, 0), np.array([3.0, 9.0]))
        np.testing.assert_allclose(turn.loss, 2 * np.pi * 0.05, rtol=1e-12)


class TestPassTimesAgainstAnIndependentIntegrator:
    @pytest.mark.parametrize("name", CASES)
    def test_the_map_of_turns_gives_the_same_times(self, name: str) -> None:
        # oracle: scipy's DOP853 over the angle at rtol 1e-13; launch and mark 0 are LEAD apart
        wheel = truth(name, 480)
        case = wheel.case
        basis = power_basis(case.powers, 20.0 / case.ratio, 20.0)
        hill, _ = turned_hill(np.column_stack([wheel.cosine, wheel.sine]).ravel(), LEAD)
        drag = np.asarray(np.linalg.solve(basis.mixing, wheel.drag), dtype=np.float64)
        marks = LEAD + even_marks(case.marks) + wheel.spacing
        turns = 480 // case.marks
        angles = np.append(marks, 2 * np.pi)  # rows end at the launch angle, which is no mark here
        guess = Guess(0.0, 200.0, drag, hill, np.zeros(case.marks))
        solver = Solver(turn_grid(24), 48, basis)
        times = pass_times(0.0, predict(solver, guess, angles, turns, 0.2))[:, :-1].ravel()
        np.testing.assert_allclose(times, wheel.motion.times, rtol=0, atol=1e-9)

    def test_derivatives_are_those_of_the_times(self) -> None:
        hill = np.array([0.8, -0.3, 0.2, 0.1])
        guess = Guess(1.0, 60.0, weights(0.05, 0.02, 0.001), hill, np.array([0.01, -0.02, 0.0]))
        solver, angles = Solver(turn_grid(16), 40, BASIS), even_marks(4) + np.pi / 2
        slopes, slowness = time_slopes(predict(solver, guess, angles, 30, 2.0), np.arange(30))
        base = np.concatenate([[1.0, 60.0], guess.drag, hill, guess.spacing])

        def at(values: NDArray[np.float64]) -> NDArray[np.float64]:
            moved = Guess(float(values[0]), float(values[1]), values[2:5], values[5:9], values[9:])
            return pass_times(moved.start_time, predict(solver, moved, angles, 30, 2.0))

        for place in range(base.size):
            step = np.zeros(base.size)
            step[place] = 1e-5 * max(abs(base[place]), 0.1)
            found = (at(base + step) - at(base - step)) / (2 * step[place])
            if place < 9:
                expected = slopes[:, :, place]
            else:
                expected = np.zeros_like(found)
                expected[:, place - 9] = slowness[:, place - 9]
            np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1e-6 * np.abs(found).max())  # differences

    def test_a_caught_wheel_is_noticed(self) -> None:
        guess = Guess(0.0, 3.0, weights(0.1, 0, 0), np.array([2.0, 0.0]), np.zeros(0))
        with pytest.raises(Caught):
            predict(Solver(turn_grid(8), 24, BASIS), guess, np.array([2 * np.pi]), 5, 0.5)


class TestPassesAreSortedIntoTurns:
    def test_every_turn_ends_with_the_mark_of_the_last_pass(self) -> None:
        grid = pass_grid(np.linspace(1.0, 11.0, 11), np.arange(11), even_marks(3), None)
        assert grid.turns == 4
        assert grid.reference == 1
        assert grid.weights.sum() == 11
        assert grid.times[-1, -1] == 10.0  # from the whole second of the first pass on

    def test_a_missing_pass_has_no_weight(self) -> None:
        counts = np.delete(np.arange(12), 5)
        grid = pass_grid(np.asarray(counts + 1.0), counts, even_marks(3), None)
        assert np.count_nonzero(grid.weights) == 11
        assert grid.times[1, 2] == pytest.approx(5.0)  # filled in by a straight line


def test_turning_a_hill_there_and_back_changes_nothing() -> None:
    hill = np.array([1.0, 2.0, -0.5, 0.3])
    back, _ = turned_hill(turned_hill(hill, 0.7)[0], -0.7)
    np.testing.assert_allclose(back, hill, rtol=1e-14)
    angles = np.linspace(0, 6, 5)
    turned, _ = turned_hill(hill, 0.7)
    np.testing.assert_allclose(hill_matrix(angles + 0.7, 2) @ turned, hill_matrix(angles, 2) @ hill, rtol=1e-12)
