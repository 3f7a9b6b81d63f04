"""The record in which doubt travels with a result."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import Enum
from typing import Any

__all__ = ["Finding", "Severity"]


class Severity(Enum):
    """How much a finding weighs."""

    NOTE = "note"
    DOUBT = "doubt"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a check noticed.

    ``check`` is an identifier that stays the same between releases, ``sentence`` is for a bench worker,
    ``size`` says how large the trouble is (with its unit, or None) and ``remedy`` what to do (or None).
    """

    check: str
    severity: Severity
    sentence: str
    size: str | None = None
    remedy: str | None = None

    def document(self) -> dict[str, Any]:
        """Give the finding as plain data, keys as in the JSON results."""
        return asdict(self) | {"severity": self.severity.value}
