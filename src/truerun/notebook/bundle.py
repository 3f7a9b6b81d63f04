"""A test as one file for strangers: a zip that opens without truerun and says how to check it.

Inside are the folders of RFC 8493 (BagIt): ``data/`` with the logbook, the recordings, the runs, a description of the
table and the report; manifests with SHA-256 of every file; beside them ``head.txt``, ``VERIFY.txt`` and ``verify.py``.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from datetime import datetime
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from truerun.errors import LedgerBroken, RecordingUnreadable
from truerun.notebook.entries import Entry, Kind, read_entry
from truerun.notebook.files import read_file
from truerun.notebook.heads import Head
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import TestState
from truerun.notebook.verification import Fault, check_chain
from truerun.notebook.verify import check_attached, check_seals, result_of
from truerun.trial.seal import spoken_code

__all__ = ["Unpacked", "check_bundle", "read_bundle", "runs_csv", "write_bundle"]

_WHEN = (1980, 1, 1, 0, 0, 0)
"""Date of every file in the zip, so that the same test gives the same bytes."""

_MOST_BYTES = 4 << 30
_MOST_TEXT = 256 << 20
_READ_WHOLE = (
    *("data/ledger.jsonl", "data/runs.csv", "data/report.html"),
    *("manifest-sha256.txt", "tagmanifest-sha256.txt", "head.txt"),
)
# what a zip that was cut or changed brings up: also a packing unknown or with a password, or JSON without an end
_TROUBLES = (OSError, EOFError, KeyError, RuntimeError, TypeError, ValueError, zipfile.BadZipFile, zlib.error)
_KEPT = ("data/recordings/", "data/report.html")
_FREE = frozenset(("tagmanifest-sha256.txt", "verify.py", "VERIFY.txt", "head.txt"))

VERIFY = """\
How to check this bundle without truerun
========================================

1. Unpack it into a folder of its own, and work there. On Windows: right click, Extract all. On macOS: double click.
   On Linux: unzip NAME.zip -d NAME; cd NAME

2. Is every file what it was?
   Linux:    sha256sum --check manifest-sha256.txt
   macOS:    shasum -a 256 --check manifest-sha256.txt
   Windows:  in PowerShell, for each line of manifest-sha256.txt:  Get-FileHash data\\ledger.jsonl -Algorithm SHA256

3. Is the logbook whole, and does the result follow from the runs?  With Python 3.8 or later:
   Linux, macOS:  python3 verify.py
   Windows:       py verify.py
   A file that something else put into the folder since is named; take it out and check again.

4. Is it the logbook that was published?  head.txt holds the number of its last line and that line's fingerprint.
   Compare them with a copy that somebody else kept: a printed report, a post, a film. A report names an earlier line:
   its fingerprint stands after "follows" in the line after it. A chain of fingerprints that only its owner holds can be
   rebuilt by its owner; a stranger's copy cannot.

What is what: data/ledger.jsonl is the logbook, one line an entry, each with the fingerprint of the line before.
data/runs.csv are the runs, data/recordings/ the recordings as they came, data/report.html the report.
In runs.csv, value is the time that was compared and stopwatch the time to rest, where a hand took it too, both in
seconds unless the plan names another unit. How a recording becomes a time is not computed anew here.
"""


_COLUMNS = (
    *("run", "condition", "value", "counts", "unfinished", "attempt", "session", "left_out", "guess"),
    "stopwatch",
)


def runs_csv(
    state: TestState, measured: Mapping[tuple[int, int], float | None] | None = None, *, hidden: bool = False
) -> bytes:
    """Write the runs of a test as a table: what stands in each planned slot.

    Parameters
    ----------
    state : TestState
    measured : mapping, optional
        By slot and attempt, the times over the agreed speeds that recordings gave, where these decided [s]; None for
        a run that has none. Stopwatch times then stand in a column of their own.
    hidden : bool
        Leave every time out: the last planned run is not done.

    Returns
    -------
    bytes
        UTF-8; columns run, condition, value [s], counts (yes, no, worst, missing), unfinished, attempt, session,
        left_out, guess, stopwatch [s].
    """
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(_COLUMNS)
    for slot, condition in enumerate(state.drawn, 1):
        tries = [run for run in state.runs if run.slot == slot and run.ended]
        last = tries[-1] if tries else None
        spoilt = any(run.left_out is not None and run.seen for run in tries)
        if last is None:
            rows.writerow([slot, condition, "", "missing", "no", "", "", "", "", ""])
            continue
        counts = "worst" if spoilt else "no" if last.left_out is not None else "yes"
        watch = "" if last.seconds is None or hidden else repr(last.seconds)
        time = None if hidden else last.seconds if measured is None else measured.get((last.slot, last.attempt))
        value = "" if time is None else repr(time)
        ended = "yes" if last.unfinished else "no"
        said = (last.attempt, last.session, last.left_out or "", last.guess or "", "" if measured is None else watch)
        rows.writerow([slot, condition, value, counts, ended, *said])
    return text.getvalue().encode()


def write_bundle(notebook: Notebook, state: TestState, path: Path, *, runs: bytes, report: bytes | None) -> str:
    """Write the bundle of a test.

    Parameters
    ----------
    notebook : Notebook
    state : TestState
        Of the test.
    path : Path
        A file that is not there yet.
    runs : bytes
        The table of runs.
    report : bytes or None
        The report; None where nothing may be shown yet.

    Returns
    -------
    str
        SHA-256 of the bundle.

    Raises
    ------
    FileExistsError
        If the file is there already.
    """
    part = path.with_name(path.name + ".part")
    path.touch(exist_ok=False)
    try:
        with part.open("wb") as file, zipfile.ZipFile(file, "w") as packed:
            _pack(packed, notebook, state, runs, report)
        part.replace(path)
    except BaseException:
        for each in (part, path):
            with suppress(OSError):
                each.unlink(missing_ok=True)
        raise
    with path.open("rb") as written:
        return hashlib.file_digest(written, "sha256").hexdigest()


def _pack(packed: zipfile.ZipFile, notebook: Notebook, state: TestState, runs: bytes, report: bytes | None) -> None:
    """Write every file and its manifest."""
    listed: list[tuple[str, str]] = []

    def put(name: str, pieces: Iterable[bytes], into: list[tuple[str, str]]) -> None:
        hashed = hashlib.sha256()
        with packed.open(_info(name), "w") as file:
            for piece in pieces:
                hashed.update(piece)
                file.write(piece)
        into.append((name, hashed.hexdigest()))

    stored = notebook.stored_entries(state.id)
    put("data/ledger.jsonl", (each + b"\n" for number, _, each, _ in stored if number <= state.head.count), listed)
    put("data/runs.csv", [runs], listed)
    for digest, name in _attached(state).items():
        put(f"data/recordings/{name}", read_file(notebook, digest), listed)
    if report is not None:
        put("data/report.html", [report], listed)
    put("data/datapackage.json", [_description(state, listed, runs)], listed)
    tags: list[tuple[str, str]] = []
    put("bagit.txt", [b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"], tags)
    put("manifest-sha256.txt", [_manifest(listed)], tags)
    put("tagmanifest-sha256.txt", [_manifest(tags)], [])
    head = f"{state.head.count} {state.head.digest}\n{spoken_code(state.head.digest)}\n"
    put("head.txt", [head.encode()], [])
    put("VERIFY.txt", [VERIFY.encode()], [])
    put("verify.py", [files("truerun.notebook").joinpath("verify.py").read_bytes()], [])


def _info(name: str) -> zipfile.ZipInfo:
    """Describe a file of the zip, the same on every machine."""
    info = zipfile.ZipInfo(name, _WHEN)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.create_system = 3
    info.external_attr = 0o644 << 16
    return info


def _manifest(listed: list[tuple[str, str]]) -> bytes:
    """Write a manifest of RFC 8493."""
    return "".join(f"{digest}  {name}\n" for name, digest in sorted(listed)).encode()


def _attached(state: TestState) -> dict[str, str]:
    """Give the name in the bundle of every attached file, by its digest."""
    every = [each for run in state.runs for each in run.recordings] + list(state.photos)
    return {each.digest: each.file_name for each in every}


def _description(state: TestState, listed: list[tuple[str, str]], runs: bytes) -> bytes:
    """Describe the table of runs for other programs (Frictionless Data Package)."""
    columns = runs.decode().split("\n", 1)[0].split(",")
    kinds = {"run": "integer", "value": "number", "attempt": "integer", "stopwatch": "number"}
    data: dict[str, Any] = {
        "profile": "tabular-data-package",
        "name": "truerun-test",
        "title": state.name,
        "resources": [
            {
                "name": "runs",
                "path": "runs.csv",
                "profile": "tabular-data-resource",
                "hash": "sha256:" + dict(listed)["data/runs.csv"],
                "schema": {"fields": [{"name": name, "type": kinds.get(name, "string")} for name in columns]},
            }
        ],
    }
    return json.dumps(data, ensure_ascii=False, indent=2).encode() + b"\n"


class Unpacked:
    """A bundle that was read and checked: its entries, and its files by their digest.

    Parameters
    ----------
    path : Path
        Of the zip.
    entries : tuple of Entry
        In order.
    names : dict
        Name in the zip of each attached file and of the report, by its digest.
    """

    def __init__(self, path: Path, entries: tuple[Entry, ...], names: dict[str, str]) -> None:
        self.path = path
        self.entries = entries
        self.names = names

    def file(self, digest: str) -> Iterator[bytes]:
        """Read an attached file piece by piece."""
        with zipfile.ZipFile(self.path) as packed, packed.open(self.names[digest]) as file:
            while piece := file.read(1 << 20):
                yield piece


def check_bundle(path: Path) -> tuple[Head, tuple[Fault, ...]]:
    """Check a bundle: every file, the chain, the last line.

    Parameters
    ----------
    path : Path
        Of the zip.

    Returns
    -------
    head : Head
        Of its logbook.
    faults : tuple of Fault
        Each names the file or the line, and what is wrong with it.

    Raises
    ------
    RecordingUnreadable
        If it is no bundle.
    """
    try:
        with zipfile.ZipFile(path) as packed:
            _require_bounded(path, packed)
            return _checked(packed)
    except _TROUBLES as error:
        why = (error.strerror or "").lower() if isinstance(error, OSError) and error.strerror else str(error)
        raise RecordingUnreadable(
            path, "", f"this is no truerun bundle that can be read ({why}). Ask for it once more."
        ) from error


def _require_bounded(path: Path, packed: zipfile.ZipFile) -> None:
    """Refuse what would fill the disk or the memory when it is unpacked; no file gives more than its header says."""
    sizes = {info.filename: info.file_size for info in packed.infolist()}
    if sum(info.file_size for info in packed.infolist()) > _MOST_BYTES:
        raise RecordingUnreadable(path, "", "it unpacks to more than 4 GiB. Import its parts one by one.")
    long = next((name for name in _READ_WHOLE if sizes.get(name, 0) > _MOST_TEXT), None)
    if long is not None:
        raise RecordingUnreadable(path, long, "it unpacks to more than 256 MiB. Ask for the bundle once more.")


def _checked(packed: zipfile.ZipFile) -> tuple[Head, tuple[Fault, ...]]:
    """Check an open bundle."""
    faults: list[Fault] = []
    listed: dict[str, str] = {}
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        for line in packed.read(manifest).decode().splitlines():
            digest, _, name = line.partition("  ")
            listed[name] = digest
    names = set(packed.namelist())
    for name, digest in sorted(listed.items()):
        if name not in names:
            faults.append(Fault(name, "it was taken out"))
        elif _digest(packed, name) != digest:
            faults.append(Fault(name, "it was changed"))
    faults += [Fault(name, "it was put in") for name in sorted(names - listed.keys() - _FREE)]
    rows = [(n, hashlib.sha256(line).hexdigest(), line) for n, line in enumerate(_lines(packed), 1)]
    head, broken = check_chain(rows, "data/ledger.jsonl")
    faults += broken
    if packed.read("head.txt").decode().split()[:2] != [str(head.count), head.digest]:
        faults.append(Fault("head.txt", "it names another last line than the logbook has"))
    return head, (*faults, *(() if broken else _attached_faults(packed, sorted(names))))


def _attached_faults(packed: zipfile.ZipFile, names: list[str]) -> Iterator[Fault]:
    """Hold files, seals and runs against the lines of a logbook that holds: as a stranger does, by the same code."""
    entries = [json.loads(line) for line in _lines(packed)]
    for wrong in (*check_attached(partial(_digest, packed), names, entries), *check_seals(packed.read)):
        yield Fault("data/ledger.jsonl", wrong)
    if "data/runs.csv" in names:
        rows = list(csv.DictReader(io.StringIO(packed.read("data/runs.csv").decode("utf-8"))))
        yield from (Fault("data/runs.csv", wrong) for wrong in result_of(rows, entries)[1])


def _lines(packed: zipfile.ZipFile) -> list[bytes]:
    """Give the lines of the logbook."""
    return [line for line in packed.read("data/ledger.jsonl").split(b"\n") if line]


def _digest(packed: zipfile.ZipFile, name: str) -> str:
    """Hash one file of the zip; one that the zip itself finds broken has no digest."""
    try:
        with packed.open(name) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]
    except _TROUBLES:
        return ""


def read_bundle(path: Path) -> Unpacked:
    """Read a bundle that holds, to be taken into a notebook.

    Parameters
    ----------
    path : Path
        Of the zip.

    Returns
    -------
    Unpacked

    Raises
    ------
    RecordingUnreadable
        If it is no bundle, or does not hold; names the first fault.
    """
    _, faults = check_bundle(path)
    if faults:
        first = faults[0]
        raise RecordingUnreadable(path, first.where, f"{first.meaning}. Ask for the bundle once more.")
    with zipfile.ZipFile(path) as packed:
        try:
            entries = tuple(_entries(packed))
        except (LedgerBroken, KeyError, TypeError, ValueError) as error:
            raise RecordingUnreadable(
                path, "data/ledger.jsonl", "no truerun wrote this logbook. Ask for the bundle once more."
            ) from error
        names = {_digest(packed, name): name for name in packed.namelist() if name.startswith(_KEPT)}
    return Unpacked(path, entries, names)


def _entries(packed: zipfile.ZipFile) -> Iterator[Entry]:
    """Read the entries of the logbook, which must all be of the test that the first one opens."""
    lines = _lines(packed)
    test = str(json.loads(lines[0] if lines else b"{}")["test"])
    for number, line in enumerate(lines, 1):
        entry = read_entry(test, number, line, hashlib.sha256(line).hexdigest())
        datetime.fromisoformat(entry.time)
        if (number == 1) != (entry.kind is Kind.OPENED):
            raise ValueError(entry.kind.value)
        yield entry
