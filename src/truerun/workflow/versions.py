"""Which versions made a result."""

from __future__ import annotations

import platform
from importlib.metadata import version

__all__ = ["versions"]


def versions() -> dict[str, str]:
    """Give the versions of truerun, Python and the two libraries that compute."""
    return {"python": platform.python_version()} | {name: version(name) for name in ("truerun", "numpy", "scipy")}
