"""Several tests together as plain text."""

from __future__ import annotations

import math

from truerun.findings.several_words import POOL_WORDS
from truerun.report.layout import rows_text, wrapped
from truerun.report.noticed import findings_text
from truerun.stats.pooling import Pooled
from truerun.trial.context import amount, shown
from truerun.trial.pooled import OneOfSeveral, PooledEffects, PooledTests

__all__ = ["pooled_text", "span_text", "trust_rows"]

_TOO_RARE = 0.1


def pooled_text(result: PooledTests) -> str:
    """Write several tests together: what they say, each of them, and how far the sum may be trusted.

    Parameters
    ----------
    result : PooledTests
        Finished.

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    parts = [result.headline, wrapped(result.sentence), "\n".join(_test_text(test, result) for test in result.tests)]
    if result.together is not None:
        parts.append(rows_text(trust_rows(result, result.together)))
    if result.findings:
        parts.append(findings_text(result.findings))
    return "\n\n".join(parts)


def _test_text(test: OneOfSeveral, result: PooledTests) -> str:
    """Write one test: its place, what it found, and why it is not pooled."""
    at, drawn = test.comparison.at, test.comparison.figures
    lines = [f"{test.name}: {test.comparison.headline}"]
    if test.place is not None:
        lines.append(f"  {POOL_WORDS['in-plan'].format(number=test.place.number, of=test.place.of)}")
    if drawn is not None and test.why_not is None:
        low, high = (None if end is None else shown(at, end) for end in (drawn.low, drawn.high))
        words = ["open" if end is None else amount(at, end, signed=True) for end in _in_order(low, high, result)]
        lines.append(f"  {amount(at, shown(at, at.effect), signed=True)}, between {words[0]} and {words[1]}")
    if test.why_not is not None:
        lines.append(wrapped(f"Not pooled: {test.why_not}", first=2, hanging=2))
    return "\n".join(lines)


def _in_order(low: float | None, high: float | None, result: PooledTests) -> tuple[float | None, float | None]:
    """Put the ends of a span in rising order where less of the measured quantity is more drive."""
    falling = not result.at.logarithmic and result.at.rules.measurand.sign < 0
    return (high, low) if falling else (low, high)


def _times(ratio: float) -> str:
    """Say how many times as much, in words that fit small numbers too."""
    return f"{ratio:.1f} times as far" if ratio >= 0.1 else "hardly as far"


def trust_rows(result: PooledTests, together: PooledEffects) -> list[tuple[str, str]]:
    """Give what shows how far the pooled figure may be trusted."""
    at, agreed = result.at, together.agreement
    spread = [amount(at, size) for size in (together.mean.spread, *together.spread)]
    rows = [
        ("Spread between tests", f"{spread[0]}, between {spread[1]} and {spread[2]}"),
        (
            "Do the tests agree?",
            f"they lie {_times(math.sqrt(agreed.q / agreed.df))} apart as luck alone would let them"
            + (", more than luck explains" if agreed.p < _TOO_RARE else ""),
        ),
    ]
    if together.mean.predicted_low is not None and together.mean.predicted_high is not None:
        ends = sorted((shown(at, together.mean.predicted_low), shown(at, together.mean.predicted_high)))
        words = [amount(at, end, signed=True) for end in ends]
        rows.append(("One more test like these", POOL_WORDS["prediction"].format(low=words[0], high=words[1])))
    rows += [
        (f"Without {test.name}", span_text(result, rest))
        for test, rest in zip(result.used, together.rest, strict=False)
    ]
    prior = together.prior
    middle = Pooled(prior.effect, 0.0, prior.low, prior.high, prior.spread, None, None)
    rows.append(("If the tests are assumed to differ little", span_text(result, middle)))
    return rows


def span_text(result: PooledTests, found: Pooled) -> str:
    """Write an effect with its span."""
    at = result.at
    low, high = sorted((shown(at, found.low), shown(at, found.high)))
    words = [amount(at, size, signed=True) for size in (shown(at, found.effect), low, high)]
    return f"{words[0]}, between {words[1]} and {words[2]}"
