"""``truerun live`` as a process of its own: signals at any moment, and a line that is pulled out and comes back.

The claim is the project's own: whatever the page counted as kept is on the disk. The signals are those of the
operating system.
"""

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Called
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import open_notebook
from truerun.notebook.verification import verify_notebook
from truerun.virtual.made_up_sensor import MadeUpSensor, TimedLine
from truerun.workflow import bench

pytestmark = pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals")

REQUEST = {
    "claim": "With the arc in place the wheel gains on every turn.",
    "source": "arc in",
    "control": "arc out",
    "end": "speed",
    "window": [4 * np.pi, 4 * np.pi / 3],
    "runs": 12,
    "spread": 0.01,
}
RNG = np.random.default_rng(20)
MOMENTS = [round(float(moment), 3) for moment in RNG.uniform(0.02, 1.4, 20)]  # s, after the first line on the screen
EVERYDAY = [
    moment if number < 5 else pytest.param(moment, marks=pytest.mark.slow) for number, moment in enumerate(MOMENTS)
]


def started(*words: object, folder: Path) -> subprocess.Popen[str]:
    """Start ``truerun live``."""
    command = [sys.executable, "-m", "truerun", "live", *map(str, words)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder)


def fast_lines(count: int) -> tuple[TimedLine, ...]:
    """Give two hundred passes a second."""
    return tuple(TimedLine(0.005 * number, f"{5000 * number + 1_000_000}\n".encode()) for number in range(count))


@pytest.fixture
def sensor() -> Iterator[MadeUpSensor]:
    made = MadeUpSensor(fast_lines(4000), time.monotonic)
    yield made
    made.close()


def kept_by(said: str) -> int:
    """Read the last number of passes that were said to be kept."""
    return max(map(int, re.findall(r"(\d+)(?: passes)? kept", said)), default=0)


def signalled(process: subprocess.Popen[str], moment: float, number: signal.Signals) -> tuple[int, str, str]:
    """Send a signal some time after the first line; give exit code and both streams."""
    assert process.stderr is not None
    first = process.stderr.readline()
    with pytest.raises(subprocess.TimeoutExpired):  # it goes on until it is told
        process.wait(moment)
    process.send_signal(number)
    out, err = process.communicate(timeout=30)
    return process.returncode, out, first + err


class TestASignalAtAnyMoment:
    @pytest.mark.parametrize("moment", EVERYDAY)
    @pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL], ids=["ctrl-c", "kill"])
    def test_loses_nothing_that_was_counted_as_kept(
        self, sensor: MadeUpSensor, tmp_path: Path, moment: float, number: signal.Signals
    ) -> None:
        code, out, err = signalled(
            started(sensor.name, "--marks", 4, "--to", "run.csv", folder=tmp_path), moment, number
        )
        path = tmp_path / "run.csv"
        lines = path.read_text().splitlines()[2:] if path.exists() else []
        assert len(lines) >= kept_by(err)
        ticks = [round(float(line) * 1e6) for line in lines]
        assert ticks == list(range(ticks[0], ticks[0] + 5000 * len(ticks), 5000)) if ticks else not kept_by(err)
        if number is signal.SIGINT:
            assert code == 0, err
            assert ("run.csv is written" in out) == bool(lines)

    @pytest.mark.parametrize("moment", EVERYDAY[3:6])
    @pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL], ids=["ctrl-c", "kill"])
    def test_nor_in_a_run_of_the_notebook(
        self, sensor: MadeUpSensor, tmp_path: Path, moment: float, number: signal.Signals
    ) -> None:
        place = tmp_path / "bench.notebook"
        with open_notebook(place) as book:
            test = bench.open_test(book, "the rim arc", invented=True).id
            bench.seal_plan(book, test, REQUEST, book.head(test).digest, seed="a fixed seed of the tests")
        words = (sensor.name, "--marks", 4, "--run", "--notebook", place)
        _, _, err = signalled(started(*words, folder=tmp_path), moment, number)
        assert "r/min" not in err  # a sealed run shows no speed
        with open_notebook(place, make=False) as book:
            runs = bench.state_of(book, test).runs
            passes = runs[0].passes if runs else ()
            assert len(passes) >= kept_by(err)
            assert np.diff(passes) == pytest.approx(np.full(max(len(passes) - 1, 0), 0.005), abs=1e-9)
            assert verify_notebook(book).faults == ()
            kinds = [entry.kind for entry in book.entries(test)]
            assert (Kind.RECORDING in kinds) == (number is signal.SIGINT and bool(passes))


class TestALineThatIsPulledOut:
    def test_ends_a_part_and_coming_back_begins_the_next(self, tmp_path: Path) -> None:
        port = tmp_path / "port"
        first = MadeUpSensor(fast_lines(4000), time.monotonic)
        port.symlink_to(first.name)
        process = started(port, "--marks", 4, "--to", "run.csv", folder=tmp_path)
        assert process.stderr is not None

        def until(wanted: Callable[[str], bool]) -> None:
            for line in process.stderr or ():
                if wanted(line):
                    return

        until(lambda line: kept_by(line) > 50)
        first.close()
        until(lambda line: "the sensor is gone" in line)
        port.unlink()
        second = MadeUpSensor(fast_lines(4000), time.monotonic)
        port.symlink_to(second.name)
        until(lambda line: "part 2" in line and "r/min" in line)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
        second.close()
        assert "run-2.csv is written" in out
        assert "Interrupted after part 1" in err
        assert (tmp_path / "run.csv").read_text().splitlines()[-1].startswith("# interrupted: the sensor was unplugged")
        assert len((tmp_path / "run-2.csv").read_text().splitlines()) > 10


class TestWithoutASensor:
    def test_the_ports_are_listed(self, call: Called) -> None:
        code, out, _ = call("live", "--ports")
        assert code == 0
        assert out.strip()

    def test_a_port_that_is_not_there_is_said_in_one_sentence(self, call: Called, tmp_path: Path) -> None:
        code, _, err = call("live", tmp_path / "nothing", "--marks", "4")
        assert code == 2
        assert "does not open. See truerun live --ports" in err

    def test_marks_are_asked_for(self, call: Called) -> None:
        code, _, err = call("live", "port")
        assert (code, err) == (
            2,
            "The number of marks a turn is not said; it must be given with --marks. Count them on the wheel.\n",
        )

    def test_a_file_that_is_there_is_never_written_over(self, call: Called, tmp_path: Path) -> None:
        path = tmp_path / "run.csv"
        path.write_text("mine")
        code, _, err = call("live", "--made-up", "--to", path)
        assert code == 2
        assert "there already" in err
        assert path.read_text() == "mine"

    @pytest.mark.slow
    def test_a_made_up_hand_shows_the_check(self, call: Called) -> None:
        code, out, err = call("live", "--made-up", "--check", "--marks", "2")
        assert (code, out) == (0, "2 passes in one turn, 2 marks: every mark was seen once.\n")
        assert "Turn the wheel by hand" in err

    def test_the_made_up_sensor_speaks_and_says_that_it_is_made_up(self, call: Called) -> None:
        code, _, err = call("live", "--made-up", "--for", "1.5 s")
        assert code == 0
        assert err.startswith("A made-up sensor on a made-up wheel. Nothing here was measured.\n")
        assert "r/min" in err
