"""The verdict of a test with recordings: measured once, at the unsealing, with a page that says how far it is.

The law: a result is a function of the recordings' bytes, of how they are read and of the version, so what is kept must
give the same document as what is measured anew.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from tests.web.conftest import Running, started
from tests.web.made_tests import opened, sealed
from truerun.series import Recording
from truerun.virtual.rim_arc import MARKS, simulate_rim_arc
from truerun.web.reckoning import Reckoning, reckoned
from truerun.workflow.bench import attach_recording, begin_run, note, state_of
from truerun.workflow.deciding import decide, shown
from truerun.workflow.recorded import Measurements
from truerun.workflow.reducing import As, Reduced, reduced


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """Give a server of its own."""
    with started(tmp_path) as server:
        yield server


@pytest.fixture
def test_id(running: Running) -> str:
    """Give a test of 4 + 4 invented runs with recordings, which nobody has opened."""
    found = opened(running.notebook)
    sealed(running.notebook, found, runs=8, spread=0.004, orders="restricted", window=(12.5, 4.2))
    signs = np.array([1 if name == "arc in" else -1 for name in state_of(running.notebook, found).order], dtype=np.int8)
    for made in simulate_rim_arc(signs, np.random.default_rng(7)):
        run = begin_run(running.notebook, found).id
        file = "time [s]\n" + "".join(f"{time:.6f}\n" for time in made.passes)
        attach_recording(running.notebook, found, run, "run.csv", [file.encode()], marks=MARKS)
    return found


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[str | None]:
    """Note the fingerprint of every recording that is measured."""
    found: list[str | None] = []

    def noted(read: Recording, how: As) -> Reduced:
        found.append(read.digest)
        return reduced(read, how)

    monkeypatch.setattr("truerun.workflow.recorded.reduced", noted)
    return found


class TestARecordingIsMeasuredOnce:
    def test_the_unsealing_measures_and_no_page_after_it(
        self, running: Running, test_id: str, measured: list[str | None]
    ) -> None:
        with running.client(timeout=300) as client:
            client.post("/t/1/verdict/open")
            assert client.get("/t/1/verdict/opened").status_code == 200
            note(running.notebook, test_id, "The logbook goes on.")
            for page in ("verdict", "verdict/opened", "energy", "report"):
                assert client.get(f"/t/1/{page}").status_code == 200
        assert len(set(measured)) == len(measured) == 8
        assert state_of(running.notebook, test_id).decided is not None

    def test_what_was_kept_gives_the_same_as_what_is_measured_anew(self, running: Running, test_id: str) -> None:
        kept: Measurements = {}
        first = decide(running.notebook, test_id, kept=kept).document()
        assert len(kept) == 8
        again, anew = shown(running.notebook, test_id, kept=kept), shown(running.notebook, test_id)
        for key in ("verdict", "p", "drive_fraction", "window", "sentence"):
            assert again.document()[key] == anew.document()[key] == first[key]


class TestAPageDoesNotWait:
    def test_it_says_how_many_recordings_are_measured_and_comes_again(
        self, running: Running, test_id: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        going, gate, begun = threading.Event(), threading.Event(), count(1)

        def held(read: Recording, how: As) -> Reduced:
            if next(begun) == 4:
                going.set()
                assert gate.wait(300)
            return reduced(read, how)

        monkeypatch.setattr("truerun.workflow.recorded.reduced", held)
        running.bench.patience = 0.0
        with running.client(timeout=300, follow_redirects=True) as client:
            first = client.post("/t/1/verdict/open")
            assert "Reckoning." in first.text
            assert going.wait(300)
            page = client.get("/t/1/verdict/opened")
            assert re.search(r"3 of 8 recordings are measured", page.text)
            assert page.headers["refresh"] == "1"
            assert 'max="8" value="3"' in page.text
            client.post("/t/1/verdict/open")  # pressed twice: decided once
            gate.set()
            running.bench.patience = 300.0
            assert "Reckoning." not in client.get("/t/1/verdict/opened").text
        kinds = [entry.kind.value for entry in running.notebook.entries(test_id)]
        assert kinds.count("decided") == 1

    def test_what_stopped_it_is_said_once_and_it_may_be_begun_again(self) -> None:
        reckonings: dict[str, Reckoning] = {}

        def fails(_progress: object) -> None:
            raise ValueError("no such file")

        with pytest.raises(ValueError, match="no such file"):
            reckoned(reckonings, "a test", fails, 300.0)
        assert reckonings == {}
        assert reckoned(reckonings, "a test", lambda _progress: None, 300.0) is None


def test_a_page_that_waited_lets_go_of_no_later_reckoning() -> None:
    first, later = Reckoning(), Reckoning()
    going = {"t": first}

    class Overtaken(threading.Event):
        """Ends as another page, which waited too, has begun the next one."""

        def wait(self, timeout: float | None = None) -> bool:
            going["t"] = later
            return super().wait(timeout)

    first.ended = Overtaken()
    first.ended.set()
    assert reckoned(going, "t", lambda _: None, 1.0) is None
    assert going == {"t": later}
