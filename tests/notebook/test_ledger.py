"""The ledger: observations are always taken, edits quote the head, changes to what is stored are named.

Digests are those of hashlib (FIPS 180-4); canonical bytes are checked elsewhere against RFC 8785.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text, update

from truerun.errors import HeadMoved, LedgerBroken, NotebookUnusable, ValueOutOfRange
from truerun.notebook import migrations
from truerun.notebook.connection import writing
from truerun.notebook.entries import FIRST, Kind, read_entry, write_entry
from truerun.notebook.files import CHUNK, digests, read_file, store_file
from truerun.notebook.heads import read_heads
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.notebook.projection import drop_projections, kept_state
from truerun.notebook.state import fold
from truerun.notebook.tables import ENTRIES, LANDMARKS, NOTEBOOK, PROJECTIONS
from truerun.notebook.verification import check_chain, verify_notebook


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "bench.notebook"


@pytest.fixture
def book(place: Path) -> Iterator[Notebook]:
    with open_notebook(place) as opened:
        yield opened


@pytest.fixture
def arc(book: Notebook) -> str:
    """Give a test with a run and three taps."""
    name = book.open_test({"name": "the arc"}).test
    book.append(name, Kind.RUN_BEGUN, {"run": "r", "slot": 1})
    for at in range(3):
        book.append(name, Kind.TAP, {"run": "r", "at": at + 0.5})
    return name


class TestAppending:
    def test_stores_the_bytes_that_were_hashed_each_naming_the_line_before(self, book: Notebook, arc: str) -> None:
        before = FIRST
        for number, digest, stored, _ in book.stored_entries(arc):
            assert hashlib.sha256(stored).hexdigest() == digest
            said = json.loads(stored)
            assert (said["number"], said["follows"], said["test"]) == (number, before, arc)
            before = digest

    def test_takes_what_was_sent_twice_once(self, book: Notebook, arc: str) -> None:
        first = book.append(arc, Kind.TAP, {"run": "r", "at": 9}, sender="phone 1")
        assert book.append(arc, Kind.TAP, {"run": "r", "at": 9}, sender="phone 1") == first
        assert book.head(arc).count == first.number

    def test_refuses_an_edit_from_an_older_state_and_keeps_the_draft(self, book: Notebook, arc: str) -> None:
        seen = book.head(arc).digest
        book.append(arc, Kind.NOTE, {"words": "somebody else"})
        with pytest.raises(HeadMoved) as caught:
            book.append(arc, Kind.CLOSED, {"why": "done"}, head=seen)
        assert caught.value.draft == {"why": "done"}
        with pytest.raises(ValueOutOfRange, match="without a head"):
            book.append(arc, Kind.CLOSED, {"why": "done"})

    @pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**53, -(2**53), {1, 2}, b"x", "half \ud83d"])
    def test_refuses_what_readers_would_read_differently(self, book: Notebook, arc: str, value: object) -> None:
        with pytest.raises(ValueOutOfRange):
            book.append(arc, Kind.NOTE, {"words": value})
        assert book.head(arc).count == 5

    def test_refuses_an_entry_that_should_be_a_file(self, book: Notebook, arc: str) -> None:
        with pytest.raises(ValueOutOfRange, match="Attach it as a file"):
            book.append(arc, Kind.NOTE, {"words": "x" * 1_000_001})

    def test_goes_on_where_the_file_of_heads_cannot_be_written(self, book: Notebook, arc: str, place: Path) -> None:
        kept = place.with_name(place.name + ".heads")
        kept.unlink()
        kept.mkdir()
        assert book.append(arc, Kind.TAP, {"run": "r", "at": 9}).number == 6
        assert book.head(arc).count == 6

    @pytest.mark.parametrize(
        "times",
        [
            (datetime(2026, 3, 14, 19, tzinfo=UTC), datetime(2026, 3, 14, 18, tzinfo=UTC)),
            (datetime(2026, 3, 14, 19, tzinfo=UTC), datetime(2026, 3, 14, 20, tzinfo=UTC)),
            (datetime(1970, 1, 1, tzinfo=UTC), datetime(2026, 3, 14, 19, tzinfo=UTC)),
            (datetime(2026, 3, 14, 19, tzinfo=UTC), datetime(1970, 1, 1, tzinfo=UTC)),
            (
                datetime(2026, 10, 25, 2, 30, tzinfo=timezone(timedelta(hours=2))),  # the clocks go back in between
                datetime(2026, 10, 25, 2, 30, tzinfo=timezone(timedelta(hours=1))),
            ),
            (
                datetime(2026, 3, 29, 1, 59, tzinfo=timezone(timedelta(hours=1))),  # the clocks go forward in between
                datetime(2026, 3, 29, 3, 1, tzinfo=timezone(timedelta(hours=2))),
            ),
        ],
    )
    def test_keeps_the_order_when_the_clock_jumps(self, place: Path, times: tuple[datetime, datetime]) -> None:
        clock = iter((times[0], *times))  # the first when it is made
        with open_notebook(place, clock=lambda: next(clock)) as book:
            test = book.open_test({"name": "the arc"}).test
            book.append(test, Kind.NOTE, {"words": "later"})
            assert [entry.number for entry in book.entries(test)] == [1, 2]
            assert [datetime.fromisoformat(entry.time) for entry in book.entries(test)] == list(times)
            assert all(entry.time.endswith("+00:00") for entry in book.entries(test))
            assert verify_notebook(book).faults == ()

    def test_a_kind_of_a_newer_truerun_is_a_sentence(self) -> None:
        entry = write_entry("t", 1, Kind.NOTE, {}, time="2026-03-14T19:00:00+00:00", follows=FIRST)
        newer = entry.stored.replace(b'"note"', b'"smell"')
        with pytest.raises(NotebookUnusable, match="newer truerun"):
            read_entry("t", 1, newer, hashlib.sha256(newer).hexdigest())


class TestSettings:
    def test_each_commit_is_on_the_disk_before_it_is_acknowledged(self, book: Notebook) -> None:
        """``synchronous`` 2 is FULL (SQLite documentation, PRAGMA synchronous): the log is synced at every commit."""
        with writing(book.engine, book.place) as connection:
            for name, value in (
                ("synchronous", 2),
                ("journal_mode", "wal"),
                ("mmap_size", 0),
                ("trusted_schema", 0),
                ("cell_size_check", 1),
            ):
                assert connection.scalar(text(f"PRAGMA {name}")) == value


class TestOpening:
    def test_notices_that_the_end_was_cut_off(self, place: Path) -> None:
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
            book.append(test, Kind.NOTE, {"words": "last"})
        with sqlite3.connect(place) as bare:
            bare.execute("DELETE FROM truerun_entries WHERE number = 2")
        bare.close()
        with pytest.raises(NotebookUnusable, match=r"the end of test .* was cut off: line 2"):
            open_notebook(place)

    def test_notices_that_the_last_line_is_another_one(self, place: Path) -> None:
        with open_notebook(place) as book:
            book.open_test({"name": "the arc"})
        with sqlite3.connect(place) as bare:
            bare.execute("UPDATE truerun_landmarks SET digest = ?", ("0" * 64,))
        bare.close()
        with pytest.raises(NotebookUnusable, match="line 1 of the chain over all tests is not the one"):
            open_notebook(place)

    def test_passes_over_a_head_whose_writing_was_cut_off(self, place: Path) -> None:
        with open_notebook(place) as book:
            book.open_test({"name": "the arc"})
        kept = place.with_name(place.name + ".heads")
        whole = read_heads(kept)
        with kept.open("ab") as file:
            file.write(b'["a test",7,"0000')
        assert read_heads(kept) == whole
        open_notebook(place).close()

    def test_says_once_that_no_head_was_kept_and_begins_again(self, place: Path) -> None:
        with open_notebook(place) as book:
            book.open_test({"name": "the arc"})
        kept = place.with_name(place.name + ".heads")
        kept.unlink()
        with open_notebook(place) as book:
            assert "heads-unknown" in [each.check for each in book.findings]
        with open_notebook(place) as book:
            assert "heads-unknown" not in [each.check for each in book.findings]

    def test_of_another_database_or_of_no_database_is_a_sentence(self, tmp_path: Path) -> None:
        foreign = tmp_path / "foreign.db"
        with sqlite3.connect(foreign) as bare:
            bare.execute("CREATE TABLE birds (name TEXT)")
        bare.close()
        with pytest.raises(NotebookUnusable, match="another program"):
            open_notebook(foreign)
        (tmp_path / "words.txt").write_text("no database at all, but long enough to be looked at " * 40)
        with pytest.raises(NotebookUnusable, match="no truerun notebook"):
            open_notebook(tmp_path / "words.txt")
        with pytest.raises(NotebookUnusable, match="no such file"):
            open_notebook(tmp_path / "none", make=False)
        with pytest.raises(NotebookUnusable, match="cannot be opened or made there"):
            open_notebook(tmp_path / "no folder" / "none")

    def test_of_a_newer_notebook_is_a_sentence_and_changes_nothing(self, place: Path) -> None:
        with open_notebook(place) as book, writing(book.engine, book.place) as connection:
            connection.execute(update(NOTEBOOK).values(version=migrations.VERSION + 1))
        before = place.read_bytes()
        with pytest.raises(NotebookUnusable, match="newer truerun"):
            open_notebook(place)
        assert place.read_bytes() == before

    def test_brings_an_older_one_up_to_date_by_every_step(self, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        open_notebook(place).close()
        done: list[int] = []
        steps = {2: lambda _connection: done.append(2), 3: lambda _connection: done.append(3)}
        monkeypatch.setattr(migrations, "STEPS", steps)
        monkeypatch.setattr(migrations, "VERSION", 3)
        monkeypatch.setattr("truerun.notebook.opening.VERSION", 3)
        open_notebook(place).close()
        open_notebook(place).close()
        assert done == [2, 3]


Row = tuple[int, str, bytes, str | None]


def every_flip(rows: list[Row]) -> Iterator[tuple[int, list[Row]]]:
    """Give the rows with one bit of one byte flipped, for every byte, and with a digest changed."""
    for place, (number, digest, stored, sender) in enumerate(rows):
        for at in range(len(stored)):
            changed = bytearray(stored)
            changed[at] ^= 1 << at % 8
            yield number, [*rows[:place], (number, digest, bytes(changed), sender), *rows[place + 1 :]]
        yield number, [*rows[:place], (number, "0" * 64, stored, sender), *rows[place + 1 :]]


class TestVerification:
    def test_names_the_line_of_every_byte_that_was_flipped(self, book: Notebook, arc: str) -> None:
        rows = list(book.stored_entries(arc))
        assert check_chain(rows, "test 1")[1] == []
        for number, changed in every_flip(rows):
            assert check_chain(changed, "test 1")[1][0].where == f"test 1, line {number}"

    def test_names_what_was_changed_in_the_store_itself(self, book: Notebook, arc: str) -> None:
        rows = list(book.stored_entries(arc))
        with writing(book.engine, book.place) as connection:
            connection.execute(update(ENTRIES).where(ENTRIES.c.number == 3).values(stored=rows[2][2][:-1] + b" "))
            connection.execute(update(LANDMARKS).values(digest="0" * 64))
        named = {fault.where for fault in verify_notebook(book).faults}
        assert named == {"test 1, line 3", "the chain over all tests, line 1"}

    def test_names_a_sender_that_was_changed_beside_the_bytes(self, book: Notebook, arc: str) -> None:
        number = book.append(arc, Kind.NOTE, {"words": "calm"}, sender="phone 1").number
        with writing(book.engine, book.place) as connection:
            connection.execute(update(ENTRIES).where(ENTRIES.c.number == number).values(sender="phone 2"))
        faults = verify_notebook(book).faults
        assert [fault.where for fault in faults] == [f"test 1, line {number}"]
        assert "sender" in faults[0].meaning

    def test_names_a_missing_file_and_a_test_that_was_taken_out(self, book: Notebook, arc: str) -> None:
        digest, _ = store_file(book, [b"time\n1\n"], "text/csv")
        body = {"run": "r", "digest": digest, "name": "a.csv", "media": "text/csv", "size": 7}
        book.append(arc, Kind.RECORDING, body)
        other = book.open_test({"name": "another"}).test
        assert verify_notebook(book).faults == ()
        with writing(book.engine, book.place) as connection:
            connection.execute(text("DELETE FROM truerun_recordings"))
            connection.execute(text("DELETE FROM truerun_tests WHERE id = :id"), {"id": other})
        named = {fault.where for fault in verify_notebook(book).faults}
        assert named == {f"file {digest[:16]}", "test 2"}

    def test_of_a_file_with_any_byte_changed_is_a_sentence_or_a_fault_or_no_loss(self, place: Path) -> None:
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
            head = book.append(test, Kind.NOTE, {"words": "calm"})
        whole = place.read_bytes()
        for at in range(0, len(whole), 997):
            changed = bytearray(whole)
            changed[at] ^= 0x11
            place.write_bytes(bytes(changed))
            try:
                with open_notebook(place) as book:
                    checked = verify_notebook(book)
                    assert checked.faults or checked.heads[test].digest == head.digest
            except (NotebookUnusable, LedgerBroken):
                continue


class TestFiles:
    def test_come_back_byte_for_byte_and_take_room_once(self, book: Notebook) -> None:
        pieces = [b"a" * 700_000, b"b" * 900_000, b"", b"c"]
        digest, size = store_file(book, pieces, "text/csv")
        assert (digest, size) == (hashlib.sha256(b"".join(pieces)).hexdigest(), 1_600_001)
        assert b"".join(read_file(book, digest)) == b"".join(pieces)
        assert max(len(chunk) for chunk in read_file(book, digest)) == CHUNK
        store_file(book, pieces, "text/csv")
        assert digests(book) == {digest: size}
        assert self.chunks(book) == 2

    def test_that_are_too_long_or_break_off_leave_nothing(self, book: Notebook) -> None:
        with pytest.raises(ValueOutOfRange, match="at most 10 bytes"):
            store_file(book, [b"x" * 11], "text/csv", most=10)

        def broken() -> Iterator[bytes]:
            yield b"x" * (CHUNK + 1)
            raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            store_file(book, broken(), "text/csv")
        assert (digests(book), self.chunks(book)) == ({}, 0)

    def test_that_were_changed_are_refused_at_their_end(self, book: Notebook) -> None:
        digest, _ = store_file(book, [b"one"], "text/csv")
        with writing(book.engine, book.place) as connection:
            connection.execute(text("UPDATE truerun_chunks SET bytes = :new"), {"new": b"two"})
        with pytest.raises(LedgerBroken):
            list(read_file(book, digest))

    def chunks(self, book: Notebook) -> int:
        with writing(book.engine, book.place) as connection:
            return int(connection.scalar(text("SELECT count(*) FROM truerun_chunks")) or 0)


FULL = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
from truerun.errors import NotebookUnusable
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import open_notebook
book = open_notebook(sys.argv[1])
number = 1
try:
    while True:
        number = book.append(sys.argv[2], Kind.NOTE, {"words": "x" * 9000}).number
except NotebookUnusable as error:
    print(number, error)
book.close()
"""


class TestADisk:
    def test_that_takes_no_more_is_a_sentence_and_keeps_what_was_acknowledged(self, place: Path) -> None:
        """The operating system refuses to let any file of the writer grow beyond 400 kB (setrlimit, POSIX)."""
        with open_notebook(place) as book:
            test = book.open_test({"name": "the arc"}).test
        words = [sys.executable, "-c", FULL, str(place), test]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
        number = int(done.stdout.split()[0])
        assert number > 10
        assert "the disk" in done.stdout
        with open_notebook(place) as book:
            assert number <= book.head(test).count <= number + 1
            assert verify_notebook(book).faults == ()

    def test_that_was_pulled_out_is_a_sentence_at_every_try_until_it_is_back(self, tmp_path: Path) -> None:
        disk, away = tmp_path / "disk", tmp_path / "away"
        disk.mkdir()
        book = open_notebook(disk / "bench.notebook")
        test = book.open_test({"name": "the arc"}).test
        book.close()
        disk.rename(away)
        for _ in range(2):
            with pytest.raises(NotebookUnusable, match="cannot be opened"):
                book.append(test, Kind.NOTE, {"words": "calm"})
        away.rename(disk)
        assert book.append(test, Kind.NOTE, {"words": "calm"}).number == 2
        book.close()


KINDS = st.lists(
    st.tuples(
        st.integers(0, 2),
        st.sampled_from(["tap", "run", "stop", "wrong", "note", "guess", "fix", "withdraw", "passes"]),
        st.floats(0.1, 500, allow_nan=False),
    ),
    max_size=25,
)


def written(book: Notebook, test: str, kind: str, value: float, count: int) -> None:
    """Write one entry of a kind; edits quote the head of now."""
    run = {"run": f"r{count % 3}"}
    head = book.head(test).digest
    match kind:
        case "tap":
            book.append(test, Kind.TAP, run | {"at": value})
        case "run":
            book.append(test, Kind.RUN_BEGUN, run | {"slot": count + 1})
        case "stop":
            book.append(test, Kind.STOPPED, run | {"seconds": value})
        case "wrong":
            book.append(test, Kind.WENT_WRONG, run | {"what": "bumped", "seen": value > 250})
        case "guess":
            book.append(test, Kind.GUESS, run | {"condition": "in"})
        case "fix":
            book.append(test, Kind.CORRECTED, run | {"entry": 1, "changes": {"seconds": value}, "why": "x"}, head=head)
        case "withdraw":
            book.append(test, Kind.WITHDRAWN, run | {"entry": 1, "kind": "stopped", "why": "x"}, head=head)
        case "passes":
            book.append(test, Kind.PASSES, run | {"times": [value, value + 1]})
        case _:
            book.append(test, Kind.NOTE, {"words": f"{value}"})


class TestAnyInterleaving:
    @settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(steps=KINDS)
    def test_verifies_and_its_kept_state_is_the_fold(
        self, tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[int, str, float]]
    ) -> None:
        place = tmp_path_factory.mktemp("any") / "bench.notebook"
        writers = [open_notebook(place) for _ in range(3)]
        test = writers[0].open_test({"name": "the arc"}).test
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("truerun.notebook.projection.KEPT_AFTER", 3)
            for count, (who, kind, value) in enumerate(steps):
                written(writers[who], test, kind, value, count)
                whole = fold(test, writers[0].entries(test))
                assert kept_state(writers[(who + 1) % 3], test) == whole
        drop_projections(writers[0])
        assert kept_state(writers[1], test) == fold(test, writers[2].entries(test))
        assert verify_notebook(writers[2]).faults == ()
        for writer in writers:
            writer.close()

    def test_a_state_kept_of_another_history_or_damaged_is_made_again(self, book: Notebook, arc: str) -> None:
        for number in range(200):
            book.append(arc, Kind.TAP, {"run": "r", "at": number})
        whole = kept_state(book, arc)
        with writing(book.engine, book.place) as connection:
            assert connection.execute(PROJECTIONS.select()).one().number == 205
            connection.execute(update(PROJECTIONS).values(state=b'{"head"'))
        assert kept_state(book, arc) == whole
        with writing(book.engine, book.place) as connection:
            connection.execute(update(PROJECTIONS).values(number=7))
        assert kept_state(book, arc) == whole
