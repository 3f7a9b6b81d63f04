"""``truerun run`` beside another watch of the same run: the first time that comes in counts, and it is said."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.cli.conftest import Called
from tests.web.made_tests import opened, sealed
from truerun.cli import questions
from truerun.cli import run as run_command
from truerun.notebook.ledger import open_notebook
from truerun.workflow.bench import begin_run, start_clock, state_of, stop_clock


class Keys(io.StringIO):
    """Somebody at the keys, who does what else is to happen between two lines."""

    def __init__(self, lines: Iterator[str]) -> None:
        super().__init__()
        self.lines = lines

    def readline(self, size: int | None = -1, /) -> str:  # type: ignore[override]  # typeshed has two bases differ
        """Give the next line."""
        del size
        return f"{next(self.lines)}\n"


@pytest.fixture
def sits(monkeypatch: pytest.MonkeyPatch) -> Callable[[Iterator[str]], None]:
    """Sit at a terminal."""

    def down(lines: Iterator[str]) -> None:
        for module in (questions, run_command):
            monkeypatch.setattr(module, "on_terminal", lambda: True)
        monkeypatch.setattr(sys, "stdin", Keys(lines))

    return down


@pytest.fixture
def test_id(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give a test that is ready for its first run, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    with open_notebook(tmp_path / "truerun.notebook") as book:
        test = opened(book)
        sealed(book, test)
    return test


def test_a_time_that_came_in_from_another_watch_stands_and_is_said(
    tmp_path: Path, test_id: str, call: Called, sits: Callable[[Iterator[str]], None]
) -> None:
    def lines() -> Iterator[str]:
        yield "n"  # no new sitting
        yield ""  # let go
        with open_notebook(tmp_path / "truerun.notebook") as browser:
            stop_clock(browser, test_id, begin_run(browser, test_id, slot=1).id, 61.2)
        yield ""  # stopped
        yield "y"  # all was well

    sits(lines())
    code, _, err = call("run")
    assert code != 0
    assert "Run 1 has one time" in err
    with open_notebook(tmp_path / "truerun.notebook") as book:
        state = state_of(book, test_id)
    assert [run.seconds for run in state.runs] == [61.2]


def test_a_watch_that_was_started_before_is_said(
    tmp_path: Path, test_id: str, call: Called, sits: Callable[[Iterator[str]], None]
) -> None:
    with open_notebook(tmp_path / "truerun.notebook") as browser:
        start_clock(browser, test_id, begin_run(browser, test_id).id, 5.0)
    sits(iter(("n", "", "", "y", "n")))
    code, _, err = call("run")
    assert code == 0
    assert "A watch was started for this run before." in err
