"""Putting finished tests of one claim together.

Pages and pictures are imported where a result is shown as one: templates and drawings would double the time of a cold
start.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from truerun.report.pooled_text import pooled_text
from truerun.trial.comparison import Comparison
from truerun.trial.pooled import PooledTests, pool_tests
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.results import SeveralResult
from truerun.workflow.versions import versions

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.several_page import SeveralPage

__all__ = ["PoolResult", "pool"]

PLAN, SHEET = "plan.json", "run-sheet.csv"


@dataclass(frozen=True, slots=True, repr=False)
class PoolResult(SeveralResult):
    """Several tests put together; it can show itself."""

    pooled: PooledTests

    def __repr__(self) -> str:
        return f"<pool: {len(self.pooled.tests)} tests. {self.pooled.headline}>"

    @property
    def stopped(self) -> bool:
        """Whether fewer than two tests could be used."""
        return len(self.pooled.used) < 2

    def summary(self) -> str:
        """Give the result as plain text."""
        return pooled_text(self.pooled)

    def document(self) -> dict[str, Any]:
        """Give the result as plain data, schema ``truerun/pool/1``."""
        return self.pooled.document() | {"versions": versions()}

    def _said(self, document: dict[str, Any] | None, *, invented: bool) -> SeveralPage:
        """Give what the page says; the document is enclosed where there is one."""
        from truerun.report.pool_page import pool_said  # noqa: PLC0415  see the head of this module

        return pool_said(self.pooled, document, invented=invented)

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""
        from truerun.charts.pooled import draw_pooled  # noqa: PLC0415  see the head of this module

        return (draw_pooled(self.pooled),)


def pool(*tests: Any) -> PoolResult:
    """Put finished tests of one claim together.

    Parameters
    ----------
    *tests : folder, (table, plan), or ComparisonResult
        A folder as ``truerun plan --out`` wrote it (plan.json and run-sheet.csv, filled in), the two by themselves, or
        a finished comparison. At least two.

    Returns
    -------
    PoolResult

    Raises
    ------
    TruerunError
        One sentence: what was found, what is allowed, what to do.

    Notes
    -----
    Two tests stand side by side; from three on they are pooled (Paule-Mandel, Hartung-Knapp). Tests that are not fair,
    not complete, or not of the source itself are listed with the reason and not pooled.

    Examples
    --------
    >>> order = "in out out in out in in out in out in out".split()
    >>> runs = {"run": list(range(1, 13)), "condition": order}
    >>> times = [61.2, 58.9, 59.3, 61.9, 60.0, 62.4, 62.9, 60.8, 63.0, 61.1, 63.4, 61.5]
    >>> results = [compare(runs | {"time": [time + extra * run for run, time in enumerate(times)]}, control="out",
    ...                    orders="blocks-of-four", end="speed", timing="sensor") for extra in (0.0, 0.1, 0.3)]
    >>> pool(*results)
    <pool: 3 tests. Together: the source adds energy.>
    """
    comparisons, names = [], []
    for number, test in enumerate(tests, 1):
        name, found = _compared(test, number)
        comparisons.append(found)
        names.append(name)
    return PoolResult(pool_tests(comparisons, names))


def _compared(test: Any, number: int) -> tuple[str, Comparison]:
    """Compare one test, unless that was done already; give its name too."""
    if isinstance(test, ComparisonResult):
        return test.comparison.at.table.path or f"test {number}", test.comparison
    if isinstance(test, tuple):
        table, plan = test
        name = os.fspath(table) if isinstance(table, str | os.PathLike) else f"test {number}"
        return name, compare(table, plan).comparison
    folder = Path(test)
    return str(test), compare(folder / SHEET, folder / PLAN).comparison
