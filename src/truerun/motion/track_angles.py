"""From angles as recorded to one growing angle of a wheel that slows down freely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.motion.panels import TURN
from truerun.motion.speed_rows import rundown_rows
from truerun.series import AngleTrack, SpeedTable

__all__ = ["MOST_TURNS", "free_track", "growing_angles"]

MOST_STEP = 0.45
ADVISED_STEP = 0.25
FEWEST_TURNS = 4
PARTS = 16
WRAPPED = 1.02
MOST_TURNS = 10_000_000  # a hundred a second for a day


def growing_angles(track: AngleTrack, *, spots: int = 1) -> tuple[NDArray[np.float64], tuple[Finding, ...]]:
    """Count angles on through whole turns.

    Parameters
    ----------
    track : AngleTrack
    spots : int
        Spots that look alike, evenly spaced.

    Returns
    -------
    angles : array, shape (n,)
        Growing in the direction of travel [rad].
    findings : tuple of Finding

    Raises
    ------
    FitImpossible
        If the wheel moves by nearly half a spacing of the spots from one reading to the next.

    Notes
    -----
    Speed w, f readings a second and N spots are told apart below w N/2 pi = f/2; f/4 is advised. Angles that run
    through more than one spacing were counted on already by whatever recorded them.

    Examples
    --------
    >>> growing_angles(AngleTrack(np.arange(4.0), np.array([5.0, 6.0, 0.7168, 1.7168])))[0].round(3)
    array([5., 6., 7., 8.])
    """
    period = TURN / spots
    counted = float(np.ptp(track.angles)) > WRAPPED * period
    angles = track.angles if counted else np.unwrap(track.angles, period=period)
    if angles[-1] < angles[0]:
        angles = -angles
    largest = float(np.abs(np.diff(angles)).max(initial=0.0)) / period
    if counted or largest <= ADVISED_STEP:
        return np.asarray(angles, dtype=np.float64), ()
    if largest > MOST_STEP:
        raise FitImpossible(
            f"From one reading to the next the wheel moves by {largest:.2f} of the distance between spots that look "
            f"alike; it must be below {MOST_STEP}, better {ADVISED_STEP}. Record more frames a second, or use fewer "
            "spots."
        )
    return np.asarray(angles, dtype=np.float64), (finding("few-frames", share=f"{largest:.2f}"),)


def free_track(
    track: AngleTrack, *, spots: int, speed_to: float | None, turning: bool
) -> tuple[NDArray[np.intp], NDArray[np.float64], NDArray[np.float64], tuple[Finding, ...]]:
    """Pick the free rundown of a track.

    Parameters
    ----------
    track : AngleTrack
    spots : int
    speed_to : float or None
        Slower turns are left out [rad/s].
    turning : bool
        Whether speeds must be those of whole turns (with a hill, speed swings within a turn).

    Returns
    -------
    rows : array of int, shape (n,)
    angles : array, shape (n,)
        Growing [rad].
    speeds : array
        Mean speeds of turns (or of parts of a short track), falling [rad/s].
    findings : tuple of Finding

    Raises
    ------
    FitImpossible
        If there are too few turns, or the speed does not fall.
    """
    angles, said = growing_angles(track, spots=spots)
    end = int(np.argmax(angles)) + 1
    turns = float(angles[end - 1] - angles[0]) / TURN
    if turns < (FEWEST_TURNS if turning else 0.5):
        raise FitImpossible(
            f"The track has {turns:.1f} turns one way; it must have at least {FEWEST_TURNS if turning else 0.5}. "
            "Record from a higher speed; for a wheel that rocks, use its turning points."
        )
    if turns > MOST_TURNS:
        raise FitImpossible(
            f"The track runs through {turns:.3g} turns; it must be at most {MOST_TURNS}. Look for a slip of the keys "
            "in an angle, or for a wrong unit."
        )
    width = TURN if turns >= FEWEST_TURNS else TURN * turns / PARTS
    edges = np.arange(angles[0], angles[end - 1], width)
    grown = np.maximum.accumulate(angles[:end])
    keep = np.flatnonzero(np.diff(grown, prepend=grown[0] - 1.0) > 0)
    at = np.interp(edges, grown[keep], track.times[:end][keep])
    table = SpeedTable((at[1:] + at[:-1]) / 2, width / np.diff(at))
    found = rundown_rows(table)
    first, last = at[found.rows[0]], at[found.rows[-1] + 1]
    if speed_to is not None:
        slow = found.speeds < speed_to
        last = at[found.rows[int(np.argmax(slow))]] if slow.any() else last
        found = replace(found, speeds=found.speeds[~slow] if (~slow).any() else found.speeds)
    rows = np.flatnonzero((track.times >= first) & (track.times <= last))
    return rows, angles[rows], found.speeds, (*said, *found.findings)
