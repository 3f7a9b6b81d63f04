"""What the pictures show is what the result says: coordinates against its JSON, counts against plain enumeration."""

import csv
import io
import itertools
import math
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from truerun.charts.drawing import Drawing, Width
from truerun.charts.drive_line import draw_drive_line
from truerun.charts.evidence import draw_evidence
from truerun.charts.forest import ForestRow, draw_forest
from truerun.charts.luck import draw_luck, luck_orders_csv
from truerun.charts.runs import draw_runs
from truerun.charts.severity import draw_severity
from truerun.trial.comparison import Comparison
from truerun.trial.plan import Role

Compare = Callable[..., Comparison]


def rows_with(drawing: Drawing | None, *fields: str) -> Iterator[dict[str, Any]]:
    """Give the data rows of a drawing that have some fields."""
    assert drawing is not None
    for layer in drawing.description["layer"]:
        yield from (row for row in layer["data"]["values"] if all(field in row for field in fields))


def texts_of(drawing: Drawing | None) -> list[str]:
    """Give every text on a drawing."""
    return [row["words"] for row in rows_with(drawing, "words")]


def plain_differences(comparison: Comparison) -> list[float]:
    """Give what every order would have given: R. A. Fisher's list, made here from nothing but the times.

    Source: R. A. Fisher, The Design of Experiments (1935), section 21.
    """
    y = [math.log(run.value) for run in comparison.at.table.runs if run.value]
    blocks = [order for order in itertools.product((1, -1), repeat=4) if sum(order) == 0]
    half = len(y) / 2
    return [
        sum(sign * value for sign, value in zip(itertools.chain(*order), y, strict=True)) / half
        for order in itertools.product(blocks, repeat=len(y) // 4)
    ]


class TestLuck:
    @pytest.mark.parametrize("name", ["arc", "nothing"])
    def test_as_many_marks_are_strong_as_a_plain_count_finds(self, name: str, request: pytest.FixtureRequest) -> None:
        comparison: Comparison = request.getfixturevalue(name)
        differences = plain_differences(comparison)
        found = abs(comparison.at.effect) - 1e-9  # times have four digits: no two orders differ by less
        marks = list(rows_with(draw_luck(comparison), "level"))
        assert len(marks) == len(differences) == 1296
        strong = sum(mark["strong"] for mark in marks)
        assert strong == sum(abs(difference) >= found for difference in differences)
        assert strong == pytest.approx(comparison.document()["p"] * 1296, abs=1e-9)

    def test_each_mark_stands_in_the_column_of_its_order(self, arc: Comparison) -> None:
        drawing = draw_luck(arc)
        places = sorted(1 - math.exp(-difference) for difference in plain_differences(arc))
        columns = sorted((mark["from"], mark["to"]) for mark in rows_with(drawing, "level"))
        # 1e-9 of a column is rounding: where an order stands on a border it goes to the column that begins there
        assert all(low - 1e-9 <= at <= high + 1e-9 for at, (low, high) in zip(places, columns, strict=True))

    @pytest.mark.parametrize("width", Width)
    def test_ours_is_pointed_at_where_the_result_says(self, arc: Comparison, width: Width) -> None:
        pointed = {row["at"] for row in rows_with(draw_luck(arc, width), "at") if row.get("words", "").startswith("−5")}
        assert arc.document()["drive_fraction"]["value"] in [pytest.approx(at, abs=1e-12) for at in pointed]

    def test_the_caption_counts(self, arc: Comparison, nothing: Comparison) -> None:
        drawn, middle = draw_luck(arc), draw_luck(nothing)
        assert drawn is not None
        assert middle is not None
        assert drawn.caption.startswith("Luck alone does this in 2 of 1296 orders.")
        assert nothing.headline in middle.caption

    def test_same_against_same_says_that_nothing_was_to_be_found(self, compare: Compare, nothing: Comparison) -> None:
        times = tuple(run.value for run in nothing.at.table.runs)
        drawn = draw_luck(compare(times, role=Role.SAME_AGAINST_SAME, claimed=None, margin=None))
        assert drawn is not None
        assert "Nothing found, as it should be." in drawn.caption

    def test_a_run_at_its_worst_marks_the_smaller_side_only(self, compare: Compare) -> None:
        comparison = compare(left_out={3: True})
        marks = list(rows_with(draw_luck(comparison), "level"))
        strong = [mark for mark in marks if mark["strong"]]
        assert 2 * len(strong) == pytest.approx(comparison.document()["p"] * len(marks), abs=1e-9)
        assert len({mark["from"] < 0 for mark in strong}) == 1

    def test_above_some_thousand_orders_a_mark_stands_for_several(self, compare: Compare) -> None:
        comparison = compare(orders="complete")
        drawn = draw_luck(comparison)
        assert "each mark is up to" in " ".join(texts_of(drawn))
        assert len(list(rows_with(drawn, "level"))) < comparison.document()["orders"] == math.comb(16, 8)

    def test_orders_that_were_only_counted_are_shown_in_part(self, compare: Compare) -> None:
        comparison = compare((*TIMES_MORE,), "+-" * 12, orders="complete", claimed=None)
        drawn = draw_luck(comparison)
        assert drawn is not None
        assert comparison.figures is not None
        assert comparison.figures.plus.heap is None
        assert "of 2\N{NO-BREAK SPACE}704\N{NO-BREAK SPACE}156 orders." in drawn.caption  # C(24, 12)
        assert "All orders were counted; 20\N{NO-BREAK SPACE}000 of them" in drawn.caption

    def test_the_spreadsheet_counts_the_same(self, arc: Comparison) -> None:
        text = luck_orders_csv(arc)
        assert text is not None
        rows = list(csv.DictReader(io.StringIO(text)))
        assert sum(row["as far as ours"] == "yes" for row in rows) == 2
        written = [float(row["difference in percent"]) for row in rows]
        expected = [100 * (1 - math.exp(-difference)) for difference in plain_differences(arc)]
        assert sorted(written) == pytest.approx(sorted(expected), abs=1e-4)  # six digits are written
        ours = ["+" if run.condition == "arc in" else "-" for run in arc.at.table.runs]
        assert sum([row[f"run {slot}"] for slot in range(1, 17)] == ours for row in rows) == 1


TIMES_MORE = tuple(150.0 + 3 * (place % 2) + 1.7 * math.sin(9.1 * place * place) for place in range(24))


class TestRuns:
    @pytest.mark.parametrize("width", Width)
    def test_every_run_stands_at_its_value(self, arc: Comparison, width: Width) -> None:
        shown = {row["run"]: row["value"] for row in rows_with(draw_runs(arc, width), "run", "value", "state")}
        assert shown == {run.slot: run.value for run in arc.at.table.runs}

    def test_the_conditions_differ_in_shape_word_and_colour(self, arc: Comparison) -> None:
        drawing = draw_runs(arc)
        assert drawing is not None
        told = {}
        for layer in drawing.description["layer"]:
            kinds = {row.get("condition") for row in layer["data"]["values"]}
            if layer["mark"]["type"] == "point" and len(kinds) == 1 and "run" in layer["data"]["values"][0]:
                told[kinds.pop()] = (layer["mark"]["shape"], layer["mark"]["stroke"], layer["mark"]["fill"])
        assert told["arc in"] == ("circle", "var(--in)", "var(--in)")
        assert told["arc out"] == ("square", "var(--out)", "var(--sheet)")
        assert {"arc in", "arc out"} <= set(texts_of(drawing))

    def test_the_means_differ_by_the_difference_found(self, arc: Comparison) -> None:
        means = {row["words"]: row["value"] for row in rows_with(draw_runs(arc), "value", "words")}
        drive = 1 - means["arc out"] / means["arc in"]
        assert drive == pytest.approx(arc.document()["drive_fraction"]["value"], abs=1e-12)

    def test_runs_that_do_not_count_as_they_stand_are_told_apart(self, compare: Compare) -> None:
        comparison = compare(left_out={3: True, 9: False}, unfinished=(6,))
        drawing = draw_runs(comparison)
        assert {"at its worst", "left out", "had not ended"} <= set(texts_of(drawing))
        assert drawing is not None
        states = {row[0]: row[3] for row in drawing.rows}
        assert (states["3"], states["9"]) == ("left out after it was seen: at its worst", "left out before it was seen")
        assert states["6"] == "had not ended"


class TestDriveLine:
    @pytest.mark.parametrize("width", Width)
    @pytest.mark.parametrize("name", ["arc", "nothing", "power"])
    def test_bar_and_needle_are_those_of_the_result(
        self, name: str, width: Width, request: pytest.FixtureRequest
    ) -> None:
        comparison: Comparison = request.getfixturevalue(name)
        document = comparison.document()
        found = document["drive_fraction"] or document["effect"]
        drawing = draw_drive_line(comparison, width)
        assert next(rows_with(drawing, "low", "high")) == {"low": found["low"], "high": found["high"]}
        assert next(rows_with(drawing, "value"))["value"] == found["value"]
        assert [row["margin"] for row in rows_with(drawing, "margin")] == [-document["margin"], document["margin"]]

    def test_without_a_span_there_is_no_bar(self, compare: Compare) -> None:
        comparison = compare(TIMES_MORE[:6], "+-+--+", orders="complete")
        drawing = draw_drive_line(comparison)
        assert list(rows_with(drawing, "low", "high")) == []
        assert "no span: this order cannot give one" in texts_of(drawing)

    def test_the_span_doubles_until_it_fits(self, compare: Compare) -> None:
        far = tuple(time * (1.25 if mark == "+" else 1) for time, mark in zip(TIMES_MORE[:16], "+--+" * 4, strict=True))
        drawing = draw_drive_line(compare(far, "+--+" * 4))
        assert "+30\N{NO-BREAK SPACE}%" in texts_of(drawing)
        assert "+100\N{NO-BREAK SPACE}%" in texts_of(drawing)


class TestSeverityAndEvidence:
    @pytest.mark.parametrize("name", ["arc", "nothing", "power"])
    def test_the_levels_are_those_of_the_result(self, name: str, request: pytest.FixtureRequest) -> None:
        comparison: Comparison = request.getfixturevalue(name)
        marked = [
            {key: row[key] for key in ("surely", "below")}
            for row in rows_with(draw_severity(comparison), "surely", "below", "words")
        ]
        assert sorted(marked, key=lambda row: row["surely"]) == comparison.document()["severity"]

    def test_the_curve_passes_through_each_level(self, arc: Comparison) -> None:
        curve = {row["size"]: row["surely"] for row in rows_with(draw_severity(arc), "size", "surely")}
        for row in arc.document()["severity"]:
            near = [sure for size, sure in curve.items() if math.isclose(size, row["below"], abs_tol=1e-12)]
            # an end is the size at which the next order ties: the curve steps by one order of 1296 there
            assert near == [pytest.approx(row["surely"], abs=2 / 1296)]

    def test_the_curve_never_falls_for_bigger_drives(self, arc: Comparison) -> None:
        curve = sorted((row["size"], row["surely"]) for row in rows_with(draw_severity(arc), "size", "surely"))
        assert all(low <= high for (_, low), (_, high) in itertools.pairwise(curve))

    def test_the_stakes_are_those_of_the_result(self, arc: Comparison) -> None:
        stakes = {row["block"]: row["stake"] for row in rows_with(draw_evidence(arc), "block", "stake")}
        assert stakes == {0: 1.0} | dict(enumerate(arc.document()["evidence_steps"], start=1))
        assert "×20 decides" in texts_of(draw_evidence(arc))

    def test_a_set_without_blocks_has_no_running_bet(self, compare: Compare) -> None:
        assert draw_evidence(compare(orders="complete")) is None

    def test_where_source_runs_had_not_ended_nothing_bigger_is_ruled_out(self, compare: Compare) -> None:
        assert draw_severity(compare(unfinished=(16,))) is None


class TestForest:
    TESTS = (
        ForestRow("Test 2", -0.0546, -0.0668, -0.0415, "steel plate"),
        ForestRow("Test 4", 0.004, -0.012, None),
        ForestRow("Test 5", None, None, None, "covered until run 16"),
    )

    def test_each_row_has_its_value_and_span(self) -> None:
        drawing = draw_forest(self.TESTS, pooled=ForestRow("All together", -0.02, -0.05, 0.01))
        assert [row["value"] for row in rows_with(drawing, "value")] == [-0.0546, 0.004, -0.02]
        assert [row["low"] for row in rows_with(drawing, "low")] == [-0.0668, -0.012, -0.05]
        assert [row["high"] for row in rows_with(drawing, "high")] == [-0.0415, 0.15, 0.01]  # open: to the line's end

    def test_a_covered_test_shows_nothing_but_its_name(self) -> None:
        drawing = draw_forest(self.TESTS)
        assert drawing.rows[2] == ("Test 5", "covered", "none", "none", "covered until run 16")
        assert "not added up" in drawing.caption


class TestNothingIsShownThatMayNotBe:
    def test_an_order_from_no_known_set_has_no_luck_picture(self, compare: Compare) -> None:
        comparison = compare(orders=None)
        assert draw_luck(comparison) is None
        assert luck_orders_csv(comparison) is None
        assert draw_severity(comparison) is None
        assert draw_runs(comparison) is not None
