"""``truerun demo``: the link that it prints opens the shelf with invented tests; a notebook that is there is kept."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from truerun.notebook.ledger import open_notebook
from truerun.workflow.bench import open_test


def shelf_of(folder: Path) -> tuple[str, str]:
    """Start the command on a folder, read the first page, end it; give the page and what was said."""
    words = [sys.executable, "-m", "truerun", "demo", "--out", str(folder), "--port", "0", "--no-browser"]
    home = {"HOME": str(folder), "PYTHONUNBUFFERED": "1", "OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen(
        words, env=os.environ | home, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        link = process.stdout.readline().strip()
        with httpx.Client(trust_env=False, follow_redirects=True) as browser:
            page = browser.get(link).text
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "Traceback" not in said
    return page, said


class TestTheDemonstrationInABrowser:
    def test_a_notebook_that_is_there_is_opened_as_it_is(self, tmp_path: Path) -> None:
        with open_notebook(tmp_path / "demo.notebook") as book:
            open_test(book, "what I tried yesterday", invented=True)
        page, said = shelf_of(tmp_path)
        assert "what I tried yesterday" in page
        assert "The arc at 16 mm" not in page
        assert "Nothing in it took place." in said

    @pytest.mark.slow
    def test_a_new_one_holds_the_invented_tests_and_a_screening(self, tmp_path: Path) -> None:
        page, _ = shelf_of(tmp_path / "new")
        for name in ("The rim arc", "The arc at 16 mm", "Nothing against nothing", "The helping motor"):
            assert name in page
        assert "Round the clock" in page
        assert "Invented example" in page
        kept = {path.name.partition(".notebook")[0] for path in (tmp_path / "new").iterdir()}
        assert kept - {".local"} == {"demo"}  # the notebook and its heads, and nothing beside them
