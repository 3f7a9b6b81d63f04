"""Tests of one claim side by side and, from three on, what they say together."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from truerun.charts.drawing import Drawing, Width
from truerun.charts.forest import ForestRow, draw_forest
from truerun.charts.reading import reading_of
from truerun.trial.pooled import OneOfSeveral, PooledTests

__all__ = ["draw_pooled", "short_name"]

_LONGEST = 18
_SHEET = "run-sheet"


def draw_pooled(result: PooledTests, width: Width = Width.WIDE) -> Drawing:
    """Draw every test on one ruled line and, below a line of its own, all together.

    Parameters
    ----------
    result : PooledTests
        Finished; a test that is not complete stands there as covered.
    width : Width
        For which width.

    Returns
    -------
    Drawing
    """
    document = result.document()
    rows = [_row(test, each) for test, each in zip(result.tests, document["tests"], strict=True)]
    return draw_forest(
        rows,
        width,
        pooled=_together(document),
        reading=reading_of(result.tests[0].comparison),
        title=result.headline,
    )


def short_name(name: str) -> str:
    """Give the part of a test's name that fits beside its line: its folder, or its table.

    Examples
    --------
    >>> short_name("hall/first-test"), short_name("hall/third/run-sheet.csv"), short_name("test 2")
    ('first-test', 'third', 'test 2')
    >>> short_name("an-arc-with-sixteen-magnets")
    'an-arc-wi…-magnets'
    """
    path = PurePath(name)
    short = (path.parent.name if path.stem == _SHEET else path.name) or name
    if len(short) <= _LONGEST:
        return short
    half = _LONGEST // 2
    return f"{short[:half]}…{short[-(_LONGEST - half - 1) :]}"


def _row(test: OneOfSeveral, document: dict[str, Any]) -> ForestRow:
    """Give one test, covered where its planned runs are not all done."""
    found = document["drive_fraction"] or document["effect"]
    remark = f"test {test.place.number} of {test.place.of}" if test.place is not None else "no sealed plan"
    remark += ", not pooled" if test.why_not is not None else ""
    if found is None or test.comparison.verdict is None:
        return ForestRow(short_name(test.name), None, None, None, remark)
    return ForestRow(short_name(test.name), found["value"], found["low"], found["high"], remark)


def _together(document: dict[str, Any]) -> ForestRow | None:
    """Give all together, None below three tests."""
    pooled = document["pooled"]
    if pooled is None:
        return None
    found = pooled.get("drive_fraction") or pooled["effect"]
    return ForestRow("All together", found["value"], found["low"], found["high"], f"{pooled['tests']} tests")
