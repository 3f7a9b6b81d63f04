"""Pages are printed by a Chromium that is there, or refused in one sentence."""

from __future__ import annotations

import os
import re
import stat
import zlib
from pathlib import Path

import pytest

from truerun.errors import ValueOutOfRange
from truerun.report.pdf import find_chromium, print_pdf, require_chromium

MISSING = find_chromium(os.environ) is None
needs_chromium = pytest.mark.skipif(MISSING, reason="no Chromium on this machine; name one in TRUERUN_CHROMIUM")


def pages_of(pdf: bytes) -> list[tuple[float, float]]:
    """Give width and height of every page [points], from the page objects (ISO 32000-1, 7.7.3.3)."""
    objects = pdf + b"".join(_inflated(pdf))
    boxes = re.findall(rb"/MediaBox\s*\[\s*[\d.]+\s+[\d.]+\s+([\d.]+)\s+([\d.]+)\s*\]", objects)
    return [(float(width), float(height)) for width, height in boxes]


def _inflated(pdf: bytes) -> list[bytes]:
    """Give every stream that can be inflated."""
    found = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(stream))
        except zlib.error:
            continue
    return found


def program(folder: Path, body: str) -> Path:
    """Write a program that stands in for Chromium."""
    path = folder / "stand-in"
    path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


class TestFinding:
    def test_the_variable_comes_first(self, tmp_path: Path) -> None:
        named = program(tmp_path, "exit 0")
        assert find_chromium({"TRUERUN_CHROMIUM": str(named)}, lambda _: "/elsewhere") == named

    def test_a_variable_that_names_nothing_is_not_passed_over(self, tmp_path: Path) -> None:
        assert find_chromium({"TRUERUN_CHROMIUM": str(tmp_path / "none")}, lambda _: "/elsewhere") is None

    def test_without_one_there_is_one_sentence_and_a_way_out(self, tmp_path: Path) -> None:
        with pytest.raises(ValueOutOfRange, match="print it from there"):
            require_chromium({"TRUERUN_CHROMIUM": str(tmp_path / "none")})


class TestWhatGoesWrong:
    @pytest.mark.skipif(os.name == "nt", reason="the stand-in is a shell script")
    def test_its_last_words_are_passed_on(self, tmp_path: Path) -> None:
        with pytest.raises(ValueOutOfRange, match="no room left"):
            print_pdf("<html></html>", program(tmp_path, "echo no room left >&2; exit 3"), tmp_path / "out.pdf")
        assert not (tmp_path / "out.pdf").exists()

    def test_a_program_that_cannot_start_is_said(self, tmp_path: Path) -> None:
        with pytest.raises(ValueOutOfRange, match="not made"):
            print_pdf("<html></html>", tmp_path / "none", tmp_path / "out.pdf")

    def test_unknown_paper_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(ValueOutOfRange, match="A4 or Letter"):
            print_pdf("<html></html>", tmp_path / "none", tmp_path / "out.pdf", paper="A5")


@needs_chromium
class TestPrinting:
    # ISO 216: A4 is 210 mm x 297 mm; US Letter is 8.5 in x 11 in; 72 points an inch; Chromium rounds to whole pixels
    @pytest.mark.parametrize(("paper", "size"), [("A4", (595.3, 841.9)), ("Letter", (612.0, 792.0))])
    def test_every_page_has_the_size_of_the_paper(
        self, paper: str, size: tuple[float, float], pages: dict[str, str], tmp_path: Path
    ) -> None:
        print_pdf(pages["takes"], require_chromium(os.environ), tmp_path / "out.pdf", paper=paper)
        sheets = pages_of((tmp_path / "out.pdf").read_bytes())
        assert len(sheets) > 3
        for sheet in sheets:
            assert sheet == pytest.approx(size, abs=1)  # one pixel of 1/96 inch is 0.75 points
