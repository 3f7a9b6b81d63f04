"""The run sheet to print holds what was sealed, asks nothing of any network, and says what is dangerous."""

import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from truerun.trial.seal import spoken
from truerun.workflow.planning import PlanResult, make_plan, request_from

REQUEST = {
    "claim": "It gains <b>always</b> & more.",
    "source": "arc in",
    "control": "arc out",
    "end": "speed",
    "window": (12.566370614359172, 4.188790204786391),
    "run_minutes": 7.0,
    "sitting_minutes": 100.0,
}


def sealed(**more: object) -> PlanResult:
    made = datetime(2026, 3, 14, tzinfo=UTC)
    return make_plan(request_from(REQUEST | more), seed="run sheet of a test", identity="a test", made=made)


class Page(HTMLParser):
    """Text, tags and attributes of a page, in their order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.words += data.split() if self.tags[-1:] != ["style"] else []


class TestItIsOnePageByItself:
    def test_no_script_and_no_request(self) -> None:
        page = Page(sealed().run_sheet_html())
        assert not {"script", "link", "img", "iframe", "object", "form"} & set(page.tags)
        assert not {"src", "href", "srcset", "style-src", "onload"} & {name for name, _ in page.attributes}
        assert not re.search(r"url\(|@import|https?:", sealed().run_sheet_html())

    def test_what_a_person_typed_stays_text(self) -> None:
        page = sealed().run_sheet_html()
        assert "It gains &lt;b&gt;always&lt;/b&gt; &amp; more." in page
        assert "b" not in set(Page(page.split("<header>")[1].split("</h1>")[1].split("</p>")[0]).tags)


class TestItHoldsWhatWasSealed:
    def test_the_order_a_line_a_run_with_word_and_shape(self) -> None:
        result = sealed()
        rows = re.findall(
            r'<td class="n">(\d+)</td><td class="c">.*?<(circle|rect).*?</svg>([^<]+)</span>',
            (result.run_sheet_html()),
            re.DOTALL,
        )
        shapes = {"arc in": "circle", "arc out": "rect"}
        assert rows == [(str(slot), shapes[name], name) for slot, name in enumerate(result.plan.order, 1)]

    def test_the_seal_with_its_words(self) -> None:
        result = sealed()
        page = result.run_sheet_html()
        for group in result.seal.code.split():
            assert f"<b>{group}</b>" in page
            assert spoken(group) in page
        assert result.seal.sha256 in page

    def test_speeds_in_turns_a_minute(self) -> None:
        assert "from 120\N{NO-BREAK SPACE}r/min down to 40\N{NO-BREAK SPACE}r/min" in sealed().run_sheet_html()

    def test_block_ends_and_the_best_places_to_stop(self) -> None:
        result = sealed()
        page = result.run_sheet_html()
        assert result.plan.sessions.breaks_after == (8,)
        assert page.count("End of block") == 3
        assert page.count("End of block 2: the best place to stop for the day.") == 1

    def test_a_warm_up_at_the_start_of_each_sitting(self) -> None:
        page = sealed(warm_up_launches=2).run_sheet_html()
        assert page.count("Warm-up: 2 launches, not counted") == 1
        assert page.count("After the break, warm-up: 2 launches") == 1
        assert "arm-up" not in sealed(warm_up_launches=0).run_sheet_html()

    def test_a_condition_that_stays_is_set_again(self) -> None:
        result = sealed()
        order = result.plan.order
        repeated = sum(name == before for before, name in pairwise(order))
        assert result.run_sheet_html().count('<span class="again">again</span>') == repeated > 0

    def test_orders_without_blocks_have_no_block_ends(self) -> None:
        assert "End of block" not in sealed(orders="complete", sitting_minutes=None).run_sheet_html()

    @pytest.mark.parametrize(
        ("more", "said"),
        [
            ({"end": "turns", "window": None}, "for a set count of turns"),
            (
                {"end": "standstill", "stop": "lies-still", "hill_bound": 0.01, "window": None},
                "until the wheel lies still",
            ),
            ({"measure": "mass", "unit": "g", "scale": "linear", "spread": 1.0}, "write down mass [g]"),
        ],
    )
    def test_what_ends_a_run_and_what_is_measured(self, more: dict[str, object], said: str) -> None:
        assert said in sealed(**more).run_sheet_html()


class TestABagKeepsItsSecret:
    def test_neither_sheet_tells_a_condition_of_a_run(self) -> None:
        result = sealed(drawn_by="bag")
        rows = result.run_sheet_html().split("<tbody")[1]
        assert "cartridge no." in rows
        assert "arc in" not in rows
        assert "arc out" not in rows
        lines = [line for line in result.run_sheet_csv().splitlines() if not line.startswith("#")]
        assert not any("arc" in line for line in lines)
        assert lines[0].endswith(",cartridge")


class TestItSaysWhatIsDangerous:
    def test_spinning_parts_magnets_and_implants_without_a_distance(self) -> None:
        text = " ".join(Page(sealed().run_sheet_html().split('class="caution"')[1]).words)
        assert "clear of the rim" in text
        assert "must not be swallowed" in text
        assert "stay away and ask their clinic" in text
        assert not re.search(r"\d+ (m|cm|mm|metres?)\b", text)
