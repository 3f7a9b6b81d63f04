"""How much of one core a live line costs, as CPU time over real time of the reading process alone.

2 000 passes a second for 20 s, from a sender of its own on a pseudo-terminal, kept in a file and in a run of a notebook
in pieces of at most half a second: at most 30 % of a core, and every pass that was sent is kept.

    python benchmarks/live.py
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from tty import setraw

from truerun.notebook.ledger import open_notebook
from truerun.sensing.pass_files import FileKeeper
from truerun.sensing.ports import opener_of
from truerun.workflow.bench import begin_run, open_test, seal_plan, state_of
from truerun.workflow.keeping import RunKeeper
from truerun.workflow.live import Keeper, Live, LiveNow

RATE = 2000  # passes a second
SECONDS = 20
LIMIT = 0.30
MARKS = 12
REQUEST = {"source": "arc in", "control": "arc out", "end": "speed", "spread": 0.0154, "runs": 16, "claim": "invented"}

SENDER = """
import os, sys, time
line, count, rate = int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
begun, sent = time.monotonic(), 0
while sent < count:
    due = min(int((time.monotonic() - begun) * rate) + 1, count)
    text = b"".join(b"%d\\n" % (1_000_000 + number * 1_000_000 // rate) for number in range(sent, due))
    while text:
        text = text[os.write(line, text):]
    sent = due
    time.sleep(0.002)
time.sleep(1.0)
"""


def pause() -> None:
    """Wait as the command does."""
    time.sleep(0.03)


def watched(keeper: Keeper) -> tuple[float, LiveNow]:
    """Read until all has come; give the share of a core, and what stands."""
    ours, theirs = os.openpty()
    setraw(theirs)
    live = Live(opener_of(os.ttyname(theirs), wait=pause), marks=MARKS, clock=time.monotonic, pause=pause)
    live.arm(keeper)
    words = [sys.executable, "-c", SENDER, str(ours), str(RATE * SECONDS), str(RATE)]
    sender = subprocess.Popen(words, pass_fds=(ours,))
    real, busy, shown = time.monotonic(), time.process_time(), 0.0
    while sender.poll() is None:
        live.step()
        if time.monotonic() - shown > 0.25:  # as often as the page is written
            live.now()
            shown = time.monotonic()
    share = (time.process_time() - busy) / (time.monotonic() - real)
    ended = live.stop()
    live.close()
    os.close(ours)
    os.close(theirs)
    return share, ended


def report(what: str, measure: Callable[[], tuple[float, LiveNow]]) -> bool:
    """Print one figure and tell whether it holds."""
    share, ended = measure()
    print(f"{what}: {share:.1%} of a core (at most {LIMIT:.0%}); kept {ended.kept} of {RATE * SECONDS} passes")
    return share <= LIMIT and ended.kept >= RATE * SECONDS - 1  # a first line that may be half a line is not believed


def main() -> int:
    """Measure both, and fail where a figure does not hold."""
    with tempfile.TemporaryDirectory() as folder:
        held = report("into a file", lambda: watched(FileKeeper(Path(folder) / "run.csv", MARKS)))
        with open_notebook(Path(folder) / "bench.notebook") as book:
            test = open_test(book, "invented", invented=True).id
            seal_plan(book, test, REQUEST, book.head(test).digest)
            run = begin_run(book, test)
            held &= report("into a notebook", lambda: watched(RunKeeper(book, test, run.id)))
            held &= len(state_of(book, test).runs[0].passes) >= RATE * SECONDS - 1
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
