"""``truerun bundle``: a test as one file for strangers."""

from __future__ import annotations

from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.parameters import FILE
from truerun.cli.screen import show

__all__ = ["command_line"]


@command("bundle", "truerun bundle --out arc.zip", 'truerun bundle "the rim arc" --out arc.zip')
@test_argument
@click.option("--out", type=FILE, required=True, metavar="FILE", help="Where to write the zip; never over a file.")
@notebook_option
def command_line(test: str | None, *, out: Path, notebook: str | None) -> int:
    """Write TEST as one zip that opens without truerun: logbook, recordings, runs, report, and how to check them.

    Give the number and fingerprint of its last line to somebody else: a chain that only you hold proves no date.
    """
    from truerun.trial.seal import spoken_code
    from truerun.workflow.bench import find_test
    from truerun.workflow.bundles import bundle

    with opened(notebook) as book:
        made = bundle(book, find_test(book, test), out)
    show(f"Written: {made.path}\nSHA-256 of the file: {made.sha256}")
    show(f"Last line: {made.count}, fingerprint {made.head}\nTo read aloud: {spoken_code(made.head)}")
    return 0
