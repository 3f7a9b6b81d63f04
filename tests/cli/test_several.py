"""``truerun pool``, ``screening`` and ``dose`` from the first file to the last sentence."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

Called = Callable[..., tuple[int, str, str]]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "positions.txt").write_text("".join(f"position {n}\n" for n in range(1, 9)), encoding="utf-8")
    return tmp_path


def fill(sheet: Path, effect: Callable[[str], float], *, seed: int = 1, runs: int = 999) -> None:
    """Write times into a sheet: a minute, changed by a share for some conditions, and .5 % of scatter."""
    rng = np.random.default_rng(seed)
    lines = sheet.read_text(encoding="utf-8").splitlines()
    filled = [
        re.sub(r",,", f",{60 * (1 + effect(line.split(',')[1]) + 0.005 * rng.normal()):.2f},", line, count=1)
        if line[:1].isdigit() and int(line.split(",")[0]) <= runs
        else line
        for line in lines
    ]
    sheet.write_text("\n".join(filled) + "\n", encoding="utf-8")


class TestScreening:
    def test_from_the_list_to_the_fresh_plan(self, call: Called, here: Path) -> None:
        code, out, told = call("screening", "positions.txt", "--end", "speed", "--repeats", 3, "--out", "found")
        assert code == 0
        assert "among 8 one always looks best" in " ".join(out.split())
        assert "truerun screening found" in told
        fill(here / "found" / "run-sheet.csv", lambda name: 0.05 * (name == "position 4"))
        code, out, told = call("screening", "found", "--candidate", "fresh.toml")
        assert code == 0
        assert out.startswith("Candidate: position 4.\n")
        assert "truerun plan fresh.toml --control NAME" in told
        assert call("plan", "fresh.toml", "--control", "position 1", "--out", "fresh")[0] == 0
        plan = json.loads((here / "fresh" / "plan.json").read_text(encoding="utf-8"))
        screening = json.loads((here / "found" / "screening.json").read_text(encoding="utf-8"))
        assert plan["main_test"] == screening["id"]
        assert plan["conditions"] == {"source": "position 4", "control": "position 1"}

    def test_holm_is_there_for_who_insists(self, call: Called, here: Path) -> None:
        call("screening", "positions.txt", "--end", "speed", "--control", "position 1", "--out", "found")
        fill(here / "found" / "run-sheet.csv", lambda name: 0.05 * (name == "position 4"))
        _, out, _ = call("screening", "found", "--holm")
        assert "weaker than a fresh test" in " ".join(out.split())
        against = json.loads(call("screening", "found", "--holm", "--json")[1])["against_control"]
        assert len(against) == 7

    def test_a_half_filled_sheet_gives_counts_only(self, call: Called, here: Path) -> None:
        call("screening", "positions.txt", "--end", "speed", "--out", "found")
        fill(here / "found" / "run-sheet.csv", lambda _: 0.0, runs=5)
        code, out, _ = call("screening", "found")
        assert code == 1
        assert "5 of 16 runs are done" in out

    @pytest.mark.usefixtures("here")
    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            (("positions.txt",), "Say --end speed."),
            (("positions.txt", "--end", "speed", "--repeats", "1"), "nothing tells a variant from its place in time"),
            (("positions.txt", "--end", "speed", "--holm"), "Leave out --holm."),
            (("nowhere.txt", "--end", "speed"), "one variant a line"),
        ],
    )
    def test_what_cannot_be_screened(self, call: Called, words: tuple[str, ...], sentence: str) -> None:
        code, out, told = call("screening", *words)
        assert (code, out) == (2, "")
        assert sentence in told
        assert told.count("\n") == 1


class TestDose:
    def test_from_the_doses_to_the_trend(self, call: Called, here: Path) -> None:
        words = ("dose", "0", "1", "2", "3", "6", "12", "--repeats", "1", "--end", "speed", "--dummies", "--out", "m")
        code, out, told = call(*words)
        assert code == 0
        assert "dummies of the same mass and shape" in out
        assert "truerun dose m" in told
        fill(here / "m" / "run-sheet.csv", lambda name: -0.01 * float(name))
        code, out, _ = call("dose", "m")
        assert code == 0
        assert out.startswith("The more magnets, the more it brakes.\n")
        assert json.loads(call("dose", "m", "--json")[1])["schema"] == "truerun/dose-result/1"

    def test_a_table_without_a_plan_is_taken_on_ones_word(self, call: Called, here: Path) -> None:
        call("dose", "0,1,2,3,6,12", "--repeats", 1, "--end", "speed", "--out", "m")
        fill(here / "m" / "run-sheet.csv", lambda name: -0.01 * float(name))
        sheet = "m/run-sheet.csv"
        code, out, _ = call("dose", sheet, "--orders", "rounds", "--end", "speed", "--dummies")
        assert (code, "If the order was drawn as stated" in out) == (0, True)
        assert call("dose", sheet, "--end", "speed")[0] == 1

    @pytest.mark.usefixtures("here")
    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            (("0", "1"), "three doses or more"),
            (("0", "1", "2"), "Say --end speed."),
            (("0", "1", "2", "--end", "standstill"), "higher bump"),
            (("0", "1", "2", "--end", "speed", "--orders", "any"), "Leave out --orders."),
            (("0", "many", "2", "--end", "speed"), "many"),
        ],
    )
    def test_what_is_no_series(self, call: Called, words: tuple[str, ...], sentence: str) -> None:
        code, out, told = call("dose", *words)
        assert (code, out) == (2, "")
        assert sentence in told
        assert told.count("\n") == 1


class TestPool:
    @pytest.fixture
    def tests(self, call: Called, here: Path) -> list[str]:
        names = ["one", "two", "three"]
        for seed, name in enumerate(names):
            words = ("--source", "in", "--control", "out", "--end", "speed", "--runs", 12, "--timing", "sensor")
            call("plan", "--claim", "It gains.", *words, "--seed", f"seed of test {name}, for tests", "--out", name)
            fill(here / name / "run-sheet.csv", lambda condition: 0.03 * (condition == "in"), seed=seed)
        return names

    def test_three_folders(self, call: Called, tests: list[str]) -> None:
        code, out, _ = call("pool", *tests)
        assert code == 0
        assert out.startswith("Together: the source adds energy.\n")
        assert out.count("of 3 of this claim") == 3
        document = json.loads(call("pool", *tests, "--json")[1])
        assert (document["schema"], document["verdict"]) == ("truerun/pool/1", "adds-energy")
        assert all(len(line) <= 88 for line in out.splitlines())

    def test_a_test_by_its_files(self, call: Called, tests: list[str]) -> None:
        code, out, _ = call("pool", *tests[:2], "--test", "three/run-sheet.csv", "three/plan.json")
        assert (code, out.splitlines()[0]) == (0, "Together: the source adds energy.")

    def test_two_stand_side_by_side(self, call: Called, tests: list[str]) -> None:
        assert call("pool", *tests[:2])[1].startswith("Two tests, side by side.\n")

    @pytest.mark.usefixtures("tests")
    def test_what_cannot_be_pooled(self, call: Called) -> None:
        assert "at least 2" in call("pool", "one")[2]
        assert "are the same test" in call("pool", "one", "one")[2]
        assert call("pool", "one", "nowhere")[0] == 2
