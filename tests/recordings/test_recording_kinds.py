"""One shape for every reader: each kind of recording in each form of numbers, with headings and without.

Outside references: numpy.loadtxt reads the same numbers from a plain text (decimal points, blanks between cells), and
the csv module of Python writes quoted cells as RFC 4180 has them. Factors of units are those of NIST SP 811 (2008).
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO, StringIO
from typing import Any

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from truerun.errors import ChoiceNeeded
from truerun.recordings.plain_decimals import parse_plain_decimals
from truerun.recordings.recording import read_recording
from truerun.series import AngleTrack, Clock, Passes, PositionTrack, Recording, SpeedTable

Rows = Sequence[Sequence[str]]


@dataclass(frozen=True)
class Form:
    """How a table of numbers is written."""

    delimiter: str = ","
    decimal: str = "."
    end: str = "\n"
    encoding: str = "utf-8"
    group: str = ""
    power: bool = False
    quoted: bool = False
    above: str = ""
    trailing: bool = False


FORMS = {
    "comma": Form(),
    "tab": Form(delimiter="\t"),
    "semicolon and decimal comma": Form(delimiter=";", decimal=","),
    "tab and decimal comma": Form(delimiter="\t", decimal=","),
    "blanks": Form(delimiter="   "),
    "blanks and decimal comma": Form(delimiter=" ", decimal=","),
    "mark of UTF-8 and CRLF": Form(delimiter=";", encoding="utf-8-sig", end="\r\n"),
    "UTF-16": Form(delimiter="\t", decimal=",", encoding="utf-16", end="\r\n"),
    "UTF-16 without a mark": Form(delimiter=";", encoding="utf-16-le"),
    "UTF-32": Form(delimiter=";", encoding="utf-32"),
    "carriage returns alone": Form(end="\r"),
    "groups of three": Form(delimiter=";", group=","),
    "groups of three with decimal comma": Form(delimiter=";", decimal=",", group="."),
    "groups of three with thin blanks": Form(delimiter=";", decimal=",", group="\u202f"),
    "powers of ten": Form(power=True),
    "quoted": Form(quoted=True),
    "quoted with decimal comma": Form(decimal=",", quoted=True),
    "lines of a device above": Form(delimiter=";", decimal=",", above="Logger 7\n\nFirmware;1,2\nOperator: A.\n"),
    "comment lines above": Form(above="# my bench\n# second try\n"),
    "sign behind every row": Form(trailing=True),
}


@dataclass(frozen=True)
class Case:
    """One kind: its headings, numbers as plain text, and how to say what it is where there are no headings."""

    headings: tuple[str, ...]
    rows: Rows
    said: dict[str, Any]


def column(texts: Sequence[str]) -> Rows:
    return [[text] for text in texts]


TIMES = ["0.25", "1.5", "2.875", "1004.5", "2009.125"]
SPEEDS = [["0.5", "1691.5"], ["2.25", "1638.25"], ["4.5", "1590.75"], ["1200.25", "545.5"]]
CASES = {
    "times in s": Case(("time [s]",), column(TIMES), {"kind": "passes", "unit": "s"}),
    "times in ms": Case(("Zeit (ms)",), column(TIMES), {"kind": "passes", "unit": "ms"}),
    "times in µs": Case(("t_us",), column(TIMES), {"columns": ["time [us]"]}),
    "times and marks": Case(
        ("time [s]", "mark"),
        [[time, str(i % 3)] for i, time in enumerate(TIMES)],
        {"columns": ["time [s]", "mark"]},
    ),
    "both edges": Case(
        ("on [ms]", "off [ms]"),
        [["1.5", "1.75"], ["7.25", "8.5"], ["2000.5", "2002.25"]],
        {"columns": ["time [ms]", "end [ms]"]},
    ),
    "intervals": Case(("interval [ms]",), column(TIMES), {"kind": "intervals", "unit": "ms"}),
    "times and counts": Case(
        ("temps [s]", "compteur"), [[t, str(7 + i)] for i, t in enumerate(TIMES)], {"columns": ["time [s]", "count"]}
    ),
    "speeds in r/min": Case(("time [s]", "speed [rpm]"), SPEEDS, {"kind": "speeds", "unit": "s, r/min"}),
    "speeds in rad/s": Case(("Zeit [s]", "ω [rad/s]"), SPEEDS, {"kind": "speeds", "unit": "s; rad/s"}),
    "speeds in 1/s": Case(("t [min]", "Drehzahl [1/s]"), SPEEDS, {"kind": "speeds", "unit": "min, turns/s"}),
    "speeds with errors": Case(
        ("t [s]", "w [rpm]", "error"),
        [[*row, "2.5"] for row in SPEEDS],
        {"columns": ["t [s]", "speed [rpm]", "error"]},
    ),
    "angles in degrees": Case(
        ("time [s]", "angle [deg]"),
        [["0.5", "-90.25"], ["1.5", "12.5"], ["1002.5", "1350.75"]],
        {"kind": "angles", "unit": "s, °"},
    ),
    "positions": Case(
        ("t [s]", "x", "y"),
        [["0.5", "-2.25", "12.5"], ["1.5", "3.5", "1001.25"], ["2.5", "4.5", "7.75"]],
        {"kind": "positions", "unit": "s"},
    ),
}


def written(text: str, form: Form) -> str:
    """Write a plain number in another form."""
    if form.power and "." in text:
        return f"{float(text):.9E}"
    sign = "-" if text.startswith("-") else ""
    whole, point, rest = text.lstrip("-").partition(".")
    if form.group and len(whole) > 3:
        whole = f"{whole[:-3]}{form.group}{whole[-3:]}"
    return sign + whole + (form.decimal + rest if point else "")


def file_of(case: Case, form: Form, *, headed: bool) -> bytes:
    """Write a recording."""
    rows = [[written(cell, form) for cell in row] for row in case.rows]
    # a heading with blanks inside cannot stand in a table that has blanks between its cells
    headings = [text.replace(" ", "") if form.delimiter.isspace() else text for text in case.headings]
    lines = [*([headings] if headed else []), *rows]
    if form.quoted:
        out = StringIO()
        csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(lines)
        text = out.getvalue()
    else:
        behind = form.delimiter if form.trailing else ""
        text = "".join(form.delimiter.join(line) + behind + "\n" for line in lines)
    return (form.above + text).replace("\n", form.end).encode(form.encoding)


def arrays(recording: Recording) -> dict[str, NDArray[Any]]:
    """All arrays of a series by name."""
    series = recording.series
    return {
        name: getattr(series, name)
        for name in type(series).__dataclass_fields__
        if isinstance(getattr(series, name), np.ndarray)
    }


def expected(name: str) -> tuple[type, dict[str, NDArray[Any]]]:
    """What a case holds, by numpy.loadtxt and exact factors."""
    plain = StringIO("\n".join(" ".join(row) for row in CASES[name].rows))
    table = np.loadtxt(plain, ndmin=2).T
    turn = 2 * np.pi
    if name == "intervals":
        return Passes, {"times": np.concatenate(([0.0], np.cumsum(table[0]))) * 0.001}
    if name.startswith("times") or name == "both edges":
        factor = {"times in ms": 0.001, "both edges": 0.001, "times in µs": 1e-6}.get(name, 1.0)
        found = {"times": table[0] * factor}
        beside = {"times and marks": "mark", "times and counts": "counts"}.get(name)
        return Passes, found | (
            {beside: table[1]} if beside else {"ends": table[-1] * factor} if len(table) > 1 else {}
        )
    if name == "positions":
        return PositionTrack, {"times": table[0], "x": table[1], "y": table[2]}
    if name == "angles in degrees":
        return AngleTrack, {"times": table[0], "angles": table[1] * (np.pi / 180)}
    factor = {"speeds in rad/s": 1.0, "speeds in 1/s": turn}.get(name, turn / 60)
    found = {"times": table[0] * (60.0 if name == "speeds in 1/s" else 1.0), "speeds": table[1] * factor}
    return SpeedTable, found | ({"standard_uncertainty": table[2] * factor} if len(table) > 2 else {})


def require_same(recording: Recording, name: str) -> None:
    """Hold a recording against the outside reading: same arrays, and no others."""
    kind, wanted = expected(name)
    assert type(recording.series) is kind
    found = arrays(recording)
    assert set(found) == set(wanted)
    for key, values in wanted.items():
        np.testing.assert_allclose(found[key], values, rtol=4e-16, atol=0)  # one rounding in the factor


class TestEveryKindInEveryFormIsTheSame:
    @pytest.mark.parametrize("form", FORMS)
    @pytest.mark.parametrize("name", CASES)
    def test_with_headings(self, name: str, form: str) -> None:
        recording = read_recording(BytesIO(file_of(CASES[name], FORMS[form], headed=True)))
        require_same(recording, name)
        assert recording.findings == ()
        assert len(recording.said) > 1

    @pytest.mark.parametrize("form", [form for form in FORMS if not FORMS[form].above])
    @pytest.mark.parametrize("name", CASES)
    def test_without_headings_but_said(self, name: str, form: str) -> None:
        content = file_of(CASES[name], FORMS[form], headed=False)
        said = {"decimal": FORMS[form].decimal, **CASES[name].said}
        require_same(read_recording(BytesIO(content), **said), name)

    @pytest.mark.parametrize("name", CASES)
    def test_in_a_spreadsheet(self, name: str) -> None:
        book = openpyxl.Workbook()
        sheet = book.active
        assert sheet is not None
        for row in (CASES[name].headings, *[[float(cell) for cell in row] for row in CASES[name].rows]):
            sheet.append(list(row))
        content = BytesIO()
        book.save(content)
        require_same(read_recording(BytesIO(content.getvalue())), name)

    def test_cut_into_blocks_anywhere(self) -> None:
        # more lines than fit in one block, so that a block ends inside a line and inside a line end
        times = np.cumsum(np.random.default_rng(5).integers(1, 9000, 60_000)) / 1e4
        text = "time [s]\r\n" + "".join(f"{time:.4f}\r\n" for time in times)
        passes = read_recording(BytesIO(text.encode())).series
        assert isinstance(passes, Passes)
        np.testing.assert_array_equal(passes.times, np.loadtxt(StringIO(text), skiprows=1))
        assert passes.timing.resolution == pytest.approx(1e-4, rel=1e-12)


class TestWhatTheHeadingsSay:
    def read(self, text: str, **said: Any) -> Recording:
        return read_recording(BytesIO(text.encode()), **said)

    def test_an_error_in_the_heading_counts_for_every_speed(self) -> None:
        table = self.read("Zeit [min]\tw[rpm] fehler: +/-2\n0\t691\n2\t638\n").series
        assert isinstance(table, SpeedTable)
        assert table.standard_uncertainty is not None
        np.testing.assert_allclose(table.standard_uncertainty, 2 * np.pi / 30, rtol=1e-15)

    def test_units_in_a_line_of_their_own(self) -> None:
        table = self.read("Time,Speed\n(ms),(rpm)\n\n0.5,60\n700,30\n").series
        assert isinstance(table, SpeedTable)
        np.testing.assert_allclose(table.times, [0.0005, 0.7], rtol=1e-15)
        np.testing.assert_allclose(table.speeds, [2 * np.pi, np.pi], rtol=1e-15)

    def test_one_column_for_each_mark_may_be_shorter(self) -> None:
        passes = self.read("mark 1 [s];mark 2 [s]\n1,5;1,6\n1,7;1,8\n1,9;\n").series
        assert isinstance(passes, Passes)
        assert passes.mark is not None
        assert passes.times.tolist() == [1.5, 1.6, 1.7, 1.8, 1.9]
        assert passes.mark.tolist() == [0, 1, 0, 1, 0]

    @pytest.mark.parametrize("cells", ["0 1 0 0 1", "- 2 - - 5"])
    def test_a_trigger_is_flagged_or_has_times_of_its_own(self, cells: str) -> None:
        flags = [cell.strip("-") for cell in cells.split()]
        passes = self.read("time [s],trigger\n" + "".join(f"{i},{flag}\n" for i, flag in enumerate(flags, 1))).series
        assert isinstance(passes, Passes)
        assert passes.triggers is not None
        assert passes.triggers.tolist() == [2.0, 5.0]

    def test_a_mark_that_was_not_told_is_minus_one(self) -> None:
        passes = self.read("time [s],mark\n1.5,0\n2.5,\n3.5,1\n").series
        assert isinstance(passes, Passes)
        assert passes.mark is not None
        assert passes.mark.tolist() == [0, -1, 1]

    def test_both_edges_in_one_column_are_paired(self) -> None:
        passes = self.read("Time [s],Channel 0\n0.1,1\n0.2,0\n0.5,1\n0.55,0\n0.9,1\n").series
        assert isinstance(passes, Passes)
        assert passes.ends is not None
        assert passes.times.tolist() == [0.1, 0.5, 0.9]
        np.testing.assert_array_equal(passes.ends, [0.2, 0.55, np.nan])

    def test_taps_on_a_stopwatch_are_passes_by_hand(self) -> None:
        passes = self.read("0:01.22\n0:02.33\n0:59.90\n1:03.55\n").series
        assert isinstance(passes, Passes)
        assert passes.timing.clock is Clock.HAND
        np.testing.assert_allclose(passes.times, [1.22, 2.33, 59.9, 63.55], rtol=1e-15)

    def test_dates_count_from_the_first_midnight(self) -> None:
        table = self.read("time;speed [rpm]\n2026-03-01 23:59:59.5;60\n2026-03-02 00:00:01;30\n").series
        assert isinstance(table, SpeedTable)
        np.testing.assert_allclose(table.times, [86399.5, 86401.0], rtol=1e-15)

    def test_times_stay_as_recorded(self) -> None:
        # a clock that starts again, stamps that repeat: repairs are not the reader's
        passes = self.read("time [s]\n5\n6\n6\n0.5\n1.5\n").series
        assert isinstance(passes, Passes)
        assert passes.times.tolist() == [5.0, 6.0, 6.0, 0.5, 1.5]

    def test_what_is_said_goes_before_the_heading(self) -> None:
        passes = self.read("time [s]\n5\n6\n", unit="ms").series
        assert isinstance(passes, Passes)
        np.testing.assert_allclose(passes.times, [0.005, 0.006], rtol=1e-15)

    def test_a_rate_above_the_numbers_gives_the_times(self) -> None:
        track = self.read("sample rate: 250 Hz\nangle [deg]\n-3.5\n-4.5\n-5.25\n").series
        assert isinstance(track, AngleTrack)
        assert track.times.tolist() == [0.0, 0.004, 0.008]

    def test_columns_that_do_not_count_may_hold_text(self) -> None:
        table = self.read("time [s],note,speed [rpm]\n1,start,60\n2,,30\n").series
        assert isinstance(table, SpeedTable)
        assert table.times.tolist() == [1.0, 2.0]


class TestDoubtIsAQuestion:
    @pytest.mark.parametrize(
        ("text", "choices"),
        [
            ("0.12\n0.30\n0.60\n50.00\n300.00\n", ("s", "ms")),
            ("time\n0\n100000\n900000\n", ("ms", "µs")),
            ("5.25\n5.75\n6.5\n", ("passes", "intervals")),
            ("0.5\n0.4\n0.6\n", ("passes", "intervals")),
            ("0.5\n-0.4\n0.6\n", ("angles", "waveform")),
            ("time [s],speed\n0,5\n1,4\n", ("r/min", "rad/s", "turns/s", "°/s")),
            ("time [s],speed [1/s]\n0,5\n1,4\n", ("turns/s", "rad/s")),
            ("time [s],f [Hz]\n0,5\n1,4\n", ("turns/s", "rad/s")),
            ("time [s],angle\n0,5\n1,4\n", ("°", "rad", "turns")),
            ("time [s],speed x [rpm],speed y [rpm]\n0,5,6\n1,4,6\n", ("speed x [rpm]", "speed y [rpm]")),
            ("time [s],speed [rpm],angle [deg]\n0,5,6\n1,4,6\n", ("speed", "angle")),
            ("12,34\n12,55\n", ("one number with a decimal comma", "two whole numbers")),
            ("1 234\n1 250\n", ("one number in groups of three digits", "several numbers")),
            ("time [s]\n1,234\n2,345\n", ("1.234", "1234")),
            (
                "1.5;7\n2.5;8\n",
                ("passes", "intervals", "speeds", "angles", "positions", "waveform", "releases"),
            ),
        ],
    )
    def test_what_could_be_meant_is_named(self, text: str, choices: tuple[str, ...]) -> None:
        with pytest.raises(ChoiceNeeded) as asked:
            read_recording(BytesIO(text.encode()))
        assert asked.value.choices == choices
        assert asked.value.remedy.endswith(".")

    def test_the_question_can_be_answered(self) -> None:
        content = b"0.12\n0.30\n0.60\n50.00\n300.00\n"
        for unit, last in (("s", 300.0), ("ms", 0.3)):
            passes = read_recording(BytesIO(content), unit=unit).series
            assert isinstance(passes, Passes)
            assert passes.times[-1] == pytest.approx(last, rel=1e-15)


DECIMALS = st.builds(
    lambda negative, whole, places: f"{'-' if negative else ''}{whole}" + (f".{places}" if places else ""),
    st.booleans(),
    st.integers(0, 10**7),
    st.text("0123456789", max_size=7),
)


class TestNumbersAreReadAsTheyWereWritten:
    @given(st.lists(DECIMALS, min_size=1, max_size=30))
    def test_plain_decimals_are_the_nearest_floats(self, texts: list[str]) -> None:
        found = parse_plain_decimals("".join(f"{text}\n" for text in texts).encode(), b"\n")
        assert found is not None
        np.testing.assert_array_equal(found, [float(text) for text in texts])

    @given(st.binary(max_size=40))
    def test_other_bytes_are_left_to_others(self, content: bytes) -> None:
        found = parse_plain_decimals(content + b"\n", b"\n")
        if found is not None:  # then every line is a number to Python too
            np.testing.assert_array_equal(found, [float(line) for line in content.split(b"\n")])

    @settings(max_examples=60, deadline=None)
    @given(
        st.lists(st.tuples(st.integers(0, 10**9), st.integers(-(10**6), 10**6)), min_size=3, max_size=40),
        st.sampled_from([";", "\t", ","]),
        st.sampled_from([".", ","]),
    )
    def test_a_table_of_angles_goes_round(self, rows: list[tuple[int, int]], delimiter: str, decimal: str) -> None:
        cells = [(f"{time / 1e4:.4f}", f"{angle / 1e3:.3f}") for time, angle in rows]
        out = StringIO()
        texts = [[cell.replace(".", decimal) for cell in row] for row in cells]
        csv.writer(out, delimiter=delimiter).writerows([["time [s]", "angle [rad]"], *texts])
        track = read_recording(BytesIO(out.getvalue().encode()), decimal=decimal).series
        assert isinstance(track, AngleTrack)
        plain = np.loadtxt(StringIO("\n".join(" ".join(row) for row in cells)), ndmin=2)
        np.testing.assert_array_equal(np.column_stack((track.times, track.angles)), plain)
