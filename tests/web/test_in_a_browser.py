"""Every page in a browser: axe finds nothing in either scheme, nothing is too wide, nothing is asked for elsewhere.

The rules are those of axe-core (tests/vendor/axe, MPL-2.0): WCAG 2.2 A and AA, and its best practices.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.web.conftest import Running
from tests.web.made_tests import every_stage

AXE = (Path(__file__).parents[1] / "vendor" / "axe" / "axe.min.js").read_text(encoding="utf-8")
OPEN_ALL = "document.querySelectorAll('details').forEach(each => { each.open = true })"
LOOK = "source=magnets+on&control=magnets+off&end=standstill&source_1=52&source_2=49&control_1=61&control_2=63"

PAGES = (
    "/",
    "/keys",
    "/settings",
    "/new",
    "/nowhere",
    "/look",
    "/phones",
    f"/look/result?{LOOK}",
    "/look/result?source=a&control=a&end=x&source_1=fast",
    "/t/1/claim",
    "/t/1/agreement",
    "/t/1/agreement/claimant",
    "/t/1/runs",
    "/t/1/verdict",
    "/t/1/report",
    "/t/2/plan",
    "/t/2/rig",
    "/t/2/energy",
    "/t/6/rig",
    "/t/6/energy",
    "/t/2/agreement",
    "/t/3/claim",
    "/t/3/plan/seal",
    "/t/3/plan/redraw",
    "/t/3/session",
    "/t/4/logbook",
    "/t/4/close",
    "/t/4/logbook/7/take-back",
    "/t/4/logbook/11/correct",
    "/t/3/warm-up",
    "/t/4/runs",
    "/t/4/sensor",
    "/t/4/runs/1/sheet",
    "/t/4/runs/9/sheet",
    "/t/4/runs/9/sheet#wrong",
    "/t/4/runs/9/slate",
    "/t/4/runs/9/typed",
    "/t/4/runs/3/withdraw",
    "/t/4/runs/3",
    "/t/4/runs/3/measured",
    "/t/4/runs/9/guess",
    "/t/4/plan/sheet",
    "/t/4/verdict",
    "/t/4/verdict/break",
    "/t/5/verdict",
    "/t/6/verdict/opened",
    "/t/6/verdict",
    "/t/6/controls",
    "/t/1/controls",
    "/t/6/challenge",
    "/t/6/report",
    "/t/6/cards",
    "/t/6/runs",
    "/screening",
    "/t/7/screening",
    "/t/8/screening",
)

REFUSED = ("/nowhere", "/look/result?source=a&control=a&end=x&source_1=fast")
"""Those that say what is wrong with the question."""

EVERYDAY = [(path, *sight) for path, sight in zip(PAGES, cycle([(1280, "light"), (360, "dark")]), strict=False)]
"""Each page once: wide and light, or narrow and dark; all four together are the slow test."""


@pytest.fixture(scope="module", autouse=True)
def stages(running: Running) -> None:
    """Put tests at every stage into the notebook."""
    every_stage(running.notebook)


def what_is_wrong(page: Page, width: int) -> list[str]:
    """Give what axe says of a page as it stands, and whether it is too wide."""
    page.evaluate(OPEN_ALL)
    wide = page.evaluate("document.documentElement.scrollWidth")
    page.evaluate(AXE)
    result: dict[str, Any] = page.evaluate("axe.run(document)")
    assert len(result["passes"]) > 15  # it really looked
    told = [f"{each['id']}: {each['nodes'][0]['html'][:160]}" for each in result["violations"]]
    return told + ([f"{wide} wide"] if wide > width else [])


@pytest.fixture(scope="module")
def sights(running: Running, browser: Browser) -> Iterator[dict[tuple[int, str], Page]]:
    """Give one window for each width and scheme, opened when it is first needed."""
    made: dict[tuple[int, str], Page] = {}
    for width in (1280, 360):
        for scheme in ("light", "dark"):
            shown: Any = {"viewport": {"width": width, "height": 800}, "color_scheme": scheme}
            context = running.context(browser, reduced_motion="reduce", **shown)
            made[width, scheme] = context.new_page()
    yield made
    for page in made.values():
        page.context.close()


def looked_at(running: Running, page: Page, path: str, width: int) -> None:
    """Open a page and find nothing wrong with it."""
    trouble: list[str] = []
    asked: list[str] = []
    page.on("pageerror", lambda error: trouble.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto("about:blank")
    answer = page.goto(running.address + path)
    assert answer is None or (answer.status >= 400) == (path in REFUSED)  # None: the same page, another place of it
    assert what_is_wrong(page, width) == []
    assert trouble == []
    assert [url for url in asked if not url.startswith((running.address, "data:", "about:"))] == []


class TestEveryPage:
    @pytest.mark.parametrize(("path", "width", "scheme"), EVERYDAY)
    def test_axe_finds_nothing_and_it_fits(
        self, running: Running, sights: dict[tuple[int, str], Page], path: str, width: int, scheme: str
    ) -> None:
        looked_at(running, sights[width, scheme], path, width)

    @pytest.mark.slow
    @pytest.mark.parametrize("scheme", ["light", "dark"])
    @pytest.mark.parametrize("width", [1280, 360])
    @pytest.mark.parametrize("path", PAGES)
    def test_in_both_widths_and_schemes(
        self, running: Running, sights: dict[tuple[int, str], Page], path: str, width: int, scheme: str
    ) -> None:
        looked_at(running, sights[width, scheme], path, width)


class TestEveryStateOfTheRunSheet:
    @pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (360, "dark")])
    def test_axe_finds_nothing(
        self, running: Running, sights: dict[tuple[int, str], Page], width: int, scheme: str
    ) -> None:
        page = sights[width, scheme]
        page.goto("about:blank")
        page.goto(f"{running.address}/t/4/runs/9/sheet")
        for state in ("timing", "asked", "wrong", "told", "done"):
            page.evaluate("state => { document.body.dataset.state = state }", state)
            assert what_is_wrong(page, width) == [], state


class TestMotion:
    def test_nothing_moves_where_less_motion_is_asked_for(
        self, running: Running, sights: dict[tuple[int, str], Page]
    ) -> None:
        page = sights[1280, "light"]
        page.goto(f"{running.address}/t/6/verdict/opened")
        assert page.evaluate("document.getAnimations().length") == 0

    def test_the_heap_grows_once_where_it_is_not(self, running: Running, browser: Browser) -> None:
        context = running.context(browser, reduced_motion="no-preference")
        page = context.new_page()
        page.goto(f"{running.address}/t/6/verdict/opened")
        names = page.evaluate("document.getAnimations().map(each => each.animationName)")
        context.close()
        assert "heap" in names


class TestPrinting:
    @pytest.mark.parametrize("path", ["/t/6/verdict", "/t/6/runs", "/t/4/plan/seal"])
    def test_dark_pages_print_dark_words_on_white_within_the_sheet(
        self, running: Running, browser: Browser, path: str
    ) -> None:
        # A4 at 96 points an inch is 794 wide (CSS Values 4, ISO 216)
        context = running.context(browser, viewport={"width": 794, "height": 1123}, color_scheme="dark")
        page = context.new_page()
        page.goto(running.address + path)
        page.emulate_media(media="print")
        assert page.evaluate("document.documentElement.scrollWidth") <= 794
        colours = page.evaluate(
            "[...document.querySelectorAll('main p, main h1, main dt')].map((each) => getComputedStyle(each).color)"
        )
        assert colours
        darkest = [max(map(int, re.findall(r"\d+", colour)[:3])) for colour in colours]
        assert max(darkest) < 130  # on white, at least 4:1 (WCAG 2.2, 1.4.3)
        context.close()


class TestTheFocus:
    def test_a_form_that_came_back_has_it_on_its_summary(
        self, running: Running, sights: dict[tuple[int, str], Page]
    ) -> None:
        page = sights[360, "light"]
        page.goto(f"{running.address}/t/4/runs/9/typed")
        page.locator("button.write").click()
        page.wait_for_selector("#troubles:focus")
        page.locator("#troubles a").click()
        assert page.evaluate("document.activeElement.id") == "seconds"
