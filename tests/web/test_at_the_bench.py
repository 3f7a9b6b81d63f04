"""What stands on the run sheet besides the condition: launch, what to measure and check, where to stop and when.

Times of day are added up by hand. Runs are begun seven minutes apart on a clock of the test's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click
import httpx
import pytest
from playwright.sync_api import Browser, expect

import truerun.cli.questions
import truerun.cli.run
from tests.web.conftest import Running
from tests.web.made_tests import SEED, opened, run, sealed
from truerun.notebook.ledger import open_notebook
from truerun.report.bench_lists import ONCE_A_BLOCK
from truerun.web.phone_book import Role
from truerun.web.phone_pages import phone_application
from truerun.web.phone_switch import PhoneSwitch, local_address
from truerun.web.visit import Bench
from truerun.workflow.bench import begin_run, describe_rig, seal_plan, start_session, state_of, stop_clock, warm_up
from truerun.workflow.deciding import decide, table_of
from truerun.workflow.pace import pace_of, time_after
from truerun.workflow.plan_files import read_plan
from truerun.workflow.planning import plan
from truerun.workflow.rig import launch_for, rig_body
from truerun.workflow.sheets import type_in_sheet

LAUNCH = "0.5 kg from the 40 cm mark"
NAMES = ["temperature °C", "launch speed rpm"]
SAID = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed", "spread": 0.0154}


def place_of(running: Running, test: str) -> str:
    """Give the address of a test."""
    return next(f"/t/{row.number}" for row in running.notebook.tests() if row.id == test)


def plain(text: str) -> str:
    """Give a text with plain blanks."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


class TestTheLaunch:
    def test_it_stands_on_the_sheet_the_paper_and_the_warm_up(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "launched by a weight")
        describe_rig(running.notebook, test, rig_body({"weight": "0.5 kg ± 1 g", "height": "40 cm"}))
        sealed(running.notebook, test)
        place = place_of(running, test)
        for address in (f"{place}/runs/1/sheet", f"{place}/plan/sheet", f"{place}/warm-up"):
            assert LAUNCH in plain(client.get(address).text)

    def test_what_the_plan_sealed_goes_before_the_rig(self) -> None:
        made = plan(SAID, launch_setting="the second notch")
        assert launch_for(made.plan, rig_body({"weight": "0.5 kg", "height": "40 cm"})) == "the second notch"
        assert "# Launch: the second notch" in made.run_sheet_csv()
        assert "the second notch" in made.run_sheet_html()

    def test_where_nobody_knows_it_nothing_is_said(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "launched somehow")
        sealed(running.notebook, test)
        assert "Launch: <b>" not in client.get(f"{place_of(running, test)}/runs/1/sheet").text


class TestTheEnd:
    def test_how_it_is_told_stands_wherever_a_run_is_timed(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "ended by a count")
        sealed(running.notebook, test, end_setting="one turn takes 2 s")
        place = place_of(running, test)
        for address in (f"{place}/runs/1/sheet", f"{place}/plan/sheet", f"{place}/plan/seal"):
            assert "down to a set speed: one turn takes 2 s" in plain(client.get(address).text)

    def test_it_stands_on_the_table_to_fill_in_and_a_plan_without_it_is_as_before(self) -> None:
        said = "# A run is timed down to a set speed: one turn takes 2 s\n"
        assert said in plan(SAID, end_setting="one turn takes 2 s").run_sheet_csv()
        assert "A run is timed" not in plan(SAID).run_sheet_csv()


class TestWhatIsChecked:
    def test_once_a_block_before_its_first_launch(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "checked in blocks")
        sealed(running.notebook, test)
        place = place_of(running, test)
        said = []
        for slot in range(1, 7):
            page = client.get(f"{place}/runs/{slot}/sheet").text
            assert "Guard closed, nobody in the plane of the wheel" in page
            said.append(all(each in page for each in ONCE_A_BLOCK))
            run(running.notebook, test, 1)
        assert said == [True, False, False, False, True, False]
        assert ONCE_A_BLOCK[0] in client.get(f"{place}/plan/sheet").text


class TestMeasuredFirst:
    def test_from_the_sheet_to_the_verdict(self, running: Running, browser: Browser) -> None:
        test = opened(running.notebook, "measured first")
        sealed(running.notebook, test, covariates=NAMES)
        context = running.context(browser)
        page = context.new_page()
        page.goto(f"{running.address}{place_of(running, test)}/runs/1/sheet")
        page.get_by_label(NAMES[0]).fill("21,5")
        page.get_by_label(NAMES[0]).press("w")  # a key of the sheet, but not while something is typed
        page.get_by_label(NAMES[0]).fill("21,5")
        page.get_by_role("button", name="Write it down").first.click()
        expect(page.get_by_text("21.5")).to_be_visible()
        page.get_by_label(NAMES[1]).fill("120")
        page.get_by_role("button", name="Write it down").first.click()
        expect(page.get_by_role("group", name="Measure first")).to_contain_text("launch speed rpm120")
        page.locator("#start").click()
        page.wait_for_selector("body[data-state=timing]")
        page.wait_for_timeout(400)
        page.locator("#stop").click()
        page.wait_for_timeout(400)
        page.locator("#well").click()
        page.wait_for_function("() => !window.truerunOutbox.waiting()")
        context.close()
        done = state_of(running.notebook, test).runs[0]
        assert (dict(done.measured), done.seconds is not None) == ({NAMES[0]: 21.5, NAMES[1]: 120.0}, True)

    def test_what_is_typed_and_not_written_down_is_kept_when_the_watch_starts(
        self, running: Running, browser: Browser
    ) -> None:
        test = opened(running.notebook, "typed and started")
        sealed(running.notebook, test, covariates=NAMES)
        context = running.context(browser)
        page = context.new_page()
        page.goto(f"{running.address}{place_of(running, test)}/runs/1/sheet")
        page.get_by_label(NAMES[0]).fill("21,5")
        page.locator("#start").click()
        page.wait_for_selector("body[data-state=timing]")
        page.wait_for_timeout(400)  # a press within a moment is a bounce
        page.locator("#stop").click()
        page.wait_for_timeout(400)
        page.locator("#well").click()
        page.wait_for_function("() => !window.truerunOutbox.waiting()")
        expect(page.get_by_role("link", name="note it beside run 1")).to_be_visible()  # the other one was left empty
        context.close()
        done = state_of(running.notebook, test).runs[0]
        assert (dict(done.measured), done.seconds is not None) == ({NAMES[0]: 21.5}, True)
        assert done.seconds == round(done.seconds or 0.0, 4)  # no digits that are only the clock's rounding

    @pytest.mark.parametrize("typed", [{"covariate-0": "warm"}, {"covariate-0": 21.5}, "21.5", None])
    def test_what_is_no_number_is_refused_in_a_sentence(
        self, running: Running, client: httpx.Client, typed: object
    ) -> None:
        test = opened(running.notebook, f"typed {typed}")
        sealed(running.notebook, test, covariates=NAMES)
        begun = begin_run(running.notebook, test)
        sent = {"what": "measured", "run": begun.id, "typed": typed, "sender": f"typed {typed}"}
        headers = {"accept": "application/json"}
        answer = client.post(f"{place_of(running, test)}/observe", json=sent, headers=headers)
        assert (answer.status_code, "measured" in answer.json()["sentence"]) == (422, True)
        assert not state_of(running.notebook, test).runs[0].measured

    def test_what_lacks_is_named_and_can_be_noted_until_the_verdict(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "noted later")
        sealed(running.notebook, test, covariates=NAMES[:1])
        run(running.notebook, test, 16)
        place = place_of(running, test)
        assert f"Run 16: {NAMES[0]}" in client.get(f"{place}/runs").text
        ready = client.get(f"{place}/verdict").text
        assert (f"Run 16: {NAMES[0]}" in ready, "Open the seal" in ready) == (True, False)
        for slot in range(1, 17):
            sent = {"covariate-0": f"{20 + slot / 10:.1f}", "name": "", "value": ""}
            assert client.post(f"{place}/runs/{slot}/measured", data=sent).status_code == 303
        assert "Still to be noted" not in client.get(f"{place}/runs").text
        assert "Open the seal" in client.get(f"{place}/verdict").text
        table = table_of(state_of(running.notebook, test))
        assert [each.extra[NAMES[0]] for each in table.runs] == [20 + slot / 10 for slot in range(1, 17)]
        result = decide(running.notebook, test)
        assert result.verdict is not None
        assert result.comparison.at.rules.adjust == ("run-number", NAMES[0])

    def test_an_empty_form_asks_for_what_the_plan_names(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "nothing typed")
        sealed(running.notebook, test, covariates=NAMES)
        answer = client.post(f"{place_of(running, test)}/runs/1/measured", data={"back": "sheet"})
        assert answer.status_code == 422
        assert f"{NAMES[0]} is empty" in answer.text
        assert state_of(running.notebook, test).runs == ()

    def test_a_run_that_is_not_next_is_not_begun_by_measuring(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "too early")
        sealed(running.notebook, test, covariates=NAMES)
        answer = client.post(f"{place_of(running, test)}/runs/3/measured", data={"covariate-0": "20"})
        assert answer.status_code == 422
        assert state_of(running.notebook, test).runs == ()

    def test_the_paper_has_a_column_for_each(self) -> None:
        made = plan(SAID, covariates=NAMES)
        page = made.run_sheet_html()
        assert all(f'<th scope="col">{name}</th>' in page for name in NAMES)
        assert made.run_sheet_csv().splitlines()[4].endswith(",".join(NAMES))
        assert read_plan(made.document()).plan.covariates == tuple(NAMES)


class TestOnPaperAndBack:
    def test_what_was_measured_and_left_out_is_typed_in(self, running: Running, tmp_path: Path) -> None:
        test = opened(running.notebook, "typed in from paper")
        sealed(running.notebook, test, covariates=NAMES[:1], mishaps={"device-died": "left-out"})
        order = state_of(running.notebook, test).order
        lines = ["run,condition,time [s],attempt,left_out,session,temperature °C"]
        for slot, name in enumerate(order, 1):
            lines.append(
                f"{slot},{name},,1,the watch died,1,20" if slot == 5 else f"{slot},{name},{60 + slot / 7:.2f},1,,1,20.5"
            )
        sheet = tmp_path / "run-sheet.csv"
        sheet.write_text("\n".join(lines), encoding="utf-8")
        assert type_in_sheet(running.notebook, test, sheet) == 16
        state = state_of(running.notebook, test)
        assert state.complete
        assert [run.excused for run in state.runs] == [slot == 5 for slot in range(1, 17)]
        assert {run.measured[NAMES[0]] for run in state.runs} == {20.0, 20.5}


class TestWhoMustNotKnow:
    def test_only_the_sheet_names_the_condition_and_only_to_whoever_opens_it(
        self, running: Running, client: httpx.Client
    ) -> None:
        said = {}
        for grade in (0, 3):
            test = opened(running.notebook, f"known to grade {grade}")
            sealed(running.notebook, test, source="zinc arc fitted", control="bare rim alone", blinding=grade)
            run(running.notebook, test, 1)
            place = place_of(running, test)
            pages = ("runs", "runs/1", "runs/2", "runs/2/typed")
            shown = {name: client.get(f"{place}/{name}").text for name in pages}
            said[grade] = {
                name: any(each in text for each in ("zinc arc fitted", "bare rim alone"))
                for name, text in shown.items()
            }
        assert said == {0: dict.fromkeys(pages, True), 3: dict.fromkeys(pages, False)}

    def test_a_guess_that_was_skipped_is_asked_for_on_the_page_of_its_run(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "guessed later")
        sealed(running.notebook, test, blinding=3)
        run(running.notebook, test, 1)
        place = place_of(running, test)
        asked = [f"{place}/runs/1/guess" in client.get(f"{place}/runs/1").text]
        name = state_of(running.notebook, test).order[0]
        assert client.post(f"{place}/runs/1/guess", data={"condition": name}).status_code == 303
        asked.append(f"{place}/runs/1/guess" in client.get(f"{place}/runs/1").text)
        assert (asked, state_of(running.notebook, test).runs[0].guess) == ([True, False], name)


class TestOnAPhone:
    def test_the_rigger_sees_launch_and_checks_and_no_time(self, running: Running) -> None:
        test = opened(running.notebook, "with a rigger")
        sealed(running.notebook, test, launch_setting=LAUNCH, covariates=NAMES[:1])
        switch = PhoneSwitch()
        bench = Bench(running.notebook)
        door = switch.on(local_address() or "127.0.0.1", lambda door: phone_application(bench, door), port=0)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        said = {}
        for role in (Role.RIGGER, Role.TIMEKEEPER):
            paired = door.book.pair(door.book.offered(role, number, 0.0).code, 0.0)
            assert paired is not None
            cookies = {door.cookie: paired.secret}
            said[role] = httpx.get(f"http://{door.host}/p/{role.value}", cookies=cookies, trust_env=False).text
        switch.off()
        for words in (LAUNCH, NAMES[0], ONCE_A_BLOCK[0]):
            assert words in said[Role.RIGGER]
            assert words not in said[Role.TIMEKEEPER]

    def test_a_run_that_the_desk_began_by_measuring_still_waits_for_its_rigger(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "measured before it was set up")
        sealed(running.notebook, test, covariates=NAMES[:1])
        switch = PhoneSwitch()
        door = switch.on(
            local_address() or "127.0.0.1", lambda door: phone_application(Bench(running.notebook), door), port=0
        )
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        phones = {}
        for role in (Role.RIGGER, Role.TIMEKEEPER):
            paired = door.book.pair(door.book.offered(role, number, 0.0).code, 0.0)
            assert paired is not None
            cookies, headers = {door.cookie: paired.secret}, {"origin": f"http://{door.host}"}
            phones[role] = httpx.Client(
                base_url=f"http://{door.host}", cookies=cookies, headers=headers, trust_env=False
            )
        assert client.post(f"{place_of(running, test)}/runs/1/measured", data={"covariate-0": "20"}).status_code == 303
        before = phones[Role.TIMEKEEPER].get("/p/now").json()["state"]
        asked = "Set up, ready" in phones[Role.RIGGER].get("/p/rig").text
        body = {"what": "begin", "slot": 1, "sender": "the rigger's press"}
        assert phones[Role.RIGGER].post("/p/observe", json=body).status_code == 200
        after = phones[Role.TIMEKEEPER].get("/p/now").json()
        for each in phones.values():
            each.close()
        switch.off()
        (begun,) = state_of(running.notebook, test).runs
        assert (before, asked, after) == ("wait", True, {"launch": 1, "state": "ready", "run": begun.id})


class TestOnATerminal:
    def test_launch_and_what_to_measure_come_before_the_watch(
        self, running: Running, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        test = opened(running.notebook, "on a terminal")
        sealed(running.notebook, test, launch_setting=LAUNCH, covariates=NAMES)
        spoken: list[str] = []
        answers = iter(["21.5", "120", "", "", "y"])
        monkeypatch.setattr(truerun.cli.run, "say", spoken.append)
        monkeypatch.setattr(truerun.cli.questions, "say", spoken.append)
        monkeypatch.setattr(click, "prompt", lambda *_, **__: next(answers))
        truerun.cli.run._one_run(running.notebook, test, begin_run(running.notebook, test))  # noqa: SLF001
        assert f"Launch: {LAUNCH}" in spoken
        done = state_of(running.notebook, test).runs[0]
        assert (dict(done.measured), done.ended) == ({NAMES[0]: 21.5, NAMES[1]: 120.0}, True)


class TestTheTimeOfDay:
    @pytest.fixture
    def begun(self, tmp_path: Path) -> Iterator[list[object]]:
        """Give a notebook and a clock; four runs were begun seven minutes apart, from 18:30 on."""
        clock = [datetime(2026, 3, 14, 18, 0, tzinfo=UTC)]
        with open_notebook(tmp_path / "bench.notebook", clock=lambda: clock[0]) as notebook:
            test = opened(notebook)
            said = {"source": "arc in", "control": "arc out", "end": "speed", "spread": 0.0154, "run_minutes": 5}
            seal_plan(notebook, test, said, notebook.head(test).digest, seed=SEED)
            start_session(notebook, test)
            for _ in range(3):
                warm_up(notebook, test)
            planned = state_of(notebook, test)
            clock[0] += timedelta(minutes=30)
            for _ in range(4):
                stop_clock(notebook, test, begin_run(notebook, test).id, 61.2)
                clock[0] += timedelta(minutes=7)
            yield [planned, state_of(notebook, test), clock[0]]

    def test_before_three_runs_the_plan_tells_the_pace(self, begun: list[object]) -> None:
        # 16 runs of 5 + 2 min and 3 warm-ups of 5 min: 127 min
        assert pace_of(begun[0]) == pytest.approx(127 / 16)  # type: ignore[arg-type]

    def test_then_the_runs_tell_it(self, begun: list[object]) -> None:
        assert pace_of(begun[1]) == 7  # type: ignore[arg-type]
        now = begun[2]
        assert isinstance(now, datetime)
        # 18:58 and four runs of 7 min: 19:26, to five minutes
        assert time_after(begun[1], now, 4) == "19:25"  # type: ignore[arg-type]
        assert time_after(begun[1], now.replace(hour=23, minute=30), 8) == "00:25 the next day"  # type: ignore[arg-type]

    def test_without_minutes_no_time_is_made_up(self, begun: list[object]) -> None:
        state = begun[0]
        bare = replace(state, plan={**state.plan, "sessions": {"minutes": None}})  # type: ignore[type-var,attr-defined]
        assert time_after(bare, datetime(2026, 3, 14, tzinfo=UTC), 4) == ""  # type: ignore[arg-type]

    def test_it_stands_on_the_sheet_and_where_a_sitting_begins(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "until when")
        sealed(running.notebook, test)
        place = place_of(running, test)
        state = state_of(running.notebook, test)
        now = datetime.fromisoformat(running.notebook.time()).astimezone()
        # to five minutes; the page may be made a moment later than here
        either = [time_after(state, now + timedelta(minutes=later), 4) for later in (0, 1)]
        page = client.get(f"{place}/runs/1/sheet").text
        assert any(f"best stop after run 4, at about {each}" in page for each in either)
        assert "At this pace run 16 is done at about" in page
        page = client.get(f"{place}/session").text
        assert any(f"After run 4, at about {each}" in page for each in either)
