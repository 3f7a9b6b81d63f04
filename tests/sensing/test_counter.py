"""Counters that start again from 0, against whole-number arithmetic without any limit."""

import numpy as np
import pytest

from truerun.errors import ValueOutOfRange
from truerun.sensing.counter import Arrival, following_ticks, require_clockwork
from truerun.sensing.lines import Clockwork

NEVER = float("-inf")


def followed(true_ticks: list[int], clockwork: Clockwork, late: list[float], read_for: float = 0.05) -> list[int]:
    """Count on along the counter, each line having arrived some time after its pass."""
    found, arrivals = [true_ticks[0]], []
    for ticks, more in zip(true_ticks, late, strict=True):
        read = ticks / clockwork.rate + more
        arrivals.append(Arrival(read - read_for, read))
    for number in range(1, len(true_ticks)):
        raw = true_ticks[number] % 2**clockwork.bits
        following = following_ticks(found[-1], raw, clockwork, (arrivals[number - 1], arrivals[number]))
        assert following is not None
        found.append(following)
    return found


class TestACounterThatStartsAgainGoesOn:
    @pytest.mark.parametrize(
        ("clockwork", "seconds"),
        [
            (Clockwork(1_000_000, 32), 9000.0),  # back at 0 every 71.6 min
            (Clockwork(15_625, 16), 600.0),  # a 16 MHz clock divided by 1024: every 4.2 s
            (Clockwork(1000, 16), 600.0),
        ],
    )
    def test_through_every_start_from_nought(self, clockwork: Clockwork, seconds: float) -> None:
        rng = np.random.default_rng(17)
        steps = rng.uniform(0.01, 3.0 if clockwork.bits == 16 else 60.0, 400)  # the longest skip no start unseen
        true = [int(each * clockwork.rate) for each in np.cumsum(steps) if each < seconds]
        late = rng.uniform(0.0, 0.2, len(true)).tolist()
        assert true[-1] > 2**clockwork.bits
        assert followed(true, clockwork, late) == true

    def test_starts_that_nobody_saw_are_counted_by_the_time_that_went_by(self) -> None:
        clockwork = Clockwork(15_625, 16)
        true = [1000, 1000 + 15_625 * 60]  # a minute: fourteen starts without a pass
        assert followed(true, clockwork, [0.01, 0.02]) == true

    def test_a_reading_computer_that_slept_does_not_add_starts(self) -> None:
        clockwork = Clockwork(15_625, 16)
        then, woken = Arrival(0.0, 0.05), Arrival(0.05, 30.0)  # all lines of half a minute in one reading
        assert following_ticks(100, 9000, clockwork, (then, woken)) == 9000

    def test_a_file_that_was_there_before_goes_on_where_the_step_fits_those_before(self) -> None:
        there = (Arrival(NEVER, 0.0), Arrival(NEVER, 0.0))
        assert following_ticks(2**32 - 100, 100_000, Clockwork(), there, 0.1) == 2**32 + 100_000


class TestASensorThatStartedAgainIsNoCounterThatWentRound:
    def test_ticks_that_fit_no_time_are_refused(self) -> None:
        then, now = Arrival(99.9, 100.0), Arrival(100.4, 100.5)
        assert following_ticks(90_000_000, 400_000, Clockwork(), (then, now)) is None

    def test_so_is_a_number_beyond_the_counter(self) -> None:
        then, now = Arrival(0.0, 0.1), Arrival(0.1, 0.2)
        assert following_ticks(65_000, 65_536, Clockwork(1000, 16), (then, now)) is None

    def test_and_in_a_file_a_fall_far_from_the_end_of_the_counter(self) -> None:
        there = (Arrival(NEVER, 0.0), Arrival(NEVER, 0.0))
        assert following_ticks(90_000_000, 400_000, Clockwork(), there, 0.1) is None


def test_a_counter_that_is_round_in_less_than_a_second_is_refused() -> None:
    with pytest.raises(ValueOutOfRange, match=r"every 0\.0655 s"):
        require_clockwork(Clockwork(1_000_000, 16))
