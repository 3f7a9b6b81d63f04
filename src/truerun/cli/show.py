"""``truerun show``: what stands in the notebook."""

from __future__ import annotations

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.parameters import WHOLE, json_option
from truerun.cli.screen import show, show_json
from truerun.report.json_text import json_text

__all__ = ["command_line"]


@command("show", "truerun show", 'truerun show "the rim arc"', "truerun show 1 --lines 20")
@test_argument
@click.option("--lines", type=WHOLE, metavar="N", help="Also the last N lines of the logbook.")
@notebook_option
@json_option
def command_line(test: str | None, *, lines: int | None, notebook: str | None, as_json: bool) -> int:
    """Show the tests of the notebook, or what stands in TEST: its number, id or name.

    Before the last planned run no time stands beside its condition.
    """
    from truerun.workflow.showing import notebook_document, notebook_text, state_document, state_text

    with opened(notebook) as book:
        if test is None:
            show_json(json_text(notebook_document(book))) if as_json else show(notebook_text(book))
            return 0
        from truerun.workflow.bench import find_test

        found = find_test(book, test)
        if as_json:
            show_json(json_text(state_document(book, found)))
            return 0
        show(state_text(book, found))
        if lines:
            from truerun.workflow.entry_wording import logbook_text

            show("\n" + logbook_text(book, found, lines))
    return 0
