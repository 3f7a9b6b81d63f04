"""``truerun rundown`` on a table of releases from rest, of a wheel whose bump is known."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from numpy.typing import NDArray
from scipy.optimize import brentq

Called = Callable[..., tuple[int, str, str]]
Array = NDArray[np.float64]
SCHEMA = Path(__file__).parents[2] / "docs" / "schemas" / "rundown.json"
HEIGHT, DRAG = 2.4, 0.05  # rad^2/s^2 and rad/s^2: u = 1.2 cos(angle)


def turning(start: float) -> float:
    """Where the wheel first turns back, by energy alone: u(b) - u(a) = -c0 |b - a| (work and energy, any textbook)."""
    side = 1.0 if start < np.pi else -1.0

    def left(end: float) -> float:
        return float(HEIGHT / 2 * (np.cos(end) - np.cos(start)) + DRAG * side * (end - start))

    bottom = np.pi
    return float(brentq(left, bottom, bottom + side * np.pi))


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """Sixteen releases all round, each angle read to a tenth of a degree."""
    rng = np.random.default_rng(3)
    starts = 2 * np.pi * (np.arange(16) + 0.5) / 16
    starts = starts[np.abs(HEIGHT / 2 * np.sin(starts)) > 3 * DRAG]
    rows = [(a, turning(float(a))) for a in starts]
    read = np.degrees(np.array(rows)) + 0.1 * rng.standard_normal((len(rows), 2))
    path = tmp_path / "releases.csv"
    lines = "\n".join(f"{a:.2f};{b:.2f}" for a, b in read)
    path.write_text(f"let go [deg];turned back [deg]\n{lines}\n", encoding="utf-8")
    return path


def document_of(call: Called, *words: object) -> dict[str, Any]:
    """The JSON, held against its schema."""
    code, out, err = call("rundown", *words, "--json")
    assert (code, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(document)
    return document


class TestReleasesFromRest:
    def test_the_height_in_turns_of_dry_drag(self, call: Called, table: Path) -> None:
        document = document_of(call, table)
        height = document["releases"]["height_in_turns_of_drag"]
        truth = HEIGHT / DRAG / (2 * np.pi)
        # four standard uncertainties: 1 in 16 000 by luck
        assert abs(height["value"] - truth) < 4 * height["standard_uncertainty"]
        assert height["standard_uncertainty"] < 0.02 * truth
        assert document["releases"]["moved"] == document["releases"]["count"]
        assert document["hill"] is None

    def test_with_the_dry_drag_it_is_a_bump_with_a_capture_speed(self, call: Called, table: Path) -> None:
        drag = np.degrees(DRAG) / 6  # r/min lost each second
        document = document_of(call, table, "--dry-drag", f"{drag:.6f}", f"{0.02 * drag:.6f}")
        speed = document["capture_speed"]
        assert abs(speed["value"] - np.sqrt(HEIGHT)) < 4 * speed["standard_uncertainty"]  # sqrt(2 u_max)
        assert document["hill"]["height"] == pytest.approx(HEIGHT, rel=0.02)

    def test_text_page_and_picture(self, call: Called, table: Path, tmp_path: Path) -> None:
        code, out, _ = call("rundown", table, "--report", tmp_path / "r.html", "--pictures", tmp_path / "pictures")
        assert code == 0
        assert out.startswith("From trough to crest the bump is as high as what dry drag uses up in 7.")
        assert "give it with --dry-drag" in " ".join(out.split())
        assert "let go from rest" in (tmp_path / "r.html").read_text(encoding="utf-8")
        assert {path.suffix for path in (tmp_path / "pictures").iterdir()} >= {".svg", ".png"}


class TestWhatIsRefused:
    def test_too_few_releases_say_how_many_would_do(self, call: Called, table: Path) -> None:
        lines = table.read_text(encoding="utf-8").splitlines()[:4]
        table.write_text("\n".join(lines) + "\n", encoding="utf-8")
        code, _, err = call("rundown", table)
        assert code == 2
        assert "need at least 4, better 12. Release at more places, all round." in " ".join(err.split())

    def test_a_unit_that_nobody_named(self, call: Called, table: Path) -> None:
        text = table.read_text(encoding="utf-8").replace(" [deg]", "")
        table.write_text(text, encoding="utf-8")
        code, _, err = call("rundown", table)
        assert code == 2
        assert "unit" in err
        assert document_of(call, table, "--unit", "deg")["releases"]["count"] > 10

    @pytest.mark.parametrize(("words", "sentence"), [(("much", "1"), "must be a number"), (("-1", "0.1"), "positive")])
    def test_a_drag_that_is_none(self, call: Called, table: Path, words: tuple[str, str], sentence: str) -> None:
        code, _, err = call("rundown", table, "--dry-drag", *words)
        assert code == 2
        assert sentence in err

    def test_a_comparison_of_releases(self, call: Called, table: Path, tmp_path: Path) -> None:
        runs = tmp_path / "runs.csv"
        rows = table.read_text(encoding="utf-8").splitlines()
        lines = []
        for run, condition in enumerate(("in", "out", "out", "in"), 1):
            (tmp_path / f"{run}.csv").write_text("\n".join(rows[:-run]) + "\n", encoding="utf-8")
            lines.append(f"{run},{condition},{run}.csv")
        runs.write_text("run,condition,recording\n" + "\n".join(lines) + "\n", encoding="utf-8")
        code, _, err = call("compare", runs, "--control", "out")
        assert code == 2
        assert "holds no pass times, speeds or angles" in " ".join(err.split())
