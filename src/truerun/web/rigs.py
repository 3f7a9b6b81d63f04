"""The rig: whatever was weighed, levelled, measured; and where the energy of a launch and of a run goes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import Response
from uncertainties import UFloat

from truerun.errors import TruerunError
from truerun.notebook.state import TestState
from truerun.report.rundown_text import per_minute
from truerun.units.formats import format_quantity
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.verdicts import reckoning, result_of
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import describe_rig
from truerun.workflow.comparing import ComparisonResult
from truerun.workflow.powers import PowersFound, drag_at_launch, powers_of
from truerun.workflow.rig import MEASURED, WORDS, LaunchFound, launch_of, read_measure, rig_body
from truerun.workflow.showing import covered

__all__ = ["energy", "rig"]

_GUARD_FROM = 1.0
"""A part that came loose with this energy needs a guard [J]."""


def rig(visit: Visit) -> Response:
    """Show the rig, and write down what was measured; every field may stay empty."""
    row = visit.row
    state = visit.state(row)
    if not visit.posted:
        return _shown(visit, state, Form(_typed(state.rig)))
    form = Form(visit.form)
    for part in MEASURED.values():
        for each in part:
            if form[each.key]:
                _tried(form, each.key)
    if not form.troubles:
        describe_rig(visit.notebook, row.id, rig_body(form.values))
        return moved(f"/t/{row.number}/rig#found")
    return _shown(visit, state, form, status=422)


def _tried(form: Form, key: str) -> None:
    """Read one field; what cannot be read is kept as trouble."""
    each = next(each for part in MEASURED.values() for each in part if each.key == key)
    try:
        read_measure(each, form[key])
    except TruerunError as error:
        form.troubles[key] = str(error)


def _typed(body: Mapping[str, Any] | None) -> dict[str, str]:
    """Give a rig as it was typed."""
    if body is None:
        return {}
    return dict(body.get("typed", {})) | {key: str(body.get(key) or "") for key, _, _ in WORDS}


def _shown(visit: Visit, state: TestState, form: Form, *, status: int = 200) -> Response:
    """Show the page."""
    return page_of_test(
        visit,
        visit.row,
        state,
        "rig.html.j2",
        here="rig",
        status=status,
        form=form,
        parts=MEASURED,
        words=WORDS,
        rows=_rows(launch_of(state.rig)),
        found=launch_of(state.rig),
        guard=_guard(launch_of(state.rig)),
    )


def _rows(found: LaunchFound) -> list[tuple[str, str]]:
    """Give what follows from what was measured."""
    rows: list[tuple[str, str]] = []
    if found.inertia is not None:
        rows.append((f"Moment of inertia, {found.inertia_from}", _written(found.inertia, "kg m²")))
    if found.by_fall is not None and found.by_parts is not None:
        rows.append(("From sizes and masses", _written(found.by_parts, "kg m²")))
        rows.append(("Do both agree?", "yes" if found.agree else "no, by more than twice their uncertainty"))
    if found.energy is not None:
        rows.append(("One launch gives", _written(found.energy, "J")))
    if found.speed is not None:
        rows.append(("Speed at launch", _written(found.speed, "r/min")))
    if found.rim_speed is not None:
        rows.append(("Its rim then runs at", _written(found.rim_speed, "m/s")))
    return rows


def _written(value: UFloat, unit: str) -> str:
    """Write a value with its standard uncertainty."""
    uncertainty = value.std_dev
    if uncertainty <= 1e-9 * abs(value.nominal_value):
        return format_quantity(value.nominal_value, unit, digits=4)
    return format_quantity(value.nominal_value, unit, uncertainty)


def _guard(found: LaunchFound) -> tuple[str, str, bool] | None:
    """Say what a part on the rim would carry if it came loose, how hard it pulls, and whether a guard is needed."""
    if found.part_energy is None or found.part_pull is None:
        return None
    carries = format_quantity(found.part_energy.nominal_value, "J", digits=2)
    pulls = format_quantity(found.part_pull.nominal_value, "N", digits=2)
    return carries, pulls, found.part_energy.nominal_value >= _GUARD_FROM


def energy(visit: Visit) -> Response:
    """Show where the energy goes: of one launch, and once the result is open of the runs, in watts."""
    row = visit.row
    state = visit.state(row)
    open_ = state.plan is not None and not covered(state) and state.decided is not None
    wait = reckoning(visit, row, state, "rig") if open_ else None
    if wait is not None:
        return wait
    result = result_of(visit, row, state) if open_ else None
    found = launch_of(state.rig, None if result is None else drag_at_launch(result))
    powers = None if result is None or found.inertia is None else powers_of(result, found.inertia)
    return page_of_test(
        visit,
        row,
        state,
        "energy.html.j2",
        here="rig",
        open=open_,
        found=found,
        rows=_rows(found),
        shares=_table(found.shares, "J"),
        powers=powers,
        lede=_lede(result, powers),
        losses=[] if powers is None else _losses(powers),
        **({} if powers is None else _about(powers)),
    )


def _table(rows: tuple[tuple[str, UFloat], ...], unit: str) -> list[tuple[str, str, str]]:
    """Give names, values and uncertainties as a table shows them, with three digits behind the point of a unit."""
    size = {"J": 1.0, "mW": 1e-3}[unit]
    return [(name, _figure(each.nominal_value / size), _uncertainty(each.std_dev / size)) for name, each in rows]


def _figure(value: float) -> str:
    """Write a figure of a table."""
    return f"{value:.3f}".replace("-0.000", "0.000").replace("-", "\N{MINUS SIGN}")


def _uncertainty(value: float) -> str:
    """Write an uncertainty of a table; one that is too small to be seen there is not nothing."""
    return "< 0.001" if 0 < value < 0.0005 else _figure(value)


def _losses(powers: PowersFound) -> list[dict[str, Any]]:
    """Give the losses of both conditions."""
    return [
        {
            "name": each.condition,
            "is_source": each.is_source,
            "runs": each.runs,
            "power": _written(each.power, "mW"),
            "parts": _table(each.parts, "mW"),
            "whole": None if each.whole is None else _table((("All together", each.whole),), "mW")[0],
        }
        for each in powers.losses
    ]


def _about(powers: PowersFound) -> dict[str, Any]:
    """Give the figures beside the losses."""
    return {
        "span": f"{per_minute(powers.window.from_)} down to {per_minute(powers.window.to)}",
        "net": _written(powers.net, "mW"),
        "given_up": _written(powers.energy, "J"),
        "caught": None if powers.caught is None else _written(powers.caught, "J"),
        "middle": per_minute(powers.speed),
    }


def _lede(result: ComparisonResult | None, powers: PowersFound | None) -> str:
    """Say in a sentence what the page shows."""
    if powers is None:
        return "" if result is None else "These runs give no watts."
    control = next(each for each in powers.losses if not each.is_source)
    size = format_quantity(abs(powers.net.nominal_value), "mW", powers.net.std_dev)
    change = f"The source gives {size} of it back" if powers.net.nominal_value > 0 else f"The source takes {size} more"
    return f"Without the source the wheel loses {_written(control.power, 'mW')}. {change}."
