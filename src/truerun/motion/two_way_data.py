"""Drag both ways as plain data, keys as in the JSON results."""

from __future__ import annotations

from enum import Enum
from typing import Any

import numpy as np

from truerun.motion.two_way import TwoWay

__all__ = ["Push", "push_of", "two_way_data"]

SURELY = 1.959964
"""Standard uncertainties of a 95 % interval."""


class Push(Enum):
    """Which way the wheel is pushed; the value is the word in the JSON results."""

    THERE = "there"
    BACK = "back"
    UNSEEN = "not seen"


def push_of(found: TwoWay) -> Push:
    """Tell which way the mean push goes, where its 95 % interval leaves out zero.

    Parameters
    ----------
    found : TwoWay

    Returns
    -------
    Push
    """
    if abs(found.mean_drive) <= SURELY * found.mean_drive_uncertainty:
        return Push.UNSEEN
    return Push.THERE if found.mean_drive > 0 else Push.BACK


def two_way_data(found: TwoWay) -> dict[str, Any]:
    """Give drag both ways as plain data.

    Parameters
    ----------
    found : TwoWay

    Returns
    -------
    dict
        Keys ``speeds``, ``mean_push``, ``mean_drag`` [rad/s^2], ``push_share``, ``push``, ``curve``, ``coverage``,
        ``band_factor``. A push counts positive in the direction of the first recordings.
    """
    columns = (found.speeds, found.drag, found.drag_uncertainty, found.drive, found.drive_uncertainty)
    names = ("speed", "drag", "drag_uncertainty", "push", "push_uncertainty")
    rows = np.column_stack(columns)[::4].tolist()
    return {
        "speeds": {"from": float(found.speeds[-1]), "to": float(found.speeds[0])},
        "mean_push": {"value": found.mean_drive, "standard_uncertainty": found.mean_drive_uncertainty},
        "mean_drag": {"value": found.mean_drag, "standard_uncertainty": found.mean_drag_uncertainty},
        "push_share": found.mean_drive / found.mean_drag if found.mean_drag > 0 else None,
        "push": push_of(found).value,
        "curve": [dict(zip(names, row, strict=True)) for row in rows],
        "coverage": found.coverage,
        "band_factor": found.factor,
    }
