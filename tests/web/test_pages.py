"""A test from its claim to its bundle, as a person goes through it; every step is checked in the notebook.

The bundle is checked by RFC 8493 (BagIt), the square code against segno's own writer of ISO/IEC 18004.
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from pathlib import Path

import httpx
import pytest
import segno
from playwright.sync_api import Browser, expect

from tests.web.conftest import Running
from tests.web.made_tests import agreed, opened, run, sealed
from truerun.charts.palette import Scheme, variables_of
from truerun.notebook.entries import Kind
from truerun.trial.mishaps import MISHAPS
from truerun.web.plan_fields import CHOICES, USUAL, typed
from truerun.web.visit import Bench
from truerun.workflow.bench import begin_run, find_test, note, state_of, stop_clock
from truerun.workflow.planning import PlanRequest

PLAN = USUAL | {"source": "arc in", "control": "arc out", "spread": "1.54", "run_minutes": "5"}


def head(running: Running, number: int = 1) -> str:
    """Give the last line of a test."""
    row = next(row for row in running.notebook.tests() if row.number == number)
    return row.head.digest


@pytest.fixture(scope="module")
def bench(running: Running) -> str:
    """Give a test that is ready for its first run."""
    test = opened(running.notebook, "observed")
    sealed(running.notebook, test)
    return test


@pytest.fixture(scope="module")
def done(running: Running) -> int:
    """Give the number of a test whose runs are all done."""
    test = opened(running.notebook, "all done")
    agreed(running.notebook, test)
    sealed(running.notebook, test)
    run(running.notebook, test, 16)
    return next(row.number for row in running.notebook.tests() if row.id == test)


class TestTheEmptyNotebook:
    def test_it_says_what_to_do_first(self, client: httpx.Client) -> None:
        buttons = re.findall(r'<a class="btn( first)?" href="([^"]+)">([^<]+)', client.get("/").text)
        assert buttons[0] == (" first", "/look", "Look first")
        assert buttons[1][1] == "/new"


class TestTheRoadOfATest:
    """In the order of the file: each step goes on from the one before."""

    def test_a_claim_that_lacks_something_comes_back_as_typed(self, client: httpx.Client) -> None:
        answer = client.post("/new", data={"form": "a", "name": "", "words": "It gains.", "claimed": "a lot"})
        assert answer.status_code == 422
        summary = re.findall(r'<li><a href="#(\w+)">', answer.text)
        assert summary == ["name", "claimed"]
        for field in summary:
            assert f'id="{field}"' in answer.text
            assert f'aria-describedby="{field}-hint {field}-trouble" aria-invalid="true"' in answer.text
        assert "It gains." in answer.text
        assert 'value="a lot"' in answer.text

    def test_a_form_that_is_sent_twice_opens_one_test(self, running: Running, client: httpx.Client) -> None:
        said = {"form": "b", "name": "The rim arc", "words": "It gains.", "claimed": "5", "by": "the builder"}
        places = {client.post("/new", data=said).headers["location"] for _ in range(2)}
        assert places == {"/t/1/agreement"}
        assert [row.number for row in running.notebook.tests()] == [1]
        assert state_of(running.notebook, find_test(running.notebook, "1")).claim == {
            "words": "It gains.", "against": None, "by": "the builder", "claimed": 0.05,
        }  # fmt: skip

    def test_answers_stay_hidden_until_both_are_given(self, client: httpx.Client) -> None:
        client.post("/t/1/agreement/claimant", data={"would_change_my_mind": "a brake"})
        assert "a brake" not in client.get("/t/1/agreement").text
        client.post("/t/1/agreement/sceptic", data={"would_change_my_mind": "a clear drive"})
        page = client.get("/t/1/agreement").text
        assert "a brake" in page
        assert "a clear drive" in page
        assert "a brake" not in client.get("/t/1/agreement/sceptic").text

    def test_numbers_beside_the_plan_follow_the_form(self, client: httpx.Client) -> None:
        def told(**changed: str) -> dict[str, str]:
            answer = client.post("/t/1/plan/figures", json=PLAN | changed, timeout=60).json()
            assert answer["why"] == ""
            figures: dict[str, str] = answer["figures"]
            return figures

        usual, noisy, longer = told(), told(spread="3.08"), told(run_minutes="10")
        assert usual["orders"] == "1296"  # 6 orders a block of two and two, four blocks
        share = [float(each["finds"].split("\N{NO-BREAK SPACE}")[0]) for each in (usual, noisy)]
        assert share[1] / share[0] == pytest.approx(2, rel=0.05)  # ln T scales with its spread; two digits are shown
        assert (usual["time"], longer["time"]) == ("2 h 07 min", "3 h 42 min")  # 16 runs of 7 or 12 min, 3 warm-ups
        assert longer["finds"] == usual["finds"]

    def test_a_plan_that_cannot_decide_says_what_would(self, client: httpx.Client) -> None:
        answer = client.post("/t/1/plan/figures", json=PLAN | {"runs": "8"}).json()
        assert answer["figures"] is None
        assert "36 orders" in answer["dead"]["why"]
        assert "Make it 6 + 6 runs" in [way["words"] for way in answer["dead"]["ways"]]

    def test_a_draft_from_an_older_state_is_refused_and_kept(self, running: Running, client: httpx.Client) -> None:
        old = head(running)
        note(running.notebook, find_test(running.notebook, "1"), "written elsewhere")
        answer = client.post("/t/1/plan", data=PLAN | {"head": old, "margin": "2.5"})
        assert answer.status_code == 409
        assert "Something was written since you began" in answer.text
        assert 'value="2.5"' in answer.text
        assert head(running) in answer.text

    def test_the_seal_is_shown_with_its_words_and_its_square_code(self, running: Running, client: httpx.Client) -> None:
        kept = client.post("/t/1/plan", data=PLAN | {"head": head(running), "then": "seal"})
        assert kept.headers["location"] == "/t/1/plan/seal"
        assert "Draw the order and seal the plan" in client.get("/t/1/plan/seal", timeout=60).text
        client.post("/t/1/plan/seal", data={"head": head(running)}, timeout=60)
        page = client.get("/t/1/plan/seal").text
        plan = state_of(running.notebook, find_test(running.notebook, "1")).plan
        assert plan is not None
        assert "It proves the plan's date only if a stranger holds the code." in page.replace("&#39;", "'")
        assert all(f"<b>{group}</b>" in page for group in plan["seal"]["code"].split())
        code = segno.make(f"truerun seal {plan['seal']['code']} sha256 {plan['seal']['sha256']}", error="m")
        assert code.svg_inline(scale=4, border=4, dark="#000000", light="#ffffff", omitsize=True) in page

    def test_after_the_seal_nothing_before_it_changes(self, running: Running, client: httpx.Client) -> None:
        before = head(running)
        assert client.post("/t/1/claim", data={"words": "Another."}).status_code == 409
        assert client.post("/t/1/agreement/sceptic", data={"would_change_my_mind": "x"}).status_code == 409
        assert client.post("/t/1/plan", data=PLAN | {"head": before}).headers["location"] == "/t/1/plan/seal"
        assert head(running) == before

    def test_a_sitting_begins_with_its_warm_up(self, running: Running, client: httpx.Client) -> None:
        assert client.get("/t/1/runs/1/sheet").headers["location"] == "/t/1/session"
        client.post("/t/1/session", data={"note": "19 degrees"})
        for sender in ("w1", "w1", "w2", "w3"):  # the second press of the first one is no launch
            client.post("/t/1/warm-up", data={"sender": sender})
        assert state_of(running.notebook, find_test(running.notebook, "1")).warm_ups == 3
        assert "The warm-up is done." in client.get("/t/1/warm-up").text

    def test_only_the_next_run_has_a_sheet_and_the_order_shows_no_further(self, client: httpx.Client) -> None:
        assert 'data-slot="1"' in client.get("/t/1/runs/1/sheet").text
        assert "not next yet" in client.get("/t/1/runs/2/sheet").text
        assert client.get("/t/1/runs/17/sheet").status_code == 422
        listed = client.get("/t/1/runs").text
        assert listed.count('class="cnd') == 1
        assert listed.count(">covered<") == 15

    def test_a_time_is_typed_in_and_marked(self, running: Running, client: httpx.Client) -> None:
        assert client.post("/t/1/runs/1/typed", data={"seconds": "soon"}).status_code == 422
        assert client.post("/t/1/runs/1/typed", data={"seconds": "0"}).status_code == 422
        client.post("/t/1/runs/1/typed", data={"seconds": "2:39,7"})
        state = state_of(running.notebook, find_test(running.notebook, "1"))
        assert [(each.seconds, each.typed) for each in state.runs] == [(159.7, True)]

    def test_a_run_that_is_taken_back_stays_and_is_not_repeated(self, running: Running, client: httpx.Client) -> None:
        answer = client.post("/t/1/runs/1/withdraw", data={"why": "", "head": head(running)})
        assert answer.status_code == 422
        client.post("/t/1/runs/1/withdraw", data={"why": "a draught", "sure": "yes", "head": head(running)})
        state = state_of(running.notebook, find_test(running.notebook, "1"))
        assert (state.runs[0].left_out, state.runs[0].seen, state.next_slot) == ("a draught", True, 2)

    def test_the_verdict_is_sealed_until_the_last_run(self, running: Running, client: httpx.Client) -> None:
        assert "Sealed until run 16." in client.get("/t/1/verdict").text
        for path in ("/t/1/verdict/open", "/t/1/report"):
            assert client.post(path).status_code == 409
        for path in ("/t/1/verdict/opened", "/t/1/verdict/orders"):
            assert client.get(path).status_code == 409
        assert state_of(running.notebook, find_test(running.notebook, "1")).decided is None


class TestObservations:
    """What a script sends; the browser's side is in test_run_sheet.py."""

    @staticmethod
    def sent(client: httpx.Client, **body: object) -> httpx.Response:
        return client.post("/t/2/observe", json=body, headers={"accept": "application/json"})

    @pytest.mark.parametrize(
        ("body", "status"),
        [
            ({"what": "begin", "slot": 2, "sender": "x"}, 409),
            ({"what": "begin", "slot": 1}, 422),
            ({"what": "fly", "sender": "x"}, 422),
            ({"what": "stop", "run": "nobody", "seconds": 1.0, "sender": "x"}, 422),
            ({"what": "note", "words": " ", "sender": "x"}, 422),
        ],
    )
    def test_what_cannot_be_is_refused_in_a_sentence(
        self, running: Running, bench: str, client: httpx.Client, body: dict[str, object], status: int
    ) -> None:
        before = running.notebook.head(bench)
        answer = self.sent(client, **body)
        assert answer.status_code == status
        assert len(answer.json()["sentence"]) > 10
        assert running.notebook.head(bench) == before

    def test_the_same_one_again_changes_nothing(self, running: Running, bench: str, client: httpx.Client) -> None:
        begin = {"what": "begin", "slot": 1, "sender": "run one"}
        stop = {"what": "stop", "run": "run one", "seconds": 61.25, "sender": "stop one"}
        for body in (begin, begin, stop, stop, begin):
            answer = self.sent(client, **body)
            assert answer.status_code == 200
            assert answer.json()["run"] == "run one"
        assert [(run.slot, run.seconds) for run in state_of(running.notebook, bench).runs] == [(1, 61.25)]

    def test_a_second_time_from_elsewhere_is_refused(self, running: Running, bench: str, client: httpx.Client) -> None:
        assert self.sent(client, what="stop", run="run one", seconds=9.0, sender="another").status_code == 409
        assert state_of(running.notebook, bench).runs[0].seconds == 61.25

    @pytest.mark.parametrize("seconds", [0, -1, None, "61", True])
    def test_a_time_is_a_number_above_zero(self, bench: str, client: httpx.Client, seconds: object) -> None:
        assert bench  # its first run is done
        self.sent(client, what="begin", slot=2, sender="run two")
        assert self.sent(client, what="stop", run="run two", seconds=seconds, sender="s").status_code == 422


class TestFromTheLastRunToTheBundle:
    def test_one_button_opens_the_seal_once(self, running: Running, done: int, client: httpx.Client) -> None:
        page = client.get(f"/t/{done}/verdict").text
        assert page.count("btn write") == 1
        assert "energy" not in page.split("<main")[1].split("</main>")[0].replace("adds energy", "")
        times = {client.post(f"/t/{done}/verdict/open", timeout=60).headers["location"] for _ in range(2)}
        assert times == {f"/t/{done}/verdict/opened"}
        test = next(row.id for row in running.notebook.tests() if row.number == done)
        assert sum(entry.kind.value == "decided" for entry in running.notebook.entries(test)) == 1

    def test_verdict_and_luck_say_the_same(self, done: int, client: httpx.Client) -> None:
        opened_page, verdict = (client.get(f"/t/{done}/{at}", timeout=60).text for at in ("verdict/opened", "verdict"))
        headline = re.findall(r'<h1 class="say">([^<]+)</h1>', opened_page + verdict)
        assert headline == ["“arc in” takes energy."] * 2
        counted = re.search(r"Luck alone does this in <b>(\d+) of (\d+)</b>", opened_page)
        assert counted is not None
        orders = client.get(f"/t/{done}/verdict/orders").text
        assert len(orders.splitlines()) - 1 == int(counted[2]) == 1296

    def test_report_and_bundle(self, running: Running, done: int, client: httpx.Client) -> None:
        client.post(f"/t/{done}/report", timeout=60)
        page = client.get(f"/t/{done}/report/page", timeout=60)
        test = next(row.id for row in running.notebook.tests() if row.number == done)
        (written,) = (each for each in running.notebook.entries(test) if each.kind is Kind.REPORTED)
        assert written.body["digest"] == hashlib.sha256(page.content).hexdigest()  # the page that was written down
        assert "script-src" not in page.headers["content-security-policy"]
        assert "default-src 'none'" in page.headers["content-security-policy"]
        assert "<script" not in page.text
        assert "Invented example" in page.text
        saved = client.get(f"/t/{done}/report/page?save=yes", timeout=60)
        assert saved.headers["content-disposition"] == f'attachment; filename="report-{done}.html"'
        assert saved.text == page.text
        bundle = client.post(f"/t/{done}/bundle", timeout=60)
        names = zipfile.ZipFile(io.BytesIO(bundle.content)).namelist()
        assert {"bagit.txt", "manifest-sha256.txt"} <= {name.rpartition("/")[2] for name in names}

    def test_times_stand_beside_conditions_once_it_is_open(self, done: int, client: httpx.Client) -> None:
        assert "Time, s" in client.get(f"/t/{done}/runs").text


class TestBreakingTheSeal:
    def test_it_needs_a_reason_and_is_written_down(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "broken early")
        sealed(running.notebook, test)
        run(running.notebook, test, 8)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        said = {"why": "", "head": head(running, number)}
        assert client.post(f"/t/{number}/verdict/break", data=said).status_code == 422
        client.post(f"/t/{number}/verdict/break", data=said | {"why": "a visitor asks", "sure": "yes"}, timeout=60)
        assert "Seal broken before the last planned run: a visitor asks" in client.get(f"/t/{number}/verdict").text
        assert state_of(running.notebook, test).broken == "a visitor asks"


class TestGuesses:
    def test_they_are_asked_where_the_plan_says_so(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "guessed")
        sealed(running.notebook, test, blinding=3)
        stop_clock(running.notebook, test, begin_run(running.notebook, test).id, 60.0)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        assert "Which was run 1?" in client.get(f"/t/{number}/runs/1/guess").text
        client.post(f"/t/{number}/runs/1/guess", data={"condition": "arc out"})
        assert state_of(running.notebook, test).runs[0].guess == "arc out"


class TestLookFirst:
    TIMES = "source_1=52&source_2=49&source_3=50&control_1=61&control_2=63&control_3=60"
    NAMES = "source=magnets+on&control=magnets+off&end=standstill"

    def test_it_says_how_easily_luck_does_it_and_gives_no_verdict(self, running: Running, client: httpx.Client) -> None:
        before = len(running.notebook.tests())
        page = client.get(f"/look/result?{self.NAMES}&{self.TIMES}", timeout=60).text
        # 6! / (3! 3!) = 20, and its mirror image
        assert "does this: 2 of 20 ways to divide these runs split as clean, and with so few runs it cannot" in page
        assert not re.search(r"adds energy|takes energy|No difference found", page)
        assert len(running.notebook.tests()) == before

    def test_a_time_that_cannot_be_read_comes_back(self, client: httpx.Client) -> None:
        answer = client.get(f"/look/result?{self.NAMES}&{self.TIMES.replace('49', 'fast')}")
        assert answer.status_code == 422
        assert 'href="#source_2"' in answer.text
        assert 'value="fast"' in answer.text

    def test_too_few_are_said(self, client: httpx.Client) -> None:
        answer = client.get(f"/look/result?{self.NAMES}&source_1=50&control_1=60")
        assert answer.status_code == 422
        assert "at least two runs" in answer.text


class TestWordsAndColours:
    def test_the_colours_are_those_of_the_drawings(self, client: httpx.Client) -> None:
        sheet = client.get("/static/colours.css").text
        assert variables_of(Scheme.LIGHT) in sheet
        assert variables_of(Scheme.DARK) in sheet

    def test_every_choice_of_the_form_is_one_of_a_plan(self) -> None:
        for orders, _ in CHOICES["orders"]:
            assert PlanRequest.model_validate(
                {"claim": "x", "source": "a", "control": "b", "end": "speed", "orders": orders}
            )
        assert set(USUAL) <= set(typed({}))

    def test_everything_that_can_go_wrong_can_be_said(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "to go wrong")
        sealed(running.notebook, test)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        page = client.get(f"/t/{number}/runs/1/sheet").text
        assert re.findall(r'name="kind" value="([\w-]+)"', page) == list(MISHAPS)

    def test_no_page_asks_for_anything_from_elsewhere(self, client: httpx.Client) -> None:
        folder = Path(__file__).parents[2] / "src" / "truerun" / "web"
        for file in (*folder.glob("static/*"), *folder.glob("templates/*")):
            text = re.sub(r"xmlns(:\w+)?=\"[^\"]+\"", "", file.read_text(encoding="utf-8"))
            assert not re.search(r"https?://|//\w+\.\w+/|@import|url\(", text), file.name
        assert client.get("/").status_code == 200


class TestKept:
    def test_results_that_were_reckoned_do_not_pile_up(self, running: Running) -> None:
        bench = Bench(running.notebook)
        for number in range(200):
            bench.kept(number, lambda: "reckoned")
        assert len(bench.results) <= 64


class TestKeys:
    def test_a_letter_after_g_leads_to_a_page(self, running: Running, browser: Browser) -> None:
        context = running.context(browser)
        page = context.new_page()
        page.goto(f"{running.address}/t/1/claim")
        page.keyboard.press("g")
        page.keyboard.press("r")
        expect(page).to_have_url(f"{running.address}/t/1/runs")
        page.wait_for_load_state()
        page.keyboard.press("?")
        layer = page.locator("#keys-layer")
        expect(layer).to_be_visible()
        expect(page).to_have_url(f"{running.address}/t/1/runs")  # a layer over the page, not another page
        page.keyboard.press("Escape")
        expect(layer).to_be_hidden()
        page.keyboard.press("?")
        layer.locator("#single-keys").uncheck()
        page.keyboard.press("Escape")
        page.keyboard.press("?")
        expect(layer).to_be_hidden()
        context.close()
