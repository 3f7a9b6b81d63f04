"""Words on the command line: examples first, near words get a question, values are read by one grammar."""

import re
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from truerun.cli import compare, look, plan
from truerun.cli.front_page import COMMANDS
from truerun.cli.group import truerun
from truerun.cli.parameters import ADJUSTMENTS, ENDS, ORDERS
from truerun.stats.orders import ORDER_SETS
from truerun.trial.plan import End, Role
from truerun.workflow.planning import PlanRequest

Called = Callable[..., tuple[int, str, str]]


class TestTheFirstPages:
    def test_truerun_alone_says_what_to_do_first(self, call: Called) -> None:
        code, out, err = call()
        assert (code, err) == (0, "")
        assert [line.split()[1] for line in out.splitlines()[:3]] == ["Look", "Plan", "Compare"]
        assert "truerun demo" in out

    @pytest.mark.parametrize("words", [(), *((name,) for name in COMMANDS)])
    def test_help_begins_with_an_example(self, call: Called, words: tuple[str, ...]) -> None:
        code, out, err = call(*words, "--help")
        assert (code, err) == (0, "")
        assert out.startswith("Example:\n  truerun ")
        assert "\nUsage: truerun " in out

    def test_both_roads_to_the_first_page_give_the_same(self, call: Called) -> None:
        page = call("--help")[1]
        assert truerun.get_help(click.Context(truerun)).strip() == page.strip()

    def test_every_command_is_on_the_first_page(self, call: Called) -> None:
        listed = re.findall(
            r"^  (\w+)  +\w", call("--help")[1].split("Commands:")[1].split("Options:")[0], re.MULTILINE
        )
        assert listed == list(COMMANDS)

    def test_every_example_in_a_help_is_understood(self) -> None:
        ctx = click.Context(truerun)
        for name in COMMANDS:
            command = truerun.get_command(ctx, name)
            known = {option for parameter in command.params for option in parameter.opts} if command else set()
            for line in getattr(command, "examples", ()):
                assert line.startswith(f"truerun {name}")
                assert set(re.findall(r"--[\w-]+", line)) <= known


class TestNearWordsGetAQuestion:
    @pytest.mark.parametrize(
        ("words", "question"),
        [
            (("comprae", "t.csv"), "Did you mean compare?"),
            (("compare", "t.csv", "--contrl", "arc out"), "Did you mean --control?"),
            (("compare", "t.csv", "--end", "sped"), "Did you mean speed?"),
            (("compare", "t.csv", "--orders", "block-of-four"), "Did you mean blocks-of-four?"),
            (("plan", "--role", "dumy"), "Did you mean dummy?"),
            (("look", "t.csv", "--as-pilt", "x"), "Did you mean --as-pilot?"),
        ],
    )
    def test_command_option_and_value(self, call: Called, words: tuple[str, ...], question: str) -> None:
        code, out, err = call(*words)
        assert (code, out) == (2, "")
        assert err.rstrip().endswith(question)

    def test_a_key_of_the_file_too(self, call: Called, folder: Path) -> None:
        (folder / "mine.toml").write_text('claim = "x"\nsource = "a"\ncontrol = "b"\nend = "speed"\nmarign = 0.02\n')
        code, out, err = call("plan", "mine.toml", "--out", "new")
        assert (code, out) == (2, "")
        assert err.rstrip().endswith("Did you mean margin?")

    def test_a_word_far_from_all_gets_the_list(self, call: Called) -> None:
        assert call("x")[2] == f'The command is "x"; it must be one of {", ".join(COMMANDS)}.\n'


class TestWordsWrittenOutAreThoseOfTheCode:
    def test_sets_of_orders(self) -> None:
        assert ORDERS.words == tuple(ORDER_SETS)

    def test_ends(self) -> None:
        assert ENDS.words == tuple(end.value for end in End)

    def test_roles(self) -> None:
        assert plan.ROLES.words == tuple(role.value for role in Role)

    def test_adjustments(self) -> None:
        for word in ADJUSTMENTS.words:
            PlanRequest.model_validate({"claim": "x", "source": "a", "control": "b", "end": "speed", "adjust": word})

    def test_every_key_of_a_plan_request_but_its_tables_is_an_option(self) -> None:
        options = {parameter.name for parameter in plan.command_line.params}
        own = {"file", "pilot", "out", "seed", "as_json"}
        assert options - own == set(PlanRequest.model_fields) - {"agreed", "excuses", "mishaps"}

    def test_every_command_that_computes_takes_json(self) -> None:
        for command in (compare, look, plan):
            assert "--json" in {name for parameter in command.command_line.params for name in parameter.opts}


class TestValuesAreReadByOneGrammar:
    @pytest.mark.parametrize("text", ["2%", "2 %", "0.02", "0,02", "1/50"])
    def test_a_share_is_read_in_every_way(self, call: Called, folder: Path, text: str) -> None:
        sealed = call("plan", "claim.toml", "--margin", text, "--alpha", text, "--out", folder / "new", "--json")[1]
        assert '"margin": 0.02,' in sealed
        assert '"alpha": 0.02,' in sealed

    @pytest.mark.parametrize("option", ["--margin", "--alpha", "--claimed", "--spread", "--hill-bound"])
    def test_five_without_a_sign_could_be_two_things(self, call: Called, folder: Path, option: str) -> None:
        code, out, err = call("plan", "claim.toml", option, "5", "--out", folder / "new")
        assert (code, out) == (2, "")
        assert err == f'{option} is "5"; it must be a share, such as 5% or 0.05. For 5 of 100 write 5%.\n'

    def test_a_number_without_a_sign_is_refused_in_the_file_too(self, call: Called, folder: Path) -> None:
        (folder / "mine.toml").write_text("claimed = 5\n")
        assert "For 5 of 100 write 5%." in call("plan", "mine.toml", "--out", "new")[2]

    def test_a_window_is_written_with_units(self, call: Called, folder: Path) -> None:
        words = ("plan", "claim.toml", "--window", "2 turns/s", "6.28 rad/s", "--out", folder / "new", "--json")
        assert '"from": 12.566370614359172,\n    "to": 6.28,' in call(*words)[1]

    def test_a_speed_without_a_unit_is_refused(self, call: Called) -> None:
        code, _, err = call("plan", "--window", "120", "40")
        assert code == 2
        assert "Write the unit behind the number: r/min" in err

    @pytest.mark.parametrize("text", ["5.5", "5:30", "330 s", "5,5 min"])
    def test_minutes(self, call: Called, folder: Path, text: str) -> None:
        words = ("plan", "claim.toml", "--run-minutes", text, "--change-minutes", "0", "--warm-up-launches", "0")
        assert '"minutes": 88.0' in call(*words, "--out", folder / "new", "--json")[1]
