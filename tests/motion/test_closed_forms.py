"""Closed forms against a table that was made with a 22-digit Taylor integrator (own derivation, see its source)."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from truerun.errors import ValueOutOfRange
from truerun.motion.closed_forms import (
    angle_between_speeds,
    angle_to_stop,
    speed_after,
    speed_after_angle,
    stopping_time,
    time_between_speeds,
)

# nine sets of J, w0, a, b, c with w(t), theta(t), stop time and turns to 15 digits; "+inf" is never
SETS: dict[str, dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "data" / "rundown_closed_form.json").read_text("utf-8")
)


def drag_of(values: dict[str, Any]) -> dict[str, float]:
    return {"dry": values["a"], "viscous": values["b"], "quadratic": values["c"]}


@pytest.mark.parametrize("name", SETS)
class TestTheTableOfNineRotors:
    def test_stopping_time(self, name: str) -> None:
        case = SETS[name]
        found = stopping_time(case["J"], case["w0"], **drag_of(case))
        assert found == pytest.approx(float(case["T_stop"]), rel=1e-13)  # the table has 15 digits

    def test_speed_after_a_minute(self, name: str) -> None:
        case = SETS[name]
        found = speed_after(case["J"], case["w0"], case["t"], **drag_of(case))
        assert found == pytest.approx(float(case["w_t"]), rel=1e-13)

    def test_angle_after_a_minute(self, name: str) -> None:
        case = SETS[name]
        found = angle_between_speeds(case["J"], case["w0"], float(case["w_t"]), **drag_of(case))
        assert found == pytest.approx(float(case["theta_t"]), rel=1e-12)  # the speed's last digit moves the angle

    def test_angle_to_stop(self, name: str) -> None:
        case = SETS[name]
        found = angle_to_stop(case["J"], case["w0"], **drag_of(case))
        assert found == pytest.approx(float(case["theta_stop"]), rel=1e-12)

    def test_speed_after_one_turn(self, name: str) -> None:
        case = SETS[name]
        if case["a"] and case["b"] and case["c"]:
            with pytest.raises(ValueOutOfRange, match="without one of them"):
                speed_after_angle(case["J"], case["w0"], 2 * np.pi, **drag_of(case))
            return
        found = speed_after_angle(case["J"], case["w0"], 2 * np.pi, **drag_of(case))
        assert found == pytest.approx(float(case["w_after_1_turn"]), rel=1e-13)


class TestTheBranchesJoin:
    @pytest.mark.parametrize("excess", [-1e-6, -1e-12, 0.0, 1e-12, 1e-6])
    def test_time_has_no_step_where_the_discriminant_changes_sign(self, excess: float) -> None:
        # set F has 4 a c = b^2, where the two textbook branches lose half their digits; oracle: scipy's quadrature
        case = SETS["F 4ac=b2"]
        quadratic = case["c"] * (1 + excess)
        exact, _ = quad(
            lambda w: case["J"] / (case["a"] + case["b"] * w + quadratic * w * w), 0, case["w0"], epsrel=1e-13
        )
        found = stopping_time(case["J"], case["w0"], dry=case["a"], viscous=case["b"], quadratic=quadratic)
        assert found == pytest.approx(exact, rel=1e-12)

    def test_speed_after_undoes_time_between(self) -> None:
        speeds = np.linspace(1.0, 49.0, 9)
        drag = {"dry": 0.002, "viscous": 1e-4, "quadratic": 2e-6}
        times = time_between_speeds(0.01, 50.0, speeds, **drag)
        np.testing.assert_allclose(speed_after(0.01, 50.0, times, **drag), speeds, rtol=1e-12)

    def test_a_stopped_rotor_stays_stopped(self) -> None:
        assert speed_after(0.01, 50.0, 1000.0, dry=0.002) == 0.0

    def test_a_rotor_without_drag_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="not zero altogether"):
            stopping_time(0.01, 50.0, dry=0.0)
        with pytest.raises(ValueOutOfRange, match="inertia"):
            stopping_time(0.0, 50.0, dry=0.1)
