"""The notebook of invented tests in a browser: every page is sound and marked, and both impressions are said.

The rules are those of axe-core (tests/vendor/axe, MPL-2.0).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import cycle
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.web.conftest import Running, started
from truerun.workflow.demo_notebook import demonstration_notebook

AXE = (Path(__file__).parents[1] / "vendor" / "axe" / "axe.min.js").read_text(encoding="utf-8")

STAGES = ("claim", "agreement", "plan", "runs", "verdict", "report")
PAGES = (
    "/",
    *(f"/t/{test}/{stage}" for test in (1, 2) for stage in STAGES),
    "/t/1/verdict/opened",
    "/t/1/report/page",
    "/t/2/runs/6/sheet",
    *(f"/t/{test}/verdict" for test in (3, 4, 6)),
    *("/t/5/screening", "/t/5/screening"),  # wide and light, then narrow and dark
    "/t/5/logbook",
)
SIGHTS = [(path, *sight) for path, sight in zip(PAGES, cycle([(1280, "light"), (390, "dark")]), strict=False)]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Answer with the notebook of invented tests."""
    folder = tmp_path_factory.mktemp("demo")
    demonstration_notebook(folder / "bench.notebook")
    with started(folder) as server:
        yield server


@pytest.fixture(scope="module")
def sights(demo: Running, browser: Browser) -> Iterator[dict[tuple[int, str], Page]]:
    """Give a wide light window and a narrow dark one."""
    made: dict[tuple[int, str], Page] = {}
    for width, height in ((1280, 800), (390, 844)):
        scheme = "light" if width > 1000 else "dark"
        shown = {"width": width, "height": height}
        context = demo.context(browser, reduced_motion="reduce", viewport=shown, color_scheme=scheme)
        made[width, scheme] = context.new_page()
    yield made
    for page in made.values():
        page.context.close()


@pytest.fixture
def verdict(demo: Running, sights: dict[tuple[int, str], Page]) -> Page:
    """Open the verdict of the rim arc."""
    page = sights[1280, "light"]
    page.goto(f"{demo.address}/t/1/verdict")
    return page


class TestEveryPageOfTheDemonstration:
    @pytest.mark.parametrize(("path", "width", "scheme"), SIGHTS)
    def test_it_is_sound_fits_and_says_that_it_is_invented(
        self, demo: Running, sights: dict[tuple[int, str], Page], path: str, width: int, scheme: str
    ) -> None:
        page = sights[width, scheme]
        page.goto(demo.address + path)
        assert "invented" in page.inner_text("body").lower()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.evaluate(AXE)
        result = page.evaluate("axe.run(document)")
        assert len(result["passes"]) > 10  # it really looked
        assert [f"{each['id']}: {each['nodes'][0]['html'][:160]}" for each in result["violations"]] == []

    def test_the_shelf_shows_the_test_that_waits_first(
        self, demo: Running, sights: dict[tuple[int, str], Page]
    ) -> None:
        page = sights[1280, "light"]
        page.goto(demo.address)
        assert page.inner_text("#now") == "The arc at 16 mm"
        assert page.locator("ul.shelf > li").count() == 5
        counted = page.inner_text("section[aria-labelledby=counted]")
        assert "6 tests: 1 with a report, 1 screening done, 4 under way, 0 given up" in counted


class TestTwoImpressions:
    def test_a_gain_by_the_stopwatch_and_a_brake_over_the_window_stand_side_by_side(self, verdict: Page) -> None:
        sides = verdict.locator(".impression")
        assert sides.count() == 2
        assert "Looks like a gain" in sides.nth(0).inner_text()
        assert "A brake" in sides.nth(1).inner_text()
        left, right = (sides.nth(number).bounding_box() for number in (0, 1))
        assert left is not None
        assert right is not None
        assert left["y"] == right["y"]
        assert left["width"] == right["width"]

    def test_the_page_says_why_they_disagree(self, verdict: Page) -> None:
        said = verdict.inner_text("section[aria-labelledby=two]")
        assert "Why they disagree" in said
        assert "rocks to and fro" in said
        assert "lost more with arc in" in said

    def test_both_have_a_picture_of_what_luck_could_have_done(self, verdict: Page) -> None:
        assert verdict.locator(".luckside svg[role=img]").count() >= 2
        counted = verdict.locator(".impression p.small").all_inner_texts()
        assert all("of 1296 orders" in text for text in counted)

    def test_a_test_without_recordings_has_no_such_part(
        self, demo: Running, sights: dict[tuple[int, str], Page]
    ) -> None:
        page = sights[1280, "light"]
        page.goto(f"{demo.address}/t/4/verdict")
        assert page.locator(".impression").count() == 0
