"""``truerun live``: a sensor while it runs."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened
from truerun.cli.parameters import FILE, SECONDS, WHOLE
from truerun.cli.progress import until_ctrl_c
from truerun.cli.questions import ask, yes_or_no
from truerun.cli.screen import on_terminal, say, show
from truerun.errors import ChoiceNeeded, ValueOutOfRange

if TYPE_CHECKING:
    from truerun.notebook.ledger import Notebook
    from truerun.notebook.state import RunState
    from truerun.workflow.live import Live, LiveNow

__all__ = ["command_line"]

_EVERY = 0.25  # s between two writings of the line
_WAIT = 0.03  # s of collecting on a line
_BAUD = 115200
_MADE_UP_MARKS = 12


@command(
    "live",
    "truerun live --made-up",
    "truerun live --ports",
    "truerun live /dev/ttyACM0 --marks 12 --check",
    "truerun live /dev/ttyACM0 --marks 12 --to run-5.csv",
    "truerun live /dev/ttyACM0 --marks 12 --run",
)
@click.argument("port", required=False)
@click.option("--marks", type=WHOLE, metavar="N", help="Marks a turn.")
@click.option("--check", "checking", is_flag=True, help="Check the sensor: a mark by hand, then one turn by hand.")
@click.option("--to", "path", type=FILE, help="Keep the passes in this new file; truerun rundown reads it.")
@click.option("--run", "as_run", is_flag=True, help="Keep the passes as the next run of a test in the notebook.")
@click.option("--test", "test", metavar="TEST", help="Which test: its number, id or name; the only one if not said.")
@click.option("--ports", "listing", is_flag=True, help="Only list what is plugged in.")
@click.option("--made-up", is_flag=True, help="A made-up sensor on a made-up wheel, to try this without hardware.")
@click.option("--baud", type=WHOLE, default=str(_BAUD), show_default=True, help="Speed of the line, bits a second.")
@click.option("--ticks", type=WHOLE, default="1000000", show_default=True, help="Ticks a second of whole numbers.")
@click.option("--bits", type=WHOLE, default="32", show_default=True, help="Bits after which the ticks begin again.")
@click.option("--still", type=SECONDS, default="20 s", show_default=True, help="A kept run ends after so long a quiet.")
@click.option("--for", "limit", type=SECONDS, metavar="TIME", help="End after so long.")
@notebook_option
def command_line(
    port: str | None,
    *,
    marks: int | None,
    checking: bool,
    path: Path | None,
    as_run: bool,
    test: str | None,
    listing: bool,
    made_up: bool,
    baud: int,
    ticks: int,
    bits: int,
    still: float,
    limit: float | None,
    notebook: str | None,
) -> int:
    """Show what the sensor at PORT sees; PORT may also be a file that another program keeps appending to.

    The sensor prints one stamp a line. Ctrl-C ends at any moment; whatever was counted as kept is on the disk. In a
    run of a sealed plan no speed is shown, so that nobody can end it by its looks.
    """
    if listing:
        return _list()
    if path is not None and as_run:
        raise ValueOutOfRange("Where the passes are kept", "said twice", "--to or --run", "Leave one of them out.")
    if marks is None and not made_up:
        raise ValueOutOfRange(
            "The number of marks a turn", "not said", "given with --marks", "Count them on the wheel."
        )
    marks = marks or _MADE_UP_MARKS
    from truerun.sensing.lines import Clockwork
    from truerun.sensing.ports import opener_of
    from truerun.workflow.live import Live

    with _sensor(port, marks, made_up=made_up, by_hand=checking) as name, until_ctrl_c() as ended:
        opener = opener_of(name, baud=baud, wait=_pause)
        live = Live(opener, marks=marks, clock=time.monotonic, pause=_pause, clockwork=Clockwork(ticks, bits))
        over = _until(ended, live, still=still if path or as_run else None, limit=limit)
        try:
            if as_run:
                with opened(notebook) as book:
                    return _run(book, test, live, over, marks, made_up=made_up)
            return _watch(live, over, path, marks, checking=checking)
        finally:
            live.close()


def _pause() -> None:
    """Wait a moment."""
    time.sleep(_WAIT)


def _list() -> int:
    """List the ports."""
    from truerun.sensing.ports import list_ports

    found = list_ports()
    for port in found:
        show(f"{port.name}  {port.words}")
    if not found:
        show("Nothing is plugged in. To try without hardware: truerun live --made-up")
    return 0


@contextmanager
def _sensor(port: str | None, marks: int, *, made_up: bool, by_hand: bool) -> Iterator[str]:
    """Give the name of the port; a made-up sensor is there as long as the block."""
    if not made_up:
        yield port or _only_port()
        return
    import numpy as np

    from truerun.virtual.made_up_sensor import MadeUpSensor, hand_lines, sensor_lines

    say("A made-up sensor on a made-up wheel. Nothing here was measured.")
    lines = hand_lines(marks) if by_hand else sensor_lines(np.random.default_rng(), marks=marks)
    sensor = MadeUpSensor(lines, time.monotonic)
    try:
        yield sensor.name
    finally:
        sensor.close()


def _only_port() -> str:
    """Give the only port with something in it."""
    from truerun.sensing.ports import list_ports

    plugged = [port.name for port in list_ports() if "USB" in port.words]
    if not plugged:
        remedy = "Plug the sensor in, or try truerun live --made-up."
        raise ValueOutOfRange("The port", "not said, and nothing is plugged in", "a port or a file", remedy)
    if len(plugged) > 1:
        raise ChoiceNeeded("The port", tuple(plugged), "Name it.")
    return plugged[0]


def _until(ended: Callable[[], bool], live: Live, *, still: float | None, limit: float | None) -> Callable[[], bool]:
    """Give the question whether it is over."""
    begun = time.monotonic()

    def over() -> bool:
        if ended() or (limit is not None and time.monotonic() - begun >= limit):
            return True
        if still is None:
            return False
        now = live.now()
        return bool(now.kept) and now.silent is not None and now.silent >= still and now.state.name != "LOST"

    return over


def _follow(live: Live, over: Callable[[], bool], told: Callable[[LiveNow], str]) -> None:
    """Read until it is over, with one line that says how it is; every change is a line where nobody watches."""
    shown, width, before = 0.0, 0, ""
    watched = sys.stderr.isatty()
    while not over():
        live.step()
        time_now = time.monotonic()
        if time_now - shown < (_EVERY if watched else 1.0):
            continue
        line, shown = told(live.now()), time_now
        if watched:
            sys.stderr.write(f"\r{line.ljust(width)}")
            sys.stderr.flush()
            width = len(line)
        elif line != before:
            say(line)
        before = line
    if watched and width:
        sys.stderr.write("\n")


def _watch(live: Live, over: Callable[[], bool], path: Path | None, marks: int, *, checking: bool) -> int:
    """Show, check, or keep in a file."""
    from truerun.sensing.pass_files import FileKeeper

    keeper = None if path is None else FileKeeper(path, marks)
    if keeper is not None:
        live.arm(keeper)
    if checking:
        live.begin_check()
        _follow(live, lambda: over() or _checked(live), _check_line)
        return _check_result(live.now())
    _follow(live, over, _line)
    now = live.stop()
    if keeper is None:
        return 0
    for written in keeper.paths:
        show(f"{written} is written. Next: truerun rundown {written} --marks {marks}")
    if not keeper.paths:
        say("Nothing passed, so nothing is written.")
    for number, why in enumerate(now.interruptions, 1):
        say(f"Interrupted after part {number}: {why}.")
    return 0


def _run(book: Notebook, test: str | None, live: Live, over: Callable[[], bool], marks: int, *, made_up: bool) -> int:
    """Keep the passes as the next run of a test."""
    from truerun.workflow.bench import find_test, state_of
    from truerun.workflow.keeping import RunKeeper, begin_live_run, require_real

    found = find_test(book, test)
    require_real(book, found, made_up=made_up)
    run = begin_live_run(book, found)
    again = f", attempt {run.attempt}" if run.attempt > 1 else ""
    say(f"Run {run.slot}{again}: {state_of(book, found).order[run.slot - 1]}")
    say("Take the source off and set it again. Guard closed, eyes protected. Launch; Ctrl-C ends the run.")
    live.arm(RunKeeper(book, found, run.id))
    _follow(live, over, _sealed_line)
    _end(book, found, run, live.stop(), marks)
    return 0


def _end(book: Notebook, test: str, run: RunState, now: LiveNow, marks: int) -> None:
    """Ask before anything is seen, then end the run."""
    from truerun.workflow.keeping import finish_run

    asked = now.kept and not now.interruptions and on_terminal()
    if not asked or ask("Was all well? y or n", yes_or_no, default="y"):
        show(finish_run(book, test, run, now, marks))
        return
    words = ask("What went wrong, in a few words?", may_be_empty=True)
    show(finish_run(book, test, run, now, marks, wrong="other", words=words))


def _line(now: LiveNow) -> str:
    """Say how it is, in one line."""
    from truerun.workflow.live_words import speed_words

    kept = f", {now.kept} kept" if now.armed else ""
    return f"{speed_words(now)}   {now.passes} passes{kept}{_trouble(now)}"


def _sealed_line(now: LiveNow) -> str:
    """Say how it is without what could tempt anybody."""
    from truerun.workflow.live_words import turning_words

    return f"{turning_words(now)}   {now.kept} passes kept{_trouble(now)}"


def _trouble(now: LiveNow) -> str:
    """Say what is amiss, behind the rest."""
    from truerun.workflow.live_words import trouble_words

    words = trouble_words(now)
    return f"; {words}" if words else ""


def _checked(live: Live) -> bool:
    """Tell whether the check is done."""
    check = live.now().check
    return check is not None and check.good is not None


def _check_line(now: LiveNow) -> str:
    """Say what to do next; a star stands where a mark has just passed."""
    blink = "*" if now.silent is not None and now.silent < 0.3 else " "
    return f"{blink} {now.check.words if now.check is not None else ''}{_trouble(now)}"


def _check_result(now: LiveNow) -> int:
    """Give the outcome of the check."""
    check = now.check
    if check is None or check.good is None:
        say("The check was not finished.")
        return 1
    show(check.words)
    return 0 if check.good else 1
