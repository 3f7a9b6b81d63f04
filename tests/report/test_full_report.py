"""The report says all that the result says, asks nothing of any network, and keeps what people typed as text.

How a page must be nested, which elements are void and what an identifier is: HTML Living Standard, sections 13.1.2 and
3.2.6. That headings follow one another without a gap and that cells of a head name their scope: WCAG 2.2, techniques
G141 and H63.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest

from truerun.errors import ValueOutOfRange
from truerun.report.typeset import set_quotes
from truerun.trial.comparison import with_controls
from truerun.trial.context import amount
from truerun.trial.phrases import percent, stake
from truerun.trial.seal import seal_of
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.planning import PlanResult

MADE = datetime(2026, 3, 14, 21, 52, tzinfo=UTC)
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
PAYLOADS = [
    "<script>alert(1)</script>",
    "</style><script>alert(1)</script>",
    "</title><script>alert(1)</script>",
    "</pre><img src=x onerror=alert(1)>",
    '"><svg onload=alert(1)>',
    "' onmouseover='alert(1)",
    '" autofocus onfocus="alert(1)',
    "javascript:alert(1)",
    "<a href='javascript:alert(1)'>x</a>",
    "<iframe src=//example.org></iframe>",
    "<object data=x></object>",
    "<link rel=stylesheet href=//example.org>",
    "<base href=//example.org/>",
    "<meta http-equiv=refresh content='0;url=//example.org'>",
    "<form action=//example.org><input name=a></form>",
    "<style>@import '//example.org'</style>",
    "<!-- ",
    "-->",
    "<![CDATA[",
    "]]>",
    "&lt;b&gt;",
    "&amp;&#x3c;script&#x3e;",
    "{{ 7 * 7 }}",
    "{% include 'x' %}",
    "${7*7}",
    "\N{RIGHT-TO-LEFT OVERRIDE}evil",
    "a" * 400,
    "line one\nline two",
    "<details open ontoggle=alert(1)>",
    "<math><mtext><script>alert(1)</script></mtext></math>",
    "</section></main></body></html>",
]


class Page(HTMLParser):
    """A page taken apart: elements in order, nesting that was checked while reading, words outside of styles."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.parents: list[tuple[str, ...]] = []
        self.words: list[tuple[tuple[str, ...], str]] = []
        self.feed(text)
        self.close()
        assert self.open == [], self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs), (tag, attrs)
        self.elements.append((tag, dict(attrs)))
        self.parents.append(tuple(self.open))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self.parents.append(tuple(self.open))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip() and "style" not in self.open:
            self.words.append((tuple(self.open), data))

    def text(self, *, outside: tuple[str, ...] = ()) -> str:
        """All words, or only those outside of some elements."""
        kept = (words for parents, words in self.words if not set(outside) & set(parents))
        return " ".join(" ".join(kept).replace("\N{NO-BREAK SPACE}", " ").split())

    def named(self, *tags: str) -> list[dict[str, str | None]]:
        """Attributes of all elements of some kinds."""
        return [attributes for tag, attributes in self.elements if tag in tags]


def plain(text: str) -> str:
    """Words as :meth:`Page.text` gives them."""
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


class TestEveryFigureStandsInThePage:
    def test_headline_and_sentence(self, result: ComparisonResult, page: str) -> None:
        text = Page(page).text(outside=("pre",))
        assert plain(set_quotes(result.comparison.headline)) in text
        assert plain(set_quotes(result.comparison.sentence)) in text

    def test_value_span_and_how_often_the_method_is_right(self, result: ComparisonResult, page: str) -> None:
        document, text = result.document(), Page(page).text(outside=("pre", "details"))
        found = document["drive_fraction"] or document["effect"]
        if found is None:
            return
        shown = [found[key] for key in ("value", "low", "high") if found[key] is not None]
        for size in shown:
            assert plain(amount(result.comparison.at, size, signed=True)) in text
        if found["low"] is not None:
            assert f"right {100 * found['coverage']:g} times in 100" in text

    def test_luck_bet_limits_spread_and_severity(self, result: ComparisonResult, page: str) -> None:
        document, text = result.document(), Page(page).text(outside=("pre", "details"))
        at = result.comparison.at
        if document["p"] is not None:
            assert f"{round(document['p'] * document['orders'])} of {document['orders']} orders" in text
        if document["evidence"] is not None:
            assert f"your stake times {stake(document['evidence'])}" in text
            assert ", ".join(stake(step) for step in document["evidence_steps"]) in text
        for size in (document["limits"] or {}).values():
            assert size in (0, document["limits"]["confidence"]) or plain(f"less than {amount(at, size)}") in text
        for row in document["severity"] or ():
            assert f"{plain(amount(at, row['below'], signed=True))} is ruled out with {row['surely']:.2f}" in text
        if document["spread"] is not None:
            assert plain(amount(at, document["spread"])) in text

    def test_second_opinions(self, result: ComparisonResult, page: str) -> None:
        given, text = result.document()["second_opinions"], Page(page).text(outside=("pre", "details"))
        assert len(given) == text.count("Welch's t ") + text.count("Analysis of covariance ")

    def test_p_and_terms_stand_only_where_somebody_asks_for_them(self, result: ComparisonResult, page: str) -> None:
        taken = Page(page)
        assert not re.search(r"\bp[,=]| p =", taken.text(outside=("pre", "details")))
        if (p := result.document()["p"]) is not None:
            assert f"p, two-sided, over all orders {p:.4g}" in taken.text()

    def test_all_digits_are_one_step_away(self, result: ComparisonResult, page: str) -> None:
        enclosed = [words for parents, words in Page(page).words if "pre" in parents and "comparison/1" in words]
        assert len(enclosed) == (result.verdict is not None)
        for text in enclosed:
            assert json.loads(text) == result.comparison.document()

    def test_every_finding_with_its_size_and_what_to_do(self, result: ComparisonResult, page: str) -> None:
        text = Page(page).text(outside=("pre", "details"))
        for found in result.comparison.findings:
            for words in (found.sentence, found.size, found.remedy):
                assert words is None or plain(words) in text

    def test_every_run_with_its_time(self, result: ComparisonResult, page: str) -> None:
        section = page.split('id="launches"')[1].split("</section>", maxsplit=1)[0]
        rows = re.findall(r'<tr><th scope="row".*?</tr>', section)
        if result.verdict is None:
            assert rows == []
            return
        table = result.comparison.at.table
        assert len(rows) == len(table.runs)
        for row, run in zip(rows, table.runs, strict=True):
            assert run.value is not None
            decimals = 4 if table.measure == "power" else 1
            assert f">{run.value:.{decimals}f}<" in row
            assert html.escape(run.condition) in row


class TestACoveredResultStaysCovered:
    def test_no_time_and_no_order(self, results: dict[str, ComparisonResult], pages: dict[str, str]) -> None:
        covered, page = results["counts"].comparison, pages["counts"]
        text = Page(page).text()
        plan = covered.at.rules.plan
        assert plan is not None
        for run in covered.at.table.runs:
            assert f"{run.value}" not in text
        assert ", ".join(plan.order[:4]) not in text
        assert plan.seed not in text
        assert "8 of 16 runs are done" in text
        assert "<figure" not in page


class TestItIsOnePageByItself:
    def test_no_script_and_nothing_that_loads(self, page: str) -> None:
        taken = Page(page)
        loads = {"script", "link", "img", "iframe", "object", "embed", "form", "base", "audio", "video", "image", "use"}
        assert not loads & {tag for tag, _ in taken.elements}
        names = {name for _, attributes in taken.elements for name in attributes}
        assert not [name for name in names if name.startswith("on")]
        assert not {"src", "srcset", "action", "background", "poster", "data", "ping", "xlink:href"} & names

    def test_every_address_is_in_the_page_or_is_the_file_itself(self, page: str) -> None:
        for attributes in Page(page).named("a"):
            address = attributes["href"] or ""
            assert address.startswith(("#", "data:text/csv;base64,"))
            if address.startswith("#"):
                assert f'id="{address[1:]}"' in page

    def test_no_style_loads_anything(self, page: str) -> None:
        styles = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
        assert styles
        assert not re.search(r"url\(|@import|image-set|//", "".join(styles))

    def test_no_address_of_any_host(self, page: str) -> None:
        assert set(re.findall(r"https?://[^\s\"'<>]+", page)) <= {"http://www.w3.org/2000/svg"}


class TestItIsValid:
    def test_elements_are_nested_and_closed(self, page: str) -> None:
        assert page.startswith("<!doctype html>\n")
        assert Page(page).elements[0] == ("html", {"lang": "en"})

    def test_identifiers_are_there_once(self, page: str) -> None:
        names = [attributes["id"] for _, attributes in Page(page).elements if "id" in attributes]
        assert len(names) == len(set(names))
        for reference in ("aria-labelledby", "aria-describedby"):
            for _, attributes in Page(page).elements:
                assert not attributes.get(reference) or attributes[reference] in names

    def test_headings_follow_one_another(self, page: str) -> None:
        levels = [int(tag[1]) for tag, _ in Page(page).elements if re.fullmatch("h[1-6]", tag)]
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(later - earlier <= 1 for earlier, later in pairwise(levels))

    def test_heads_of_tables_say_what_they_head(self, page: str) -> None:
        heads = Page(page).named("th")
        assert {attributes.get("scope") for attributes in heads} <= {"col", "row"}
        assert heads or "Sealed until" in page

    def test_every_picture_has_words(self, page: str) -> None:
        for attributes in Page(page).named("svg"):
            named = attributes.get("role") == "img" and attributes.get("aria-labelledby")
            assert named or attributes.get("aria-hidden") == "true"


class TestWhatPeopleTypeStaysText:
    @pytest.mark.parametrize("payload", PAYLOADS, ids=range(len(PAYLOADS)))
    def test_in_every_field(
        self, payload: str, sealed: Callable[..., PlanResult], runs_of: Callable[..., dict[str, list[Any]]]
    ) -> None:
        said = {
            "present": True,
            "fair": f"fair {payload}",
            "would_change_my_mind": f"mind {payload}",
            "excuse_to_come": f"excuse {payload}",
        }
        excuse = {"words": f"words {payload}", "becomes": "check", "how": f"how {payload}"}
        plan = sealed(
            claim=f"claim {payload}",
            claimant=f"by {payload}",
            against=f"against {payload}",
            source=f"source {payload}",
            control=f"control {payload}",
            identity=f"identity {payload}",
            left_out_rule=f"rule {payload}",
            note=f"note {payload}",
            agreed={"claimant": said, "sceptic": said, "excuses": [excuse]},
        )
        runs = runs_of(plan, 0.05)
        runs["left_out"] = [f"why {payload}" if slot == 3 else "" for slot in runs["run"]]
        runs["session"] = [f"session {payload}"] * 16
        runs[f"column {payload}"] = [f"cell {payload}"] * 16
        result = compare(runs, plan.document())
        page = result.report(
            made=MADE,
            stamp=f"stamp {payload}",
            interests=f"interests {payload}",
            answers={"claimant": f"answer {payload}"},
        )
        taken = Page(page)
        kinds = {tag for tag, _ in taken.elements}
        assert not {"script", "iframe", "object", "link", "base", "form", "input", "math", "img"} & kinds
        assert not [name for _, attributes in taken.elements for name in attributes if name.startswith("on")]
        assert kinds == set(KINDS_OF_ELEMENTS)
        text = taken.text()
        for field in FIELDS:
            assert plain(f"{field} {payload}").strip() in text, field

    def test_a_notebook_keeps_it_too(self, sealed: Callable[..., PlanResult]) -> None:
        plan = sealed(claim="<script>alert(1)</script>", source="<b>arc</b>", control="<i>out</i>")
        piece = plan._repr_html_()
        assert "script" not in {tag for tag, _ in Page(piece).elements}
        assert "<b>arc</b>" in Page(piece).text()


KINDS_OF_ELEMENTS = (
    "a",
    "b",
    "body",
    "caption",
    "circle",
    "dd",
    "desc",
    "details",
    "div",
    "dl",
    "dt",
    "figcaption",
    "figure",
    "footer",
    "g",
    "h1",
    "h2",
    "h3",
    "head",
    "header",
    "html",
    "li",
    "main",
    "meta",
    "nav",
    "ol",
    "p",
    "path",
    "pre",
    "rect",
    "section",
    "span",
    "style",
    "summary",
    "svg",
    "table",
    "tbody",
    "td",
    "text",
    "th",
    "thead",
    "title",
    "tr",
    "ul",
)
"""Every kind of element that a full report has."""

FIELDS = (
    "claim",
    "by",
    "against",
    "source",
    "control",
    "identity",
    "rule",
    "note",
    "fair",
    "mind",
    "excuse",
    "words",
    "how",
    "why",
    "session",
    "cell",
    "answer",
    "stamp",
    "interests",
)
"""What is written before the payload in each field."""


class TestItIsTheSameEveryTime:
    def test_byte_for_byte(self, result: ComparisonResult, page: str) -> None:
        assert result.report(made=MADE).encode() == page.encode()

    def test_another_time_is_all_that_differs(self, results: dict[str, ComparisonResult]) -> None:
        later = datetime(2027, 1, 2, 3, 4, tzinfo=UTC)
        first, second = (results["takes"].report(made=made).splitlines() for made in (MADE, later))
        differing = [line for line, other in zip(first, second, strict=True) if line != other]
        assert len(differing) == 1
        assert "2026-03-14 21:52 UTC" in differing[0]

    def test_a_time_without_a_zone_is_refused(self, results: dict[str, ComparisonResult]) -> None:
        with pytest.raises(ValueOutOfRange, match="time zone"):
            results["takes"].report(made=datetime(2026, 3, 14))  # noqa: DTZ001  that is the point


class TestItSaysWhatWasNotDone:
    def test_blanks_are_written_out(self, page: str) -> None:
        text = Page(page).text()
        for blank in ("No rig was described", "The clock was not checked", "no losses were predicted", "Not stated."):
            assert blank in text
        assert "relates only to the items tested" in text

    def test_no_plan_is_said(self, pages: dict[str, str]) -> None:
        text = Page(pages["unfair"]).text()
        assert "No claim is on record: there is no sealed plan." in text
        assert "None: no plan was sealed before the first run." in text

    def test_absence_is_said(self, pages: dict[str, str]) -> None:
        assert Page(pages["takes"]).text().count("Had not answered when the plan was sealed.") == 2

    def test_a_broken_seal_is_said_first(self, pages: dict[str, str]) -> None:
        text = Page(pages["broken"]).text(outside=("head", "header"))
        assert text.index("Seal broken") < text.index("Claim, by")

    def test_an_invented_test_is_said_to_be_one(self, results: dict[str, ComparisonResult]) -> None:
        assert "Invented example" not in Page(results["takes"].report(made=MADE)).text()
        assert (
            "Invented example. No such test took place."
            in Page(results["takes"].report(made=MADE, invented=True)).text()
        )


class TestLinkedTests:
    def test_their_rows_are_filled_and_the_cause_is_said_anew(
        self,
        sealed: Callable[..., PlanResult],
        runs_of: Callable[..., dict[str, list[Any]]],
        results: dict[str, ComparisonResult],
    ) -> None:
        linked = []
        for role, drive, claimed in (
            ("planted", 0.05, 0.05),
            ("same-against-same", 0.0, None),
            ("reversal", -0.05, None),  # turning the other way, a real drive is a brake
        ):
            plan = sealed(role=role, main_test="x", claimed=claimed)
            linked.append(compare(runs_of(plan, drive), plan.document()).comparison)
        main = results["adds"]
        text = Page(main.report(made=MADE, linked=linked)).text(outside=("pre", "details"))
        value = plain(percent(linked[0].document()["drive_fraction"]["value"], signed=True))
        assert f"must be found {value} of +5.0 %" in text
        said = with_controls(main.comparison, linked)
        assert "bearing" in main.comparison.sentence
        assert "bearing" not in said.sentence
        assert plain(set_quotes(said.sentence)) in text
        assert said.document()["p"] == main.comparison.document()["p"]

    def test_an_unfair_control_settles_nothing(self, results: dict[str, ComparisonResult]) -> None:
        main = results["adds"].comparison
        assert with_controls(main, [results["unfair"].comparison, results["counts"].comparison]) is main


class TestWords:
    def test_no_jargon(self, page: str) -> None:
        words = Page(page).text(outside=("pre",)).casefold()
        for banned in ("ln t", "specific", "debunk", "proven", "randomisation list", "null hypothesis", "significan"):
            assert banned not in words
        assert not re.search(r"\beps\b", words)

    def test_true_minus_signs(self, page: str) -> None:
        text = Page(page).text(outside=("pre",))
        assert not re.search(r"(?<![\w-])-\d", text)

    def test_the_seal_can_be_read_aloud(self, pages: dict[str, str], results: dict[str, ComparisonResult]) -> None:
        plan = results["takes"].comparison.at.rules.plan
        assert plan is not None
        assert seal_of(plan).code in Page(pages["takes"]).text()

    def test_somebody_else_cannot_answer(self, results: dict[str, ComparisonResult]) -> None:
        with pytest.raises(ValueOutOfRange, match="claimant or sceptic"):
            results["takes"].report(made=MADE, answers={"neighbour": "Ha."})


class TestPiecesForNotebooks:
    def test_a_comparison(self, result: ComparisonResult) -> None:
        taken = Page(result._repr_html_())
        assert plain(set_quotes(result.comparison.sentence)) in taken.text()
        assert not {"script", "link", "img"} & {tag for tag, _ in taken.elements}

    def test_their_style_touches_nothing_around_them(self, result: ComparisonResult) -> None:
        style = re.findall(r"<style>(.*?)</style>", result._repr_html_(), re.DOTALL)[0]
        selectors = [
            part.strip() for rule in re.findall(r"([^{}]+)\{", style.replace("@media", "")) for part in rule.split(",")
        ]
        assert all(part.startswith((".truerun", "(prefers")) for part in selectors if part)
