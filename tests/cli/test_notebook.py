"""The whole job on the terminal: from claim to a verified bundle, broken off and gone on with in the middle."""

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from truerun.notebook.ledger import open_notebook
from truerun.notebook.verify import check_result
from truerun.workflow.bench import state_of
from truerun.workflow.kept_reports import kept_report

Called = Callable[..., tuple[int, str, str]]

CLAIM = "With the arc in place the wheel gains on every turn."
NAMES = {"arc in": 57.0, "arc out": 60.0}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Called) -> Path:
    """A folder with a sealed plan and an open test in its notebook. Invented: no such test took place."""
    monkeypatch.chdir(tmp_path)
    code, _, _ = call(
        "plan", "--claim", CLAIM, "--source", "arc in", "--control", "arc out", "--end", "speed", "--runs", 12,
        "--timing", "sensor", "--out", tmp_path,
    )  # fmt: skip
    assert code == 0
    assert call("new", "the rim arc", "--claim", CLAIM, "--plan", "plan.json")[0] == 0
    return tmp_path


def order(folder: Path) -> list[str]:
    return list(json.loads((folder / "plan.json").read_text(encoding="utf-8"))["order"])


def times(folder: Path) -> list[float]:
    """A brake of five parts in a hundred, with a scatter of some tenths of a second."""
    wobble = (0.1, -0.2, 0.3, 0.0, -0.1, 0.2, -0.3, 0.1, 0.0, 0.2, -0.2, 0.3)
    return [NAMES[name] + shift for name, shift in zip(order(folder), wobble, strict=True)]


class TestTheWholeJob:
    def test_from_claim_to_verified_bundle(self, bench: Path, call: Called) -> None:
        for value in times(bench):
            assert call("run", "--time", value)[0] == 0
        code, out, _ = call("decide", "--json")
        assert code == 0
        found = json.loads(out)
        assert found["verdict"] == "takes-energy"
        assert call("bundle", "--out", "arc.zip")[0] == 0
        assert call("verify")[0] == 0
        assert call("verify", "arc.zip")[0] == 0
        assert call("import", "arc.zip", "--notebook", "other.notebook")[0] == 0
        code, out, _ = call("show", "1", "--notebook", "other.notebook", "--json")
        assert json.loads(out)["verdict"] == "takes-energy"

    def test_a_stranger_checks_it_without_truerun(self, bench: Path, call: Called) -> None:
        """The file's own VERIFY.txt is followed: sha256sum of GNU coreutils, then Python without our package."""
        for value in times(bench):
            call("run", "--time", value)
        _, out, _ = call("decide", "--json")
        call("bundle", "--out", "arc.zip")
        with zipfile.ZipFile("arc.zip") as packed:
            packed.extractall("unpacked")
        alone = subprocess.run(
            [sys.executable, "-I", "-S", "verify.py"], cwd="unpacked", capture_output=True, text=True, check=False
        )
        assert alone.returncode == 0, alone.stdout + alone.stderr
        assert f"p = {json.loads(out)['p']:.6g}" in alone.stdout
        with open("unpacked/manifest-sha256.txt", encoding="utf-8") as manifest:  # noqa: PTH123
            assert "data/ledger.jsonl" in manifest.read()

    def test_a_broken_seal_and_its_reason_stand_in_the_report(self, bench: Path, call: Called) -> None:
        """A test that could not decide has found no difference and no want of one."""
        for value in times(bench)[:5]:
            call("run", "--time", value)
        assert call("decide", "--break-seal", "A visitor wanted to see it.", "--report", "early.html")[0] == 0
        page = (bench / "early.html").read_text(encoding="utf-8")
        assert "Seal broken" in page
        assert "“A visitor wanted to see it.”" in page
        assert "No difference was found" not in page

    def test_the_page_that_was_saved_is_the_one_that_the_notebook_keeps(self, bench: Path, call: Called) -> None:
        for value in times(bench):
            call("run", "--time", value)
        assert call("decide", "--report", "arc.html", "--made", "2026-03-14T21:52Z")[0] == 0
        with open_notebook(bench / "truerun.notebook", make=False) as book:
            state = state_of(book, book.tests()[0].id)
            assert state.reports == 1
            assert b"".join(kept_report(book, state)) == (bench / "arc.html").read_bytes()

    def test_nothing_is_shown_before_the_last_run(self, bench: Path, call: Called) -> None:
        values = times(bench)
        for value in values[:5]:
            call("run", "--time", value)
        shown = [call(*words)[1] for words in (("show", "1"), ("show", "1", "--json"), ("show", "1", "--lines", 40))]
        for text in shown:
            assert not any(f"{value:.1f}" in text for value in values[:5])
        assert call("decide")[0] == 1
        with zipfile.ZipFile(_bundled(call)) as packed:
            assert "Sealed until the last run" in packed.read("data/report.html").decode()
            rows = list(csv.DictReader(io.StringIO(packed.read("data/runs.csv").decode())))
            packed.extractall("early")
        assert [row["value"] + row["stopwatch"] for row in rows] == [""] * 12
        assert [row["counts"] for row in rows] == ["yes"] * 5 + ["missing"] * 7
        words = [sys.executable, "-I", "-S", "verify.py"]
        alone = subprocess.run(words, cwd="early", capture_output=True, text=True, check=False)
        assert alone.returncode == 0, alone.stdout
        assert "covered until the last run: 5 of 12 are done" in alone.stdout
        assert "drive" not in alone.stdout


def test_a_result_that_is_not_computed_anew_is_not_said_to_hold(capsys: pytest.CaptureFixture[str]) -> None:
    """What a stranger reads as holding was computed; the order can be held against the seal all the same."""
    plan: dict[str, object] = {"order": ["in", "out"], "conditions": {"source": "in"}, "measurand": {"scale": "log"}}
    entries = [{"kind": "sealed", "body": {"plan": plan | {"adjust": ["run-number", "temperature °C"]}}}]
    rows = [{"condition": name, "counts": "yes", "unfinished": "no", "value": "61.2"} for name in ("in", "out")]
    assert check_result(rows, entries)
    order, result = capsys.readouterr().out.splitlines()
    assert order == "3. Runs in the order that was sealed: holds"
    assert "not computed anew" in result
    assert "holds" not in result
    assert not check_result(rows[::-1], entries)


def _bundled(call: Called) -> str:
    call("bundle", "--out", "early.zip")
    return "early.zip"


class TestBrokenOffAndGoneOnWith:
    def test_a_killed_command_loses_nothing_that_was_said(self, bench: Path, call: Called) -> None:
        environment = os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}
        acknowledged = 0
        for number, value in enumerate(times(bench)[:6]):
            started = subprocess.Popen(
                [sys.executable, "-m", "truerun", "run", "--time", f"{value}"],
                stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment,
            )  # fmt: skip
            if number % 2:
                time.sleep(0.15 * number)  # somewhere between start and end
                started.send_signal(signal.SIGKILL)
            out, _ = started.communicate()
            acknowledged += b"runs are done" in out
        code, shown, _ = call("show", "1", "--json")
        assert code == 0
        done = [run for run in json.loads(shown)["runs"] if run["ended"]]
        assert acknowledged <= len(done) <= 6
        assert call("verify")[0] == 0
        for value in times(bench)[len(done) :]:
            assert call("run", "--time", value)[0] == 0
        assert call("decide", "--json")[0] in (0, 1)


class TestThePrintedSheet:
    def test_it_is_an_equal_road(self, bench: Path, call: Called) -> None:
        lines = [
            line for line in (bench / "run-sheet.csv").read_text(encoding="utf-8-sig").splitlines() if line[0] != "#"
        ]
        rows = list(csv.DictReader(lines))
        for row, value in zip(rows, times(bench), strict=True):
            row[next(name for name in row if "time" in name)] = f"{value:.1f}"
        with (bench / "filled.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0].keys())
            writer.writeheader()
            writer.writerows(rows)
        code, out, _ = call("record", "--sheet", "filled.csv")
        assert code == 0
        assert "12 runs were typed in" in out
        assert "typed in" in call("show", "1")[1]
        by_notebook = json.loads(call("decide", "--json")[1])
        by_file = json.loads(call("compare", "filled.csv", "--plan", "plan.json", "--json")[1])
        assert by_notebook["p"] == by_file["p"]
        assert by_notebook["drive_fraction"] == by_file["drive_fraction"]
        assert call("record", "--sheet", "filled.csv")[1].startswith("0 runs")


@pytest.mark.usefixtures("bench")
class TestWhatIsRefused:
    def test_in_one_sentence(self, call: Called) -> None:
        for words, sentence in (
            (("decide", "nothing"), '1 "the rim arc"'),
            (("record",), "--sheet, --recording, --photo or --note"),
            (("record", "--recording", "x.csv"), "named with --run"),
            (("bundle", "--out", "plan.json"), "there already"),
            (("import", "plan.json"), "no truerun bundle"),
            (("verify", "run-sheet.csv"), "no truerun bundle"),
            (("show", "--notebook", "nowhere.notebook"), "there is no such file"),
            (("show", "--notebook", "plan.json"), "no truerun notebook"),
        ):
            code, _, err = call(*words)
            assert code == 2, words
            assert sentence in err, (words, err)
            assert "Traceback" not in err

    def test_a_changed_bundle_is_named_and_not_taken(self, call: Called) -> None:
        call("run", "--time", 60)
        call("bundle", "--out", "arc.zip")
        with zipfile.ZipFile("arc.zip") as packed, zipfile.ZipFile("bad.zip", "w") as changed:
            for name in packed.namelist():
                data = packed.read(name)
                changed.writestr(name, data.replace(b"arc out", b"arc off") if name == "data/runs.csv" else data)
        code, out, _ = call("verify", "bad.zip")
        assert code == 1
        assert "data/runs.csv: it was changed." in out
        code, _, err = call("import", "bad.zip", "--notebook", "other.notebook")
        assert code == 2
        assert "data/runs.csv" in err
