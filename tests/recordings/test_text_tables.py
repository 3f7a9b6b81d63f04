"""Bytes to cells, held against the rules of RFC 4180 and the reader and writer of the standard library."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truerun.recordings.text_tables import decode_text, detect_delimiter, read_text_table, split_cells


class TestCells:
    @pytest.mark.parametrize(
        ("text", "cells"),
        [
            ("aaa,bbb,ccc", ["aaa", "bbb", "ccc"]),  # RFC 4180, section 2, rule 4
            ('"aaa","bbb","ccc"', ["aaa", "bbb", "ccc"]),  # rule 5
            ('zzz,"b\nbb",ccc', ["zzz", "b\nbb", "ccc"]),  # rule 6, a line break inside quotes
            ('"aaa","b""bb","ccc"', ["aaa", 'b"bb', "ccc"]),  # rule 7
            ('11 3/8" ,b', ['11 3/8"', "b"]),  # a quote inside a cell that does not begin with one is a sign of its own
            (" \u00a0a ,, ", ["a", "", ""]),
        ],
    )
    def test_follow_the_rules(self, text: str, cells: list[str]) -> None:
        assert split_cells(text, ",") == cells

    def test_of_an_open_quote_wait_for_the_next_line(self) -> None:
        assert split_cells('1,"arc', ",") is None

    # Cells as a spreadsheet writes them, without outer blanks (those are taken off) and odd control characters.
    written = st.lists(
        st.text(st.characters(exclude_categories=["C", "Z"], include_characters=" "), max_size=8).map(str.strip),
        min_size=1,
        max_size=5,
    )

    @given(row=written, delimiter=st.sampled_from([",", ";", "\t"]))
    def test_are_those_that_the_standard_library_wrote(self, row: list[str], delimiter: str) -> None:
        file = io.StringIO()
        csv.writer(file, delimiter=delimiter, lineterminator="").writerow(row)
        assert split_cells(file.getvalue(), delimiter) == row

    @given(text=st.text(st.sampled_from('ab ,;"\t'), min_size=1, max_size=12))
    def test_that_the_standard_library_reads_strictly_are_the_same(self, text: str) -> None:
        try:
            expected = next(csv.reader([text], skipinitialspace=True, strict=True), [""])
            cells = split_cells(text, ",")
        except (csv.Error, ValueError):
            return  # refused by one of the two; what ours refuses is tested by sentence
        if cells is not None:
            assert cells == [cell.strip() for cell in expected]


class TestLines:
    def test_are_numbered_as_in_an_editor(self) -> None:
        grid = read_text_table(b'# one\n\nrun,note\n1,"a\nb"\n;;,\n2,c\n', "t.csv")
        assert [(line.number, line.cells) for line in grid.lines] == [
            (3, ("run", "note")),
            (4, ("1", "a\nb")),
            (7, ("2", "c")),
        ]

    def test_a_lone_sign_of_number_is_a_heading(self) -> None:
        assert read_text_table(b"#,time\n1,61\n", "t.csv").lines[0].cells == ("#", "time")

    def test_the_mark_that_old_systems_put_at_the_end_of_a_file_is_dropped(self) -> None:
        assert decode_text(b"run\n1\n\x1a", "t.csv")[0] == "run\n1\n"


class TestDelimiter:
    @pytest.mark.parametrize(
        ("lines", "delimiter"),
        [
            (["a;b;c", "1,5;2,5;3,5"], ";"),
            (["a\tb", "1,5\t2;5"], "\t"),
            (["a,b,c", "1,x; y,2", "2,x,3"], ","),
            (["time, s;condition", "61,2;in", "59,1;out"], ";"),
            (["a title; of the table", "run,condition", "1,in", "2,out"], ","),
            (["one column"], ","),
            ([], ","),
        ],
    )
    def test_a_decimal_comma_never_wins(self, lines: list[str], delimiter: str) -> None:
        assert detect_delimiter(lines) == delimiter


class TestEncoding:
    @pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
    @given(words=st.lists(st.sampled_from(["Bögen", "draußen", "61,2", "été", "Ñandú", "€ 5"]), min_size=4, max_size=9))
    def test_is_found(self, encoding: str, words: list[str]) -> None:
        text = ";".join(words) + "\n"
        assert decode_text(text.encode(encoding), "t.csv")[0] == text
