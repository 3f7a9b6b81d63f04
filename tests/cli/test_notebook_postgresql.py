"""The whole job on the terminal with its notebook on a real PostgreSQL: killed in the middle, gone on with."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.notebook.test_postgresql import place, server  # noqa: F401  fixtures
from truerun.notebook.ledger import open_notebook

Called = Callable[..., tuple[int, str, str]]

CLAIM = "With the arc in place the wheel gains on every turn."
NAMES = {"arc in": 57.0, "arc out": 60.0}
WOBBLE = (0.1, -0.2, 0.3, 0.0, -0.1, 0.2, -0.3, 0.1, 0.0, 0.2, -0.2, 0.3)


def test_from_claim_to_a_bundle_that_a_stranger_checks(
    place: str,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    call: Called,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TRUERUN_NOTEBOOK", place)
    wanted = ("--claim", CLAIM, "--source", "arc in", "--control", "arc out", "--end", "speed", "--runs", 12)
    assert call("plan", *wanted, "--timing", "sensor", "--out", tmp_path)[0] == 0
    assert call("new", "the rim arc", "--claim", CLAIM, "--plan", "plan.json")[0] == 0
    order = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))["order"]
    times = [NAMES[name] + shift for name, shift in zip(order, WOBBLE, strict=True)]
    acknowledged = 0
    for number, value in enumerate(times[:4]):
        started = subprocess.Popen(
            [sys.executable, "-m", "truerun", "run", "--time", f"{value}"],
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=os.environ | {"HOME": str(tmp_path)},
        )  # fmt: skip
        if number % 2:
            time.sleep(0.3 * number)  # somewhere between start and end
            started.send_signal(signal.SIGKILL)
        acknowledged += b"runs are done" in started.communicate()[0]
    with open_notebook(place) as book:
        done = sum(entry.kind.value == "stopped" for entry in book.entries(book.tests()[0].id))
    assert acknowledged <= done <= 4
    for value in times[done:]:
        assert call("run", "--time", value)[0] == 0
    code, out, _ = call("decide", "--json")
    assert (code, json.loads(out)["verdict"]) == (0, "takes-energy")
    assert call("bundle", "--out", "arc.zip")[0] == 0
    assert call("verify")[0] == 0
    assert call("verify", "arc.zip")[0] == 0
    with zipfile.ZipFile("arc.zip") as packed:
        packed.extractall("unpacked")
    alone = subprocess.run(
        [sys.executable, "-I", "-S", "verify.py"], cwd="unpacked", capture_output=True, text=True, check=False
    )
    assert alone.returncode == 0, alone.stdout + alone.stderr
