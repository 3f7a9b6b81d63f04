"""``truerun new``: open a test in the notebook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened
from truerun.cli.parameters import ENDS, FILE, SHARE, WHOLE, given_options
from truerun.cli.screen import say, show
from truerun.cli.screened import open_fresh, open_listed
from truerun.errors import PlanBroken, ValueOutOfRange

if TYPE_CHECKING:
    from truerun.notebook.ledger import Notebook

__all__ = ["command_line"]

_OF_A_TEST = ("claim", "against", "claimant", "claimed", "plan", "plan_from", "invented")
_OF_A_SCREENING = ("repeats", "end", "control", "looking_for", "invented")


@command(
    "new",
    'truerun new "the rim arc" --claim "The arc makes it gain." --plan my-test/plan.json',
    'truerun new "the rim arc" --plan-from request.toml',
    'truerun new "round the clock" --screening places.txt --end speed',
    'truerun new --fresh "round the clock"',
)
@click.argument("name", required=False)
@click.option("--claim", metavar="WORDS", help="What is claimed, in the claimant's own words.")
@click.option("--against", metavar="WORDS", help="What would count against it.")
@click.option("--claimant", metavar="NAME", help="Who claims it.")
@click.option("--claimed", type=SHARE, help="Drive that is claimed, such as 5%.")
@click.option("--plan", type=FILE, help="The plan that truerun plan sealed.")
@click.option("--plan-from", type=FILE, metavar="FILE", help="A request as for truerun plan; it is sealed now.")
@click.option("--screening", type=FILE, metavar="FILE", help="Screen many variants: a text with one a line.")
@click.option("--repeats", type=WHOLE, metavar="N", help="With --screening: runs of each variant; 2 if not said.")
@click.option("--end", type=ENDS, help="With --screening: what ends the timing of a run.")
@click.option("--control", metavar="NAME", help="With --screening: the variant that is the control, if there is one.")
@click.option("--looking-for", metavar="WORDS", help="With --screening: what is looked for.")
@click.option("--fresh", metavar="TEST", help="Open the fresh test of what this finished screening found.")
@click.option("--variant", metavar="NAME", help="With --fresh: another variant than the one that was found.")
@click.option("--invented", is_flag=True, help="The test never takes place; every page then says so.")
@notebook_option
def command_line(
    name: str | None, *, screening: Path | None, fresh: str | None, notebook: str | None, **options: Any
) -> int:
    """Open a test called NAME; a notebook that is not there yet is made.

    The plan is sealed before the first run: here, or made with truerun plan and brought along. Next: truerun run.

    A screening of many variants is drawn and sealed at once. When its runs are done, truerun decide names what is
    worth a test, and the fresh test begins with --fresh: it has its own name, claim, plan and runs.
    """
    given = given_options(options)
    if fresh is not None:
        _require_only(given | given_options({"NAME": name, "screening": screening}), ("variant",), "--fresh")
        with opened(notebook) as book:
            _fresh(book, fresh, given.get("variant"))
        return 0
    if name is None:
        raise ValueOutOfRange("The name of the test", "not said", "a few words", "Write what people call it.")
    allowed = _OF_A_TEST if screening is None else _OF_A_SCREENING
    _require_only(given, allowed, "a test" if screening is None else "--screening")
    with opened(notebook, make=True) as book:
        if screening is None:
            _test(book, name, given)
        else:
            open_listed(book, name, screening, given)
    return 0


def _require_only(given: dict[str, Any], allowed: tuple[str, ...], what: str) -> None:
    """Refuse what belongs to another kind of test."""
    other = next((name for name in given if name not in allowed), None)
    if other is not None:
        said = other if other.isupper() else f"--{other.replace('_', '-')}"
        raise PlanBroken(f"Not everything goes with {what}", f"{said} was given too", f"Leave out {said}.")


def _fresh(book: Notebook, said: str, variant: str | None) -> None:
    """Open the fresh test of the screening that was named."""
    from truerun.workflow.bench import find_test

    open_fresh(book, find_test(book, said), variant)


def _test(book: Notebook, name: str, given: dict[str, Any]) -> None:
    """Open a test, with claim and plan where they were given."""
    if "plan" in given and "plan_from" in given:
        raise PlanBroken("A test has one plan", "both --plan and --plan-from were given", "Leave one of them out.")
    from truerun.workflow.bench import adopt_plan, open_test, seal_plan, write_claim
    from truerun.workflow.request_files import read_plan_request

    request = read_plan_request(given["plan_from"]) if "plan_from" in given else None
    test = open_test(book, name, invented=given.get("invented", False)).id
    if "claim" in given:
        said = {"against": given.get("against"), "by": given.get("claimant"), "claimed": given.get("claimed")}
        write_claim(book, test, given["claim"], **said)
    if "plan" in given:
        show(f"Sealed: {adopt_plan(book, test, given['plan'], book.head(test).digest).seal.code}")
    if request is not None:
        show(seal_plan(book, test, request, book.head(test).digest).summary())
    number = next(row.number for row in book.tests() if row.id == test)
    show(f'Test {number} "{name}" is open in {book.place}.')
    sealed = "plan" in given or request is not None
    say("Next: truerun run" if sealed else f"Next: truerun plan, then truerun amend {number} --seal --plan plan.json")
