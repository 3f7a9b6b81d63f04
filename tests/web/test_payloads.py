"""Whatever is typed stays text: no page makes an element, an attribute or a script of it, in a real browser.

Forms of attack after the OWASP Cross-Site Scripting Prevention sheet (contexts: text, attribute in either quotes,
tag, comment, script, style, address, template, entity, broken encoding) and WHATWG HTML section 13.2 (how a browser
reads broken markup).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Dialog, Page

from tests.web.conftest import Running
from tests.web.made_tests import REQUEST, SEED, opened, sealed
from truerun.web.application import PAGES
from truerun.workflow.bench import (
    attach_photo,
    attach_recording,
    begin_run,
    describe_rig,
    guess,
    note,
    open_test,
    record_agreement,
    seal_plan,
    something_wrong,
    start_session,
    stop_clock,
    warm_up,
    write_claim,
)

OPENERS = (
    "", "'", '"', "`", ">", "'>", '">', "`>", "-->", "]]>", "</title>", "</textarea>", "</script>", "</style>",
    "</svg>", "</select>", "{{", "{%", "\\", "&quot;>", "&#34;>", "\u2028", "\u0000", "\ufeff", "\u202e",
)  # fmt: skip
"""What ends the place in which a text stands."""

BODIES = (
    "<img data-planted src=x onerror=alert(1)>",
    "<svg data-planted onload=alert(1)>",
    "<script data-planted>alert(1)</script>",
    " data-planted autofocus onfocus=alert(1) x=",
    "<a data-planted href=javascript:alert(1)>a</a>",
    "<iframe data-planted srcdoc='<script>alert(1)</script>'></iframe>",
    "<math><mtext><table><mglyph><style><img data-planted src=x onerror=alert(1)>",
    "7*7}} <b data-planted>%}",
)
"""What would be planted there."""

PAYLOADS = tuple("".join(pair) for pair in itertools.product(OPENERS, BODIES))
"""Two hundred."""

SAFE = tuple(each for each in PAYLOADS if "\0" not in each)


class Planted(HTMLParser):
    """Collects elements that carry the mark."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at one element."""
        self.found += [tag for name, _ in attrs if name == "data-planted"]

    @classmethod
    def found_in(cls, text: str) -> list[str]:
        """Read a page."""
        reader = cls()
        reader.feed(text)
        return reader.found


def planted(running: Running, words: Iterator[str]) -> int:
    """Put a text of this kind into everything that people write about a test; give the number of the test."""
    book = running.notebook
    test = open_test(book, next(words)).id
    write_claim(book, test, next(words), against=next(words), by=next(words))
    for side in ("claimant", "sceptic"):
        answers = {key: next(words) for key in ("fair", "would_change_my_mind", "excuse_to_come")}
        record_agreement(book, test, side, answers)
    describe_rig(book, test, {"note": next(words)})
    source, control = next(words)[:60], next(words)[:60]
    named = {"source": source + "+", "control": control + "-"}
    seal_plan(book, test, {**REQUEST, **named}, book.head(test).digest, seed=SEED)
    start_session(book, test, words=next(words))
    warm_up(book, test)
    run = begin_run(book, test).id
    attach_photo(book, test, next(words), [b"no picture"], run=run)
    note(book, test, next(words), run=run)
    stop_clock(book, test, run, 12.5)
    guess(book, test, run, named["source"].strip())
    run = begin_run(book, test).id
    attach_recording(book, test, run, next(words), [b"time [s]\n1\n2\n"])
    run = begin_run(book, test).id
    something_wrong(book, test, run, "other", seen=False, words=next(words))
    return next(row.number for row in book.tests() if row.id == test)


def shown(number: int) -> list[str]:
    """Give the address of every page that can be looked at, of one test."""
    looked = [path for path, _, methods in PAGES if "GET" in methods]
    parts = {"{number:int}": str(number), "{slot:int}": "1", "{side}": "sceptic"}
    filled = []
    for path in looked:
        for part, value in parts.items():
            path = path.replace(part, value)  # noqa: PLW2901  one part after the other
        filled.append(path)
    return [path for path in filled if "{" not in path]


@pytest.fixture(scope="module")
def window(running: Running, browser: Browser) -> Iterator[tuple[Page, list[str]]]:
    """Give a window, and a list of whatever ran or was refused by the policy in it."""
    context = running.context(browser)
    page, trouble = context.new_page(), list[str]()

    def asked(dialog: Dialog) -> None:
        trouble.append(dialog.message)
        dialog.dismiss()

    def said(message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            trouble.append(message.text)

    page.on("dialog", asked)
    page.on("console", said)
    page.on("pageerror", lambda error: trouble.append(str(error)))
    yield page, trouble
    context.close()


def nothing_planted(running: Running, window: tuple[Page, list[str]], path: str) -> None:
    """Open a page and find no element that was typed."""
    page, trouble = window
    with running.client() as client:
        answer = client.get(path)
    if not answer.headers.get("content-type", "").startswith("text/html"):
        assert "nosniff" in answer.headers["x-content-type-options"]
        return
    page.goto(running.address + path)
    assert page.evaluate("document.querySelectorAll('[data-planted]').length") == 0, path
    assert trouble == [], path


class TestWhatIsTyped:
    def test_there_are_two_hundred(self) -> None:
        assert len(set(PAYLOADS)) == 200

    def test_the_look_would_find_one(self, window: tuple[Page, list[str]]) -> None:
        page, _ = window
        page.goto("about:blank")
        page.set_content(f"<p>{PAYLOADS[3]}<p>{BODIES[4]}")
        assert page.evaluate("document.querySelectorAll('[data-planted]').length") == 1

    def test_all_stay_text_on_the_shelf_and_among_notes(self, running: Running, window: tuple[Page, list[str]]) -> None:
        test = opened(running.notebook, "many notes")
        sealed(running.notebook, test)
        for words in SAFE:
            open_test(running.notebook, words)
            note(running.notebook, test, words)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        for path in ("/", f"/t/{number}/runs"):
            nothing_planted(running, window, path)
            text = window[0].content()
            assert text.count("data-planted") >= len(SAFE), path  # they are all there, as text

    @pytest.mark.parametrize("first", range(0, len(SAFE), 50))
    def test_every_field_on_every_page(self, running: Running, window: tuple[Page, list[str]], first: int) -> None:
        number = planted(running, itertools.cycle(SAFE[first:] + SAFE[:first]))
        for path in shown(number):
            nothing_planted(running, window, path)

    @pytest.mark.slow
    @pytest.mark.parametrize("first", range(len(SAFE)))
    def test_every_text_in_every_field(self, running: Running, window: tuple[Page, list[str]], first: int) -> None:
        number = planted(running, itertools.cycle(SAFE[first:] + SAFE[:first]))
        for path in shown(number):
            nothing_planted(running, window, path)

    def test_a_form_that_comes_back_keeps_it_as_text(self, running: Running) -> None:
        with running.client() as client:
            for words in PAYLOADS:
                answer = client.post("/new", data={"form": "a", "name": "", "words": words, "claimed": words})
                assert answer.status_code == 422
                assert Planted.found_in(answer.text) == [], words
