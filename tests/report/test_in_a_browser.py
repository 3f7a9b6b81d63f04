"""The report in a browser: axe finds nothing in either scheme, nothing is asked for, nothing is wider than the screen.

The rules are those of axe-core (tests/vendor/axe, MPL-2.0): WCAG 2.2 A and AA, and its best practices.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, sync_playwright

from truerun.report.pdf import find_chromium
from truerun.workflow.comparing import ComparisonResult

CHROMIUM = find_chromium(os.environ)
AXE = (Path(__file__).parents[1] / "vendor" / "axe" / "axe.min.js").read_text(encoding="utf-8")
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
        piece = result._repr_html_()
        page = (
            '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>A notebook</title></head>'
            f"<body><main><h1>A notebook</h1><h2>Cell</h2>{piece}</main></body></html>"
        )
        assert seen(browser, page, tmp_path, width=900, scheme=scheme)["violations"] == []


class TestTheFirstPageOnPaper:
    def test_from_claim_to_safety_on_one_sheet(self, browser: Browser, page: str, kind: str, tmp_path: Path) -> None:
        path = tmp_path / "report.html"
        path.write_text(page, encoding="utf-8")
        # the room inside margins of 16 mm on A4, in pixels of 1/96 inch
        width, height = ((side - 32) / 25.4 * 96 for side in (210, 297))
        context = browser.new_context(viewport={"width": int(width), "height": int(height)})
        sheet = context.new_page()
        sheet.goto(path.as_uri())
        sheet.emulate_media(media="print")
        bottom = sheet.evaluate("document.querySelector('.safety').getBoundingClientRect().bottom")
        context.close()
        assert bottom <= height, kind
