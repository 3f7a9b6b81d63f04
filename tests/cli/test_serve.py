"""``truerun serve``: the link that it prints opens the notebook, and Ctrl-C ends it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from truerun.notebook.ledger import open_notebook
from truerun.workflow.bench import open_test


@pytest.fixture
def served(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """Start the command in a folder of its own."""
    words = [sys.executable, "-m", "truerun", "serve", "--port", "0", "--no-browser"]
    home = {"HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    with open_notebook(tmp_path / "truerun.notebook") as book:
        open_test(book, "the rim arc")
    with subprocess.Popen(
        words, cwd=tmp_path, env=os.environ | home, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.kill()


class TestServe:
    def test_the_printed_link_opens_the_notebook_once_and_ctrl_c_ends_it(self, served: subprocess.Popen[str]) -> None:
        assert served.stdout is not None
        link = served.stdout.readline().strip()
        assert link.startswith("http://127.0.0.1:")
        with httpx.Client(trust_env=False, follow_redirects=True) as browser:
            assert "the rim arc" in browser.get(link).text
            assert browser.get(link).status_code == 403
            form = {"content-type": "multipart/form-data; boundary=x", "sec-fetch-site": "same-origin"}
            odd = browser.post(httpx.URL(link).join("/t/1/notes"), content=b"no boundary", headers=form)
            assert odd.status_code == 400
        served.send_signal(signal.SIGINT)
        _, said = served.communicate(timeout=60)
        assert served.returncode == 0
        assert "Traceback" not in said
        assert "boundary" not in said  # nobody at the terminal can mend a form that a browser sent
        assert said.rstrip().endswith("Everything that was written is kept.")
