"""A screening of a notebook on the terminal: opened, run, read, its fresh test sealed, handed on as a bundle.

What a screening shows is checked elsewhere, by its error rates; here both doors must show the same of the same runs.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from truerun.cli import run
from truerun.notebook.ledger import open_notebook
from truerun.notebook.state import TestState
from truerun.workflow.bench import state_of
from truerun.workflow.screening_runs import record_screened

Called = Callable[..., tuple[int, str, str]]

PLACES = tuple(f"position {number}" for number in range(1, 7))
NAME = "where to put it"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Called) -> Path:
    """A folder with an open screening in its notebook. Invented: none took place."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "places.txt").write_text("# places\n" + "\n".join(PLACES), encoding="utf-8")
    asked = ("--screening", "places.txt", "--repeats", 3, "--end", "speed", "--control", "position 1", "--invented")
    assert call("new", NAME, *asked)[0] == 0
    return tmp_path


def state(test: int = 1, place: str = "truerun.notebook") -> TestState:
    """Give a test of the notebook by its number."""
    with open_notebook(place) as book:
        return state_of(book, book.tests()[test - 1].id)


def times(place: str = "truerun.notebook") -> list[float]:
    """Give a time for each run: .5 % of scatter, and a position that is 8 % better; a seeded draw."""
    chance = np.random.default_rng(4)
    sizes = [1 + 0.08 * (position == "position 4") for position in state(place=place).drawn]
    return [round(150 * size * float(np.exp(chance.normal(0, 0.005))), 2) for size in sizes]


def do_all(place: str = "truerun.notebook") -> list[float]:
    """Make every run; give the times."""
    values = times(place)
    with open_notebook(place) as book:
        test = book.tests()[0].id
        for slot, value in enumerate(values, 1):
            record_screened(book, test, slot, value)
    return values


def sheet(values: list[float], *, slip: int | None = None) -> str:
    """Fill in a run sheet; run ``slip`` was stopped first and made again."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(["run", "condition", "time [s]", "attempt", "left_out"])
    for slot, (place, value) in enumerate(zip(state().drawn, values, strict=False), 1):
        if slot == slip:
            rows.writerow([slot, place, "", 1, "the string slipped"])
        rows.writerow([slot, place, value, 2 if slot == slip else 1, ""])
    return text.getvalue()


def alone(folder: Path) -> subprocess.CompletedProcess[str]:
    """Check an unpacked bundle with Python and nothing else."""
    words = [sys.executable, "-I", "-S", "verify.py"]
    return subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)


@pytest.mark.usefixtures("here")
class TestFromTheListToTheFreshTest:
    def test_the_whole_way(self, call: Called) -> None:
        assert call("show")[1].startswith(f"1  {NAME} (invented): screening, 0 of 18 runs done")
        for value in times():
            assert call("run", "--time", value)[0] == 0
        code, out, err = call("decide")
        assert code == 0
        assert out.startswith("Candidate: position 4.\n")
        assert f'truerun new --fresh "{NAME}"' in err
        assert "adds energy" not in out
        code, out, err = call("new", "--fresh", NAME)
        assert code == 0
        assert "none of the runs of the screening counts in it" in out
        assert "truerun amend 2 --seal, then truerun run 2" in err
        assert call("amend", 2, "--seal")[0] == 0
        fresh = state(2)
        assert fresh.invented
        assert fresh.plan is not None
        assert fresh.plan["conditions"] == {"source": "position 4", "control": "position 1"}
        assert fresh.plan["main_test"] == (state().screening or {})["id"]
        assert call("run", 2, "--time", 151)[0] == 0

    def test_both_doors_show_the_same_of_the_same_runs(self, call: Called) -> None:
        Path("run-sheet.csv").write_text(sheet(do_all()), encoding="utf-8")
        Path("screening.json").write_text(json.dumps(state().screening), encoding="utf-8")
        in_notebook, on_files = (json.loads(call(*words, "--json")[1]) for words in (("decide",), ("screening", ".")))
        assert in_notebook.pop("inputs") == []
        assert len(on_files.pop("inputs")) == 1  # the SHA-256 of the sheet
        assert in_notebook == on_files

    def test_without_a_control_the_seal_asks_for_one(self, call: Called) -> None:
        there = ("--notebook", "other.notebook")
        assert call("new", NAME, "--screening", "places.txt", "--repeats", 3, "--end", "speed", *there)[0] == 0
        do_all("other.notebook")
        _, _, err = call("new", "--fresh", NAME, *there)
        assert "truerun amend 2 --seal --control NAME" in err
        code, _, err = call("amend", 2, "--seal", *there)
        assert code == 2
        assert "control is missing" in err
        assert call("amend", 2, "--seal", "--control", "arc out", *there)[0] == 0


@pytest.mark.usefixtures("here")
class TestTheRuns:
    def test_what_is_next_is_said_and_no_time_is_shown(self, call: Called) -> None:
        order = state().drawn
        for value in times()[:4]:
            assert call("run", "--time", value)[0] == 0
        shown = [call(*words)[1] for words in (("show", 1), ("show", 1, "--json"), ("show", 1, "--lines", 40))]
        assert f"run 5 of 18, round 1: {order[4]}" in shown[0]
        data = json.loads(shown[1])
        assert (data["planned"], data["next"], data["screening"]) == (18, 5, True)
        assert [each["condition"] for each in data["runs"]] == list(order[:4])
        assert not any(f"{value:.1f}" in text for value in times()[:4] for text in shown)
        code, out, _ = call("decide")
        assert code == 1
        assert "4 of 18 runs are done" in out

    def test_a_sheet_on_paper_is_an_equal_road(self, call: Called) -> None:
        Path("sheet.csv").write_text(sheet(times()[:7], slip=3), encoding="utf-8")
        assert call("record", "--sheet", "sheet.csv")[1].startswith("8 runs were typed in")
        assert [run.slot for run in state().runs if run.left_out] == [3]
        assert [run.seconds for run in state().runs if run.counts] == times()[:7]
        assert state().next_screened == 8
        assert call("record", "--sheet", "sheet.csv")[1].startswith("0 runs")

    def test_a_sheet_of_another_screening_is_not_taken(self, call: Called) -> None:
        lines = sheet(times()[:3]).splitlines()
        lines[2] = lines[2].replace(state().drawn[1], next(each for each in PLACES if each != state().drawn[1]))
        Path("sheet.csv").write_text("\n".join(lines), encoding="utf-8")
        code, _, err = call("record", "--sheet", "sheet.csv")
        assert code == 2
        assert f'The plan has "{state().drawn[1]}" there' in err
        assert state().runs == ()

    def test_on_a_terminal_they_are_led(self, call: Called, monkeypatch: pytest.MonkeyPatch) -> None:
        """Let go, stop, all well, go on; let go, something wrong, what, stop for today."""
        monkeypatch.setattr(run, "on_terminal", lambda: True)
        monkeypatch.setattr(sys, "stdin", io.StringIO("\n\ny\ny\n\nw\nthe string slipped\nn\n"))
        code, out, err = call("run")
        assert code == 0
        assert f"Run 1: {state().drawn[0]}" in err
        assert "run 2 is made again at once" in err
        assert "1 of 18 runs are done." in out
        first, second = state().runs
        assert first.counts
        assert not first.typed
        assert (second.slot, second.left_out, second.seen) == (2, "the string slipped", False)


@pytest.mark.usefixtures("here")
class TestWhatIsRefused:
    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            (("new", "x", "--screening", "places.txt"), "Say --end speed."),
            (("new", "x", "--screening", "nowhere.txt", "--end", "speed"), "one variant a line"),
            (("new", "x", "--screening", "places.txt", "--end", "speed", "--claim", "It gains."), "Leave out --claim."),
            (("new", "x", "--repeats", 3), "Leave out --repeats."),
            (("new",), "The name of the test is not said"),
            (("new", "x", "--fresh", NAME), "Leave out NAME."),
            (("new", "--fresh", NAME), "0 of 18 runs are done"),
            (("new", "--fresh", "nothing"), f'1 "{NAME}"'),
            (("decide", "--break-seal", "curious"), "no plan is sealed here"),
            (("amend", "--seal"), "Open the fresh test for it."),
            (("record", "--run", 1, "--recording", "places.txt"), "timed with a watch"),
            (("run", "--time", "-1"), "a number of seconds above 0"),
        ],
    )
    def test_in_one_sentence(self, call: Called, words: tuple[object, ...], sentence: str) -> None:
        code, out, err = call(*words)
        assert (code, out) == (2, "")
        assert sentence in err
        assert err.count("\n") == 1
        assert len(state().runs) == 0

    def test_a_run_too_many(self, call: Called) -> None:
        do_all()
        code, _, err = call("run", "--time", 60)
        assert code == 2
        assert "The screening has 18 runs; all are done." in err


@pytest.mark.usefixtures("here")
class TestHandedOn:
    def test_a_stranger_checks_it_and_reads_the_same(self, call: Called) -> None:
        values = do_all()
        found = call("decide", "--json")[1]
        assert call("bundle", "--out", "all.zip")[0] == 0
        assert call("verify", "all.zip")[0] == 0
        with zipfile.ZipFile("all.zip") as packed:
            packed.extractall("all")
        checked = alone(Path("all"))
        assert checked.returncode == 0, checked.stdout
        assert "3. Screening, 18 of 18 runs done in the sealed order; it decides nothing: holds" in checked.stdout
        page = Path("all/data/report.html").read_text(encoding="utf-8")
        assert "Candidate: position 4." in page
        assert "invented" in page.lower()
        rows = list(csv.DictReader(io.StringIO(Path("all/data/runs.csv").read_text(encoding="utf-8"))))
        assert [float(row["value"]) for row in rows] == values
        assert call("import", "all.zip", "--notebook", "other.notebook")[0] == 0
        assert call("decide", "--json", "--notebook", "other.notebook")[1] == found
        assert call("verify", "--notebook", "other.notebook")[0] == 0

    def test_before_the_last_run_it_holds_no_time_beside_a_place(self, call: Called) -> None:
        for value in times()[:5]:
            call("run", "--time", value)
        assert call("bundle", "--out", "half.zip")[0] == 0
        with zipfile.ZipFile("half.zip") as packed:
            assert "data/report.html" not in packed.namelist()
            rows = list(csv.DictReader(io.StringIO(packed.read("data/runs.csv").decode())))
            packed.extractall("half")
        assert [row["value"] for row in rows] == [""] * 18
        assert [row["counts"] for row in rows] == ["yes"] * 5 + ["missing"] * 13
        checked = alone(Path("half"))
        assert checked.returncode == 0, checked.stdout
        assert "5 of 18 runs done" in checked.stdout

    def test_runs_that_changed_places_show(self, call: Called) -> None:
        """The manifest is made anew by hand, so that only the seal can tell (SHA-256 by hashlib)."""
        do_all()
        call("bundle", "--out", "all.zip")
        with zipfile.ZipFile("all.zip") as packed:
            packed.extractall("all")
        runs, manifest = Path("all/data/runs.csv"), Path("all/manifest-sha256.txt")
        before = runs.read_bytes()
        first, second = state().drawn[:2]
        lines = before.decode().split("\n")
        lines[1], lines[2] = lines[1].replace(first, second), lines[2].replace(second, first)
        runs.write_bytes("\n".join(lines).encode())
        for old, name in ((before, runs), (manifest.read_bytes(), manifest)):
            tag = manifest if name is runs else Path("all/tagmanifest-sha256.txt")
            was, now = (hashlib.sha256(each).hexdigest() for each in (old, name.read_bytes()))
            tag.write_text(tag.read_text(encoding="utf-8").replace(was, now), encoding="utf-8")
        checked = alone(Path("all"))
        assert checked.returncode == 1
        assert "1. Files: holds" in checked.stdout
        assert "not in the order that was sealed" in checked.stdout

    def test_an_invented_one_says_so_on_its_page(self, call: Called) -> None:
        do_all()
        assert call("decide", "--report", "page.html")[0] == 0
        assert "invented" in Path("page.html").read_text(encoding="utf-8").lower()
