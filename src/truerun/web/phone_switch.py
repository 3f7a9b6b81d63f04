"""The listener of the phones: off until somebody switches it on, bound to one address of the local network."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import uvicorn
from starlette.types import ASGIApp

from truerun.errors import ValueOutOfRange
from truerun.web.phone_book import PhoneBook
from truerun.web.phone_gate import PhoneDoor

__all__ = ["PHONE_PORT", "PhoneSwitch", "local_address"]

PHONE_PORT = 8436
"""Where phones come in, unless it is taken."""

_DOCUMENTATION = ("192.0.2.1", 9)  # RFC 5737: leads nowhere; nothing is sent, the system only names its own side
_WAIT = 10.0


def local_address() -> str | None:
    """Give this machine's address in its network; None where it is in none.

    Notes
    -----
    A datagram socket that is connected sends nothing; the system chooses the address that it would send from.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(_DOCUMENTATION)
        except OSError:
            return None
        return str(asked.getsockname()[0])


@dataclass(slots=True)
class PhoneSwitch:
    """On while ``door`` is there."""

    door: PhoneDoor | None = None
    server: uvicorn.Server | None = field(default=None, repr=False)
    thread: threading.Thread | None = field(default=None, repr=False)

    def on(self, address: str, made: Callable[[PhoneDoor], ASGIApp], port: int = PHONE_PORT) -> PhoneDoor:
        """Listen at an address.

        Parameters
        ----------
        address : str
            Of this machine in its network.
        made : callable
            Makes the application for a door.
        port : int
            0: any free one; the usual one falls back to any free one too.

        Raises
        ------
        ValueOutOfRange
            If the address is not this machine's.
        """
        if self.door is not None:
            return self.door
        listener = _bound(address, port)
        door = PhoneDoor(address, listener.getsockname()[1], PhoneBook())
        config = uvicorn.Config(
            made(door), lifespan="off", ws="none", log_level="error", access_log=False, proxy_headers=False,
            server_header=False, timeout_graceful_shutdown=1,
        )  # fmt: skip
        self.server = uvicorn.Server(config)
        listener.listen(16)
        self.thread = threading.Thread(target=self._answer, args=(self.server, listener), daemon=True)
        self.thread.start()
        self.door = door
        return door

    @staticmethod
    def _answer(server: uvicorn.Server, listener: socket.socket) -> None:
        """Answer until the switch is turned off."""
        with listener:
            server.run(sockets=[listener])

    def off(self) -> None:
        """Close the listener; every phone is forgotten."""
        if self.server is not None and self.thread is not None:
            self.server.should_exit = True
            self.thread.join(_WAIT)
        self.door = self.server = self.thread = None


def _bound(address: str, port: int) -> socket.socket:
    """Bind a socket to the address, at the port or else any free one."""
    for each in dict.fromkeys((port, 0)):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((address, each))
        except OSError:
            listener.close()
        else:
            return listener
    raise ValueOutOfRange(
        "The address for phones", f'"{address}"', "an address of this machine", "Look it up in its network settings."
    )
