"""Pages and files that repeat what the commands do: held to the commands, so that they cannot go stale."""

import doctest
import json
import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from truerun.cli.front_page import COMMANDS
from truerun.cli.group import truerun
from truerun.cli.manual import commands_page
from truerun.trial.dose import DosePlan
from truerun.trial.screening import ScreeningPlan
from truerun.workflow.dosing import plan_dose
from truerun.workflow.plan_files import plan_schema
from truerun.workflow.planning import plan
from truerun.workflow.screening import plan_screening

Called = Callable[..., tuple[int, str, str]]

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")

# what differs from one sealing to the next: the spoken code and the fingerprint
NEW_EACH_TIME = re.compile(r"^    (?:[2-9A-HJKMNP-TV-Z]{4}   .+|[0-9a-f]{64})$", re.MULTILINE)


def schema(name: str) -> dict[str, Any]:
    """Give a published schema."""
    read: dict[str, Any] = json.loads((ROOT / "docs" / "schemas" / name).read_text(encoding="utf-8"))
    return read


class TestThePageOfCommands:
    def test_it_is_what_the_commands_say(self) -> None:
        written = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
        remake = 'python -c "from truerun.cli.manual import commands_page as page; print(page(), end=str())"'
        assert written == commands_page(), f"make it anew: {remake} > docs/commands.md"

    def test_every_option_stands_in_the_section_of_its_command(self) -> None:
        written = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
        for section, name in zip(written.split("\n## ")[1:], COMMANDS, strict=True):
            assert section.startswith(f"truerun {name}")
            command = truerun.commands.get(name) or truerun.get_command(None, name)  # type: ignore[arg-type]
            assert command is not None
            for parameter in command.params:
                shown = parameter.param_type_name == "option" and not getattr(parameter, "hidden", False)
                assert not shown or f"| `{parameter.opts[-1]}" in section


class TestSchemas:
    def test_the_schema_of_a_plan_is_that_of_the_code(self) -> None:
        assert schema("plan.json") == plan_schema()

    def test_so_are_those_of_a_screening_and_a_dose_series(self) -> None:
        assert schema("screening.json") == plan_schema(ScreeningPlan)
        assert schema("dose.json") == plan_schema(DosePlan)

    def test_screenings_and_dose_series_fit_theirs(self) -> None:
        variants = ["5 mm", "8 mm", "11 mm", "14 mm"]
        jsonschema.validate(json.loads(plan_screening(variants, end="speed").json()), schema("screening.json"))
        jsonschema.validate(json.loads(plan_dose([0, 1, 2, 3], end="turns").json()), schema("dose.json"))

    @pytest.mark.parametrize("name", ["plan.json", "comparison.json", "screening.json", "dose.json"])
    def test_each_is_a_schema_itself(self, name: str) -> None:
        jsonschema.Draft202012Validator.check_schema(schema(name))

    @pytest.mark.parametrize(
        "more",
        [{}, {"runs": 24, "look_after": 12, "spare_blocks": 1}, {"end": "turns", "margin": 0.02, "drawn_by": "bag"}],
    )
    def test_plans_fit_theirs(self, more: dict[str, Any]) -> None:
        request = {"claim": "It gains.", "source": "in", "control": "out", "end": "speed", "window": (12.5, 4.2)}
        jsonschema.validate(json.loads(plan(request | more).json()), schema("plan.json"))

    def test_a_plan_with_a_key_too_many_does_not_fit(self) -> None:
        document = json.loads((ROOT / "examples" / "rim-arc" / "plan.json").read_text(encoding="utf-8"))
        jsonschema.validate(document, schema("plan.json"))
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(document | {"colour": "violet"}, schema("plan.json"))

    @pytest.mark.usefixtures("folder")
    @pytest.mark.parametrize(
        "words",
        [
            ("--plan", "plan.json"),
            ("--control", "arc out"),
            ("--control", "arc out", "--orders", "blocks-of-four", "--end", "speed", "--alpha", "1%"),
            ("--control", "arc out", "--orders", "pairs", "--end", "speed"),
            ("--control", "arc out", "--orders", "complete", "--end", "speed", "--scale", "linear"),
        ],
    )
    def test_comparisons_fit_theirs(self, call: Called, words: tuple[str, ...]) -> None:
        jsonschema.validate(
            json.loads(call("compare", "run-sheet.csv", *words, "--json")[1]), schema("comparison.json")
        )

    def test_so_do_counts_alone_and_a_broken_seal(self, call: Called, folder: Path) -> None:
        lines = (folder / "run-sheet.csv").read_text(encoding="utf-8").splitlines()
        (folder / "half.csv").write_text("\n".join(lines[:-4]) + "\n", encoding="utf-8")
        for more in ((), ("--break-seal",)):
            document = json.loads(call("compare", "half.csv", "--plan", "plan.json", "--json", *more)[1])
            jsonschema.validate(document, schema("comparison.json"))

    def test_every_key_that_was_promised_is_required(self) -> None:
        # the fixed keys of a comparison, as the architecture lists them
        promised = (
            "schema verdict sentence source control alpha counts measurand window adjusted_for orders drive_fraction "
            "log_time_difference effect p evidence limits hand_allowance second_opinions findings versions settings "
            "seed inputs"
        )
        assert set(promised.split()) <= set(schema("comparison.json")["required"])


class TestTheExampleOfTheReadme:
    def shown(self) -> list[tuple[str, str]]:
        """Give the commands that the README shows, each with the output below it."""
        blocks = re.findall(r"^```\n\$ (truerun .+)\n([\s\S]*?)^```$", README, re.MULTILINE)
        return [(command, output) for command, output in blocks]

    def test_it_shows_the_whole_road(self) -> None:
        assert [command.split()[1] for command, _ in self.shown()] == ["look", "plan", "compare"]

    def test_every_command_gives_what_stands_below_it(
        self, call: Called, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        shutil.copytree(ROOT / "examples", tmp_path / "examples")
        monkeypatch.chdir(tmp_path)
        for command, output in self.shown():
            code, out, _ = call(*shlex.split(command)[1:])
            assert code == 0
            assert NEW_EACH_TIME.sub("(new)", out) == NEW_EACH_TIME.sub("(new)", output)

    def test_so_does_the_python_below_it(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.chdir(ROOT)
        example = doctest.DocTestParser().get_doctest(README, {}, "README.md", "README.md", 0)
        assert len(example.examples) == 4
        assert doctest.DocTestRunner(verbose=False).run(example).failed == 0

    def test_the_example_files_are_those_of_the_demonstration(self, texts: dict[str, str]) -> None:
        kept = ROOT / "examples" / "rim-arc"
        assert {path.name: path.read_text(encoding="utf-8") for path in kept.iterdir()} == texts
