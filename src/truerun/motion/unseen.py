"""The bump that a recording could not have shown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.motion.rundown import Rundown

__all__ = ["UnseenHill", "sure_to_show", "unseen_hill"]

SURELY = 1.644854
"""Standard uncertainties by which a bump must exceed what is asked of it, to be seen 95 times in 100."""

FEWEST_MARKS = 3


@dataclass(frozen=True, slots=True)
class UnseenHill:
    """A bump of one harmonic that is seen 95 times in 100; a smaller one may be missed.

    ``height`` from trough to crest over the inertia [rad^2/s^2]; ``share`` the same of the energy at the start;
    ``capture_speed`` below which it would catch the wheel [rad/s].
    """

    height: float
    share: float
    capture_speed: float

    @classmethod
    def of(cls, amplitude: float, start: float) -> UnseenHill:
        """Make it from the amplitude of the harmonic [rad^2/s^2] and the speed at the start [rad/s]."""
        return cls(2 * amplitude, 4 * amplitude / start**2, float(np.sqrt(2 * amplitude)))


def sure_to_show(readings: int) -> float:
    """Give from how many standard uncertainties on a harmonic is seen 95 times in 100.

    Parameters
    ----------
    readings : int
        Passes or angles.

    Returns
    -------
    float

    Notes
    -----
    A harmonic counts as seen where its chi-squared is above 2 log(n); of an amplitude of sqrt(2 log(n)) + 1.645
    standard uncertainties the component along its own phase alone exceeds that 95 times in 100.

    Examples
    --------
    >>> round(sure_to_show(600), 2)
    5.22
    """
    return float(np.sqrt(2 * np.log(readings))) + SURELY


def unseen_hill(rundown: Rundown) -> UnseenHill | None:
    """Find the bump that this recording could have missed.

    Parameters
    ----------
    rundown : Rundown
        As chosen by :func:`truerun.motion.choice.choose_rundown`.

    Returns
    -------
    UnseenHill or None
        None where a bump was seen, where the marks are too few to see any, or the speeds hardly fall.
    """
    if rundown.hill is not None or rundown.marks < FEWEST_MARKS:
        return None
    from truerun.motion.choice import MOST_HARMONICS  # noqa: PLC0415  only where no bump was seen
    from truerun.motion.detectable import detectable_hill  # noqa: PLC0415

    turns = max(round(rundown.turns), 1)
    try:
        share = detectable_hill(
            rundown.sigma,
            rundown.marks,
            (rundown.speed_high, rundown.speed_low),
            turns,
            harmonics=min((rundown.marks - 1) // 2, MOST_HARMONICS),
            sigmas=sure_to_show(rundown.passes),
        )
    except (FitImpossible, ValueOutOfRange):
        return None
    return UnseenHill.of(share * rundown.speed_high**2 / 2, rundown.speed_high)
