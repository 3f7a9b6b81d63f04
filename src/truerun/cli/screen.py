"""The two streams: results on standard output, everything else on standard error."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from truerun.errors import ValueOutOfRange

__all__ = ["fill_streams", "let_go", "on_terminal", "refuse", "say", "show", "show_json"]

_PLAIN = str.maketrans({"\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " "})
_HALF = 500  # letters of a refusal that are kept from its beginning and from its end
# a name in somebody else's table must not move the cursor or colour the screen
_CONTROLS = dict.fromkeys([*range(9), *range(11, 32), *range(127, 160)], "?")


def fill_streams() -> None:
    """Give every standard stream that was closed a place: else the next file that is opened would be its place."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115  until Python ends


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
        let_go()
    except OSError as error:
        let_go()
        why = (error.strerror or "it is closed").lower()
        raise ValueOutOfRange("Standard output", f"not writable ({why})", "a place with room", "Make room.") from error


def let_go() -> None:
    """Let standard output go: what is left in its buffer would raise once more when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say(text: str) -> None:
    """Write a line to the person at the terminal."""
    print(_writable(text, sys.stderr.encoding), file=sys.stderr, flush=True)


def refuse(text: str) -> None:
    """Say a refusal in one line: a name in it may hold line breaks, or thousands of letters."""
    line = " ".join(text.splitlines())
    say(line if len(line) <= 2 * _HALF else f"{line[:_HALF]} \N{HORIZONTAL ELLIPSIS} {line[-_HALF:]}")


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
