"""``truerun rundown THERE --back BACK`` on wheels of the virtual bench whose push to one side is known."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from truerun.errors import FitImpossible
from truerun.virtual.course import simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig
from truerun.workflow.both_ways import both_ways

Called = Callable[..., tuple[int, str, str]]
SCHEMA = Path(__file__).parents[2] / "docs" / "schemas" / "two-way.json"
DRY, VISCOUS, PUSH = 0.09, 0.03, 0.004  # rad/s^2, 1/s, rad/s^2


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Passes of twelve marks to 20 us, by an integrator over time that shares nothing with the fits."""
    made = tmp_path_factory.mktemp("ways")
    marks = tuple(2 * np.pi * np.arange(12) / 12)
    for name, push in (("there", PUSH), ("back", -PUSH), ("still", 0.0)):
        rig = Rig(drag=PowerLaw(((0, DRY), (1, VISCOUS))), drive=PowerLaw(((0, push),)), marks=marks)
        course = simulate_run(rig, Launch(20.0), 40.0, tolerance=1e-11)
        times = true_passes(course).times
        for run in (1, 2):
            rng = np.random.default_rng([run, len(name)])
            read = times + 2e-5 * rng.standard_normal(times.size)
            text = "\n".join(f"{time:.7f}" for time in read)
            (made / f"{name}-{run}.csv").write_text(f"time [s]\n{text}\n", encoding="utf-8")
    return made


def document_of(call: Called, *words: object) -> dict[str, Any]:
    """The JSON, held against its schema."""
    code, out, err = call("rundown", *words, "--marks", 12, "--json")
    assert (code, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(document)
    return document


class TestAWheelThatIsPushed:
    def test_the_push_and_the_shared_drag_are_those_of_the_wheel(self, call: Called, folder: Path) -> None:
        ways = (folder / "there-1.csv", folder / "there-2.csv")
        document = document_of(call, *ways, "--back", folder / "back-1.csv", "--back", folder / "back-2.csv")
        assert document["push"] == "there"
        push = document["mean_push"]
        # four standard uncertainties: 1 in 16 000 by luck, were there many runs; two each way scatter more widely
        assert abs(push["value"] - PUSH) < max(4 * push["standard_uncertainty"], 0.002 * PUSH)
        for row in document["curve"]:
            assert row["drag"] == pytest.approx(DRY + VISCOUS * row["speed"], rel=1e-3)
        assert document["runs"] == {"there": 2, "back": 2}
        assert "one-run-each-way" not in [found["check"] for found in document["findings"]]

    def test_the_other_way_round_it_pushes_back(self, call: Called, folder: Path) -> None:
        document = document_of(call, folder / "back-1.csv", "--back", folder / "there-1.csv")
        assert document["push"] == "back"
        assert document["mean_push"]["value"] == pytest.approx(-PUSH, rel=0.01)
        assert "one-run-each-way" in [found["check"] for found in document["findings"]]

    def test_text_says_size_share_and_what_else_does_it(self, call: Called, folder: Path) -> None:
        code, out, _ = call("rundown", folder / "there-1.csv", "--back", folder / "back-1.csv", "--marks", 12)
        said = " ".join(out.split())
        assert code == 0
        assert said.startswith(
            "Something pushes the wheel in the direction there: by 0.038"
        )  # .004 rad/s^2 times 30/pi
        assert "% of the drag." in said
        assert "a card or a rubbing lip" in said

    def test_page_and_pictures(self, call: Called, folder: Path, tmp_path: Path) -> None:
        words = ("--marks", 12, "--report", tmp_path / "ways.html", "--pictures", tmp_path / "pictures")
        code, _, _ = call("rundown", folder / "there-1.csv", "--back", folder / "back-1.csv", *words)
        assert code == 0
        page = (tmp_path / "ways.html").read_text(encoding="utf-8")
        assert "What pushes it one way" in page
        assert "there-1.csv, back-1.csv" in page
        names = {path.stem.split(".")[0] for path in (tmp_path / "pictures").iterdir()}
        assert any("push" in name for name in names)
        assert any("shared-drag" in name for name in names)


class TestAWheelThatIsNot:
    def test_no_push_is_seen_and_its_bound_is_said(self, call: Called, folder: Path) -> None:
        code, out, _ = call("rundown", folder / "still-1.csv", "--back", folder / "still-2.csv", "--marks", 12)
        said = " ".join(out.split())
        assert code == 0
        assert said.startswith("Both ways the wheel slows down alike: no push to one side is seen.")
        assert "it is smaller than 0.0" in said

    def test_the_interval_holds_zero(self, call: Called, folder: Path) -> None:
        document = document_of(call, folder / "still-1.csv", "--back", folder / "still-2.csv")
        assert document["push"] == "not seen"
        push = document["mean_push"]
        assert abs(push["value"]) < 4 * push["standard_uncertainty"]


class TestWhatIsRefused:
    def test_one_recording_both_ways(self, call: Called, folder: Path) -> None:
        code, _, err = call("rundown", folder / "there-1.csv", "--back", folder / "there-1.csv", "--marks", 12)
        assert code == 2
        assert "One run cannot count twice" in " ".join(err.split())

    def test_speeds_that_not_all_of_them_hold(self, call: Called, folder: Path) -> None:
        words = ("--marks", 12, "--window", "18 rad/s", "1 rad/s")
        code, _, err = call("rundown", folder / "there-1.csv", "--back", folder / "back-1.csv", *words)
        assert code == 2
        assert "rad/s" in err

    def test_recordings_without_a_common_speed(self, call: Called, folder: Path, tmp_path: Path) -> None:
        lines = (folder / "there-1.csv").read_text(encoding="utf-8").splitlines()
        fast, slow = tmp_path / "fast.csv", tmp_path / "slow.csv"
        fast.write_text("\n".join(lines[:120]) + "\n", encoding="utf-8")
        slow.write_text("\n".join(lines[:1] + lines[300:]) + "\n", encoding="utf-8")
        code, _, err = call("rundown", fast, "--back", slow, "--marks", 12)
        assert code == 2
        assert "Launch all of them faster" in " ".join(err.split())

    def test_nothing_the_other_way(self, folder: Path) -> None:
        with pytest.raises(FitImpossible, match="1 recordings there and 0 back"):
            both_ways([folder / "there-1.csv"], [])
