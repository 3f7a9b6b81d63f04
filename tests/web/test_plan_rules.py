"""What a plan says beforehand in the browser: what becomes of mishaps, what is measured before each launch, the launch.

Runs may be left out or done again while nobody has seen their time, whatever their condition; seen ones stay.
"""

from __future__ import annotations

import json
import re

import httpx
import pytest

from tests.web.conftest import Running
from tests.web.made_tests import opened, run, sealed
from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.notebook.state import TestState
from truerun.trial.mishaps import MISHAPS, require_mishaps
from truerun.web.plan_fields import USUAL
from truerun.workflow.bench import begin_run, describe_rig, record_agreement, something_wrong, state_of, stop_clock
from truerun.workflow.deciding import decide
from truerun.workflow.plan_files import read_plan
from truerun.workflow.planning import plan
from truerun.workflow.rig import launch_words, rig_body

FORM = USUAL | {"source": "arc in", "control": "arc out", "spread": "1.54"}
SAID = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed", "spread": 0.0154}


def place_of(running: Running, test: str) -> str:
    """Give the address of a test."""
    return next(f"/t/{row.number}" for row in running.notebook.tests() if row.id == test)


def sealed_by_form(running: Running, client: httpx.Client, name: str, **typed: str) -> tuple[str, TestState]:
    """Make and seal a plan in the browser's form."""
    test = opened(running.notebook, name)
    place = place_of(running, test)
    head = running.notebook.head(test).digest
    kept = client.post(f"{place}/plan", data=FORM | typed | {"head": head, "then": "seal"})
    assert kept.status_code == 303, re.findall(r'class="err"[^>]*>([^<]*)', kept.text)
    head = running.notebook.head(test).digest
    assert client.post(f"{place}/plan/seal", data={"head": head}).status_code == 303
    return test, state_of(running.notebook, test)


class TestMishaps:
    def test_the_form_explains_what_is_usual_and_the_seal_holds_what_was_chosen(
        self, running: Running, client: httpx.Client
    ) -> None:
        test, state = sealed_by_form(
            running, client, "bumps count", **{"fate-bumped": "counts", "fate-device-died": "left-out"}
        )
        plan = read_plan(state.plan).plan
        assert plan.mishaps == {"bumped": "counts", "device-died": "left-out"}
        assert "the run counts: the bench or the wheel was bumped" in plan.left_out_rule
        page = client.get(f"{place_of(running, test)}/plan/seal").text
        assert "Left out and not repeated: sensor or phone died." in page
        assert "No reason to stop" in client.get(f"{place_of(running, test)}/plan/sheet").text

    def test_a_draft_shows_what_was_chosen(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "a draft of rules")
        place = place_of(running, test)
        chosen = FORM | {"fate-bumped": "left-out", "covariates": "temperature in °C; launch speed"}
        client.post(f"{place}/plan", data=chosen | {"head": running.notebook.head(test).digest, "then": "keep"})
        page = client.get(f"{place}/plan").text
        assert 'value="left-out" selected' in page
        assert 'value="temperature °C; launch speed"' in page
        client.post(f"{place}/plan", data=FORM | {"head": running.notebook.head(test).digest, "then": "keep"})
        asked = state_of(running.notebook, test).request
        assert asked is not None
        assert not {"mishaps", "covariates"} & set(asked)

    def test_a_draft_that_was_kept_is_said_to_be(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "a kept draft")
        place, said = f"{place_of(running, test)}/plan", "The draft is kept in the notebook."
        assert said not in client.get(f"{place}?kept=yes").text  # nothing was
        sent = client.post(place, data=FORM | {"head": running.notebook.head(test).digest, "then": "keep"})
        assert said in client.get(sent.headers["location"]).text
        assert said not in client.get(place).text

    def test_what_counts_is_not_offered_at_the_bench(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "not offered")
        sealed(running.notebook, test, mishaps={"bumped": "counts"})
        page = client.get(f"{place_of(running, test)}/runs/1/sheet").text
        assert re.findall(r'name="kind" value="([\w-]+)"', page) == [each for each in MISHAPS if each != "bumped"]

    def test_what_counts_is_noted_and_the_run_goes_on(self, running: Running) -> None:
        test = opened(running.notebook, "noted")
        sealed(running.notebook, test, mishaps={"bumped": "counts"})
        first = begin_run(running.notebook, test)
        said = something_wrong(running.notebook, test, first.id, "bumped", seen=False)
        assert "no reason to stop" in said
        assert state_of(running.notebook, test).open_run is not None
        stop_clock(running.notebook, test, first.id, 61.2)
        assert state_of(running.notebook, test).next_slot == 2

    def test_what_is_left_out_is_not_done_again_and_the_verdict_says_so(self, running: Running) -> None:
        test = opened(running.notebook, "left out")
        sealed(running.notebook, test, mishaps={"device-died": "left-out"})
        run(running.notebook, test, 4)
        fifth = begin_run(running.notebook, test)
        said = something_wrong(running.notebook, test, fifth.id, "device-died", seen=False)
        assert "left out and not done again" in said
        assert state_of(running.notebook, test).next_slot == 6
        run(running.notebook, test, 11)
        result = decide(running.notebook, test)
        assert result.verdict is not None
        assert "left-out-blind" in {found.check for found in result.comparison.findings}
        assert not result.comparison.at.seen.kept[4]

    def test_once_its_time_was_seen_nothing_is_excused(self, running: Running) -> None:
        test = opened(running.notebook, "seen")
        sealed(running.notebook, test, mishaps={"device-died": "left-out"})
        first = begin_run(running.notebook, test)
        stop_clock(running.notebook, test, first.id, 61.2)
        said = something_wrong(running.notebook, test, first.id, "device-died", seen=True)
        assert "reckoned at its worst" in said
        state = state_of(running.notebook, test)
        assert (state.runs[0].seen, state.runs[0].excused, state.next_slot) == (True, False, 2)

    def test_usually_a_run_is_done_again(self, running: Running) -> None:
        test = opened(running.notebook, "as usual")
        sealed(running.notebook, test)
        first = begin_run(running.notebook, test)
        assert "done again" in something_wrong(running.notebook, test, first.id, "bumped", seen=False)
        assert state_of(running.notebook, test).next_slot == 1

    @pytest.mark.parametrize("chosen", [{"loose": "counts"}, {"device-died": "counts"}, {"bumped": "forgotten"}])
    def test_what_is_not_to_be_chosen_is_refused(self, chosen: dict[str, str]) -> None:
        with pytest.raises(ValueOutOfRange):
            require_mishaps(chosen)
        with pytest.raises(ValueOutOfRange):
            plan(SAID, mishaps=chosen)


class TestExcusesSortedBeforehand:
    def test_what_both_expect_stands_in_the_form_once_both_have_answered(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "excuses expected")
        place = f"{place_of(running, test)}/plan"
        record_agreement(running.notebook, test, "claimant", {"excuse_to_come": "Not run in."})
        assert "Not run in." not in client.get(place).text
        record_agreement(running.notebook, test, "sceptic", {"excuse_to_come": "A draught."})
        page = client.get(place).text
        assert 'value="Not run in."' in page
        assert 'value="A draught."' in page

    def test_what_both_say_in_the_same_words_is_asked_once(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "one excuse for both")
        for side, words in (("claimant", "a draught"), ("sceptic", "A draught")):
            record_agreement(running.notebook, test, side, {"excuse_to_come": words})
        page = client.get(f"{place_of(running, test)}/plan").text
        assert page.lower().count('value="a draught"') == 1

    def test_sorted_ones_are_sealed_and_stand_in_the_controls(self, running: Running, client: httpx.Client) -> None:
        typed = {"excuse-0": "Not run in.", "becomes-0": "check", "how-0": "fifty launches before"}
        typed |= {"excuse-1": "A draught.", "becomes-1": "no-excuse"}
        test, state = sealed_by_form(running, client, "excuses sorted", **typed)
        sorted_before = read_plan(state.plan).plan.agreed.excuses
        assert [(each.words, each.becomes, each.how) for each in sorted_before] == [
            ("Not run in.", "check", "fifty launches before"),
            ("A draught.", "no-excuse", None),
        ]
        assert "Not run in." in client.get(f"{place_of(running, test)}/controls").text

    def test_one_that_is_not_sorted_waits_for_it(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "excuses unsorted")
        sent = FORM | {"excuse-0": "Not run in.", "head": running.notebook.head(test).digest, "then": "seal"}
        answer = client.post(f"{place_of(running, test)}/plan", data=sent)
        assert answer.status_code == 422
        assert "is not sorted yet. Say" in answer.text


class TestSealsMadeBefore:
    def test_a_plan_that_says_nothing_new_is_written_as_before(self) -> None:
        document = plan(SAID).document()
        assert not {"mishaps", "end_setting", "launch_setting"} & set(document)
        assert read_plan(json.loads(json.dumps(document))).plan.mishaps == {}

    def test_what_is_said_is_part_of_the_seal(self) -> None:
        document = plan(SAID, mishaps={"bumped": "counts"}, launch_setting="0.5 kg from the 40 cm mark").document()
        assert read_plan(document).plan.launch_setting == "0.5 kg from the 40 cm mark"
        document["mishaps"] = {}
        with pytest.raises(PlanBroken, match="changed after it was sealed"):
            read_plan(document)


class TestMeasuredBeforeEachLaunch:
    def test_what_is_named_is_adjusted_for(self, running: Running, client: httpx.Client) -> None:
        _, state = sealed_by_form(running, client, "two things", covariates="temperature in °C;  launch   speed ;")
        assert read_plan(state.plan).plan.adjust == ("run-number", "temperature °C", "launch speed")

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ("stopwatch", "noted anyway"),
            ("time", "a column of its own"),
            ("a; A", "named twice"),
            ("a; b; c; d", "at most 3"),
            ("level mm/m", "a column of its own"),
        ],
    )
    def test_what_cannot_be_named_is_said(self, running: Running, client: httpx.Client, typed: str, said: str) -> None:
        test = opened(running.notebook, f"named {typed}")
        sent = FORM | {"covariates": typed, "head": running.notebook.head(test).digest, "then": "keep"}
        answer = client.post(f"{place_of(running, test)}/plan", data=sent)
        assert answer.status_code == 422
        assert said in answer.text


class TestTheEnd:
    def test_how_it_is_told_is_sealed_with_the_plan(self, running: Running, client: httpx.Client) -> None:
        _, state = sealed_by_form(running, client, "ended by a count", end_setting=" one turn takes 2 s ")
        assert read_plan(state.plan).plan.end_setting == "one turn takes 2 s"


class TestTheLaunch:
    def test_the_form_takes_it_from_the_rig(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "a rig with a weight")
        describe_rig(running.notebook, test, rig_body({"weight": "500 g ± 1 g", "height": "0,40 m"}))
        page = client.get(f"{place_of(running, test)}/plan").text
        assert 'name="launch_setting" value="500' in page

    def test_half_a_launch_is_not_made_up(self) -> None:
        assert launch_words(None) == ""
        assert launch_words(rig_body({"height": "40 cm"})) == ""
        assert launch_words(rig_body({"weight": "500"})) == "500\N{NO-BREAK SPACE}g"
