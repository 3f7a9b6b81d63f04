"""The two streams: results on standard output, everything else on standard error."""

from __future__ import annotations

import os
import sys

__all__ = ["on_terminal", "say", "show"]

_PLAIN = str.maketrans({"\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " "})


def show(text: str) -> None:
    """Write a result to standard output; a reader who has gone away is no trouble."""
    try:
        print(_writable(text, sys.stdout.encoding), flush=True)
    except BrokenPipeError:
        # what is left in the buffer would raise once more when Python ends
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say(text: str) -> None:
    """Write a line to the person at the terminal."""
    print(_writable(text, sys.stderr.encoding), file=sys.stderr, flush=True)


def on_terminal() -> bool:
    """Tell whether somebody is there to answer a question."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def _writable(text: str, encoding: str | None) -> str:
    """Give the text with signs that the stream can carry."""
    try:
        text.encode(encoding or "utf-8")
    except UnicodeEncodeError:
        plain = text.translate(_PLAIN)
        return plain.encode(encoding or "utf-8", "replace").decode(encoding or "utf-8")
    return text
