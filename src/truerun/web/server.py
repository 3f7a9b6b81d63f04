"""Answering on the loopback address until Ctrl-C."""

from __future__ import annotations

import contextlib
import errno
import logging
import socket
from collections.abc import Callable
from typing import TYPE_CHECKING

import uvicorn

from truerun.errors import ValueOutOfRange
from truerun.notebook.ledger import Notebook
from truerun.web.application import application
from truerun.web.gate import Door

if TYPE_CHECKING:
    from truerun.workflow.recorded import Measurements

__all__ = ["LOOPBACK", "PORT", "listening", "serve"]

LOOPBACK = "127.0.0.1"
PORT = 8416
"""Where the application is unless another port is named; the same each time, so that what a browser kept is found."""

_NEXT_PORTS = 20


def listening(port: int | None) -> socket.socket:
    """Listen on the loopback address.

    Parameters
    ----------
    port : int or None
        0: any free one; None: the usual one, or the next that is free.

    Returns
    -------
    socket
        Bound; nothing outside this machine reaches it.

    Raises
    ------
    ValueOutOfRange
        If the port that was named is taken.
    """
    tried = range(PORT, PORT + _NEXT_PORTS) if port is None else (port,)
    for each in tried:
        # the protocol is named: asyncio sends without delay only then
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, each))
        except OSError as error:
            listener.close()
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise
        else:
            return listener
    raise ValueOutOfRange("The port", tried[0], "free", "Leave --port out, or name another one.")


def serve(
    notebook: Notebook,
    listener: socket.socket,
    ready: Callable[[str], None],
    *,
    measured: Measurements | None = None,
) -> None:
    """Answer until Ctrl-C.

    Parameters
    ----------
    notebook : Notebook
        An open one.
    listener : socket
        From :func:`listening`.
    ready : callable
        Called with the start link, before the first request is answered; the link is good once.
    measured : mapping, optional
        What was measured from recordings already.
    """
    door = Door(listener.getsockname()[1])
    made = application(notebook, door)
    made.state.bench.measured.update(measured or {})
    # a form that cannot be read is answered with a page; nobody at the terminal can mend it
    logging.getLogger("python_multipart").setLevel(logging.CRITICAL)
    config = uvicorn.Config(
        made,
        lifespan="off",
        ws="none",
        log_level="error",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_graceful_shutdown=3,
    )
    listener.listen(128)  # from here on a browser is not refused
    ready(door.link)
    try:
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listener])
    finally:
        if made.state.bench.sensor is not None:
            made.state.bench.sensor.close()
