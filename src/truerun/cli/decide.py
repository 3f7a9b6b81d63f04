"""``truerun decide``: decide a test of the notebook."""

from __future__ import annotations

import os
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.parameters import json_option
from truerun.cli.publishing import Publishing, publishing_options
from truerun.cli.screen import show, show_json

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
    """
    publishing = Publishing.taken_from(saved)
    from truerun.workflow.bench import break_seal as broken
    from truerun.workflow.bench import find_test
    from truerun.workflow.deciding import decide

    with opened(notebook) as book:
        found = find_test(book, test)
        if break_seal is not None:
            broken(book, found, why=break_seal, head=book.head(found).digest)
        result = decide(book, found, workers=os.cpu_count() or 1)
    if as_json:
        show_json(result.json())
    else:
        show(result.summary())
    publishing.save(result)
    return 1 if result.stopped else 0
