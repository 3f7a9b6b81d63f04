"""Which forms of drag the same speeds can tell apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.speed_fit import SpeedRundown, fit_speeds
from truerun.motion.words import term_name
from truerun.series import SpeedTable

__all__ = ["RivalTerms", "compare_terms"]

ALIKE = 6.0
MOST_LAG = 0.95
COUNTS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six"}


@dataclass(frozen=True, slots=True, eq=False)
class RivalTerms:
    """Forms of drag fitted to the same speeds.

    ``behind`` holds, for each, by how much its chi-squared with 2 for every term lies above the least one, and
    ``alike`` the places of those that the readings cannot tell apart.
    """

    fits: tuple[SpeedRundown, ...]
    behind: tuple[float, ...]
    alike: tuple[int, ...]
    findings: tuple[Finding, ...]


def compare_terms(
    table: SpeedTable,
    candidates: Sequence[tuple[float, ...]] = ((0,), (1,), (0, 1), (1, 2), (0, 2), (0, 1, 2)),
    *,
    drift: bool = True,
) -> RivalTerms:
    """Fit several forms of drag and say which of them these speeds cannot tell apart.

    Parameters
    ----------
    table : SpeedTable
    candidates : sequence of tuple of float
        Exponents of speed of each form.
    drift : bool
        As for :func:`truerun.motion.speed_fit.fit_speeds`.

    Returns
    -------
    RivalTerms

    Raises
    ------
    FitImpossible
        If this is no rundown, or a form has more terms than the speeds allow.

    Notes
    -----
    Akaike's criterion: chi-squared (n ln of the residual sum of squares where no uncertainty is stated) plus 2 a term.
    Forms within 6 of the least, which is odds of exp(3) = 20 to 1, count as not told apart (common practice, no
    source). Where residuals hang together, differences count only (1 - r)/(1 + r) of their size, with r the
    neighbours' correlation in the form that leaves least.

    Examples
    --------
    >>> times = np.arange(0.0, 60.0, 5.0)
    >>> found = compare_terms(SpeedTable(times, 20 - 0.1 * times, np.full(12, 0.01)), ((0,), (1,)))
    >>> found.alike
    (0,)
    """
    fits = tuple(fit_speeds(table, terms=terms, drift=drift) for terms in candidates)
    number = fits[0].residuals.size
    stated = fits[0].misfit is not None
    sums = [fit.chi2 if stated else number * np.log(float(fit.residuals @ fit.residuals)) for fit in fits]
    lag = min(max(fits[int(np.argmin(sums))].lag_one, 0.0), MOST_LAG)
    prices = [left * (1 - lag) / (1 + lag) + 2 * len(terms) for left, terms in zip(sums, candidates, strict=True)]
    behind = tuple(float(price - min(prices)) for price in prices)
    alike = tuple(place for place, gap in enumerate(behind) if gap < ALIKE)
    said: tuple[Finding, ...] = ()
    if len(alike) > 1:
        forms = "; ".join(" with ".join(term_name(power) for power in candidates[place]) for place in alike)
        count = COUNTS.get(len(alike), str(len(alike)))
        said = (finding("forms-alike", points=number, count=count, forms=forms),)
    return RivalTerms(fits, behind, alike, said)
