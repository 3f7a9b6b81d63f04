"""The check: a mark by hand, then one turn by hand."""

import math

import pytest

from truerun.sensing.capture import Pass
from truerun.sensing.check import CheckNow, SensorCheck, Step, turn_sentence
from truerun.sensing.speed import SpeedNow


def turned(marks: int, times: list[float], *, indexed: list[bool] | None = None) -> CheckNow:
    """Pass a magnet once, keep still, then turn."""
    check = SensorCheck(marks)
    check.note(Pass(0.0), 0.0)
    assert check.now(1.0).step is Step.PASS
    assert check.now(3.5).step is Step.TURN
    for number, time in enumerate(times):
        check.note(Pass(10 + time, None if indexed is None else indexed[number]), 10 + time)
    return check.now(10 + times[-1] + 100.0)


class TestOneTurnIsCounted:
    def test_every_mark_once_is_good(self) -> None:
        assert turned(12, [0.5 * number for number in range(12)]).good is True

    @pytest.mark.parametrize(
        ("passes", "word"), [(11, "1 not seen"), (24, "twice"), (13, "Turn once more"), (17, "5 too")]
    )
    def test_anything_else_is_not_and_says_why(self, passes: int, word: str) -> None:
        found = turned(12, [0.3 * number for number in range(passes)])
        assert found.good is False
        assert word in found.words

    def test_a_bounce_is_named(self) -> None:
        found = turned(3, [0.0, 0.0002, 1.0, 2.0])
        assert "1 came within 1 ms" in found.words

    def test_the_index_mark_ends_the_turn_however_far_the_hand_goes(self) -> None:
        indexed = [False, True, *[False] * 3, True, False]
        assert turned(4, [0.5 * number for number in range(7)], indexed=indexed).good is True

    def test_a_slow_hand_is_not_taken_for_a_stop(self) -> None:
        check = SensorCheck(3)
        check.note(Pass(0.0), 0.0)
        check.now(3.5)
        for time in (10.0, 12.5, 15.0):
            check.note(Pass(time), time)
        assert check.now(19.0).good is None  # 4 s of quiet, but marks came 2.5 s apart
        assert check.now(23.0).good is True

    def test_one_mark_is_said_in_the_singular(self) -> None:
        assert turn_sentence(1, 1)[1] == "1 pass in one turn, 1 mark: every mark was seen once."


class TestSpeedNow:
    def test_uneven_marks_do_not_make_it_flicker(self) -> None:
        speed = SpeedNow(3)
        found = []
        for turn in range(3):
            for angle in (0.0, 1.0, 4.0):
                speed.note((2 * math.pi * turn + angle) / 5.0)
                found.append(speed.value(0.0))
        assert found[3:] == pytest.approx([5.0] * 6, rel=1e-12)  # rounding

    def test_quiet_bounds_it_from_above(self) -> None:
        speed = SpeedNow(1)
        speed.note(0.0)
        assert speed.value(0.0) is None
        speed.note(1.0)
        assert speed.value(10.0) == pytest.approx(2 * math.pi / 10)
