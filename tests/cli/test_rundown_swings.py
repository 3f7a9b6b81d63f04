"""``truerun rundown`` on recordings of swings, real ones and those of a simulated wheel, as typed at a terminal.

Real recordings: tests/data/real, sources, licences and worked values beside them.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from truerun.series import AngleTrack
from truerun.virtual.course import course_angles, simulate_run
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.recording_files import write_angles
from truerun.virtual.rig import Launch, Rig

Called = Callable[..., tuple[int, str, str]]
SCHEMA = Path(__file__).parents[2] / "docs" / "schemas" / "rundown.json"
REAL = Path(__file__).parents[1] / "data" / "real"


def document_of(call: Called, *words: object) -> dict[str, Any]:
    """The JSON of a recording, held against its schema."""
    code, out, err = call("rundown", *words, "--json")
    assert (code, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(document)
    return document


def holds(measured: dict[str, float], truth: float, times: float = 2.0) -> bool:
    """Whether a value lies within so many standard uncertainties of the truth."""
    return abs(measured["value"] - truth) < times * measured["standard_uncertainty"]


class TestARodThatSwings:
    """Source: jensen-benard 2025, MIT. Worked from its whole path: W^2 120.07 1/s^2, c0 1.85 rad/s^2, c1 .272 1/s."""

    def test_stiffness_and_drag_are_those_of_its_whole_path(self, call: Called) -> None:
        swings = document_of(call, REAL / "pendulum_free_swing_03.txt")["swings"]
        assert swings["turning_points"] == 17
        assert holds(swings["stiffness"], 120.07)
        assert holds(swings["drag"]["dry"], 1.85)
        assert holds(swings["drag"]["viscous"], 0.272)

    def test_a_swing_from_above_the_hinge_is_used_where_it_has_become_small(self, call: Called) -> None:
        document = document_of(call, REAL / "pendulum_free_swing_01.txt")
        assert holds(document["swings"]["stiffness"], 120.07)  # the same rod
        assert "large-swings" in [found["check"] for found in document["findings"]]
        assert document["drag"] is None
        assert document["turns"] is None

    def test_the_text_says_what_was_found(self, call: Called) -> None:
        code, out, err = call("rundown", REAL / "pendulum_free_swing_03.txt")
        assert (code, err) == (0, "")
        assert out.startswith("The wheel swings to and fro: a small swing takes 0.57")
        for word in ("Stiffness of the bump", "Dry drag", "Viscous drag", "It catches the wheel below"):
            assert word in out


class TestAWheelThatSwings:
    """Source: J. K. Moore, K. Lyons 2020, MIT. Worked: periods .421382 and 1.42921 s, rates .2273 and .0171 1/s."""

    @pytest.mark.parametrize(
        ("name", "period", "rate"),
        [("wheel_radial_torsion_gyro.csv", 0.421382, 0.2273), ("wheel_axial_swing_gyro.csv", 1.42921, 0.0171)],
    )
    def test_period_and_drag_from_its_speeds(self, call: Called, name: str, period: float, rate: float) -> None:
        swings = document_of(call, REAL / name, "--unit", "rad/s")["swings"]
        assert swings["of"] == "speed"
        assert swings["by"] == "sine"
        assert holds(swings["period"], period)
        assert holds(swings["drag"]["viscous"], 2 * rate)

    def test_the_twisted_rod_is_viscous(self, call: Called) -> None:
        _, out, _ = call("rundown", REAL / "wheel_radial_torsion_gyro.csv", "--unit", "rad/s")
        assert "by about the same share" in " ".join(out.split())


class TestAMagnetUnderAPlate:
    """Source: M., IYPT 2023, CC BY 4.0. Worked: the swings fall by 16.12 +/- .10 a second, along a straight line."""

    def test_its_swings_fall_along_a_straight_line(self, call: Called) -> None:
        document = document_of(call, REAL / "magnet_pendulum_d06_l80_40deg.txt")
        swings = document["swings"]
        assert swings["of"] == "place"
        assert swings["friction"] == "dry"
        # the worked value leaves out the last 2.5 s, in which the swings are small
        assert swings["decay"]["straight"]["rate"] == pytest.approx(16.12, rel=0.03)
        assert swings["decay"]["exponential"]["rms"] > 4 * swings["decay"]["straight"]["rms"]
        assert swings["catching_speed"] is None
        assert "well-not-round" in [found["check"] for found in document["findings"]]

    def test_page_and_pictures(self, call: Called, tmp_path: Path) -> None:
        page, folder = tmp_path / "swings.html", tmp_path / "pictures"
        words = ("--report", page, "--pictures", folder, "--made", "2026-03-14T21:52Z")
        code, _, _ = call("rundown", REAL / "magnet_pendulum_d06_l80_40deg.txt", *words)
        assert code == 0
        text = page.read_text(encoding="utf-8")
        assert "How the swings die away" in text
        assert "<script" not in text
        assert {path.suffix for path in folder.iterdir()} >= {".svg", ".png"}


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel of the virtual bench, filmed from its launch over capture to rest."""
    rig = Rig(drag=PowerLaw(((0, 0.2), (1, 0.02))), cosine=(8.0,))
    course = simulate_run(rig, Launch(14.0, 0.3), 200.0, tolerance=1e-9)
    assert course.rest is not None
    times = np.arange(0, course.rest, 1 / 60)
    angles = course_angles(course, times) + 2e-3 * np.random.default_rng(5).standard_normal(times.size)
    path = tmp_path_factory.mktemp("film") / "film.csv"
    write_angles(path, AngleTrack(times, angles % (2 * np.pi)))
    return path


class TestARundownAndItsSwings:
    def test_both_are_found_in_one_film(self, call: Called, film: Path) -> None:
        document = document_of(call, film)
        swings = document["swings"]
        assert document["turns"] > 30
        assert swings["after_rundown"]
        assert holds(swings["stiffness"], 8.0, 4)
        assert holds(swings["drag"]["dry"], 0.2, 4)
        assert holds(swings["drag"]["viscous"], 0.02, 4)

    def test_text_and_page_say_so(self, call: Called, film: Path, tmp_path: Path) -> None:
        code, out, _ = call("rundown", film, "--report", tmp_path / "film.html")
        assert code == 0
        assert "After the bump has caught the wheel it swings to and fro." in out
        page = (tmp_path / "film.html").read_text(encoding="utf-8")
        assert "How it slowed down" in page
        assert "after the bump has caught the wheel" in page


class TestSeveralFiles:
    def test_swings_beside_swings(self, call: Called) -> None:
        first, second = REAL / "pendulum_free_swing_01.txt", REAL / "pendulum_free_swing_03.txt"
        code, out, _ = call("rundown", first, second, "--json")
        assert code == 0
        assert [each["swings"]["turning_points"] for each in json.loads(out)["rundowns"]] == [11, 17]


class TestWhatIsRefused:
    def test_too_few_swings_say_what_would_be_enough(self, call: Called, tmp_path: Path) -> None:
        times = np.arange(0, 2.5, 0.01)
        # five turning points, each half swing faster than the one before: no sine, and too few turning points
        angles = (1 - 0.35 * times) * np.cos(4 * times + 1.2 * times**2)
        path = tmp_path / "short.csv"
        rows = "\n".join(f"{t:.3f};{a:.6f}" for t, a in zip(times, angles, strict=True))
        path.write_text(f"time [s];angle [rad]\n{rows}\n", encoding="utf-8")
        code, out, err = call("rundown", path)
        assert (code, out) == (2, "")
        assert "Record at least 6 turning points, better twelve." in " ".join(err.split())

    def test_a_comparison_of_swings(self, call: Called, tmp_path: Path) -> None:
        table = tmp_path / "runs.csv"
        rows = (REAL / "pendulum_free_swing_03.txt").read_text(encoding="utf-8").splitlines()
        lines = []
        for run, condition in enumerate(("in", "out", "out", "in"), 1):
            (tmp_path / f"{run}.txt").write_text("\n".join(rows[:-run]) + "\n", encoding="utf-8")
            lines.append(f"{run},{condition},{run}.txt")
        table.write_text("run,condition,recording\n" + "\n".join(lines) + "\n", encoding="utf-8")
        code, _, err = call("compare", table, "--control", "out")
        assert code == 2
        assert "swings to and fro and no free rundown" in " ".join(err.split())
