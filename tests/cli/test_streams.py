"""What a shell sees: exit codes, the two streams, and what is imported; each in a process of its own."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from truerun.cli.front_page import COMMANDS

HEAVY = ("numpy", "scipy", "pydantic", "jinja2", "uncertainties")


def started(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "truerun", *words]
    return subprocess.run(
        command, capture_output=True, text=True, encoding="utf-8", cwd=cwd, check=False, stdin=subprocess.DEVNULL
    )


class TestExitCodes:
    def test_done_is_0_and_the_result_alone_is_on_standard_output(self, folder: Path) -> None:
        done = started("compare", "run-sheet.csv", "--plan", "plan.json", cwd=folder)
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith('"arc in" takes energy.\n')

    def test_not_a_fair_test_is_1(self, folder: Path) -> None:
        done = started("compare", "run-sheet.csv", "--control", "arc out", cwd=folder)
        assert (done.returncode, done.stderr) == (1, "")
        assert done.stdout.startswith("Not a fair test yet.\n")

    @pytest.mark.parametrize(
        "words",
        [
            ("compare", "nowhere.csv", "--plan", "plan.json"),
            ("compare", "run-sheet.csv"),
            ("compare", "run-sheet.csv", "--alpha", "5"),
            ("compare",),
            ("compare", "run-sheet.csv", "--no-such-option"),
            ("plan", "--claim", "It gains."),
            ("look", "claim.toml", "--control", "arc out"),
            ("no-such-command",),
        ],
    )
    def test_bad_input_is_2_with_one_line_on_standard_error(self, folder: Path, words: tuple[str, ...]) -> None:
        done = started(*words, cwd=folder)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.endswith((".\n", "?\n"))
        assert done.stderr.count("\n") == 1
        assert not done.stderr.lower().startswith(("error", "usage", "traceback"))

    @pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent as a signal")
    def test_ctrl_c_is_130(self, folder: Path) -> None:
        waiting = folder / "waiting.toml"
        os.mkfifo(waiting)
        program = (
            "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler);"
            "from truerun.cli.main import main; sys.exit(main(sys.argv[1:]))"
        )
        command = [sys.executable, "-c", program, "plan", str(waiting), "--out", "new"]
        process = subprocess.Popen(command, cwd=folder, stderr=subprocess.PIPE, text=True)
        with process, waiting.open("w"):  # opens when the command has begun to read, and leaves it waiting
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=60)
        assert (process.returncode, said) == (130, "\nBroken off.\n")
        assert not (folder / "new").exists()

    @pytest.mark.skipif(sys.platform == "win32", reason="needs a pipe that is closed")
    def test_a_reader_who_has_gone_away_is_no_trouble(self, folder: Path) -> None:
        reading, writing = os.pipe()
        os.close(reading)
        command = [sys.executable, "-m", "truerun", "compare", "run-sheet.csv", "--plan", "plan.json"]
        done = subprocess.run(command, cwd=folder, stdout=writing, stderr=subprocess.PIPE, check=False)
        os.close(writing)
        assert (done.returncode, done.stderr) == (0, b"")


class TestHelpComesAtOnce:
    @pytest.mark.parametrize("words", [[], ["--help"], ["--version"], *([name, "--help"] for name in COMMANDS)])
    def test_nothing_that_computes_is_imported(self, words: list[str]) -> None:
        program = (
            "import sys; from truerun.cli.main import main; code = main(sys.argv[1:]);"
            f"print([name for name in {HEAVY} if name in sys.modules], file=sys.stderr); sys.exit(code)"
        )
        done = subprocess.run([sys.executable, "-c", program, *words], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "[]\n")

    def test_not_even_the_reader_of_words_for_the_first_page(self) -> None:
        program = "import sys; from truerun.cli.main import main; main(['--help']); sys.exit('click' in sys.modules)"
        assert subprocess.run([sys.executable, "-c", program], capture_output=True, check=False).returncode == 0


class TestAStreamThatCannotCarryEverySign:
    def test_a_minus_sign_becomes_a_hyphen(self, folder: Path) -> None:
        command = [sys.executable, "-m", "truerun", "compare", "run-sheet.csv", "--plan", "plan.json"]
        environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
        done = subprocess.run(command, cwd=folder, capture_output=True, check=False, env=environment)
        assert (done.returncode, done.stderr) == (0, b"")
        assert b"Drive of the source                  -5.4 %" in done.stdout

    def test_json_loses_nothing(self, folder: Path) -> None:
        sheet = (
            (folder / "run-sheet.csv")
            .read_text(encoding="utf-8")
            .replace("arc in", "B\N{LATIN SMALL LETTER O WITH DIAERESIS}gen \N{MAGNET}")
        )
        (folder / "named.csv").write_text(sheet, encoding="utf-8")
        command = [sys.executable, "-m", "truerun", "compare", "named.csv", "--control", "arc out", "--json"]
        environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
        done = subprocess.run(command, cwd=folder, capture_output=True, check=False, env=environment)
        assert json.loads(done.stdout)["source"] == "B\N{LATIN SMALL LETTER O WITH DIAERESIS}gen \N{MAGNET}"

    def test_a_name_cannot_steer_the_terminal(self, folder: Path) -> None:
        sheet = (folder / "run-sheet.csv").read_text(encoding="utf-8").replace("arc in", "arc\x1b[2Jin")
        (folder / "named.csv").write_text(sheet, encoding="utf-8")
        done = started("compare", "named.csv", "--control", "arc out", cwd=folder)
        assert done.returncode in (1, 2)
        assert "\x1b" not in done.stdout + done.stderr
