"""``truerun new``: open a test in the notebook."""

from __future__ import annotations

from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened
from truerun.cli.parameters import FILE, SHARE
from truerun.cli.screen import say, show
from truerun.errors import PlanBroken

__all__ = ["command_line"]


@command(
    "new",
    'truerun new "the rim arc" --claim "The arc makes it gain." --plan my-test/plan.json',
    'truerun new "the rim arc" --plan-from request.toml',
)
@click.argument("name")
@click.option("--claim", metavar="WORDS", help="What is claimed, in the claimant's own words.")
@click.option("--against", metavar="WORDS", help="What would count against it.")
@click.option("--claimant", metavar="NAME", help="Who claims it.")
@click.option("--claimed", type=SHARE, help="Drive that is claimed, such as 5%.")
@click.option("--plan", type=FILE, help="The plan that truerun plan sealed.")
@click.option("--plan-from", type=FILE, metavar="FILE", help="A request as for truerun plan; it is sealed now.")
@click.option("--invented", is_flag=True, help="The test never takes place; every page then says so.")
@notebook_option
def command_line(
    name: str,
    *,
    claim: str | None,
    against: str | None,
    claimant: str | None,
    claimed: float | None,
    plan: Path | None,
    plan_from: Path | None,
    invented: bool,
    notebook: str | None,
) -> int:
    """Open a test called NAME; a notebook that is not there yet is made.

    The plan is sealed before the first run: here, or made with truerun plan and brought along. Next: truerun run.
    """
    if plan is not None and plan_from is not None:
        raise PlanBroken("A test has one plan", "both --plan and --plan-from were given", "Leave one of them out.")
    from truerun.workflow.bench import adopt_plan, open_test, seal_plan, write_claim

    with opened(notebook, make=True) as book:
        request = None
        if plan_from is not None:
            from truerun.workflow.request_files import read_plan_request

            request = read_plan_request(plan_from)
        test = open_test(book, name, invented=invented).id
        if claim is not None:
            write_claim(book, test, claim, against=against, by=claimant, claimed=claimed)
        if plan is not None:
            show(f"Sealed: {adopt_plan(book, test, plan, book.head(test).digest).seal.code}")
        if request is not None:
            show(seal_plan(book, test, request, book.head(test).digest).summary())
        number = next(row.number for row in book.tests() if row.id == test)
    show(f'Test {number} "{name}" is open in {book.place}.')
    say("Next: truerun run" if plan or plan_from else "Next: truerun plan, then truerun new with --plan")
    return 0
