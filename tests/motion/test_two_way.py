"""Two-way rundowns: the odd half is the drive, by closed forms and by repeated noise."""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.closed_forms import speed_after
from truerun.motion.drag_curve import DragTerms, power_basis
from truerun.motion.speed_fit import fit_speeds
from truerun.motion.two_way import TwoWay, band_factor, split_two_way
from truerun.series import SpeedTable

TIMES = np.linspace(0, 80, 81)
DRIVE = 0.004


@cache
def run(sign: int, rng: np.random.Generator | None = None, *, drift: bool = True) -> DragTerms:
    """Drag of a wheel with .05 + .01 w and a static drive of .004 forwards, from its exact speeds."""
    speeds = speed_after(1.0, 20.0, TIMES, dry=0.05 - sign * DRIVE, viscous=0.01)
    noise = 0.0 if rng is None else 0.01 * rng.standard_normal(TIMES.size)
    table = SpeedTable(TIMES, speeds + noise, np.full(TIMES.size, 0.01))
    return fit_speeds(table, terms=(0, 1), drift=drift).drag


class TestTheOddHalfIsTheDrive:
    def test_and_every_drag_cancels(self) -> None:
        found = split_two_way([run(1, drift=False)], [run(-1, drift=False)], 8.0, 19.0)
        assert found.drive == pytest.approx(np.full(found.speeds.size, DRIVE), rel=1e-5)
        assert found.drag == pytest.approx(0.05 + 0.01 * found.speeds, rel=1e-6)

    def test_swapping_the_directions_swaps_its_sign_only(self) -> None:
        ahead, back = run(1), run(-1)
        one, other = split_two_way([ahead], [back], 8.0, 19.0), split_two_way([back], [ahead], 8.0, 19.0)
        assert other.drive == pytest.approx(-one.drive)
        assert other.drag == pytest.approx(one.drag)
        assert other.mean_drive_uncertainty == pytest.approx(one.mean_drive_uncertainty)

    def many(self, runs: int) -> list[TwoWay]:
        rng = np.random.default_rng(8)
        pairs = [(run(1, rng, drift=False), run(-1, rng, drift=False)) for _ in range(runs)]
        return [split_two_way([ahead], [back], 9.0, 19.0) for ahead, back in pairs]

    def test_the_mean_drive_s_uncertainty_and_the_band_hold(self) -> None:
        found = self.many(60)
        away = [(one.mean_drive - DRIVE) / one.mean_drive_uncertainty for one in found]
        assert np.mean(np.square(away)) == pytest.approx(1, abs=4 * np.sqrt(2 / 60))  # 4 standard errors: 1 in 16 000
        whole = [np.all(np.abs(one.drive - DRIVE) <= one.factor * one.drive_uncertainty) for one in found]
        assert np.mean(whole) > 0.95 - 4 * np.sqrt(0.05 * 0.95 / 60)

    def test_two_runs_each_way_bring_in_how_they_repeat(self) -> None:
        basis = power_basis((0,), 4.0, 20.0)

        def way(drag: float) -> DragTerms:
            weights = np.linalg.solve(basis.mixing, np.array([drag]))
            return DragTerms(basis, weights, np.eye(1) * 1e-12, np.eye(1) * 1e-12)

        found = split_two_way([way(0.08), way(0.09)], [way(0.10), way(0.12)], 5.0, 15.0)
        assert found.mean_drive == pytest.approx(0.0125)
        # standard errors of two means of two, halved: sqrt(.005^2 + .01^2)/2
        assert found.mean_drive_uncertainty == pytest.approx(np.hypot(0.005, 0.01) / 2)
        assert found.findings == ()

    def test_a_single_run_each_way_is_said(self) -> None:
        found = split_two_way([run(1)], [run(-1)], 8.0, 19.0)
        assert [said.check for said in found.findings] == ["one-run-each-way"]


class TestTheBand:
    def roots(self) -> NDArray[np.float64]:
        """Quadratic regression on a line of 50 evenly spaced readings."""
        place = np.linspace(-1, 1, 50)
        columns = place[:, None] ** np.arange(3)
        return np.asarray(columns @ np.linalg.cholesky(np.linalg.inv(columns.T @ columns)))

    def test_its_factor_for_a_quadratic(self) -> None:
        assert band_factor(self.roots(), 0.95) == pytest.approx(2.6, abs=0.1)

    def test_it_holds_whole_curves_where_single_places_do_not(self) -> None:
        root = self.roots()
        curves = np.random.default_rng(1).standard_normal((4000, 3)) @ root.T
        most = np.abs(curves / np.linalg.norm(root, axis=1)).max(axis=1)
        # three standard errors of 4000 draws, with a fixed seed
        assert np.mean(most > band_factor(root, 0.95)) == pytest.approx(0.05, abs=0.011)
        assert np.mean(most > 1.96) == pytest.approx(0.21, abs=0.03)

    def test_a_constant_needs_no_more_than_a_normal_interval(self) -> None:
        assert band_factor(np.ones((9, 1)), 0.95) == pytest.approx(1.959964, abs=1e-6)


class TestRefusals:
    def test_one_direction_only(self) -> None:
        with pytest.raises(FitImpossible, match="1 runs forwards and 0 backwards"):
            split_two_way([run(1)], [], 8.0, 19.0)

    def test_speeds_that_were_not_recorded(self) -> None:
        with pytest.raises(ValueOutOfRange, match="where all runs were fitted"):
            split_two_way([run(1)], [run(-1)], 1.0, 19.0)
