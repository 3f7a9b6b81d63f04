"""Reports that were written stay as they were, whatever the logbook says later.

The fingerprint of a page is SHA-256 (FIPS 180-4) over its bytes, by Python's own library.
"""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.made_tests import opened, run, sealed
from truerun.errors import PlanBroken
from truerun.notebook.entries import Kind
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.workflow.bench import attach_photo, begin_run, note, state_of, stop_clock, withdraw
from truerun.workflow.bundles import bundle, import_bundle
from truerun.workflow.deciding import decide, report
from truerun.workflow.kept_reports import kept_report


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "bench.notebook") as made:
        yield made


@pytest.fixture
def decided(book: Notebook) -> str:
    """Decide a test of sixteen runs and give its id."""
    test = opened(book)
    sealed(book, test)
    run(book, test, 16)
    decide(book, test)
    return test


def kept(book: Notebook, test: str) -> str:
    """Read the report that is kept."""
    return b"".join(kept_report(book, state_of(book, test))).decode()


class TestWhatStandsBesideTheRuns:
    def test_notes_photos_and_times_that_were_typed_in_stand_on_the_page(self, book: Notebook) -> None:
        test = opened(book)
        sealed(book, test)
        run(book, test, 15)
        stop_clock(book, test, begin_run(book, test).id, 155.0, typed=True)
        note(book, test, "A <draught> was felt.")
        attach_photo(book, test, "the bench.jpg", [b"invented"])
        decide(book, test)
        page = report(book, test)
        assert "Typed in afterwards, from paper or another watch: the time of run 16." in page
        assert "A &lt;draught&gt; was felt." in page
        assert "the bench.jpg" in page
        assert hashlib.sha256(b"invented").hexdigest() in page
        assert page.count("Notes and photos") == 2  # among what follows, and where it stands

    def test_nothing_of_it_stands_on_a_page_of_counts_only(self, book: Notebook) -> None:
        test = opened(book)
        sealed(book, test)
        run(book, test, 5)
        note(book, test, "The last one took 151 s.")
        assert "151 s" not in report(book, test)


class TestAPageThatWasWritten:
    def test_is_kept_byte_for_byte_whatever_is_written_or_taken_back_after_it(
        self, book: Notebook, decided: str
    ) -> None:
        said = note(book, decided, "The window was open.")
        page = report(book, decided)
        withdraw(book, decided, said.number, why="it was shut", head=book.head(decided).digest)
        assert kept(book, decided) == page
        assert state_of(book, decided).report == hashlib.sha256(page.encode()).hexdigest()

    def test_gives_way_to_the_next_and_goes_with_a_bundle(self, book: Notebook, decided: str, tmp_path: Path) -> None:
        first = report(book, decided)
        bundle(book, decided, tmp_path / "arc.zip")
        with zipfile.ZipFile(tmp_path / "arc.zip") as packed:
            page = packed.read("data/report.html").decode()
        assert kept(book, decided) == page != first
        assert state_of(book, decided).reports == 2
        with open_notebook(tmp_path / "other.notebook") as other:
            import_bundle(other, tmp_path / "arc.zip")
            assert kept(other, decided) == page

    def test_before_the_last_run_holds_counts_and_is_no_report(self, book: Notebook, tmp_path: Path) -> None:
        test = opened(book)
        sealed(book, test)
        run(book, test, 5)
        bundle(book, test, tmp_path / "early.zip")
        assert [entry.kind for entry in book.entries(test)][-2:] == [Kind.REPORTED, Kind.BUNDLED]
        state = state_of(book, test)
        assert (state.reports, state.report) == (0, None)
        with pytest.raises(PlanBroken, match="none was written"):
            kept_report(book, state)

    def test_is_asked_for_anew_where_only_its_line_is_here(self, book: Notebook, decided: str) -> None:
        book.append(decided, Kind.REPORTED, {"bytes": 1, "digest": "0" * 64, "made": "2026-03-14T21:52:00+00:00"})
        with pytest.raises(PlanBroken, match="Write it anew"):
            kept_report(book, state_of(book, decided))
