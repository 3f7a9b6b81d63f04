"""Lines cut anywhere, garbled, or at the wrong speed: passes are those that a clean line would have given."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truerun.sensing.capture import Capture, Pass
from truerun.sensing.counter import Arrival
from truerun.sensing.lines import Clockwork, parse_stamp

STAMPS = [1_000_000 + 40_000 * number + 37 * number**2 for number in range(50)]


def fed(reader: Capture, lines: list[bytes]) -> list[Pass]:
    """Feed lines one by one, each when its stamp says."""
    found: list[Pass] = []
    for number, line in enumerate(lines):
        time = STAMPS[min(number, 49)] * 1e-6
        found += reader.feed(line, Arrival(time, time + 0.02)).passes
    return found


def lines_of(stamps: list[int], more: str = "") -> list[bytes]:
    return [f"{stamp}{more}\r\n".encode() for stamp in stamps]


class TestALineMayBeCutAnywhere:
    @settings(max_examples=60, deadline=None)
    @given(st.lists(st.integers(1, 40), min_size=1, max_size=60))
    def test_the_pieces_give_the_same_passes(self, sizes: list[int]) -> None:
        text = b"".join(lines_of(STAMPS))
        reader, place = Capture(mid_line=False), 0
        found: list[Pass] = []
        for number in range(10_000):
            if place >= len(text):
                break
            size = sizes[number % len(sizes)]
            found += reader.feed(text[place : place + size], Arrival(float("-inf"), 0.0)).passes
            place += size
        assert [round(each.time * 1e6) for each in found] == STAMPS

    def test_a_first_half_line_is_not_believed(self) -> None:
        lines = lines_of(STAMPS)
        reader = Capture(mid_line=True)
        found = fed(reader, [lines[0][3:], *lines[1:]])
        assert [round(each.time * 1e6) for each in found] == STAMPS[1:]
        assert reader.unreadable == 0

    def test_after_a_moment_of_quiet_the_first_line_is_a_whole_one(self) -> None:
        reader = Capture(mid_line=True)
        reader.feed(b"", Arrival(0.9, 0.95))
        assert len(fed(reader, lines_of(STAMPS[:3]))) == 3

    def test_quiet_inside_a_first_half_line_does_not_make_it_whole(self) -> None:
        reader = Capture(mid_line=True)
        assert [reader.feed(data, Arrival(0.9, 1.0)).passes for data in (b"45", b"", b"67\n")] == [(), (), ()]


class TestWhatIsNoStampCostsOnlyItself:
    @pytest.mark.parametrize(
        "bad", [b"12x4567\r\n", b"\xff\x00\xfe\r\n", b"-5\r\n", b"1e6\r\n", b"1 2\r\n", b"1,2,3\n"]
    )
    def test_garbage_is_counted_and_left_out(self, bad: bytes) -> None:
        lines = lines_of(STAMPS)
        reader = Capture(mid_line=False)
        found = fed(reader, [*lines[:20], bad, *lines[21:]])
        assert [round(each.time * 1e6) for each in found] == STAMPS[:20] + STAMPS[21:]
        assert reader.unreadable == 1

    @pytest.mark.parametrize("wrong", [STAMPS[20] + 900_000_000, STAMPS[20] // 100, 7])
    def test_one_wrong_number_is_not_taken_for_a_sensor_that_started_again(self, wrong: int) -> None:
        stamps = STAMPS.copy()
        stamps[20] = wrong
        reader = Capture(mid_line=False)
        found = fed(reader, lines_of(stamps))
        assert [round(each.time * 1e6) for each in found] == STAMPS[:20] + STAMPS[21:]
        assert reader.unreadable == 1

    def test_remarks_and_empty_lines_are_not_even_counted(self) -> None:
        reader = Capture(mid_line=False)
        found = fed(reader, [b"# hello\n", b"\r\n", *lines_of(STAMPS[:3])])
        assert (len(found), reader.unreadable) == (3, 0)


class TestALineAtTheWrongSpeed:
    def test_is_noticed_and_gives_no_pass(self) -> None:
        rng = np.random.default_rng(5)
        reader = Capture()
        noise = rng.integers(128, 256, 20_000, dtype=np.uint8).tobytes()
        found = [reader.feed(noise[at : at + 100], Arrival(0.0, 1.0)).passes for at in range(0, 20_000, 100)]
        assert not any(found)
        assert reader.mostly_unreadable

    def test_a_few_bad_lines_are_not_taken_for_it(self) -> None:
        reader = Capture(mid_line=False)
        fed(reader, [*lines_of(STAMPS[:40]), *[b"?\n"] * 5])
        assert not reader.mostly_unreadable


class TestASensorThatStartsAgain:
    def test_is_told_from_the_second_line_on_and_no_pass_is_lost(self) -> None:
        reader = Capture(mid_line=False)
        fed(reader, lines_of(STAMPS[:20]))
        time = STAMPS[20] * 1e-6
        first = reader.feed(b"5000\n", Arrival(time, time + 0.02))
        second = reader.feed(b"45000\n", Arrival(time + 0.04, time + 0.06))
        assert first.passes == ()
        assert [each.time for each in second.passes] == [0.005, 0.045]
        assert second.restarted == 0


class TestWhatALineMaySay:
    def test_the_index_mark(self) -> None:
        reader = Capture(mid_line=False)
        found = reader.feed(b"1000000 1\n1040000 0\n", Arrival(0.0, 0.1)).passes
        assert found == (Pass(1.0, indexed=True), Pass(1.04, indexed=False))

    def test_seconds(self) -> None:
        reader = Capture(mid_line=False)
        found = reader.feed(b"12.345678\n12.445678\n", Arrival(0.0, 0.2)).passes
        assert [each.time for each in found] == pytest.approx([12.345678, 12.445678], abs=1e-9)
        assert reader.places == 6

    def test_how_it_counts(self) -> None:
        reader = Capture(mid_line=False)
        found = reader.feed(b"# 1000 ticks/s, 16 bits\n65500\n20\n", Arrival(0.0, 0.1)).passes
        assert [each.time for each in found] == [65.5, 65.556]
        assert reader.clockwork == Clockwork(1000, 16)

    @given(st.binary(max_size=30))
    def test_no_bytes_are_refused_with_an_error(self, line: bytes) -> None:
        stamp = parse_stamp(line)
        assert stamp is None or stamp.value >= 0
