"""Look first in a browser: passes of a wheel on the virtual bench are tapped, and its loss is read back off the page.

Closed form: under dry friction alone a wheel is uniformly retarded (Bansal, Engineering Mechanics, example 13.5,
p. 473), so that it loses the same speed each second. Touch targets: WCAG 2.2 success criterion 2.5.5 asks for 44 px.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Literal

import httpx
import numpy as np
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect

from tests.web.conftest import Running
from tests.web.test_in_a_browser import what_is_wrong
from truerun.virtual.bench import simulate_taps
from truerun.virtual.course import simulate_run, true_passes
from truerun.virtual.drag_laws import PowerLaw
from truerun.virtual.rig import Launch, Rig

R_MIN = np.pi / 30
DRAG = {"source": 0.044, "control": 0.040}
"""What is put in [rad/s^2]."""

AFTER_A_TAP = 140
"""Milliseconds after which another tap is no longer taken for the same one."""

PRESS = """([times, key]) => { for (const time of times) {
  const event = new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true });
  Object.defineProperty(event, "timeStamp", { value: time - performance.timeOrigin });
  document.body.dispatchEvent(event);
} }"""
"""Presses a key at given moments of the page's clock [ms since 1970]."""

expect.set_options(timeout=15_000)


def tapped(side: str, rng: np.random.Generator) -> tuple[list[float], float]:
    """Give the taps of one run on the virtual bench [ms], and when the wheel stood still."""
    launch = Launch(rng.uniform(70, 80) * R_MIN, angle=-rng.uniform(0.1, 6.2))
    course = simulate_run(Rig(PowerLaw(((0, DRAG[side]),))), launch, tolerance=1e-8)
    taps = simulate_taps(true_passes(course).times, rng, 0.07, 0.001)
    assert course.rest is not None
    return [1000 * float(time) for time in taps], 1000 * course.rest


def whole_look(seed: int) -> str:
    """Give the address of six tapped runs that were left off while the wheel turned."""
    rng = np.random.default_rng(seed)
    said = {"source": "arc in", "control": "arc out", "end": "standstill", "how": "taps"}
    for slot in (1, 2, 3):
        for side in DRAG:
            steps = np.diff(np.round(tapped(side, rng)[0]).astype(int))
            said[f"taps_{side}_{slot}"] = ".".join(map(str, steps))
    return str(httpx.QueryParams(said))


def press(page: Page, times: Sequence[float], key: str = " ") -> None:
    """Press a key at moments of the page's clock, which began a thousand seconds ago."""
    page.evaluate(PRESS, [list(times), key])


@pytest.fixture
def context(running: Running, browser: Browser) -> Iterator[BrowserContext]:
    """Give a browser that was let in, as wide as a small phone."""
    made = running.context(browser, viewport={"width": 360, "height": 740}, has_touch=True, reduced_motion="reduce")
    yield made
    made.close()


@pytest.fixture
def look(running: Running, context: BrowserContext) -> Page:
    """Open the page, where passes are tapped."""
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.goto(f"{running.address}/look")
    page.get_by_label("Tap at every pass").check()
    return page


class TestAWheelThatIsTapped:
    def test_its_loss_stands_on_the_page_within_the_uncertainty_that_the_page_states(self, look: Page) -> None:
        rng = np.random.default_rng(31)
        for run in range(6):
            side = ("source", "control")[run % 2]
            taps, rest = tapped(side, rng)
            start = 1.7e12 + 1e6 * run
            press(look, [start + time for time in taps[:20]])
            if run == 1:  # in the middle of it the page is loaded anew
                look.reload()
                expect(look.locator("#count")).to_have_text("20")
            press(look, [start + time for time in taps[20:]])
            expect(look.locator("#count")).to_have_text(str(len(taps)))
            press(look, [start + rest], "s")
            expect(look.locator(f"#{side}_{run // 2 + 1}")).to_have_value(f"{(rest - taps[0]) / 1000:.2f}")
        expect(look.locator("#look-show")).to_be_focused()
        look.keyboard.press("Enter")
        look.wait_for_url("**/look/result?*")
        for place, side in enumerate(("source", "control")):
            told = look.locator(".slowing dd").nth(place).inner_text()
            value, uncertainty = (R_MIN * float(number) for number in re.findall(r"[\d.]+", told)[:2])
            assert 0.0005 < uncertainty / DRAG[side] < 0.02
            assert abs(value - DRAG[side]) < 3.3 * uncertainty  # one page in five hundred would not, by luck
        text = look.locator("main").inner_text()
        assert "until it stopped" in text
        assert "One tap scatters by 0.0" in text
        assert "A look never gives a verdict" in text
        assert not re.search(r"adds energy|takes energy|No difference found", text)
        look.get_by_role("link", name="Back to the times").click()
        expect(look.locator("#source_1 ~ .tapped")).to_contain_text("taps")
        look.reload()
        expect(look.locator("#control_3 ~ .tapped")).to_contain_text("taps")

    @pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (360, "dark")])
    def test_axe_finds_nothing_while_it_runs_and_afterwards(
        self, running: Running, browser: Browser, width: int, scheme: Literal["light", "dark"]
    ) -> None:
        viewport: ViewportSize = {"width": width, "height": 740}
        context = running.context(browser, viewport=viewport, color_scheme=scheme, reduced_motion="reduce")
        page = context.new_page()
        page.goto(f"{running.address}/look")
        page.get_by_label("Tap at every pass").check()
        taps, rest = tapped("source", np.random.default_rng(33))
        start = float(page.evaluate("performance.timeOrigin + performance.now()")) - rest
        press(page, [start + time for time in taps])
        expect(page.locator("#enough")).to_contain_text("Slow enough to leave off")
        assert what_is_wrong(page, width) == []
        press(page, [start + rest], "s")
        assert what_is_wrong(page, width) == []
        page.goto(f"{running.address}/look/result?{whole_look(34)}")
        assert what_is_wrong(page, width) == []
        context.close()

    def test_taps_become_the_pilot_of_a_plan_with_one_touch(self, running: Running, context: BrowserContext) -> None:
        page = context.new_page()
        page.goto(f"{running.address}/look/result?{whole_look(32)}")
        page.get_by_role("link", name="Plan a test from these runs").tap()
        expect(page.locator("main")).to_contain_text(
            "how much the 6 runs of your look differed, and how long they took"
        )


class TestNothingIsLost:
    def test_a_dead_server_is_asked_again(self, look: Page) -> None:
        for place, seconds in enumerate(("52", "61", "49", "63")):
            look.locator(".place input[type=text]").nth(place).fill(seconds)
        look.route("**/look/result?*", lambda route: route.abort())
        look.locator("#look-show").tap()
        expect(look.locator("#look-asked")).to_contain_text("kept in this browser: truerun does not answer")
        look.unroute("**/look/result?*")
        look.wait_for_url("**/look/result?*")
        expect(look.locator("h1")).to_contain_text("With magnets on the wheel ran about")

    def test_a_closed_window_keeps_its_runs_and_the_running_watch(self, look: Page, context: BrowserContext) -> None:
        look.locator("#control_1").fill("61.2")
        press(look, [1.7e12 + 900 * tap for tap in range(5)])
        address = look.url
        look.close()
        page = context.new_page()
        page.goto(address)
        expect(page.locator("#count")).to_have_text("5")
        expect(page.locator("body")).to_have_attribute("data-state", "timing")
        page.locator("#look-wrong").tap()
        expect(page.locator("#source_1")).to_have_value("")
        expect(page.locator("#control_1")).to_have_value("61.2")

    def test_a_new_look_is_begun_by_two_presses(self, look: Page) -> None:
        look.locator("#source_1").fill("52")
        anew = look.locator("#look-anew")
        anew.tap()
        expect(look.locator("#source_1")).to_have_value("52")
        anew.tap()
        expect(look.locator("#source_1")).to_have_value("")


class TestFewOrOddTaps:
    def test_too_few_without_a_standstill_free_the_place(self, look: Page) -> None:
        press(look, [1.7e12 + 900 * tap for tap in range(4)])
        press(look, [1.7e12 + 4000], "e")
        expect(look.locator("#look-told")).to_have_text("4 taps are too few to use; 12 are needed. Do this run again.")
        expect(look.locator("#source_1 ~ .tapped")).not_to_contain_text("taps")

    def test_a_tap_a_moment_after_another_is_one_tap(self, look: Page) -> None:
        press(look, [1.7e12, 1.7e12 + 60, 1.7e12 + 800, 1.7e12 + 860])
        expect(look.locator("#count")).to_have_text("2")

    def test_few_are_said_on_the_result_and_the_stopwatch_stands_in(self, client: httpx.Client) -> None:
        said = {"source": "on", "control": "off", "end": "standstill", "how": "taps", "taps_source_1": "900.910.930"}
        times = {"source_1": "52", "source_2": "49", "control_1": "61", "control_2": "63"}
        page = client.get("/look/result", params=said | times).text
        assert "There are 4 taps while it still ran fast; at least 12 are needed" in page
        assert "stopwatch instead" in page
        assert "What ended these runs was a stop" in page

    @pytest.mark.parametrize("taps", ["900.x", "900.-1", "0.900", "9" * 9, "1." * 1001])
    def test_damaged_taps_come_back_to_their_place(self, client: httpx.Client, taps: str) -> None:
        said = {"source": "on", "control": "off", "end": "standstill", "taps_source_1": taps}
        answer = client.get("/look/result", params=said)
        assert answer.status_code == 422
        assert "came through damaged" in answer.text


class TestByHand:
    def test_a_side_whose_places_are_filled_gives_way_to_the_other(self, look: Page) -> None:
        for place in (1, 2, 3):
            look.locator(f"[name=source_{place}]").fill("61.2")
        look.locator("#look-source").tap()
        expect(look.locator("#look-next")).to_contain_text("magnets off")
        expect(look.locator("#look-start")).to_be_enabled()

    def test_the_keyboard_alone_does_it(self, running: Running, context: BrowserContext) -> None:
        page = context.new_page()
        page.goto(f"{running.address}/look")
        for _ in range(12):  # to the choice of how it is timed
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.name") == "how":
                break
        page.keyboard.press("ArrowDown")
        expect(page.get_by_label("Tap at every pass")).to_be_checked()
        for _ in range(4):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.id") == "look-start":
                break
        page.keyboard.press("Enter")
        expect(page.locator("#look-go")).to_be_focused()
        for pressed in ("Space", "Enter", "Space"):
            page.wait_for_timeout(AFTER_A_TAP)
            page.keyboard.press(pressed)
        expect(page.locator("#passes")).to_have_text("4")
        page.keyboard.press("Tab")
        expect(page.locator("#look-stopped")).to_be_focused()
        page.keyboard.press("Enter")
        expect(page.locator("#look-told")).to_contain_text("4 taps. Too few taps to use: its time stands alone.")
        expect(page.locator("#look-start")).to_be_focused()
        page.keyboard.press("1")
        expect(page.locator("#look-source")).to_have_attribute("aria-pressed", "true")

    @pytest.mark.parametrize(("width", "height"), [(360, 640), (360, 740), (820, 1180), (1280, 800)])
    def test_the_second_tap_falls_on_the_pad_where_the_first_one_was(self, look: Page, width: int, height: int) -> None:
        look.set_viewport_size({"width": width, "height": height})
        first = look.locator("#look-start").bounding_box()
        assert first is not None
        place = (first["x"] + first["width"] / 2, first["y"] + first["height"] / 2)
        assert place[1] < height  # on the screen without scrolling
        for _ in range(3):  # the eyes are on the wheel, the finger stays
            look.touchscreen.tap(*place)
            look.wait_for_timeout(AFTER_A_TAP)
        expect(look.locator("#passes")).to_have_text("3")

    def test_a_thumb_does_it_and_every_key_is_large(self, look: Page) -> None:
        look.locator("#look-start").tap()
        for _ in range(2):
            look.wait_for_timeout(AFTER_A_TAP)
            look.locator("#look-go").tap()
        expect(look.locator("#passes")).to_have_text("3")
        for key, least in (("#look-go", 150), ("#look-stopped", 44), ("#look-leave", 44), ("#look-wrong", 44)):
            size = look.locator(key).bounding_box()
            assert size is not None
            assert size["height"] >= least
            assert size["y"] + size["height"] <= 740  # on the screen without scrolling
        look.locator("#look-stopped").tap()
        expect(look.locator("body")).to_have_attribute("data-state", "ready")
        expect(look.locator("#source_1")).not_to_have_value("")
        expect(look.locator("#control_1")).to_have_value("")  # one touch ended one run
