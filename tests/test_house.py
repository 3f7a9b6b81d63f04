"""The house around the code: what the papers promise, and what no file may hold."""

import ast
import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

import truerun
from truerun import errors

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "truerun"
LOCKS = ("requirements.lock", "requirements-dev.lock")
NOT_OURS = {"build", "dist", "__pycache__"}


def every_file() -> Iterator[Path]:
    """Give every file of the project, without what tools leave behind."""
    for path in ROOT.rglob("*"):
        parts = path.relative_to(ROOT).parts
        hidden = any(part.startswith(".") and part not in {".ci", ".gitignore"} for part in parts)
        if path.is_file() and not hidden and not NOT_OURS.intersection(parts):
            yield path


def every_module() -> list[str]:
    """Give the name of every module of the package but the one that starts it."""
    found = pkgutil.walk_packages(truerun.__path__, "truerun.")
    return ["truerun", *(module.name for module in found if not module.name.endswith("__main__"))]


def read(name: str) -> str:
    """Give the text of a file of the project."""
    return (ROOT / name).read_text(encoding="utf-8")


class TestEveryErrorHasItsParagraph:
    def slugs(self) -> list[str]:
        """Give the slug of every class of errors, the family first."""
        classes: list[type[errors.TruerunError]] = [errors.TruerunError, *errors.TruerunError.__subclasses__()]
        return [family.slug for family in classes if family.__module__ == errors.__name__]

    def test_the_page_has_the_classes_and_no_others(self) -> None:
        assert sorted(re.findall(r"^## (\S+)$", read("docs/errors.md"), re.MULTILINE)) == sorted(self.slugs())

    def test_no_two_classes_share_a_paragraph(self) -> None:
        assert len(set(self.slugs())) == len(self.slugs())

    def test_each_paragraph_but_the_family_s_has_an_example_sentence(self) -> None:
        for section in read("docs/errors.md").split("\n## ")[1:]:
            assert "\n> " in section or section.startswith(errors.TruerunError.slug), section[:40]

    @pytest.mark.parametrize(
        "refusal",
        [
            errors.ValueOutOfRange("gap", "−2 mm", "positive", "Give the distance between the faces."),
            errors.RecordingUnreadable("times.csv", "line 7", 'the time is "10x4"; it must be a number.'),
            errors.ChoiceNeeded("The control", ("arc in", "arc out"), "Name it with --control."),
            errors.PlanBroken("The plan has 16 runs", "the table has 17", "Take out the run that was not planned."),
            errors.LedgerBroken(17, "41c0…", "9f3a…"),
        ],
        ids=lambda refusal: refusal.slug,
    )
    def test_the_example_is_what_the_class_says(self, refusal: errors.TruerunError) -> None:
        assert f"## {refusal.slug}\n\n> {refusal}\n" in read("docs/errors.md")


class TestLocksHoldPinsWithDigestsAndNoAddress:
    @pytest.mark.parametrize("name", LOCKS)
    def test_every_pin_has_a_digest(self, name: str) -> None:
        pins = re.split(r"\n(?=\S)", read(name).strip())
        assert len(pins) > 10
        for pin in pins:
            assert re.match(r"[a-z0-9.-]+==\S+", pin), pin
            assert re.search(r"--hash=sha256:[0-9a-f]{64}", pin), pin

    @pytest.mark.parametrize("name", LOCKS)
    def test_no_address(self, name: str) -> None:
        assert not re.search(r"https?:|index-url|find-links|://| @ ", read(name))

    def test_the_larger_lock_holds_the_smaller_one(self) -> None:
        smaller, larger = (set(re.findall(r"^\S+==[^\\\n]+", read(name), re.MULTILINE)) for name in LOCKS)
        assert smaller <= larger

    def test_the_builder_is_in_the_run_time_lock(self) -> None:
        assert re.search(r"^flit-core==", read("requirements.lock"), re.MULTILINE)


class TestNoFileHoldsWhatItMustNot:
    def test_no_package_registry_is_named(self) -> None:
        # written in pieces, so that this file does not hold them
        hosts = ["py" + "pi.org", "python" + "hosted", "npm" + "js", "deb." + "debian.org", "crates" + ".io"]
        hosts += ["ana" + "conda.org", "proxy." + "golang", "maven" + ".org"]
        found = [
            (path.relative_to(ROOT).as_posix(), host)
            for path in every_file()
            for host in hosts
            if host.encode() in path.read_bytes().lower()
        ]
        assert found == []

    def test_no_python_file_has_a_name_that_says_nothing(self) -> None:
        banned = {
            "utils",
            "helpers",
            "common",
            "misc",
            "base",
            "core",
            "manager",
            "handler",
            "tools",
            "types",
            "models",
        }
        named = {part for path in every_file() if path.suffix == ".py" for part in (path.stem, path.parent.name)}
        assert not banned & named


class TestThePublicFaceIsWrittenDown:
    @pytest.mark.parametrize("name", every_module())
    def test_every_public_name_exists_and_says_what_it_is(self, name: str) -> None:
        module = importlib.import_module(name)
        assert module.__doc__, f"{name} has no docstring"
        for public in getattr(module, "__all__", ()):
            thing = getattr(module, public)
            if inspect.isclass(thing) or inspect.isroutine(thing):
                assert own_docstring(thing), f"{name}.{public} has no docstring"

    def test_what_is_slow_to_import_waits_until_it_is_needed(self) -> None:
        slow = ("numpy", "scipy", "pydantic", "uncertainties", "rich")
        program = f"import sys, truerun; print([name for name in {slow} if name in sys.modules])"
        asked = [sys.executable, "-c", program]
        assert subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip() == "[]"


def own_docstring(thing: object) -> str | None:
    """Give what a class or function says of itself, without what a dataclass or a parent says for it."""
    if not inspect.isclass(thing):
        return inspect.getdoc(thing)
    said = thing.__dict__.get("__doc__")
    return None if said and said.startswith(f"{thing.__name__}(") else said


class TestBodiesAreShort:
    def lengths(self) -> dict[str, int]:
        """Give the number of code lines in the body of every function, by place."""
        found = {}
        for path in [*SOURCE.rglob("*.py"), ROOT / "start.py"]:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            lines = code_lines(path)
            for node in ast.walk(tree):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    place = f"{path.relative_to(ROOT).as_posix()}:{node.lineno} {node.name}"
                    found[place] = body_length(node, lines)
        return found

    def test_none_is_over_50_lines(self) -> None:
        assert {place: length for place, length in self.lengths().items() if length > 50} == {}

    def test_nine_in_ten_are_under_20_lines(self) -> None:
        lengths = self.lengths()
        long = {place: length for place, length in lengths.items() if length >= 20}
        assert len(long) <= 0.1 * len(lengths), long

    def test_the_count_leaves_out_docstring_comment_and_blank_lines(self, tmp_path: Path) -> None:
        path = tmp_path / "example.py"
        path.write_text(
            'def f():\n    """Say\n\n    it."""\n\n    # why\n    x = (\n        1\n    )\n    return x\n', "utf-8"
        )
        node = ast.parse(path.read_text("utf-8")).body[0]
        assert isinstance(node, ast.FunctionDef)
        assert body_length(node, code_lines(path)) == 4


def code_lines(path: Path) -> set[int]:
    """Give the lines of a file on which there is code, by number."""
    empty = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
    with tokenize.open(path) as file:
        tokens = [token for token in tokenize.generate_tokens(file.readline) if token.type not in empty]
    return {line for token in tokens for line in range(token.start[0], token.end[0] + 1)}


def body_length(function: ast.FunctionDef | ast.AsyncFunctionDef, lines: set[int]) -> int:
    """Count the code lines of a function's body, without its docstring."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return sum(body[0].lineno <= line <= (body[-1].end_lineno or 0) for line in lines) if body else 0


class TestThePapersSayWhatIsTrue:
    def test_the_two_commands_stand_first_in_the_readme(self) -> None:
        commands = re.findall(r"^(python3 .+|pipx .+|uv .+)$", read("README.md"), re.MULTILINE)
        assert commands[:2] == ["python3 start.py demo", "python3 start.py test"]

    def test_every_command_of_the_set_up_script_in_the_papers_exists(self) -> None:
        words = set(re.findall(r"python3 start\.py (\w+)", read("README.md") + read("CONTRIBUTING.md")))
        assert words == set(re.findall(r"python3 start\.py (\w+)", read("start.py")))

    def test_the_readme_names_only_papers_that_are_there(self) -> None:
        linked = re.findall(r"\]\(([\w./-]+)\)", read("README.md") + read("CONTRIBUTING.md"))
        assert linked
        assert [name for name in linked if not (ROOT / name).exists()] == []

    def test_the_changelog_begins_with_the_numbers_that_change(self) -> None:
        headings = re.findall(r"^## (.+)$", read("CHANGELOG.md"), re.MULTILINE)
        assert headings[:2] == ["Numbers that change", "Unreleased"]

    def test_the_table_of_layers_is_the_one_that_is_checked(self) -> None:
        written = re.findall(r"^\| (`[^|]+?`(?: \\\| `[^|]+?`)*) \|", read("CONTRIBUTING.md"), re.MULTILINE)
        checked = re.search(r"^layers = \[(.+?)^\]", read("pyproject.toml"), re.MULTILINE | re.DOTALL)
        assert checked
        rows = re.findall(r'"(.+)"', checked[1])
        assert [re.findall(r"\w+", row) for row in written] == [re.findall(r"\w+", row) for row in rows]

    def test_the_citation_names_the_version_of_the_project(self) -> None:
        version = re.search(r'^version = "(.+)"$', read("pyproject.toml"), re.MULTILINE)
        assert version
        assert f"\nversion: {version[1]}\n" in read("CITATION.cff")
