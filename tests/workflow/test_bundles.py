"""Bundles that fail half way, and bundles whose fingerprints all hold but which no truerun wrote.

A logbook is never deleted from, so what is taken over and cannot be shown would spoil every list of tests for good. The
bundles are packed here, by hand, after RFC 8493 (BagIt).
"""

from __future__ import annotations

import hashlib
import io
import json
import tracemalloc
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from truerun.errors import NotebookUnusable, RecordingUnreadable, TruerunError, ValueOutOfRange
from truerun.notebook.bundle import check_bundle
from truerun.notebook.ledger import Notebook, open_notebook
from truerun.workflow import bench
from truerun.workflow.bundles import bundle, import_bundle
from truerun.workflow.showing import notebook_text

OPENED: Mapping[str, Any] = {
    "schema": "truerun/entry/1",
    "test": "t",
    "time": "2026-03-14T19:00:00+00:00",
    "kind": "opened",
    "body": {"name": "the arc"},
    "sender": None,
}


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Notebook]:
    with open_notebook(tmp_path / "bench.notebook") as opened:
        yield opened


def packed(path: Path, entries: Sequence[Mapping[str, Any]]) -> Path:
    """Pack entries as a bundle whose chain, manifests and last line hold."""
    lines, follows = [], "0" * 64
    for number, entry in enumerate(entries, 1):
        lines.append(json.dumps({"number": number, "follows": follows, **entry}, sort_keys=True).encode())
        follows = hashlib.sha256(lines[-1]).hexdigest()
    ledger, declared = b"".join(line + b"\n" for line in lines), b"BagIt-Version: 1.0\n"
    manifest = f"{hashlib.sha256(ledger).hexdigest()}  data/ledger.jsonl\n".encode()
    tags = {"bagit.txt": declared, "manifest-sha256.txt": manifest}
    tagged = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in tags.items())
    with zipfile.ZipFile(path, "w") as file:
        for name, data in tags.items():
            file.writestr(name, data)
        file.writestr("data/ledger.jsonl", ledger)
        file.writestr("tagmanifest-sha256.txt", tagged)
        file.writestr("head.txt", f"{len(lines)} {follows}\n")
    return path


def changed(**keys: Any) -> dict[str, Any]:
    """Give the first entry with some keys changed."""
    return {**OPENED, **keys}


class TestWhatNoTruerunWrote:
    @pytest.mark.parametrize(
        "entries",
        [
            [],
            [{"kind": "opened"}],
            [changed(kind="note", body={"words": "not opened"})],
            [OPENED, OPENED],
            [OPENED, changed(test="another", kind="note", body={"words": "of another test"})],
            [changed(time="yesterday")],
            [changed(body=["the arc"])],
            [OPENED, changed(kind="claim", body={})],
            [OPENED, changed(kind="sealed", body={})],
            [OPENED, changed(kind="sealed", body={"plan": {"order": ["in", "out"]}})],
            [OPENED, changed(kind="screening", body={"plan": {"order": ["in", "out"]}})],
            [OPENED, changed(kind="challenge", body={"words": "try 17"})],
        ],
    )
    def test_is_refused_in_a_sentence_before_anything_is_written(
        self, book: Notebook, tmp_path: Path, entries: list[Mapping[str, Any]]
    ) -> None:
        with pytest.raises(TruerunError):
            import_bundle(book, packed(tmp_path / "strange.zip", entries))
        assert book.tests() == []

    def test_is_told_from_what_one_wrote_by_its_lines_alone(self, book: Notebook, tmp_path: Path) -> None:
        assert import_bundle(book, packed(tmp_path / "plain.zip", [OPENED])) == "t"
        assert "the arc" in notebook_text(book)


def test_a_bundle_that_failed_half_way_is_not_in_the_way_of_the_next(
    book: Notebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    test, path = bench.open_test(book, "the arc").id, tmp_path / "arc.zip"

    def gone(*_: object) -> Iterator[tuple[int, str, bytes, str | None]]:
        raise NotebookUnusable("bench.notebook", "it cannot be read", "Try again.")

    with monkeypatch.context() as broken:
        broken.setattr(Notebook, "stored_entries", gone)
        with pytest.raises(NotebookUnusable):
            bundle(book, test, path)
    assert bundle(book, test, path).path == path
    with pytest.raises(ValueOutOfRange, match="there already"):
        bundle(book, test, path)


def test_a_test_of_which_nothing_can_be_reckoned_is_handed_on_without_a_report(book: Notebook, tmp_path: Path) -> None:
    test = bench.open_test(book, "the arc", invented=True).id
    bench.write_claim(book, test, "It gains.")
    request = {"source": "in", "control": "out", "end": "speed", "run_minutes": 5}
    bench.seal_plan(book, test, request, book.head(test).digest, seed="a seed for a test of bundles")
    bench.start_session(book, test)
    bench.stop_clock(book, test, bench.begin_run(book, test).id, 61.2)
    second = bench.begin_run(book, test)
    bench.attach_recording(book, test, second.id, "pass.csv", [b"time\n0\n1\n2.1\n"], marks=1)
    bundle(book, test, tmp_path / "mixed.zip")
    with zipfile.ZipFile(tmp_path / "mixed.zip") as file:
        assert "data/ledger.jsonl" in file.namelist()
        assert "data/report.html" not in file.namelist()
    with open_notebook(tmp_path / "other.notebook") as other:
        assert import_bundle(other, tmp_path / "mixed.zip") == test


class TestAZipThatWasChanged:
    @pytest.fixture
    def whole(self, book: Notebook, tmp_path: Path) -> bytes:
        test = bench.open_test(book, "the arc", invented=True).id
        for number in range(30):
            bench.note(book, test, f"note {number}")
        return bundle(book, test, tmp_path / "whole.zip").path.read_bytes()

    def test_is_a_sentence_whichever_byte_of_the_logbook_it_is(self, whole: bytes, tmp_path: Path) -> None:
        with zipfile.ZipFile(io.BytesIO(whole)) as file:
            ledger = file.getinfo("data/ledger.jsonl")
        begins = ledger.header_offset + 30 + len(ledger.filename)  # PKWARE APPNOTE 6.3.10, section 4.3.7
        chance = np.random.default_rng(1)
        for _ in range(200):
            other = bytearray(whole)
            other[begins + chance.integers(ledger.compress_size - 1)] ^= int(chance.integers(1, 256))
            (tmp_path / "other.zip").write_bytes(other)
            with pytest.raises(RecordingUnreadable, match="no truerun bundle that can be read"):
                check_bundle(tmp_path / "other.zip")

    def test_is_a_sentence_wherever_it_was_cut(self, whole: bytes, tmp_path: Path) -> None:
        for length in range(0, len(whole), 97):
            (tmp_path / "cut.zip").write_bytes(whole[:length])
            with pytest.raises(RecordingUnreadable, match="no truerun bundle that can be read"):
                check_bundle(tmp_path / "cut.zip")

    @pytest.mark.parametrize("name", ["data/ledger.jsonl", "data/runs.csv", "head.txt"])
    def test_is_not_unpacked_where_it_would_fill_the_memory(self, tmp_path: Path, name: str) -> None:
        with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as file, file.open(name, "w") as part:
            for _ in range(257):
                part.write(b"0" * (1 << 20))
        with pytest.raises(RecordingUnreadable, match="it unpacks to more than 256 MiB"):
            check_bundle(tmp_path / "bomb.zip")

    def test_a_recording_in_it_is_never_held_whole_in_the_memory(self, tmp_path: Path) -> None:
        path = packed(tmp_path / "long.zip", [OPENED])
        with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as file, file.open("data/recordings/long", "w") as part:
            for _ in range(64):
                part.write(b"0" * (1 << 20))
        tracemalloc.start()
        try:
            _, faults = check_bundle(path)
            most = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert "data/recordings/long" in {each.where for each in faults}
        assert most < 16 << 20  # a quarter of the recording

    def test_that_is_not_there_is_said_to_be_missing(self, tmp_path: Path) -> None:
        with pytest.raises(RecordingUnreadable, match=r"can be read \(no such file or directory\)"):
            check_bundle(tmp_path / "nowhere.zip")
