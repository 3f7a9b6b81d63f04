"""A plan that can never decide is said to at once, why, and one touch makes it decide; the seal is no dead end.

Numbers of orders: two blocks of four have 6^2 = 36, four of eight places C(8, 4) = 70, three blocks 6^3 = 216. Two of
each split the runs as cleanly as can be, one with the source longer and one shorter: 2/36 = 5.6 %, 2/70 = 2.9 %. The
50 well-mixed orders of 4 + 4 were counted with itertools alone below.
"""

from __future__ import annotations

from itertools import combinations, groupby

import httpx
import pytest
from playwright.sync_api import Browser, expect

from tests.web.conftest import Running
from tests.web.made_tests import opened
from truerun.web.plan_fields import USUAL
from truerun.workflow.bench import draft_plan, state_of
from truerun.workflow.ways_out import dead_end_of

FORM = USUAL | {"source": "arc in", "control": "arc out", "spread": "1.54", "runs": "8"}


def place_of(running: Running, name: str, draft: dict[str, object] | None = None) -> tuple[str, str]:
    """Open a test, with the draft of a plan; give its id and where its plan is."""
    test = opened(running.notebook, name)
    if draft is not None:
        draft_plan(running.notebook, test, draft, running.notebook.head(test).digest)
    return test, next(f"/t/{row.number}/plan" for row in running.notebook.tests() if row.id == test)


class TestWhyAndWhatWouldDo:
    def test_four_and_four_in_blocks(self) -> None:
        found = dead_end_of({"runs": 8})
        assert found is not None
        for words in ("4 + 4 runs", "36 orders", "2 of them", "5.6\N{NO-BREAK SPACE}%", "at most"):
            assert words in found.why
        assert [dict(way.changes) for way in found.ways] == [
            {"runs": "8", "orders": "restricted"},
            {"runs": "8", "orders": "complete"},
            {"runs": "12", "orders": "blocks-of-four"},
        ]
        assert [way.gives.split(",")[0] for way in found.ways] == ["50 orders", "70 orders", "216 orders"]

    def test_fifty_well_mixed_orders_counted_another_way(self) -> None:
        # no condition more than three times running, mean places of both within two
        kept = 0
        for source in combinations(range(8), 4):
            line = [place in source for place in range(8)]
            control = [place for place in range(8) if place not in source]
            longest = max(len(list(run)) for _, run in groupby(line))
            kept += longest <= 3 and abs(sum(source) - sum(control)) / 4 <= 2
        assert kept == 50

    @pytest.mark.parametrize("orders", ["blocks-of-four", "pairs", "complete", "restricted", "abba-blocks"])
    @pytest.mark.parametrize("runs", [8, 12, 16, 20, 24, 32])
    @pytest.mark.parametrize("end", [{"end": "speed"}, {"end": "standstill", "stop": "lies-still"}])
    def test_every_way_out_leads_out(self, orders: str, runs: int, end: dict[str, str]) -> None:
        request = {"orders": orders, "runs": runs} | end
        found = dead_end_of(request)
        for way in found.ways if found is not None else ():
            assert dead_end_of(request | dict(way.changes)) is None
        assert found is None or found.ways

    def test_a_stop_with_a_push_by_hand_asks_for_a_mechanism(self) -> None:
        said = {"end": "standstill", "stop": "lies-still", "hill_bound": 0.01, "launch": "hand"}
        found = dead_end_of(said)
        assert found is not None
        assert [dict(way.changes) for way in found.ways] == [{"launch": "mechanical"}]


class TestThePages:
    def test_a_plan_that_cannot_decide_does_not_reach_the_seal(self, running: Running, client: httpx.Client) -> None:
        test, place = place_of(running, "too small for the seal")
        head = running.notebook.head(test).digest
        answer = client.post(place, data=FORM | {"head": head, "then": "seal"})
        assert answer.status_code == 422
        assert "36 orders" in answer.text
        assert "Keep 4 + 4 runs, in any order" in answer.text
        assert state_of(running.notebook, test).request is None

    def test_without_script_one_touch_makes_the_change(self, running: Running, client: httpx.Client) -> None:
        test, place = place_of(running, "changed without script")
        head = running.notebook.head(test).digest
        answer = client.post(place, data=FORM | {"head": head, "change": "runs=8&orders=complete"})
        assert answer.status_code == 200
        assert "can never decide" not in answer.text
        assert 'value="complete" selected' in answer.text
        went = client.post(place, data=FORM | {"head": head, "orders": "complete", "then": "seal"})
        assert (went.status_code, went.headers["location"]) == (303, f"{place}/seal")

    def test_a_change_may_touch_only_what_a_way_out_changes(self, running: Running, client: httpx.Client) -> None:
        test, place = place_of(running, "a change made up")
        head = running.notebook.head(test).digest
        answer = client.post(place, data=FORM | {"head": head, "change": "runs=12&source=stolen"})
        assert 'value="arc in"' in answer.text
        assert "stolen" not in answer.text

    def test_a_kept_draft_is_no_dead_end_on_the_seal(self, running: Running, client: httpx.Client) -> None:
        draft = {"source": "arc in", "control": "arc out", "end": "speed", "runs": 8, "spread": 0.0154}
        test, place = place_of(running, "kept too small", draft)
        page = client.get(f"{place}/seal").text
        assert "36 orders" in page
        assert "disabled" not in page
        head = running.notebook.head(test).digest
        sent = {"head": head, "change": "runs=12&orders=blocks-of-four"}
        assert client.post(f"{place}/seal", data=sent).status_code == 303
        asked = state_of(running.notebook, test).request
        assert asked is not None
        assert (asked["runs"], asked["source"], asked["spread"]) == (12, "arc in", 0.0154)
        assert "Draw the order and seal the plan" in client.get(f"{place}/seal", timeout=60).text


class TestInABrowser:
    def test_it_is_said_at_once_and_one_touch_mends_it(self, running: Running, browser: Browser) -> None:
        _, place = place_of(running, "touched")
        context = running.context(browser)
        page = context.new_page()
        page.goto(running.address + place)
        box = page.locator("#deadend")
        expect(box).to_be_hidden()
        page.get_by_role("radio", name="4 + 4").check(force=True)
        expect(box).to_contain_text("36 orders")
        page.get_by_role("button", name="Keep 4 + 4 runs, in any order").click()
        expect(box).to_be_hidden()
        expect(page.locator("#orders")).to_have_value("complete")
        expect(page.locator("[data-figure=orders]")).to_have_text("70", timeout=60_000)
        page.locator("#orders").select_option("pairs")
        expect(box).to_contain_text("16 orders")
        expect(page.locator("#sets tbody tr.chosen")).to_contain_text("cannot decide", timeout=60_000)
        context.route("**/plan/trade", lambda route: route.abort())
        page.get_by_role("button", name="Make it 6 + 6 runs").click()
        expect(page.locator("#sets tbody")).to_be_hidden()  # what it said was of the plan before
        expect(page.get_by_role("radio", name="6 + 6")).to_be_checked()
        expect(page.locator("[data-figure=orders]")).to_have_text("64", timeout=60_000)
        context.close()

    def test_enter_in_a_field_makes_no_change(self, running: Running, browser: Browser) -> None:
        _, place = place_of(running, "entered")
        context = running.context(browser)
        page = context.new_page()
        page.goto(running.address + place)
        page.get_by_role("radio", name="4 + 4").check(force=True)
        expect(page.locator("#deadend")).to_contain_text("36 orders")
        page.locator("#source").fill("arc in")
        page.locator("#control").fill("arc out")
        page.locator("#control").press("Enter")
        expect(page.locator("#troubles")).to_contain_text("never decide")
        expect(page.get_by_role("radio", name="4 + 4")).to_be_checked()
        context.close()
