"""Questions on a terminal: asked one by one, asked again after an answer that cannot be read."""

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from truerun.cli import plan, questions

Called = Callable[..., tuple[int, str, str]]
Answers = Callable[..., None]

ANSWERED = {
    "What is claimed": "The arc makes it gain.",
    "What would count against it": "It runs no longer.",
    "source in place": "arc in",
    "source taken away": "arc out",
    "What ends the timing": "speed",
    "From which speed": "120 to 40 r/min",
    "What times the runs": "sensor",
    "How many minutes": "6",
    "How small an effect": "2%",
    "How many runs": "12",
    "Did you make trial runs": "",
    "Can the claimant": "n",
    "Can the sceptic": "y",
    "is this test fair": "Yes.",
    "change your mind": "Twelve clear runs.",
    "which excuse": "Draught.",
    "seal the plan now": "y",
}


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Answers:
    """Sit at a terminal and answer."""

    def answered(*lines: str) -> None:
        for module in (questions, plan):
            monkeypatch.setattr(module, "on_terminal", lambda: True)
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))

    return answered


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


class TestAPlanByQuestions:
    def test_every_answer_is_in_the_sealed_plan(self, call: Called, answers: Answers, here: Path) -> None:
        answers(*ANSWERED.values())
        code, out, err = call("plan")
        assert code == 0
        assert out.startswith("The plan is sealed.")
        assert [words for words in ANSWERED if words in err] == list(ANSWERED)
        sealed = json.loads((here / "plan.json").read_text(encoding="utf-8"))
        assert sealed["claim"] == {"words": "The arc makes it gain.", "against": "It runs no longer.", "by": None}
        assert sealed["conditions"] == {"source": "arc in", "control": "arc out"}
        assert (sealed["end"], sealed["blinding"]["timing"], sealed["margin"], sealed["runs"]) == (
            "speed",
            "sensor",
            0.02,
            12,
        )
        # 12 runs of 6 minutes with 2 for the change, 3 warm-up launches of 6
        assert sealed["sessions"]["minutes"] == 12 * 8 + 3 * 6
        # 120 and 40 r/min in rad/s: times 2 pi / 60
        assert [sealed["window"][key] for key in ("from", "to")] == pytest.approx([12.566370614, 4.188790205], rel=1e-9)
        assert sealed["agreed"]["claimant"]["present"] is False
        assert sealed["agreed"]["sceptic"] == {
            "present": True,
            "fair": "Yes.",
            "would_change_my_mind": "Twelve clear runs.",
            "excuse_to_come": "Draught.",
        }

    @pytest.mark.usefixtures("here")
    @pytest.mark.parametrize(
        ("question", "bad", "said"),
        [
            ("source taken away", "arc in", "another name"),
            ("What ends the timing", "sped", "Did you mean speed?"),
            ("What ends the timing", "standstill", "cannot decide"),
            ("From which speed", "120 to 40", "Write the unit behind the number"),
            ("From which speed", "40 to 120 r/min", "down to a slower one"),
            ("From which speed", "fast", "two speeds"),
            ("How many minutes", "0", "above 0"),
            ("How small an effect", "5", "For 5 of 100 write 5%."),
            ("How small an effect", "120%", "below 100%"),
            ("How many runs", "8", "Choose 6 + 6 runs"),
            ("Did you make trial runs", "nowhere.csv", "there is no such file"),
            ("Can the sceptic", "perhaps", "y or n"),
        ],
    )
    def test_a_bad_answer_is_said_and_asked_again(
        self, call: Called, answers: Answers, question: str, bad: str, said: str
    ) -> None:
        lines: list[str] = []
        for words, answer in ANSWERED.items():
            lines += [bad, answer] if words == question else [answer]
        answers(*lines)
        code, _, err = call("plan")
        assert code == 0
        assert said in err

    def test_trial_runs_are_read_when_they_are_named(self, call: Called, answers: Answers, folder: Path) -> None:
        answers(*(ANSWERED | {"Did you make trial runs": "trial.csv"}).values())
        assert call("plan", "--out", "new")[0] == 0
        assert (
            json.loads((folder / "new" / "plan.json").read_text(encoding="utf-8"))["pilot"]["degrees_of_freedom"] == 6
        )

    def test_no_seal_no_file(self, call: Called, answers: Answers, here: Path) -> None:
        answers(*(ANSWERED | {"seal the plan now": "n"}).values())
        code, out, err = call("plan")
        assert (code, out) == (0, "")
        assert err.endswith("Nothing was written.\n")
        assert list(here.iterdir()) == []

    def test_leaving_in_the_middle_is_130_and_writes_nothing(self, call: Called, answers: Answers, here: Path) -> None:
        answers("It gains.", "")
        code, out, err = call("plan")
        assert (code, out) == (130, "")
        assert err.endswith("Broken off.\n")
        assert list(here.iterdir()) == []


class TestTheControlIsAskedOnce:
    def words(self) -> tuple[str, ...]:
        return ("compare", "run-sheet.csv", "--orders", "blocks-of-four", "--end", "speed")

    @pytest.mark.usefixtures("folder")
    @pytest.mark.parametrize("lines", [("arc out",), ("2",), ("arc ot", "3", "2")])
    def test_by_name_or_number(self, call: Called, answers: Answers, lines: tuple[str, ...]) -> None:
        answers(*lines)
        code, out, err = call(*self.words())
        assert (code, out) == call(*self.words(), "--control", "arc out")[:2]
        assert err.count("Which is the control, with the source taken away?  1 = arc in, 2 = arc out") == 1

    @pytest.mark.usefixtures("folder")
    def test_for_a_look_too(self, call: Called, answers: Answers) -> None:
        answers("arc out")
        out = call("look", "trial.csv", "--end", "speed")[1]
        assert out == call("look", "trial.csv", "--end", "speed", "--control", "arc out")[1]

    @pytest.mark.usefixtures("folder")
    def test_with_json_nothing_is_asked(self, call: Called, answers: Answers) -> None:
        answers("2")
        code, out, err = call(*self.words(), "--json")
        assert (code, out) == (2, "")
        assert "Which" not in err


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals")
class TestOnARealTerminal:
    def test_the_question_comes_and_the_answer_counts(self, folder: Path) -> None:
        outer, inner = os.openpty()
        command = [sys.executable, "-m", "truerun", "compare", "run-sheet.csv", "--orders", "blocks-of-four"]
        words = [*command, "--end", "speed"]
        with subprocess.Popen(words, cwd=folder, stdin=inner, stdout=subprocess.PIPE, stderr=inner) as process:
            os.close(inner)
            os.write(outer, b"arc out\n")
            out, _ = process.communicate(timeout=60)
        os.close(outer)
        assert process.returncode == 0
        assert out.decode().startswith('"arc in" takes energy.\n')
