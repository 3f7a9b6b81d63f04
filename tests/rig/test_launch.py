"""A falling weight and the inertia of a wheel, against worked examples and against energy itself.

Discs and magnets: areas integrated on a grid of 2000 x 2000 cells here. The falling weight: the equation of motion
integrated in small steps here, with the weight and the wheel each on its own side of the string.
"""

from __future__ import annotations

import numpy as np
import pytest

from truerun.errors import ValueOutOfRange
from truerun.rig.inertia import disc_inertia, points_inertia
from truerun.rig.launch import (
    fall_energy,
    fall_speed,
    friction_work,
    inertia_from_fall,
    kinetic_energy,
    launch_speed,
)

MASS, DRUM, HEIGHT, DRAG, GRAVITY, INERTIA = 0.4, 0.03, 0.7, 0.15, 9.81, 0.0225


def fallen() -> tuple[float, float]:
    """Let the weight fall in small steps; give the time and the speed of the wheel as it lands."""
    radius, step, way, rate, time = DRUM / 2, 1e-4, 0.0, 0.0, 0.0
    # the string pulls with T: m a = m g - T on one side, I (a / r + f) = T r on the other
    gain = np.linalg.solve([[MASS, 1.0], [INERTIA / radius, -radius]], [MASS * GRAVITY, -INERTIA * DRAG])[0]
    while way < HEIGHT:
        rate += gain * step
        way += rate * step
        time += step
    return time, rate / radius


class TestAFallingWeight:
    def test_time_and_speed_of_a_fall_that_was_stepped_through(self) -> None:
        time, speed = fallen()
        # half a step of .1 ms in several seconds
        assert inertia_from_fall(MASS, DRUM, HEIGHT, time, drag=DRAG, gravity=GRAVITY) == pytest.approx(
            INERTIA, rel=1e-4
        )
        assert launch_speed(INERTIA, MASS, DRUM, HEIGHT, drag=DRAG, gravity=GRAVITY) == pytest.approx(speed, rel=1e-4)
        assert fall_speed(HEIGHT, time, DRUM) == pytest.approx(speed, rel=1e-4)

    def test_energy_in_is_energy_out(self) -> None:
        speed = launch_speed(INERTIA, MASS, DRUM, HEIGHT, drag=DRAG, gravity=GRAVITY)
        out = kinetic_energy(INERTIA, speed) + kinetic_energy(MASS, speed * DRUM / 2)
        out += friction_work(INERTIA, DRUM, HEIGHT, DRAG)
        assert out == pytest.approx(fall_energy(MASS, HEIGHT, GRAVITY), rel=1e-12)

    def test_without_the_drag_the_inertia_comes_out_too_large(self) -> None:
        time, _ = fallen()
        assert inertia_from_fall(MASS, DRUM, HEIGHT, time, gravity=GRAVITY) > 1.01 * INERTIA

    def test_a_fall_faster_than_a_free_one_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match=r"above that of a free fall, 0\.378 s"):
            inertia_from_fall(MASS, DRUM, HEIGHT, 0.37, gravity=GRAVITY)

    def test_a_weight_that_cannot_turn_the_wheel_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="heavier"):
            launch_speed(INERTIA, 0.001, DRUM, HEIGHT, drag=1.0, gravity=GRAVITY)


class TestInertia:
    @pytest.mark.parametrize("bore", [0.0, 0.1])
    def test_of_a_disc_as_on_a_grid(self, bore: float) -> None:
        axis = (np.arange(2000) + 0.5) / 2000 * 0.3 - 0.15
        squares = axis[:, None] ** 2 + axis[None, :] ** 2
        inside = (squares <= 0.15**2) & (squares >= (bore / 2) ** 2)
        assert disc_inertia(2.0, 0.3, bore) == pytest.approx(2.0 * squares[inside].mean(), rel=1e-4)  # cells at the rim

    def test_of_magnets_as_steiner_says(self) -> None:
        assert points_inertia(0.025, 8, 0.24) == pytest.approx(8 * 0.025 * 0.12**2)

    def test_a_hole_larger_than_the_wheel_is_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match="hole"):
            disc_inertia(1.0, 0.1, 0.2)
