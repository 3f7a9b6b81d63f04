"""Check a truerun bundle with nothing but Python 3.8 or later.

    python3 verify.py [FOLDER OR ZIP]

Three things are checked, each said on a line of its own:
  1. every file is what the manifest says (SHA-256);
  2. every line of the logbook follows the one before, its last line is the one in head.txt, and the recordings,
     photos and report are those that it names, and every sealed plan is the one that its seal was made from;
  3. the drive, how often luck alone does this, and p, anew from runs.csv and the sealed order.
Ends with 0 where all three hold, else with 1. This file is copied into every bundle; read it before you run it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import itertools
import json
import math
import sys
import zipfile
import zlib
from pathlib import Path
from typing import Any, Callable

MOST_ORDERS = 200000
LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
TROUBLES = (
    *(OSError, EOFError, KeyError, RuntimeError, TypeError, ValueError, AttributeError),
    *(zipfile.BadZipFile, zlib.error),
)
BLOCKS = {
    "blocks-of-four": ["++--", "+-+-", "+--+", "-++-", "-+-+", "--++"],
    "pairs": ["+-", "-+"],
    "abba-blocks": ["+--+", "-++-"],
}


def opened(place: str) -> tuple[Callable[[str], bytes], list[str]]:
    """Give a function that reads a file of the bundle, and the names of all files."""
    path = Path(place)
    if path.is_dir():
        names = sorted(str(each.relative_to(path)).replace("\\", "/") for each in path.rglob("*") if each.is_file())
        return (lambda name: (path / name).read_bytes()), names
    packed = zipfile.ZipFile(path)
    return packed.read, sorted(packed.namelist())


def check_files(read: Callable[[str], bytes], names: list[str]) -> list[str]:
    """Hold every file against the manifests; give what is wrong."""
    wrong: list[str] = []
    listed: dict[str, str] = {}
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        if manifest not in names:
            wrong.append(manifest + " is not there")
            continue
        for line in read(manifest).decode("utf-8").splitlines():
            digest, _, name = line.partition("  ")
            listed[name] = digest
    for name, digest in sorted(listed.items()):
        if name not in names:
            wrong.append(name + " was taken out")
        elif hashlib.sha256(read(name)).hexdigest() != digest:
            wrong.append(name + " was changed")
    free = {"tagmanifest-sha256.txt", "verify.py", "VERIFY.txt", "head.txt"}
    wrong += [name + " was put in" for name in names if name not in listed and name not in free]
    return wrong


def check_ledger(read: Callable[[str], bytes]) -> tuple[list[dict[str, Any]], list[str]]:
    """Follow the chain of the logbook; give its entries and what is wrong."""
    wrong: list[str] = []
    entries: list[dict[str, Any]] = []
    before = "0" * 64
    for place, line in enumerate(read("data/ledger.jsonl").split(b"\n"), 1):
        if not line:
            continue
        entry = json.loads(line)
        if entry["number"] != len(entries) + 1:
            wrong.append(f"line {place} has the number {entry['number']}")
        if entry["follows"] != before:
            wrong.append(f"line {place} does not follow the line before it")
        before = hashlib.sha256(line).hexdigest()
        entries.append(entry)
    head = read("head.txt").decode("utf-8").split()
    if head[:2] != [str(len(entries)), before]:
        wrong.append("the last line is not the one in head.txt")
    return entries, wrong


class Digits(str):
    """A number with the digits that stand in the logbook."""

    __slots__ = ()


def canonical(value: Any) -> str:
    """Write what was read from a canonical line as canonical JSON again (RFC 8785)."""
    if isinstance(value, Digits):
        return str(value)
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return "{" + ",".join(canonical(key) + ":" + canonical(value[key]) for key in keys) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def check_seals(read: Callable[[str], bytes]) -> list[str]:
    """Hold every sealed plan against the fingerprint and the code of its seal."""
    wrong: list[str] = []
    for line in filter(None, read("data/ledger.jsonl").split(b"\n")):
        entry = json.loads(line, parse_float=Digits, parse_int=Digits)
        if entry["kind"] not in ("sealed", "screening"):
            continue
        plan = {key: value for key, value in entry["body"]["plan"].items() if key != "seal"}
        digest = hashlib.sha256(canonical(plan).encode("utf-8")).hexdigest()
        if entry["body"]["plan"].get("seal") != {"sha256": digest, "code": code_of(digest)}:
            wrong.append(f"the plan of line {entry['number']} is not the one that was sealed")
    return wrong


def code_of(digest: str) -> str:
    """Give the short code of a fingerprint."""
    number, letters = int(digest, 16), ""
    for _ in range(16):
        number, place = divmod(number, len(LETTERS))
        letters = LETTERS[place] + letters
    return " ".join(letters[start : start + 4] for start in range(0, 16, 4))


def check_attached(digest_of: Callable[[str], str], names: list[str], entries: list[dict[str, Any]]) -> list[str]:
    """Hold recordings, photos and the report against the lines of the logbook that name them."""
    withdrawn = {entry["body"]["entry"] for entry in entries if entry["kind"] == "withdrawn"}
    attached = [entry for entry in entries if entry["kind"] in ("recording", "photo")]
    there = {digest_of(name): name for name in names if name.startswith("data/recordings/")}
    wrong = [
        f"the {entry['kind']} of line {entry['number']} is not there as it was written down"
        for entry in attached
        if entry["body"]["digest"] not in there and entry["number"] not in withdrawn
    ]
    known = {entry["body"]["digest"] for entry in attached}
    wrong += [name + " stands in no line of the logbook" for digest, name in there.items() if digest not in known]
    reported = [entry["body"].get("digest") for entry in entries if entry["kind"] == "reported"]
    if reported and reported[-1] and "data/report.html" not in names:
        wrong.append("the report that the logbook names is not there")
    elif reported and reported[-1] and digest_of("data/report.html") != reported[-1]:
        wrong.append("data/report.html is not the report that was written down")
    return wrong


def orders_of(name: str, runs: int) -> list[list[int]] | None:
    """List every order of +1 and -1 that could have been drawn; None where there are too many to list."""
    if name in BLOCKS:
        blocks = [[1 if sign == "+" else -1 for sign in block] for block in BLOCKS[name]]
        count = runs // len(blocks[0])
        if len(blocks) ** count > MOST_ORDERS:
            return None
        return [list(itertools.chain(*chosen)) for chosen in itertools.product(blocks, repeat=count)]
    if name in ("complete", "restricted") and math.comb(runs, runs // 2) <= MOST_ORDERS:
        halves = (set(half) for half in itertools.combinations(range(runs), runs // 2))
        orders = [[1 if slot in half else -1 for slot in range(runs)] for half in halves]
        return orders if name == "complete" else [order for order in orders if well_mixed(order)]
    return None


def well_mixed(order: list[int]) -> bool:
    """Tell whether no condition comes more than three times running and mean slots lie within two."""
    running = any(abs(sum(order[start : start + 4])) == 4 for start in range(len(order) - 3))
    return not running and abs(sum(sign * slot for slot, sign in enumerate(order, 1))) <= len(order)


def left_over(row: list[float], columns: list[list[float]]) -> list[float]:
    """Take what the columns explain off a row (Gram-Schmidt)."""
    for column in columns:
        share = sum(a * b for a, b in zip(row, column))
        row = [a - share * b for a, b in zip(row, column)]
    return row


def orthonormal(columns: list[list[float]]) -> list[list[float]]:
    """Make columns of length 1, each at right angles to those before."""
    made: list[list[float]] = []
    for column in columns:
        rest = left_over(column, made)
        size = math.sqrt(sum(value * value for value in rest))
        if size > 1e-9:
            made.append([value / size for value in rest])
    return made


def decide(rows: list[dict[str, str]], plan: dict[str, Any]) -> tuple[str, dict[str, float] | None]:
    """Compute drive and p anew; give a sentence, and the figures where there are any."""
    source = plan["conditions"]["source"]
    kept = [place for place, row in enumerate(rows) if row["counts"] == "yes"]
    if any(row["counts"] == "worst" for row in rows) or any(row["unfinished"] == "yes" for row in rows):
        return "not computed anew: runs were reckoned at their worst or had not ended; see the report", None
    if plan["measurand"]["scale"] != "log" or any(each != "run-number" for each in plan["adjust"]):
        return "not computed anew: this plan compares or adjusts for more than this file knows; see the report", None
    if any(not rows[place]["value"] for place in kept):
        return "not computed anew: the times come from recordings over no common speeds; see the report", None
    orders = orders_of(plan["orders"], plan["runs"])
    if orders is None or len(rows) != plan["runs"]:
        return "not computed anew: the orders are too many to list here, or runs are missing; see the report", None
    y = [math.log(float(rows[place]["value"])) for place in kept]
    used = [1 if plan["order"][place] == source else -1 for place in kept]
    fixed = [[1.0] * len(kept)]
    if "run-number" in plan["adjust"]:
        fixed.append([float(place) for place in kept])
    columns = orthonormal(fixed)
    results = []
    for order in [*orders, [1 if name == source else -1 for name in plan["order"]]]:
        rest = left_over([float(order[place]) for place in kept], columns)
        size = math.sqrt(sum(value * value for value in rest)) or 1.0
        results.append((sum(r * v for r, v in zip(rest, y)) / size, sum(r * z for r, z in zip(rest, used)) / size))
    a, b = results.pop()
    delta = 2 * a / b
    same = sum(other >= b * (1 - 1e-9) for _, other in results)
    up = down = same
    for each, other in results:
        if other >= b * (1 - 1e-9):
            continue
        tie = 2 * (a - each) / (b - other)
        up += tie <= 1e-9
        down += tie >= -1e-9
    p = min(1.0, 2 * min(up, down) / len(results))
    drive = 1 - math.exp(-delta)
    luck = f"luck alone does this in {round(p * len(results))} of {len(results)} orders"
    said = f"drive {100 * drive:+.2f} %, p = {p:.6g}: {luck}"
    return said, {"drive_fraction": drive, "p": p, "orders": len(results)}


def agrees(found: dict[str, float] | None, entries: list[dict[str, Any]]) -> list[str]:
    """Hold the figures against the verdict in the logbook; give what is wrong."""
    decided = [entry["body"]["comparison"] for entry in entries if entry["kind"] == "decided"]
    if found is None or not decided or decided[-1].get("drive_fraction") is None:
        return []
    said = decided[-1]
    wrong = []
    if abs(said["drive_fraction"]["value"] - found["drive_fraction"]) > 1e-9:
        wrong.append(f"the logbook says a drive of {said['drive_fraction']['value']!r}")
    if said["p"] is not None and abs(said["p"] - found["p"]) > 1e-12:
        wrong.append(f"the logbook says p = {said['p']!r}")
    return wrong


def result_of(rows: list[dict[str, str]], entries: list[dict[str, Any]]) -> tuple[str, list[str], str]:
    """Hold the table of runs against the seal, and the verdict against the runs.

    Gives what was held, what is wrong with it, and a remark; nothing was held where no plan was sealed.
    """
    sealed = [entry["body"]["plan"] for entry in entries if entry["kind"] in ("sealed", "screening")]
    if not sealed:
        return "", [], "Result: no plan was sealed, nothing to compute"
    plan = sealed[-1]
    same = [row["condition"] for row in rows] == plan["order"]
    wrong = [] if same else ["runs.csv is not in the order that was sealed"]
    done = sum(row["counts"] != "missing" for row in rows)
    if "variants" in plan:
        return f"Screening, {done} of {len(rows)} runs done in the sealed order; it decides nothing", wrong, ""
    if done < len(rows) and not any(entry["kind"] == "seal-broken" for entry in entries):
        return f"Result, covered until the last run: {done} of {len(rows)} are done", wrong, ""
    said, found = decide(rows, plan)
    if found is None:
        return "Runs in the order that was sealed", wrong, "The result was " + said
    return "Result, " + said, wrong + agrees(found, entries), ""


def check_result(rows: list[dict[str, str]], entries: list[dict[str, Any]]) -> bool:
    """Say whether the table of runs and the verdict hold, and tell it."""
    what, wrong, remark = result_of(rows, entries)
    if not what:
        print("3. " + remark)
        return True
    held = say(3, what, wrong)
    if remark:
        print("   - " + remark)
    return held


def say(number: int, what: str, wrong: list[str]) -> bool:
    """Write one line, and what is wrong below it."""
    print(f"{number}. {what}: {'DOES NOT HOLD' if wrong else 'holds'}")
    for each in wrong:
        print("   - " + each)
    return not wrong


def main(words: list[str]) -> int:
    """Check everything and say it."""
    place = words[0] if words else "."
    try:
        read, names = opened(place)
        good = say(1, "Files", check_files(read, names))
        entries, wrong = check_ledger(read)
        wrong += check_attached(lambda name: hashlib.sha256(read(name)).hexdigest(), names, entries) + check_seals(read)
        good &= say(2, f"Logbook, {len(entries)} lines", wrong)
        rows = list(csv.DictReader(io.StringIO(read("data/runs.csv").decode("utf-8"))))
        good &= check_result(rows, entries)
    except TROUBLES as error:
        print(f"This bundle cannot be read to its end: {type(error).__name__}: {error}")
        return 1
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
