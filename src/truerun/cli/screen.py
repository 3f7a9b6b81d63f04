"""The two streams: results on standard output, everything else on standard error."""

from __future__ import annotations

import os
import sys

__all__ = ["on_terminal", "say", "show", "show_json"]

_PLAIN = str.maketrans({"\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " "})
# a name in somebody else's table must not move the cursor or colour the screen
_CONTROLS = dict.fromkeys([*range(9), *range(11, 32), *range(127, 160)], "?")


def show(text: str) -> None:
    """Write a result to standard output."""
    _to_standard_output(_writable(text, sys.stdout.encoding))


def show_json(text: str) -> None:
    """Write a JSON object to standard output; what the stream cannot carry is escaped, so that nothing is lost."""
    encoding = sys.stdout.encoding or "utf-8"
    if not _carried(text, encoding):
        pairs = (character.encode("utf-16-be").hex() for character in text if not character.isascii())
        escaped = ("".join(f"\\u{units[i : i + 4]}" for i in range(0, len(units), 4)) for units in pairs)
        text = "".join(character if character.isascii() else next(escaped) for character in text)
    _to_standard_output(text)


def _to_standard_output(text: str) -> None:
    """Write; a reader who has gone away is no trouble."""
    try:
        print(text, flush=True)
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
    clean = text.translate(_CONTROLS)
    carrier = encoding or "utf-8"
    if _carried(clean, carrier):
        return clean
    return clean.translate(_PLAIN).encode(carrier, "replace").decode(carrier)


def _carried(text: str, encoding: str) -> bool:
    """Tell whether a stream of this encoding can carry the text."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True
