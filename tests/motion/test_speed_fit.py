"""Speed tables: recordings, closed forms and an integrator that shares nothing with the fit.

Recordings in tests/data/real (sources and licences beside them): a heavy gyroscope that slows in its bearing, read by
hand every 2 min (Oskar Josef Weinfurtner 2017), and a wheel that is driven up to speed ("valentine" 2026). The closed
forms are those of tests/data/rundown_closed_form.json (22-digit Taylor integrator).
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.closed_forms import speed_after, time_between_speeds
from truerun.motion.drag_curve import drag_at
from truerun.motion.rival_terms import compare_terms
from truerun.motion.speed_fit import SpeedRundown, fit_speeds, speed_window
from truerun.motion.speed_rows import rundown_rows
from truerun.series import SpeedTable

Array = NDArray[np.float64]
DATA = Path(__file__).parents[1] / "data"
SETS: dict[str, dict[str, Any]] = json.loads((DATA / "rundown_closed_form.json").read_text("utf-8"))
RPM = 2 * np.pi / 60


def gyroscope() -> SpeedTable:
    minutes, rpm = np.loadtxt(DATA / "real" / "gyro_v213_rundown.txt", skiprows=1, unpack=True)
    return SpeedTable(60 * minutes, rpm * RPM, np.full(minutes.size, 2 * RPM))  # its heading says +/-2


def driven_wheel(name: str) -> SpeedTable:
    lines = (DATA / "real" / f"driven_wheel_{name}_ring.csv").read_text("utf-8").splitlines()[1:]
    read = np.array([[float(cell) for cell in line.split(",")[:3]] for line in lines])
    return SpeedTable(read[:, 0], read[:, 1], read[:, 2])


def slowing(times: Array, sigma: float = 0.02, seed: int = 3) -> Array:
    """Speeds of a wheel with dry and viscous drag .05 + .01 w, from 20 rad/s, with reading errors."""
    noise = sigma * np.random.default_rng(seed).standard_normal(times.size)
    return np.asarray(25 * np.exp(-0.01 * times) - 5 + noise)


def checks(found: SpeedRundown) -> set[str]:
    return {said.check for said in found.findings}


class TestTheGyroscopeReadByHand:
    """Worked values: straight weighted fits with the stated 2 r/min, made with numpy and scipy when it was archived."""

    def test_viscous_drag_alone(self) -> None:
        found = fit_speeds(gyroscope(), terms=(1,), drift=False)
        assert found.start_speed / RPM == pytest.approx(690.15, abs=0.005)
        assert found.start_uncertainty / RPM == pytest.approx(1.48, abs=0.005)
        assert found.coefficients[0] == pytest.approx(6.531e-4, abs=5e-8)
        assert np.sqrt(found.coefficient_covariance[0, 0]) == pytest.approx(0.058e-4, abs=5e-8)
        assert found.chi2 == pytest.approx(2.590, abs=5e-4)
        assert found.freedom == 5

    def test_a_dry_term_comes_out_negative_and_means_nothing(self) -> None:
        found = fit_speeds(gyroscope(), terms=(0, 1), drift=False)
        assert found.coefficients == pytest.approx([-0.0058, 7.54e-4], rel=5e-3)
        spread = np.sqrt(np.diag(found.coefficient_covariance))
        assert spread == pytest.approx([0.0049, 0.85e-4], rel=5e-3)
        assert found.coefficient_covariance[0, 1] / spread.prod() == pytest.approx(-0.998, abs=5e-4)
        assert found.chi2 == pytest.approx(1.17, abs=5e-3)
        assert "terms-trade-off" in checks(found)
        assert "negative-drag-term" not in checks(found)  # 1.2 standard errors from 0

    def test_viscous_and_quadratic(self) -> None:
        found = fit_speeds(gyroscope(), terms=(1, 2), drift=False)
        assert found.coefficients == pytest.approx([5.56e-4, 1.7e-6], rel=0.03)
        assert np.sqrt(np.diag(found.coefficient_covariance)) == pytest.approx([0.86e-4, 1.5e-6], rel=0.03)
        assert found.chi2 == pytest.approx(1.30, abs=5e-3)

    def test_its_seven_points_cannot_tell_the_three_forms_apart(self) -> None:
        found = compare_terms(gyroscope(), ((1,), (0, 1), (1, 2)))
        assert found.alike == (0, 1, 2)
        assert found.findings[0].sentence.startswith("These 7 points cannot tell the three forms of drag apart")

    def test_they_do_tell_dry_drag_alone_apart(self) -> None:
        found = compare_terms(gyroscope(), ((0,), (1,)))
        assert found.alike == (1,)
        assert found.findings == ()

    def test_the_half_time_of_the_archive(self) -> None:
        found = fit_speeds(gyroscope(), terms=(1,), drift=False)
        assert np.log(2) / found.coefficients[0] == pytest.approx(1061, abs=0.5)

    def test_a_table_without_angles_says_what_a_bump_could_do(self) -> None:
        assert "speed-without-angle" in checks(fit_speeds(gyroscope(), terms=(1,)))


class TestADrivenWheelIsNoRundown:
    @pytest.mark.parametrize("name", ["inner", "outer"])
    def test_its_speed_rises_and_it_is_said(self, name: str) -> None:
        with pytest.raises(FitImpossible, match=r"The speed rises: from .* rad/s.*no rundown"):
            fit_speeds(driven_wheel(name))


@pytest.mark.parametrize("name", [name for name in SETS if not name.startswith("G")])
class TestTheClosedForms:
    def table(self, name: str) -> tuple[SpeedTable, dict[str, float], float]:
        case = SETS[name]
        drag = {"dry": case["a"], "viscous": case["b"], "quadratic": case["c"]}
        stop = float(case["T_stop"]) if "inf" not in str(case["T_stop"]) else 200.0
        times = np.linspace(0, 0.7 * min(stop, 200.0), 40)
        return SpeedTable(times, speed_after(case["J"], case["w0"], times, **drag)), drag, case["J"]

    def test_their_coefficients_come_back(self, name: str) -> None:
        table, drag, inertia = self.table(name)
        found = fit_speeds(table, terms=(0, 1, 2), drift=False)
        scale = np.array([1, table.speeds[0], table.speeds[0] ** 2])
        wanted = np.array(list(drag.values())) / inertia * scale
        assert found.coefficients * scale == pytest.approx(
            wanted, abs=1e-6 * wanted.sum()
        )  # steps of 1/1000 of the run

    def test_the_time_between_two_speeds(self, name: str) -> None:
        table, drag, inertia = self.table(name)
        first, last = 0.95 * table.speeds[0], 1.1 * table.speeds[-1]
        found = speed_window(fit_speeds(table, drift=False), first, last)
        assert found.time == pytest.approx(float(time_between_speeds(inertia, first, last, **drag)), rel=1e-7)


class TestAnyDragAgainstAnotherIntegrator:
    """DOP853 of scipy, with a power of 1.5 and a falling friction, as real bearings have."""

    @staticmethod
    def motion(times: Array) -> Array:
        def rate(time: float, speed: Array) -> Array:
            del time
            return np.asarray(-(0.09 - 0.006 * speed + 0.004 * np.abs(speed) ** 1.5))

        solved = solve_ivp(rate, (0, times[-1]), [15.0], method="DOP853", t_eval=times, rtol=1e-12, atol=1e-13)
        return np.asarray(solved.y[0])

    def test_coefficients(self) -> None:
        times = np.linspace(0, 60, 60)
        found = fit_speeds(SpeedTable(times, self.motion(times)), terms=(0, 1, 1.5), drift=False)
        assert found.coefficients == pytest.approx([0.09, -0.006, 0.004], rel=1e-5)

    def test_a_series_gives_the_same_curve(self) -> None:
        times = np.linspace(0, 60, 60)
        found = fit_speeds(SpeedTable(times, self.motion(times)), terms=5, drift=False)
        speed = np.linspace(found.speed_low, 15.0, 9)
        assert drag_at(found.drag, speed)[0] == pytest.approx(0.09 - 0.006 * speed + 0.004 * speed**1.5, rel=1e-5)

    def test_a_negative_term_is_said_with_what_it_is_not(self) -> None:
        times = np.linspace(0, 60, 60)
        noise = 1e-3 * np.random.default_rng(1).standard_normal(60)
        found = fit_speeds(SpeedTable(times, self.motion(times) + noise), terms=(0, 1, 1.5))
        said = [finding.sentence for finding in found.findings if finding.check == "negative-drag-term"]
        assert len(said) == 1
        assert said[0].startswith("The viscous part of the drag comes out negative. Friction that falls with speed")


class TestHonestUncertainty:
    @staticmethod
    def wandering(rng: np.random.Generator, times: Array, sigma: float) -> SpeedTable:
        """A wheel whose drag of .05 + .01 w wanders by 3 % of its mean, tied over a tenth of the run (AR(1))."""
        steps = 600
        step, tie = times[-1] / steps, np.exp(-10 / steps)
        extra, speed, speeds = 0.03 * 0.14 * rng.standard_normal(), 20.0, [20.0]
        for _ in range(steps):
            speed += step * -(0.05 + 0.01 * speed + extra)  # Euler: a wander of 3 % dwarfs its own step
            extra = tie * extra + np.sqrt(1 - tie**2) * 0.03 * 0.14 * rng.standard_normal()
            speeds.append(speed)
        read = np.interp(times, np.linspace(0, times[-1], steps + 1), speeds)
        return SpeedTable(times, read + sigma * rng.standard_normal(times.size), np.full(times.size, sigma))

    def test_a_wandering_drag_is_covered_where_the_reading_error_is_not(self) -> None:
        rng, runs = np.random.default_rng(5), 30
        times = np.linspace(0, 90, 46)
        speed = np.linspace(8.0, 18.0, 5)
        exact = 0.05 + 0.01 * speed
        honest = reading = 0.0
        for _ in range(runs):
            found = fit_speeds(self.wandering(rng, times, 0.002), terms=(0, 1))
            value, wide, _ = drag_at(found.drag, speed)
            plain, _, narrow = drag_at(fit_speeds_plain(found), speed)
            honest += float((np.abs(value - exact) < 1.96 * wide).mean()) / runs
            reading += float((np.abs(plain - exact) < 1.96 * narrow).mean()) / runs
        assert honest > 0.83  # 95 % less 3 standard errors of 30 runs, a fixed seed
        assert reading < 0.5

    def test_the_window_s_time_is_covered_too(self) -> None:
        rng, runs, inside = np.random.default_rng(6), 30, 0
        times = np.linspace(0, 90, 46)
        for _ in range(runs):
            table = self.wandering(rng, times, 0.002)
            found = speed_window(fit_speeds(table, terms=(0, 1)), 18.0, 9.0)
            # what this very run took, from its own readings (0.002 rad/s is .01 s of time)
            took = np.interp(-9.0, -table.speeds, times) - np.interp(-18.0, -table.speeds, times)
            inside += abs(found.time - took) < 1.96 * np.hypot(found.time_uncertainty, 0.03)
        assert inside >= 0.83 * runs

    def test_clean_readings_are_widened_by_what_they_cannot_rule_out(self) -> None:
        times = np.linspace(0, 90, 91)
        found = fit_speeds(SpeedTable(times, slowing(times), np.full(91, 0.02)), terms=(0, 1))
        _, wide, narrow = drag_at(found.drag, np.array([12.0]))
        assert narrow[0] <= wide[0] < 0.002 * 0.17  # a slow wander of 1 or 2 in 1000 of the drag would not be seen

    def test_residuals_that_hang_together_are_said(self) -> None:
        times = np.linspace(0, 90, 91)
        found = fit_speeds(self.wandering(np.random.default_rng(5), times, 0.002), terms=(0, 1))
        assert found.lag_one > 0.5
        assert {"residuals-hang-together", "speed-misfit"} <= checks(found)


def fit_speeds_plain(found: SpeedRundown) -> Any:
    """Give the drag as the fit without wander has it."""
    return replace(found.drag, weights=found.weights)


class TestQuirksOfSpeedTables:
    times = np.arange(0.0, 60.0, 1.0)

    def test_a_display_that_drops_to_zero_too_early(self) -> None:
        speeds = np.where(self.times < 50, slowing(self.times), 0.0)
        found = fit_speeds(SpeedTable(self.times, speeds), terms=(0, 1))
        assert "display-timed-out" in checks(found)
        assert found.rows[-1] == 49
        assert found.coefficients == pytest.approx([0.05, 0.01], abs=5 * np.sqrt(found.coefficient_covariance[0, 0]))

    def test_a_wheel_that_truly_stops_is_not_accused(self) -> None:
        speeds = np.maximum(10 - 0.2 * self.times, 0.0)
        assert "display-timed-out" not in checks(fit_speeds(SpeedTable(self.times, speeds), terms=(0,), sigma=0.01))

    def test_a_zero_amid_the_run_is_left_out(self) -> None:
        speeds = slowing(self.times)
        speeds[20] = 0.0
        found = fit_speeds(SpeedTable(self.times, speeds), terms=(0, 1))
        assert "display-timed-out" in checks(found)
        assert 20 not in found.rows

    def test_whole_second_stamps_that_repeat(self) -> None:
        exact = np.arange(0.0, 60.0, 0.25)
        found = fit_speeds(SpeedTable(np.floor(exact), slowing(exact)), terms=(0, 1))
        assert "stamps-repeated" in checks(found)
        assert found.rows.size == 60
        away = found.coefficients - [0.05, 0.01]
        assert away @ np.linalg.solve(found.coefficient_covariance, away) < 14  # chi-squared of 2: 1 in 1000

    def test_a_run_up_before(self) -> None:
        up = np.linspace(0.5, 19.0, 12)
        times = np.arange(72.0)
        found = fit_speeds(SpeedTable(times, np.concatenate([up, slowing(self.times)])), terms=(0, 1))
        assert "before-rundown" in checks(found)
        assert found.rows[0] == 12

    def test_a_last_push_amid_the_slowing(self) -> None:
        before = np.linspace(18.0, 16.0, 10)
        times = np.arange(70.0)
        found = fit_speeds(SpeedTable(times, np.concatenate([before, slowing(self.times)])), terms=(0, 1))
        assert "before-rundown" in checks(found)
        assert found.rows[0] == 10

    def test_a_second_launch_after(self) -> None:
        times = np.arange(70.0)
        found = fit_speeds(
            SpeedTable(times, np.concatenate([slowing(self.times), np.linspace(9, 20, 10)])), terms=(0, 1)
        )
        assert "after-rundown" in checks(found)
        assert found.rows[-1] == 59

    def counted(self, factor: float, late: int) -> SpeedTable:
        speeds = slowing(self.times, 0.0)
        turned = 2500 * (1 - np.exp(-0.01 * self.times)) - 5 * self.times
        counts = np.floor(turned * 4 / (2 * np.pi)).astype(np.intp)
        counts = np.concatenate([np.full(late, 0), counts[: counts.size - late]])
        return SpeedTable(self.times, factor * speeds, counts=counts)

    def test_a_counter_that_agrees(self) -> None:
        said = {one.check for one in rundown_rows(self.counted(1.0, 0), marks=4).findings}
        assert said == set()

    def test_speeds_off_by_a_power_of_two(self) -> None:
        found = rundown_rows(self.counted(2.0, 0), marks=4).findings
        assert [one.check for one in found] == ["speed-off-by-two"]
        assert "2 times higher" in found[0].sentence

    def test_a_counter_one_row_late(self) -> None:
        # a finely divided disc: one count must not hide a row's slowing of .2 rad/s
        turned = 2500 * (1 - np.exp(-0.01 * self.times)) - 5 * self.times
        counts = np.floor(turned * 500).astype(np.intp)
        late = SpeedTable(self.times, slowing(self.times, 0.0), counts=np.concatenate([[0], counts[:-1]]))
        assert {one.check for one in rundown_rows(late).findings} == {"counter-lags"}

    def test_a_wheel_that_turns_the_other_way(self) -> None:
        forward = fit_speeds(SpeedTable(self.times, slowing(self.times)), terms=(0, 1))
        backward = fit_speeds(SpeedTable(self.times, -slowing(self.times)), terms=(0, 1))
        assert backward.coefficients == pytest.approx(forward.coefficients, rel=1e-12)


class TestRefusals:
    def test_a_clock_that_goes_back(self) -> None:
        times = np.array([0.0, 1, 2, 1.5, 3])
        with pytest.raises(FitImpossible, match="time in row 4 is earlier"):
            fit_speeds(SpeedTable(times, 10 - times))

    def test_too_few_speeds(self) -> None:
        times = np.arange(4.0)
        with pytest.raises(FitImpossible, match="4 speeds; this fit needs at least 5"):
            fit_speeds(SpeedTable(times, 10 - times))

    def test_a_steady_wheel(self) -> None:
        times = np.arange(40.0)
        speeds = 10 + 0.1 * np.random.default_rng(2).standard_normal(40)
        with pytest.raises(FitImpossible, match="no rundown"):
            fit_speeds(SpeedTable(times, speeds))

    def test_a_window_that_was_not_recorded(self) -> None:
        found = fit_speeds(gyroscope(), terms=(1,))
        with pytest.raises(FitImpossible, match="not inside"):
            speed_window(found, 70.0, 20.0)
        with pytest.raises(ValueOutOfRange, match="from a higher to a lower"):
            speed_window(found, 50.0, 60.0)
