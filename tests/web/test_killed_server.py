"""The server is killed in the middle of a timed run: what was pressed waits in the browser, and is written down once.

The server is a process of its own, killed with SIGKILL as by a power cut (POSIX.1-2017, signal.h).
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.web.made_tests import opened, sealed
from truerun.notebook.ledger import open_notebook
from truerun.notebook.verification import verify_notebook
from truerun.workflow.bench import state_of

BOUNCE = 320
"""Milliseconds after which a second press is no longer taken for a bounce of the first."""


def served(folder: Path, port: int) -> tuple[subprocess.Popen[str], str]:
    """Start the server on a port, and give the link that it prints."""
    words = [sys.executable, "-m", "truerun", "serve", "--port", str(port), "--no-browser"]
    process = subprocess.Popen(
        [*words, "--notebook", "bench.notebook"],
        cwd=folder,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    return process, process.stdout.readline().strip()


def free_port() -> int:
    """Give a port that nobody uses."""
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


def test_a_run_survives_the_death_of_the_server(browser: Browser, tmp_path: Path) -> None:
    with open_notebook(tmp_path / "bench.notebook") as book:
        test = opened(book)
        sealed(book, test)
    port = free_port()
    process, link = served(tmp_path, port)
    context = browser.new_context()
    page = context.new_page()
    page.goto(link)
    page.goto(f"http://127.0.0.1:{port}/t/1/runs/1/sheet")
    page.locator("#start").click()
    page.wait_for_selector("body[data-state=timing]")
    page.wait_for_timeout(BOUNCE)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    page.locator("#stop").click()
    page.wait_for_timeout(BOUNCE)
    page.locator("#well").click()
    expect(page.locator("#next-words")).to_contain_text("kept in this browser")
    process, link = served(tmp_path, port)  # another session: the old cookie lets nobody in
    page.goto(link)
    page.goto(f"http://127.0.0.1:{port}/t/1/runs/1/sheet")
    expect(page.locator("#outbox")).to_be_empty(timeout=30_000)
    page.wait_for_timeout(BOUNCE)
    process.send_signal(signal.SIGINT)
    process.communicate()
    context.close()
    with open_notebook(tmp_path / "bench.notebook") as book:
        runs = state_of(book, test).runs
        assert [(run.slot, run.attempt) for run in runs] == [(1, 1)]
        assert runs[0].seconds is not None
        assert 0.3 < runs[0].seconds < 30
        assert verify_notebook(book).faults == ()
