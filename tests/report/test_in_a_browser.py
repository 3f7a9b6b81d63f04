"""The report in a browser: axe finds nothing in either scheme, nothing is asked for, nothing is wider than the screen.

The rules are those of axe-core (tests/vendor/axe, MPL-2.0): WCAG 2.2 A and AA, and its best practices.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.report.recording_pages import RECORDINGS, recording_page
from tests.report.several_results import MADE, several_of
from truerun.report.pdf import find_chromium
from truerun.workflow.comparing import ComparisonResult
from truerun.workflow.planning import PlanResult

CHROMIUM = find_chromium(os.environ)
AXE = (Path(__file__).parents[1] / "vendor" / "axe" / "axe.min.js").read_text(encoding="utf-8")
IN_A_BROWSER = ("pool that differs", "screening", "dose", "covered dose")
OPEN_ALL = "document.querySelectorAll('details').forEach(each => { each.open = true })"
CUT_TEXTS = """
[...document.querySelectorAll('svg[role=img] text')]
    .filter(each => each.getBoundingClientRect().width)
    .filter(each => each.getBoundingClientRect().left < 0 || each.getBoundingClientRect().right > innerWidth)
    .map(each => each.textContent)
"""

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine; name one in TRUERUN_CHROMIUM")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start the system's Chromium once."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


def seen(browser: Browser, page: str, folder: Path, *, width: int, scheme: Any = "light") -> dict[str, Any]:
    """Open a page from a file and give what axe says, what it asked for and how wide it is."""
    path = folder / "report.html"
    path.write_text(page, encoding="utf-8")
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    sheet = context.new_page()
    asked: list[str] = []
    sheet.on("request", lambda request: asked.append(request.url))
    sheet.goto(path.as_uri())
    sheet.evaluate(OPEN_ALL)
    wide = sheet.evaluate("document.documentElement.scrollWidth")
    cut = sheet.evaluate(CUT_TEXTS)
    sheet.evaluate(AXE)
    result = sheet.evaluate("axe.run(document)")
    context.close()
    told = [f"{each['id']}: {each['nodes'][0]['html'][:120]}" for each in result["violations"]]
    return {"asked": asked[1:], "wide": wide, "cut": cut, "violations": told, "passes": len(result["passes"])}


def notebook_with(piece: str) -> str:
    """Put a piece into the page of a notebook."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>A notebook</title></head>'
        f"<body><main><h1>A notebook</h1><h2>Cell</h2>{piece}</main></body></html>"
    )


class TestEveryKindOfReport:
    @pytest.mark.parametrize("scheme", ["light", "dark"])
    @pytest.mark.parametrize("width", [1280, 360])
    def test_axe_finds_nothing_and_nothing_is_cut(
        self, browser: Browser, page: str, tmp_path: Path, width: int, scheme: str
    ) -> None:
        found = seen(browser, page, tmp_path, width=width, scheme=scheme)
        assert found["violations"] == []
        assert found["passes"] > 20  # it really looked
        assert found["asked"] == []
        assert found["wide"] <= width
        assert found["cut"] == []


class TestPagesOfRecordings:
    @pytest.mark.parametrize("kind", RECORDINGS)
    def test_axe_finds_nothing_and_nothing_is_cut(self, browser: Browser, kind: str, tmp_path: Path) -> None:
        page = recording_page(kind, tmp_path)
        for width, scheme in ((1280, "light"), (360, "dark")):
            found = seen(browser, page, tmp_path, width=width, scheme=scheme)
            assert found["violations"] == []
            assert found["passes"] > 20  # it really looked
            assert found["asked"] == []
            assert found["wide"] <= width
            assert found["cut"] == []


class TestPagesOfSeveral:
    @pytest.mark.parametrize("scheme", ["light", "dark"])
    @pytest.mark.parametrize("kind", IN_A_BROWSER)
    def test_axe_finds_nothing_and_nothing_is_cut(
        self, browser: Browser, kind: str, tmp_path: Path, scheme: str
    ) -> None:
        page = several_of(kind).report(made=MADE, invented=True)
        for width in (1280, 360):
            found = seen(browser, page, tmp_path, width=width, scheme=scheme)
            assert found["violations"] == []
            assert found["passes"] > 20  # it really looked
            assert found["asked"] == []
            assert found["wide"] <= width
            assert found["cut"] == []

    @pytest.mark.parametrize("kind", IN_A_BROWSER)
    def test_nothing_overlaps_at_the_head_of_the_paper(self, browser: Browser, kind: str, tmp_path: Path) -> None:
        path = tmp_path / "report.html"
        path.write_text(several_of(kind).report(made=MADE), encoding="utf-8")
        context = browser.new_context(viewport={"width": 694, "height": 935})  # inside the margins of Letter
        sheet = context.new_page()
        sheet.goto(path.as_uri())
        sheet.emulate_media(media="print")
        said, keys = (sheet.locator(name).bounding_box() for name in (".said", ".keys"))
        assert sheet.evaluate("document.documentElement.scrollWidth") <= 694
        context.close()
        assert said is not None
        assert keys is not None
        assert said["x"] + said["width"] <= keys["x"]


class TestTheRunSheet:
    @pytest.mark.parametrize("scheme", ["light", "dark"])
    @pytest.mark.parametrize("width", [1280, 360])
    def test_axe_finds_nothing_and_it_fits(
        self, browser: Browser, sealed: Callable[..., PlanResult], tmp_path: Path, width: int, scheme: str
    ) -> None:
        found = seen(browser, sealed().run_sheet_html(), tmp_path, width=width, scheme=scheme)
        assert found["violations"] == []
        assert found["wide"] <= width


class TestAxeItself:
    def test_it_does_find_what_is_wrong(self, browser: Browser, tmp_path: Path) -> None:
        wrong = '<!doctype html><html><head><title>x</title></head><body><p style="color:#aaa">pale</p></body></html>'
        found = " ".join(seen(browser, wrong, tmp_path, width=800)["violations"])
        assert "color-contrast" in found
        assert "html-has-lang" in found


class TestPiecesForNotebooks:
    @pytest.mark.parametrize("scheme", ["light", "dark"])
    def test_axe_finds_nothing_in_them(
        self, browser: Browser, result: ComparisonResult, tmp_path: Path, scheme: str
    ) -> None:
        page = notebook_with(result._repr_html_())
        assert seen(browser, page, tmp_path, width=900, scheme=scheme)["violations"] == []

    @pytest.mark.parametrize("scheme", ["light", "dark"])
    @pytest.mark.parametrize("kind", ["pool", "screening", "dose", "covered dose"])
    def test_nor_in_those_of_several(self, browser: Browser, kind: str, tmp_path: Path, scheme: str) -> None:
        page = notebook_with(several_of(kind)._repr_html_())
        assert seen(browser, page, tmp_path, width=900, scheme=scheme)["violations"] == []


class TestTheFirstPageOnPaper:
    @pytest.mark.parametrize("paper", [(210, 297), (215.9, 279.4)], ids=["A4", "Letter"])
    def test_from_claim_to_safety_on_one_sheet(
        self, browser: Browser, page: str, kind: str, tmp_path: Path, paper: tuple[float, float]
    ) -> None:
        path = tmp_path / "report.html"
        path.write_text(page, encoding="utf-8")
        # the room inside margins of 16 mm, in pixels of 1/96 inch
        width, height = ((side - 32) / 25.4 * 96 for side in paper)
        context = browser.new_context(viewport={"width": int(width), "height": int(height)})
        sheet = context.new_page()
        sheet.goto(path.as_uri())
        sheet.emulate_media(media="print")
        bottom = sheet.evaluate("document.querySelector('.safety').getBoundingClientRect().bottom")
        context.close()
        assert bottom <= height, kind
