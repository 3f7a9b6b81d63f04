"""What a plan is to hold, written into a TOML file by hand."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from truerun.errors import RecordingUnreadable, ValueOutOfRange
from truerun.units.number import parse_number
from truerun.units.quantity import read_quantity
from truerun.units.share import parse_share
from truerun.units.unit import Dimension, parse_unit
from truerun.workflow.small_texts import read_small_text

__all__ = ["parse_plan_request", "parse_size", "read_plan_request"]

_SHARES = ("alpha", "hill_bound", "look_alpha")
_SIZES = ("margin", "claimed", "spread", "pilot_spread")
_MINUTES = ("run_minutes", "change_minutes", "sitting_minutes")


def read_plan_request(path: Path) -> dict[str, Any]:
    """Read the keys of a plan request from a TOML file.

    Parameters
    ----------
    path : Path
        Keys as in :class:`truerun.workflow.planning.PlanRequest`. Shares as ``"2%"`` or ``0.02``, speeds of the
        window as ``["120 r/min", "40 r/min"]``, minutes as numbers or ``"5:30"``; answers of both sides in the tables
        ``[agreed.claimant]`` and ``[agreed.sceptic]``.

    Returns
    -------
    dict
        In SI, minutes as minutes; unknown keys are left for :func:`truerun.workflow.planning.request_from` to refuse.

    Raises
    ------
    RecordingUnreadable
        If the file is missing or not TOML.
    ValueOutOfRange
        If a share, a speed or a time cannot be read.
    """
    text = read_small_text(path, "Give a TOML file with what the plan is to hold.")
    return parse_plan_request(text, str(path))


def parse_plan_request(text: str, name: str) -> dict[str, Any]:
    """Read the text of a plan request, as :func:`read_plan_request` does; ``name`` is for messages.

    Examples
    --------
    >>> parse_plan_request('margin = "2%"', "claim.toml")
    {'margin': 0.02}
    """
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is a bare ValueError
        what = f'this is not TOML ({str(error)[:1].lower()}{str(error)[1:]}). Write lines like source = "arc in".'
        raise RecordingUnreadable(name, "", what) from error
    linear = values.get("scale") == "linear"
    return {key: _settled(key, value, f"{name}: {key}", linear=linear) for key, value in values.items()}


def parse_size(text: str, name: str, *, linear: bool) -> float:
    """Read the size of a difference: a share, or on a linear scale a number in the unit of what is measured.

    Examples
    --------
    >>> parse_size("2%", "--margin", linear=False), parse_size("2.5", "--margin", linear=True)
    (0.02, 2.5)
    """
    return parse_number(text, name=name) if linear else parse_share(text, name)


def _settled(key: str, value: Any, name: str, *, linear: bool) -> Any:
    """Turn what is a quantity into SI; everything else is left as it is."""
    if key in _SHARES + _SIZES and _written(value):
        return parse_size(str(value), name, linear=linear and key in _SIZES)
    if key in _MINUTES and isinstance(value, str):
        return read_quantity(value, Dimension.TIME, name=name, unit=parse_unit("min")).value / 60
    if key == "window":
        return _window(value, name)
    return value


def _written(value: Any) -> bool:
    """Tell whether a value is a text or a number."""
    return isinstance(value, str | int | float) and not isinstance(value, bool)


def _window(value: Any, name: str) -> tuple[float, float]:
    """Read two speeds with their units."""
    if not isinstance(value, list) or len(value) != 2 or not all(isinstance(speed, str) for speed in value):
        example = 'two speeds with their units, such as ["120 r/min", "40 r/min"]'
        raise ValueOutOfRange(name, f"{value}", example, "Write the faster one first.")
    start, stop = (read_quantity(speed, Dimension.SPEED, name=name).value for speed in value)
    return start, stop
