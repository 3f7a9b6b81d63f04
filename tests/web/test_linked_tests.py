"""Controls and challenges: each is a test of its own, both tests know of each other, and what each settles is said.

What a control settles is checked against the table of causes in :mod:`truerun.trial.controls`, whose rows are physics
stated there; that a page and a report agree is checked by comparing both.
"""

from __future__ import annotations

import re

import httpx
import pytest

from tests.web.conftest import Running
from tests.web.made_tests import REQUEST, SEED, agreed, opened, run, sealed
from truerun.notebook.entries import Kind
from truerun.trial.plan import Role
from truerun.workflow.bench import seal_plan, start_session, state_of
from truerun.workflow.deciding import decide
from truerun.workflow.linking import CONTROLS
from truerun.workflow.plan_files import read_plan


def number_of(running: Running, test: str) -> int:
    """Give the number of a test."""
    return next(row.number for row in running.notebook.tests() if row.id == test)


@pytest.fixture(scope="module")
def braked(running: Running) -> str:
    """Give a decided test that found a brake."""
    test = opened(running.notebook, "The rim arc")
    agreed(running.notebook, test)
    sealed(running.notebook, test)
    run(running.notebook, test, 16)
    decide(running.notebook, test)
    return test


class TestControls:
    def test_every_control_stands_on_the_page_with_a_button(
        self, running: Running, braked: str, client: httpx.Client
    ) -> None:
        page = client.get(f"/t/{number_of(running, braked)}/controls", timeout=60).text
        assert set(re.findall(r'name="role" value="([\w-]+)"', page)) == {role.value for role in CONTROLS}

    def test_one_button_opens_a_linked_test_once(self, running: Running, braked: str, client: httpx.Client) -> None:
        number = number_of(running, braked)
        places = {
            client.post(f"/t/{number}/controls/plan", data={"role": "dummy"}).headers["location"] for _ in range(2)
        }
        assert len(places) == 1
        other = state_of(running.notebook, state_of(running.notebook, braked).challenges[-1]["test"])
        main = read_plan(state_of(running.notebook, braked).plan or {}).plan
        assert other.answers == {"test": braked, "role": "dummy"}
        assert other.request is not None
        assert (other.request["role"], other.request["main_test"]) == ("dummy", main.id)
        assert (other.request["source"], other.request["control"]) == ("arc in", "dummy")
        assert f"test {number_of(running, other.id)}: control: a dummy" in client.get(f"/t/{number}/runs").text
        assert f"control: a dummy, for test {number}" in client.get(places.pop()).text

    def test_the_plan_that_is_sealed_names_its_main_test(
        self, running: Running, braked: str, client: httpx.Client
    ) -> None:
        other = state_of(running.notebook, state_of(running.notebook, braked).challenges[-1]["test"])
        number = number_of(running, other.id)
        form = {name: str(value) for name, value in (other.request or {}).items()}
        form |= {
            "end": "speed",
            "runs": "16",
            "blinding": "0",
            "spread": "1.54",
            "margin": "2",
            "head": other.head.digest,
        }
        assert client.post(f"/t/{number}/plan", data=form | {"then": "seal"}).status_code == 303
        head = state_of(running.notebook, other.id).head.digest
        client.post(f"/t/{number}/plan/seal", data={"head": head}, timeout=60)
        plan = read_plan(state_of(running.notebook, other.id).plan or {}).plan
        main = read_plan(state_of(running.notebook, braked).plan or {}).plan
        assert (plan.role, plan.main_test) == (Role.DUMMY, main.id)

    def test_a_control_that_finds_the_brake_again_takes_the_air_off_the_list(
        self, running: Running, client: httpx.Client
    ) -> None:
        main = opened(running.notebook, "with a dummy")
        sealed(running.notebook, main)
        run(running.notebook, main, 16)
        decide(running.notebook, main)
        number = number_of(running, main)
        page = client.get(f"/t/{number}/controls", timeout=60).text
        assert "the air round the source" in page.split("lede")[1].split("</p>")[0]
        client.post(f"/t/{number}/controls/plan", data={"role": "dummy"})
        other = state_of(running.notebook, main).challenges[-1]["test"]
        plan_id = (state_of(running.notebook, main).plan or {})["id"]
        request = REQUEST | {"role": "dummy", "main_test": plan_id}
        seal_plan(running.notebook, other, request, running.notebook.head(other).digest, seed=SEED)
        start_session(running.notebook, other)
        run(running.notebook, other, 16)
        before = client.get(f"/t/{number}/controls", timeout=60).text
        assert "side by side" not in before  # all its runs are done, but nobody opened it
        decide(running.notebook, other)
        page = client.get(f"/t/{number}/controls", timeout=60).text
        assert "the air round the source" not in page.split("lede")[1].split("</p>")[0]
        assert "Taken out by a dummy" in page
        assert "side by side" in page
        report = client.post(f"/t/{number}/report", timeout=60)
        assert report.status_code == 303
        assert "Linked tests, side by side" in client.get(f"/t/{number}/report/page", timeout=60).text

    def test_before_the_seal_no_control_can_be_opened(self, running: Running, client: httpx.Client) -> None:
        number = number_of(running, opened(running.notebook, "not planned"))
        assert client.post(f"/t/{number}/controls/plan", data={"role": "dummy"}).status_code == 409
        assert client.post(f"/t/{number}/controls/plan", data={"role": "main"}).status_code == 422
        assert client.get(f"/t/{number}/controls").status_code == 200


class TestExplanations:
    def test_what_was_foreseen_is_open_until_a_test_says(
        self, running: Running, braked: str, client: httpx.Client
    ) -> None:
        page = client.get(f"/t/{number_of(running, braked)}/controls", timeout=60).text
        for words in ("Not run in.", "A draught."):
            assert f"“{words}”" in page
        assert "challenge?words=Not%20run%20in." in page

    def test_nothing_of_a_covered_test_is_said(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "half done")
        sealed(running.notebook, test)
        run(running.notebook, test, 8)
        page = client.get(f"/t/{number_of(running, test)}/controls").text
        assert "takes energy" not in page
        assert "stands</td>" not in page


class TestAChallenge:
    def test_it_becomes_a_test_that_both_list(self, running: Running, braked: str, client: httpx.Client) -> None:
        number = number_of(running, braked)
        assert client.post(f"/t/{number}/challenge", data={"words": ""}).status_code == 422
        head = state_of(running.notebook, braked).head.digest
        said = {"words": "Try position 17.", "by": "a visitor", "changed": "arc at position 17", "head": head}
        place = client.post(f"/t/{number}/challenge", data=said).headers["location"]
        assert client.post(f"/t/{number}/challenge", data=said).status_code == 409  # sent twice: one test
        answer = int(place.split("/")[2])
        assert f"answers test {number}" in client.get(place).text
        assert "Try position 17." in client.get(f"/t/{number}/controls", timeout=60).text
        kept = running.notebook.entries(braked)[-1]
        assert kept.kind is Kind.CHALLENGE
        request = state_of(running.notebook, str(kept.body["test"])).request
        assert request is not None
        assert (request["source"], request["control"], request["role"]) == (
            "arc at position 17",
            "arc out",
            "challenge",
        )
        assert state_of(running.notebook, str(kept.body["test"])).plan is None
        assert answer == number_of(running, str(kept.body["test"]))
