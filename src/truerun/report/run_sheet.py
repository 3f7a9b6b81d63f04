"""The run sheet to print: one page that goes with the job, in the order that was drawn."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from jinja2 import Environment, StrictUndefined

from truerun.report.bench_lists import ONCE_A_BLOCK
from truerun.report.layout import minutes_text
from truerun.report.plan_words import plan_end_words
from truerun.trial.plan import Plan
from truerun.trial.seal import Seal, spoken

__all__ = ["render_run_sheet"]

_PAGES = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


@dataclass(frozen=True, slots=True)
class _Line:
    """One run of the sheet; ``condition`` is None where a cartridge is drawn from a bag at the bench."""

    slot: int
    condition: str | None
    is_source: bool
    again: bool
    first_of_sitting: bool
    block: int | None
    best_stop: bool


def render_run_sheet(plan: Plan, seal: Seal, *, launch: str | None = None) -> str:
    """Write the run sheet of a sealed plan as a page to print.

    Parameters
    ----------
    plan : Plan
        Sealed.
    seal : Seal
        Its fingerprint.
    launch : str, optional
        What launches the wheel, where the rig says it and the plan does not.

    Returns
    -------
    str
        One HTML page without script and without any request; prints on A4 and on Letter.

    Notes
    -----
    Where the order is drawn from a bag at the bench (``drawn_by: bag``), the sheet names cartridge places and no
    conditions, so that whoever holds it knows no more than the bag.
    """
    template = _PAGES.from_string(files("truerun.report").joinpath("run_sheet.html.j2").read_text(encoding="utf-8"))
    return template.render(
        plan=plan,
        seal=seal,
        groups=[(group, spoken(group)) for group in seal.code.split()],
        lines=_lines(plan),
        launch=plan.launch_setting or launch,
        checks=ONCE_A_BLOCK,
        blind=plan.drawn_by == "bag",
        block=plan.order_set.block,
        end=plan_end_words(plan),
        heading=plan.measurand.name + (f" [{plan.measurand.unit}]" if plan.measurand.unit else ""),
        minutes=minutes_text(plan.sessions.minutes) if plan.sessions.minutes else None,
        made=plan.made[:10],
    )


def _lines(plan: Plan) -> list[_Line]:
    """Give one line a run."""
    size = plan.order_set.block
    breaks = plan.sessions.breaks_after
    blind = plan.drawn_by == "bag"
    return [
        _Line(
            slot=slot,
            condition=None if blind else name,
            is_source=not blind and name == plan.conditions.source,
            again=not blind and slot > 1 and plan.order[slot - 2] == name,
            first_of_sitting=slot == 1 or slot - 1 in breaks,
            block=slot // size if size and slot % size == 0 else None,
            best_stop=slot in breaks,
        )
        for slot, name in enumerate(plan.order, 1)
    ]
