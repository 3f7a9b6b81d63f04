"""``truerun amend``: what is changed is a line of its own, and what stood there before stays to be seen."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from truerun.notebook.ledger import open_notebook
from truerun.trial.seal import require_seal
from truerun.workflow.bench import state_of
from truerun.workflow.plan_files import read_plan

Called = Callable[..., tuple[int, str, str]]

CLAIM = "With the arc in place the wheel gains on every turn."


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: Called) -> Path:
    """A folder with a sealed plan and an open test in its notebook. Invented: no such test took place."""
    monkeypatch.chdir(tmp_path)
    wanted = ("--claim", CLAIM, "--source", "arc in", "--control", "arc out", "--end", "speed", "--runs", 8)
    assert call("plan", *wanted, "--orders", "complete", "--window", "120 r/min", "40 r/min", "--out", tmp_path)[0] == 0
    assert call("new", "the rim arc", "--claim", CLAIM, "--plan", "plan.json")[0] == 0
    return tmp_path


class TestDrawingAnew:
    def test_all_but_the_draw_stays_and_the_seal_fits(self, bench: Path, call: Called) -> None:
        with open_notebook(bench / "truerun.notebook") as book:
            test = book.tests()[0].id
            before = read_plan(state_of(book, test).plan).plan
        code, out, _ = call("amend", "--redraw")
        assert code == 0
        assert "drawn 2 times" in out
        with open_notebook(bench / "truerun.notebook") as book:
            document = state_of(book, test).plan
            assert document is not None
            after = read_plan(document).plan
        require_seal(after, document["seal"], "the plan")  # the order is the one that the new seed draws
        changed = {"id", "seed", "order", "made", "stopping"}
        first, second = before.model_dump(exclude=changed), after.model_dump(exclude=changed)
        assert first == second
        assert before.seed != after.seed

    def test_not_after_the_first_run(self, bench: Path, call: Called) -> None:  # noqa: ARG002  its folder
        call("run", "--time", 61.2)
        code, _, err = call("amend", "--redraw")
        assert code == 2
        assert "before the first run" in err


@pytest.mark.usefixtures("bench")
class TestTheLogbook:
    def test_hides_what_one_side_answered_until_both_have(self, call: Called) -> None:
        call("new", "the same once more")
        call("amend", 2, "--agree", "claimant", "--would-change", "A film of it.")
        shown = call("show", 2, "--lines", 9)[1]
        assert "the claimant; hidden until both have answered" in shown
        assert "A film of it." not in shown
        call("amend", 2, "--agree", "sceptic", "--would-change", "Nothing.")
        assert "would change my mind: A film of it." in call("show", 2, "--lines", 9)[1]

    def test_tells_no_seconds_while_the_result_is_covered(self, call: Called) -> None:
        call("run", "--time", 61.2)
        shown = call("show", 1, "--lines", 9)[1]
        assert "run 1; time covered" in shown
        assert not re.search(r"\d\d:\d\d:\d\d", shown)


@pytest.mark.usefixtures("bench")
class TestSealing:
    def test_a_plan_that_was_sealed_elsewhere_comes_into_an_open_test(self, call: Called) -> None:
        _, _, err = call("new", "the same once more")
        assert "truerun amend 2 --seal --plan plan.json" in err
        code, out, _ = call("amend", 2, "--seal", "--plan", "plan.json")
        assert code == 0
        with open_notebook("truerun.notebook") as book:
            first, second = (state_of(book, row.id).plan for row in book.tests())
        assert first is not None
        assert first == second
        assert first["seal"]["code"] in out

    def test_the_draft_of_a_challenge_is_sealed(self, call: Called) -> None:
        assert "Next: truerun amend 2 --seal" in call("amend", "--challenge", "Try position 17.")[1]
        Path("more.toml").write_text('source = "arc at 17"\n', encoding="utf-8")
        code, out, _ = call("amend", 2, "--seal", "--plan-from", "more.toml")
        assert code == 0
        assert out.startswith("The plan is sealed.")
        with open_notebook("truerun.notebook") as book:
            main, plan = (state_of(book, row.id).plan for row in book.tests())
        assert main is not None
        assert plan is not None
        assert plan["conditions"] == {"source": "arc at 17", "control": "arc out"}
        assert plan["main_test"] == main["id"]

    def test_not_without_a_draft_and_not_after_the_first_run(self, call: Called) -> None:
        call("new", "nothing planned")
        code, _, err = call("amend", 2, "--seal")
        assert code == 2
        assert "claim is missing" in err
        call("run", 1, "--time", 61.2)
        code, _, err = call("amend", 1, "--seal", "--plan", "plan.json")
        assert code == 2
        assert "before the first run" in err


@pytest.mark.usefixtures("bench")
class TestMistakes:
    def test_a_time_is_corrected_and_the_old_one_stays(self, call: Called) -> None:
        call("run", "--time", 16.2)
        number = _count()
        assert call("amend", "--correct", number, "--time", "1:01.2", "--why", "typed 16.2")[0] == 0
        with open_notebook("truerun.notebook") as book:
            test = book.tests()[0].id
            run = state_of(book, test).runs[0]
            assert run.seconds == pytest.approx(61.2)
            assert run.corrections[0]["before"] == {"seconds": 16.2}

    def test_a_line_is_withdrawn_with_a_reason(self, call: Called) -> None:
        call("record", "--note", "a draught")
        code, _, err = call("amend", "--withdraw", 4)
        assert code == 2
        assert "--why" in err
        assert call("amend", "--withdraw", 4, "--why", "it was the radio")[0] == 0

    def test_one_change_at_a_time(self, call: Called) -> None:
        assert call("amend", "--redraw", "--close", "done")[0] == 2
        assert call("amend")[0] == 2


@pytest.mark.usefixtures("bench")
class TestBeforeAndAfter:
    def test_answers_guesses_challenges_and_the_end(self, call: Called) -> None:
        answer = ("--fair", "Yes.", "--would-change", "A brake.", "--excuse", "Not run in.")
        assert call("amend", "--agree", "claimant", *answer)[0] == 0
        assert call("amend", "--rig", "Axle level to 1 mm/m.")[0] == 0
        call("run", "--time", 61.2)
        assert call("amend", "--guess", "arc in", "--run", 1)[0] == 0
        code, out, _ = call("amend", "--challenge", "Try position 17.", "--by", "a reader")
        assert (code, "Test 2" in out) == (0, True)
        assert call("amend", 1, "--close", "the bearing broke")[0] == 0
        assert call("run", 1, "--time", 60)[0] == 2
        with open_notebook("truerun.notebook") as book:
            first, second = (state_of(book, row.id) for row in book.tests())
        assert first.agreed["claimant"]["would_change_my_mind"] == "A brake."
        assert first.runs[0].guess == "arc in"
        assert first.closed == "the bearing broke"
        assert second.answers == {"test": first.id, "role": "challenge"}


def _count() -> int:
    """Give the number of lines of the first test."""
    with open_notebook("truerun.notebook") as book:
        return book.tests()[0].head.count
