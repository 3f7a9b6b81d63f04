"""Plain data as JSON text, the same wherever it is shown, saved or enclosed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

__all__ = ["json_text"]


def json_text(document: Mapping[str, Any]) -> str:
    """Write plain data for a reader, with all digits.

    Parameters
    ----------
    document : mapping
        Text, numbers, lists and mappings; no infinity and no NaN.

    Returns
    -------
    str
        Two blanks a level, every sign as itself.

    Raises
    ------
    ValueError
        If a number is none.

    Examples
    --------
    >>> print(json_text({"drive_fraction": -0.054, "unit": "µs"}))
    {
      "drive_fraction": -0.054,
      "unit": "µs"
    }
    """
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
