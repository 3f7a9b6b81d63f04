"""Every sentence that a check can say, in one place.

Each entry gives the severity, the sentence, its size and what to do. Text in braces is filled in by
:func:`finding`. To add a check: add its entry here, then call :func:`finding` where the check is made.
"""

from __future__ import annotations

from dataclasses import dataclass
from string import Formatter

from truerun.findings.finding import Finding, Severity

__all__ = ["CHECKS", "Template", "finding"]


@dataclass(frozen=True, slots=True)
class Template:
    """The words of one check; ``size`` and ``remedy`` may be None."""

    severity: Severity
    sentence: str
    size: str | None = None
    remedy: str | None = None

    def fields(self) -> frozenset[str]:
        """Names that must be filled in."""
        parts = (self.sentence, self.size or "", self.remedy or "")
        return frozenset(name for part in parts for _, name, _, _ in Formatter().parse(part) if name)


CHECKS: dict[str, Template] = {}


def finding(check: str, *, severity: Severity | None = None, **fields: object) -> Finding:
    """Fill in the sentence of a check.

    Parameters
    ----------
    check : str
        Key of the catalogue.
    severity : Severity, optional
        Overrides the usual weight of this check.
    **fields : object
        One value for every name in braces, already formatted with its unit.

    Returns
    -------
    Finding

    Raises
    ------
    KeyError
        If the check or one of its fields is unknown (a mistake in truerun, not of its user).
    """
    template = CHECKS[check]
    return Finding(
        check,
        severity or template.severity,
        template.sentence.format_map(fields),
        template.size.format_map(fields) if template.size else None,
        template.remedy.format_map(fields) if template.remedy else None,
    )
