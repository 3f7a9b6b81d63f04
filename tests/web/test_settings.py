"""The notebook's own page: it says what is stored, finds a single changed byte, and takes a bundle over.

A changed byte is one that SHA-256 (FIPS 180-4) of the stored line no longer fits; a bundle is one by RFC 8493.
"""

from __future__ import annotations

import threading
from pathlib import Path

import httpx
import pytest
from sqlalchemy import update

from tests.web.conftest import Running, started
from tests.web.made_tests import opened, run, sealed
from truerun.notebook.connection import writing
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.tables import ENTRIES
from truerun.web.checking import Checking
from truerun.workflow.bench import state_of
from truerun.workflow.bundles import bundle


def checked(client: httpx.Client) -> str:
    """Ask for a check and give the page when it has ended."""
    assert client.post("/settings/check").headers["location"] == "/settings#whole"
    wait = threading.Event()
    for _ in range(400):
        answer = client.get("/settings")
        if "refresh" not in answer.headers:
            return answer.text
        wait.wait(0.05)
    raise AssertionError("the check did not end")


class TestThePage:
    def test_it_says_what_is_stored(self, running: Running, client: httpx.Client) -> None:
        opened(running.notebook, "one")
        page = client.get("/settings").text
        lines = sum(row.head.count for row in running.notebook.tests())
        assert f"<dt>Lines</dt><dd>{lines}</dd>" in page
        assert Path(running.notebook.place).name in page
        assert "has not been checked" in page

    def test_a_whole_notebook_is_said_to_be_whole_and_one_changed_word_is_found(self, tmp_path: Path) -> None:
        with started(tmp_path) as server, server.client() as client:
            test = opened(server.notebook, "one")
            assert "The logbook is whole." in checked(client)
            stored = next(each for each in server.notebook.stored_entries(test) if each[0] == 2)[2]
            with writing(server.notebook.engine, server.notebook.place) as connection:
                changed = stored.replace(b"gains", b"loses")
                connection.execute(
                    update(ENTRIES).where(ENTRIES.c.test == test, ENTRIES.c.number == 2).values(stored=changed)
                )
            page = checked(client)
            assert "The logbook is whole." not in page
            assert "not as it was written" in page or "not as they were written" in page

    def test_a_check_that_broke_off_is_not_going_on(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def broken(notebook: Notebook, *, progress: object) -> None:
            raise MemoryError(notebook, progress)

        monkeypatch.setattr("truerun.web.checking.verify", broken)
        checking = Checking("2026-03-14 19:48:00")
        with open_notebook(tmp_path / "one.notebook") as notebook, pytest.raises(MemoryError):
            checking.run(notebook)
        assert not checking.running
        assert checking.trouble.startswith("The check broke off.")


class TestTakingOver:
    def test_a_test_comes_over_with_every_line(self, running: Running, tmp_path: Path) -> None:
        test = opened(running.notebook, "to be handed on")
        sealed(running.notebook, test)
        run(running.notebook, test, 4)
        made = bundle(running.notebook, test, tmp_path / "test.zip")
        with started(tmp_path) as other, other.client() as client:
            with made.path.open("rb") as file:
                answer = client.post("/settings/import", files={"file": ("test.zip", file, "application/zip")})
            assert answer.headers["location"] == "/t/1/logbook"
            state = state_of(other.notebook, test)
            assert (state.name, len(state.runs)) == ("to be handed on", 4)
            assert client.get("/t/1/logbook").status_code == 200

    def test_what_is_no_bundle_is_said_beside_the_field(self, client: httpx.Client) -> None:
        answer = client.post("/settings/import", files={"file": ("holiday.zip", b"no zip at all", "application/zip")})
        assert answer.status_code == 422
        assert "holiday.zip" in answer.text
        assert 'href="#file"' in answer.text
        assert client.post("/settings/import", files={"other": ("", b"", "x/y")}).status_code == 422
