"""Slips of the keys come back with the form, and nothing of them is written; what a look found is not asked again."""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import Browser, expect

from tests.web.conftest import Running
from tests.web.made_tests import opened, sealed
from truerun.notebook.entries import Kind
from truerun.web.plan_fields import USUAL
from truerun.workflow.bench import state_of

LOOK = {"source": "on", "control": "off", "end": "standstill"} | {
    f"{side}_{slot}": f"{60 + slot}" for side in ("source", "control") for slot in (1, 2, 3)
}
"""Six invented times of 61 s, 62 s and 63 s on both sides: 62 s on average, 1.03 min."""


def place_of(running: Running, test: str) -> str:
    """Give where the pages of a test are."""
    return next(f"/t/{row.number}" for row in running.notebook.tests() if row.id == test)


class TestAClaim:
    @pytest.mark.parametrize(
        ("size", "said"),
        [("1e9", "it must be 1000 at most"), ("lots", "it must be a number in percent. For 5 of 100 write 5.")],
    )
    def test_of_a_size_that_cannot_be_meant_opens_no_test(
        self, running: Running, client: httpx.Client, size: str, said: str
    ) -> None:
        before = len(running.notebook.tests())
        page = client.post("/new", data={"name": "a slip", "words": "It gains.", "claimed": size, "form": "slip"})
        assert (page.status_code, len(running.notebook.tests())) == (422, before)
        assert said in page.text
        assert f'value="{size}"' in page.text

    def test_that_follows_a_look_keeps_its_spread_and_how_long_a_run_takes(self, client: httpx.Client) -> None:
        found = client.get("/look/result", params=LOOK, timeout=60).text
        link = re.search(r'href="(/new\?[^"]*)"', found)
        assert link is not None
        form = client.get(link[1].replace("&amp;", "&")).text
        hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form))
        made = client.post("/new", data=hidden | {"name": "after a look", "words": "It gains."})
        plan = client.get(made.headers["location"].replace("agreement", "plan"), timeout=60).text
        for name, value in (("run_minutes", "1"), ("pilot_runs", "6"), ("source", "on")):
            assert re.search(rf'name="{name}" value="{value}"', plan), name


class TestAPlan:
    @pytest.mark.parametrize("slip", [("margin", "-2"), ("spread", "0"), ("run_minutes", "-1"), ("spread", "abc")])
    def test_with_a_size_that_cannot_be_stays_at_its_field_and_is_not_kept(
        self, running: Running, client: httpx.Client, slip: tuple[str, str]
    ) -> None:
        test, (name, typed) = opened(running.notebook, "a slipped plan"), slip
        head = running.notebook.head(test).digest
        data = USUAL | {"source": "on", "control": "off", "spread": "1.5", "head": head, "then": "seal", name: typed}
        page = client.post(f"{place_of(running, test)}/plan", data=data, timeout=60)
        assert page.status_code == 422
        assert f'href="#{name}"' in page.text
        assert running.notebook.head(test).digest == head

    def test_that_came_back_and_was_put_right_is_led_back_to_and_not_sent_again(
        self, running: Running, browser: Browser
    ) -> None:
        test = opened(running.notebook, "a slip put right")
        with running.context(browser) as context:
            page = context.new_page()
            page.goto(f"{running.address}{place_of(running, test)}/plan")
            for label, typed in (("With the source", "on"), ("Without it", "off"), ("Spread from run to run", "abc")):
                page.get_by_label(label).fill(typed)
            page.get_by_role("button", name="Go on to the seal").click()
            expect(page.get_by_role("alert")).to_contain_text("to put right")
            page.get_by_label("Spread from run to run").fill("1.5")
            page.get_by_role("button", name="Go on to the seal").click()
            expect(page.get_by_role("heading", level=1)).to_have_text("Seal this plan?")
            page.go_back()  # a browser that would have to send the form again shows a page of its own here
            expect(page.get_by_label("Spread from run to run")).to_have_value("1.5")


class TestATime:
    @pytest.mark.parametrize("seconds", ["1e12", "800:00:00", "abc", "-3"])
    def test_that_cannot_be_is_asked_for_again(self, running: Running, client: httpx.Client, seconds: str) -> None:
        test = opened(running.notebook, "a slipped time")
        sealed(running.notebook, test)
        page = client.post(f"{place_of(running, test)}/runs/1/typed", data={"seconds": seconds})
        assert page.status_code == 422
        assert f'value="{seconds}"' in page.text
        assert not any(each.kind is Kind.STOPPED for each in running.notebook.entries(test))


class TestATemperature:
    @pytest.mark.parametrize("degrees", ["9999", "-300", "warm"])
    def test_that_no_bench_has_begins_no_sitting(self, running: Running, client: httpx.Client, degrees: str) -> None:
        test = opened(running.notebook, "a slipped temperature")
        sealed(running.notebook, test)
        before = state_of(running.notebook, test).sessions
        page = client.post(f"{place_of(running, test)}/session", data={"temperature": degrees, "note": ""})
        assert page.status_code == 422
        assert f'value="{degrees}"' in page.text
        assert state_of(running.notebook, test).sessions == before


class TestAnAddress:
    def test_cut_short_leads_to_where_the_test_goes_on(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "an address cut short")
        place = place_of(running, test)
        asked = client.get(place)
        assert (asked.status_code, asked.headers["location"]) == (303, f"{place}/agreement")
        sealed(running.notebook, test)
        assert client.get(place).headers["location"] == f"{place}/runs/1/sheet"
        assert client.get("/t/9999").status_code == 404
