"""A sensor while it runs, by written exchanges: what is kept is what came, however the line breaks off."""

import os
import threading
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from truerun.errors import NotebookUnusable, PlanBroken, RecordingUnreadable, TruerunError
from truerun.notebook.entries import Kind
from truerun.notebook.files import read_file
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.recordings.recording import read_recording
from truerun.sensing.capture import Pass
from truerun.sensing.pass_files import FileKeeper
from truerun.sensing.ports import GrowingFile, SerialLine
from truerun.series import Passes
from truerun.virtual.made_up_sensor import MadeUpSensor, sensor_lines
from truerun.workflow import bench
from truerun.workflow.keeping import QUIET, RunKeeper, begin_live_run, end_live_run, finish_run
from truerun.workflow.live import Live, State, watched
from truerun.workflow.reducing import rundown

REQUEST = {
    "claim": "With the arc in place the wheel gains on every turn.",
    "source": "arc in",
    "control": "arc out",
    "end": "speed",
    "window": [4 * np.pi, 4 * np.pi / 3],
    "runs": 12,
    "spread": 0.01,
}
GONE = None


class Hand:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.time = 0.0

    def __call__(self) -> float:
        return self.time


def nothing() -> None:
    """Wait for nothing."""


class Exchange:
    """A line that says what is written down, a piece at each reading; None: the plug is pulled."""

    mid_line = False

    def __init__(self, clock: Hand, pieces: list[bytes | None], pace: float) -> None:
        self._clock, self.pieces, self._pace = clock, pieces, pace
        self.closed = 0

    def read(self) -> bytes:
        self._clock.time += self._pace
        piece = self.pieces.pop(0) if self.pieces else b""
        if piece is None:
            raise OSError("gone")
        return piece

    def close(self) -> None:
        self.closed += 1


class Remembers:
    """Keeps passes in memory."""

    def __init__(self) -> None:
        self.kept: list[tuple[int, tuple[float, ...]]] = []
        self.broken: list[tuple[int, str]] = []

    def keep(self, segment: int, passes: Sequence[Pass], places: int) -> None:
        assert places == 6
        self.kept.append((segment, tuple(each.time for each in passes)))

    def interrupted(self, segment: int, why: str) -> None:
        self.broken.append((segment, why))

    def of(self, segment: int) -> list[float]:
        return [time for number, times in self.kept if number == segment for time in times]


class Refuses(Remembers):
    """Keeps nothing while it is full."""

    full = True

    def keep(self, segment: int, passes: Sequence[Pass], places: int) -> None:
        if self.full:
            raise NotebookUnusable("bench.notebook", "the disk is full", "Make room.")
        super().keep(segment, passes, places)


def stamps(first: float, count: int, step: float = 0.1) -> list[bytes | None]:
    return [f"{round((first + step * number) * 1e6)}\n".encode() for number in range(count)]


def exchange(*connections: list[bytes | None], pace: float = 0.1) -> tuple[Live, Hand, list[Exchange]]:
    """Open a line that is plugged in as often as there are connections; between them it is not to be found twice."""
    clock = Hand()
    lines = [Exchange(clock, list(pieces), pace) for pieces in connections]
    waiting: list[Exchange | None] = [lines[0]]
    for line in lines[1:]:
        waiting += [None, None, line]

    def opener() -> Exchange:
        found = waiting.pop(0) if waiting else None
        if found is None:
            raise RecordingUnreadable("port", "", "it is not there. Plug it in.")
        return found

    return Live(opener, marks=4, clock=clock, pause=nothing), clock, lines


def run(live: Live, clock: Hand, steps: int) -> None:
    for _ in range(steps):
        if live.now().state is State.LOST:
            clock.time += 0.6
        live.step()


class TestASensorThatIsPulledOut:
    def test_ends_the_segment_as_interrupted_keeps_it_and_begins_a_new_one_when_it_comes_back(self) -> None:
        live, clock, lines = exchange([*stamps(1.0, 30), GONE], stamps(0.5, 20))
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 31)
        assert live.now().state is State.LOST
        assert live.now().kept == 30
        run(live, clock, 25)
        ended = live.stop()
        assert keeper.of(1) == pytest.approx(1.0 + 0.1 * np.arange(30), abs=1e-9)
        assert keeper.of(2) == pytest.approx(0.5 + 0.1 * np.arange(20), abs=1e-9)
        assert [segment for segment, _ in keeper.broken] == [1]
        assert (ended.kept, ended.segment, len(ended.interruptions)) == (50, 2, 1)
        assert lines[0].closed == 1

    def test_so_does_one_that_starts_again_by_itself(self) -> None:
        live, clock, _ = exchange([*stamps(50.0, 20), *stamps(0.1, 20)])
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 40)
        live.stop()
        assert (len(keeper.of(1)), len(keeper.of(2))) == (20, 20)
        assert keeper.broken == [(1, "the sensor started again")]

    def test_a_half_line_at_the_break_is_no_pass(self) -> None:
        live, clock, _ = exchange([*stamps(1.0, 5), b"15", GONE], stamps(0.5, 3))
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 15)
        assert (live.now().passes, live.stop().unreadable) == (8, 1)


class TestADiskThatRefuses:
    def test_ends_the_run_as_interrupted_with_what_still_waited(self) -> None:
        """A piece that the disk refused ends the reading; what passed after that is on no disk."""
        live, _, _ = exchange(stamps(1.0, 30))
        keeper, told = Refuses(), threading.Event()
        live.arm(keeper)
        with watched(live, lambda _: told.set()):
            assert told.wait(10)
            keeper.full = False
            ended = live.stop()
        assert [segment for segment, _ in keeper.broken] == [1]
        assert "the disk is full" in ended.interruptions[0]
        assert 0 < ended.kept < 30
        assert keeper.of(1) == pytest.approx(1.0 + 0.1 * np.arange(ended.kept), abs=1e-9)


class TestPieces:
    def test_what_is_counted_as_kept_was_kept_and_nothing_waits_longer_than_a_second(self) -> None:
        live, clock, _ = exchange(stamps(1.0, 200, 0.01), pace=0.01)
        keeper = Remembers()
        live.arm(keeper)
        for _ in range(200):
            live.step()
            now = live.now()
            assert now.kept == len(keeper.of(1))
            assert now.passes - now.kept <= 51  # half a second at a hundred a second
        assert clock.time == pytest.approx(2.0)

    def test_nothing_is_kept_before_a_run_is_armed_nor_after_it_ended(self) -> None:
        live, clock, _ = exchange(stamps(1.0, 30))
        run(live, clock, 10)
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 10)
        live.stop()
        run(live, clock, 10)
        assert keeper.of(1) == pytest.approx(2.0 + 0.1 * np.arange(10), abs=1e-9)

    def test_closing_keeps_what_waits(self) -> None:
        live, clock, lines = exchange(stamps(1.0, 3))
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 3)
        assert live.now().kept < 3
        live.close()
        assert (len(keeper.of(1)), lines[0].closed) == (3, 1)

    def test_a_port_that_was_lost_is_not_opened_again_once_it_is_closed(self) -> None:
        live, clock, lines = exchange([*stamps(1.0, 3), None], stamps(5.0, 3))
        run(live, clock, 4)
        live.close()
        run(live, clock, 20)
        assert (lines[0].closed, len(lines[1].pieces)) == (1, 3)

    def test_a_disk_that_refuses_is_heard_of_and_the_piece_is_sent_once_more(self) -> None:
        live, clock, _ = exchange(stamps(1.0, 30))

        class Full(Remembers):
            full = True

            def keep(self, segment: int, passes: Sequence[Pass], places: int) -> None:
                if self.full:
                    raise NotebookUnusable("bench.notebook", "the disk is full", "Make room.")
                super().keep(segment, passes, places)

        keeper = Full()
        live.arm(keeper)
        with pytest.raises(NotebookUnusable):
            run(live, clock, 10)
        keeper.full = False
        live.stop()
        assert len(keeper.of(1)) == live.now().passes


class TestWhatIsSeen:
    def test_the_speed_of_a_steady_wheel(self) -> None:
        live, clock, _ = exchange(stamps(1.0, 20))
        run(live, clock, 20)
        speed = live.now().speed
        assert speed is not None
        assert speed == pytest.approx(2 * np.pi / 0.4, rel=1e-6)  # four marks, .1 s apart

    def test_a_line_at_the_wrong_speed_is_doubted(self) -> None:
        rng = np.random.default_rng(2)
        noise: list[bytes | None] = [rng.integers(0, 256, 300, dtype=np.uint8).tobytes() for _ in range(40)]
        live, clock, _ = exchange(noise)
        run(live, clock, 40)
        doubt = live.now().doubt
        assert doubt is not None
        assert "--baud" in doubt

    def test_the_check_from_the_hand_to_the_result(self) -> None:
        turn = stamps(6.0, 4, 0.5)
        quiet: list[bytes | None] = [b""] * 10
        live, _, _ = exchange([*stamps(1.0, 1), *quiet, *turn, *quiet], pace=0.5)
        live.begin_check()
        words = []
        for _ in range(25):
            live.step()
            check = live.now().check
            assert check is not None
            words.append(check.words)
        assert words[0].startswith("Seen")
        assert any(each.startswith("Turn the wheel") for each in words)
        assert words[-1] == "4 passes in one turn, 4 marks: every mark was seen once."


def _replaced(path: Path) -> None:
    path.with_suffix(".new").write_bytes(b"")
    path.with_suffix(".new").replace(path)


class TestAGrowingFile:
    def test_is_read_from_its_beginning_and_on_as_it_grows(self, tmp_path: Path) -> None:
        path, clock = tmp_path / "growing.txt", Hand()
        path.write_bytes(b"1000000\n1100000\n12000")
        live = Live(lambda: GrowingFile(path, nothing), marks=4, clock=clock, pause=nothing)
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 3)
        with path.open("ab") as file:
            file.write(b"00\n1300000\n")
        clock.time += 0.2
        run(live, clock, 2)
        live.stop()
        live.close()
        assert keeper.of(1) == [1.0, 1.1, 1.2, 1.3]

    @pytest.mark.parametrize("begin_anew", [lambda path: path.write_bytes(b""), _replaced])
    def test_begun_anew_is_a_new_segment(self, tmp_path: Path, begin_anew: Callable[[Path], object]) -> None:
        path, clock = tmp_path / "growing.txt", Hand()
        path.write_bytes(b"1000000\n1100000\n")
        live = Live(lambda: GrowingFile(path, nothing), marks=4, clock=clock, pause=nothing)
        keeper = Remembers()
        live.arm(keeper)
        run(live, clock, 2)
        begin_anew(path)
        run(live, clock, 2)
        with path.open("ab") as file:
            file.write(b"5000\n105000\n")
        run(live, clock, 3)
        live.stop()
        live.close()
        assert (keeper.of(1), keeper.of(2)) == ([1.0, 1.1], [0.005, 0.105])


class TestAFileOfPasses:
    def test_is_read_as_what_came(self, tmp_path: Path) -> None:
        keeper = FileKeeper(tmp_path / "run.csv", 4)
        live, clock, _ = exchange([*stamps(1.0, 30), GONE], stamps(0.5, 20))
        live.arm(keeper)
        run(live, clock, 60)
        live.stop()
        first, second = keeper.paths
        assert second.name == "run-2.csv"
        series = [read_recording(path).series for path in (first, second)]
        assert isinstance(series[0], Passes)
        assert isinstance(series[1], Passes)
        assert series[0].times == pytest.approx(1.0 + 0.1 * np.arange(30), abs=1e-9)
        assert series[1].times == pytest.approx(0.5 + 0.1 * np.arange(20), abs=1e-9)

    def test_keeps_the_index_mark(self, tmp_path: Path) -> None:
        keeper = FileKeeper(tmp_path / "run.csv", 4)
        passes = [Pass(0.1 * number, indexed=number % 4 == 0) for number in range(1, 13)]
        keeper.keep(1, passes, 6)
        series = read_recording(tmp_path / "run.csv").series
        assert isinstance(series, Passes)
        assert series.triggers is not None
        assert series.triggers == pytest.approx([0.4, 0.8, 1.2], abs=1e-9)


def test_what_came_live_reduces_to_the_drag_of_the_wheel(tmp_path: Path) -> None:
    """The wheel's own law is the outside value: .04 + .012 w + .0005 w^2 [rad/s^2]."""
    keeper = FileKeeper(tmp_path / "run.csv", 12)
    live, clock, (line,) = exchange([], pace=0.0)
    live.arm(keeper)
    for each in sensor_lines(np.random.default_rng(8)):
        clock.time = each.time + 0.01
        line.pieces.append(each.text)
        live.step()
    live.stop()
    drag = rundown(tmp_path / "run.csv", marks=12).document()["drag"]["curve"]
    held = [each for each in drag if 4.0 < each["speed"] < 13.0]
    assert len(held) > 3
    for each in held:
        true = 0.04 + 0.012 * each["speed"] + 0.0005 * each["speed"] ** 2
        assert each["value"] == pytest.approx(true, rel=0.01)  # 4 us of jitter, and a curve that is fitted


class Wall:
    """A clock on the wall that is moved by hand."""

    def __init__(self) -> None:
        self.time = datetime(2026, 3, 1, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.time

    def moves(self, seconds: float) -> None:
        """Let so much time go by."""
        self.time += timedelta(seconds=seconds)


@pytest.fixture
def wall() -> Wall:
    return Wall()


@pytest.fixture
def book(tmp_path: Path, wall: Wall) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "bench.notebook", clock=wall) as opened:
        yield opened


@pytest.fixture
def arc(book: Notebook) -> str:
    """Give a test with a sealed plan of twelve runs."""
    test = bench.open_test(book, "the rim arc", invented=True).id
    bench.seal_plan(book, test, REQUEST, book.head(test).digest, seed="a fixed seed of the tests")
    return test


class TestARunInTheNotebook:
    def test_gets_its_passes_as_its_recording(self, book: Notebook, arc: str) -> None:
        begun = begin_live_run(book, arc)
        live, clock, _ = exchange(stamps(1.0, 40))
        live.arm(RunKeeper(book, arc, begun.id))
        run(live, clock, 40)
        live.stop()
        entry = end_live_run(book, arc, begun, 4)
        assert entry is not None
        state = bench.state_of(book, arc)
        assert state.runs[0].counts
        assert state.runs[0].passes == pytest.approx(1.0 + 0.1 * np.arange(40), abs=1e-9)
        text = b"".join(read_file(book, entry.body["digest"])).decode()
        assert text.splitlines()[:3] == [
            "# passes as the sensor stamped them; 4 marks a turn",
            "time [s]",
            "1.000000",
        ]
        assert state.next_slot == 2

    def test_interrupted_keeps_its_passes_and_is_run_again(self, book: Notebook, arc: str) -> None:
        begun = begin_live_run(book, arc)
        live, clock, _ = exchange([*stamps(1.0, 30), GONE], stamps(0.5, 5))
        live.arm(RunKeeper(book, arc, begun.id))
        run(live, clock, 45)
        live.stop()
        assert end_live_run(book, arc, begun, 4) is None
        state = bench.state_of(book, arc)
        assert len(state.runs[0].passes) == 35
        assert state.runs[0].interrupted is not None
        assert state.runs[0].left_out is not None
        assert state.runs[0].seen is False
        assert state.next_slot == 1

    def test_that_a_kill_broke_off_keeps_its_pieces_and_is_run_again(
        self, book: Notebook, arc: str, wall: Wall
    ) -> None:
        begun = begin_live_run(book, arc)
        live, clock, _ = exchange(stamps(1.0, 40))
        live.arm(RunKeeper(book, arc, begun.id))
        run(live, clock, 20)  # and nothing after that, as if the power had gone
        kept = live.now().kept
        wall.moves(QUIET)
        again = begin_live_run(book, arc)
        first = bench.state_of(book, arc).runs[0]
        assert (again.slot, again.attempt) == (1, 2)
        assert len(first.passes) == kept > 0
        assert first.interrupted is not None
        assert begin_live_run(book, arc).id == again.id  # asked twice, nothing more happens

    @pytest.mark.parametrize("seconds", [0.0, QUIET - 1, 1 - QUIET])  # also by a clock that was put back
    def test_that_another_program_is_recording_is_not_declared_dead(
        self, book: Notebook, arc: str, wall: Wall, seconds: float
    ) -> None:
        begun = begin_live_run(book, arc)
        keeper = RunKeeper(book, arc, begun.id)
        keeper.keep(1, [Pass(1.0), Pass(1.5)], 6)
        wall.moves(seconds)
        with pytest.raises(PlanBroken, match="being recorded elsewhere"):
            begin_live_run(book, arc)
        keeper.keep(1, [Pass(2.0)], 6)
        assert end_live_run(book, arc, begun, 4) is not None
        assert [run.passes for run in bench.state_of(book, arc).runs] == [(1.0, 1.5, 2.0)]

    def test_that_was_begun_anew_meanwhile_says_so_at_its_end(self, book: Notebook, arc: str, wall: Wall) -> None:
        begun = begin_live_run(book, arc)
        live, clock, _ = exchange(stamps(1.0, 40))
        live.arm(RunKeeper(book, arc, begun.id))
        run(live, clock, 40)
        wall.moves(QUIET)  # the wheel lies still, and nobody has ended the run
        again = begin_live_run(book, arc)
        said = finish_run(book, arc, begun, live.stop(), 4)
        assert "the run was begun anew" in said
        assert bench.state_of(book, arc).open_run == again

    def test_two_keepers_at_once_are_no_recording(self, book: Notebook, arc: str) -> None:
        """Each was armed before the first pass; what they kept is two clocks in one list."""
        begun = [begin_live_run(book, arc) for _ in range(2)]
        for first, each in enumerate(begun):
            RunKeeper(book, arc, each.id).keep(1, [Pass(first + 0.5), Pass(first + 1.0)], 6)
        assert [end_live_run(book, arc, each, 4) for each in begun] == [None, None]
        state = bench.state_of(book, arc)
        assert (state.runs[0].recordings, state.runs[0].seen, state.next_slot) == ((), False, 1)
        assert str(state.runs[0].left_out).endswith("two programs kept passes of this run at once")

    def test_a_piece_that_is_sent_twice_stands_once(self, book: Notebook, arc: str) -> None:
        begun = begin_live_run(book, arc)
        keeper = RunKeeper(book, arc, begun.id)
        keeper.keep(1, [Pass(1.0), Pass(1.5)], 6)
        keeper.interrupted(1, "the plug")
        keeper.interrupted(1, "the plug")
        kinds = [entry.kind for entry in book.entries(arc)]
        assert kinds.count(Kind.INTERRUPTED) == 1


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals")
class TestARealLine:
    """A pseudo-terminal of the operating system, opened by the same library as a port."""

    def test_gives_what_the_made_up_sensor_printed(self) -> None:
        lines = sensor_lines(np.random.default_rng(4), marks=4, speed=40.0, index=True)[:60]
        fast = tuple(type(line)(0.0, line.text) for line in lines)
        gate = Hand()
        sensor = MadeUpSensor(fast[:0], gate)
        live = Live(lambda: SerialLine(sensor.name, 115200, nothing), marks=4, clock=gate, pause=nothing)
        sensor.send(b"".join(line.text for line in fast))
        keeper = Remembers()
        live.arm(keeper)
        troubles: list[TruerunError] = []
        for _ in range(200):
            live.step()
            if live.now().passes == len(lines) - 1:
                break
        assert [round(time * 1e6) for time in (live.stop(), keeper.of(1))[1]] == [
            int(line.text.split()[0]) for line in lines[1:]
        ]
        sensor.close()
        live.step()
        assert live.now().state is State.LOST
        with watched(live, troubles.append):
            pass
        assert troubles == []
