"""The door: finds the command, and turns every refusal into one sentence and an exit code."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Sequence

from truerun.cli.front_page import FIRST_STEPS, HELP
from truerun.cli.screen import fill_streams, let_go, refuse, show
from truerun.errors import TruerunError

__all__ = ["main"]

INTERRUPTED = 130


def main(words: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    words : sequence of str, optional
        What stands behind ``truerun``; None: what the process was started with.

    Returns
    -------
    int
        0 done, 1 not a fair test or counts only, 2 something given cannot be used, 130 broken off with Ctrl-C.
    """
    given = list(sys.argv[1:] if words is None else words)
    fill_streams()
    try:
        return _answered(given)
    except TruerunError as refusal:
        refuse(str(refusal))
        return 2
    except OSError as error:
        refuse(_unforeseen(error))
        return 2
    except KeyboardInterrupt:
        return INTERRUPTED
    except RuntimeError as error:
        if isinstance(error.__cause__, KeyboardInterrupt):  # pressed while a class was made: Python 3.11 wraps it
            return INTERRUPTED
        raise


def _unforeseen(error: OSError) -> str:
    """Say what the system refused where no command knew a better sentence: a folder that is gone, a disk that fails."""
    if error.filename is None and error.errno == errno.ENOSPC:  # the page of help, which click writes itself
        let_go()
    what = "The system" if error.filename is None else str(error.filename)
    return f"{what}: {(error.strerror or str(error)).lower()}. Look whether file, folder and disk can be used."


def _answered(words: list[str]) -> int:
    """Answer what needs no command, else run it; click itself is only imported for a command."""
    if not words:
        show(FIRST_STEPS)
        return 0
    if words in (["--help"], ["-h"]):
        show(HELP)
        return 0
    # the matrices are small: with more threads each waits for the others, for seconds on a busy machine
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from truerun.cli.group import run_command

    return run_command(words)
