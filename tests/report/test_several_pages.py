"""Pages of pools, screenings and dose series say what the result says, and nothing that is still covered.

How a page must be nested: HTML Living Standard, section 13.1.2. Heads of tables: WCAG 2.2, technique H63.
"""

from __future__ import annotations

import json
import re
from datetime import datetime
from itertools import pairwise

import pytest

from tests.report.several_results import MADE, SEVERAL, challenge_of, invented_test, several_of
from tests.report.test_full_report import Page, plain
from truerun.errors import ValueOutOfRange
from truerun.trial.phrases import percent
from truerun.workflow.dosing import DoseResult
from truerun.workflow.pooling import PoolResult
from truerun.workflow.screening import ScreeningResult

Several = PoolResult | ScreeningResult | DoseResult


@pytest.fixture(scope="module", params=SEVERAL)
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def result(kind: str) -> Several:
    return several_of(kind)


@pytest.fixture(scope="module")
def page(result: Several) -> str:
    return result.report(made=MADE)


def said(result: Several) -> tuple[str, str]:
    """Give headline and sentence."""
    document = result.document()
    return document["headline"], document["sentence"]


class TestWhatItSays:
    def test_headline_and_sentence(self, result: Several, page: str) -> None:
        text = Page(page).text(outside=("pre",))
        for words in said(result):
            assert plain(words) in text

    def test_every_finding_with_what_to_do(self, result: Several, page: str) -> None:
        text = Page(page).text(outside=("pre",))
        for found in result.document()["findings"]:
            for key in ("sentence", "size", "remedy"):
                assert not found.get(key) or plain(found[key]) in text

    def test_all_digits_are_one_step_away(self, kind: str, result: Several, page: str) -> None:
        enclosed = [words for parents, words in Page(page).words if "pre" in parents]
        assert len(enclosed) == (not kind.startswith("covered"))
        for text in enclosed:
            assert json.loads(text) == result.document()

    def test_invented_ones_say_so_first(self, result: Several) -> None:
        text = Page(result.report(made=MADE, invented=True)).text(outside=("header", "title", "a"))
        assert text.startswith("Invented example. No such test took place.")


class TestFigures:
    def test_of_a_pool_each_test_and_all_together(self) -> None:
        result = several_of("pool")
        text, document = Page(result.report(made=MADE)).text(outside=("pre",)), result.document()
        found = [*(test["drive_fraction"] for test in document["tests"]), document["pooled"]["drive_fraction"]]
        for each in found:
            for key in ("value", "low", "high"):
                assert plain(percent(each[key], signed=True)) in text
        for rest in document["pooled"]["leave_one_out"]:
            assert f"Without {rest['without']}" in text
        assert "test 2 of 3" in text

    def test_of_a_pool_that_differs_what_is_left_out_and_why(self) -> None:
        result = several_of("pool that differs")
        text = Page(result.report(made=MADE)).text(outside=("pre",))
        assert "Its planned runs are not all done" in text
        assert "not pooled" in text
        assert str(result.document()["tests"][3]["sentence"]) not in text.split("Each test")[0]

    def test_of_a_screening_shrinkage_luck_and_the_order_drawn(self) -> None:
        result = several_of("screening")
        assert isinstance(result, ScreeningResult)
        page, document = Page(result.report(made=MADE)), result.document()
        text = page.text(outside=("pre", "details"))
        # what a reader sees of a difference d on the log scale is the drive fraction 1 - exp(-d): method section 2
        assert f"{round(100 * document['kept'])} of every 100 parts" in text
        for key in ("shown", "expected", "by_luck"):
            assert plain(percent(1 - 2.718281828459045 ** -document[key], signed=True)) in text
        rows = re.findall(r'<tr><th scope="row">(\d+)</th><td>\d+</td><td>(.*?)</td>', result.report(made=MADE))
        order = [name.replace("<b>", "&lt;b&gt;").replace("</b>", "&lt;/b&gt;") for name in result.screened.plan.order]
        assert rows == [(str(slot), name) for slot, name in enumerate(order, 1)]
        assert len(document["against_control"]) == 4
        assert "weaker than a fresh test" in text

    def test_of_a_dose_series_trend_span_and_every_run(self) -> None:
        result = several_of("dose")
        text, document = Page(result.report(made=MADE)).text(outside=("pre", "details")), result.document()
        for key in ("value", "low", "high"):
            assert plain(percent(document["drive_fraction_per_unit"][key], signed=True)) in text
        section = text.split("Every run, in the order drawn")[1]
        times = [2.718281828459045 ** run["adding_scale"] for run in document["runs"]]
        assert all(f"{run['dose']:g} {time:.2f}" in section for run, time in zip(document["runs"], times, strict=True))


class TestACoveredResultStaysCovered:
    @pytest.mark.parametrize("kind", ["covered screening", "covered dose"])
    def test_counts_only(self, kind: str) -> None:
        page = several_of(kind).report(made=MADE)
        text = Page(page).text()
        assert "7 of" in text
        assert "<figure" not in page
        assert not re.search(r"\d\.\d\d", Page(page).text(outside=("header",)))


class TestItIsOneValidPageByItself:
    def test_no_script_and_nothing_that_loads(self, page: str) -> None:
        taken = Page(page)
        loads = {"script", "link", "img", "iframe", "object", "embed", "form", "base", "audio", "video", "image", "use"}
        assert not loads & {tag for tag, _ in taken.elements}
        assert not [name for _, attributes in taken.elements for name in attributes if name.startswith("on")]
        styles = "".join(re.findall(r"<style>(.*?)</style>", page, re.DOTALL))
        assert not re.search(r"url\(|@import|image-set|//", styles)
        assert set(re.findall(r"https?://[^\s\"'<>]+", page)) <= {"http://www.w3.org/2000/svg"}

    def test_headings_follow_one_another_and_tables_have_heads(self, page: str) -> None:
        taken = Page(page)
        levels = [int(tag[1]) for tag, _ in taken.elements if re.fullmatch("h[1-6]", tag)]
        assert (levels[0], levels.count(1)) == (1, 1)
        assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
        assert {attributes.get("scope") for attributes in taken.named("th")} <= {"col", "row"}

    def test_identifiers_are_there_once(self, page: str) -> None:
        names = [attributes["id"] for _, attributes in Page(page).elements if "id" in attributes]
        assert len(names) == len(set(names))

    def test_what_people_type_stays_text(self) -> None:
        page = several_of("screening").report(made=MADE)
        assert "no &lt;b&gt;plate&lt;/b&gt;" in page
        assert "<b>plate" not in page


class TestItIsTheSameEveryTime:
    def test_byte_for_byte(self, result: Several, page: str) -> None:
        assert result.report(made=MADE).encode() == page.encode()

    def test_a_time_without_a_zone_is_refused(self, result: Several) -> None:
        with pytest.raises(ValueOutOfRange, match="time zone"):
            result.report(made=datetime(2026, 3, 14))  # noqa: DTZ001  that is the point


class TestANotebookShowsTheSamePieces:
    def test_headline_picture_and_findings(self, kind: str, result: Several) -> None:
        piece = result._repr_html_()
        text = Page(piece).text()
        assert plain(said(result)[0]) in text
        assert ("<figure" in piece) == (not kind.startswith("covered"))
        assert "<script" not in piece


class TestTestsOfOneClaimInTheReportOfAComparison:
    def test_two_main_tests_are_counted_by_the_day_of_their_seal(self) -> None:
        first, second = invented_test(1, -0.05), invented_test(2, -0.04)
        text = Page(second.report(made=MADE, linked=[first.comparison])).text()
        assert "Test 2 of 2 of this claim" in text
        assert "This is test 2 of 2 of this claim" in text
        assert "2 2026-03-14 main test, this one" in text

    def test_a_missing_test_is_named(self) -> None:
        absent = "00000000-0000-4000-8000-000000000098"
        text = Page(challenge_of(8, absent).report(made=MADE)).text()
        assert "Test 2 of 2 of this claim; not all of them are here" in text
        assert f"plan {absent}." in text.split("Not here:")[1]

    def test_one_alone_says_that_others_belong_here(self) -> None:
        text = Page(invented_test(1, -0.05).report(made=MADE)).text()
        assert "No other test of this claim was brought to this report." in text
        assert "of this claim;" not in text

    def test_a_control_is_no_test_of_the_claim(self) -> None:
        control = invented_test(3, 0.0, role="dummy", main_test="00000000-0000-4000-8000-000000000001")
        text = Page(invented_test(1, -0.05).report(made=MADE, linked=[control.comparison])).text()
        assert "No other test of this claim" in text
