"""The options by which commands find their notebook and the test in it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from truerun.cli.screen import say

if TYPE_CHECKING:
    from truerun.notebook.ledger import Notebook

__all__ = ["notebook_option", "opened", "test_argument"]

USUAL = "truerun.notebook"
VARIABLE = "TRUERUN_NOTEBOOK"


def notebook_option(function: Callable[..., int]) -> Callable[..., int]:
    """Add the option ``--notebook``."""
    return click.option(
        "--notebook",
        metavar="FILE",
        help=f"The notebook: a file, or postgresql://... where several share one; {USUAL} here, or ${VARIABLE}.",
    )(function)


def test_argument(function: Callable[..., int]) -> Callable[..., int]:
    """Add the argument that names a test."""
    return click.argument("test", required=False)(function)


@contextmanager
def opened(place: str | None, *, make: bool = False) -> Iterator[Notebook]:
    """Open the notebook that was named; what opening noticed is said."""
    from truerun.notebook.ledger import open_notebook

    with open_notebook(place or os.environ.get(VARIABLE) or USUAL, make=make) as notebook:
        for found in notebook.findings:
            if found.severity.value != "note":
                say(f"Mind this: {found.sentence} {found.remedy or ''}".rstrip())
        yield notebook
