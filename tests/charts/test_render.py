"""The files that drawings become: valid, self-contained, the same each time, in every scheme and width."""

import re
from collections.abc import Callable
from xml.etree import ElementTree as ET

import pytest

from truerun.charts.drawing import Drawing, Width
from truerun.charts.drive_line import draw_drive_line
from truerun.charts.evidence import draw_evidence
from truerun.charts.forest import ForestRow, draw_forest
from truerun.charts.luck import draw_luck
from truerun.charts.palette import COLOURS, Scheme, colours_of
from truerun.charts.render import png_of, svg_of
from truerun.charts.runs import draw_runs
from truerun.charts.severity import draw_severity
from truerun.trial.comparison import Comparison

SVG = "{http://www.w3.org/2000/svg}"
Draw = Callable[[Comparison, Width], Drawing | None]


def forest(comparison: Comparison, width: Width) -> Drawing:
    """Draw a comparison beside an invented one."""
    found = comparison.document()["drive_fraction"]
    row = ForestRow("Test 2", found["value"], found["low"], found["high"])
    return draw_forest([row, ForestRow("Test 4", 0.01, -0.01, 0.03, "plywood plate & felt")], width)


DRAWS: tuple[Draw, ...] = (draw_luck, draw_runs, draw_drive_line, draw_severity, draw_evidence, forest)


def drawn(draw: Draw, comparison: Comparison, width: Width = Width.WIDE) -> Drawing:
    """Draw, where there is something to draw."""
    drawing = draw(comparison, width)
    assert drawing is not None
    return drawing


def parsed(svg: str) -> ET.Element:
    """Read a picture that was just made here."""
    return ET.fromstring(svg)  # noqa: S314  our own text, not a stranger's


@pytest.mark.parametrize("draw", DRAWS, ids=lambda draw: str(draw.__name__))
class TestEveryDrawing:
    @pytest.mark.parametrize("scheme", Scheme)
    @pytest.mark.parametrize("width", Width)
    def test_it_is_one_valid_picture_with_title_and_description(
        self, draw: Draw, arc: Comparison, width: Width, scheme: Scheme
    ) -> None:
        drawing = drawn(draw, arc, width)
        root = parsed(svg_of(drawing, scheme))
        assert (root.tag, root.get("role"), root.get("width")) == (f"{SVG}svg", "img", str(width.value))
        title, description, body = root
        assert (title.tag, title.text, title.get("id")) == (f"{SVG}title", drawing.title, root.get("aria-labelledby"))
        assert (description.text, description.get("id")) == (drawing.alternative, root.get("aria-describedby"))
        assert body.get("aria-hidden") == "true"
        assert not [key for each in body.iter() for key in each.attrib if key.startswith(("aria-", "role", "id"))][1:]

    def test_text_stays_text_of_14_px_or_more(self, draw: Draw, arc: Comparison) -> None:
        root = parsed(svg_of(drawn(draw, arc, Width.PHONE), Scheme.LIGHT))
        sizes = {group.get("font-size", "") for group in root.iter(f"{SVG}g") if group.find(f"{SVG}text") is not None}
        assert sizes <= {"14px", "15px", "17px"}
        assert sizes

    def test_no_text_begins_or_ends_outside(self, draw: Draw, arc: Comparison) -> None:
        drawing = drawn(draw, arc, Width.PHONE)
        for group in parsed(svg_of(drawing, Scheme.LIGHT)).iter(f"{SVG}g"):
            share = {"middle": 0.5, "end": 1.0}.get(group.get("text-anchor", ""), 0.0)
            for text in group.findall(f"{SVG}text"):
                # a figure is 0.56 of the size wide in a common sans face; arrows and spaces are narrower or as wide
                wide = 0.56 * float(group.get("font-size", "15px")[:-2]) * len(text.text or "")
                left = float(text.get("x", "")) - share * wide
                assert left > -3, text.text
                assert left + wide < drawing.width + 3, text.text

    def test_nothing_outside_is_referred_to(self, draw: Draw, arc: Comparison) -> None:
        text = svg_of(drawn(draw, arc), Scheme.LIGHT).replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?:|href|url\(|@import|<script|<image|<style", text)

    def test_two_renderings_have_the_same_bytes(self, draw: Draw, arc: Comparison) -> None:
        assert svg_of(drawn(draw, arc), Scheme.DARK) == svg_of(drawn(draw, arc), Scheme.DARK)

    def test_every_colour_is_one_of_the_palette(self, draw: Draw, arc: Comparison) -> None:
        for scheme in Scheme:
            used = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg_of(drawn(draw, arc), scheme)))
            assert used <= set(colours_of(scheme).values()) | {"none", "stroke"}

    def test_the_page_can_set_every_colour(self, draw: Draw, arc: Comparison) -> None:
        named = re.findall(r"var\(--([a-z0-9-]+),", svg_of(drawn(draw, arc), Scheme.LIGHT))
        assert "ink2" in named
        assert set(named) <= set(COLOURS)

    def test_it_has_a_table_as_wide_as_its_heads(self, draw: Draw, arc: Comparison) -> None:
        drawing = drawn(draw, arc)
        assert drawing.rows
        assert {len(row) for row in drawing.rows} == {len(drawing.columns)}

    def test_it_becomes_a_png_of_the_size_asked_for(self, draw: Draw, arc: Comparison) -> None:
        drawing = drawn(draw, arc, Width.PHONE)
        png = png_of(drawing, Scheme.GREY_PRINT, scale=1.0)
        # width and height stand in the IHDR chunk, bytes 16 to 24: PNG specification (W3C), 11.2.2
        size = int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")
        assert (png[:8], size) == (b"\x89PNG\r\n\x1a\n", (drawing.width, drawing.height))


class TestOnePage:
    def test_different_drawings_share_no_identifier(self, arc: Comparison, nothing: Comparison) -> None:
        pictures = [
            svg_of(drawn(draw, comparison, width), scheme)
            for draw in (draw_luck, draw_runs)
            for comparison in (arc, nothing)
            for width in Width
            for scheme in (Scheme.LIGHT, Scheme.GREY_PRINT)
        ]
        names = re.findall(r' id="([^"]+)"', "".join(pictures))
        assert len(names) == len(set(names)) == 2 * len(pictures)

    def test_the_converter_places_the_needle_where_the_axis_says(self, arc: Comparison) -> None:
        drawing = drawn(draw_drive_line, arc)
        value = arc.document()["drive_fraction"]["value"]
        needle = re.search(r'stroke-width="4"[^>]* d="M([\d.]+),', svg_of(drawing, Scheme.LIGHT))
        assert needle is not None
        # the ruled part goes from 44 px at -15 % to 528 px at +15 %; a coordinate is written to 0.01 px
        assert float(needle[1]) == pytest.approx(44 + (value + 0.15) / 0.30 * (528 - 44), abs=0.006)

    def test_every_mark_of_the_heap_is_there_to_be_counted(self, arc: Comparison) -> None:
        for part, expected in (("near", 1294), ("ink", 2)):
            paths = re.findall(rf'style="fill:var\(--{part},[^>]* d="([^"]+)"', svg_of(drawn(draw_luck, arc)))
            squares = [path.count("Z") for path in paths if "h" in path and "v" in path]
            assert sum(squares) == expected


def luminance(colour: str) -> float:
    """Give the relative luminance of a colour: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Give the contrast ratio of two colours: WCAG 2.2, definition of contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


class TestColours:
    @pytest.mark.parametrize("scheme", Scheme)
    def test_text_stands_out_at_least_four_and_a_half_to_one(self, scheme: Scheme) -> None:
        # WCAG 2.2, 1.4.3
        colours = colours_of(scheme)
        names = ("ink", "ink2", "ink3", "mark", "in", "out")
        assert {name: contrast(colours[name], colours["sheet"]) >= 4.5 for name in names} == dict.fromkeys(names, True)

    @pytest.mark.parametrize("scheme", Scheme)
    def test_marks_stand_out_at_least_three_to_one(self, scheme: Scheme) -> None:
        # WCAG 2.2, 1.4.11; on paper the marks of the heap are outlines
        colours = colours_of(scheme)
        outline = colours["near"] if colours["near-line"] == "none" else colours["near-line"]
        assert contrast(colours["edge"], colours["sheet"]) >= 3
        assert contrast(outline, colours["sheet"]) >= 3

    @pytest.mark.parametrize(
        ("name", "light", "dark"),
        [
            ("ink", 18.1, 16.9),
            ("ink2", 9.2, 11.3),
            ("ink3", 6.0, 7.6),
            ("edge", 4.1, 5.8),
            ("line", 1.6, 1.7),
            ("mark", 10.8, 9.7),
            ("in", 7.3, 9.7),
            ("out", 7.4, 10.1),
        ],
    )
    def test_the_ratios_are_those_of_the_design(self, name: str, light: float, dark: float) -> None:
        for scheme, stated in ((Scheme.LIGHT, light), (Scheme.DARK, dark)):
            colours = colours_of(scheme)
            assert contrast(colours[name], colours["sheet"]) == pytest.approx(stated, abs=0.06)  # one decimal is stated

    @pytest.mark.parametrize("scheme", [Scheme.LIGHT, Scheme.DARK])
    def test_neither_condition_looks_stronger(self, scheme: Scheme) -> None:
        colours = colours_of(scheme)
        assert contrast(colours["in"], colours["out"]) <= 1.05

    def test_grey_print_has_no_colour(self) -> None:
        shades = [shade for shade in colours_of(Scheme.GREY_PRINT).values() if shade != "none"]
        assert all(shade[1:3] == shade[3:5] == shade[5:7] for shade in shades)
