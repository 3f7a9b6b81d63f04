"""All that a check and a verdict may look at, and the few figures that both need."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.series import RunTable
from truerun.stats.exact import nuisance_basis
from truerun.stats.opinions import Opinion
from truerun.trial.decision import Figures, adjusted_columns
from truerun.trial.guessing import Guesses
from truerun.trial.observations import Observations
from truerun.trial.phrases import measured, percent
from truerun.trial.rules import HAND_ERROR, Rules

__all__ = [
    "Context",
    "adding",
    "amount",
    "claim_shown",
    "drift_share",
    "hand_allowance",
    "hand_error",
    "hand_reach",
    "level_noted",
    "plain_difference",
    "pooled_spread",
    "shown",
    "shown_span",
    "spreads",
    "withdrawn",
]


_ENOUGH_READINGS = 8
_FLAT = 1e-12


@dataclass(frozen=True, slots=True)
class Context:
    """Table, rules, observations and figures; ``figures`` is None where the order came from no known set."""

    table: RunTable
    rules: Rules
    seen: Observations
    figures: Figures | None
    opinions: dict[str, Opinion]
    guesses: Guesses | None = None

    @property
    def effect(self) -> float:
        """Difference found, on the scale on which an effect adds; of all runs where the verdict is withdrawn."""
        return plain_difference(self.seen) if self.figures is None or withdrawn(self) else self.figures.effect

    @property
    def drawn(self) -> Figures:
        """The figures, where a verdict has made sure that there are any."""
        if self.figures is None:
            raise LookupError("no figures: the order came from no known set")
        return self.figures

    @property
    def logarithmic(self) -> bool:
        """Whether effects are factors, so that a drive fraction can be given."""
        return self.rules.measurand.scale == "log"


def plain_difference(seen: Observations) -> float:
    """Give the mean of the source runs less the mean of the control runs; NaN where a condition has none."""
    kept = seen.kept & np.isfinite(seen.y)
    source, control = seen.y[kept & (seen.used > 0)], seen.y[kept & (seen.used < 0)]
    return float(source.mean() - control.mean()) if len(source) and len(control) else math.nan


def spreads(seen: Observations) -> tuple[float, float]:
    """Give the standard deviation of source and control runs; exactly 0 for one run, or where only rounding is left."""
    kept = seen.kept & np.isfinite(seen.y)
    source, control = (_spread(seen.y[kept & (seen.used == sign)]) for sign in (1, -1))
    return source, control


def _spread(y: NDArray[np.float64]) -> float:
    """Give the standard deviation of observations, as :func:`spreads` does."""
    found = float(y.std(ddof=1)) if len(y) > 1 else 0.0
    return found if found > _FLAT * float(np.abs(y).max(initial=0.0)) else 0.0


def withdrawn(at: Context) -> bool:
    """Tell whether p and interval are withdrawn because the test did not stop where it was planned."""
    plan = at.rules.plan
    return plan is not None and (bool(at.seen.missing.any()) or at.seen.runs[-1].slot != plan.runs)


def drift_share(at: Context) -> float:
    """Give how far the observations move from first to last slot, the conditions set aside (straight line)."""
    kept = at.seen.kept & np.isfinite(at.seen.y)
    y, slots = at.seen.y[kept], np.array([run.slot for run in at.seen.runs], dtype=np.float64)[kept]
    if len(y) < 3:
        return 0.0
    columns = np.column_stack([np.ones(len(y)), at.seen.used[kept], slots])
    return float(np.linalg.lstsq(columns, y, rcond=None)[0][2] * (slots[-1] - slots[0]))


def hand_allowance(at: Context) -> float | None:
    """Give how far a hand that knew the condition could have moved a time; None where no hand did.

    As a share of the shorter times; on a linear scale in seconds.
    """
    if not at.rules.by_hand:
        return None
    if not at.logarithmic:
        return hand_error(at)
    kept = at.seen.kept & np.isfinite(at.seen.y)  # a run that was stopped has no time to be a share of
    means = [at.seen.raw[kept & (at.seen.used == sign)] for sign in (1, -1)]
    return hand_error(at) / float(min(values.mean() for values in means if len(values)))


def hand_reach(at: Context) -> float:
    """Give the same on the scale on which an effect adds, 0 where no hand did."""
    return hand_allowance(at) or 0.0


def hand_error(at: Context) -> float:
    """Give the standard deviation of one reading, start and stop together [s]: the keepers' own, once they show it."""
    keepers = at.seen.keepers
    if keepers is not None and keepers.scatter is not None and keepers.df >= _ENOUGH_READINGS:
        return keepers.scatter
    return HAND_ERROR


def level_noted(at: Context) -> bool:
    """Tell whether the level of the axle was written down: in a column, in the plan's note, or with the rig."""
    note = at.rules.plan.note if at.rules.plan is not None else None
    return any("level" in words.casefold() for words in (*at.seen.runs[0].extra, note or "", *at.table.rig))


def pooled_spread(at: Context) -> float:
    """Give the run-to-run standard deviation within the conditions, adjusted columns set aside; 0 if unknown."""
    opinion = at.opinions.get("ancova")
    if opinion is None:
        return 0.0
    counted = at.seen.kept & np.isfinite(at.seen.y)  # a run reckoned at its worst has no value of its own
    order = at.seen.used[counted].astype(np.float64)
    columns, names = adjusted_columns(at.seen, at.rules)
    basis = nuisance_basis(columns[counted], names, order)
    left = order - basis @ (basis.T @ order)
    return opinion.standard_error * math.sqrt(float(left @ left)) / 2


def adding(at: Context, size: float) -> float:
    """Put a drive fraction (or a size on a linear scale) on the scale on which an effect adds; infinite from 1 up."""
    if not at.logarithmic:
        return size
    return -math.log1p(-size) if size < 1 else math.inf


def shown(at: Context, effect: float) -> float:
    """Give the drive fraction of an effect; on a linear scale the difference as measured."""
    return -math.expm1(-effect) if at.logarithmic else at.rules.measurand.sign * effect


def claim_shown(at: Context) -> float | None:
    """Give the claimed size on the scale of :func:`shown`; a drive of 1 or more stays as it was said."""
    claimed = at.rules.claimed
    return claimed if claimed is None or at.logarithmic else shown(at, claimed)


def shown_span(at: Context, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Give both ends of an interval as :func:`shown`, the lower one first."""
    first, last = (None if end is None else shown(at, end) for end in (low, high))
    return (first, last) if at.logarithmic or at.rules.measurand.sign > 0 else (last, first)


def amount(at: Context, size: float, *, signed: bool = False) -> str:
    """Write a drive fraction in percent, or a difference on a linear scale with its unit."""
    if at.logarithmic:
        return percent(size, signed=signed)
    return measured(size, at.rules.measurand.unit, signed=signed)
