"""A rehearsal as plain text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from truerun.report.layout import minutes_text, rows_text, wrapped
from truerun.trial.phrases import percent
from truerun.trial.plan import End, Plan
from truerun.trial.verdict import Verdict
from truerun.virtual.rehearsal import Rehearsal

__all__ = ["rehearsal_text"]


def rehearsal_text(plan: Plan, rehearsals: Sequence[Rehearsal], improvements: Sequence[tuple[str, float]]) -> str:
    """Write how often each verdict came on the virtual bench, and what would help more.

    Parameters
    ----------
    plan : Plan
        That was rehearsed.
    rehearsals : sequence of Rehearsal
        One for each truth.
    improvements : sequence of (words, share)
        How often the drive at stake would be found, the plan as it is first.

    Returns
    -------
    str
    """
    parts = [
        wrapped(
            "Made-up tests on a virtual wheel whose truth is known, each with an order drawn afresh: "
            "how often does each verdict come?"
        )
    ]
    for each in rehearsals:
        rows = [
            (_plain_verdict(verdict.value), _out_of(each.verdicts[verdict.value], each.tests))
            for verdict in Verdict
            if verdict.value in each.verdicts
        ]
        rows.append(("the wheel turns", f"{minutes_text(each.seconds / 60)} in one test"))
        parts.append(f"Truth: {each.truth.words}, in {_tests(each.tests)}\n" + textwrap.indent(rows_text(rows), "  "))
    if improvements:
        rows = [(words, f"finds it in {percent(share)} of tests") for words, share in improvements]
        heading = "What would find the drive at stake more often (from the orders, without drift)\n"
        parts.append(heading + textwrap.indent(rows_text(rows), "  "))
    if plan.end is End.STANDSTILL:
        parts.append(wrapped("The runs are timed to standstill: the virtual wheel has no bump, a real one may."))
    return "\n\n".join(parts)


def _plain_verdict(name: str) -> str:
    """Write a verdict's identifier as words."""
    return name.replace("-", " ")


def _out_of(count: int, tests: int) -> str:
    """Write a count and its share."""
    return f"{_tests(count)}, {percent(count / tests)}"


def _tests(count: int) -> str:
    """Write a number of tests."""
    return "1 test" if count == 1 else f"{count} tests"
