"""A server on the loopback address with an empty notebook, one for each module, and a browser beside it."""

from __future__ import annotations

import contextlib
import os
import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from truerun.notebook.ledger import Notebook, open_notebook
from truerun.report.pdf import find_chromium
from truerun.web.application import application
from truerun.web.gate import Door
from truerun.web.server import listening
from truerun.web.visit import Bench

CHROMIUM = find_chromium(os.environ)


@dataclass(slots=True)
class Running:
    """A server that answers, and the notebook behind it."""

    door: Door
    notebook: Notebook
    address: str
    listener: socket.socket
    bench: Bench

    def client(self, **more: Any) -> httpx.Client:
        """Give a client that was let in."""
        cookies = {self.door.cookie: self.door.session}
        headers = {"sec-fetch-site": "same-origin"}
        return httpx.Client(base_url=self.address, cookies=cookies, headers=headers, trust_env=False, **more)

    def context(self, browser: Browser, **more: Any) -> BrowserContext:
        """Give a browser context that was let in."""
        context = browser.new_context(**more)
        context.add_cookies([{"name": self.door.cookie, "value": self.door.session, "url": self.address}])
        return context


@contextlib.contextmanager
def started(folder: Path) -> Iterator[Running]:
    """Start a server in a thread and end it."""
    with open_notebook(folder / "bench.notebook") as notebook, listening(0) as listener:
        door = Door(listener.getsockname()[1])
        made = application(notebook, door)
        made.state.bench.patience = 120.0  # a page waits for its result, however busy the machine
        config = uvicorn.Config(made, lifespan="off", ws="none", log_level="error")
        server = uvicorn.Server(config)
        listener.listen(128)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        yield Running(door, notebook, f"http://127.0.0.1:{door.port}", listener, made.state.bench)
        server.should_exit = True
        thread.join(20)


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Give a server with an empty notebook."""
    with started(tmp_path_factory.mktemp("web")) as server:
        yield server


@pytest.fixture(scope="module")
def client(running: Running) -> Iterator[httpx.Client]:
    """Give a client that was let in."""
    with running.client() as made:
        yield made


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Start the system's Chromium once."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine; name one in TRUERUN_CHROMIUM")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()
