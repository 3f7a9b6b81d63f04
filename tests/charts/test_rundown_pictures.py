"""Pictures of rundowns show what the result says: their coordinates against its plain data."""

import io
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from truerun.charts.drag import draw_drag
from truerun.charts.drawing import Drawing, Width
from truerun.charts.hill import draw_hill, draw_hill_ring
from truerun.charts.palette import Scheme
from truerun.charts.render import png_of, svg_of
from truerun.charts.residuals import Against, draw_residuals, residual_views
from truerun.charts.slowing import draw_slowing
from truerun.charts.two_drags import draw_drive_curve, draw_two_drags
from truerun.motion.choice import choose_rundown
from truerun.motion.drive_curve import DriveCurve, drive_curve
from truerun.motion.fit import fit_rundown
from truerun.motion.rundown import Rundown
from truerun.motion.rundown_data import rundown_data
from truerun.motion.speed_fit import SpeedRundown, fit_speeds
from truerun.motion.window import fit_window
from truerun.series import SpeedTable
from truerun.virtual.wheels import truth

PER_MINUTE = 30 / math.pi
"""Turns a minute for one rad/s: SI brochure, ninth edition, table 8 (min) and 2 pi rad a turn."""


def rows_with(drawing: Drawing | None, *fields: str) -> Iterator[dict[str, Any]]:
    """Give the data rows of a drawing that have some fields."""
    assert drawing is not None
    for layer in drawing.description["layer"]:
        yield from (row for row in layer["data"]["values"] if all(field in row for field in fields))


@pytest.fixture(scope="module")
def rundown() -> Rundown:
    times = truth("usual", 600).motion.times
    return choose_rundown(times + 2e-5 * np.random.default_rng(4).standard_normal(times.size), 12, sigma=2e-5)


@pytest.fixture(scope="module")
def curve() -> DriveCurve:
    times = truth("usual", 600).motion.times
    rng = np.random.default_rng(8)
    sides = [
        [fit_rundown(times * scale + 2e-5 * rng.standard_normal(times.size), 12, sigma=2e-5) for scale in scales]
        for scales in ((0.94, 0.95), (1.0, 1.01))
    ]
    return drive_curve(sides[0], sides[1], rng)


@pytest.fixture(scope="module")
def by_speed() -> SpeedRundown:
    times = np.arange(0.0, 60.0, 2.0)
    noise = np.random.default_rng(2).normal(0, 0.05, times.size)
    return fit_speeds(SpeedTable(times, 20 * np.exp(-0.02 * times) + noise), sigma=0.05)


class TestSlowing:
    def test_dots_are_mean_speeds_of_turns(self, rundown: Rundown) -> None:
        ends = rundown.motion.grid.times[:, -1]
        means = 2 * np.pi / np.diff(ends)
        dots = list(rows_with(draw_slowing(rundown), "time", "speed"))
        shown = [row["speed"] for row in dots if np.abs(means - row["speed"]).min() < 1e-12]
        assert len(shown) == len(list(draw_slowing(rundown).rows))  # every dot of the table is one of them

    def test_the_window_is_where_the_fit_passes_its_speeds(self, rundown: Rundown) -> None:
        window = fit_window(rundown, 18.0, 6.0)
        place = next(rows_with(draw_slowing(rundown, window), "from", "to"))
        assert place["to"] - place["from"] == pytest.approx(window.time, rel=0.01)  # drawn from at most 300 points

    def test_the_capture_speed_is_that_of_the_plain_data(self, rundown: Rundown) -> None:
        capture = rundown_data(rundown)["capture_speed"]["value"]
        drawing = draw_slowing(rundown)
        assert capture in [row["speed"] for row in rows_with(drawing, "speed")]
        assert f"{capture * PER_MINUTE:.3g} r/min" in drawing.alternative

    def test_speeds_as_read_are_dots(self, by_speed: SpeedRundown) -> None:
        drawing = draw_slowing(by_speed)
        assert "as read" in drawing.caption
        assert len(drawing.rows) == by_speed.times.size


class TestDrag:
    def test_curve_and_band_are_those_of_the_plain_data(self, rundown: Rundown) -> None:
        known = rundown_data(rundown)["drag"]["curve"]
        drawn = {round(row["speed"], 9): row for row in rows_with(draw_drag(rundown), "speed", "drag", "low")}
        for row in (known[0], known[-1], known[12]):
            shown = drawn[round(row["speed"], 9)]
            assert (shown["drag"], shown["low"], shown["high"]) == pytest.approx(
                (row["value"], row["low"], row["high"]), rel=1e-12
            )

    def test_the_parts_add_up_to_the_curve(self, rundown: Rundown) -> None:
        drawing = draw_drag(rundown)
        parts: dict[float, list[float]] = {}
        for layer in drawing.description["layer"]:
            if layer["mark"]["type"] == "line" and layer["mark"].get("strokeWidth") == 1.5:
                for row in layer["data"]["values"]:
                    parts.setdefault(row["speed"], []).append(row["drag"])
        whole = {row["speed"]: row["drag"] for row in rows_with(drawing, "speed", "drag", "low")}
        assert len(parts) == len(whole)
        for speed, sizes in parts.items():
            assert sum(sizes) == pytest.approx(whole[speed], rel=1e-3)  # this wheel has just these parts


class TestBump:
    def test_heights_are_the_sum_of_harmonics(self, rundown: Rundown) -> None:
        data = rundown_data(rundown)
        start = rundown.speed_high**2 / 2
        for row in rows_with(draw_hill(rundown), "angle", "share", "foot"):
            angle = math.radians(row["angle"])
            height = sum(
                each["cosine"] * math.cos(each["order"] * angle) + each["sine"] * math.sin(each["order"] * angle)
                for each in data["hill"]["harmonics"]
            )
            assert row["share"] == pytest.approx(height / start, rel=1e-9, abs=1e-12)

    def test_the_ring_is_farther_out_where_the_bump_is_higher(self, rundown: Rundown) -> None:
        rim = [row for row in rows_with(draw_hill_ring(rundown), "x", "y", "order") if row["order"] > 90]
        along = {row["angle"]: row["share"] for row in rows_with(draw_hill(rundown), "angle", "share", "foot")}
        radii = [math.hypot(row["x"], row["y"]) for row in rim]
        heights = [along[2.0 * row["order"]] for row in rim]
        assert np.corrcoef(radii, heights)[0, 1] == pytest.approx(1, abs=1e-9)

    def test_nothing_is_drawn_without_one(self) -> None:
        plain = fit_rundown(4 * (1 - np.sqrt(1 - np.arange(40) / 60)), 1, terms=(0,), sigma=1e-5)
        assert draw_hill(plain) is None
        assert draw_hill_ring(plain) is None


class TestResiduals:
    @pytest.mark.parametrize("against", [Against.TURN, Against.ANGLE, Against.SPEED])
    def test_every_dot_is_a_residual(self, rundown: Rundown, against: Against) -> None:
        late = {row["late"] for row in rows_with(draw_residuals(rundown, against), "at", "late")}
        assert late <= set(rundown.residuals.tolist())
        assert float(rundown.residuals[np.abs(rundown.residuals).argmax()]) in late

    def test_speeds_have_views_of_their_own(self, by_speed: SpeedRundown) -> None:
        assert residual_views(by_speed) == (Against.TIME, Against.SPEED)
        dots = list(rows_with(draw_residuals(by_speed, Against.TIME), "at", "late"))
        assert [row["late"] for row in dots] == by_speed.residuals.tolist()


class TestTwoConditions:
    def test_the_drive_lies_between_the_drags(self, curve: DriveCurve) -> None:
        for row in rows_with(draw_drive_curve(curve), "speed", "value", "low"):
            place = int(np.abs(curve.speed - row["speed"]).argmin())
            assert row["value"] == pytest.approx(1 - curve.source_drag[place] / curve.control_drag[place], rel=1e-12)
            assert row["low"] <= row["value"] <= row["high"]

    def test_conditions_are_told_by_word_stroke_and_colour(self, curve: DriveCurve) -> None:
        drawing = draw_two_drags(curve, "arc in", "arc out")
        lines = [layer["mark"] for layer in drawing.description["layer"] if layer["mark"]["type"] == "line"]
        assert len({tuple(mark["strokeDash"]) for mark in lines}) == 2
        assert len({mark["stroke"] for mark in lines}) == 2
        words = {row["words"] for row in rows_with(drawing, "words")}
        assert {"arc in", "arc out"} <= words


class TestEveryPicture:
    @pytest.mark.parametrize("width", [Width.WIDE, Width.PHONE])
    def test_it_has_words_a_table_and_renders(self, rundown: Rundown, curve: DriveCurve, width: Width) -> None:
        window = fit_window(rundown, 18.0, 6.0)
        drawings = [
            draw_slowing(rundown, window, width),
            draw_drag(rundown, width),
            draw_hill(rundown, width),
            *(draw_residuals(rundown, against, width) for against in residual_views(rundown)),
            draw_two_drags(curve, "in", "out", width),
            draw_drive_curve(curve, width),
        ]
        for drawing in drawings:
            assert drawing is not None
            assert drawing.alternative.endswith(".")
            assert drawing.rows
            assert all(len(row) == len(drawing.columns) for row in drawing.rows)
            svg = svg_of(drawing)
            assert svg == svg_of(drawing)
            assert 'role="img"' in svg
            assert "NaN" not in svg

    def test_one_description_gives_a_png_too(self, rundown: Rundown) -> None:
        assert io.BytesIO(png_of(draw_slowing(rundown), Scheme.GREY_PRINT, 1.0)).read(8) == b"\x89PNG\r\n\x1a\n"
