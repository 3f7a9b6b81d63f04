"""Both impressions of runs that a stopwatch and a recording timed: equal words for a hidden drive and a hidden brake.

What a bump does to a time to standstill is held against the equation of motion in the tests of the demonstration;
here the times are made up by hand, so that the sums can be done on paper.
"""

from __future__ import annotations

import numpy as np
import pytest

from truerun.report.two_impressions import TwoImpressions, two_impressions
from truerun.series import Run, RunTable
from truerun.trial.comparison import compare_runs
from truerun.trial.impressions import STOPWATCH, stopwatch_impression
from truerun.trial.plan import Conditions, End, Window
from truerun.trial.rules import Rules

ORDER = (1, -1, -1, 1, -1, 1, 1, -1, 1, -1, -1, 1, -1, 1, 1, -1)
NAMES = Conditions(source="arc in", control="arc out")
RULES = Rules(
    NAMES,
    end=End.SPEED,
    window=Window.model_validate({"from": 4 * np.pi, "to": 4 * np.pi / 3, "defined_by": "energy"}),
    orders="blocks-of-four",
    adjust=("run-number",),
)


def shown(
    window: tuple[float, float], watch: tuple[float, float], captures: tuple[float | None, float | None]
) -> object:
    """Show runs of which those with the source and with the control take so long on average [s]."""
    wobble = 0.002 * np.random.default_rng(1).standard_normal(len(ORDER))
    runs = tuple(
        Run(
            slot,
            NAMES.source if sign > 0 else NAMES.control,
            window[sign < 0] * (1 + share),
            extra={STOPWATCH: watch[sign < 0] * (1 + share)},
        )
        for slot, (sign, share) in enumerate(zip(ORDER, wobble, strict=True), start=1)
    )
    table = RunTable(runs)
    impression = stopwatch_impression(table, RULES)
    assert impression is not None
    return two_impressions(compare_runs(table, RULES), impression, captures)


def both(*times: tuple[float, float], captures: tuple[float | None, float | None] = (None, None)) -> TwoImpressions:
    """Show runs, which must have something to show."""
    found = shown(times[0], times[1], captures)
    assert isinstance(found, TwoImpressions)
    return found


class TestBothSidesAreSaid:
    def test_a_brake_that_rocks_longer_looks_like_a_gain(self) -> None:
        found = both((150.0, 160.0), (360.0, 320.0), captures=(1.26, None))
        assert (found.stopwatch.says, found.window.says) == ("Looks like a gain", "A brake")
        why = " ".join(found.why)
        assert "the wheel lost more with arc in" in why
        assert "12 r/min" in why.replace("\N{NO-BREAK SPACE}", " ")
        assert "rocks to and fro" in why

    def test_a_drive_that_is_caught_early_looks_like_a_brake(self) -> None:
        found = both((160.0, 150.0), (280.0, 320.0))
        assert (found.stopwatch.says, found.window.says) == ("Looks like a brake", "A gain")
        assert "the wheel lost less with arc in" in " ".join(found.why)

    def test_where_both_agree_nothing_is_explained_away(self) -> None:
        found = both((150.0, 160.0), (300.0, 320.0))
        assert not found.differ
        assert len(found.why) == 1

    def test_without_a_clear_difference_over_the_window_none_is_said(self) -> None:
        found = both((160.0, 160.0), (360.0, 320.0))
        assert found.window.says == "No clear difference"
        assert "no clear difference was found" in " ".join(found.why)

    def test_the_seconds_add_up(self) -> None:
        rows = both((150.0, 160.0), (360.0, 320.0)).rows
        whole, inside, outside = ([float(cell.split("\N{NO-BREAK SPACE}")[0]) for cell in row[1:]] for row in rows)
        # rounding to a tenth, three times
        assert np.array(inside) + np.array(outside) == pytest.approx(np.array(whole), abs=0.15)

    def test_both_have_their_luck_picture_and_count(self) -> None:
        found = both((150.0, 160.0), (360.0, 320.0))
        for side in (found.stopwatch, found.window):
            assert side.picture is not None
            assert side.luck is not None
            assert side.luck.count == "2"
