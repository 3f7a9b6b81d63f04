"""Tests that belong to another one, where the program was killed between two of their writes.

The outside is the same opening with nothing cut short: however many writes came through before, a second call must
leave the same entries, in one test.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.made_tests import screening
from truerun.notebook.entries import Entry, Kind
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.trial.plan import Role
from truerun.workflow.bench import open_test, seal_plan, write_claim
from truerun.workflow.linking import open_linked
from truerun.workflow.screening_runs import open_fresh_test

REQUEST = {"source": "arc in", "control": "arc out", "end": "speed", "spread": 0.0154}

SEED = "a seed for what is cut short"

WRITES = 5
"""The test, its link, its note, its claim, its draft."""


class Killed(BaseException):
    """The program ends here."""


def asked_before(book: Notebook) -> Callable[[], str]:
    """Seal a test, and give what opens a control of it."""
    main = open_test(book, "The rim arc", invented=True).id
    write_claim(book, main, "It gains.")
    seal_plan(book, main, REQUEST, book.head(main).digest, seed=SEED)
    return lambda: open_linked(book, main, "Dummy: The rim arc", role=Role.DUMMY).id


def screened_before(book: Notebook) -> Callable[[], str]:
    """Finish a screening, and give what opens its fresh test."""
    test = screening(book, "places", 24, better=0.1)
    return lambda: open_fresh_test(book, test).id


def every_entry(book: Notebook) -> list[list[tuple[Kind, list[str], object]]]:
    """Give kind, keys and words of every entry of every test."""
    return [
        [(each.kind, sorted(each.body), each.body.get("words")) for each in book.entries(row.id)]
        for row in book.tests()
    ]


@pytest.mark.parametrize("before", [asked_before, screened_before])
class TestAnOpeningThatWasCutShort:
    @pytest.mark.parametrize("came_through", range(WRITES))
    def test_is_finished_by_the_next_call(
        self,
        tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch,
        before: Callable[[Notebook], Callable[[], str]],
        came_through: int,
    ) -> None:
        with open_notebook(tmp_path / "whole.notebook") as whole, open_notebook(tmp_path / "cut.notebook") as cut:
            before(whole)()
            again = before(cut)
            with monkeypatch.context() as patched:
                _kill_after(patched, came_through)
                with pytest.raises(Killed):
                    again()
            finished = again()
            assert finished == cut.tests()[-1].id
            assert every_entry(cut) == every_entry(whole)

    def test_another_one_in_the_same_words_is_opened_once_the_first_is_planned(
        self, tmp_path: Path, before: Callable[[Notebook], Callable[[], str]]
    ) -> None:
        with open_notebook(tmp_path / "bench.notebook") as book:
            again = before(book)
            made = {again(), again()}
            assert len(made) == (1 if before is screened_before else 2)


def _kill_after(patched: pytest.MonkeyPatch, writes: int) -> None:
    """End the program at the write after so many."""
    left = [writes]

    def counted(write: Callable[..., Entry]) -> Callable[..., Entry]:
        def one(book: Notebook, *given: Any, **more: Any) -> Entry:
            if not left[0]:
                raise Killed
            left[0] -= 1
            return write(book, *given, **more)

        return one

    patched.setattr(Notebook, "append", counted(Notebook.append))
    patched.setattr(Notebook, "open_test", counted(Notebook.open_test))
