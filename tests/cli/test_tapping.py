"""``truerun look`` without a table: six runs tapped with Enter, on a clock that is handed in.

Closed form: under dry friction alone a wheel is uniformly retarded (Bansal, Engineering Mechanics, example 13.5,
p. 473), so that times between two speeds go as one over the drag.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from truerun.cli import look
from truerun.cli.tapping import tapped_runs
from truerun.series import RunTable
from truerun.virtual.bench import simulate_taps

Called = Callable[..., tuple[int, str, str]]

DRAG = {"in": 0.044, "out": 0.040}  # [rad/s^2]


def passes(drag: float, speed: float) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], float]:
    """Give the passes of a uniformly retarded wheel, and when it rests: angle = speed t - drag t^2 / 2."""
    turns = np.arange(1, int(speed**2 / (2 * drag) / (2 * np.pi)))
    return (speed - np.sqrt(speed**2 - 4 * np.pi * drag * turns)) / drag, speed / drag


def sat_down(monkeypatch: pytest.MonkeyPatch, *, thrown: bool = False) -> Iterator[float]:
    """Type six runs, the last one left off while it turns; give the moments of the presses."""
    rng = np.random.default_rng(5)
    lines, moments = ["in", "out"], []
    if thrown:
        lines += ["", "", "w"]
        moments += [1.0, 2.0, 3.0]
    for run in range(6):
        times, rest = passes(DRAG["in" if run % 2 == 0 else "out"], rng.uniform(7.4, 8.2))
        taps = simulate_taps(times, rng, 0.05, 0.001)
        lines += [""] * taps.size + ["e" if run == 5 else "s"]
        moments += [1000.0 * (run + 1) + float(time) for time in (*taps, rest)]
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    return iter(moments)


class TestSixRunsOnATerminal:
    def test_they_become_a_table_of_taps_and_standstills(self, monkeypatch: pytest.MonkeyPatch) -> None:
        moments = sat_down(monkeypatch, thrown=True)
        table, source, control = tapped_runs(lambda: next(moments))
        assert (source, control) == ("in", "out")
        assert [run.condition for run in table.runs] == ["in", "out"] * 3
        assert [run.value is not None for run in table.runs] == [True] * 5 + [False]
        assert str(table.runs[0].extra["taps"]).startswith("0.000 ")

    def test_the_command_compares_them_over_a_fair_window(self, monkeypatch: pytest.MonkeyPatch, call: Called) -> None:
        moments = sat_down(monkeypatch)

        def tapped() -> tuple[RunTable, str, str]:
            return tapped_runs(lambda: next(moments))

        monkeypatch.setattr(look, "on_terminal", lambda: True)
        monkeypatch.setattr(look, "tapped_runs", tapped)
        code, out, err = call("look")
        assert code == 0
        assert "Enter at every pass" in " ".join(err.split())
        assert "One tap scatters by 0.0" in out
        shown = float(out.split("runs were ")[1].split()[0].replace("\N{NO-BREAK SPACE}%", ""))
        assert shown == pytest.approx(100 * (1 - 0.040 / 0.044), abs=1.2)  # three runs each, .5 % a time by tapping

    def test_the_end_of_the_input_leaves(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(sys, "stdin", io.StringIO("in\nout\n\n\n"))
        with pytest.raises(KeyboardInterrupt):
            tapped_runs(lambda: 0.0)

    def test_without_a_terminal_a_table_is_asked_for(self, call: Called) -> None:
        code, out, err = call("look")
        assert code == 2
        assert out == ""
        assert "Name a table: truerun look times.csv" in err
