"""What no reader can read, and the sentence that says so; what is harmless at the end of a file."""

import contextlib
import hashlib
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truerun.errors import RecordingUnreadable, TruerunError, ValueOutOfRange
from truerun.recordings.recording import read_recording
from truerun.series import Passes, SpeedTable

WAVE = "time [s],CH1 [V]\n" + "".join(f"{i / 1000:.3f},{5 * (i % 50 < 5)}\n" for i in range(1000))

BAD = {
    "nothing": (b"", "", "the file is empty"),
    "blank lines": (b"\n\n  \n", "", "there is nothing in it"),
    "words": (b"Dear reader,\nthis is a letter.\n", "line 1", 'it begins with "Dear reader,"'),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00" * 9, "", "the file is not text"),
    "headings alone": (b"time [s],speed [rpm]\n", "line 1", "there are no rows of numbers"),
    "a word for a time": (b"time [s]\n1.5\noverflow\n2.5\n", "line 3", '"time [s]" is "overflow"; it must be a number'),
    "a word for the first time": (b"time [s]\noverflow\n1.5\n2.5\n", "line 2", 'below the headings stands "overflow"'),
    "a slip of the keys": (b"time [s]\n1.5\n10x4\n2.5\n", "line 3", '"time [s]" is "10x4"'),
    "two decimal signs": (b"time [s];mark\n1.5;1\n2,5;2\n", "lines 2 and 3", "Write one decimal sign"),
    "a comma among points, far down": (b"time [s]\n" + b"1.5\n" * 900 + b"2,5\n", "line 902", "a decimal point"),
    "an empty cell": (b"time [s],speed [rpm]\n1,60\n2,\n3,50\n", "line 3", '"speed [rpm]" is missing'),
    "not a number": (b"time [s],speed [rpm]\n1,60\n2,nan\n3,50\n", "line 3", '"speed [rpm]" is "nan"'),
    "infinite": (b"time [s],speed [rpm]\n1,60\n2,inf\n3,50\n", "line 3", '"speed [rpm]" is "inf"'),
    "beyond what can be measured": (b"time [s],x,y\n1,6,1\n2,1e308,2\n3,5,3\n", "line 3", "no number beyond 1e+20"),
    "a time that no clock tells from 0": (b"time [s],speed [rpm]\n1e-300,60\n1,55\n3,50\n", "", "time 1 in the column"),
    "an infinite mark": (b"time [s],mark\n1,0\n2,inf\n3,1\n", "line 3", '"mark" is "inf"'),
    "a mark that no whole number holds": (b"time [s],mark\n1,0\n2,1e16\n3,1\n", "", "of at most 15 digits"),
    "a voltage that single precision cannot hold": (
        WAVE.replace("0.500,5\n", "0.500,1e39\n").encode(),
        "line 502",
        "no number beyond 1e+20",
    ),
    "underscores": (b"time [s]\n1.5\n1_000\n2.5\n", "line 3", '"1_000"'),
    "a cell too many": (b"time [s],speed [rpm]\n1,60\n2,55,9\n3,50\n", "line 3", "has 3 cells; the others have 2"),
    "two recordings": (b"time [s],mark\n1,0\n2,1\ntime [s],mark\n1,0\n", "line 4", "the headings come once more"),
    "an open quote": (b'time [s],mark\n1,0\n"2,1\n3,0\n', "line 3", "a quote opens a cell"),
    "half a mark": (b"time [s],mark\n1,0\n2,1.5\n3,1\n", "", "it must be a whole number"),
    "three levels of an edge": (b"time [s],edge\n1,0\n2,1\n3,2\n", "", "it must hold two"),
    "an interval that is negative": (b"interval [s]\n1\n2\n-1\n", "", "interval 3 is -1; it must be positive"),
    "speeds without times": (b"run,rpm\n0,3.5\n1,7.5\n", "", "a column of speed and none of times"),
    "a gap in a waveform": (
        WAVE.replace("0.500,5\n", "").encode(),
        "line 502",
        "the time goes on by 0.002, where the steps before were 0.001",
    ),
    "a flat waveform": (b"time [s],CH1 [V]\n" + b"".join(b"%d,0.5\n" % i for i in range(99)), "", "between two levels"),
    "not UTF-8, far down": (b"time [s]\n" + b"1.25\n" * 60_000 + b"\xff\xfe\n", "line 60002", "the line is not text"),
}

SEEDS = [
    "Zeit [ms];Marke;Zähler\r\n0,5;1;7\r\n250,5;2;8\r\n1.250,5;2;9\r\n".encode(),
    "t [s]\tx\ty\n1\t2\t3\n2\t3\t4\n".encode("utf-16"),
    b"0:01.2\n0:02.3\n1:02.5\n",
    b"sample rate: 100 Hz\nangle [deg]\n-1.5\n2.5\n3\n",
    b"time;state\n2026-03-01 10:05:30.1;1\n2026-03-01 10:05:31.1;0\n",
    WAVE.encode(),
]


class TestWhatCannotBeReadIsSaidWithItsPlace:
    @pytest.mark.parametrize("name", BAD)
    def test_the_sentence(self, name: str, tmp_path: Path) -> None:
        content, where, sentence = BAD[name]
        path = tmp_path / "run.csv"
        path.write_bytes(content)
        with pytest.raises(RecordingUnreadable) as refused:
            read_recording(path)
        assert (refused.value.path, refused.value.where) == (str(path), where)
        assert sentence in refused.value.what
        assert refused.value.what.endswith(".")

    def test_no_such_file(self, tmp_path: Path) -> None:
        with pytest.raises(RecordingUnreadable, match="there is no such file"):
            read_recording(tmp_path / "absent.csv")

    def test_a_folder(self, tmp_path: Path) -> None:
        with pytest.raises(RecordingUnreadable, match="it cannot be opened"):
            read_recording(tmp_path)

    def test_two_sheets(self) -> None:
        book = openpyxl.Workbook()
        for sheet in (book.active, book.create_sheet("second")):
            assert sheet is not None
            sheet.append(["time [s]"])
            sheet.append([1.5])
        content = BytesIO()
        book.save(content)
        with pytest.raises(RecordingUnreadable, match='"Sheet", "second"; a recording has one'):
            read_recording(BytesIO(content.getvalue()))

    @pytest.mark.parametrize(
        ("said", "sentence"),
        [
            ({"kind": "video"}, 'kind is "video"; it must be one of "passes", "intervals"'),
            ({"unit": "furlong"}, 'unit is "furlong"; it must be a unit of time, speed, angle'),
            ({"decimal": "'"}, 'decimal is "\'"; it must be "." or ","'),
            ({"columns": ["time"]}, "columns is 1 names for the 2 columns of"),
        ],
    )
    def test_arguments_that_are_no_words_of_ours(self, said: dict[str, Any], sentence: str) -> None:
        with pytest.raises(ValueOutOfRange, match=sentence.replace("(", r"\(")):
            read_recording(BytesIO(b"time [s],mark\n1.5,0\n2.5,1\n"), **said)

    def test_a_kind_whose_columns_are_not_there(self) -> None:
        with pytest.raises(RecordingUnreadable, match="there is no column of angle, which angles need"):
            read_recording(BytesIO(b"time [s],speed [rpm]\n1,60\n2,50\n"), kind="angles")


class TestNoReadingIsLostSilently:
    @given(st.integers(2, 12), st.data(), st.sampled_from(["oops", "1.5x", "--2", "1..2", "Error 7"]))
    def test_a_spoilt_cell_is_found_wherever_it_stands(self, rows: int, data: st.DataObject, cell: str) -> None:
        lines = [f"{i}.5;{60 - i}" for i in range(rows)]
        place = data.draw(st.integers(0, rows - 1))
        lines[place] = data.draw(st.sampled_from([f"{cell};50", f"7.5;{cell}"]))
        text = "\n".join(["time [s];speed [rpm]", *lines, ""])
        with pytest.raises(RecordingUnreadable) as refused:
            read_recording(BytesIO(text.encode()))
        assert refused.value.where == f"line {place + 2}"

    @settings(max_examples=150, deadline=None)
    @given(st.sampled_from(SEEDS), st.lists(st.tuples(st.integers(0, 200), st.binary(max_size=3)), max_size=5))
    def test_any_bytes_give_a_recording_or_a_sentence(self, seed: bytes, changes: list[tuple[int, bytes]]) -> None:
        content = bytearray(seed)
        for place, inserted in changes:
            content[place : place + 1] = inserted
        with contextlib.suppress(TruerunError):
            read_recording(BytesIO(bytes(content)))


class TestHowAFileEndsIsSaidButHarmless:
    def read(self, text: str) -> tuple[list[float], list[str]]:
        recording = read_recording(BytesIO(text.encode()))
        assert isinstance(recording.series, Passes | SpeedTable)
        return recording.series.times.tolist(), [found.check for found in recording.findings]

    @pytest.mark.parametrize("tail", ["", "\n", "\n\n\n", "# stopped\n", "\x00" * 50, "\x1a"])
    def test_nothing_is_said_of_blank_lines_comments_and_padding(self, tail: str) -> None:
        assert self.read(f"time [s],mark\n1,0\n2,1\n{tail}") == ([1.0, 2.0], [])

    def test_empty_rows_are_counted(self) -> None:
        recording = read_recording(BytesIO(b"time [s],mark\n1,0\n2,1\n,\n,\n,\n"))
        assert [(found.check, found.size) for found in recording.findings] == [("empty-tail", "3 rows")]

    def test_empty_rows_in_between_are_not_the_end(self) -> None:
        assert self.read("time [s],mark\n1,0\n,\n2,1\n") == ([1.0, 2.0], [])

    def test_a_last_line_that_breaks_off_is_left_out(self) -> None:
        assert self.read("time [s],speed [rpm]\n1,60\n2,50\n3") == ([1.0, 2.0], ["last-line-cut"])

    def test_a_whole_last_line_without_an_end_counts(self) -> None:
        assert self.read("time [s],speed [rpm]\n1,60\n2,50\n3,40") == ([1.0, 2.0, 3.0], [])


class TestTheDigestIsThatOfTheBytes:
    @pytest.mark.parametrize(
        "content", [b"time [s]\n1.5\n2.5\n", WAVE.encode(), b"time [s]\n" + b"1.5\n2.5\n" * 90_000]
    )
    def test_whatever_was_read(self, content: bytes) -> None:
        recording = read_recording(BytesIO(content))
        assert recording.digest == hashlib.sha256(content).hexdigest()  # FIPS 180-4
        assert recording.path is None
