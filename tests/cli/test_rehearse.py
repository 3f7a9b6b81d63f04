"""``truerun rehearse``: what it shows, what it refuses, and how Ctrl-C ends it."""

import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import jsonschema
import pytest

from truerun.cli import rehearse
from truerun.cli.progress import progress_line, until_ctrl_c
from truerun.workflow.rehearsing import DRIFTS

Called = Callable[..., tuple[int, str, str]]

SCHEMA = Path(__file__).parents[2] / "docs" / "schemas" / "rehearsal.json"
QUICK = ("plan.json", "--tests", "2", "--workers", "1")

signals = pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent as a signal")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.usefixtures("folder")
class TestWhatItShows:
    def test_how_often_each_verdict_comes_and_how_long_it_takes(self, call: Called) -> None:
        code, out, err = call("rehearse", *QUICK, "--drive", "30%", "--run-time", "2:00")
        assert (code, err) == (0, "")
        truth, rest = out.split("Truth: adds 30", 1)[1].split("What would find", 1)
        assert "in 2 tests" in truth
        assert "adds energy" in truth
        assert "2 tests, 100" in truth
        assert "the wheel turns" in truth
        assert "the plan as it is" in rest

    def test_as_json_it_fits_its_schema(self, call: Called) -> None:
        code, out, err = call("rehearse", *QUICK, "--drift", "line", "6%", "--drift", "days", "1%", "--json")
        document = json.loads(out)
        jsonschema.validate(document, json.loads(SCHEMA.read_text(encoding="utf-8")))
        assert (code, err, document["complete"]) == (0, "", True)
        assert document["settings"]["drifts"] == [{"kind": "line", "size": 0.06}, {"kind": "days", "size": 0.01}]

    def test_its_schema_is_one(self) -> None:
        jsonschema.Draft202012Validator.check_schema(json.loads(SCHEMA.read_text(encoding="utf-8")))

    def test_the_seed_decides_the_counts(self, call: Called) -> None:
        first, again, other = (call("rehearse", *QUICK, "--json", "--seed", seed)[1] for seed in (5, 5, 6))
        assert first == again != other

    def test_the_kinds_of_drift_are_those_of_the_bench(self) -> None:
        assert rehearse.DRIFTS.words == DRIFTS


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("nowhere.json",), "nowhere.json"),
        (("run-sheet.csv",), "this is not JSON"),
        (("plan.json", "--drive", "100%"), "Such a wheel never slows down."),
        (("plan.json", "--drive", "3"), "For 3 of 100 write 3%."),
        (("plan.json", "--drift", "lines", "3%"), "Did you mean line?"),
        (("plan.json", "--drift", "line"), "requires 2 arguments"),
        (("plan.json", "--run-time", "60"), "Write the unit behind the number"),
        (("plan.json", "--run-time", "-3 s"), "The mean time is -3 s"),
        (("plan.json", "--tests", "0"), "The number of made-up tests is 0"),
        (("plan.json", "--tests", "1e3"), "a whole number"),
        (("plan.json", "--workers", "0"), "The number of workers is 0"),
        (("plan.json", "--spread", "-1%"), "The spread is"),
        ((), "truerun rehearse needs"),
    ],
)
def test_bad_input_is_one_sentence_and_2(call: Called, words: tuple[str, ...], part: str) -> None:
    code, out, err = call("rehearse", *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert part in err


class TestALineThatSaysHowFarItIs:
    def test_it_stays_away_where_nobody_looks(self, monkeypatch: pytest.MonkeyPatch) -> None:
        written = io.StringIO()
        monkeypatch.setattr(sys, "stderr", written)
        with progress_line("tests") as show:
            assert show is None
        assert not written.getvalue()

    def test_on_a_terminal_it_is_one_line_that_is_wiped_away(self, monkeypatch: pytest.MonkeyPatch) -> None:
        terminal = Terminal()
        monkeypatch.setattr(sys, "stderr", terminal)
        ticks = iter([0.0, 10.0, 10.1, 20.0, 400.0])
        with progress_line("tests", clock=lambda: next(ticks)) as show:
            assert show is not None
            for done in (25, 26, 50, 100):
                show(done, 100)
        written = terminal.getvalue().split("\r")
        assert [line.rstrip() for line in written] == [
            "",
            "25 of 100 tests, about 30 s left",
            "50 of 100 tests, about 20 s left",
            "100 of 100 tests",
            "",
            "",
        ]
        assert "\n" not in terminal.getvalue()

    def test_long_waits_are_told_in_minutes(self, monkeypatch: pytest.MonkeyPatch) -> None:
        terminal = Terminal()
        monkeypatch.setattr(sys, "stderr", terminal)
        ticks = iter([0.0, 10.0])
        with progress_line("tests", clock=lambda: next(ticks)) as show:
            assert show is not None
            show(5, 100)
        assert "about 3 min left" in terminal.getvalue()


class TestCtrlC:
    # a worker holds both streams of its parent, so reading them to their end proves that none is left

    def test_the_first_asks_and_the_second_breaks_off(self) -> None:
        before = signal.getsignal(signal.SIGINT)
        with until_ctrl_c() as pressed:
            assert not pressed()
            signal.raise_signal(signal.SIGINT)
            assert pressed()
            with pytest.raises(KeyboardInterrupt):
                signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is before

    @pytest.mark.usefixtures("folder")
    def test_before_the_first_results_there_is_nothing_to_show(
        self, call: Called, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        @contextmanager
        def pressed_at_once() -> Iterator[Callable[[], bool]]:
            yield lambda: True

        monkeypatch.setattr(rehearse, "until_ctrl_c", pressed_at_once)
        assert call("rehearse", *QUICK) == (130, "", "Broken off before the first results.\n")

    @signals
    @pytest.mark.parametrize("workers", ["1", "2"])
    def test_it_ends_in_order_with_what_was_done(self, folder: Path, workers: str) -> None:
        with started(folder, "--workers", workers) as (process, terminal):
            said = read_until(terminal, " of 150000 made-up tests")
            os.killpg(process.pid, signal.SIGINT)  # a terminal sends it to every process
            shown, _ = process.communicate(timeout=60)
            said += read_until(terminal, None)
        assert process.returncode == 130
        assert "\n\nTruth: " in shown
        assert said.rstrip().splitlines()[-1].rsplit("\r", 1)[-1].startswith("Broken off after ")
        assert "Traceback" not in said

    @signals
    def test_no_worker_outlives_a_killed_parent(self, folder: Path) -> None:
        with started(folder, "--workers", "2") as (process, terminal):
            read_until(terminal, " of 150000 made-up tests")
            process.kill()
            process.communicate(timeout=60)
            said = read_until(terminal, None)
        assert "Traceback" not in said


@contextmanager
def started(folder: Path, *words: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """Start a long rehearsal with a terminal for its standard error, as a process group of its own."""
    ours, theirs = os.openpty()
    command = [sys.executable, "-m", "truerun", "rehearse", "plan.json", "--tests", "50000", *words]
    process = subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=theirs, text=True, start_new_session=True
    )
    os.close(theirs)
    try:
        with process:
            yield process, ours
            process.kill()
    finally:
        os.close(ours)


def read_until(terminal: int, words: str | None) -> str:
    """Read from a terminal until it says some words; None: until every process has left it."""
    said = ""
    while words is None or words not in said:
        try:
            part = os.read(terminal, 4096)
        except OSError:  # how Linux says that the other end is closed
            part = b""
        if not part:
            assert words is None, said
            break
        said += part.decode()
    return said
