"""Whether the sensor saw the passes of all conditions alike."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr  # scipy.stats would cost seconds at import

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.counting import CountedPasses

__all__ = ["pass_count_findings"]

LEAST_DIFFERENCE = 0.01
LUCK = 0.01


def pass_count_findings(runs: Sequence[tuple[str, CountedPasses]]) -> tuple[Finding, ...]:
    """Say when passes are missing more often with one condition than with another.

    Parameters
    ----------
    runs : sequence of (str, CountedPasses)
        Condition and passes of each run.

    Returns
    -------
    tuple of Finding
        ``pass-count-differs`` for the two conditions that differ most, or nothing.

    Notes
    -----
    The share of missing passes of each run is one observation. The means of two conditions must differ by more than
    1 % and by more than luck does once in 100 pairs of conditions, from the spread between runs of one condition
    (normal approximation; a single run a condition is judged by its counts). Magnets near a magnetic sensor do this.
    """
    shares: dict[str, list[float]] = {}
    passes: dict[str, int] = {}
    for condition, counted in runs:
        whole = int(counted.counts[-1] - counted.counts[0]) + 1
        shares.setdefault(condition, []).append(1 - counted.counts.size / whole)
        passes[condition] = passes.get(condition, 0) + whole
    if len(shares) < 2:
        return ()
    means = {condition: float(np.mean(values)) for condition, values in shares.items()}
    ranked = sorted(means, key=lambda name: means[name])
    less, more = ranked[0], ranked[-1]
    away = means[more] - means[less]
    spread = math.hypot(*(_spread(shares[name], passes[name]) for name in (more, less)))
    pairs = len(shares) * (len(shares) - 1) / 2
    if away <= LEAST_DIFFERENCE or 2 * pairs * float(ndtr(-away / spread)) > LUCK:
        return ()
    words = {"more": more, "less": less, "many": f"{100 * means[more]:.2g} %", "few": f"{100 * means[less]:.2g} %"}
    return (finding("pass-count-differs", words, size=f"{100 * away:.2g} %"),)


def _spread(shares: list[float], passes: int) -> float:
    """Give the standard uncertainty of a mean share: from the runs, at least that of counting."""
    mean = sum(shares) / len(shares)
    counting = math.sqrt(max(mean * (1 - mean), 1 / passes) / passes)
    between = float(np.std(shares, ddof=1) / np.sqrt(len(shares))) if len(shares) > 1 else 0.0
    return max(counting, between)
