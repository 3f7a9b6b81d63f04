"""Putting right: every change is a line of its own, the old value stays, and a test cannot be reopened."""

from __future__ import annotations

import re

import httpx
import pytest

from tests.web.conftest import Running
from tests.web.made_tests import opened, run, sealed
from truerun.notebook.entries import Kind
from truerun.workflow.bench import (
    attach_recording,
    begin_run,
    describe_rig,
    note,
    record_agreement,
    something_wrong,
    state_of,
    stop_clock,
    write_claim,
)
from truerun.workflow.deciding import decide


def number_of(running: Running, test: str) -> int:
    """Give the number of a test."""
    return next(row.number for row in running.notebook.tests() if row.id == test)


def last_of(running: Running, test: str, kind: Kind) -> int:
    """Give the number of the last entry of a kind."""
    return next(each.number for each in reversed(running.notebook.entries(test)) if each.kind is kind)


@pytest.fixture(scope="module")
def bench(running: Running) -> str:
    """Give a test with one run, a note and a rig."""
    test = opened(running.notebook, "to be put right")
    sealed(running.notebook, test)
    stop_clock(running.notebook, test, begin_run(running.notebook, test).id, 16.2, typed=True)
    note(running.notebook, test, "a draught from the door")
    describe_rig(running.notebook, test, {"note": "on the oak bench"})
    return test


class TestTheLogbook:
    def test_it_shows_every_line_and_covers_the_times(self, running: Running, bench: str, client: httpx.Client) -> None:
        page = client.get(f"/t/{number_of(running, bench)}/logbook").text
        count = running.notebook.head(bench).count
        assert re.findall(r'<th scope="row"[^>]*>(\d+)</th>', page) == [str(each) for each in range(count, 0, -1)]
        assert "a draught from the door" in page
        assert "16.2" not in page
        assert "run 1; time covered; by hand; typed in" in page
        assert not re.search(r"\d\d:\d\d:\d\d", page)  # from start to stop, seconds would time the run

    def test_a_recording_does_not_tell_by_its_size_how_long_it_ran(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "recorded")
        sealed(running.notebook, test)
        run = begin_run(running.notebook, test)
        attach_recording(running.notebook, test, run.id, "run-1.csv", [b"t\n" * 1543])
        base = f"/t/{number_of(running, test)}"
        for page in (client.get(f"{base}/logbook").text, client.get(f"{base}/runs/1").text):
            assert "run-1.csv" in page
            assert "3086" not in page

    def test_it_speaks_in_words_and_no_key_of_a_record_stands_there(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "in words")
        write_claim(running.notebook, test, "It gains.", claimed=1.0, by="Bo")
        for side in ("claimant", "sceptic"):
            record_agreement(running.notebook, test, side, {"would_change_my_mind": "A film.", "fair": "Yes."})
        sealed(running.notebook, test)
        something_wrong(running.notebook, test, begin_run(running.notebook, test).id, "bumped", seen=False)
        page = client.get(f"/t/{number_of(running, test)}/logbook").text
        assert "It gains.; claimed: 100\N{NO-BREAK SPACE}%; by Bo" in page
        assert "the sceptic; is it fair: Yes.; would change my mind: A film." in page
        assert "run 1; the bench or the wheel was bumped" in page
        says = re.findall(r'<td role="cell" class="says">(.*?)</td>', page)
        assert [each for each in says if re.search("_|True|None|[{}]", each)] == []


class TestTakingBack:
    @pytest.mark.parametrize(("kind", "words"), [(Kind.NOTE, "a draught"), (Kind.RIG, "oak bench"), (Kind.WARM_UP, "")])
    def test_a_line_is_struck_through_and_counts_no_more(
        self, running: Running, bench: str, client: httpx.Client, kind: Kind, words: str
    ) -> None:
        number, line = number_of(running, bench), last_of(running, bench, kind)
        place = f"/t/{number}/logbook/{line}/take-back"
        assert words in client.get(place).text
        head = running.notebook.head(bench).digest
        assert client.post(place, data={"why": "", "head": head}).status_code == 422
        assert client.post(place, data={"why": "a slip", "head": head}).status_code == 303
        assert line in state_of(running.notebook, bench).withdrawn
        assert client.get(place).status_code == 422  # once
        page = client.get(f"/t/{number}/logbook").text
        assert re.search(rf'<tr role="row" class="fell"><th scope="row"[^>]*>{line}</th>', page)

    def test_nothing_of_them_stands_afterwards(self, running: Running, bench: str) -> None:
        state = state_of(running.notebook, bench)
        assert (state.rig, state.warm_ups) == (None, 2)
        assert not any("draught" in words for _, words in state.notes)

    def test_a_line_that_is_no_note_is_not_taken_back(self, running: Running, bench: str, client: httpx.Client) -> None:
        number = number_of(running, bench)
        for line in (0, 1, 10_000, last_of(running, bench, Kind.SEALED)):
            assert client.get(f"/t/{number}/logbook/{line}/take-back").status_code == 422

    def test_from_an_older_state_it_is_refused_and_what_was_typed_is_kept(
        self, running: Running, bench: str, client: httpx.Client
    ) -> None:
        old = running.notebook.head(bench).digest
        note(running.notebook, bench, "written elsewhere")
        number, line = number_of(running, bench), last_of(running, bench, Kind.NOTE)
        answer = client.post(f"/t/{number}/logbook/{line}/take-back", data={"why": "my reason", "head": old})
        assert answer.status_code == 422
        assert 'value="my reason"' in answer.text
        assert "Something was written since you began" in answer.text


class TestCorrecting:
    def test_the_old_value_stays_in_the_ledger(self, running: Running, bench: str, client: httpx.Client) -> None:
        number, line = number_of(running, bench), last_of(running, bench, Kind.STOPPED)
        place = f"/t/{number}/logbook/{line}/correct"
        assert "0:16.20" in client.get(place).text
        head = running.notebook.head(bench).digest
        wrong = client.post(place, data={"seconds": "soon", "why": "", "head": head})
        assert re.findall(r'<li><a href="#(\w+)">', wrong.text) == ["seconds", "why"]
        said = {"seconds": "1:01,2", "why": "typed 16.2", "head": head}
        assert client.post(place, data=said).status_code == 303
        state = state_of(running.notebook, bench)
        assert state.runs[0].seconds == 61.2
        assert state.runs[0].corrections[0]["before"] == {"seconds": 16.2}
        assert running.notebook.entries(bench)[line - 1].body["seconds"] == 16.2
        assert "typed 16.2" in client.get(f"/t/{number}/runs/1").text

    def test_not_after_the_result_was_opened(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "open already")
        sealed(running.notebook, test)
        run(running.notebook, test, 16)
        decide(running.notebook, test)
        number, line = number_of(running, test), last_of(running, test, Kind.STOPPED)
        assert client.get(f"/t/{number}/logbook/{line}/correct").status_code == 409


class TestDrawingAgain:
    def test_before_the_first_run_it_is_counted_and_said(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "drawn again")
        sealed(running.notebook, test)
        number, before = number_of(running, test), state_of(running.notebook, test).plan
        head = running.notebook.head(test).digest
        assert client.post(f"/t/{number}/plan/redraw", data={"head": head}).status_code == 422
        assert client.post(f"/t/{number}/plan/redraw", data={"sure": "yes", "head": head}).status_code == 303
        state = state_of(running.notebook, test)
        assert state.draws == 2
        assert before is not None
        assert state.plan is not None
        assert state.plan["seal"]["code"] != before["seal"]["code"]
        assert "2 times" in client.get(f"/t/{number}/plan/seal").text

    def test_after_it_never(self, running: Running, bench: str, client: httpx.Client) -> None:
        number, head = number_of(running, bench), running.notebook.head(bench).digest
        assert "Draw again and seal" not in client.get(f"/t/{number}/plan/redraw").text
        assert client.post(f"/t/{number}/plan/redraw", data={"sure": "yes", "head": head}).status_code == 409


class TestClosing:
    def test_a_closed_test_takes_no_more_runs(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "given up")
        sealed(running.notebook, test)
        number, head = number_of(running, test), running.notebook.head(test).digest
        assert client.post(f"/t/{number}/close", data={"why": "", "head": head}).status_code == 422
        said = {"why": "the wheel was sold", "sure": "yes", "head": head}
        assert client.post(f"/t/{number}/close", data=said).status_code == 303
        assert "the wheel was sold" in client.get(f"/t/{number}/logbook").text
        assert client.post(f"/t/{number}/runs/1/typed", data={"seconds": "61"}).status_code == 409
