"""The demonstration's files in a folder, and a way to call a command."""

from collections.abc import Callable
from pathlib import Path

import pytest

from truerun.cli.main import main
from truerun.workflow.demonstration import demonstration_files

Called = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="session")
def texts() -> dict[str, str]:
    return demonstration_files()


@pytest.fixture
def folder(tmp_path: Path, texts: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)  # people name files by where they are
    return tmp_path


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Called:
    """Call ``truerun`` with some words; give exit code, standard output and standard error."""

    def called(*words: object) -> tuple[int, str, str]:
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return code, out, err

    return called
