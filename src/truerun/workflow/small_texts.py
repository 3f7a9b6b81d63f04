"""Texts that a person wrote or truerun sealed: plans, requests, lists of variants; small, and in UTF-8."""

from __future__ import annotations

from pathlib import Path

from truerun.errors import RecordingUnreadable

__all__ = ["read_small_text"]

LARGEST = 4_000_000
"""Bytes; the longest plan has a few thousand."""


def read_small_text(path: Path, wanted: str) -> str:
    """Read a file of text, in UTF-8 with or without a byte order mark.

    Parameters
    ----------
    path : Path
    wanted : str
        What is to be given, for messages: a sentence.

    Returns
    -------
    str

    Raises
    ------
    RecordingUnreadable
        If the file cannot be read, has more than 4 MB or is no text.
    """
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except OSError as error:
        what = (error.strerror or "it cannot be read").lower()
        raise RecordingUnreadable(path, "", f"{what}. {wanted}") from error
    if len(content) > LARGEST:
        raise RecordingUnreadable(path, "", f"the file has more than {LARGEST // 1_000_000} MB. {wanted}")
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise RecordingUnreadable(path, "", "this is not text in UTF-8. Save it again as UTF-8.") from error
