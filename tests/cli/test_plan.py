"""``truerun plan``: three files or none, options over keys, and what a plan that cannot decide is told."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Called = Callable[..., tuple[int, str, str]]

SHORT = ("plan", "--claim", "It gains.", "--source", "in", "--control", "out", "--end", "speed")
FILES = ["plan.json", "run-sheet.csv", "run-sheet.html"]


class TestThreeFilesOrNone:
    def test_all_are_written_and_named(self, call: Called, tmp_path: Path) -> None:
        new = tmp_path / "some" / "folder"
        code, out, err = call(*SHORT, "--out", new)
        assert code == 0
        assert out.startswith("The plan is sealed.")
        assert sorted(path.name for path in new.iterdir()) == FILES
        assert all(str(new / name) in err for name in FILES)

    @pytest.mark.parametrize("name", FILES)
    def test_one_that_is_there_stops_all(self, call: Called, tmp_path: Path, name: str) -> None:
        (tmp_path / name).write_text("mine")
        code, out, err = call(*SHORT, "--out", tmp_path)
        assert (code, out) == (2, "")
        assert err.startswith(f"{tmp_path / name} is there already; it must be a new file. ")
        assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {name: "mine"}

    def test_a_plan_that_is_refused_writes_nothing(self, call: Called, tmp_path: Path) -> None:
        code, out, err = call(*SHORT, "--runs", "8", "--out", tmp_path / "new")
        assert (code, out) == (2, "")
        assert "Choose 6 + 6 runs in blocks-of-four" in err
        assert not (tmp_path / "new").exists()

    def test_a_folder_that_cannot_be_made_is_one_sentence(self, call: Called, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("")
        code, _, err = call(*SHORT, "--out", tmp_path / "file" / "new")
        assert code == 2
        assert "it must be a folder that you may write into" in err

    def test_json_is_the_file_that_was_written(self, call: Called, tmp_path: Path) -> None:
        out = call(*SHORT, "--out", tmp_path, "--json")[1]
        assert out == (tmp_path / "plan.json").read_text(encoding="utf-8")

    def test_the_sheet_to_fill_in_has_the_sealed_order(self, call: Called, tmp_path: Path) -> None:
        call(*SHORT, "--out", tmp_path)
        order = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))["order"]
        rows = [line.split(",") for line in (tmp_path / "run-sheet.csv").read_text().splitlines()]
        assert [row[1] for row in rows if row[0].isdigit()] == order

    def test_the_same_seed_draws_the_same_order(self, call: Called, tmp_path: Path) -> None:
        drawn = [
            json.loads(call(*SHORT, "--seed", "0123456789abcdef", "--out", tmp_path / name, "--json")[1])["order"]
            for name in "ab"
        ]
        assert drawn[0] == drawn[1]


class TestFileAndOptions:
    @pytest.mark.usefixtures("folder")
    def test_an_option_overrides_its_key(self, call: Called) -> None:
        sealed = json.loads(call("plan", "claim.toml", "--runs", "12", "--out", "new", "--json")[1])
        assert (sealed["runs"], sealed["claim"]["words"]) == (
            12,
            "With the arc in place the wheel gains on every turn.",
        )

    @pytest.mark.usefixtures("folder")
    def test_the_answers_of_both_sides_are_sealed(self, call: Called) -> None:
        agreed = json.loads(call("plan", "claim.toml", "--out", "new", "--json")[1])["agreed"]
        assert agreed["sceptic"]["excuse_to_come"] == "The bearing was lighter with the arc in."

    def test_mishaps_and_excuses_of_the_file_are_sealed(self, call: Called, tmp_path: Path) -> None:
        tables = '[mishaps]\nbumped = "left-out"\n[[excuses]]\nwords = "Not run in."\nbecomes = "control"\n'
        (tmp_path / "said.toml").write_text(
            f'claim = "It gains."\nsource = "in"\ncontrol = "out"\nend = "speed"\n{tables}'
        )
        made = json.loads(call("plan", tmp_path / "said.toml", "--out", tmp_path / "new", "--json")[1])
        assert made["mishaps"] == {"bumped": "left-out"}
        assert made["agreed"]["excuses"] == [{"words": "Not run in.", "becomes": "control", "how": None}]

    @pytest.mark.usefixtures("folder")
    def test_trial_runs_give_the_spread(self, call: Called) -> None:
        sealed = json.loads(call("plan", "claim.toml", "--pilot", "trial.csv", "--out", "new", "--json")[1])
        looked = json.loads(call("look", "trial.csv", "--control", "arc out", "--json")[1])
        assert sealed["pilot"] == looked["pilot"]
        assert sealed["forecast"]["spread"] == looked["pilot"]["upper_spread"]

    def test_what_is_lacking_is_named_at_once(self, call: Called, tmp_path: Path) -> None:
        code, _, err = call("plan", "--claim", "It gains.", "--out", tmp_path)
        assert code == 2
        assert err.startswith("The plan is without source, control, end; ")

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("claim = ", "this is not TOML"),
            ("window = [120, 40]", "two speeds with their units"),
            ('margin = "little"', "a share, such as 5% or 0.05"),
            ("\ufeffmargin = 2", "For 2 of 100 write 2%."),
            ('run_minutes = "long"', "run_minutes"),
        ],
    )
    def test_what_the_file_says_wrongly_is_named_with_the_file(
        self, call: Called, tmp_path: Path, text: str, said: str
    ) -> None:
        path = tmp_path / "mine.toml"
        path.write_text(text, encoding="utf-8")
        code, out, err = call("plan", path, "--out", tmp_path)
        assert (code, out) == (2, "")
        assert str(path) in err
        assert said in err

    def test_a_file_that_is_no_text_is_one_sentence(self, call: Called, tmp_path: Path) -> None:
        (tmp_path / "mine.toml").write_bytes(b"\xff\xfe\x00")
        assert "Save it again as UTF-8." in call("plan", tmp_path / "mine.toml", "--out", tmp_path)[2]

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("--control", "in"), "Source and control must have different names"),
            (("--end", "standstill"), "without saying which stop"),
            (("--end", "standstill", "--stop", "lies-still"), "cannot decide"),
            (("--window", "40 r/min", "120 r/min"), "from a speed down to a slower one"),
            (("--runs", "many"), "a whole number"),
            (("--runs", "14"), "a multiple of 4"),
            (("--blinding", "7"), "0, 1, 2 or 3"),
            (("--spare-blocks", "1", "--orders", "complete", "--runs", "12"), "Choose blocks-of-four."),
            (("--pilot", "nowhere.csv"), "there is no such file"),
        ],
    )
    def test_what_does_not_fit_is_one_sentence(
        self, call: Called, tmp_path: Path, words: tuple[str, ...], said: str
    ) -> None:
        code, out, err = call(*SHORT, *words, "--out", tmp_path)
        assert (code, out) == (2, "")
        assert said in err
        assert err.count("\n") == 1
        assert list(tmp_path.iterdir()) == []
