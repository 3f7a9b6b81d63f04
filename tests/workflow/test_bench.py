"""The road of one test through the notebook, from the claim to the challenge; what was sealed stays sealed."""

from __future__ import annotations

import csv
import io
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from truerun.errors import HeadMoved, PlanBroken, ValueOutOfRange
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.state import RunState
from truerun.notebook.verification import verify_notebook
from truerun.workflow import bench
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.deciding import decide, report, shown, table_of

REQUEST = {
    "claim": "With the arc in place the wheel gains on every turn.",
    "source": "arc in",
    "control": "arc out",
    "end": "speed",
    "window": [4 * np.pi, 4 * np.pi / 3],
    "runs": 12,
    "spread": 0.01,
}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "bench.notebook") as opened:
        yield opened


@pytest.fixture
def arc(book: Notebook) -> str:
    """Give a test with claim, both answers and a sealed plan of twelve runs."""
    test = bench.open_test(book, " the rim arc ", invented=True).id
    bench.write_claim(book, test, "With the arc in place the wheel gains on every turn.", by="the claimant")
    for side in ("claimant", "sceptic"):
        bench.record_agreement(book, test, side, {"fair": "Yes."})
    bench.seal_plan(book, test, REQUEST, book.head(test).digest, seed="a fixed seed of the tests")
    return test


def head(book: Notebook, test: str) -> str:
    return book.head(test).digest


def timed(book: Notebook, test: str, count: int | None = None) -> list[RunState]:
    """Do the next runs, or all; with the arc the wheel stops about 5 % sooner, times scatter by 0.3 %."""
    rng = np.random.default_rng(3)
    done: list[RunState] = []
    while (state := bench.state_of(book, test)).next_slot is not None and (count is None or len(done) < count):
        run = bench.begin_run(book, test)
        factor = 0.95 if state.order[run.slot - 1] == "arc in" else 1.0
        bench.stop_clock(book, test, run.id, round(160 * factor * (1 + 0.003 * float(rng.standard_normal())), 2))
        done.append(run)
    return done


class TestTheRoad:
    def test_leads_from_the_claim_to_the_verdict_and_every_step_is_an_entry(self, book: Notebook, arc: str) -> None:
        bench.start_session(book, arc, words="calm, 21 °C", temperature=294.15)
        bench.warm_up(book, arc)
        runs = timed(book, arc)
        state = bench.state_of(book, arc)
        assert (state.name, state.invented, state.sessions, state.warm_ups, state.draws) == (
            "the rim arc",
            True,
            1,
            1,
            1,
        )
        assert state.complete
        assert [run.slot for run in runs] == list(range(1, len(state.order) + 1))
        result = decide(book, arc)
        assert result.verdict is not None
        assert result.document()["verdict"] == "takes-energy"  # a brake of 5 % against 0.3 % of scatter
        assert "arc in" in report(book, arc)
        after = bench.state_of(book, arc)
        assert after.decided is not None
        assert after.decided["verdict"] == "takes-energy"
        assert after.reports == 1
        assert verify_notebook(book).faults == ()

    def test_no_statistic_across_conditions_is_there_before_the_last_run(self, book: Notebook, arc: str) -> None:
        timed(book, arc, 11)
        for result in (decide(book, arc), shown(book, arc)):
            assert result.verdict is None
            document = result.document()
            assert document.get("drive_fraction") is None
            assert document.get("p") is None
        assert bench.state_of(book, arc).decided is None

    def test_a_seal_is_broken_only_before_the_last_run_and_that_stays_visible(self, book: Notebook, arc: str) -> None:
        timed(book, arc, 6)
        bench.break_seal(book, arc, why="the bearing gave up", head=head(book, arc))
        assert bench.state_of(book, arc).broken == "the bearing gave up"
        assert [each for each in book.landmarks() if b'"seal-broken"' in each.stored]
        timed(book, arc)
        with pytest.raises(PlanBroken, match="the plan is complete"):
            bench.break_seal(book, arc, why="again", head=head(book, arc))

    def test_a_closed_test_takes_no_more_runs(self, book: Notebook, arc: str) -> None:
        bench.close_test(book, arc, why="sold the wheel", head=head(book, arc))
        with pytest.raises(PlanBroken, match="it was closed"):
            bench.begin_run(book, arc)

    def test_runs_follow_a_sealed_plan_and_an_order_is_drawn_before_them(self, book: Notebook, arc: str) -> None:
        loose = bench.open_test(book, "another").id
        with pytest.raises(PlanBroken, match="none is sealed yet"):
            bench.begin_run(book, loose)
        with pytest.raises(PlanBroken, match="none was sealed"):
            decide(book, loose)
        bench.seal_plan(book, arc, REQUEST, head(book, arc))
        assert bench.state_of(book, arc).draws == 2
        timed(book, arc, 1)
        with pytest.raises(PlanBroken, match="a run was begun"):
            bench.seal_plan(book, arc, REQUEST, head(book, arc))
        with pytest.raises(PlanBroken, match="a run was begun"):
            bench.write_claim(book, arc, "something easier")

    @pytest.mark.parametrize("size", [float("nan"), 1e7, -11.0])
    def test_a_claim_has_a_size_that_can_be_meant(self, book: Notebook, size: float) -> None:
        test = bench.open_test(book, "another").id
        with pytest.raises(ValueOutOfRange, match="The size of the claim"):
            bench.write_claim(book, test, "It gains.", claimed=size)

    def test_a_challenge_opens_a_new_test_that_both_know(self, book: Notebook, arc: str) -> None:
        answer = bench.answer_challenge(book, arc, "try position 17", by="a visitor")
        assert bench.state_of(book, arc).challenges[0]["test"] == answer.id
        assert "the rim arc" in answer.notes[0][1]
        assert answer.invented

    def test_a_test_is_found_by_number_name_or_id(self, book: Notebook, arc: str) -> None:
        assert bench.find_test(book, None) == arc
        other = bench.open_test(book, "another").id
        assert [bench.find_test(book, said) for said in ("2", "Another", other)] == [other] * 3
        with pytest.raises(ValueOutOfRange, match='1 "the rim arc", 2 "another"'):
            bench.find_test(book, None)


class TestARun:
    def test_aborted_before_its_time_was_seen_is_done_again(self, book: Notebook, arc: str) -> None:
        first = bench.begin_run(book, arc)
        bench.abort_run(book, arc, first.id, "the string slipped", seen=False)
        again = bench.begin_run(book, arc)
        assert (again.slot, again.attempt) == (first.slot, 2)

    def test_that_went_wrong_after_its_time_was_seen_stays_in_the_list(self, book: Notebook, arc: str) -> None:
        first = bench.begin_run(book, arc)
        bench.stop_clock(book, arc, first.id, 150)
        said = bench.something_wrong(book, arc, first.id, "bumped", seen=True, words="the cat")
        assert said.startswith("Its time had been seen, so run 1 stays")
        assert bench.begin_run(book, arc).slot == 2
        line = table_of(bench.state_of(book, arc)).runs[0]
        assert (line.left_out, line.seen, line.value) == ("bumped: the cat", True, 150.0)

    def test_whose_time_was_seen_cannot_be_made_unseen_by_a_second_word(self, book: Notebook, arc: str) -> None:
        first = bench.begin_run(book, arc)
        bench.something_wrong(book, arc, first.id, "bumped", seen=True)
        bench.something_wrong(book, arc, first.id, "loose", seen=False)
        run = bench.state_of(book, arc).runs[0]
        assert (run.left_out, run.seen) == ("bumped", True)

    def test_keeps_its_first_time_until_it_is_corrected_with_the_old_one_visible(
        self, book: Notebook, arc: str
    ) -> None:
        run = bench.begin_run(book, arc)
        entry = bench.stop_clock(book, arc, run.id, 61.2)
        bench.stop_clock(book, arc, run.id, 16.2)
        assert bench.state_of(book, arc).runs[0].seconds == 61.2
        fixed = bench.correct(book, arc, entry.number, {"seconds": 162}, why="mistyped", head=head(book, arc))
        assert fixed.body["before"] == {"seconds": 61.2}
        assert bench.state_of(book, arc).runs[0].seconds == 162
        assert book.entries(arc, entry.number - 1, first=1)[0].body["seconds"] == 61.2
        for wrong in ({"seconds": "long"}, {"seconds": -1}, {"slot": 3}):
            with pytest.raises(ValueOutOfRange):
                bench.correct(book, arc, entry.number, wrong, why="mistyped", head=head(book, arc))

    def test_whose_time_was_corrected_is_named_beside_the_verdict_and_corrected_no_more_after_it(
        self, book: Notebook, arc: str
    ) -> None:
        timed(book, arc)
        entry = next(each for each in book.entries(arc) if each.kind is Kind.STOPPED)
        seconds = entry.body["seconds"] + 0.01
        bench.correct(book, arc, entry.number, {"seconds": seconds}, why="mistyped", head=head(book, arc))
        said = [each.sentence for each in decide(book, arc).comparison.findings if each.check == "times-corrected"]
        assert said == ["Run 1 was corrected after the time had been written down. The time as corrected counts."]
        page = report(book, arc)
        assert said[0] in page[page.index("Deviations") : page.index("The whole plan")]
        with pytest.raises(PlanBroken, match="before the result is opened"):
            bench.correct(book, arc, entry.number, {"seconds": 1.0}, why="better so", head=head(book, arc))

    def test_whose_time_is_corrected_while_the_verdict_is_reckoned_counts_as_corrected(
        self, book: Notebook, arc: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        timed(book, arc)
        entry = next(each for each in book.entries(arc) if each.kind is Kind.STOPPED)
        seconds = entry.body["seconds"] + 25
        reckoned = []

        def meanwhile(*given: Any, **more: Any) -> ComparisonResult:
            found = compare(*given, **more)
            reckoned.append(found)
            if len(reckoned) == 1:
                bench.correct(book, arc, entry.number, {"seconds": seconds}, why="mistyped", head=head(book, arc))
            return found

        monkeypatch.setattr("truerun.workflow.deciding.compare", meanwhile)
        result = decide(book, arc)
        stored = bench.state_of(book, arc).decided
        assert stored is not None
        assert stored["drive_fraction"] == result.document()["drive_fraction"]
        assert stored["drive_fraction"] == shown(book, arc).document()["drive_fraction"]
        assert stored["drive_fraction"] != reckoned[0].document()["drive_fraction"]

    def test_edits_made_from_an_older_state_are_refused(self, book: Notebook, arc: str) -> None:
        run = bench.begin_run(book, arc)
        entry = bench.stop_clock(book, arc, run.id, 61.2)
        seen = head(book, arc)
        bench.note(book, arc, "somebody else writes")
        with pytest.raises(HeadMoved):
            bench.correct(book, arc, entry.number, {"seconds": 1}, why="x", head=seen)
        with pytest.raises(HeadMoved):
            bench.withdraw(book, arc, entry.number, why="x", head=seen)
        with pytest.raises(HeadMoved):
            bench.break_seal(book, arc, why="x", head=seen)
        with pytest.raises(HeadMoved):
            bench.close_test(book, arc, why="x", head=seen)

    def test_counts_no_more_when_its_time_is_withdrawn_but_does_when_a_note_is(self, book: Notebook, arc: str) -> None:
        run = bench.begin_run(book, arc)
        entry = bench.stop_clock(book, arc, run.id, 160)
        remark = bench.note(book, arc, "a draught", run=run.id)
        taken = bench.guess(book, arc, run.id, "arc in")
        bench.withdraw(book, arc, remark.number, why="wrong window", head=head(book, arc))
        bench.withdraw(book, arc, taken.number, why="looked", head=head(book, arc))
        state = bench.state_of(book, arc).runs[0]
        assert (state.counts, state.guess) == (True, None)
        bench.withdraw(book, arc, entry.number, why="wrong wheel", head=head(book, arc))
        state = bench.state_of(book, arc).runs[0]
        assert (state.counts, state.left_out, state.seen) == (False, "wrong wheel", True)

    def test_of_two_words_the_later_one_stands_when_the_earlier_one_is_withdrawn(
        self, book: Notebook, arc: str
    ) -> None:
        run = bench.begin_run(book, arc)
        bench.start_session(book, arc)
        early = [
            bench.describe_rig(book, arc, {"note": "a tin"}),
            bench.guess(book, arc, run.id, "arc in"),
            bench.warm_up(book, arc),
        ]
        bench.start_session(book, arc)
        bench.describe_rig(book, arc, {"note": "a wheel"})
        bench.guess(book, arc, run.id, "arc out")
        bench.warm_up(book, arc)
        for each in early:
            bench.withdraw(book, arc, each.number, why="mistyped", head=head(book, arc))
        state = bench.state_of(book, arc)
        assert (state.rig, state.runs[0].guess, state.warm_ups) == ({"note": "a wheel"}, "arc out", 1)

    def test_only_what_can_be_taken_back_or_corrected_is(self, book: Notebook, arc: str) -> None:
        run = bench.begin_run(book, arc)
        stopped = bench.stop_clock(book, arc, run.id, 160).number
        remark = bench.note(book, arc, "a draught").number
        bench.withdraw(book, arc, remark, why="x", head=head(book, arc))
        for entry in (0, 1, 2, remark, remark + 1, 10**20):
            with pytest.raises(ValueOutOfRange, match="The entry"):
                bench.withdraw(book, arc, entry, why="x", head=head(book, arc))
        for entry, changes in ((1, {"seconds": 61.0}), (remark, {"guess": "arc in"}), (stopped, {"seen": True})):
            with pytest.raises(ValueOutOfRange, match="The entry"):
                bench.correct(book, arc, entry, changes, why="x", head=head(book, arc))
        assert bench.state_of(book, arc).runs[0].seconds == 160

    def test_is_begun_once_by_a_sender_that_repeats_itself_and_by_two_at_once(self, book: Notebook, arc: str) -> None:
        assert bench.begin_run(book, arc, sender="phone 1") == bench.begin_run(book, arc, sender="phone 1")
        bench.stop_clock(book, arc, "phone 1", 160)
        found: list[RunState] = []
        both = [threading.Thread(target=lambda: found.append(bench.begin_run(book, arc))) for _ in range(4)]
        for each in both:
            each.start()
        for each in both:
            each.join()
        assert len({run.id for run in found}) == 1
        assert [run.slot for run in bench.state_of(book, arc).runs] == [1, 2]

    def test_refuses_an_id_that_was_used_for_something_else(self, book: Notebook, arc: str) -> None:
        bench.warm_up(book, arc, sender="used")
        with pytest.raises(ValueOutOfRange, match="used before"):
            bench.begin_run(book, arc, sender="used")

    @pytest.mark.parametrize("seconds", [0, -3, float("nan"), float("inf"), 1e12])
    def test_has_a_time_above_nothing_and_below_a_month(self, book: Notebook, arc: str, seconds: float) -> None:
        run = bench.begin_run(book, arc)
        with pytest.raises(ValueOutOfRange, match="The time of the run"):
            bench.stop_clock(book, arc, run.id, seconds)

    def test_takes_taps_passes_and_photos(self, book: Notebook, arc: str) -> None:
        run = bench.begin_run(book, arc)
        bench.start_clock(book, arc, run.id, 10.0)
        for at in (12.0, 11.0):
            bench.tap(book, arc, run.id, at)
        book.append(arc, Kind.PASSES, {"run": run.id, "times": [0.5, 1.0]})
        bench.attach_photo(book, arc, "bench.jpg", [b"\xff\xd8\xff"], run=run.id)
        state = bench.state_of(book, arc)
        assert (state.runs[0].started, state.runs[0].taps, state.runs[0].passes) == (10.0, (11.0, 12.0), (0.5, 1.0))
        assert state.photos[0].size == 3


def passes(drag: float, seed: int) -> bytes:
    """Make a recording of passes of one mark: w falls by a constant drag [rad/s2] from 15 to 3.5 rad/s, closed form."""
    angles = np.arange(0, (15**2 - 3.5**2) / (2 * drag), 2 * np.pi)
    times = (15 - np.sqrt(225 - 2 * drag * angles)) / drag + 2e-5 * np.random.default_rng(seed).standard_normal(
        angles.size
    )
    text = io.StringIO()
    csv.writer(text).writerows([["time [s]"], *([f"{time:.6f}"] for time in times)])
    return text.getvalue().encode()


class TestRecordings:
    def test_that_were_attached_decide_the_test(self, book: Notebook, arc: str) -> None:
        rng = np.random.default_rng(5)
        while (state := bench.state_of(book, arc)).next_slot is not None:
            run = bench.begin_run(book, arc)
            factor = 1.1 if state.order[run.slot - 1] == "arc in" else 1.0
            made = passes(0.42 * factor * (1 + 0.003 * float(rng.standard_normal())), run.slot)
            bench.attach_recording(book, arc, run.id, f"run {run.slot}.csv", [made], marks=1)
        result = decide(book, arc)
        assert result.document()["verdict"] == "takes-energy"  # a tenth more drag is a tenth less time
        assert verify_notebook(book).files == len(state.order)
