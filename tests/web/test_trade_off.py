"""What other sizes and orders of a plan would do, beside the form.

Numbers of orders: 6 arrangements of two and two in a block, so 6^3 = 216, 6^4 = 1296, 6^6 = 46 656 (three, four, six
blocks); 2^8 = 256 orders of eight pairs. Times of day are added up by hand.
"""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import Browser, expect

from tests.web.conftest import Running
from tests.web.made_tests import opened
from truerun.report.plan_words import ORDER_SETS
from truerun.web.plan_fields import USUAL

FORM = USUAL | {"source": "arc in", "control": "arc out", "spread": "1.54", "run_minutes": "5", "begin": "18:30"}


@pytest.fixture(scope="module")
def number(running: Running) -> int:
    """Give the number of a test that has no plan yet."""
    test = opened(running.notebook, "to be planned")
    return next(row.number for row in running.notebook.tests() if row.id == test)


def told(client: httpx.Client, number: int, **changed: str) -> dict[str, list[dict[str, object]]]:
    """Ask for the tables."""
    answer: dict[str, list[dict[str, object]]] = client.post(
        f"/t/{number}/plan/trade", json=FORM | changed, timeout=120
    ).json()
    return answer


def cells(rows: list[dict[str, object]]) -> list[list[str]]:
    """Give the texts of a table with plain blanks."""
    return [[str(each).replace("\N{NO-BREAK SPACE}", " ") for each in list(row["cells"])] for row in rows]  # type: ignore[call-overload]


class TestTheTables:
    def test_sizes_orders_and_the_time_of_day(self, number: int, client: httpx.Client) -> None:
        answer = told(client, number)
        sizes = {row[0]: row for row in cells(answer["sizes"])}
        assert sizes["4 + 4"][1] == "cannot decide"
        # 3 warm-ups of 5 min and 16 runs of 5 + 2 min: 127 min after 18:30
        assert sizes["8 + 8"][2:] == ["2 h 07 min", "20:37"]
        assert sizes["16 + 16"][3] == "22:29"
        found = [float(sizes[each][1].split()[0]) for each in ("6 + 6", "8 + 8", "12 + 12", "16 + 16")]
        assert found == sorted(found, reverse=True)
        sets = {row[0]: row for row in cells(answer["sets"])}
        assert sets[ORDER_SETS["blocks-of-four"]][1:3] == ["1296", "2 of 1296"]
        assert sets[ORDER_SETS["pairs"]][1] == "256"
        assert "99 %" in sets[ORDER_SETS["blocks-of-four"]][3]

    def test_the_chosen_row_says_what_the_figures_say(self, number: int, client: httpx.Client) -> None:
        figures = client.post(f"/t/{number}/plan/figures", json=FORM, timeout=60).json()["figures"]
        chosen = next(row for row in told(client, number)["sizes"] if row["chosen"])
        assert list(chosen["cells"])[:3] == [figures["runs"], figures["finds"], figures["time"]]  # type: ignore[call-overload]

    def test_trial_runs_count_as_in_the_figures(self, number: int, client: httpx.Client) -> None:
        figures = client.post(f"/t/{number}/plan/figures", json=FORM | {"pilot_runs": "8"}, timeout=60).json()[
            "figures"
        ]
        chosen = next(row for row in told(client, number, pilot_runs="8")["sizes"] if row["chosen"])
        assert list(chosen["cells"])[1] == figures["finds"]  # type: ignore[call-overload]

    def test_a_set_that_does_not_take_so_many_runs_is_said_not_to(self, number: int, client: httpx.Client) -> None:
        sets = {row[0]: row for row in cells(told(client, number, runs="24")["sets"])}
        assert sets[ORDER_SETS["restricted"]][3] == "cannot decide with these runs"
        assert sets[ORDER_SETS["blocks-of-four"]][1] == "46 656"

    def test_best_places_to_stop_have_a_time(self, number: int, client: httpx.Client) -> None:
        stops = str(told(client, number)["stops"])
        # 18:30 + 15 min of warm-up + 4 runs of 7 min
        assert "after run 4 (19:13), run 8 (19:41)" in stops

    def test_what_is_no_time_of_day_is_said(self, number: int, client: httpx.Client) -> None:
        assert "no time of day" in str(told(client, number, begin="evening")["stops"])


class TestInABrowser:
    def test_the_tables_follow_the_form(self, running: Running, number: int, browser: Browser) -> None:
        context = running.context(browser)
        page = context.new_page()
        page.goto(f"{running.address}/t/{number}/plan")
        for name in ("source", "control", "spread", "run_minutes", "begin"):
            page.locator(f"#{name}").fill(FORM[name])
        expect(page.locator("#sizes tbody tr.chosen")).to_contain_text("20:37", timeout=60_000)
        page.get_by_role("radio", name="12 + 12").check(force=True)
        expect(page.locator("#sizes tbody tr.chosen")).to_contain_text(re.compile(r"12 \+ 12"), timeout=60_000)
        expect(page.locator("#stops")).to_contain_text("run 24")
        context.close()

    def test_on_a_phone_they_fit_and_a_column_without_an_entry_is_left_out(
        self, running: Running, number: int, browser: Browser
    ) -> None:
        context = running.context(browser, viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(f"{running.address}/t/{number}/plan")
        for name in ("source", "control", "spread", "run_minutes"):
            page.locator(f"#{name}").fill(FORM[name])
        done = page.locator("#sizes thead th").last
        expect(page.locator("#sizes tbody tr.chosen")).to_contain_text("h", timeout=60_000)
        expect(done).to_be_hidden()
        page.locator("#begin").fill(FORM["begin"])
        expect(page.locator("#sizes tbody tr.chosen")).to_contain_text("20:37", timeout=60_000)
        expect(done).to_be_visible()
        for table in ("#sizes", "#sets"):
            assert page.locator(table).evaluate("(box) => box.scrollWidth <= box.clientWidth"), table
        context.close()
