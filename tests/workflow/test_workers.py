"""Work in pieces: the same results in one process or several, and nothing left behind."""

import multiprocessing
import os
from collections.abc import Iterator
from copy import copy

import pytest

from truerun.errors import (
    ChoiceNeeded,
    FitImpossible,
    LedgerBroken,
    RecordingUnreadable,
    TruerunError,
    ValueOutOfRange,
)
from truerun.workflow.workers import worked


def halved(number: int) -> float:
    return number / 2


def done_where(number: int) -> tuple[int, int]:
    return os.getpid(), number


def done_at_home_only(home: int, number: int) -> int:
    """Die as if killed from outside, wherever it is not at home."""
    if os.getpid() != home:
        os._exit(9)
    return number


@pytest.fixture(autouse=True)
def _nobody_is_left_behind() -> Iterator[None]:
    before = multiprocessing.active_children()
    yield
    assert multiprocessing.active_children() == before


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_every_piece_gives_its_result_once(workers: int) -> None:
    found = list(worked(halved, [(number,) for number in range(5)], workers=workers))
    assert sorted(found) == [(0, 0.0), (1, 0.5), (2, 1.0), (3, 1.5), (4, 2.0)]


def test_several_processes_share_the_work() -> None:
    done = [each for _, each in worked(done_where, [(number,) for number in range(20)], workers=2)]
    assert sorted(number for _, number in done) == list(range(20))
    assert os.getpid() not in {process for process, _ in done}


def test_no_pieces_give_no_results() -> None:
    assert list(worked(halved, [], workers=2)) == []


def test_a_worker_killed_from_outside_does_not_spoil_the_work() -> None:
    pieces = [(os.getpid(), number) for number in range(4)]
    assert sorted(worked(done_at_home_only, pieces, workers=2)) == [(number, number) for number in range(4)]


@pytest.mark.parametrize("workers", [1, 2])
def test_what_a_piece_raises_is_raised_here(workers: int) -> None:
    with pytest.raises(ZeroDivisionError):
        list(worked(divmod, [(1, 0), (1, 0)], workers=workers))


@pytest.mark.parametrize(
    "error",
    [
        ValueOutOfRange("gap", "-2 mm", "positive", "Give the distance between the faces."),
        RecordingUnreadable("times.csv", "line 7", "the time is missing."),
        ChoiceNeeded("The control", ("arc in", "arc out"), "Name it."),
        FitImpossible("Too little."),
        LedgerBroken(17, "a", "b"),
    ],
    ids=lambda error: error.slug,
)
def test_a_refusal_comes_over_from_another_process_as_it_was(error: TruerunError) -> None:
    found = copy(error)  # made again by the same recipe that another process uses
    assert (type(found), str(found), vars(found)) == (type(error), str(error), vars(error))


def refuse_elsewhere(home: int) -> None:
    where = "here" if os.getpid() == home else "elsewhere"
    raise RecordingUnreadable("times.csv", where, "the time is missing.")


def test_a_refusal_in_another_process_does_not_send_the_work_home() -> None:
    with pytest.raises(RecordingUnreadable, match="elsewhere"):
        list(worked(refuse_elsewhere, [(os.getpid(),), (os.getpid(),)], workers=2))


@pytest.mark.parametrize("workers", [1, 2])
def test_broken_off_it_keeps_what_was_done(workers: int) -> None:
    done: list[int] = []
    for place, _ in worked(
        halved, [(number,) for number in range(50)], workers=workers, cancelled=lambda: len(done) > 2
    ):
        done.append(place)
    assert len(set(done)) == 3


@pytest.mark.parametrize("workers", [1, 2])
def test_broken_off_from_the_start_it_does_nothing(workers: int) -> None:
    assert list(worked(halved, [(1,), (2,)], workers=workers, cancelled=lambda: True)) == []


@pytest.mark.parametrize("workers", [1, 2])
def test_whoever_stops_listening_ends_the_work(workers: int) -> None:
    for _ in worked(halved, [(number,) for number in range(50)], workers=workers):
        break
