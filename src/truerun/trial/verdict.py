"""The verdict: six outcomes, the first that holds."""

from __future__ import annotations

from enum import Enum

from truerun.findings.finding import Finding, Severity
from truerun.trial.context import Context, adding, hand_reach, withdrawn

__all__ = ["Verdict", "decide", "side_of_zero", "size_at_stake"]


class Verdict(Enum):
    """The six outcomes, in the order in which they are tried."""

    NOT_FAIR = "not-a-fair-test"
    ADDS = "adds-energy"
    TAKES = "takes-energy"
    WITHIN_MARGIN = "no-difference-larger-than-margin"
    INCONCLUSIVE = "inconclusive"
    NO_DIFFERENCE = "no-difference-found"


def decide(at: Context, findings: tuple[Finding, ...]) -> Verdict:
    """Decide, by the rule that was fixed before the first run.

    Parameters
    ----------
    at : Context
        Rules, observations and figures.
    findings : tuple of Finding
        What the checks found.

    Returns
    -------
    Verdict

    Notes
    -----
    In this order, the first that holds: a check stops the verdict; the interval of the drive lies above zero; below
    zero; the interval at 1 - 2 alpha lies within the margin; the interval reaches the claimed size (else the margin);
    none of these.
    """
    if at.figures is None or any(found.severity is Severity.STOP for found in findings):
        return Verdict.NOT_FAIR
    return _decided(at)


def _decided(at: Context) -> Verdict:
    """Apply the rule to the figures."""
    drawn = at.drawn
    if withdrawn(at):
        return side_of_zero(*drawn.sequence, hand_reach(at)) or Verdict.INCONCLUSIVE
    side = side_of_zero(drawn.low, drawn.high, hand_reach(at))
    if side:
        return side
    if _within_margin(at):
        return Verdict.WITHIN_MARGIN
    size = size_at_stake(at)
    reaches = drawn.high is None or (size is not None and drawn.high >= size)
    return Verdict.INCONCLUSIVE if size is not None and reaches else Verdict.NO_DIFFERENCE


def side_of_zero(low: float | None, high: float | None, allowance: float) -> Verdict | None:
    """Tell on which side of zero an interval lies, its inner end moved by what a hand could have made."""
    if low is not None and low > allowance:
        return Verdict.ADDS
    if high is not None and high < -allowance:
        return Verdict.TAKES
    return None


def _within_margin(at: Context) -> bool:
    """Tell whether the interval at 1 - 2 alpha lies within the margin."""
    drawn, margin = at.figures, at.rules.margin
    if drawn is None or margin is None or drawn.low_limit is None or drawn.high_limit is None:
        return False
    return drawn.low_limit > adding(at, -margin) and drawn.high_limit < adding(at, margin)


def size_at_stake(at: Context) -> float | None:
    """Give the claimed size, else the margin, on the adding scale, where it is above zero."""
    size = at.rules.claimed if at.rules.claimed is not None else at.rules.margin
    return adding(at, size) if size is not None and size > 0 else None
