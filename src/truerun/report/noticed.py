"""What checks noticed, and what one recording says, as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from truerun.findings.finding import Finding, Severity
from truerun.report.layout import rows_text, wrapped

__all__ = ["findings_text", "recording_text"]

_MARKS = {Severity.STOP: "Stops the verdict", Severity.DOUBT: "Mind this", Severity.NOTE: "Noted"}


def findings_text(findings: Sequence[Finding]) -> str:
    """Write findings, the weightiest first, each with its size and what to do."""
    order = (Severity.STOP, Severity.DOUBT, Severity.NOTE)
    lines = []
    for found in sorted(findings, key=lambda each: order.index(each.severity)):
        size = f" ({found.size})" if found.size else ""
        lines.append(wrapped(f"{_MARKS[found.severity]}: {found.sentence}{size}", hanging=2))
        if found.remedy:
            lines.append(wrapped(f"What to do: {found.remedy}", first=2, hanging=2))
    return "\n".join(lines)


def recording_text(
    headline: str, rows: Sequence[tuple[str, str]], said: Sequence[str], findings: Sequence[Finding]
) -> str:
    """Write what one recording says.

    Parameters
    ----------
    headline : str
    rows : sequence of (str, str)
        A name and a value each.
    said : sequence of str
        As what the file was read.
    findings : sequence of Finding

    Returns
    -------
    str
        Lines of at most 88 characters, without a final line end.
    """
    parts = [wrapped(headline), rows_text(rows)]
    parts += [wrapped("Read as: " + " ".join(said))] if said else []
    parts += [findings_text(findings)] if findings else []
    return "\n\n".join(parts)
