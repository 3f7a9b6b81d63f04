"""The set-up script: what it says, what it chooses, and what it leaves alone."""

import ast
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import pytest

import start

SCRIPT = Path(start.__file__)


def nothing(name: str) -> None:
    """Find no program of any name."""


def only(*names: str) -> Callable[[str], str | None]:
    """Find the programs of these names, each in the usual folder."""
    return lambda name: f"/usr/bin/{name}" if name in names else None


class TestAnOlderPythonIsToldWhatIsNeeded:
    def test_the_script_parses_as_python_3_6(self) -> None:
        ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 6))

    def test_the_version_is_looked_at_before_anything_is_defined(self) -> None:
        body = ast.parse(SCRIPT.read_text(encoding="utf-8")).body
        checked = next(place for place, node in enumerate(body) if isinstance(node, ast.If))
        before = {type(node) for node in body[:checked]}
        assert before == {ast.Expr, ast.Import, ast.ImportFrom}
        assert "sys.version_info < (3, 11)" in ast.unparse(body[checked])

    def test_it_imports_nothing_that_has_to_be_installed(self) -> None:
        tree = ast.walk(ast.parse(SCRIPT.read_text(encoding="utf-8")))
        plain = {name.name for node in tree if isinstance(node, ast.Import) for name in node.names}
        assert {name.partition(".")[0] for name in plain} <= sys.stdlib_module_names


class TestAVirtualEnvironmentIsMadeInTheFirstWayThereIs:
    def test_venv_where_this_python_is_complete(self) -> None:
        command = start.command_to_make(Path("here"), {"venv", "ensurepip"}.__contains__, lambda: True, nothing)
        assert command[1:] == ["-m", "venv", "--clear", "here"]

    def test_venv_without_pip_where_only_ensurepip_is_missing(self) -> None:
        command = start.command_to_make(Path("here"), {"venv"}.__contains__, lambda: True, nothing)
        assert command[1:] == ["-m", "venv", "--without-pip", "--clear", "here"]

    def test_the_virtualenv_module_where_pip_is_missing_too(self) -> None:
        command = start.command_to_make(Path("here"), {"venv", "virtualenv"}.__contains__, lambda: False, nothing)
        assert command[1:] == ["-m", "virtualenv", "--clear", "here"]

    def test_the_virtualenv_program_last(self) -> None:
        command = start.command_to_make(Path("here"), set[str]().__contains__, lambda: False, only("virtualenv"))
        assert command == ["/usr/bin/virtualenv", "--python", sys.executable, "--clear", "here"]

    def test_else_it_says_what_to_install_on_each_system(self) -> None:
        with pytest.raises(start.SetUpImpossible) as refusal:
            start.command_to_make(Path("here"), set[str]().__contains__, lambda: False, nothing)
        for system in ("Debian", "Fedora", "macOS", "Windows"):
            assert system in str(refusal.value)

    def test_the_interpreter_stands_elsewhere_on_windows(self) -> None:
        assert start.python_of(Path("v"), "nt") == Path("v/Scripts/python.exe")
        assert start.python_of(Path("v"), "posix") == Path("v/bin/python")


class TestAStampHoldsOnlyForWhatWasInstalled:
    @pytest.fixture
    def lock(self, tmp_path: Path) -> Path:
        (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
        lock = tmp_path / "requirements.lock"
        lock.write_text("one==1\n", encoding="utf-8")
        return lock

    @pytest.fixture
    def venv(self, tmp_path: Path) -> Path:
        python = start.python_of(tmp_path / "venv")
        python.parent.mkdir(parents=True)
        python.touch()
        return tmp_path / "venv"

    def stamp(self, lock: Path) -> str:
        """Give the stamp as the script makes it."""
        return str(start.stamp_for(lock, lock.parent / "pyproject.toml"))

    def test_a_stamped_environment_is_ready(self, lock: Path, venv: Path) -> None:
        assert not start.is_stamped(venv, lock, self.stamp(lock))
        (venv / "requirements.lock.stamp").write_text(self.stamp(lock), encoding="ascii")
        assert start.is_stamped(venv, lock, self.stamp(lock))

    @pytest.mark.parametrize("changed", ["requirements.lock", "pyproject.toml"])
    def test_a_change_of_lock_or_project_needs_a_new_stamp(self, lock: Path, changed: str) -> None:
        before = self.stamp(lock)
        with (lock.parent / changed).open("a", encoding="utf-8") as file:
            file.write("# changed\n")
        assert self.stamp(lock) != before

    def test_another_python_needs_a_new_stamp(self, lock: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        before = self.stamp(lock)
        monkeypatch.setattr(sys, "version", "3.99.0 (made up)")
        assert self.stamp(lock) != before

    def test_a_moved_folder_needs_a_new_stamp(self, lock: Path, tmp_path: Path) -> None:
        before = self.stamp(lock)
        moved = tmp_path / "moved"
        moved.mkdir()
        for name in ("requirements.lock", "pyproject.toml"):
            (moved / name).write_bytes((tmp_path / name).read_bytes())
        assert self.stamp(moved / "requirements.lock") != before

    def test_without_its_interpreter_an_environment_is_not_ready(self, lock: Path, venv: Path) -> None:
        (venv / "requirements.lock.stamp").write_text(self.stamp(lock), encoding="ascii")
        start.python_of(venv).unlink()
        assert not start.is_stamped(venv, lock, self.stamp(lock))


class TestABrowserIsFound:
    def test_the_one_that_is_named_comes_first(self) -> None:
        found = start.find_chromium({"TRUERUN_CHROMIUM": "/opt/mine"}, only("chromium"), "linux")
        assert found == "/opt/mine"

    @pytest.mark.parametrize("name", ["chromium", "chromium-browser", "google-chrome"])
    def test_on_the_search_path_under_each_of_its_names(self, name: str) -> None:
        assert start.find_chromium({}, only(name), "linux") == f"/usr/bin/{name}"

    def test_nowhere(self) -> None:
        assert start.find_chromium({}, nothing, "linux") is None

    def test_in_a_program_folder_of_windows(self, tmp_path: Path) -> None:
        program = tmp_path / "Chromium" / "Application" / "chrome.exe"
        program.parent.mkdir(parents=True)
        program.touch()
        assert start.find_chromium({"LOCALAPPDATA": str(tmp_path)}, nothing, "win32") == str(program)

    def test_in_the_applications_of_macos(self) -> None:
        assert all(place.parts[1] == "Applications" for place in start.usual_places({}, "darwin"))


class TestABrowserIsInstalledOnlyWhereNobodyNeedsToBeAsked:
    @pytest.fixture
    def commands(self) -> list[list[object]]:
        return []

    @pytest.fixture
    def run(self, commands: list[list[object]]) -> Callable[[Sequence[object], Mapping[str, str]], bool]:
        def note(command: Sequence[object], environment: Mapping[str, str]) -> bool:
            assert environment["DEBIAN_FRONTEND"] == "noninteractive"
            commands.append(list(command))
            return True

        return note

    def test_root_with_apt(
        self,
        commands: list[list[object]],
        run: Callable[[Sequence[object], Mapping[str, str]], bool],
    ) -> None:
        assert start.install_chromium(only("apt-get"), lambda: True, run)
        assert [command[1] for command in commands] == ["update", "install"]
        assert commands[1][-1] == "chromium"

    @pytest.mark.parametrize(("programs", "root"), [(("apt-get",), False), ((), True)])
    def test_nobody_else(
        self,
        commands: list[list[object]],
        run: Callable[[Sequence[object], Mapping[str, str]], bool],
        programs: tuple[str, ...],
        root: bool,  # noqa: FBT001  # filled in by the list of cases
    ) -> None:
        assert not start.install_chromium(only(*programs), lambda: root, run)
        assert commands == []


class TestEveryCheckRuns:
    @pytest.fixture
    def asked(self, monkeypatch: pytest.MonkeyPatch) -> list[str]:
        """Note the checks in the order in which they run; mypy and pytest do not pass."""
        asked: list[str] = []

        def note(command: Sequence[str], _environment: Mapping[str, str]) -> bool:
            asked.append(" ".join(command))
            return "mypy" not in command and "pytest" not in command

        monkeypatch.setattr(start, "ran", note)
        monkeypatch.setattr(start, "set_up", lambda _lock: Path("python"))
        monkeypatch.setattr(start, "environment_with_chromium", lambda: dict(os.environ))
        return asked

    def test_the_tests_come_last_and_get_the_words_that_follow(self, asked: list[str]) -> None:
        start.main(["test", "-k", "house"])
        assert len(asked) == 6
        assert asked[-1] == "python -m pytest -n 2 --dist loadfile -k house"

    def test_those_that_failed_are_named_at_the_end(self, asked: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        assert start.main(["test"]) == 1
        assert asked
        assert capsys.readouterr().out.splitlines()[-1].startswith("Not passed: mypy, pytest.")

    def test_when_all_pass_nothing_is_said_after_the_tests(
        self, asked: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setattr(start, "ran", lambda _command, _environment: True)
        assert start.main(["test"]) == 0
        assert asked == []
        assert capsys.readouterr().out.splitlines()[-1] == "== pytest"


class TestWordsThatAreNotUnderstood:
    @pytest.mark.parametrize("words", [[], ["dmeo"]])
    def test_are_answered_with_what_can_be_asked_for(
        self, words: list[str], capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert start.main(words) == 2
        said = capsys.readouterr().out
        assert all(f"python3 start.py {word}" in said for word in ("demo", "test", "lock"))
