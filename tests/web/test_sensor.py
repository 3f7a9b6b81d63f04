"""The sensor in the browser, with the made-up one: open, watch, check, arm, end; what came stands in the notebook."""

from __future__ import annotations

import os
from collections.abc import Iterator

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.web.conftest import Running
from tests.web.made_tests import opened, sealed
from tests.web.test_in_a_browser import what_is_wrong
from truerun.notebook.entries import Kind
from truerun.workflow.bench import open_test, state_of, write_claim
from truerun.workflow.sensor_stand import MADE_UP

pytestmark = pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals")

expect.set_options(timeout=15_000)

SENSOR = "/t/1/sensor"


@pytest.fixture(scope="module")
def test_id(running: Running) -> str:
    """Give an invented test that is ready for its first run, and one beside it that is not invented."""
    found = opened(running.notebook)
    sealed(running.notebook, found)
    real = open_test(running.notebook, "a real one").id
    write_claim(running.notebook, real, "With the arc in place the wheel gains on every turn.")
    sealed(running.notebook, real)
    return found


@pytest.fixture
def page(running: Running, browser: Browser, test_id: str) -> Iterator[Page]:
    """Give the page of the sensor with nothing open; whatever is open is let go afterwards."""
    assert test_id
    context = running.context(browser, viewport={"width": 390, "height": 844})
    made = context.new_page()
    made.set_default_timeout(20_000)
    made.goto(running.address + SENSOR)
    yield made
    with running.client() as client:
        client.post(SENSOR, data={"do": "end", "kind": "well"})
        client.post(SENSOR, data={"do": "unplug"})
    context.close()


def plugged(page: Page) -> None:
    """Open the made-up sensor."""
    page.get_by_label("Its port").select_option(MADE_UP)
    page.get_by_label("Marks on the wheel").fill("12")
    page.get_by_role("button", name="Open it").click()


class TestTheSensorInTheBrowser:
    def test_shows_its_speed_as_it_comes(self, page: Page) -> None:
        plugged(page)
        expect(page.locator("#speed")).to_contain_text("r/min", timeout=20_000)
        before = page.locator("#passes").text_content() or ""
        expect(page.locator("#passes")).not_to_have_text(before, timeout=20_000)
        expect(page.get_by_text("It is made up: nothing is measured.")).to_be_visible()

    def test_says_what_to_do_in_the_check(self, page: Page) -> None:
        plugged(page)
        page.get_by_role("button", name="Check the sensor").click()
        expect(page.locator("#check")).to_contain_text("so far", timeout=20_000)

    def test_armed_keeps_the_run_and_covers_its_speed(self, page: Page, running: Running, test_id: str) -> None:
        plugged(page)
        page.get_by_role("button", name="Arm it for run 1").click()
        expect(page.get_by_role("heading", name="Run 1 is armed")).to_be_visible()
        expect(page.locator("#speed")).to_have_text("the wheel turns", timeout=20_000)
        expect(page.locator("#passes")).to_contain_text("kept")
        expect(page.locator("#passes")).not_to_have_text("0 kept", timeout=20_000)
        assert "r/min" not in page.content()
        page.get_by_label("All was well").check()
        page.get_by_role("button", name="End the run").click()
        expect(page.locator("p.lede")).to_contain_text("passes are kept")
        state = state_of(running.notebook, test_id)
        assert state.runs[0].counts
        assert len(state.runs[0].passes) > 0
        assert state.next_slot == 2
        page.get_by_role("link", name="Go to run 2").click()
        expect(page).to_have_url(f"{running.address}/t/1/runs/2/sheet")

    def test_a_run_that_went_wrong_is_left_out_and_keeps_its_passes(
        self, page: Page, running: Running, test_id: str
    ) -> None:
        slot = state_of(running.notebook, test_id).next_slot
        plugged(page)
        page.get_by_role("button", name="Arm it").click()
        expect(page.locator("#passes")).not_to_have_text("0 kept", timeout=20_000)
        page.get_by_label("The bench or the wheel was bumped").check()
        page.get_by_role("button", name="End the run").click()
        expect(page.locator("p.lede")).to_contain_text("is done again")
        state = state_of(running.notebook, test_id)
        assert state.next_slot == slot
        assert state.runs[-1].left_out == "bumped"
        assert state.runs[-1].passes


class TestTheOpenPages:
    @pytest.mark.parametrize("then", ["check", "arm"])
    def test_axe_finds_nothing_and_they_fit(self, page: Page, then: str) -> None:
        plugged(page)
        page.get_by_role("button", name={"check": "Check the sensor", "arm": "Arm it"}[then]).click()
        expect(page.locator("#passes")).to_be_visible()
        assert what_is_wrong(page, 390) == []


class TestWhatIsRefused:
    @pytest.fixture
    def client(self, running: Running, test_id: str) -> Iterator[httpx.Client]:
        assert test_id
        with running.client() as made:
            yield made
            made.post(SENSOR, data={"do": "unplug"})

    @pytest.mark.parametrize("port", ["/etc/passwd", "", "ttyNone"])
    def test_a_port_that_is_not_plugged_in(self, client: httpx.Client, port: str) -> None:
        answer = client.post(SENSOR, data={"do": "plug", "port": port, "marks": "12", "baud": "115200"})
        assert answer.status_code == 422
        assert "port" in answer.text

    @pytest.mark.parametrize("marks", ["", "0", "-1", "1.5", "99999999999999999999", "twelve"])
    def test_no_number_of_marks(self, client: httpx.Client, marks: str) -> None:
        answer = client.post(SENSOR, data={"do": "plug", "port": MADE_UP, "marks": marks, "baud": "115200"})
        assert answer.status_code == 422
        assert "The marks a turn" in answer.text

    @pytest.mark.parametrize("do", ["check", "arm", "end", "fly"])
    def test_what_needs_an_open_sensor(self, client: httpx.Client, do: str) -> None:
        assert client.post(SENSOR, data={"do": do, "kind": "well"}).status_code in (409, 422)

    def test_made_up_passes_in_a_test_that_is_not_invented(self, client: httpx.Client, running: Running) -> None:
        client.post(SENSOR, data={"do": "plug", "port": MADE_UP, "marks": "12", "baud": "115200"})
        answer = client.post("/t/2/sensor", data={"do": "arm"})
        assert answer.status_code == 409
        assert "the sensor is made up" in answer.text
        real = running.notebook.tests()[1].id
        assert all(entry.kind is not Kind.RUN_BEGUN for entry in running.notebook.entries(real))

    def test_a_run_of_one_test_from_the_page_of_another(self, client: httpx.Client, running: Running) -> None:
        invented = running.notebook.tests()[0].id
        client.post(SENSOR, data={"do": "plug", "port": MADE_UP, "marks": "12", "baud": "115200"})
        assert client.post(SENSOR, data={"do": "arm"}).status_code == 303
        for do in ("arm", "end"):
            assert client.post("/t/2/sensor", data={"do": do, "kind": "well"}).status_code == 409
        client.post(SENSOR, data={"do": "end", "kind": "bumped"})
        assert state_of(running.notebook, invented).runs[-1].left_out == "bumped"

    def test_the_script_is_told_that_nothing_is_open(self, client: httpx.Client) -> None:
        assert client.get(SENSOR + "/now").json() == {"open": False, "shown": None}
