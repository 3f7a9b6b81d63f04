"""``truerun import``: a test from a bundle into the notebook."""

from __future__ import annotations

from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened
from truerun.cli.parameters import FILE
from truerun.cli.screen import show

__all__ = ["command_line"]


@command("import", "truerun import arc.zip")
@click.argument("bundle", type=FILE)
@notebook_option
def command_line(bundle: Path, *, notebook: str | None) -> int:
    """Take a test over from BUNDLE, every line with its bytes, after checking all of it."""
    from truerun.workflow.bench import state_of
    from truerun.workflow.bundles import import_bundle

    with opened(notebook, make=True) as book:
        test = import_bundle(book, bundle)
        state = state_of(book, test)
        show(f'"{state.name}" is in {book.place}: {state.head.count} lines, checked.')
    return 0
