"""Losses in watts from recordings, against the drag that was put in: P = I w (c0 + c1 w)."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.workflow.test_recorded import write
from truerun.uncertainty import source
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.powers import drag_at_launch, powers_of

INERTIA, DRY, VISCOUS, MORE = 0.024, 0.3, 0.02, 1.1


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> ComparisonResult:
    """Give a comparison of recorded runs in which "in" has a tenth more drag."""
    table = write(tmp_path_factory.mktemp("powers"))
    return compare(table, control="out", end="speed", orders="blocks-of-four")


class TestLosses:
    def test_each_condition_loses_what_was_put_in(self, result: ComparisonResult) -> None:
        found = powers_of(result, source("inertia", INERTIA, 1e-4))
        assert found is not None
        first, last = found.window.from_, found.window.to
        time = math.log((DRY + VISCOUS * first) / (DRY + VISCOUS * last)) / VISCOUS
        lost = INERTIA * (first**2 - last**2) / 2 / time
        for each in found.losses:
            true = lost * (MORE if each.is_source else 1)
            # drag scatters by 1 % from run to run, six runs: 0.4 %; within four of those
            assert each.power.nominal_value == pytest.approx(true, rel=0.016)
        # 0.1 of the loss, with 1 % x sqrt(2 / 6) of it on either side; within four of those
        assert found.net.nominal_value == pytest.approx(-0.1 * lost, abs=4 * 0.006 * lost)

    def test_an_inertia_that_both_share_does_not_blur_the_difference(self, result: ComparisonResult) -> None:
        sure, unsure = (powers_of(result, source("inertia", INERTIA, INERTIA * u)) for u in (0.0, 0.05))
        assert sure is not None
        assert unsure is not None
        blurred = math.hypot(sure.net.std_dev, 0.05 * abs(sure.net.nominal_value))
        assert unsure.net.std_dev == pytest.approx(blurred, rel=1e-6)  # 5 % of the difference, not of both losses

    def test_parts_add_up_to_the_drag_at_that_speed(self, result: ComparisonResult) -> None:
        found = powers_of(result, source("inertia", INERTIA, 0.0))
        assert found is not None
        for each in found.losses:
            assert each.whole is not None
            assert sum(part.nominal_value for _, part in each.parts) == pytest.approx(
                each.whole.nominal_value, rel=1e-9
            )
            factor = MORE if each.is_source else 1
            true = INERTIA * found.speed * (DRY + VISCOUS * found.speed) * factor
            assert each.whole.nominal_value == pytest.approx(true, rel=0.016)  # as above

    def test_drag_during_a_fall_is_that_at_half_the_launch_speed(self, result: ComparisonResult) -> None:
        drag = drag_at_launch(result)
        assert drag is not None
        # launched at 15 to 15.2 rad/s; the curve reaches there from above, and half the runs have a tenth more
        assert drag.nominal_value == pytest.approx(1.05 * (DRY + VISCOUS * 7.55), rel=0.05)


def test_without_speeds_there_are_no_watts(tmp_path: Path) -> None:
    path = tmp_path / "times.csv"
    rows = [f"{slot},{name},{61 + slot / 10}" for slot, name in enumerate(["in", "out", "out", "in"] * 3, 1)]
    path.write_text("run,condition,time [s]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    result = compare(path, control="out", end="turns", orders="blocks-of-four")
    assert powers_of(result, source("inertia", INERTIA, 0.0)) is None
    assert drag_at_launch(result) is None
