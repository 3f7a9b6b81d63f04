"""``truerun report`` writes one page, and never over a file."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from truerun.report.pdf import find_chromium
from truerun.workflow.comparing import compare

Called = Callable[..., tuple[int, str, str]]
MADE = ("--made", "2026-03-14T21:52Z")


class TestTheReportOfTheDemonstration:
    def test_a_page_is_written_and_the_verdict_shown(self, folder: Path, call: Called) -> None:
        code, out, err = call("report", "run-sheet.csv", "--plan", "plan.json", "--out", "report.html", "--invented")
        page = (folder / "report.html").read_text(encoding="utf-8")
        assert code == 0
        assert out.strip() == compare("run-sheet.csv", "plan.json").comparison.headline
        assert "report.html" in err
        assert "Invented example" in page

    def test_the_same_time_gives_the_same_bytes(self, folder: Path, call: Called) -> None:
        for name in ("one.html", "two.html"):
            call("report", "run-sheet.csv", "--plan", "plan.json", "--out", name, *MADE)
        assert (folder / "one.html").read_bytes() == (folder / "two.html").read_bytes()

    def test_it_says_what_both_sides_say(self, folder: Path, call: Called) -> None:
        said = ("--claimant-says", "The gap was wrong.", "--sceptic-says", "As I thought.", "--interests", "None.")
        call("report", "run-sheet.csv", "--plan", "plan.json", "--out", "report.html", *said)
        page = (folder / "report.html").read_text(encoding="utf-8")
        assert all(words in page for words in said[1::2])

    def test_nothing_is_written_over(self, folder: Path, call: Called) -> None:
        (folder / "report.html").write_text("mine", encoding="utf-8")
        code, _, err = call("report", "run-sheet.csv", "--plan", "plan.json", "--out", "report.html")
        assert code == 2
        assert "there already" in err
        assert (folder / "report.html").read_text(encoding="utf-8") == "mine"

    @pytest.mark.usefixtures("folder")
    def test_a_time_without_a_zone_is_refused(self, call: Called) -> None:
        told = call("report", "run-sheet.csv", "--plan", "plan.json", "--out", "x.html", "--made", "2026-03-14T21:52")
        assert told[0] == 2
        assert "with its zone" in told[2]

    def test_half_a_sheet_gives_counts_and_exit_code_1(self, folder: Path, call: Called) -> None:
        lines = (folder / "run-sheet.csv").read_text(encoding="utf-8").splitlines()
        (folder / "half.csv").write_text("\n".join(lines[:-8]) + "\n", encoding="utf-8")
        code, out, _ = call("report", "half.csv", "--plan", "plan.json", "--out", "half.html")
        assert code == 1
        assert "Sealed until the last run." in out

    def test_without_a_chromium_nothing_is_written(
        self, folder: Path, call: Called, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("TRUERUN_CHROMIUM", "no-such-program")
        code, _, err = call("report", "run-sheet.csv", "--plan", "plan.json", "--out", "report.html", "--pdf")
        assert code == 2
        assert "print it from there" in err
        assert not (folder / "report.html").exists()

    @pytest.mark.skipif(find_chromium(os.environ) is None, reason="no Chromium on this machine")
    def test_a_pdf_beside_it(self, folder: Path, call: Called) -> None:
        code, _, _ = call("report", "run-sheet.csv", "--plan", "plan.json", "--out", "report.html", "--pdf")
        assert code == 0
        assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
