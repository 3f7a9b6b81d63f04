"""Published retardation tests of machines, from a table of speeds to drag and watts.

The examples give two speeds and a time; between them the books take the retardation as even, so the table of speeds
that is read here is the straight line through both. Numbers: Theraja and Theraja, Electrical Technology II, example
31.19, p. 1108 = Bakshi and Bakshi, example 3.19, p. 42; Bakshi and Bakshi, example 3.20, p. 43; Tayal, Engineering
Mechanics, example 22.1, p. 562; Bansal, Engineering Mechanics, example 13.5, p. 473.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from truerun.motion.drag_curve import drag_at
from truerun.workflow.reducing import RundownResult, rundown

RPM = np.pi / 30


def read(folder: Path, first: float, last: float, seconds: float, window: tuple[float, float]) -> RundownResult:
    """Write a table of speeds that fall evenly [r/min], and reduce it over a window [r/min]."""
    times = np.linspace(0.0, seconds, 25)
    speeds = first + (last - first) * times / seconds
    rows = "".join(f"{time:.4f},{speed:.4f}\n" for time, speed in zip(times, speeds, strict=True))
    path = folder / f"{first:g}-{last:g}-{seconds:g}.csv"
    path.write_text(f"time [s],speed [r/min]\n{rows}", encoding="utf-8")
    return rundown(path, window=(window[0] * RPM, window[1] * RPM))


def drag(result: RundownResult, speed: float) -> float:
    """Give the retardation at a speed [r/min], in rad/s^2."""
    return float(drag_at(result.measured.drag, np.array([speed * RPM]))[0][0])


class TestLossesOfAMachine:
    def test_the_mechanical_loss_of_theraja_and_bakshi(self, tmp_path: Path) -> None:
        # 1030 to 970 r/min in 36 s without field; J = 74.88902 kg m^2 follows from 10 A at 219 V: 1368.75 W
        found = read(tmp_path, 1030, 970, 36, (1025, 975))
        assert 74.88902 * 1000 * RPM * drag(found, 1000) == pytest.approx(1368.75, rel=2e-4)

    def test_the_iron_loss_is_the_difference_of_two_rundowns(self, tmp_path: Path) -> None:
        plain, excited = (read(tmp_path, 1030, 970, seconds, (1025, 975)) for seconds in (36, 15))
        iron = 74.88902 * 1000 * RPM * (drag(excited, 1000) - drag(plain, 1000))
        assert iron == pytest.approx(1916.25, rel=4e-4)

    def test_two_equal_losses_of_bakshi(self, tmp_path: Path) -> None:
        # example 3.20: 40 s without field, 20 s with it; J = 55.956926 kg m^2: both losses are 920.4545 W
        plain, excited = (read(tmp_path, 1030, 970, seconds, (1025, 975)) for seconds in (40, 20))
        mechanical = 55.956926 * 1000 * RPM * drag(plain, 1000)
        assert mechanical == pytest.approx(920.4545, rel=2e-4)
        assert 55.956926 * 1000 * RPM * drag(excited, 1000) - mechanical == pytest.approx(920.4545, rel=4e-4)


class TestEvenRetardation:
    def test_the_disc_of_tayal(self, tmp_path: Path) -> None:
        # a disc of 300 N and .5 m stops from 1500 r/min in 120 s: 5.0038109 N m with g = 9.81, 1500 turns in all
        found = read(tmp_path, 1500, 100, 112, (1500, 150))
        inertia = 300 / 9.81 * 0.5**2 / 2
        assert inertia * drag(found, 800) == pytest.approx(5.0038109, rel=2e-4)
        assert found.window is not None
        assert found.window.turns == pytest.approx(1500 * (1 - 0.1**2), rel=1e-4)
        assert found.window.time == pytest.approx(108.0, rel=1e-4)

    def test_the_flywheel_of_bansal(self, tmp_path: Path) -> None:
        # 200 to 160 r/min in 10 s: at rest after 83.3333 turns and 50 s in all (printed 83.28 and 49.98)
        found = read(tmp_path, 200, 160, 10, (200, 160))
        slowing = drag(found, 180)
        assert 200 * RPM / slowing == pytest.approx(50.0, rel=2e-4)
        assert (200 * RPM) ** 2 / (2 * slowing) / (2 * np.pi) == pytest.approx(83.3333, rel=2e-4)
