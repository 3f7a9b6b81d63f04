"""The report: one page that says the verdict first and then everything it rests on."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import PurePath
from typing import Any

from truerun.charts.luck import luck_orders_csv
from truerun.charts.two_drags import draw_drive_curve, draw_two_drags
from truerun.errors import ValueOutOfRange
from truerun.motion.drive_curve import DriveCurve
from truerun.report.beside import Beside
from truerun.report.claim_tests import claim_tests
from truerun.report.figures_shown import figures_shown
from truerun.report.json_text import json_text
from truerun.report.pages import rendered
from truerun.report.pictures import Picture, picture_of, pictures_of
from truerun.report.plan_words import ADJUSTED, BLINDING, ORDER_SETS, ROLES, end_words, plan_end_words
from truerun.report.run_rows import launch_rows, raw_columns, raw_rows, recording_name
from truerun.report.standings import control_rows, linked_rows, standing_causes, standings
from truerun.report.two_impressions import TwoImpressions
from truerun.trial.comparison import Comparison, with_controls
from truerun.trial.controls import CAUSES
from truerun.trial.holding import Kind
from truerun.trial.phrases import listed, percent
from truerun.trial.plan import Plan, Role, Window
from truerun.trial.seal import Seal, spoken

__all__ = ["SIDES", "render_report"]

SIDES = ("claimant", "sceptic")
"""Who may answer a result in their own words."""

_DEVIATIONS = frozenset(
    (
        "repeated",
        "aborted-seen",
        "left-out-blind",
        "wrong-set-up",
        "order-not-kept",
        "stopped-early",
        "beyond-plan",
        "times-corrected",
    )
)
_MOST_ORDERS_ENCLOSED = 5000


def render_report(
    comparison: Comparison,
    *,
    made: datetime,
    plan: Plan | None = None,
    seal: Seal | None = None,
    stamp: str | None = None,
    linked: Sequence[Comparison] = (),
    answers: Mapping[str, str] | None = None,
    interests: str | None = None,
    versions: Mapping[str, str] | None = None,
    drive_curve: DriveCurve | None = None,
    impressions: TwoImpressions | None = None,
    fingerprints: Sequence[tuple[int, str]] = (),
    beside: Beside | None = None,
    invented: bool = False,
) -> str:
    """Write the report of a comparison.

    Parameters
    ----------
    comparison : Comparison
        Finished, or covered: then there are counts only.
    made : datetime
        When the report is made, with a time zone; the same time gives the same bytes.
    plan : Plan, optional
        As it was sealed; None: that of the rules, which at a planned look is only the first part of it.
    seal : Seal, optional
        Of the plan.
    stamp : str, optional
        Who outside holds the code of the seal, or which time stamp it has.
    linked : sequence of Comparison
        Other tests of the same wheel: controls, a planted effect, same against same. The result is said anew with
        what they leave standing, see :func:`truerun.trial.comparison.with_controls`.
    answers : mapping, optional
        What the claimant and the sceptic say to the result, in their own words.
    interests : str, optional
        Who paid, who gains; None: not stated.
    versions : mapping, optional
        Which versions computed it.
    drive_curve : DriveCurve, optional
        The drive at each speed, where runs were measured from recordings.
    impressions : TwoImpressions, optional
        What a stopwatch says of the same runs, beside the recordings.
    fingerprints : sequence of (int, str)
        Run and SHA-256 of each recording that was reduced.
    beside : Beside, optional
        What a notebook knows of the test beside its runs.
    invented : bool
        Whether the test never took place; the page then says so first.

    Returns
    -------
    str
        One HTML page without script and without any request; prints on A4 and on Letter.

    Raises
    ------
    ValueOutOfRange
        If an answer comes from somebody else, or the time has no zone.
    """
    _require_sides(answers or {})
    if made.tzinfo is None:
        raise ValueOutOfRange("The time of the report", made.isoformat(), "given with its time zone")
    comparison = with_controls(comparison, linked)
    rules = comparison.at.rules
    plan = plan or rules.plan
    return rendered(
        "report.html.j2",
        result=comparison,
        rules=rules,
        plan=plan,
        covered=comparison.verdict is None,
        made=made.astimezone(UTC),
        invented=invented,
        claim=claim_tests(comparison, plan, linked),
        adjusted=[ADJUSTED.get(name, name) for name in rules.adjust],
        answers=answers or {},
        interests=interests,
        versions=versions or {},
        drags=_drag_pictures(comparison, drive_curve),
        impressions=impressions,
        fingerprints=fingerprints,
        beside=beside or Beside(),
        typed=listed([str(slot) for slot in beside.typed] if beside is not None else []),
        **_words(comparison),
        **_about_the_plan(plan, seal, stamp, covered=comparison.verdict is None),
        **_about_the_runs(comparison),
        **_about_the_figures(comparison),
        **_about_the_causes(comparison, linked),
    )


def _drag_pictures(comparison: Comparison, curve: DriveCurve | None) -> list[Picture]:
    """Draw the drag of both conditions and the drive between them."""
    if curve is None:
        return []
    names = comparison.at.rules.conditions
    drawn = (
        picture_of(lambda width: draw_two_drags(curve, names.source, names.control, width)),
        picture_of(lambda width: draw_drive_curve(curve, width)),
    )
    return [picture for picture in drawn if picture is not None]


def _require_sides(answers: Mapping[str, str]) -> None:
    """Refuse an answer that belongs to no side."""
    for side in answers:
        if side not in SIDES:
            raise ValueOutOfRange("Who answers", f'"{side}"', " or ".join(SIDES))


def _words(comparison: Comparison) -> dict[str, Any]:
    """Give the words that every part of the page may need."""
    rules, table = comparison.at.rules, comparison.at.table
    return {
        "roles": ROLES,
        "order_sets": ORDER_SETS,
        "blinding": BLINDING,
        "percent": percent,
        "heading": f"{table.measure} [{table.unit}]" if table.unit else table.measure,
        "end": plan_end_words(rules.plan) if rules.plan else end_words(rules.end, rules.stop, rules.window),
        "over_speeds": isinstance(rules.window, Window),
    }


def _about_the_plan(plan: Plan | None, seal: Seal | None, stamp: str | None, *, covered: bool) -> dict[str, Any]:
    """Give the plan, its seal and its excuses; the whole plan would undo a covered result's blinding."""
    excuses = plan.agreed.excuses if plan is not None else ()
    return {
        "seal": seal,
        "groups": [(group, spoken(group)) for group in seal.code.split()] if seal else [],
        "stamp": stamp,
        "excuses": [(each.words, each.becomes.replace("-", " "), each.how or "") for each in excuses],
        "plan_text": json_text(plan.document() | ({"seal": seal.document()} if seal else {}))
        if plan is not None and not covered
        else None,
    }


def _about_the_runs(comparison: Comparison) -> dict[str, Any]:
    """Give every launch and the table as it was read; nothing of it where the result is covered."""
    table, covered = comparison.at.table, comparison.verdict is None
    return {
        "launches": launch_rows(comparison),
        "recordings": [(run.slot, recording_name(run.recording)) for run in table.runs if run.recording],
        "raw_columns": () if covered else raw_columns(table),
        "raw_rows": () if covered else raw_rows(table),
        "table_name": PurePath(table.path).name if table.path else None,
        "digest": table.digest,
        "deviations": [found.sentence for found in comparison.findings if found.check in _DEVIATIONS],
    }


def _about_the_figures(comparison: Comparison) -> dict[str, Any]:
    """Give figures and drawings."""
    figures = figures_shown(comparison)
    return {
        "figures": figures,
        "opinions": [(each.name, each.value, each.low, each.high) for each in figures.opinions] if figures else [],
        "pictures": pictures_of(comparison),
        "document": json_text(comparison.document()) if comparison.verdict is not None else None,
        "orders_file": _enclosed_orders(comparison),
    }


def _about_the_causes(comparison: Comparison, linked: Sequence[Comparison]) -> dict[str, Any]:
    """Give checks, controls and linked tests."""
    others = linked_rows(linked)
    done = comparison.at.rules.controls_done
    return {
        "checks": standings(comparison),
        "kinds": Kind,
        "controls": control_rows(done),
        "causes": [cause.words for cause in CAUSES],
        "standing": standing_causes(comparison),
        "planted": others.get(Role.PLANTED, []),
        "same": others.get(Role.SAME_AGAINST_SAME, []),
        "linked": [row for rows in others.values() for row in rows],
    }


def _enclosed_orders(comparison: Comparison) -> str | None:
    """Give all orders as an address that holds the file itself; None where there are too many, or none."""
    drawn = comparison.figures
    if drawn is None or drawn.plus.orders > _MOST_ORDERS_ENCLOSED:
        return None
    text = luck_orders_csv(comparison)
    return None if text is None else f"data:text/csv;base64,{base64.b64encode(text.encode()).decode()}"
