"""Pictures of pools, screenings and dose series show the numbers of the result and no others."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from tests.report.several_results import several_of
from truerun.charts.dose import draw_dosed
from truerun.charts.drawing import Drawing, Width
from truerun.charts.palette import Scheme
from truerun.charts.pooled import draw_pooled
from truerun.charts.render import png_of, svg_of
from truerun.charts.screening import draw_screened
from truerun.report.picture_files import picture_files, picture_names
from truerun.workflow.dosing import DoseResult
from truerun.workflow.pooling import PoolResult
from truerun.workflow.screening import ScreeningResult

DRAWN = ("pool", "pool of two", "pool that differs", "screening", "no candidate", "dose", "dose up")


def drawn(kind: str, width: Width = Width.WIDE) -> Drawing:
    """Draw a result that has something to show."""
    result = several_of(kind)
    draws: dict[type, Callable[[], Drawing | None]] = {
        PoolResult: lambda: draw_pooled(result.pooled, width),  # type: ignore[union-attr]
        ScreeningResult: lambda: draw_screened(result.screened, width),  # type: ignore[union-attr]
        DoseResult: lambda: draw_dosed(result.dosed, width),  # type: ignore[union-attr]
    }
    drawing = draws[type(result)]()
    assert drawing is not None
    return drawing


def rows_with(drawing: Drawing, *fields: str) -> Iterator[dict[str, Any]]:
    """Give the data rows of a drawing that have some fields."""
    for layer in drawing.description["layer"]:
        yield from (row for row in layer["data"]["values"] if all(field in row for field in fields))


class TestTheNumbersAreThoseOfTheResult:
    @pytest.mark.parametrize("kind", ["pool", "pool that differs"])
    def test_of_every_test_and_of_all_together(self, kind: str) -> None:
        document, drawing = several_of(kind).document(), drawn(kind)
        shown = [test["drive_fraction"] for test in document["tests"] if test["drive_fraction"]]
        shown.append(document["pooled"]["drive_fraction"])
        assert [row["value"] for row in rows_with(drawing, "value")] == [each["value"] for each in shown]
        assert [row["low"] for row in rows_with(drawing, "low")] == [each["low"] for each in shown]
        assert [row["high"] for row in rows_with(drawing, "high")] == [each["high"] for each in shown]

    def test_a_covered_test_shows_no_number(self) -> None:
        assert drawn("pool that differs").rows[3][1:4] == ("covered", "none", "none")

    def test_two_tests_have_no_sum(self) -> None:
        assert len(list(rows_with(drawn("pool of two"), "value"))) == 2
        assert "not added up" in drawn("pool of two").caption

    @pytest.mark.parametrize("kind", ["screening", "no candidate"])
    def test_of_every_variant_its_runs_luck_and_what_to_expect(self, kind: str) -> None:
        # a difference d on the log scale is the drive fraction 1 - exp(-d), written out here once more
        document, drawing = several_of(kind).document(), drawn(kind)
        means = {row["number"]: row["mean"] for row in rows_with(drawing, "number", "mean")}
        expected = {n: 1 - np.exp(-each["mean"]) for n, each in enumerate(document["variants"], 1)}
        assert means == pytest.approx(expected, rel=1e-12)
        runs = sorted((row["number"], row["run"]) for row in rows_with(drawing, "number", "run"))
        given = sorted((n, 1 - np.exp(-run)) for n, each in enumerate(document["variants"], 1) for run in each["runs"])
        assert np.array(runs) == pytest.approx(np.array(given), rel=1e-12)
        (luck,), (next_time,) = rows_with(drawing, "luck"), rows_with(drawing, "expected")
        assert luck["luck"] == pytest.approx(1 - np.exp(-document["by_luck"]), rel=1e-12)
        assert next_time["expected"] == pytest.approx(1 - np.exp(-document["expected"]), rel=1e-12)

    @pytest.mark.parametrize("kind", ["dose", "dose up"])
    def test_of_every_run_and_of_the_trend_with_its_span(self, kind: str) -> None:
        document, drawing = several_of(kind).document(), drawn(kind)
        one = next(row for row in rows_with(drawing, "dose", "trend") if row["dose"] == 1)
        given = document["drive_fraction_per_unit"]
        assert [one[key] for key in ("trend", "low", "high")] == pytest.approx(
            [given[key] for key in ("value", "low", "high")], rel=1e-12
        )
        # least squares on dose and run number with numpy: what is left after taking off all but the dose
        doses, y = (np.array([run[key] for run in document["runs"]]) for key in ("dose", "adding_scale"))
        columns = np.column_stack([np.ones(18), doses, np.arange(18)])
        level, slope, drift = np.linalg.lstsq(columns, y, rcond=None)[0]
        assert 1 - np.exp(-slope) == pytest.approx(given["value"], rel=1e-9)
        sizes = 1 - np.exp(-(y - level - drift * np.arange(18)))
        shown = [(row["dose"], row["size"]) for row in rows_with(drawing, "dose", "size")]
        assert np.array(shown) == pytest.approx(np.column_stack([doses, sizes]), abs=1e-12)


class TestNothingIsShownThatMayNotBe:
    def test_before_the_last_run_there_is_no_picture(self) -> None:
        for kind in ("covered screening", "covered dose"):
            assert several_of(kind).drawings() == ()

    def test_without_a_drawn_order_a_trend_has_no_band(self) -> None:
        drawing = several_of("dose without a plan").drawings()[0]
        assert not list(rows_with(drawing, "dose", "low"))
        assert "Band" not in drawing.caption


@pytest.mark.parametrize("kind", DRAWN)
class TestEveryPicture:
    @pytest.mark.parametrize("width", Width)
    def test_text_stays_inside_and_is_never_below_14_px(self, kind: str, width: Width) -> None:
        svg = svg_of(drawn(kind, width))
        assert set(re.findall(r'font-size="(\d+)px"', svg)) <= {"14", "15", "17"}
        for attributes, texts in re.findall(r"<g ([^>]*font-size[^>]*)>(.*?)</g>", svg, re.DOTALL):
            size = int(re.findall(r'font-size="(\d+)px"', attributes)[0])
            share = 0.5 if '"middle"' in attributes else 1.0 if '"end"' in attributes else 0.0
            for x, text in re.findall(r'<text x="([-\d.]+)" y="[-\d.]+">(.*?)</text>', texts):
                # a figure is 0.56 of the size wide in a common sans face
                wide = 0.56 * size * len(text)
                assert float(x) - share * wide > -3, text
                assert float(x) + (1 - share) * wide < width.value + 3, text

    def test_alternative_and_table_are_there(self, kind: str) -> None:
        drawing = drawn(kind)
        assert several_of(kind).document()["headline"] in f"{drawing.title} {drawing.alternative}"
        assert all(len(row) == len(drawing.columns) for row in drawing.rows)
        assert drawing.rows

    def test_the_same_bytes_every_time(self, kind: str) -> None:
        first, second = drawn(kind), drawn(kind)
        assert svg_of(first, Scheme.DARK) == svg_of(second, Scheme.DARK)
        assert json.dumps(first.description) == json.dumps(second.description)
        assert png_of(first, Scheme.GREY_PRINT) == png_of(second, Scheme.GREY_PRINT)


class TestFiles:
    def test_every_scheme_and_kind_with_table_and_words(self) -> None:
        drawings = [drawn("pool"), drawn("dose")]
        files = picture_files(drawings)
        assert sorted(files) == sorted(picture_names(drawings))
        assert sorted(files) == sorted(
            [f"{name}{end}.{kind}" for name in ("forest", "dose") for end in ("", "-dark", "-grey")
             for kind in ("svg", "png")] + ["forest.csv", "dose.csv", "pictures.txt"]
        )  # fmt: skip
        # the signature of a PNG: PNG specification (W3C, third edition), section 5.2
        for name, file in files.items():
            assert isinstance(file, bytes) == name.endswith(".png")
            assert not isinstance(file, bytes) or file.startswith(b"\x89PNG\r\n\x1a\n")
        assert "All together" in str(files["forest.csv"])
        assert drawings[1].alternative in str(files["pictures.txt"])
