"""``truerun decide``: decide a test of the notebook."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.parameters import json_option
from truerun.cli.publishing import Publishing, publishing_options
from truerun.cli.screen import say, show, show_json

if TYPE_CHECKING:
    from datetime import datetime

    from truerun.charts.drawing import Drawing
    from truerun.notebook.ledger import Notebook
    from truerun.workflow.comparing import ComparisonResult
    from truerun.workflow.screening import ScreeningResult

__all__ = ["command_line"]


@command("decide", "truerun decide", 'truerun decide "the rim arc" --report report.html')
@test_argument
@click.option(
    "--break-seal", metavar="WHY", help="Look before the last planned run; only the running bet then decides."
)
@notebook_option
@publishing_options
@json_option
def command_line(test: str | None, *, break_seal: str | None, notebook: str | None, as_json: bool, **saved: Any) -> int:
    """Decide TEST by its sealed plan: its number, id or name; the only one if not said.

    Before the last planned run there are counts only. Breaking the seal is a line in the logbook.

    Of a screening it says what is worth a test of its own, or that nothing is; a screening decides nothing.
    """
    publishing = Publishing.taken_from(saved)
    from truerun.workflow.bench import break_seal as broken
    from truerun.workflow.bench import find_test, state_of

    with opened(notebook) as book:
        found = find_test(book, test)
        if break_seal is not None:
            broken(book, found, why=break_seal, head=book.head(found).digest)
        result, following = _decided(book, found)
        invented = publishing.invented or state_of(book, found).invented
        if as_json:
            show_json(result.json())
        else:
            show(result.summary())
        replace(publishing, invented=invented).save(_Page(book, found, result))
    if following:
        say(f"\nNext: {following}")
    return 1 if result.stopped else 0


@dataclass(frozen=True, slots=True)
class _Page:
    """A result whose page holds what the notebook knows beside the runs, and is kept there; that of a screening not."""

    book: Notebook
    test: str
    result: ComparisonResult | ScreeningResult

    def report(self, *, made: datetime | None = None, invented: bool = False) -> str:
        from truerun.workflow.comparing import ComparisonResult
        from truerun.workflow.deciding import report

        if not isinstance(self.result, ComparisonResult):
            return self.result.report(made=made, invented=invented)
        workers = os.cpu_count() or 1
        return report(self.book, self.test, decided=self.result, workers=workers, made=made, invented=invented)

    def drawings(self) -> tuple[Drawing, ...]:
        return self.result.drawings()


def _decided(book: Notebook, test: str) -> tuple[ComparisonResult | ScreeningResult, str]:
    """Decide a test, or say what a screening shows; and what comes next, where something does."""
    from truerun.workflow.bench import state_of
    from truerun.workflow.deciding import decide
    from truerun.workflow.screening_runs import screened

    state = state_of(book, test)
    if state.screening is None:
        return decide(book, test, workers=os.cpu_count() or 1), ""
    result = screened(state)
    return result, f'truerun new --fresh "{state.name}"' if result.candidate else ""
