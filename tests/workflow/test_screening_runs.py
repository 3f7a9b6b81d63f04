"""Runs of a screening and of a paper sheet in the notebook: each slot once, also where two write or one broke off."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from threading import Barrier, Thread

import pytest

from truerun.errors import PlanBroken, TruerunError, ValueOutOfRange
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.state import TestState
from truerun.workflow.bench import LONGEST_RUN, begin_run, open_test, seal_plan, start_session, state_of
from truerun.workflow.screening_runs import begin_screened, open_screening, record_screened, stop_screened
from truerun.workflow.sheets import type_in_sheet

VARIANTS = ("position 1", "position 2", "position 3", "position 4")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "bench.notebook") as opened:
        yield opened


@pytest.fixture
def places(book: Notebook) -> str:
    """Give a screening of four places, two rounds."""
    return open_screening(book, "places", VARIANTS, end="speed").id


def tries(state: TestState) -> list[tuple[int, int, float | None]]:
    """Give slot, attempt and time of every run."""
    return [(run.slot, run.attempt, run.seconds) for run in state.runs]


class TestARunOfAScreening:
    def test_that_two_send_at_once_is_one_run(self, book: Notebook, places: str) -> None:
        """Two writers meet at each slot: with a check and a write apart, both begin it in most of these meetings."""
        refused: list[str] = []
        for slot in range(1, 9):
            together = Barrier(2)

            def send(seconds: float, slot: int = slot, together: Barrier = together) -> None:
                together.wait()
                try:
                    record_screened(book, places, slot, seconds)
                except PlanBroken as error:
                    refused.append(str(error))

            writers = [Thread(target=send, args=(seconds,)) for seconds in (60.0, 61.0)]
            for each in writers:
                each.start()
            for each in writers:
                each.join()
        state = state_of(book, places)
        assert [run.slot for run in state.runs] == list(range(1, 9))
        assert len(refused) == 8

    def test_with_a_time_that_is_none_begins_nothing(self, book: Notebook, places: str) -> None:
        with pytest.raises(ValueOutOfRange, match="30 days"):
            record_screened(book, places, 1, 2 * LONGEST_RUN)
        assert not state_of(book, places).runs

    def test_that_broke_off_before_its_time_was_written_goes_on(self, book: Notebook, places: str) -> None:
        begin_screened(book, places, 1)
        record_screened(book, places, 1, 60.0)
        stop_screened(book, places, 2, "the string slipped")
        record_screened(book, places, 2, 61.0, sender="sent twice")
        record_screened(book, places, 2, 61.0, sender="sent twice")
        assert tries(state_of(book, places)) == [(1, 1, 60.0), (2, 1, None), (2, 2, 61.0)]


class TestASheet:
    @pytest.fixture
    def arc(self, book: Notebook) -> str:
        """Give a test with a sealed plan whose first run was begun in the browser and not ended."""
        test = open_test(book, "the rim arc").id
        request = {"claim": "It gains.", "source": "arc in", "control": "arc out", "end": "speed", "runs": 12}
        seal_plan(book, test, request, book.head(test).digest, seed="a fixed seed of the tests")
        start_session(book, test)
        begin_run(book, test)
        return test

    def sheet(self, tmp_path: Path, order: tuple[str, ...], runs: int) -> Path:
        """Write a filled-in sheet."""
        lines = [f"{slot},{order[slot - 1]},{60 + slot / 10}" for slot in range(1, runs + 1)]
        path = tmp_path / "sheet.csv"
        path.write_text("\n".join(["run,condition,time", *lines, ""]), encoding="utf-8")
        return path

    def test_gives_its_time_to_the_run_that_waits(self, book: Notebook, arc: str, tmp_path: Path) -> None:
        sheet = self.sheet(tmp_path, state_of(book, arc).order, 3)
        assert type_in_sheet(book, arc, sheet) == 3
        assert tries(state_of(book, arc)) == [(1, 1, 60.1), (2, 1, 60.2), (3, 1, 60.3)]
        assert type_in_sheet(book, arc, sheet) == 0

    def test_of_a_screening_does_so_too(self, book: Notebook, places: str, tmp_path: Path) -> None:
        begin_screened(book, places, 1)
        sheet = self.sheet(tmp_path, state_of(book, places).drawn, 2)
        assert type_in_sheet(book, places, sheet) == 2
        assert tries(state_of(book, places)) == [(1, 1, 60.1), (2, 1, 60.2)]
        assert type_in_sheet(book, places, sheet) == 0


def test_another_run_than_the_one_that_was_meant_is_not_begun(book: Notebook) -> None:
    test = open_test(book, "the rim arc").id
    request = {"claim": "It gains.", "source": "arc in", "control": "arc out", "end": "speed", "runs": 12}
    seal_plan(book, test, request, book.head(test).digest, seed="a fixed seed of the tests")
    with pytest.raises(TruerunError, match="Run 1 is next"):
        begin_run(book, test, slot=2)
    assert not state_of(book, test).runs
    assert begin_run(book, test, slot=1).slot == 1
