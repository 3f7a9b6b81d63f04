"""The options that save a page and pictures, the same for compare, pool, screening and dose."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.test_several import fill

Called = Callable[..., tuple[int, str, str]]
MADE = ("--made", "2026-03-14T21:52Z", "--invented")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def magnets(call: Called, here: Path) -> Path:
    """Give a filled-in dose series."""
    call("dose", "0", "1", "2", "3", "6", "--repeats", 1, "--end", "speed", "--dummies", "--out", "m")
    fill(here / "m" / "run-sheet.csv", lambda name: -0.05 * float(name))  # plain in any order that the lot draws
    return here / "m"


class TestWhatIsSaved:
    def test_of_a_comparison(self, call: Called, folder: Path) -> None:
        words = ("compare", "run-sheet.csv", "--plan", "plan.json", "--report", "page.html", *MADE)
        code, _, told = call(*words, "--pictures", "pictures")
        assert (code, "Written: page.html, pictures." in told) == (0, True)
        page = (folder / "page.html").read_text(encoding="utf-8")
        assert "Invented example. No such test took place." in page
        names = {path.stem for path in (folder / "pictures").glob("*.svg")}
        assert {"drive-line", "runs-dark", "luck-grey", "severity", "evidence"} <= names
        assert {path.stem for path in (folder / "pictures").glob("*.png")} == names
        assert call(*("other.html" if word == "page.html" else word for word in words))[0] == 0
        assert (folder / "other.html").read_bytes() == page.encode()

    def test_of_a_dose_series(self, call: Called, magnets: Path) -> None:
        code, out, _ = call("dose", "m", "--report", "out/m.html", "--pictures", "out", *MADE)
        assert (code, out.startswith("The more magnets")) == (0, True)
        names = {path.name for path in (magnets.parent / "out").iterdir()}
        assert {"m.html", "dose.svg", "dose-dark.png", "dose-grey.svg", "dose.csv", "pictures.txt"} <= names

    def test_of_a_screening_and_of_a_pool(self, call: Called, here: Path) -> None:
        (here / "list.txt").write_text("a\nb\nc\nd\n", encoding="utf-8")
        call("screening", "list.txt", "--end", "speed", "--out", "s")
        fill(here / "s" / "run-sheet.csv", lambda name: 0.05 * (name == "c"))
        assert call("screening", "s", "--report", "s.html")[0] == 0
        for seed, name in enumerate(("one", "two")):
            words = ("--source", "in", "--control", "out", "--end", "speed", "--runs", 12, "--timing", "sensor")
            call("plan", "--claim", "It gains.", *words, "--seed", f"seed of test {name}, for tests", "--out", name)
            fill(here / name / "run-sheet.csv", lambda condition: 0.03 * (condition == "in"), seed=seed)
        assert call("pool", "one", "two", "--report", "p.html", "--pictures", "p")[0] == 0
        assert "Two tests, side by side." in (here / "p.html").read_text(encoding="utf-8")
        assert (here / "p" / "forest-grey.png").is_file()

    def test_a_covered_result_has_a_page_of_counts_and_no_picture(self, call: Called, here: Path) -> None:
        call("dose", "0", "1", "2", "3", "6", "--repeats", 1, "--end", "speed", "--out", "m")
        fill(here / "m" / "run-sheet.csv", lambda _: 0.0, runs=3)
        code, _, told = call("dose", "m", "--report", "m.html", "--pictures", "p")
        assert (code, "No picture is saved" in told) == (1, True)
        assert not (here / "p").exists()


class TestWhatIsRefused:
    @pytest.mark.usefixtures("magnets")
    @pytest.mark.parametrize("words", [("--pdf",), ("--paper", "A4"), ("--made", "2026-03-14T21:52Z"), ("--invented",)])
    def test_a_page_that_is_not_named(self, call: Called, words: tuple[str, ...]) -> None:
        code, out, told = call("dose", "m", *words)
        assert (code, out) == (2, "")
        assert f"named with --report. Or leave out {words[0]}." in told

    def test_never_over_a_file(self, call: Called, magnets: Path) -> None:
        (magnets.parent / "m.html").write_text("mine", encoding="utf-8")
        code, out, told = call("dose", "m", "--report", "m.html")
        assert (code, out, "there already" in told) == (2, "", True)
        assert (magnets.parent / "m.html").read_text(encoding="utf-8") == "mine"

    @pytest.mark.usefixtures("here")
    def test_a_new_plan_has_no_page(self, call: Called) -> None:
        code, _, told = call("dose", "0", "1", "2", "--end", "speed", "--report", "m.html")
        assert (code, "Leave out --report." in told) == (2, True)

    @pytest.mark.usefixtures("magnets")
    def test_a_time_without_its_zone(self, call: Called) -> None:
        assert "a time with its zone" in call("dose", "m", "--report", "m.html", "--made", "2026-03-14")[2]
