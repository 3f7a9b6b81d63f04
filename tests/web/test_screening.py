"""A screening on the pages: covered until the last run, luck said, and one touch to the fresh test that decides.

That pages and package agree is checked by reading the same runs from a table; what a screening shows is itself checked
elsewhere, by its error rates.
"""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import Browser, expect

from tests.web.conftest import Running
from tests.web.made_tests import screening
from truerun.workflow.bench import note, state_of
from truerun.workflow.screening import screen
from truerun.workflow.screening_runs import record_screened, screened

LIST = "\n".join(f"position {number}" for number in range(1, 5))


def number_of(running: Running, test: str) -> int:
    """Give the number of a test."""
    return next(row.number for row in running.notebook.tests() if row.id == test)


@pytest.fixture(scope="module")
def done(running: Running) -> str:
    """Give a finished screening in which one place is plainly better."""
    return screening(running.notebook, "one is better", 24, better=0.08)


class TestOpening:
    def test_what_could_say_nothing_comes_back(self, running: Running, client: httpx.Client) -> None:
        before = len(running.notebook.tests())
        said = {"name": "places", "variants": "one\ntwo", "repeats": "2", "end": "speed", "form": "a"}
        for changed in (
            {},
            {"variants": LIST + "\nposition 1"},
            {"variants": LIST, "control": "none such"},
            {"name": ""},
        ):
            answer = client.post("/screening", data=said | changed)
            assert answer.status_code == 422
            assert 'id="troubles"' in answer.text
        assert len(running.notebook.tests()) == before

    def test_a_list_is_drawn_and_sealed_once(self, client: httpx.Client) -> None:
        said = {"name": "Where to put it", "variants": LIST + "\n\n", "repeats": "2", "end": "speed", "form": "b"}
        places = {client.post("/screening", data=said).headers["location"] for _ in range(2)}
        assert len(places) == 1
        page = client.get(places.pop()).text
        assert "Run 1 of 8" in page
        assert "Screening, 0 of 8 runs done" in client.get("/").text


class TestTheRuns:
    def test_they_are_made_in_order_and_stay_covered(self, running: Running, client: httpx.Client) -> None:
        test = screening(running.notebook, "covered", 0)
        place = f"/t/{number_of(running, test)}/screening"
        order = (state_of(running.notebook, test).screening or {})["order"]
        said = {"slot": "1", "seconds": "2:31,4", "sender": "one"}
        assert client.post(place, data=said | {"seconds": "soon"}).status_code == 422
        for _ in range(2):  # sent twice, written once
            assert client.post(place, data=said).status_code == 303
        assert [run.seconds for run in state_of(running.notebook, test).runs] == [151.4]
        assert client.post(place, data=said | {"sender": "again"}).status_code == 409
        wrong = {"slot": "2", "why": "the string slipped", "sender": "two"}
        assert client.post(place + "/wrong", data=wrong).status_code == 303
        page = client.get(place).text
        assert f'<span class="cond">{order[1]}</span>' in page  # the same place again
        for shown in (page, client.get(f"/t/{number_of(running, test)}/logbook").text):
            assert "151.4" not in shown
            assert "2:31" not in shown

    def test_the_sheet_holds_the_order(self, running: Running, client: httpx.Client) -> None:
        test = screening(running.notebook, "on paper", 0)
        text = client.get(f"/t/{number_of(running, test)}/screening/sheet").text
        names = [line.split(",")[1] for line in text.splitlines() if line[:1].isdigit()]
        assert names == (state_of(running.notebook, test).screening or {})["order"]


class TestWhatItShows:
    def test_it_is_what_a_table_of_the_same_runs_shows(self, running: Running, done: str, client: httpx.Client) -> None:
        state = state_of(running.notebook, done)
        plan = dict(state.screening or {})
        columns = {
            "run": [run.slot for run in state.runs],
            "condition": [plan["order"][run.slot - 1] for run in state.runs],
            "time [s]": [run.seconds for run in state.runs],
        }
        table = screen(columns, plan)
        assert screened(state).screened.sentence == table.screened.sentence
        assert table.candidate == "position 5"
        page = client.get(f"/t/{number_of(running, done)}/screening", timeout=60).text
        assert table.screened.headline.replace('"', "&#34;") in page
        assert "Luck alone, best of 8" in page
        assert not re.search(r"adds energy|takes energy", page)

    def test_one_touch_opens_the_fresh_test_once(self, running: Running, done: str, client: httpx.Client) -> None:
        place = f"/t/{number_of(running, done)}/screening/fresh"
        opened = [client.post(place).headers["location"] for _ in range(2)]
        assert opened[0] == opened[1]
        other = state_of(running.notebook, state_of(running.notebook, done).challenges[0]["test"])
        assert other.answers is not None
        assert other.answers["test"] == done
        assert other.request is not None
        assert other.request["source"] == "position 5"
        assert other.request["main_test"] == (state_of(running.notebook, done).screening or {})["id"]
        assert other.runs == ()  # none of the screening's runs counts
        assert "position 5" in client.get(opened[0], timeout=60).text
        second = client.post(place, data={"variant": "position 2"}).headers["location"]
        assert second != opened[0]
        assert client.post(place, data={"variant": "nowhere"}).status_code == 422
        base = f"/t/{number_of(running, done)}"
        page = client.get(f"{base}/screening", timeout=60).text
        assert "position 5 has a fresh test of its own: Plan being made" in page
        assert "Make a fresh sealed test of it" not in page
        assert "Until then nobody knows" not in page
        assert "The road of this test" not in client.get(f"{base}/logbook").text  # a screening has no stages
        assert f'href="{base}/screening">found by the screening' in client.get(opened[0], timeout=60).text

    @pytest.mark.parametrize("stage", ["claim", "agreement", "plan", "runs", "verdict", "controls", "report"])
    def test_it_has_no_stages_and_whoever_asks_for_one_is_led_back(
        self, running: Running, done: str, client: httpx.Client, stage: str
    ) -> None:
        base = f"/t/{number_of(running, done)}"
        assert client.get(f"{base}/{stage}").headers["location"] == f"{base}/screening"
        assert client.get(f"{base}/rig").status_code == 200

    def test_what_was_noted_stands_below(self, running: Running, client: httpx.Client) -> None:
        test = screening(running.notebook, "noted", 1)
        note(running.notebook, test, "The window was open & shut.")
        assert "The window was open &amp; shut." in client.get(f"/t/{number_of(running, test)}/screening").text

    def test_without_a_candidate_nothing_follows(self, running: Running, client: httpx.Client) -> None:
        test = screening(running.notebook, "all alike", 24)
        assert screened(state_of(running.notebook, test)).candidate is None
        place = f"/t/{number_of(running, test)}/screening"
        assert "screening/fresh" not in client.get(place, timeout=60).text
        assert client.post(place + "/fresh").status_code == 409


class TestTheWatch:
    def test_the_second_press_fills_the_time_in(self, running: Running, browser: Browser) -> None:
        test = screening(running.notebook, "by the watch", 0)
        context = running.context(browser)
        page = context.new_page()
        page.clock.install()
        page.goto(f"{running.address}/t/{number_of(running, test)}/screening")
        page.get_by_role("button", name="Start the watch").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#watch")).to_have_text("It came to its end: stop")
        page.wait_for_timeout(350)
        page.keyboard.press("Enter") if page.locator("#watch").evaluate(
            "each => each === document.activeElement"
        ) else None
        expect(page.locator("#seconds")).not_to_have_value("")
        page.get_by_role("button", name="Write it down").click()
        expect(page.get_by_text("Run 2 of 24")).to_be_visible()
        context.close()


def test_a_time_that_is_none_is_refused(running: Running) -> None:
    test = screening(running.notebook, "no time", 0)
    with pytest.raises(ValueError, match="above 0"):
        record_screened(running.notebook, test, 1, 0.0)
