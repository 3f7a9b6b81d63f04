"""Tables of runs as people have them: every format gives the same runs. All tables are invented."""

from __future__ import annotations

import datetime as dt
import hashlib
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import openpyxl
import pandas as pd  # type: ignore[import-untyped]
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from truerun.errors import ChoiceNeeded, RecordingUnreadable, TruerunError
from truerun.findings.finding import Severity
from truerun.recordings.run_tables import read_run_table
from truerun.series import Run, RunTable

HEADINGS = ("run", "condition", "time [s]", "attempt", "left_out", "seen", "session", "keeper", "temperature [°C]")
ROWS: tuple[tuple[Any, ...], ...] = (
    (1, "Bögen drin", 61.2, 1, "Schnur, verhakt", "no", "Monday", "A", 21.5),
    (1, "Bögen drin", 61.9, 2, None, "yes", "Monday", "A", 21.25),
    (2, "Bögen draußen", "2:03.4", 1, None, "yes", "Monday", "B", 21.5),
    (3, "Bögen draußen", "> 600", 1, None, "yes", "Tuesday", "B", -0.5),
    (4, "Bögen drin", None, 1, None, None, "Tuesday", None, None),
)


def run(slot: int, condition: str, value: float | None, temperature: float | None, **more: Any) -> Run:
    """Give one of the expected runs."""
    return Run(slot, condition, value, extra={"temperature": temperature}, **more)


EXPECTED = (
    run(1, "Bögen drin", 61.2, 21.5, left_out="Schnur, verhakt", seen=False, session="Monday", keeper="A"),
    run(1, "Bögen drin", 61.9, 21.25, attempt=2, seen=True, session="Monday", keeper="A"),
    run(2, "Bögen draußen", 123.4, 21.5, seen=True, session="Monday", keeper="B"),
    run(3, "Bögen draußen", 600.0, -0.5, unfinished=True, seen=True, session="Tuesday", keeper="B"),
    run(4, "Bögen drin", None, None, session="Tuesday"),
)
GERMAN = (
    "Lauf",
    "BEDINGUNG ",
    "Zeit (s)",
    "Versuch",
    "ausgelassen",
    "gesehen",
    "Sitzung",
    "Zeitnehmer",
    "Temperatur/°C",
)


def as_text(delimiter: str, decimal: str, headings: tuple[str, ...] = HEADINGS) -> str:
    """Write the table as a person or a spreadsheet would, quoted where needed."""

    def cell(value: object) -> str:
        text = "" if value is None else str(value)
        text = text.replace(".", decimal) if isinstance(value, float) or text.startswith("2:") else text
        return f'"{text}"' if delimiter in text else text

    return "".join(delimiter.join(cell(value) for value in row) + "\r\n" for row in (headings, *ROWS))


def as_xlsx() -> bytes:
    """Write the table with openpyxl, an independent writer of ISO/IEC 29500 workbooks."""
    book = openpyxl.Workbook()
    for row in (HEADINGS, *ROWS):
        book.active.append(row)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """Give the bytes of a workbook."""
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def as_ods() -> bytes:
    """Write the table with odfpy, an independent writer of ISO/IEC 26300 spreadsheets."""
    book = OpenDocumentSpreadsheet()
    table = Table(name="Runs")
    book.spreadsheet.addElement(table)
    for values in (HEADINGS, *ROWS):
        row = TableRow()
        table.addElement(row)
        for value in values:
            kind = {"valuetype": "float", "value": value} if isinstance(value, int | float) else {"valuetype": "string"}
            cell = TableCell(**(kind if value is not None else {}))
            if value is not None:
                cell.addElement(P(text=str(value)))
            row.addElement(cell)
    file = BytesIO()
    book.write(file)
    return file.getvalue()


def bare(table: RunTable) -> tuple[Run, ...]:
    """Give the runs without the lines they stood in."""
    return tuple(replace(run, line=None) for run in table.runs)


def renamed(runs: tuple[Run, ...], name: str) -> tuple[Run, ...]:
    """Give the runs with another name of the further column."""
    return tuple(replace(run, extra={name: run.extra["temperature"]}) for run in runs)


def columns() -> dict[str, list[Any]]:
    """Give the table as columns."""
    return {heading: [row[i] for row in ROWS] for i, heading in enumerate(HEADINGS)}


@pytest.fixture
def table_in(tmp_path: Path) -> Callable[..., RunTable]:
    """Write a file and read it."""

    def read(content: str | bytes, name: str = "times.csv", **choices: Any) -> RunTable:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_run_table(path, **choices)

    return read


FILES = {
    "comma": as_text(",", ".").encode(),
    "semicolon": as_text(";", ".").encode(),
    "semicolon, decimal comma": as_text(";", ",").encode(),
    "tab": as_text("\t", ".").encode(),
    "tab, decimal comma": as_text("\t", ",").encode(),
    "UTF-8 with byte-order mark": as_text(";", ",").encode("utf-8-sig"),
    "Latin-1": as_text(";", ",").encode("latin-1"),
    "UTF-16": as_text("\t", ",").encode("utf-16"),
    "UTF-16 without mark": as_text("\t", ",").encode("utf-16-le"),
    "UTF-16, big end first": b"\xfe\xff" + as_text("\t", ",").encode("utf-16-be"),
    "UTF-32": as_text(";", ",").encode("utf-32"),
    "decomposed accents": as_text(";", ",").replace("ö", "o\u0308").encode(),
    "old line ends": as_text(";", ",").replace("\r\n", "\r").encode(),
    "declared delimiter": b"sep=;\r\n" + as_text(";", ",").encode(),
    "blank and comment lines": as_text(",", ".").replace("\r\n", "\n\n# the bench, in May\n").encode(),
    "title above": b"Trial of the third of May; kitchen\n\n" + as_text(";", ",").encode(),
    "empty columns at the end": as_text(";", ",").replace("\r\n", ";;\r\n").encode(),
    "xlsx": as_xlsx(),
    "ods": as_ods(),
}


class TestEveryFormatGivesTheSameRuns:
    @pytest.mark.parametrize("name", FILES)
    def test_of_a_file(self, table_in: Callable[..., RunTable], name: str) -> None:
        table = table_in(FILES[name])
        assert bare(table) == EXPECTED
        assert (table.measure, table.unit, table.resolution) == ("time", "s", 0.1)
        assert table.extra_units == {"temperature": "°C"}
        assert table.digest == hashlib.sha256(FILES[name]).hexdigest()

    @pytest.mark.parametrize(
        "source",
        [
            pytest.param(pd.DataFrame(columns()), id="pandas"),
            pytest.param(pd.DataFrame(columns()).convert_dtypes(), id="pandas, own missing values"),
            pytest.param(pl.DataFrame(columns(), strict=False), id="polars"),
            pytest.param(columns(), id="columns"),
            pytest.param([dict(zip(HEADINGS, row, strict=True)) for row in ROWS], id="rows"),
        ],
    )
    def test_of_a_frame(self, source: Any) -> None:
        table = read_run_table(source)
        assert bare(table) == EXPECTED
        assert (table.path, table.digest, table.resolution) == (None, None, 0.1)

    def test_headings_in_german(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in(as_text(";", ",", GERMAN))
        assert bare(table) == renamed(EXPECTED, "Temperatur")
        assert table.measure == "Zeit"

    @pytest.mark.parametrize(
        "headings",
        ["essai;condition;temps [s]", "Ensayo;Condición;Tiempo (s)", "#;Zustand;t in s", "RUN No.;Cond ition;time_s"],
    )
    def test_headings_in_other_words(self, table_in: Callable[..., RunTable], headings: str) -> None:
        table = table_in(f"{headings}\n1;in;61,2\n2;out;59,0\n")
        assert [(run.slot, run.condition, run.value) for run in table.runs] == [(1, "in", 61.2), (2, "out", 59.0)]

    def test_a_guessed_encoding_is_noted_and_a_known_one_is_not(self, table_in: Callable[..., RunTable]) -> None:
        assert [found.check for found in table_in(FILES["Latin-1"]).findings] == ["encoding-guessed"]
        assert table_in(FILES["Latin-1"], encoding="latin-1").findings == ()
        assert table_in(FILES["UTF-16 without mark"]).findings == ()

    def test_a_title_above_the_headings_is_noted(self, table_in: Callable[..., RunTable]) -> None:
        (found,) = table_in(FILES["title above"]).findings
        assert found.sentence == "Line 1 above the headings of the table: not read."

    def test_lines_are_those_of_the_file(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in('run,condition,time [s],notes\n# warm\n1,in,61.2,"two\nlines"\n\n2,out,59,\n')
        assert [run.line for run in table.runs] == [3, 6]
        assert table.runs[0].extra == {"notes": "two\nlines"}


class TestTimes:
    @pytest.mark.parametrize(
        ("heading", "cell", "seconds"),
        [
            ("time [s]", "61.2", 61.2),
            ("time/ms", "61200", 61.2),
            ("t in min", "1.02", 61.2),
            ("time [h]", "0.5", 1800.0),
            ("Zeit in Minuten", "1.02", 61.2),
            ("time", "2:03.4", 123.4),
            ("time [min]", "2:03.4", 123.4),
            ("time (m:ss.s)", "2:03.4", 123.4),
            ("time", "1:02:03", 3723.0),
            ("time", "2 min 3.4 s", 123.4),
            ("time", "2m03s", 123.0),
            ("time", "1 h 2 min 3 s", 3723.0),
            ("time", "61.2 s", 61.2),
            ("time [min]", "61.2 s", 61.2),
            ("time (by the gate)", "61.2", 61.2),
        ],
    )
    def test_are_read_in_their_unit(
        self, table_in: Callable[..., RunTable], heading: str, cell: str, seconds: float
    ) -> None:
        table = table_in(f"run,condition,{heading}\n1,in,{cell}\n2,out,{cell}\n")
        assert [run.value for run in table.runs] == [seconds, seconds]
        assert table.unit == "s"

    @pytest.mark.parametrize(
        "cell",
        [
            "> 600",
            ">600 s",
            ">10 min",
            "≥ 600",
            "unfinished after 600",
            "Unfinished after 10:00",
            "600+",
            "läuft noch nach 600 s",
        ],
    )
    def test_of_unfinished_runs(self, table_in: Callable[..., RunTable], cell: str) -> None:
        table = table_in(f"run,condition,time [s]\n1,in,{cell}\n2,out,59.5\n")
        assert (table.runs[0].value, table.runs[0].unfinished) == (600.0, True)
        assert table.resolution == 0.5 / 5  # of the finished run alone

    def test_a_column_may_say_that_a_run_was_unfinished(self) -> None:
        """The table of a bundle and that of a report have such a column."""
        rows = {"run": [1, 2], "condition": ["in", "out"], "time [s]": [600.0, 61.2], "unfinished": ["yes", "no"]}
        table = read_run_table(rows)
        assert [(each.value, each.unfinished) for each in table.runs] == [(600.0, True), (61.2, False)]

    def test_another_word_in_that_column_is_refused(self) -> None:
        rows = {"run": [1, 2], "condition": ["in", "out"], "time [s]": [600.0, 61.2], "unfinished": ["soon", "no"]}
        with pytest.raises(RecordingUnreadable, match=r"unfinished is .soon.; it must be yes or no"):
            read_run_table(rows)

    @pytest.mark.parametrize(
        ("cells", "step"),
        [(("61.2", "59"), 0.1), (("61", "59"), 1.0), (("61.25", "59.0"), 0.01), (("2:03.40", "1:01"), 0.01)],
    )
    def test_keep_the_step_of_the_last_digit(
        self, table_in: Callable[..., RunTable], cells: tuple[str, str], step: float
    ) -> None:
        table = table_in(f"run,condition,time [s]\n1,in,{cells[0]}\n2,out,{cells[1]}\n")
        assert table.resolution == step

    def test_without_unit_are_seconds_with_a_note(self, table_in: Callable[..., RunTable]) -> None:
        (found,) = table_in("run,condition,time\n1,in,61.2\n2,out,59\n").findings
        assert (found.check, found.severity) == ("unit-assumed", Severity.NOTE)

    def test_with_colons_need_no_unit(self, table_in: Callable[..., RunTable]) -> None:
        assert table_in("run,condition,time\n1,in,1:01.2\n2,out,0:59\n").findings == ()

    @pytest.mark.parametrize(("cell", "size"), [("0.02", "0.02 s"), ("123456", "34:17:36 (hours:minutes:seconds)")])
    def test_of_an_odd_size_without_unit_are_doubted(
        self, table_in: Callable[..., RunTable], cell: str, size: str
    ) -> None:
        (found,) = table_in(f"run,condition,time\n1,in,{cell}\n2,out,{cell}\n").findings
        assert (found.check, found.severity) == ("unit-doubtful", Severity.DOUBT)
        assert found.size == f"{size}, the middle one of the times"

    def test_of_an_odd_size_with_a_unit_are_not_doubted(self, table_in: Callable[..., RunTable]) -> None:
        assert table_in("run,condition,time [s]\n1,in,0.02\n2,out,0.03\n").findings == ()

    def test_at_the_end_may_be_missing(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,time [s]\n1,in,61.2\n2,out,\n3,in,\n")
        assert [run.value for run in table.runs] == [61.2, None, None]

    def test_may_all_be_missing_on_a_fresh_sheet(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,time [s]\n1,in,\n2,out,\n")
        assert [run.value for run in table.runs] == [None, None]
        assert table.resolution is None


class TestDecimalSign:
    def test_a_doubtful_comma_is_settled_by_its_column(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run;condition;time [s]\n1;in;1,234\n2;out;1,2\n")
        assert [run.value for run in table.runs] == [1.234, 1.2]

    def test_a_doubtful_comma_is_settled_as_thousands(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run;condition;time [s]\n1;in;1,234\n2;out;998.5\n")
        assert [run.value for run in table.runs] == [1234.0, 998.5]

    def test_a_doubtful_comma_is_settled_by_another_column(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run;condition;time [s];play\n1;in;1,234;0,5\n2;out;1,301;0,6\n")
        assert [run.value for run in table.runs] == [1.234, 1.301]

    @pytest.mark.parametrize(("decimal", "seconds"), [(",", 1.234), (".", 1234.0)])
    def test_a_doubtful_comma_is_settled_by_the_person(
        self, table_in: Callable[..., RunTable], decimal: str, seconds: float
    ) -> None:
        table = table_in("run;condition;time [s]\n1;in;1,234\n2;out;1,301\n", decimal=decimal)
        assert table.runs[0].value == seconds

    def test_a_comma_in_the_seconds_of_a_clock_time_is_clear(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run;condition;time\n1;in;2:13,456\n2;out;2:01,305\n")
        assert [run.value for run in table.runs] == [133.456, 121.305]

    def test_numbers_of_a_spreadsheet_have_no_decimal_sign(self, table_in: Callable[..., RunTable]) -> None:
        book = openpyxl.Workbook()
        for row in (("run", "condition", "time [s]"), (1, "in", 61.234), (2, "out", "59,1")):
            book.active.append(row)
        assert [run.value for run in table_in(saved(book), "times.xlsx").runs] == [61.234, 59.1]


class TestOrder:
    def test_lines_in_another_order_are_sorted(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,time [s]\n2,out,59.1\n3,in,60.3\n1,in,61.2\n")
        assert [(run.slot, run.value) for run in table.runs] == [(1, 61.2), (2, 59.1), (3, 60.3)]
        assert table.findings == ()

    def test_without_numbers_the_order_of_lines_is_taken_with_a_doubt(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("condition,time [s]\nin,61.2\nout,59.1\nin,61.2\n")
        assert [run.slot for run in table.runs] == [1, 2, 3]
        (found,) = table.findings
        assert (found.check, found.severity) == ("run-numbers-assumed", Severity.DOUBT)

    def test_without_numbers_attempts_share_a_slot(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("condition,time [s],attempt,left_out\nin,61.2,1,string caught\nin,60,2,\nout,59.1,1,\n")
        assert [(run.slot, run.attempt) for run in table.runs] == [(1, 1), (1, 2), (2, 1)]

    @pytest.mark.parametrize(
        ("starts", "contradicted"),
        [
            (("10:00", "10:20"), 0),
            (("10:20", "10:00"), 1),
            (("23:50", "0:10"), 0),
            (("2026-03-02 10:00", "2026-03-01 11:00"), 1),
            (("1.3.2026 10:00", "2.3.2026 9:00"), 0),
            (("2026-03-01T10:00:30+01:00", "2026-03-01T09:00:40+00:00"), 0),
            (("after lunch", "10:00"), 0),
        ],
    )
    def test_is_held_against_the_times_of_day(
        self, table_in: Callable[..., RunTable], starts: tuple[str, str], contradicted: int
    ) -> None:
        table = table_in(f"run,condition,time [s],started\n1,in,61.2,{starts[0]}\n2,out,59.1,{starts[1]}\n")
        assert [found.check for found in table.findings] == ["order-contradicted"] * contradicted

    def test_a_date_and_a_time_of_day_in_two_columns_are_read_together(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in(
            "run,condition,time [s],date,clock,Uhrzeit\n"
            "1,in,61.2,2026-03-01,,17:00\n2,out,59.1,2026-03-02,,9:00\n3,in,61.0,2026-03-02,,8:00\n"
        )
        (found,) = table.findings
        assert found.sentence == 'Run 3 was started before run 2, by the column "date".'


class TestOtherObservations:
    def test_turns(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,turns,time [s]\n1,in,41,61.2\n2,out,43.5,60\n", measure="Turns")
        assert [run.value for run in table.runs] == [41.0, 43.5]
        assert (table.measure, table.unit, table.runs[0].extra) == ("turns", None, {"time": 61.2})

    def test_an_energy_comes_in_joules_and_may_be_negative(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,work [mJ]\n1,in,-41\n2,out,43.5\n", measure="work")
        assert [run.value for run in table.runs] == [-0.041, 0.0435]
        assert (table.unit, table.resolution) == ("J", 0.0001)

    def test_recordings_with_their_marks(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,Aufnahme,marks\n1,in,runs/1.csv,12\n2,out,runs/2.csv,12\n3,in,,\n")
        assert [(run.recording, run.marks, run.value) for run in table.runs] == [
            ("runs/1.csv", 12, None),
            ("runs/2.csv", 12, None),
            (None, None, None),
        ]

    def test_one_of_two_time_columns_can_be_named(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,time (Kim),time (Lou)\n1,in,61,62\n2,out,59,60\n", measure="time (Lou)")
        assert [run.value for run in table.runs] == [62.0, 60.0]
        assert table.runs[0].extra == {"time (Kim)": 61.0}

    def test_conditions_may_be_numbers(self, table_in: Callable[..., RunTable]) -> None:
        assert table_in("run,condition,time [s]\n1,0,61\n2,1.0,62\n").conditions == ("0", "1.0")

    def test_a_no_under_left_out_is_no_reason(self, table_in: Callable[..., RunTable]) -> None:
        table = table_in("run,condition,time [s],left_out\n1,in,61,no\n2,out,62,-\n3,in,,wind\n4,out,60,\n")
        assert [run.left_out for run in table.runs] == [None, None, "wind", None]


class TestSpreadsheets:
    def sheet(
        self, *rows: tuple[Any, ...], title: str = "Runs", book: openpyxl.Workbook | None = None
    ) -> openpyxl.Workbook:
        book = book or openpyxl.Workbook()
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
        return book

    def test_the_sheet_with_the_headings_is_found(self, table_in: Callable[..., RunTable]) -> None:
        book = self.sheet(("part", "mass [g]"), ("rim", 212.0), title="Rig")
        self.sheet((), ("run", "condition", "time [s]"), (1, "in", 61.2), (2, "out", 59), book=book)
        table = table_in(saved(book), "bench.xlsx")
        assert [(run.value, run.line) for run in table.runs] == [(61.2, 3), (59.0, 4)]

    def test_of_two_tables_one_must_be_named(self, table_in: Callable[..., RunTable]) -> None:
        rows = (("run", "condition", "time [s]"), (1, "in", 61.2), (2, "out", 59))
        book = self.sheet(*rows, title="May", book=self.sheet(*rows, title="April"))
        with pytest.raises(
            ChoiceNeeded, match=r'bench.xlsx: the sheet could be "April" or "May"\. Name it with "sheet"\.'
        ):
            table_in(saved(book), "bench.xlsx")
        assert len(table_in(saved(book), "bench.xlsx", sheet="May").runs) == 2
        with pytest.raises(
            ChoiceNeeded, match=r'the sheet \(none that holds anything is named "June"\) could be "April"'
        ):
            table_in(saved(book), "bench.xlsx", sheet="June")

    def test_cells_kept_as_times_are_read_as_such(self, table_in: Callable[..., RunTable]) -> None:
        book = self.sheet(
            ("run", "condition", "time [min]"),
            (1, "in", dt.time(0, 2, 3, 400000)),
            (2, "out", dt.timedelta(hours=25, minutes=1, seconds=1)),
        )
        table = table_in(saved(book), "times.xlsx")
        assert [run.value for run in table.runs] == [123.4, 90061.0]
        assert table.resolution == 0.1

    def test_minutes_that_may_have_become_hours_are_asked_about(self, table_in: Callable[..., RunTable]) -> None:
        # Typed as 2:03, a spreadsheet keeps 2 h 3 min and still shows 02:03.
        book = self.sheet(("run", "condition", "time"), (1, "in", dt.time(2, 3)), (2, "out", dt.time(0, 1, 58, 500000)))
        with pytest.raises(ChoiceNeeded, match='row 2: the time "2:03:00" could be "2 h 3 min" or "2 min 3 s"'):
            table_in(saved(book), "times.xlsx")

    def test_whole_minutes_among_times_of_their_size_are_not_asked_about(
        self, table_in: Callable[..., RunTable]
    ) -> None:
        table = table_in("run,condition,time\n1,in,1:02:00\n2,out,1:01:37\n")
        assert [run.value for run in table.runs] == [3720.0, 3697.0]

    def test_a_date_where_a_time_should_be_is_refused(self, table_in: Callable[..., RunTable]) -> None:
        book = self.sheet(("run", "condition", "time [s]"), (1, "in", dt.date(2026, 5, 1)), (2, "out", 59))
        with pytest.raises(RecordingUnreadable, match='row 2: the time is "2026-05-01'):
            table_in(saved(book), "times.xlsx")

    def test_a_stray_cell_in_the_last_corner_is_refused_before_the_memory_fills(
        self, table_in: Callable[..., RunTable]
    ) -> None:
        book = self.sheet(("run", "condition", "time [s]"), (1, "in", 61.2), (2, "out", 59))
        book["Runs"]["XFD1048576"] = "x"  # the last cell that a sheet of this kind has (ISO/IEC 29500)
        with pytest.raises(RecordingUnreadable, match=r"Delete all rows and columns outside the table\."):
            table_in(saved(book), "times.xlsx")

    def test_a_row_repeated_to_the_end_of_a_sheet_is_refused(self, table_in: Callable[..., RunTable]) -> None:
        changed = BytesIO()
        with ZipFile(BytesIO(as_ods())) as book, ZipFile(changed, "w") as copy:
            for member in book.infolist():
                content = book.read(member)
                for tag, repeated in ((b"row", b"rows"), (b"cell", b"columns")):
                    start = b"<table:table-" + tag
                    content = content.replace(start, start + b" table:number-" + repeated + b'-repeated="16000"')
                copy.writestr(member.filename, content)
        with pytest.raises(RecordingUnreadable, match=r"Delete all rows and columns outside the table\."):
            table_in(changed.getvalue(), "times.ods")

    def test_a_locked_or_damaged_workbook_is_refused(self, table_in: Callable[..., RunTable]) -> None:
        for content in (as_xlsx()[:2000], b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)):
            with pytest.raises(RecordingUnreadable, match="the file is damaged, or no spreadsheet"):
                table_in(content, "times.xlsx")

    def test_without_the_library_the_way_out_is_named(
        self, table_in: Callable[..., RunTable], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setitem(sys.modules, "python_calamine", None)
        with pytest.raises(
            RecordingUnreadable, match=r"Install truerun\[spreadsheets\], or save the sheet as CSV, which works too\."
        ):
            table_in(as_xlsx(), "times.xlsx")


GOOD = as_text(",", ".").encode()
FOREIGN = [
    b"\x00",
    b"\xff",
    b'"',
    b",",
    b";",
    b"\n",
    b"\t",
    b"#",
    b"1,234",
    b"2:0",
    b"nan",
    b">",
    "é".encode(),
    b"[",
    b"(",
]


def answers(path: Path, content: bytes) -> None:
    """Hold the reader to its promise: a table, or one sentence that names the file."""
    path.write_bytes(content)
    try:
        table = read_run_table(path)
    except TruerunError as refusal:
        said = str(refusal)
    else:
        assert isinstance(table, RunTable)
        return
    assert said.startswith(str(path))
    assert said.endswith(".")
    assert len(said.splitlines()) == 1


class TestAnyBytesGiveATableOrASentence:
    # Hypothesis draws other bytes in every run; a failure is a mistake in the reader, never bad luck.
    quiet = settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

    @quiet
    @given(content=st.binary(max_size=300))
    def test_random_bytes(self, tmp_path: Path, content: bytes) -> None:
        answers(tmp_path / "times.csv", content)

    @quiet
    @given(text=st.text(max_size=200), head=st.sampled_from(["", "run,condition,time\n", "condition;time [s];x\n"]))
    def test_random_text(self, tmp_path: Path, text: str, head: str) -> None:
        answers(tmp_path / "times.csv", (head + text).encode("utf-8", "surrogatepass"))

    @quiet
    @given(
        kind=st.sampled_from(["comma", "semicolon, decimal comma", "UTF-16", "Latin-1"]),
        cuts=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), st.sampled_from([b"", *FOREIGN])), max_size=4),
    )
    def test_a_good_table_mutilated(self, tmp_path: Path, kind: str, cuts: list[tuple[float, int, bytes]]) -> None:
        content = FILES[kind]
        for place, length, put in cuts:
            start = int(place * len(content))
            content = content[:start] + put + content[start + length :]
        answers(tmp_path / "times.csv", content)

    @quiet
    @given(
        rows=st.lists(
            st.tuples(
                st.sampled_from(["1", "2", "3", "4", "", "0", "x"]),
                st.sampled_from(["in", "out", "In", "", "a b"]),
                st.sampled_from(["61.2", "59,1", "1,234", "> 600", "2:03.4", "", "nan", "0", "-1", "1e999", "9" * 400]),
            ),
            max_size=6,
        )
    )
    def test_rows_that_contradict_each_other(self, tmp_path: Path, rows: list[tuple[str, str, str]]) -> None:
        lines = ["run;condition;time", *(";".join(row) for row in rows)]
        answers(tmp_path / "times.csv", "\n".join(lines).encode())

    @quiet
    @given(
        kind=st.sampled_from(["xlsx", "ods"]),
        cuts=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=6),
    )
    def test_a_good_spreadsheet_mutilated(self, tmp_path: Path, kind: str, cuts: list[tuple[float, int]]) -> None:
        content = bytearray(FILES[kind])
        for place, byte in cuts:
            content[int(place * (len(content) - 1))] = byte
        answers(tmp_path / f"times.{kind}", bytes(content))


def test_importing_the_reader_pulls_nothing_heavy() -> None:
    heavy = ("pandas", "polars", "python_calamine", "pydantic", "numpy", "openpyxl")
    program = f"import sys, truerun.recordings.run_tables; print([name for name in {heavy} if name in sys.modules])"
    asked = [sys.executable, "-c", program]
    assert subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip() == "[]"
