"""Every table that cannot be read gives one exact sentence: what was found, what is allowed, what to do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pytest

from truerun.errors import ChoiceNeeded, RecordingUnreadable, TruerunError, ValueOutOfRange
from truerun.recordings.run_tables import read_run_table

HEAD = "run,condition,time [s]\n"
GOOD = f"{HEAD}1,arc in,61.2\n2,arc out,59.0\n"
TRIES = "run,condition,time [s],attempt,left_out\n"
BEGIN = "Begin with the headings run, condition, time [s] and write one run a line below them."
ANEW = "Number the runs 1, 2, 3, ... in the order in which they were made."
ATTEMPTS = "Number the attempts of a run 1, 2, ... in time."
PLAIN = "it must be written like 61.2, 2:03.4 or > 600. Write one number with a decimal point, then its unit."
ABOVE = "it must be above zero. Write the time that was read, or leave the cell empty."
NO_TEXT = "the file is not text. Save the table as CSV in UTF-8, or as .xlsx or .ods."
SAY = 'Say with "decimal" whether "." or "," is the decimal sign.'

# The table, and what follows the name of the file.
BAD: dict[str, tuple[str | bytes, str]] = {
    "empty file": ("", f": there is no table in it. {BEGIN}"),
    "blank lines": (" \n\n", f": there is no table in it. {BEGIN}"),
    "comments only": ("# my bench\n", f": there is no table in it. {BEGIN}"),
    "headings only": (HEAD, ": there are headings but no runs. Write one run a line below them."),
    "no headings": (
        "1,arc in,61.2\n2,arc out,59\n",
        f', line 1: this is no line of headings: "1", "arc in", "61.2". {BEGIN}',
    ),
    "no condition": (
        "run,time\n1,61\n",
        (
            ', line 1: there is no column "condition"; the headings are "run", "time". '
            'Name one of them "condition", or add that column.'
        ),
    ),
    "no time": (
        "run,condition,turns\n1,arc in,41\n",
        (
            ', line 1: there is no column "time"; the headings are "run", "condition", "turns". '
            'Name one of them "time", or add that column, or choose another with "measure".'
        ),
    ),
    "a heading twice": (
        "run,Condition,time,note,Note \n1,a,2,3,4\n",
        ', line 1: columns 4 and 5 have the same heading "Note". Rename one of them.',
    ),
    "a cell without heading": (
        "run,condition,time [s],,\n1,a,61,,5\n2,b,62,,\n",
        (
            ", line 2: the row has 5 cells; the headings are 3. "
            "If the comma is the decimal sign, put semicolons between the cells; else add the heading."
        ),
    ),
    "a cell under an empty heading": (
        "run,,condition,time [s]\n1,x,a,61\n2,,b,62\n",
        ', line 2: column 2 holds "x" and has no heading. Give the column a heading, or empty it.',
    ),
    "a row too long": (
        f"{GOOD}3,arc in,61,2\n",
        (
            ", line 4: the row has 4 cells; the headings are 3. "
            "If the comma is the decimal sign, put semicolons between the cells; else add the heading."
        ),
    ),
    "a row too short": (
        f"{GOOD}3,arc in\n",
        ", line 4: the row has 2 cells; the headings are 3. Add the cells that are missing, empty if need be.",
    ),
    "a time too long to wait for": (
        f"{GOOD}3,arc in,1e154\n",
        (
            ', line 4: the time is "1e154"; it must lie between 0.0001 and 1e+08 in SI units. '
            "Look for a slip of the keys, or for a wrong unit in the heading."
        ),
    ),
    "a time too short to stop": (
        f"{GOOD}3,arc in,1e-20\n",
        (
            ', line 4: the time is "1e-20"; it must lie between 0.0001 and 1e+08 in SI units. '
            "Look for a slip of the keys, or for a wrong unit in the heading."
        ),
    ),
    "a run twice": (
        f"{HEAD}1,arc in,61.2\n2,arc out,59\n\n1,arc in,60.1\n",
        (
            ", lines 2 and 5: both are run 1. "
            "Number each run once; for a run that was repeated, add a column attempt (1, 2, ...)."
        ),
    ),
    "the same row twice": (
        f"{GOOD}2,arc out,59.0\n",
        ", lines 3 and 4: both rows are the same. Take one of them out.",
    ),
    "a gap": (f"{GOOD}4,arc in,60\n", f", line 4: this is run 4, and there is no run 3. {ANEW}"),
    "no first run": (f"{HEAD}2,arc in,60\n3,arc out,61\n", f", line 2: this is run 2, and there is no run 1. {ANEW}"),
    "run zero": (f"{HEAD}0,arc in,60\n1,arc out,61\n", f", line 2: this is run 0; the first must be run 1. {ANEW}"),
    "an empty run": (
        f"{GOOD},arc in,61\n",
        ", line 4: the run is empty; it must be a whole number. Write 1, 2, 3, ...",
    ),
    "a run in words": (
        f"{GOOD}third,arc in,61\n",
        ', line 4: the run is "third"; it must be a whole number. Write 1, 2, 3, ...',
    ),
    "half a run": (
        f"{GOOD}2.5,arc in,61\n",
        ', line 4: the run is "2.5"; it must be a whole number. Write 1, 2, 3, ...',
    ),
    "an empty condition": (
        f"{GOOD}3,,61\n",
        ", line 4: the condition is empty. Write the name of one of the two conditions.",
    ),
    "one condition": (
        f"{HEAD}1,a,61\n2,a,62\n",
        ': the only condition is "a" (2 times); a comparison has two. Add the runs of the other condition.',
    ),
    "three conditions": (
        f"{GOOD}3,arc in,60\n4,arc out,61\n5,arc aut,62\n",
        (
            ', line 6: there are 3 conditions: "arc in" (2 times), "arc out" (2 times), "arc aut" (once); '
            "a comparison has two. Mend the names, or keep the runs of two conditions."
        ),
    ),
    "a condition in another case": (
        f"{GOOD}3,Arc  IN,60\n",
        (
            ', lines 2 and 4: the condition is "arc in" in one and "Arc  IN" in the other. '
            "Write it in one way, or give it another name."
        ),
    ),
    "a time of zero": (f"{GOOD}3,arc in,0\n", f', line 4: the time is "0"; {ABOVE}'),
    "a negative time": (f"{GOOD}3,arc in,-61.2\n", f', line 4: the time is "-61.2"; {ABOVE}'),
    "nan": (f"{GOOD}3,arc in,nan\n", f', line 4: the time is "nan"; {PLAIN}'),
    "inf": (f"{GOOD}3,arc in,inf\n", f', line 4: the time is "inf"; {PLAIN}'),
    "a word": (f"{GOOD}3,arc in,fast\n", f', line 4: the time is "fast"; {PLAIN}'),
    "unfinished without a number": (f"{GOOD}3,arc in,unfinished\n", f', line 4: the time is "unfinished"; {PLAIN}'),
    "a time in kilograms": (
        f"{GOOD}3,arc in,61 kg\n",
        ', line 4: the time is "61 kg"; it must be written like 61.2, 2:03.4 or > 600. kg is a unit of mass.',
    ),
    "a heading in kilograms": (
        "run,condition,time [kg]\n1,a,61\n2,b,62\n",
        ': the heading "time [kg]" names the unit "kg", which is not one known here for it. Write it like time [s].',
    ),
    "a bare number under m:ss": (
        "run,condition,time [m:ss]\n1,a,61\n2,b,1:02\n",
        (
            ', line 2: the time is "61" under the heading "time [m:ss]". '
            "Write it with colons, or name another unit in the heading."
        ),
    ),
    "a hole": (
        f"{GOOD}3,arc in,\n4,arc out,60\n",
        ', line 4: run 3 has nothing under "time", and later runs have. Write the time, or a reason under left_out.',
    ),
    "attempts that start at 2": (
        f"{TRIES}1,a,60,2,\n2,b,61,1,\n",
        f", line 2: this is attempt 2 of run 1; it must be attempt 1. {ATTEMPTS}",
    ),
    "an attempt skipped": (
        f"{TRIES}1,a,60,1,wind\n1,a,60,3,\n2,b,61,1,\n",
        f", line 3: this is attempt 3 of run 1; it must be attempt 2. {ATTEMPTS}",
    ),
    "an attempt twice": (
        f"{TRIES}1,a,60,1,wind\n1,a,61,1,\n2,b,61,1,\n",
        f", lines 2 and 3: both are run 1, attempt 1. {ATTEMPTS}",
    ),
    "an attempt without a reason": (
        f"{TRIES}1,a,60,1,\n1,a,61,2,\n2,b,61,1,\n",
        (
            ", line 2: attempt 1 of run 1 was followed by another and has no reason. "
            "Write under left_out why it does not count."
        ),
    ),
    "a yes for a reason": (
        f"{TRIES}1,a,60,1,yes\n1,a,61,2,\n2,b,61,1,\n",
        (
            ', line 2: left_out is "yes"; it must be a reason in words. '
            'Write, for example, "string caught"; else leave it empty.'
        ),
    ),
    "perhaps seen": (
        "run,condition,time [s],seen\n1,a,60,perhaps\n2,b,61,no\n",
        ', line 2: seen is "perhaps"; it must be yes or no. Write one of them.',
    ),
    "one recording for two runs": (
        "run,condition,recording\n1,a,r1.csv\n2,b,r1.csv\n",
        ', lines 2 and 3: both name the recording "r1.csv". Name the recording of each run.',
    ),
    "marks in words": (
        "run,condition,recording,marks\n1,a,r1.csv,twelve\n2,b,r2.csv,12\n",
        ', line 2: the marks is "twelve"; it must be a whole number. Write 1, 2, 3, ...',
    ),
    "both decimal signs": (
        "run;condition;time [s]\n1;a;61,2\n2;b;59.0\n",
        (
            ', lines 2 and 3: the time is "61,2" in one and "59.0" in the other. '
            "Write one decimal sign in the whole column."
        ),
    ),
    "a quote left open": (
        f'{GOOD}3,"arc in,61\n',
        ", line 4: a quote opens a cell and is never closed. Close it, or take it out.",
    ),
    "a cell that goes on behind its quote": (
        f'{GOOD}3,"arc in"!,61\n',
        ', line 4: a cell goes on with "!" after its closing quote. Double the quotes inside a cell.',
    ),
    "a stray control character": (
        GOOD.replace("arc out", "arc\x1bout", 1) + "# a note about the bench, which makes the file long enough\n" * 2,
        ", line 3: there is a character U+001B in it, which no table of text has. Take it out.",
    ),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", f": {NO_TEXT}"),
    "all bytes": (bytes(range(256)), f": {NO_TEXT}"),
    "half a spreadsheet": (
        b"PK\x03\x04\x14\x00",
        ": the file is damaged, or no spreadsheet. Save the sheet as CSV, which always works, or as .xlsx or .ods.",
    ),
}

# The same for what could be meant in two ways.
DOUBTFUL: dict[str, tuple[str, str]] = {
    "two time columns": (
        "run,condition,time [s],Zeit (min)\n1,a,2,3\n",
        ': the column "time" could be "time [s]" or "Zeit (min)". Name one with "measure", or rename the other.',
    ),
    "two columns of run numbers": (
        "run,Nr.,condition,time [s]\n1,1,a,61\n",
        ': the column "run" could be "run" or "Nr.". Rename the other one.',
    ),
    "a comma that could be either": (
        "run;condition;time [s]\n1;a;1,234\n2;b;1,301\n",
        f', line 2: the time "1,234" could be "1.234" or "1234". {SAY}',
    ),
    "a point among decimal commas": (
        "run;condition;time [s];room\n1;a;61.234;21,5\n2;b;59.107;21,5\n",
        f', line 2: the time "61.234" could be "61.234" or "61234". {SAY}',
    ),
    "minutes that may be hours": (
        "run,condition,time\n1,a,2:03:00\n2,b,1:58:00\n",
        (
            ', line 2: the time "2:03:00" could be "2 h 3 min" or "2 min 3 s". '
            "Write the times in seconds, as plain numbers."
        ),
    ),
}


def refusal(path: Path, content: str | bytes, **choices: Any) -> TruerunError:
    """Write a table and give what is said instead of reading it."""
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    with pytest.raises(TruerunError) as caught:
        read_run_table(path, **choices)
    return caught.value


class TestEveryBadTableGivesItsSentence:
    @pytest.mark.parametrize("name", BAD)
    def test_of_a_file_that_cannot_be_read(self, tmp_path: Path, name: str) -> None:
        content, expected = BAD[name]
        said = refusal(tmp_path / "times.csv", content)
        assert str(said) == f"{tmp_path / 'times.csv'}{expected}"
        assert isinstance(said, RecordingUnreadable)

    @pytest.mark.parametrize("name", DOUBTFUL)
    def test_of_a_question(self, tmp_path: Path, name: str) -> None:
        content, expected = DOUBTFUL[name]
        said = refusal(tmp_path / "times.csv", content)
        assert str(said) == f"{tmp_path / 'times.csv'}{expected}"
        assert isinstance(said, ChoiceNeeded)

    def test_every_sentence_ends_in_a_full_stop_and_blames_nobody(self) -> None:
        for _, sentence in (*BAD.values(), *DOUBTFUL.values()):
            assert sentence.endswith(".")
            assert not any(word in sentence.lower() for word in ("invalid", "error", "illegal", "!;"))

    def test_bytes_that_are_not_in_the_encoding_that_was_named(self, tmp_path: Path) -> None:
        said = refusal(tmp_path / "t.csv", "Bögen".encode("latin-1"), encoding="utf-8")
        kind = "the file is not text in the encoding utf-8."
        assert str(said) == f"{tmp_path / 't.csv'}: {kind} Save the table as CSV in UTF-8, or as .xlsx or .ods."

    def test_an_unknown_choice(self, tmp_path: Path) -> None:
        said = refusal(tmp_path / "t.csv", GOOD, decimal=";")
        assert str(said) == 'decimal is ";"; it must be "." or ",". Leave it out to have it found.'
        said = refusal(tmp_path / "t.csv", GOOD, encoding="nowhere")
        assert (
            str(said)
            == 'encoding is "nowhere"; it must be the name of a text encoding. For example "utf-8" or "cp1252".'
        )
        assert isinstance(said, ValueOutOfRange)

    def test_a_file_that_is_not_there(self, tmp_path: Path) -> None:
        with pytest.raises(RecordingUnreadable, match=r"there is no such file\. Check the name and the folder\.$"):
            read_run_table(tmp_path / "none.csv")

    @pytest.mark.parametrize("source", [".", "a\0b"])
    def test_a_name_that_is_no_file(self, source: str) -> None:
        with pytest.raises(RecordingUnreadable, match=r"it cannot be opened\. Give a file that you may read\.$"):
            read_run_table(source)

    def test_a_recording_in_place_of_a_table(self, tmp_path: Path) -> None:
        path = tmp_path / "film.mp4"
        with path.open("wb") as file:
            file.truncate(30_000_000)
        with pytest.raises(RecordingUnreadable, match="the file has 30 MB; a table of runs has at most 20 MB"):
            read_run_table(path)

    def test_a_spreadsheet_with_cells_behind_the_headings(self, tmp_path: Path) -> None:
        book = openpyxl.Workbook()
        for row in (("run", "condition", "time [s]"), (1, "in", 61.2), (2, "out", 59, "wind")):
            book.active.append(row)
        book.save(tmp_path / "times.xlsx")
        with pytest.raises(RecordingUnreadable) as caught:
            read_run_table(tmp_path / "times.xlsx")
        expected = "the row has 4 cells; the headings are 3. Empty the cells behind the last heading, or give them one."
        assert str(caught.value) == f"{tmp_path / 'times.xlsx'}, row 3: {expected}"


class TestABadTableInMemoryGivesItsSentence:
    def test_columns_of_different_lengths(self) -> None:
        with pytest.raises(RecordingUnreadable) as caught:
            read_run_table({"run": [1, 2], "condition": ["in"], "time": [61.2, 59]})
        assert str(caught.value) == "the table: its columns have 1 to 2 rows. Give all columns the same length."

    @pytest.mark.parametrize(("source", "kind"), [(7, "int"), (b"run", "bytes"), (None, "NoneType")])
    def test_something_else(self, source: object, kind: str) -> None:
        with pytest.raises(RecordingUnreadable) as caught:
            read_run_table(source)
        remedy = "Give a path, a data frame, a mapping of columns or a list of mappings."
        assert str(caught.value) == f'the table: it is a "{kind}". {remedy}'

    def test_a_time_that_is_infinite(self) -> None:
        with pytest.raises(RecordingUnreadable, match='the table, row 2: the time is "inf"; it must be written like'):
            read_run_table({"run": [1, 2], "condition": ["in", "out"], "time [s]": [61.2, float("inf")]})

    @pytest.mark.parametrize("source", [[], {}, [{}]])
    def test_nothing(self, source: object) -> None:
        with pytest.raises(RecordingUnreadable, match=": there is no table in it"):
            read_run_table(source)
