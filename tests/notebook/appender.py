"""A program of its own that appends to a notebook and says each acknowledged line; told to, it dies in the middle.

Started as ``python appender.py PLACE TEST WHO HOW NUMBER``. With ``events`` one writer after the other is killed by
SIGKILL at its first, second, ... event: every SQL statement before and after, the commit before and after, and each
step of the file of heads. With ``random`` pairs of writers are ended by the operating system wherever they are.
"""

import os
import random
import signal
import sys
from collections.abc import Callable
from typing import Any

from sqlalchemy import event

from truerun.errors import TruerunError
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import Notebook, open_notebook


class Countdown:
    """Kill this process when so many events have passed."""

    def __init__(self, left: int) -> None:
        self.left = left

    def __call__(self, *_said: object, **_named: object) -> None:
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)


def dying(call: Callable[..., Any], countdown: Countdown) -> Callable[..., Any]:
    """Put an event before and after a call."""

    def called(*given: Any, **named: Any) -> Any:
        countdown()
        found = call(*given, **named)
        countdown()
        return found

    return called


def set_up(book: Notebook, at: int) -> None:
    """Hook the countdown into the store and into the file of heads."""
    countdown = Countdown(at)
    event.listen(book.engine, "before_cursor_execute", countdown)
    event.listen(book.engine, "after_cursor_execute", countdown)
    dialect: Any = book.engine.dialect
    dialect.do_commit = dying(dialect.do_commit, countdown)
    system: Any = os
    for name in ("open", "write", "close"):
        setattr(system, name, dying(getattr(system, name), countdown))


def write(place: str, test: str, who: str, count: int, prepare: Callable[[Notebook], None] | None = None) -> int:
    """Append and say so."""
    try:
        with open_notebook(place) as book:
            if prepare is not None:
                prepare(book)
            for number in range(count):
                entry = book.append(test, Kind.TAP, {"run": who, "at": number}, sender=f"{who} {number}")
                os.write(1, f"{entry.number} {entry.digest}\n".encode())
    except TruerunError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    return 0


def at_random(seconds: float) -> Callable[[Notebook], None]:
    """Let the operating system end this process after a while, wherever it is; nothing is handled or cleaned up."""

    def prepare(_book: Notebook) -> None:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, seconds)

    return prepare


def child(place: str, test: str, who: str, prepare: Callable[[Notebook], None]) -> int:
    """Start a writer without importing everything again."""
    number = os.fork()
    if number == 0:
        os._exit(write(place, test, who, 2 if prepare.__name__ == "<lambda>" else 1_000_000, prepare))
    return number


def main(place: str, test: str, who: str, how: str, number: int) -> int:
    """Append ``number`` entries, or kill a writer at so many events, or so many pairs of writers at random."""
    if how == "write":
        return write(place, test, who, number)
    killed = 0
    rng = random.Random(number)  # noqa: S311  no secret
    for round_ in range(1, number + 1):
        pair = (
            [child(place, test, f"{who} {round_}", lambda book, at=round_: set_up(book, at))]  # type: ignore[misc]
            if how == "events"
            else [child(place, test, f"{who} {round_} {each}", at_random(rng.uniform(0.01, 0.4))) for each in "ab"]
        )
        killed += sum(os.WIFSIGNALED(os.waitpid(each, 0)[1]) for each in pair)
    os.write(1, f"killed {killed} .\n".encode())
    return 0


if __name__ == "__main__":
    place_, test_, who_, how_, number_ = sys.argv[1:]
    sys.exit(main(place_, test_, who_, how_, int(number_)))
