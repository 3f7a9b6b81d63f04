"""``truerun compare``, ``look`` and ``demo``: what is shown, what stays covered, what is refused."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Called = Callable[..., tuple[int, str, str]]

PLANNED = ("compare", "run-sheet.csv", "--plan", "plan.json")
ON_YOUR_WORD = ("compare", "run-sheet.csv", "--control", "arc out", "--orders", "blocks-of-four", "--end", "speed")


def emptied(text: str, runs: int) -> str:
    """Give a filled-in sheet with only the first runs filled in."""
    lines = text.splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("run,")) + 1
    kept = lines[: first + runs]
    for line in lines[first + runs :]:
        cells = line.split(",")
        kept.append(",".join([*cells[:2], "", *cells[3:]]))
    return "\n".join(kept) + "\n"


def numbers_in(document: Any) -> set[float]:
    """Give every number of a document that is no count."""
    if isinstance(document, dict):
        return set().union(*(numbers_in(value) for value in document.values()))
    if isinstance(document, list):
        return set().union(*(numbers_in(value) for value in document)) if document else set()
    return {document} if isinstance(document, float) else set()


class TestASealedPlanStaysCovered:
    @pytest.mark.parametrize("runs", [1, 6, 15])
    def test_an_unfinished_sheet_gives_counts_and_nothing_else(self, call: Called, folder: Path, runs: int) -> None:
        sheet = (folder / "run-sheet.csv").read_text(encoding="utf-8")
        (folder / "half.csv").write_text(emptied(sheet, runs), encoding="utf-8")
        code, out, err = call("compare", "half.csv", "--plan", "plan.json")
        assert (code, err) == (1, "")
        assert out.startswith(f"Sealed until the last run.\n\n{runs} of 16 runs are done.")
        assert "%" not in out

    def test_lines_that_are_cut_off_are_runs_that_are_lacking(self, call: Called, folder: Path) -> None:
        lines = (folder / "run-sheet.csv").read_text(encoding="utf-8").splitlines()
        (folder / "cut.csv").write_text("\n".join(lines[:12]) + "\n", encoding="utf-8")
        code, out, _ = call("compare", "cut.csv", "--plan", "plan.json")
        assert code == 1
        assert out.startswith("Sealed until the last run.\n\n6 of 16 runs are done.")

    def test_json_holds_no_statistic_either(self, call: Called, folder: Path) -> None:
        sheet = (folder / "run-sheet.csv").read_text(encoding="utf-8")
        (folder / "half.csv").write_text(emptied(sheet, 8), encoding="utf-8")
        code, out, _ = call("compare", "half.csv", "--plan", "plan.json", "--json")
        document = json.loads(out)
        window = set(document["window"].values()) - {"speed"}
        assert (code, document["verdict"]) == (1, None)
        assert numbers_in(document) == {0.05, document["margin"], document["claimed"], *window}

    def test_breaking_the_seal_withdraws_the_planned_verdict(self, call: Called, folder: Path) -> None:
        sheet = (folder / "run-sheet.csv").read_text(encoding="utf-8")
        (folder / "half.csv").write_text(emptied(sheet, 8), encoding="utf-8")
        code, out, _ = call("compare", "half.csv", "--plan", "plan.json", "--break-seal", "--json")
        document = json.loads(out)
        assert (code, document["verdict"]) == (0, "inconclusive")
        assert (document["p"], document["drive_fraction"]["low"]) == (None, None)
        assert "stopped-early" in {found["check"] for found in document["findings"]}

    def test_a_plan_that_was_changed_is_refused(self, call: Called, folder: Path) -> None:
        text = (folder / "plan.json").read_text(encoding="utf-8")
        (folder / "plan.json").write_text(text.replace('"margin": 0.02', '"margin": 0.2'), encoding="utf-8")
        code, out, err = call(*PLANNED)
        assert (code, out) == (2, "")
        assert err.startswith("plan.json was changed after it was sealed; ")

    def test_the_code_that_a_stranger_kept(self, call: Called, folder: Path) -> None:
        code = json.loads((folder / "plan.json").read_text(encoding="utf-8"))["seal"]["code"]
        assert call(*PLANNED, "--code", code.lower().replace(" ", "-"))[0] == 0
        exit_code, _, err = call(*PLANNED, "--code", "2222 2222 2222 2222")
        assert exit_code == 2
        assert err.startswith("plan.json is not the plan of this code; ")


class TestWhoGivesTheRules:
    @pytest.mark.parametrize(
        "rule",
        [
            ("--alpha", "1%"),
            ("--control", "arc out"),
            ("--orders", "pairs"),
            ("--margin", "1%"),
            ("--covariate", "mass"),
            ("--less-is-more",),
            ("--blinding", "0"),
        ],
    )
    @pytest.mark.usefixtures("folder")
    def test_a_rule_beside_a_plan_is_refused(self, call: Called, rule: tuple[str, ...]) -> None:
        code, out, err = call(*PLANNED, *rule)
        assert (code, out) == (2, "")
        assert err == (
            f"The plan gives every rule; {rule[0]} was given beside it. "
            f"Leave out {rule[0]}, or compare without --plan.\n"
        )

    @pytest.mark.parametrize("words", [("--break-seal",), ("--code", "ABCD")])
    @pytest.mark.usefixtures("folder")
    def test_what_only_a_plan_has_needs_one(self, call: Called, words: tuple[str, ...]) -> None:
        code, _, err = call(*ON_YOUR_WORD, *words)
        assert (code, err) == (2, f"{words[0]} needs a sealed plan; none was given. Name the plan with --plan.\n")

    @pytest.mark.usefixtures("folder")
    def test_without_a_terminal_nothing_is_asked_and_both_are_named(self, call: Called) -> None:
        for words in ((), ("--json",)):
            code, out, err = call("compare", "run-sheet.csv", "--orders", "blocks-of-four", *words)
            assert (code, out) == (2, "")
            assert err == 'The control could be "arc in" or "arc out". Name it with --control.\n'

    @pytest.mark.usefixtures("folder")
    def test_on_your_word_the_same_list_decides(self, call: Called) -> None:
        sealed = json.loads(call(*PLANNED, "--json")[1])
        said = json.loads(call(*ON_YOUR_WORD, "--timing", "sensor", "--json")[1])
        same = ("orders", "p", "drive_fraction", "evidence", "limits")
        assert [said[key] for key in same] == [sealed[key] for key in same]
        assert "not-sealed" in {found["check"] for found in said["findings"]}

    @pytest.mark.usefixtures("folder")
    def test_naming_either_condition_is_enough(self, call: Called) -> None:
        by_source = call("compare", "run-sheet.csv", "--source", "arc in", *ON_YOUR_WORD[4:], "--json")[1]
        assert json.loads(by_source)["drive_fraction"] == json.loads(call(*ON_YOUR_WORD, "--json")[1])["drive_fraction"]

    @pytest.mark.usefixtures("folder")
    def test_every_rule_reaches_the_comparison(self, call: Called) -> None:
        rules = ("--adjust", "session", "--alpha", "2%", "--margin", "3%", "--claimed", "120%", "--blinding", "1")
        document = json.loads(call(*ON_YOUR_WORD, *rules, "--stop", "lies-still", "--hill-bound", "4%", "--json")[1])
        assert document["adjusted_for"] == ["session"]
        assert (document["alpha"], document["margin"], document["claimed"]) == (0.02, 0.03, 1.2)
        assert document["settings"]["blinding"]["grade"] == 1
        assert (document["settings"]["stop"], document["settings"]["hill_bound"]) == ("lies-still", 0.04)

    def test_a_column_on_a_linear_scale_with_a_size_in_its_unit(self, call: Called, folder: Path) -> None:
        sheet = (folder / "run-sheet.csv").read_text(encoding="utf-8")
        (folder / "mass.csv").write_text(sheet.replace("time [s]", "mass [g]"), encoding="utf-8")
        words = ("--measure", "mass", "--scale", "linear", "--less-is-more", "--margin", "2,5")
        code, out, _ = call("compare", "mass.csv", *ON_YOUR_WORD[2:], *words, "--json")
        document = json.loads(out)
        assert (code, document["margin"], document["verdict"]) == (0, 2.5, "adds-energy")
        assert document["measurand"] == {"name": "mass", "scale": "linear", "sign": -1, "unit": "kg"}


class TestALookDecidesNothing:
    @pytest.mark.usefixtures("folder")
    def test_it_says_so_and_ends_with_0(self, call: Called) -> None:
        code, out, err = call("look", "trial.csv", "--control", "arc out", "--end", "speed")
        assert (code, err) == (0, "")
        assert out.startswith("A first look. Nothing is decided here.\n")

    @pytest.mark.usefixtures("folder")
    def test_as_the_trial_of_a_plan_it_gives_the_same_spread_as_the_table(self, call: Called) -> None:
        words = ("look", "trial.csv", "--control", "arc out", "--as-pilot", "trial.toml", "--change-minutes", "3")
        code, _, err = call(*words)
        assert code == 0
        assert err.startswith("\nWritten: trial.toml.")
        claim = ("--claim", "It gains.", "--end", "speed", "--json")
        by_file = json.loads(call("plan", "trial.toml", *claim, "--out", "a")[1])
        names = ("--source", "arc in", "--control", "arc out")
        by_table = json.loads(call("plan", *names, *claim, "--pilot", "trial.csv", "--out", "b")[1])
        assert by_file["pilot"] == by_table["pilot"]
        assert by_file["pilot"]["degrees_of_freedom"] == 6
        assert by_file["conditions"] == {"source": "arc in", "control": "arc out"}

    def test_a_file_that_is_there_is_never_written_over(self, call: Called, folder: Path) -> None:
        (folder / "trial.toml").write_text("mine")
        code, out, err = call("look", "trial.csv", "--control", "arc out", "--as-pilot", "trial.toml")
        assert (code, out) == (2, "")
        assert err.startswith("trial.toml is there already; ")
        assert (folder / "trial.toml").read_text() == "mine"


class TestTheDemonstration:
    def test_it_finds_the_brake_that_is_there_and_leaves_its_files(
        self, call: Called, tmp_path: Path, texts: dict[str, str]
    ) -> None:
        code, out, err = call("demo", "--terminal", "--out", tmp_path / "demo")
        assert code == 0
        assert out.startswith('"arc in" takes energy.\n')
        assert "invented" in err
        assert {path.name: path.read_text(encoding="utf-8") for path in (tmp_path / "demo").iterdir()} == texts

    def test_what_it_says_to_try_next_works(
        self, call: Called, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        err = call("demo", "--terminal", "--out", "demo")[2]
        tried = [line.strip() for line in err.splitlines() if line.startswith("  truerun ")]
        assert len(tried) == 3
        for line in tried:
            words = line.replace('"arc out"', "arc\0out").split()[1:]
            assert call(*(word.replace("\0", " ") for word in words))[0] == 0

    def test_it_is_marked_as_invented_in_every_file(self, texts: dict[str, str]) -> None:
        assert all("invented" in text.lower() for text in texts.values())

    def test_it_never_writes_over_its_files(self, call: Called, folder: Path) -> None:
        assert call("demo", "--terminal", "--out", folder)[0] == 2
