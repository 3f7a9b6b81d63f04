"""Checks, controls and linked tests as rows of a report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truerun.findings.finding import Finding
from truerun.report.figures_shown import figures_shown
from truerun.report.plan_words import ROLES
from truerun.trial.comparison import Comparison
from truerun.trial.controls import NAMES, SETTLES, left_standing
from truerun.trial.holding import Kind, Standing, holding, kind_of
from truerun.trial.plan import Role
from truerun.trial.verdict import Verdict

__all__ = ["ControlRow", "LinkedRow", "control_rows", "found_standings", "linked_rows", "standing_causes", "standings"]

_ORDER = tuple(Kind)


@dataclass(frozen=True, slots=True)
class ControlRow:
    """One control, also in few words: whether it was made, and what it does to each cause."""

    name: str
    short: str
    done: bool
    effects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LinkedRow:
    """One linked test: what it is for, what it found, between which values."""

    role: str
    headline: str
    value: str | None
    low: str | None
    high: str | None
    known: str | None
    remark: str


def standings(result: Comparison) -> tuple[Standing, ...]:
    """Give every check, the weightiest first: those that found something, could not be made, and hold."""
    held = holding(result.at, result.findings) if result.verdict is not None else ()
    return _weightiest_first((*found_standings(result.findings), *held))


def found_standings(findings: Sequence[Finding]) -> tuple[Standing, ...]:
    """Give findings as rows, the weightiest first."""
    return _weightiest_first(
        [Standing(kind_of(each), each.check, each.sentence, each.size, each.remedy) for each in findings]
    )


def _weightiest_first(rows: Sequence[Standing]) -> tuple[Standing, ...]:
    """Sort rows by their kind."""
    return tuple(sorted(rows, key=lambda each: _ORDER.index(each.kind)))


def control_rows(done: Sequence[Role]) -> tuple[ControlRow, ...]:
    """Give every control, made or not; taking the source out is the test itself."""
    rows = []
    for role, name in NAMES.items():
        effects = SETTLES[role]
        short = name if role is Role.MAIN else ROLES[role].removeprefix("control: ")
        rows.append(ControlRow(name, short, role is Role.MAIN or role in done, tuple(each.value for each in effects)))
    return tuple(rows)


def standing_causes(result: Comparison) -> tuple[str, ...]:
    """Name what would explain the difference too, where there is one."""
    if result.verdict not in (Verdict.ADDS, Verdict.TAKES):
        return ()
    return tuple(
        cause.words for cause in left_standing(result.at.rules.controls_settled, drive=result.verdict is Verdict.ADDS)
    )


def linked_rows(linked: Sequence[Comparison]) -> dict[Role, list[LinkedRow]]:
    """Give the linked tests by what they are for."""
    rows: dict[Role, list[LinkedRow]] = {}
    for test in linked:
        figures = figures_shown(test)
        remarks = [found.sentence for found in test.findings if found.check.startswith(("planted-", "same-"))]
        found = figures.found if figures else None
        row = LinkedRow(
            role=ROLES[test.at.rules.role],
            headline=test.headline,
            value=found.value if found else None,
            low=found.low if found else None,
            high=found.high if found else None,
            known=found.claimed if found and test.at.rules.role is Role.PLANTED else None,
            remark=" ".join(remarks),
        )
        rows.setdefault(test.at.rules.role, []).append(row)
    return rows
