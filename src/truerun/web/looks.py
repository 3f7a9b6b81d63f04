"""Look first: a few runs with and without, before any claim; nothing is written, and it never gives a verdict.

The times stand in the address, so that a look can be gone back to and nothing is kept.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from truerun.errors import TruerunError
from truerun.findings.finding import Finding
from truerun.report.layout import minutes_text
from truerun.trial.holding import Standing, kind_of
from truerun.trial.look import Prospective
from truerun.trial.phrases import percent
from truerun.units.quantity import read_quantity
from truerun.units.unit import Dimension, parse_unit
from truerun.web.forms import Form
from truerun.web.pages import page
from truerun.web.visit import Visit, moved
from truerun.workflow.looking import LookResult
from truerun.workflow.looking import look as look_at

__all__ = ["look", "result"]

SLOTS = (1, 2, 3)
USUAL = {"source": "magnets on", "control": "magnets off", "end": "standstill"}
ENDS = (("standstill", "it stopped"), ("speed", "it came to a set speed"), ("turns", "after a set count of turns"))


def look(visit: Visit) -> Response:
    """Show the watch and the six places for times."""
    return _asked(visit, Form(USUAL | dict(visit.query)))


def _asked(visit: Visit, form: Form, *, status: int = 200) -> Response:
    """Show the form."""
    return page(visit, "look.html.j2", form=form, slots=SLOTS, ends=ENDS, status=status)


def result(visit: Visit) -> Response:
    """Say what the runs show, and what they do not."""
    form = Form(USUAL | dict(visit.query))
    rows = _rows(form)
    if len(visit.query) < len(USUAL):
        return moved("/look")
    if form.troubles:
        return _asked(visit, form, status=422)
    columns = {"run": list(range(1, len(rows) + 1)), "condition": [each[0] for each in rows]}
    try:
        seen = look_at(columns | {"time [s]": [each[1] for each in rows]}, control=form["control"], end=form["end"])
    except TruerunError as error:
        form.troubles["source_1"] = str(error)
        return _asked(visit, form, status=422)
    return page(visit, "look_result.html.j2", form=form, **_shown(seen, form))


def _rows(form: Form) -> list[tuple[str, float]]:
    """Read the times; a place may stay empty."""
    source = form.needed("source", "The name of what is looked at")
    control = form.needed("control", "The name of the wheel without it")
    if source and source == control:
        form.troubles["control"] = "Both have the same name. Give one of them another."
    form.one_of("end", "What ended a run", [key for key, _ in ENDS])
    rows = []
    for slot in SLOTS:
        for side, name in (("source", source), ("control", control)):
            field = f"{side}_{slot}"
            seconds = form.seconds(field, f"Time {slot} with “{name}”")
            if seconds is not None and seconds <= 0:
                form.troubles[field] = f"Time {slot} with “{name}” must be above 0 s."
            elif seconds is not None:
                rows.append((name, seconds))
    return rows


def _shown(seen: LookResult, form: Form) -> dict[str, Any]:
    """Give what a look says."""
    found = seen.look
    trial = {"pilot_spread": f"{found.spread:.6f}", "pilot_runs": str(sum(found.counts.values()))}
    names = {"source": form["source"], "control": form["control"]}
    return {
        "look": found,
        "longer": "longer" if found.difference > 0 else "shorter",
        "share": percent(abs(1 / (1 - found.difference) - 1)),
        "runs": sum(found.counts.values()),
        "easily": found.clean > found.divisions / 20,
        "spread": percent(found.spread),
        "times": [(name, name == found.source, _times(form, name == found.source)) for name in found.counts],
        "tests": [_test(each) for each in found.deciding],
        "checks": [_check(each) for each in found.findings],
        "again": "/look?" + urlencode(form.values),
        "onward": "/new?" + urlencode(trial | names),
    }


def _times(form: Form, source: bool) -> list[str]:  # noqa: FBT001  told apart where it is called
    """Give the times of one condition as they were read."""
    side = "source" if source else "control"
    unit = parse_unit("s")
    typed = [form[f"{side}_{slot}"] for slot in SLOTS if form[f"{side}_{slot}"]]
    return [f"{read_quantity(text, Dimension.TIME, unit=unit).value:.4g}" for text in typed]


def _test(each: Prospective) -> tuple[str, str, str]:
    """Give a deciding test that could follow: runs, what it finds, how long it takes."""
    return f"{each.runs // 2} + {each.runs // 2}", percent(each.finds), _minutes(each.minutes)


def _check(each: Finding) -> Standing:
    """Give a finding as a row."""
    return Standing(kind_of(each), each.check, each.sentence, each.size, each.remedy)


def _minutes(minutes: float | None) -> str:
    """Write a length of time."""
    return "" if minutes is None else minutes_text(minutes)
