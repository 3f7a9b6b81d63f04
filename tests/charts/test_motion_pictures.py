"""Pictures of swings, of both ways and of releases show what their plain data say."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.charts.both_ways import draw_push, draw_shared_drag
from truerun.charts.drawing import Drawing, Width
from truerun.charts.palette import Scheme
from truerun.charts.releases import draw_releases
from truerun.charts.render import png_of, svg_of
from truerun.charts.swings import draw_swings
from truerun.motion.drag_curve import DragTerms, chebyshev_basis
from truerun.motion.hill import hill_matrix
from truerun.motion.release_choice import ReleasedHill, choose_releases
from truerun.motion.swings import Swings, find_swings
from truerun.motion.swings_data import swings_data
from truerun.motion.two_way import TwoWay, split_two_way
from truerun.motion.two_way_data import two_way_data
from truerun.series import AngleTrack, Releases, SpeedTable

Array = NDArray[np.float64]


def rows_with(drawing: Drawing, *fields: str) -> Iterator[dict[str, Any]]:
    """Give the data rows of a drawing that have some fields."""
    for layer in drawing.description["layer"]:
        yield from (row for row in layer["data"]["values"] if all(field in row for field in fields))


def lines_of(drawing: Drawing) -> list[list[dict[str, float]]]:
    """Give the rows of each line."""
    return [layer["data"]["values"] for layer in drawing.description["layer"] if layer["mark"]["type"] == "line"]


def dry_swings() -> Swings:
    """Half swings of a second that lose .1 each: cosines joined at their turning points, by hand."""
    times = np.arange(0, 12, 0.01)
    half = times.astype(int)
    middle = np.where(half % 2, -0.05, 0.05)
    size = 2.0 - 0.05 - 0.1 * half
    return find_swings(AngleTrack(times, middle + size * np.cos(np.pi * times)))


def sine() -> Swings:
    """A viscous swing, seen in its speeds."""
    times = np.linspace(0, 12, 1200)
    return find_swings(SpeedTable(times, np.exp(-0.1 * times) * np.cos(5 * times)))


def ways() -> TwoWay:
    """Drag of .10 - .01 one way and .10 + .01 the other, with a tenth of that as uncertainty."""
    basis = chebyshev_basis(1, 4.0, 20.0)
    there, back = (DragTerms(basis, np.array([f]), np.eye(1) * 1e-6, np.eye(1) * 1e-6) for f in (0.09, 0.11))
    return split_two_way([there], [back], 5.0, 15.0)


def released() -> ReleasedHill:
    """Releases on u = cos(angle) with a dry drag of .02, by energy alone."""
    starts = np.linspace(0.5, 2.6, 12)
    ends = np.linspace(np.pi, 2 * np.pi, 200_001)
    left = np.cos(ends) - np.cos(starts)[:, None] + 0.02 * (ends - starts[:, None])
    return choose_releases(Releases(starts, ends[np.abs(left).argmin(axis=1)]))


class TestSwings:
    def test_dots_are_the_swings_of_the_plain_data(self) -> None:
        swings = dry_swings()
        known = swings_data(swings)["swings"]
        layer = next(each for each in draw_swings(swings).description["layer"] if each["mark"]["type"] == "point")
        shown = layer["data"]["values"]
        assert [row["swing"] for row in shown] == [row["swing"] for row in known]
        assert [row["time"] for row in shown] == pytest.approx([row["time"] - known[0]["time"] for row in known])

    def test_both_drags_together_go_through_every_dot(self) -> None:
        swings = dry_swings()
        followed = swings.followed()
        assert followed is not None
        assert followed == pytest.approx(swings.peaks, abs=1e-3)

    def test_a_swing_of_speeds_has_its_exponential_and_a_straight_line(self) -> None:
        swings = sine()
        drawing = draw_swings(swings)
        straight, exponential = lines_of(drawing)
        # from the first swing, half a turning point's way apart: exp(-.1 t), whatever the swing of it
        for row in exponential[::20]:
            assert row["swing"] / exponential[0]["swing"] == pytest.approx(np.exp(-0.1 * row["time"]), rel=1e-4)
        steps = np.diff([row["swing"] for row in straight])
        assert steps == pytest.approx(steps[0], rel=1e-6)
        assert "share, as viscous drag" in drawing.caption

    def test_the_words_name_the_better_line(self) -> None:
        assert "They follow a straight line better than an exponential." in draw_swings(dry_swings()).alternative
        assert "They follow an exponential better than a straight line." in draw_swings(sine()).alternative


class TestBothWays:
    def test_the_push_and_its_band_are_those_of_the_plain_data(self) -> None:
        found = ways()
        factor = two_way_data(found)["band_factor"]
        for row in rows_with(draw_push(found), "value", "low", "high"):
            assert row["value"] == pytest.approx(0.01, rel=1e-9)
            # two runs of 1 mrad/s^2 each: half the root of the sum of squares
            assert row["high"] - row["value"] == pytest.approx(factor * 1e-3 / np.sqrt(2), rel=1e-6)

    def test_the_shared_drag_stands_between_those_of_the_ways(self) -> None:
        values = sorted(line[0]["value"] for line in lines_of(draw_shared_drag(ways())))
        assert values == pytest.approx([0.09, 0.10, 0.11], rel=1e-9)


class TestReleases:
    def test_starts_and_turnings_lie_on_the_bump(self) -> None:
        found = released()
        shape = found.found.shape
        drawing = draw_releases(found)
        points = [each["data"]["values"] for each in drawing.description["layer"] if each["mark"]["type"] == "point"]
        assert [len(each) for each in points] == [12, 12]
        for row in (*points[0], *points[1]):
            waves = hill_matrix(np.radians(np.array([row["angle"]])), shape.cosine.size)
            assert row["height"] == pytest.approx(float((waves @ shape.coefficients)[0]) / (2 * np.pi), abs=1e-9)

    def test_the_height_is_that_of_the_wheel(self) -> None:
        heights = [row["height"] for row in rows_with(draw_releases(released()), "angle", "height", "foot")]
        assert max(heights) - min(heights) == pytest.approx(2 / 0.02 / (2 * np.pi), rel=1e-3)


DRAWINGS = {
    "swings": lambda width: draw_swings(dry_swings(), width),
    "a sine": lambda width: draw_swings(sine(), width),
    "push": lambda width: draw_push(ways(), width),
    "shared drag": lambda width: draw_shared_drag(ways(), width),
    "releases": lambda width: draw_releases(released(), width),
}


@pytest.mark.parametrize("name", DRAWINGS)
class TestEveryPicture:
    def test_is_drawn_in_every_width_and_scheme(self, name: str) -> None:
        for width in Width:
            svg = svg_of(DRAWINGS[name](width))
            assert f'width="{width.value}"' in svg
        assert png_of(DRAWINGS[name](Width.PRINT), Scheme.GREY_PRINT).startswith(b"\x89PNG")

    def test_has_words_and_a_table(self, name: str) -> None:
        drawing = DRAWINGS[name](Width.WIDE)
        assert drawing.alternative.endswith(".")
        assert all(len(row) == len(drawing.columns) for row in drawing.rows)
        assert len(drawing.rows) > 3
