"""``truerun pool``: several finished tests of one claim together."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from truerun.cli.group import command
from truerun.cli.parameters import FILE, json_option
from truerun.cli.publishing import Publishing, publishing_options
from truerun.cli.screen import show, show_json
from truerun.errors import ValueOutOfRange

__all__ = ["command_line"]


@command(
    "pool",
    "truerun pool first-test second-test third-test",
    "truerun pool first-test --test other-sheet.csv other-plan.json",
    "truerun pool first-test second-test third-test --report together.html --pictures pictures",
)
@click.argument("folders", type=FILE, nargs=-1)
@click.option(
    "--test",
    "pairs",
    type=FILE,
    nargs=2,
    multiple=True,
    metavar="TABLE PLAN",
    help="A test by its table and its sealed plan; may be repeated.",
)
@publishing_options
@json_option
def command_line(
    folders: tuple[Path, ...], *, pairs: tuple[tuple[Path, Path], ...], as_json: bool, **options: Any
) -> int:
    """Put finished tests of one claim together.

    Each of the FOLDERS holds a test as truerun plan --out wrote it: plan.json, and run-sheet.csv filled in. Two tests
    are shown side by side. From three on they are pooled, and the tests' spread widens the span. Bring every test of
    the claim, also those that found nothing.
    """
    if len(folders) + len(pairs) < 2:
        raise ValueOutOfRange("The number of tests", len(folders) + len(pairs), "at least 2", "Name their folders.")
    publishing = Publishing.taken_from(options)
    from truerun.workflow.pooling import pool

    result = pool(*folders, *pairs)
    if as_json:
        show_json(result.json())
    else:
        show(result.summary())
    publishing.save(result)
    return 1 if result.stopped else 0
