"""Where sensors are plugged in, and how a line or a growing file is opened and read."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Protocol

import serial
from serial.tools.list_ports import comports

from truerun.errors import RecordingUnreadable

__all__ = ["BAUD", "GrowingFile", "Opener", "Port", "SerialLine", "Source", "list_ports", "opener_of"]

BAUD = 115200
"""Signs of a line, bits a second, unless said otherwise."""

WAIT = 0.05  # s that one reading waits at most
MOST = 1 << 16  # bytes of one reading


class Source(Protocol):
    """Something that bytes come from while it is plugged in."""

    mid_line: bool
    """Whether reading begins somewhere inside a line."""

    def read(self) -> bytes:
        """Give what came, after a short wait; OSError once it is gone."""

    def close(self) -> None:
        """Let it go."""


Opener = Callable[[], Source]


@dataclass(frozen=True, slots=True)
class Port:
    """A place where something is plugged in: its ``name``, and what it says of itself in ``words``."""

    name: str
    words: str


def list_ports() -> tuple[Port, ...]:
    """List the ports of this computer; those of devices with a plug come first."""
    found = sorted(comports(), key=lambda port: (port.vid is None, port.device))
    return tuple(Port(port.device, _words(port.description, plugged=port.vid is not None)) for port in found)


def _words(description: str | None, *, plugged: bool) -> str:
    """Say what a port is."""
    said = "" if description in (None, "", "n/a") else f", it calls itself {description}"
    return f"something plugged in by USB{said}" if plugged else f"a socket of the computer itself{said}"


class SerialLine:
    """A serial line; what had collected before it was opened is thrown away, since nobody knows when it came."""

    mid_line = True

    def __init__(self, name: str, baud: int, wait: Callable[[], None]) -> None:
        self._wait = wait
        try:
            self._line = serial.Serial(name, baud, timeout=WAIT)
            self._line.reset_input_buffer()
        except (OSError, ValueError) as error:
            raise RecordingUnreadable(name, "", f"the port does not open. {_remedy(error)}") from error

    def read(self) -> bytes:
        """Give what came: the first sign is waited for, then some more is collected, so that a fast line is cheap."""
        first: bytes = self._line.read(1)
        if not first:
            return b""
        self._wait()
        return first + bytes(self._line.read(min(self._line.in_waiting, MOST)))

    def close(self) -> None:
        """Let the port go."""
        self._line.close()


def _remedy(error: Exception) -> str:
    """Say what to do about a port that does not open."""
    number = getattr(error, "errno", None)
    if number == 13:
        return "You may not use it: join the group that owns it (often dialout), then log in again."
    if number in (11, 16):
        return "Another program has it: close its monitor window."
    return "See truerun live --ports for what is plugged in."


class GrowingFile:
    """A file that another program keeps appending to; one that shrinks or is replaced counts as unplugged."""

    mid_line = False

    def __init__(self, path: Path, wait: Callable[[], None]) -> None:
        self._path, self._wait = path, wait
        try:
            self._file: IO[bytes] = path.open("rb")
        except OSError as error:
            why = (error.strerror or "cannot be read").lower()
            raise RecordingUnreadable(path, "", f"{why}. Check the name and the folder.") from error

    def read(self) -> bytes:
        """Give what was appended."""
        data = self._file.read(MOST)
        if data:
            return data
        self._wait()
        now, ours = self._path.stat(), os.fstat(self._file.fileno())
        if now.st_ino != ours.st_ino or now.st_size < self._file.tell():
            raise OSError("the file was begun anew")
        return b""

    def close(self) -> None:
        """Let the file go."""
        self._file.close()


def opener_of(name: str, *, baud: int = BAUD, wait: Callable[[], None]) -> Opener:
    """Give what opens a port or a growing file, again and again.

    Parameters
    ----------
    name : str
        Of a port, or a path of a file.
    baud : int
        Speed of the line [bit/s].
    wait : callable
        Waits a moment: where a file has not grown, and for more to collect on a line.

    Returns
    -------
    callable
    """
    path = Path(name)
    if path.is_file():
        return lambda: GrowingFile(path, wait)
    return lambda: SerialLine(name, baud, wait)
