"""``truerun amend``: what is put right or added in a test; every change is a line, and the old value stays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened, test_argument
from truerun.cli.parameters import FILE, WHOLE, Word
from truerun.cli.screen import show
from truerun.errors import ValueOutOfRange

if TYPE_CHECKING:
    from truerun.notebook.ledger import Notebook

__all__ = ["command_line"]


@command(
    "amend",
    'truerun amend --correct 14 --time 61.2 --why "typed 16.2"',
    "truerun amend --redraw",
    "truerun amend 2 --seal",
    'truerun amend "the rim arc" --challenge "Try position 17." --by "a reader"',
)
@test_argument
@click.option("--agree", type=Word(("claimant", "sceptic")), help="Write down the answers of one side.")
@click.option("--fair", metavar="WORDS", help="With --agree: is the test fair?")
@click.option("--would-change", metavar="WORDS", help="With --agree: what would change this mind?")
@click.option("--excuse", metavar="WORDS", help="With --agree: the excuse that is to be expected.")
@click.option("--rig", metavar="WORDS", help="What was weighed, levelled, measured.")
@click.option("--seal", is_flag=True, help="Seal the plan of a test that is open: the draft that it has, or --plan.")
@click.option("--plan", type=FILE, help="With --seal: the plan that truerun plan sealed.")
@click.option("--plan-from", type=FILE, metavar="FILE", help="With --seal: what the draft lacks, as for truerun plan.")
@click.option("--control", metavar="NAME", help="With --seal: what is compared with, where the draft does not say it.")
@click.option("--redraw", is_flag=True, help="Draw the order anew, before the first run; it is counted.")
@click.option("--correct", type=WHOLE, metavar="LINE", help="A line with a typing mistake; see truerun show --lines.")
@click.option("--time", "seconds", metavar="TIME", help="With --correct: the time as it was read, such as 1:01.2.")
@click.option("--withdraw", type=WHOLE, metavar="LINE", help="A line that is to count no more; it stays to be seen.")
@click.option("--guess", metavar="CONDITION", help="With --run: which condition somebody took it for.")
@click.option("--run", "slot", type=WHOLE, metavar="N", help="The run of a guess.")
@click.option("--why", metavar="WORDS", help="The reason, with --correct and --withdraw.")
@click.option("--close", metavar="WHY", help="Close the test; it then takes no more runs.")
@click.option("--challenge", metavar="WORDS", help="Open a new test that answers a challenge, linked both ways.")
@click.option("--by", metavar="NAME", help="With --challenge: who asked.")
@notebook_option
def command_line(test: str | None, *, notebook: str | None, **asked: Any) -> int:
    """Put right or add something in TEST: its number, id or name; the only one if not said.

    Nothing is written over. Each change is a line of its own with the time, and what stood there before stays.
    """
    said = [name for name in _CHANGES if asked[name]]
    if len(said) != 1:
        found = "nothing" if not said else " and ".join(f"--{name}" for name in said)
        allowed = "one of " + ", ".join(f"--{name}" for name in _CHANGES)
        raise ValueOutOfRange("What is to be changed", found, allowed, "One change at a time.")
    from truerun.workflow.bench import find_test

    with opened(notebook) as book:
        show(_CHANGES[said[0]](book, find_test(book, test), asked))
    return 0


def _why(asked: dict[str, Any]) -> str:
    """Give the reason, which must be there."""
    if not asked["why"]:
        raise ValueOutOfRange("The reason", "not said", "a few words with --why")
    return str(asked["why"])


def _agree(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.bench import record_agreement

    answers = {"fair": "fair", "would_change_my_mind": "would_change", "excuse_to_come": "excuse"}
    record_agreement(book, test, asked["agree"], {key: asked[name] for key, name in answers.items()})
    return f"The answers of the {asked['agree']} are written."


def _rig(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.bench import describe_rig, state_of

    describe_rig(book, test, dict(state_of(book, test).rig or {}) | {"note": asked["rig"]})
    return "The rig is written down."


def _seal(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.bench import adopt_plan, seal_plan, state_of
    from truerun.workflow.request_files import read_plan_request

    head = book.head(test).digest
    if asked["plan"] is not None:
        return f"Sealed: {adopt_plan(book, test, asked['plan'], head).seal.code}"
    request = dict(state_of(book, test).request or {})
    if asked["plan_from"] is not None:
        request |= read_plan_request(asked["plan_from"])
    if asked["control"]:
        request["control"] = asked["control"]
    return seal_plan(book, test, request, head).summary()


def _redraw(book: Notebook, test: str, asked: dict[str, Any]) -> str:  # noqa: ARG001  all have one shape
    from truerun.workflow.bench import state_of
    from truerun.workflow.redrawing import draw_again

    sealed = draw_again(book, test, book.head(test).digest)
    draws = state_of(book, test).draws
    return f"Sealed: {sealed.seal.code}\nThe order was drawn {draws} times; every draw stands in the logbook."


def _correct(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.units.quantity import read_quantity
    from truerun.units.unit import Dimension, parse_unit
    from truerun.workflow.bench import correct

    if not asked["seconds"]:
        raise ValueOutOfRange("The right time", "not said", "given with --time")
    seconds = read_quantity(asked["seconds"], Dimension.TIME, name="--time", unit=parse_unit("s")).value
    head = book.head(test).digest
    correct(book, test, asked["correct"], {"seconds": seconds}, why=_why(asked), head=head)
    return f"Line {asked['correct']} is corrected; the old value stays to be seen."


def _withdraw(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.bench import withdraw

    withdraw(book, test, asked["withdraw"], why=_why(asked), head=book.head(test).digest)
    return f"Line {asked['withdraw']} is withdrawn; it stays to be seen."


def _guess(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.bench import guess, state_of

    run = next((each for each in reversed(state_of(book, test).runs) if each.slot == asked["slot"]), None)
    if run is None:
        raise ValueOutOfRange("The run of the guess", asked["slot"], "one that was begun, named with --run")
    guess(book, test, run.id, asked["guess"])
    return "The guess is written."


def _close(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.bench import close_test

    close_test(book, test, why=asked["close"], head=book.head(test).digest)
    return "The test is closed."


def _challenge(book: Notebook, test: str, asked: dict[str, Any]) -> str:
    from truerun.workflow.linking import open_linked

    answer = open_linked(book, test, asked["challenge"], by=asked["by"])
    number = next(row.number for row in book.tests() if row.id == answer.id)
    following = f"truerun amend {number} --seal" + ("" if answer.request else " --plan-from FILE")
    return f'Test {number} "{answer.name}" is open and linked. Next: {following}'


_CHANGES = {
    "agree": _agree,
    "rig": _rig,
    "seal": _seal,
    "redraw": _redraw,
    "correct": _correct,
    "withdraw": _withdraw,
    "guess": _guess,
    "close": _close,
    "challenge": _challenge,
}
"""What can be changed, by the name of its option."""
