"""``truerun rundown`` and ``truerun compare`` on recordings, as somebody at a terminal meets them."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from truerun.cli.rundown import KINDS
from truerun.recordings.signal_columns import Kind
from truerun.virtual.wheels import truth

Called = Callable[..., tuple[int, str, str]]
SCHEMA = Path(__file__).parents[2] / "docs" / "schemas" / "rundown.json"
REAL = Path(__file__).parents[1] / "data" / "real"


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """600 passes of twelve marks, one of them missed, one bounced."""
    times = truth("usual", 600).motion.times
    times = times + 2e-5 * np.random.default_rng(9).standard_normal(times.size)
    times = np.sort(np.append(np.delete(times, 301), times[200] + 4e-5))
    path = tmp_path_factory.mktemp("recording") / "run-8.csv"
    path.write_text("time [s]\n" + "\n".join(f"{time:.6f}" for time in times) + "\n", encoding="utf-8")
    return path


class TestOneRecording:
    def test_the_first_sentence_is_the_time_over_the_window(self, call: Called, recording: Path) -> None:
        code, out, err = call("rundown", recording, "--marks", 12)
        assert (code, err) == (0, "")
        assert out.startswith("From 191.0\N{NO-BREAK SPACE}r/min down to ")
        assert "catches the wheel below" in out
        assert "bounced" in out
        assert "missing" in out

    def test_json_fits_its_schema(self, call: Called, recording: Path) -> None:
        words = ("--marks", 12, "--window", "18 rad/s", "6 rad/s", "--json")
        code, out, _ = call("rundown", recording, *words)
        document = json.loads(out)
        Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(document)
        assert code == 0
        assert (document["window"]["from"], document["window"]["to"]) == (18, 6)

    def test_page_and_pictures_are_saved(self, call: Called, recording: Path, tmp_path: Path) -> None:
        page, folder = tmp_path / "run.html", tmp_path / "pictures"
        code, _, _ = call("rundown", recording, "--marks", 12, "--report", page, "--pictures", folder, "--invented")
        assert code == 0
        text = page.read_text(encoding="utf-8")
        assert "Invented example" in text
        assert "<script" not in text
        assert {path.suffix for path in folder.iterdir()} >= {".svg", ".png"}


class TestSeveralRecordings:
    def test_they_share_a_window(self, call: Called, recording: Path, tmp_path: Path) -> None:
        other = tmp_path / "run-9.csv"
        lines = recording.read_text(encoding="utf-8").splitlines()
        other.write_text("\n".join(lines[:1] + lines[13:]) + "\n", encoding="utf-8")  # a slower launch
        code, out, _ = call("rundown", recording, other, "--marks", 12, "--json")
        first, second = (each["window"] for each in json.loads(out)["rundowns"])
        assert code == 0
        assert (first["from"], first["to"]) == (second["from"], second["to"])

    def test_a_page_is_for_one(self, call: Called, recording: Path, tmp_path: Path) -> None:
        code, _, err = call("rundown", recording, recording, "--marks", 12, "--report", tmp_path / "r.html")
        assert code == 2
        assert "--report is given with 2 files; it must be given with one file." in err


class TestWhatIsRefused:
    @pytest.mark.parametrize(
        ("words", "sentence"),
        [
            ((), "Say it with --marks."),
            (("--marks", "12", "--window", "6 rad/s", "18 rad/s"), "from a higher to a lower positive speed"),
            (("--marks", "12", "--window", "25 rad/s", "6 rad/s"), "is not inside"),
            (("--mark-angles", "0,30", "--marks", "12"), "number of mark angles is 2; it must be 12"),
            (("--marks", "12", "--kind", "pases"), "Did you mean passes?"),
        ],
    )
    def test_in_one_sentence(self, call: Called, recording: Path, words: tuple[str, ...], sentence: str) -> None:
        code, out, err = call("rundown", recording, *words)
        assert code == 2
        assert out == ""
        assert sentence in err
        assert "Traceback" not in err

    def test_a_wheel_that_is_driven_up(self, call: Called) -> None:
        code, _, err = call("rundown", REAL / "driven_wheel_inner_ring.csv")
        assert code == 2
        assert "ris" in err


class TestKinds:
    def test_the_words_of_the_option_are_those_of_the_readers(self) -> None:
        assert set(KINDS.words) == {kind.value for kind in Kind}


class TestABumpThatCouldBeMissed:
    def test_is_said_in_text_json_and_page_where_none_was_seen(self, call: Called, tmp_path: Path) -> None:
        # pass times of a wheel without a bump: exponential slowing by viscous drag, any textbook of mechanics
        angles = 2 * np.pi * np.arange(400) / 12
        times = -np.log1p(-0.05 * angles / 20) / 0.05
        times = times + 2e-5 * np.random.default_rng(3).standard_normal(times.size)
        path = tmp_path / "flat.csv"
        path.write_text("time [s]\n" + "\n".join(f"{time:.7f}" for time in times) + "\n", encoding="utf-8")
        code, out, _ = call("rundown", path, "--marks", 12, "--report", tmp_path / "flat.html")
        assert code == 0
        assert "One that could be missed" in out
        assert "That one would catch" in (tmp_path / "flat.html").read_text(encoding="utf-8")
        document = json.loads(call("rundown", path, "--marks", 12, "--json")[1])
        Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(document)
        assert document["hill"] is None
        assert 0 < document["unseen_hill"]["share"] < 1e-3
