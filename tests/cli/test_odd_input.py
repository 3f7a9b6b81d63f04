"""What nobody would type on purpose: one sentence and exit code 2, never a traceback, whatever the streams are."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Called
from truerun.units.number import whole_number

COMPARE = ("compare", "run-sheet.csv", "--plan", "plan.json")


def shell(folder: Path, redirected: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Start truerun as a shell does that was told to send its streams elsewhere."""
    quoted = " ".join(f"'{word}'" for word in (sys.executable, "-m", "truerun", *words))
    return subprocess.run(
        ["/bin/sh", "-c", f"{quoted} {redirected}"], cwd=folder, capture_output=True, text=True, check=False
    )


@pytest.mark.usefixtures("folder")
class TestValues:
    @pytest.mark.parametrize("words", [("rehearse", "plan.json", "--tests"), ("plan", "--runs"), ("live", "--marks")])
    def test_a_number_of_five_thousand_digits_is_refused(self, call: Called, words: tuple[str]) -> None:
        code, out, err = call(*words, "9" * 5000)
        assert (code, out) == (2, "")
        assert "it must be a whole number of at most 15 digits" in err

    def test_fifteen_digits_are_held_exactly_by_a_float(self) -> None:
        # IEEE 754-2019, table 3.5: binary64 holds every whole number up to 2**53, about 9.007e15
        assert whole_number("9" * 15) == int(float("9" * 15))
        assert whole_number("9" * 16) is None

    def test_a_line_break_in_a_value_makes_no_second_line(self, call: Called) -> None:
        code, _, err = call("show", "--notebook", "a\nb")
        assert (code, err.count("\n")) == (2, 1)

    def test_a_refusal_of_a_very_long_value_is_short_and_says_what_is_allowed(self, call: Called) -> None:
        code, _, err = call("look", "trial.csv", "--end", "x" * 5000)
        assert code == 2
        assert len(err) < 1100
        assert err.endswith("it must be one of speed, turns, standstill.\n")

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("amend", "--agree", "both"), '--agree is "both"; it must be one of claimant, sceptic.\n'),
            (
                ("serve", "--port", "99999"),
                "--port: 99999 is not in the range 0<=x<=65535. See truerun serve --help.\n",
            ),
        ],
    )
    def test_a_value_outside_its_choice_is_named_with_its_option(
        self, call: Called, words: tuple[str, ...], said: str
    ) -> None:
        assert call(*words) == (2, "", said)

    def test_a_name_that_no_disk_can_hold_is_a_sentence(self, call: Called) -> None:
        code, out, err = call("show", "--notebook", "x" * 400)
        assert (code, out) == (2, "")
        assert err.endswith(".\n")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a shell that closes streams")
class TestStreams:
    @pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
    @pytest.mark.parametrize("words", [COMPARE, ("--help",), ("rundown", "--help")])
    def test_a_full_disk_behind_standard_output_is_a_sentence(self, folder: Path, words: tuple[str, ...]) -> None:
        done = shell(folder, "> /dev/full", *words)
        assert done.returncode == 2
        assert "no space left on device" in done.stderr
        assert done.stderr.count("\n") == 1

    @pytest.mark.parametrize("redirected", [">&-", "<&- >&- 2>&-"])
    def test_closed_streams_change_no_exit_code(self, folder: Path, redirected: str) -> None:
        done = shell(folder, redirected, *COMPARE)
        assert (done.returncode, done.stderr) == (0, "")

    def test_a_refusal_with_nobody_to_hear_it_is_2(self, folder: Path) -> None:
        done = shell(folder, "2>&-", "look", "nowhere.csv")
        assert (done.returncode, done.stdout) == (2, "")

    def test_a_closed_standard_input_is_no_terminal(self, folder: Path) -> None:
        done = shell(folder, "<&-", "look")
        assert (done.returncode, done.stderr.count("\n")) == (2, 1)

    def test_a_folder_that_is_gone_is_a_sentence(self, folder: Path) -> None:
        gone = folder / "gone"
        gone.mkdir()
        command = f"cd gone && rmdir ../gone && '{sys.executable}' -m truerun show"
        done = subprocess.run(["/bin/sh", "-c", command], cwd=folder, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr.count("\n")) == (2, 1)


@pytest.mark.usefixtures("folder")
class TestFiles:
    @pytest.mark.parametrize(
        ("words", "content"),
        [
            (("rehearse", "odd"), b'{"alpha": ' + b"9" * 5000 + b"}"),  # Python reads no number of 4300 digits
            (("rehearse", "odd"), b"[" * 100_000),
            (("rehearse", "odd"), b"1" * 4_000_001),
            (("compare", "trial.csv", "--plan", "odd"), b"{}"),
            (("plan", "odd", "--out", "new"), b"runs = " + b"9" * 5000),
            (("plan", "odd", "--out", "new"), b"runs = " + b"[" * 100_000),
            (("plan", "odd", "--out", "new"), b"#" * 4_000_001),
            (("new", "n", "--screening", "odd", "--end", "speed"), b"a\n" * 2_000_001),
            (("new", "n", "--screening", "odd", "--end", "speed"), b"\xff\xfe"),
        ],
    )
    def test_a_file_of_another_kind_is_named_in_one_line(
        self, call: Called, words: tuple[str, ...], content: bytes
    ) -> None:
        Path("odd").write_bytes(content)
        code, out, err = call(*words)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert err.startswith("odd")

    @pytest.mark.skipif(not Path("/dev/zero").exists(), reason="needs a file without an end")
    def test_a_file_without_an_end_is_not_read_to_its_end(self, call: Called) -> None:
        code, _, err = call("rehearse", "/dev/zero")
        assert (code, err) == (2, "/dev/zero: the file has more than 4 MB. Give the plan that truerun plan wrote.\n")

    def test_a_plan_that_an_editor_gave_a_byte_order_mark_is_read(self, call: Called) -> None:
        plan = Path("plan.json")
        plan.write_bytes(b"\xef\xbb\xbf" + plan.read_bytes().replace(b"\n", b"\r\n"))
        assert call("compare", "run-sheet.csv", "--plan", "plan.json")[0] == 0


@pytest.mark.usefixtures("folder")
def test_a_file_where_pictures_are_to_go_is_refused_before_a_result_is_shown(call: Called) -> None:
    code, out, err = call(*COMPARE, "--pictures", "claim.toml")
    assert (code, out) == (2, "")
    assert err.startswith("claim.toml is a file; it must be a folder")


def test_ctrl_c_while_a_command_is_loaded_is_130(call: Called, monkeypatch: pytest.MonkeyPatch) -> None:
    def loading(*_: object, **__: object) -> object:
        # Python 3.11 reference, "What's new in 3.12", bpo-77757: what __set_name__ raises was wrapped before
        raise RuntimeError("Error calling __set_name__") from KeyboardInterrupt()

    monkeypatch.setattr("truerun.cli.group.truerun.main", loading)
    assert call(*COMPARE) == (130, "", "")


@pytest.mark.usefixtures("folder")
class TestRecordings:
    @pytest.mark.parametrize("angles", ["0,0,0", "30,0", "0,400", "-1,20"])
    def test_mark_angles_that_no_turn_can_show_are_refused_at_once(self, call: Called, angles: str) -> None:
        Path("passes.csv").write_text("\n".join(f"{0.1 * n + 0.0007 * n * n:.4f}" for n in range(300)), "utf-8")
        code, out, err = call("rundown", "passes.csv", "--mark-angles", angles)
        assert (code, out) == (2, "")
        assert "it must be increasing from 0 to below 360 degrees" in err

    def test_speeds_of_any_size_end_in_a_sentence(self, call: Called) -> None:
        speeds = [f"{0.5 * n:.1f},{120 - 0.5 * n:.2f}" for n in range(200)]
        speeds[27], speeds[112] = "13.5,1e308", "56.0,1e308"
        Path("speeds.csv").write_text("time,speed [r/min]\n" + "\n".join(speeds), "utf-8")
        with np.errstate(all="ignore"):
            code, out, err = call("rundown", "speeds.csv", "--kind", "speeds")
        assert (code, out, err.count("\n")) == (2, "", 1)


@pytest.mark.usefixtures("folder")
class TestChoices:
    def test_source_and_control_of_one_name_are_refused(self, call: Called) -> None:
        code, out, err = call("look", "trial.csv", "--source", "arc out", "--control", "arc out", "--end", "speed")
        assert (code, out) == (2, "")
        assert "it must be another condition than the control" in err

    def test_a_grade_of_blinding_that_is_none_is_refused(self, call: Called) -> None:
        code, out, err = call("compare", "trial.csv", "--control", "arc out", "--end", "speed", "--blinding", "5")
        assert (code, out) == (2, "")
        assert err.startswith("blinding is 5; it must be 0, 1, 2 or 3.")


def test_what_the_system_refuses_while_it_reads_is_a_sentence(call: Called, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> object:
        raise OSError(5, "Input/output error", "run-sheet.csv")

    monkeypatch.setattr("truerun.cli.group.truerun.main", fails)
    assert call(*COMPARE) == (
        2,
        "",
        "run-sheet.csv: input/output error. Look whether file, folder and disk can be used.\n",
    )
