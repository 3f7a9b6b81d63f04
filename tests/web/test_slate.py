"""The slate before the camera. WCAG 2.2 success criterion 2.3.1: at most three flashes in any second."""

from __future__ import annotations

import httpx
import pytest
from playwright.sync_api import Browser

from tests.web.conftest import Running
from tests.web.made_tests import opened, run, sealed
from truerun.trial.seal import spoken_code
from truerun.workflow.bench import state_of

COUNT_FLASHES = """new Promise(done => {
  let flashes = 0;
  new MutationObserver(() => { if (!document.getElementById("white").hidden) flashes += 1; })
    .observe(document.getElementById("white"), {attributes: true});
  const pressing = setInterval(() => document.getElementById("flash").click(), 40);
  setTimeout(() => { clearInterval(pressing); done(flashes); }, 2500);
})"""


@pytest.fixture(scope="module")
def half_done(running: Running) -> str:
    """Give a test with eight runs of sixteen done."""
    test = opened(running.notebook)
    sealed(running.notebook, test)
    run(running.notebook, test, 8)
    return test


class TestTheSlate:
    def test_it_names_run_condition_seal_and_the_last_line(
        self, running: Running, client: httpx.Client, half_done: str
    ) -> None:
        state = state_of(running.notebook, half_done)
        text = client.get("/t/1/runs/9/slate").text
        assert "<b>9</b> <small>of 16" in text
        assert f"</svg>{state.order[8]}</span>" in text
        assert state.plan is not None
        assert state.plan["seal"]["code"] in text
        assert spoken_code(state.head.digest)[:9] in text

    def test_a_run_to_come_has_none_yet(self, client: httpx.Client, half_done: str) -> None:
        assert half_done
        assert [client.get(f"/t/1/runs/{slot}/slate").status_code for slot in (0, 8, 10, 17)] == [422, 200, 422, 422]

    def test_the_run_sheet_leads_to_it(self, client: httpx.Client, half_done: str) -> None:
        assert half_done
        assert 'href="/t/1/runs/9/slate"' in client.get("/t/1/runs/9/sheet").text

    @pytest.mark.parametrize(
        ("more", "shown"), [({"blinding": 2}, "Condition covered"), ({"drawn_by": "bag"}, "Cartridge 1")]
    )
    def test_what_is_hidden_at_the_bench_is_hidden_from_the_camera(
        self, running: Running, client: httpx.Client, more: dict[str, object], shown: str
    ) -> None:
        test = opened(running.notebook, f"blind {shown}")
        sealed(running.notebook, test, **more)
        number = len(running.notebook.tests())
        text = client.get(f"/t/{number}/runs/1/slate").text
        assert shown in text
        assert not any(f"</svg>{name}" in text for name in ("arc in", "arc out"))


class TestTheFlash:
    @pytest.mark.parametrize("motion", ["no-preference", "reduce"])
    def test_it_comes_at_most_three_times_a_second_and_small_where_less_motion_is_asked(
        self, running: Running, browser: Browser, half_done: str, motion: str
    ) -> None:
        assert half_done
        context = running.context(browser, reduced_motion=motion, viewport={"width": 1280, "height": 720})
        page = context.new_page()
        page.goto(f"{running.address}/t/1/runs/9/slate")
        assert 1 <= page.evaluate(COUNT_FLASHES) <= 3  # pressed 25 times a second for 2.5 s
        page.evaluate("document.getElementById('white').hidden = false")
        size = page.locator("#white").bounding_box()
        assert size is not None
        assert (size["width"], size["height"]) == ((1280, 720) if motion == "no-preference" else (120, 120))
        page.keyboard.press("Escape")
        page.wait_for_url("**/runs/9/sheet")
        context.close()
