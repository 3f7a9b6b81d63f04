"""The whole job in a browser, from an empty shelf to the bundle: by mouse, by touch on a phone, by keyboard alone.

Everything is found by its role and name, as assistive technology finds it (WAI-ARIA 1.2); the keyboard reaches
everything by Tab and works it by Enter, Space and letters (WCAG 2.2 success criterion 2.1.1).
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.web.conftest import Running, started
from truerun.workflow.bench import state_of

BOUNCE = 320
"""Milliseconds after which a second press is no longer taken for a bounce of the first."""

MOST_TABS = 120


class Hands(Protocol):
    """How somebody works a page."""

    def press(self, target: Locator) -> None:
        """Press a link or a button."""

    def write(self, target: Locator, words: str) -> None:
        """Write into a field."""

    def pick(self, target: Locator, choice: str) -> None:
        """Pick from a list."""


class Mouse:
    """A pointer on a desk."""

    def press(self, target: Locator) -> None:
        """Click."""
        target.click()

    def write(self, target: Locator, words: str) -> None:
        """Click and type."""
        target.click()
        target.fill(words)

    def pick(self, target: Locator, choice: str) -> None:
        """Pick from the list that opens."""
        target.select_option(choice)


class Touch(Mouse):
    """A finger on a phone."""

    def press(self, target: Locator) -> None:
        """Tap."""
        target.tap()


class Keyboard:
    """No pointer at all."""

    def press(self, target: Locator) -> None:
        """Go there by Tab; choose by Space, follow by Enter."""
        self.reach(target)
        choice = target.evaluate("element => element.type === 'radio' || element.type === 'checkbox'")
        target.page.keyboard.press("Space" if choice else "Enter")

    def write(self, target: Locator, words: str) -> None:
        """Go there by Tab and type."""
        self.reach(target)
        target.page.keyboard.press("Control+A")
        target.page.keyboard.type(words)

    def pick(self, target: Locator, choice: str) -> None:
        """Go there by Tab and step through the list."""
        self.reach(target)
        for _ in range(20):
            if target.input_value() == choice:
                return
            target.page.keyboard.press("ArrowDown")
        raise AssertionError(f"The keyboard does not pick {choice}.")

    @staticmethod
    def reach(target: Locator) -> None:
        """Press Tab until the element has the focus; of a group of choices any one may be entered first."""
        target.wait_for()
        there = (
            "element => element === document.activeElement || (element.type === 'radio' && document.activeElement &&"
            " document.activeElement.name === element.name)"
        )
        for _ in range(MOST_TABS):
            if target.evaluate(there):
                break
            target.page.keyboard.press("Tab")
        for _ in range(8):
            if target.evaluate("element => element === document.activeElement"):
                return
            target.page.keyboard.press("ArrowLeft")
        raise AssertionError(f"The keyboard does not reach {target}.")


WAYS: dict[str, tuple[Hands, dict[str, Any]]] = {
    "mouse": (Mouse(), {"viewport": {"width": 1280, "height": 800}}),
    "touch": (Touch(), {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}),
    "keyboard": (Keyboard(), {"viewport": {"width": 1280, "height": 800}}),
}


@pytest.fixture(params=list(WAYS))
def way(
    request: pytest.FixtureRequest, browser: Browser, tmp_path: Path
) -> Iterator[tuple[Running, Page, Hands, list[str]]]:
    """Give an empty notebook in a browser, the hands that work it, and whatever went wrong in the page."""
    hands, shown = WAYS[request.param]
    with started(tmp_path) as running:
        context = running.context(browser, accept_downloads=True, **shown)
        page, trouble = context.new_page(), list[str]()
        page.set_default_timeout(20_000)
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.on("console", lambda said: trouble.append(said.text) if said.type == "error" else None)
        page.on("request", lambda asked: trouble.append(asked.url) if "//127.0.0.1:" not in asked.url else None)
        yield running, page, hands, trouble
        context.close()


def link(page: Page, name: str) -> Locator:
    """Find a link by its name."""
    return page.get_by_role("link", name=re.compile(name)).first


def button(page: Page, name: str) -> Locator:
    """Find a button by its name."""
    return page.get_by_role("button", name=re.compile(name)).first


def plan_it(page: Page, hands: Hands) -> None:
    """Claim, plan and seal a quick test of 4 + 4 runs."""
    hands.press(link(page, "Start a test"))
    hands.write(page.get_by_label("What people call this test"), "The quick arc")
    hands.write(page.get_by_label("The claim, in the claimant's own words"), "With the arc in the wheel gains.")
    hands.press(button(page, "Write down the claim"))
    hands.press(link(page, "plan without them"))
    hands.write(page.get_by_label("With the source"), "arc in")
    hands.write(page.get_by_label("Without it"), "arc out")
    hands.press(page.get_by_label("4 + 4", exact=True))
    hands.write(page.get_by_label("Spread from run to run"), "1,5")
    hands.pick(page.get_by_label("Drawn by lot from"), "complete")
    hands.press(button(page, "Go on to the seal"))
    hands.press(button(page, "Draw the order and seal"))
    hands.press(link(page, "Begin the first sitting"))
    hands.press(button(page, "Begin the sitting"))
    hands.press(link(page, "Go on without"))


def run_once(page: Page, hands: Hands, number: int) -> None:
    """Do one run on its sheet."""
    page.wait_for_selector("body[data-state=ready]")
    assert f"Run {number} of 8" in page.title()
    for name in ("#start", "#stop", "#well"):
        page.wait_for_timeout(BOUNCE)
        if isinstance(hands, Keyboard) and name != "#well":
            page.keyboard.press("Space")
        else:
            hands.press(page.locator(name))
    onward = page.locator("#onward")
    expect(onward).not_to_have_attribute("href", re.compile(r"/runs$"), timeout=20_000)
    page.wait_for_timeout(BOUNCE)
    hands.press(onward)


class TestTheWholeJob:
    def test_from_the_empty_shelf_to_the_bundle(
        self, way: tuple[Running, Page, Hands, list[str]], tmp_path: Path
    ) -> None:
        running, page, hands, trouble = way
        page.goto(running.address)
        plan_it(page, hands)
        for number in range(1, 9):
            run_once(page, hands, number)
        hands.press(button(page, "Open the seal"))
        page.wait_for_url("**/verdict/opened")
        hands.press(link(page, "Read the verdict"))
        hands.press(link(page, "Make the report"))
        hands.press(button(page, "Write the report"))
        expect(link(page, "Read the report")).to_be_visible()
        with page.expect_download() as saved:
            hands.press(button(page, "Write the file"))
        saved.value.save_as(tmp_path / "bundle.zip")
        assert any(name.endswith("verify.py") for name in zipfile.ZipFile(tmp_path / "bundle.zip").namelist())
        state = state_of(running.notebook, running.notebook.tests()[0].id)
        assert [run.slot for run in state.runs] == list(range(1, 9))
        assert state.decided is not None
        assert state.reports == 2  # the bundle holds one too
        assert trouble == []
