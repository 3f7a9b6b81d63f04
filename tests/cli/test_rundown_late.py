"""``truerun rundown`` where the sensor is late, on wheels of the virtual bench whose truth is known."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.motion.lag import coupling_shift
from truerun.virtual.rotor import jittered
from truerun.virtual.wheels import truth

Called = Callable[..., tuple[int, str, str]]
PASSES, SIGMA = 600, 2e-5
DELAYS = np.array([0.2, -0.1, 0.05, -0.15]) * 1e-3  # s, of four marks
CORNER, WIDTH = 5.0, 0.1  # Hz, rad


def written(folder: Path, times: NDArray[np.float64]) -> Path:
    """A file of pass times."""
    path = folder / "passes.csv"
    path.write_text("time [s]\n" + "\n".join(f"{time:.7f}" for time in times) + "\n", encoding="utf-8")
    return path


def document_of(call: Called, *words: object) -> dict[str, Any]:
    """The JSON of a recording."""
    code, out, err = call("rundown", *words, "--json")
    assert (code, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


def drag_off(document: dict[str, Any], name: str) -> float:
    """By which share the drag at the lowest speed is off."""
    last = document["drag"]["curve"][-1]
    exact = truth(name, PASSES).drag @ last["speed"] ** np.arange(3)
    return float(last["value"] / exact - 1)


class TestMarksThatAreRegisteredLate:
    def test_they_are_said_and_allowed_for(self, call: Called, tmp_path: Path) -> None:
        wheel = truth("4 marks", PASSES)
        times = wheel.motion.times + DELAYS[np.arange(PASSES) % 4]
        path = written(tmp_path, jittered(times, SIGMA, np.random.default_rng(2)))
        document = document_of(call, path, "--marks", 4)
        (late,) = (found for found in document["findings"] if found["check"] == "marks-late")
        assert late["size"] == "up to 0.35 ms apart"  # .2 + .15
        # one time is good to 20 us again: within 4 standard deviations of a scatter of some 580 readings
        assert document["reading"]["standard_uncertainty"] == pytest.approx(SIGMA, rel=0.12)

    @pytest.mark.parametrize("seed", range(4))
    def test_where_they_are_not_nothing_is_said(self, call: Called, tmp_path: Path, seed: int) -> None:
        times = jittered(truth("4 marks", PASSES).motion.times, SIGMA, np.random.default_rng(seed))
        checks = [found["check"] for found in document_of(call, written(tmp_path, times), "--marks", 4)["findings"]]
        # chi-squared of 3 above 19: 3 in 10 000 by luck
        assert "marks-late" not in checks


class TestACoilBehindAnInput:
    def recording(self, folder: Path) -> Path:
        motion = truth("usual", PASSES).motion
        early = coupling_shift(motion.speeds, CORNER, WIDTH)
        return written(folder, jittered(motion.times + early, SIGMA, np.random.default_rng(1)))

    def test_said_it_is_corrected(self, call: Called, tmp_path: Path) -> None:
        path = self.recording(tmp_path)
        left_in = document_of(call, path, "--marks", 12)
        corrected = document_of(call, path, "--marks", 12, "--coil", CORNER, f"{np.degrees(WIDTH):.6f}")
        assert abs(drag_off(left_in, "usual")) > 6e-4  # .08 % at 2.5 rad/s, as measured without noise
        assert abs(drag_off(corrected, "usual")) < 3e-4
        checks = {found["check"] for found in corrected["findings"]}
        assert {"coil-early", "coil-too-slow"} <= checks  # leans on the pulse's shape below 12 rad/s

    def test_a_corner_of_nothing_is_refused(self, call: Called, tmp_path: Path) -> None:
        code, _, err = call("rundown", self.recording(tmp_path), "--marks", 12, "--coil", "0", "6")
        assert code == 2
        assert "corner frequency" in err
