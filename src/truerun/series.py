"""Frozen records of what was observed: a table of runs and, for recordings, signals and passes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from truerun.findings.finding import Finding

__all__ = ["Run", "RunTable"]


@dataclass(frozen=True, slots=True)
class Run:
    """One line of a table of runs.

    ``slot`` is the place in the plan's order (1, 2, ...), ``attempt`` counts tries in it. ``value`` is the
    observation in SI units (for a time: seconds); where ``unfinished`` is true the run had not ended when
    ``value`` was reached; None where nothing was written. ``left_out`` is the reason for leaving the run out,
    ``seen`` whether its time had been seen by then (None: not said). ``recording`` is a path relative to the table,
    ``marks`` the number of marks a turn in it. ``extra`` holds further columns, numbers in the unit of their
    header. Where several keepers timed the run, ``readings`` holds what each read. ``line`` is the line in the file,
    for messages.
    """

    slot: int
    condition: str
    value: float | None
    unfinished: bool = False
    attempt: int = 1
    left_out: str | None = None
    seen: bool | None = None
    session: str | None = None
    keeper: str | None = None
    recording: str | None = None
    extra: Mapping[str, float | str | None] = field(default_factory=dict)
    line: int | None = None
    marks: int | None = None
    readings: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RunTable:
    """A table of runs, in the order of their slots, attempts in theirs.

    ``measure`` is the heading of the observed column without its unit, ``unit`` its SI unit (``"s"`` for a
    time, None if the heading names none). ``resolution`` is the step of the last digit written, in that unit.
    ``digest`` is the SHA-256 of the bytes that were read (hexadecimal), None for a table from memory.
    ``extra_units`` gives the unit of each further column whose heading names one.
    """

    runs: tuple[Run, ...]
    measure: str = "time"
    unit: str | None = "s"
    resolution: float | None = None
    path: str | None = None
    digest: str | None = None
    findings: tuple[Finding, ...] = ()
    extra_units: Mapping[str, str] = field(default_factory=dict)

    @property
    def conditions(self) -> tuple[str, ...]:
        """Names of the conditions, in order of first appearance."""
        return tuple(dict.fromkeys(run.condition for run in self.runs))
