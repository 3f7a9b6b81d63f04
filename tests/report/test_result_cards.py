"""Cards for a film: their size, what they say, and that a covered result has none.

PNG is read by Pillow (ISO/IEC 15948); smallest letters against the practice of captions: 1/30 of the height and more
(common practice, no source).
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from truerun.cli.main import main
from truerun.report.result_cards import DIGEST, SIZE
from truerun.workflow.comparing import compare
from truerun.workflow.demonstration import demonstration_files


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the invented example."""
    folder = tmp_path_factory.mktemp("cards")
    for name, text in demonstration_files().items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


class TestCards:
    def test_a_finished_test_has_five_of_the_size_of_a_film(self, files: Path) -> None:
        made = compare(files / "run-sheet.csv", files / "plan.json").cards(invented=True)
        assert [each.name for each in made] == ["claim", "order", "luck", "result", "limits"]
        for each in made:
            picture = Image.open(io.BytesIO(each.png))
            assert picture.size == SIZE
            assert len(picture.getcolors(1 << 24) or []) > 20  # something is drawn

    def test_they_say_what_the_result_says(self, files: Path) -> None:
        result = compare(files / "run-sheet.csv", files / "plan.json")
        words = {each.name: each.words for each in result.cards()}
        assert result.comparison.headline in words["result"]
        assert "gains on every turn" in words["claim"]
        assert "16  " in words["order"]
        assert "Local codes" in words["limits"]

    def test_words_to_paste_name_the_seal_and_what_a_web_film_loses(self, files: Path) -> None:
        result = compare(files / "run-sheet.csv", files / "plan.json")
        words = result.words_to_paste(invented=True)
        assert words.startswith("INVENTED EXAMPLE")
        assert result.sealed is not None
        assert result.sealed.seal.code in words
        assert DIGEST in words

    def test_a_covered_result_has_none(self, files: Path, tmp_path: Path) -> None:
        lines = (files / "run-sheet.csv").read_text(encoding="utf-8").splitlines()
        kept = [line for line in lines if not line.startswith(("15,", "16,"))]
        (tmp_path / "early.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
        result = compare(tmp_path / "early.csv", files / "plan.json")
        assert result.verdict is None
        assert result.cards() == ()
        assert result.words_to_paste() == ""

    def test_the_command_writes_them(self, files: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        call: Callable[..., int] = lambda *words: main([str(each) for each in words])  # noqa: E731
        out, cards = tmp_path / "report.html", tmp_path / "cards"
        sheet, plan = files / "run-sheet.csv", files / "plan.json"
        assert call("report", sheet, "--plan", plan, "--out", out, "--cards", cards, "--invented") == 0
        assert f"cards in {cards}" in capsys.readouterr().err
        names = {"claim.png", "order.png", "luck.png", "result.png", "limits.png", "words.txt"}
        assert {each.name for each in cards.iterdir()} == names
