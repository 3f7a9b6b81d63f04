"""The passes of a live sensor in a file, written piece by piece."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from truerun.errors import NotebookUnusable, ValueOutOfRange
from truerun.sensing.capture import Pass

__all__ = ["FileKeeper", "format_pass", "pass_head"]


class FileKeeper:
    """Keeps passes in a file, each further segment in a file of its own beside it; ``paths`` are those written.

    Parameters
    ----------
    path : Path
        A new file.
    marks : int
        Marks a turn, written into the head.
    """

    def __init__(self, path: Path, marks: int) -> None:
        self._path, self._marks = path, marks
        self.paths: list[Path] = []
        self._segment = 0
        _require_new(path)

    def keep(self, segment: int, passes: Sequence[Pass], places: int) -> None:
        """Append to the file of a segment."""
        text = "".join(f"{format_pass(each, places)}\n" for each in passes)
        if segment != self._segment:
            self._begin(segment)
            text = pass_head(self._marks, indexed=passes[0].indexed is not None) + text
        self._append(text)

    def interrupted(self, segment: int, why: str) -> None:
        """Write why a segment ended, as its last line."""
        if segment == self._segment:
            self._append(f"# interrupted: {why}\n")

    def _begin(self, segment: int) -> None:
        """Go on in a new file."""
        number = len(self.paths) + 1
        path = self._path if number == 1 else self._path.with_stem(f"{self._path.stem}-{number}")
        _require_new(path)
        self._segment = segment
        self.paths.append(path)

    def _append(self, text: str) -> None:
        """Append, and come back when it is on the disk."""
        path = self.paths[-1]
        try:
            with path.open("ab") as file:
                file.write(text.encode())
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            why = (error.strerror or "it cannot be written").lower()
            raise NotebookUnusable(
                str(path), why, "What was counted as kept is there; make room, then go on."
            ) from error


def _require_new(path: Path) -> None:
    """Refuse to write over a file."""
    if path.exists():
        raise ValueOutOfRange(f"{path}", "there already", "a new file", "Choose another name with --to.")


def pass_head(marks: int, *, indexed: bool) -> str:
    """Give what stands above the passes in a file."""
    said = f"# passes as the sensor stamped them; {marks} {'mark' if marks == 1 else 'marks'} a turn\n"
    return said + ("time [s],trigger\n" if indexed else "time [s]\n")


def format_pass(each: Pass, places: int) -> str:
    """Write a pass as a line of a file.

    Examples
    --------
    >>> format_pass(Pass(1.25, True), 6), format_pass(Pass(1.25), 3)
    ('1.250000,1', '1.250')
    """
    return f"{each.time:.{places}f}" + ("" if each.indexed is None else f",{int(each.indexed)}")
