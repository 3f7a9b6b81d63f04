"""The plan maker, the numbers beside it, and the page of the seal."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

import segno
from starlette.responses import JSONResponse, Response

from truerun.errors import HeadMoved, TruerunError
from truerun.notebook.state import TestState
from truerun.report.plan_words import BLINDING, ORDER_SETS, plan_end_words
from truerun.report.run_sheet import render_run_sheet
from truerun.trial.mishaps import rule_words
from truerun.trial.phrases import percent
from truerun.trial.seal import spoken
from truerun.web.excuse_fields import BECOMES, PLACES, with_answers
from truerun.web.forms import Form
from truerun.web.pages import page_of_test
from truerun.web.plan_fields import CHOICES, FATE_FIELDS, request_of, typed
from truerun.web.trade_off import SIZES, begin_of, planned_spread, set_row, size_row, stop_words
from truerun.web.visit import Visit, moved
from truerun.workflow.bench import draft_plan, seal_plan
from truerun.workflow.forecasting import Reach, forecast, reach_of
from truerun.workflow.plan_files import plan_file_text, read_plan
from truerun.workflow.planning import PlanRequest
from truerun.workflow.rig import launch_for, launch_words
from truerun.workflow.ways_out import dead_end_of

__all__ = ["figures", "plan", "plan_file", "run_sheet", "seal", "trade"]

_CHANGES = ("runs", "orders", "end", "launch")
"""What a way out of a plan that cannot decide may change."""

_KEPT = "yes"

_RULE = str(PlanRequest.model_fields["left_out_rule"].default)

_PAPER = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'"}


def plan(visit: Visit) -> Response:
    """Make the plan; keep it as a draft, or go on to seal it."""
    row = visit.row
    state = visit.state(row)
    if state.plan is not None:
        return moved(f"/t/{row.number}/plan/seal")
    if not visit.posted:
        return _maker(visit, state, Form(with_answers(state, _with_launch(state, typed(state.request)))))
    form = Form({**visit.form, **_change(visit.form.get("change", ""))})
    if form["change"]:
        return _maker(visit, state, form)
    request = request_of(form)
    if form["then"] == "seal" and not form.troubles and dead_end_of(request) is not None:
        form.troubles["deadend"] = "This plan can never decide. Below stands why, and what would make it decide."
    if form.troubles:
        return _maker(visit, state, form, status=422)
    try:
        draft_plan(visit.notebook, row.id, _kept(state, request), form["head"])
    except HeadMoved as error:
        form.troubles["form"] = str(error)
        return _maker(visit, state, form, status=409)
    return moved(f"/t/{row.number}/plan" + ("/seal" if form["then"] == "seal" else f"?kept={_KEPT}"))


def _with_launch(state: TestState, values: dict[str, str]) -> dict[str, str]:
    """Fill in from the rig what launches the wheel, where the draft does not say."""
    return values if values["launch_setting"] else values | {"launch_setting": launch_words(state.rig)}


def _change(said: str) -> dict[str, str]:
    """Read the change that a way out makes."""
    return {name: value for name, value in parse_qsl(said) if name in _CHANGES}


def _changed(state: TestState, change: Mapping[str, str]) -> dict[str, Any]:
    """Give the draft with a change made in it, as if it had been made in the form."""
    request = request_of(Form({**typed(state.request), **change}))
    return _kept(state, {name: value for name, value in request.items() if value != ""})


def _kept(state: TestState, request: dict[str, Any]) -> dict[str, Any]:
    """Keep what the form does not show of an earlier draft."""
    shown = set(request) | {"spread", "pilot_spread", "pilot_runs", "stop", "margin", "hill_bound"}
    shown |= {
        "excuses",
        "mishaps",
        "covariates",
        "end_setting",
        "launch_setting",
        "run_minutes",
        "change_minutes",
        "sitting_minutes",
        "warm_up_launches",
    }
    return {key: value for key, value in (state.request or {}).items() if key not in shown} | request


def _maker(visit: Visit, state: TestState, form: Form, *, status: int = 200) -> Response:
    """Show the plan maker; numbers that were not reckoned yet come when the page asks for them."""
    request = request_of(Form(form.values))
    ahead, why = visit.bench.results.get(_key(_with_claim(state, request)), (None, ""))
    return page_of_test(
        visit,
        visit.row,
        state,
        "plan.html.j2",
        here="plan",
        status=status,
        form=form,
        choices=CHOICES,
        fates=FATE_FIELDS,
        becomes=BECOMES,
        places=PLACES,
        ahead=ahead,
        why=why,
        dead=dead_end_of(request),
        at_stake=_at_stake(state),
        kept=visit.query.get("kept") == _KEPT and state.request is not None and not visit.posted,
    )


def _at_stake(state: TestState) -> str:
    """Name what the plan's chance is a chance of: to find what is claimed, else what somebody would care about."""
    claimed = (state.claim or {}).get("claimed")
    if claimed is None:
        return "Finds the smallest effect you would care about"
    return f"Finds the {'drive' if claimed >= 0 else 'brake'} of {percent(abs(claimed))} that is claimed"


def _with_claim(state: TestState, request: Mapping[str, Any]) -> dict[str, Any]:
    """Fill in what a forecast needs of the claim."""
    claim = state.claim or {}
    filled = {"claim": claim.get("words") or "not written yet", "source": "source", "control": "control"}
    filled |= {key: value for key, value in request.items() if value not in (None, "")}
    return filled if claim.get("claimed") is None else filled | {"claimed": claim["claimed"]}


def _ahead(visit: Visit, state: TestState, request: Mapping[str, Any]) -> tuple[dict[str, Any] | None, str]:
    """Forecast the plan; where it cannot be, say why."""
    values = _with_claim(state, request)

    def reckoned() -> tuple[dict[str, Any] | None, str]:
        try:
            return forecast(values).document(), ""
        except TruerunError as error:
            return None, str(error)

    made: tuple[dict[str, Any] | None, str] = visit.bench.kept(_key(values), reckoned)
    return made


def _key(values: Mapping[str, Any]) -> tuple[str, str]:
    """Give what a forecast is kept under."""
    return ("forecast", json.dumps(values, sort_keys=True, default=str))


def figures(visit: Visit) -> Response:
    """Give the numbers beside the form, as JSON; nothing is written."""
    row = visit.row
    form = Form({name: str(value).strip() for name, value in visit.sent.items()})
    request = request_of(form)
    form.troubles.pop("source", None)
    form.troubles.pop("control", None)
    if form.troubles:
        return JSONResponse({"figures": None, "why": " ".join(form.troubles.values()), "dead": None})
    dead = dead_end_of(request)
    if dead is not None:
        return JSONResponse({"figures": None, "why": "It can never decide.", "dead": dead.document()})
    ahead, why = _ahead(visit, visit.state(row), request)
    return JSONResponse({"figures": ahead, "why": why, "dead": None})


def trade(visit: Visit) -> Response:
    """Give what other numbers of runs and other sets of orders would do, as JSON; nothing is written."""
    form = Form({name: str(value).strip() for name, value in visit.sent.items()})
    request = request_of(form)
    values = _with_claim(visit.state(visit.row), request)
    begins = begin_of(form)
    for name in ("source", "control"):
        form.troubles.pop(name, None)
    if form.troubles:
        return JSONResponse({"sizes": [], "sets": [], "stops": form.troubles.get("begin", "")})

    def reach(runs: int, orders: str) -> Reach:
        same = {key: value for key, value in values.items() if key in ("alpha", "adjust", "end", "stop", "hill_bound")}
        key = ("reach", runs, orders, json.dumps(same, sort_keys=True, default=str))
        made: Reach = visit.bench.kept(key, lambda: reach_of(values, runs, orders))
        return made

    spread = planned_spread(values)
    sizes = [size_row(values, reach(each, str(values["orders"])), spread, begins) for each in SIZES]
    sets = [set_row(values, reach(int(values["runs"]), each), spread, each) for each in ORDER_SETS]
    return JSONResponse({"sizes": sizes, "sets": sets, "stops": stop_words(values, begins)})


def seal(visit: Visit) -> Response:
    """Show what will be sealed, seal it, show the seal."""
    row = visit.row
    state = visit.state(row)
    if state.plan is None and state.request is None:
        return moved(f"/t/{row.number}/plan")
    if state.plan is not None:
        return _sealed(visit, state)
    trouble = ""
    change = _change(visit.form.get("change", ""))
    if visit.posted:
        try:
            if change:
                draft_plan(visit.notebook, row.id, _changed(state, change), visit.form.get("head", ""))
                return moved(f"/t/{row.number}/plan/seal")
            seal_plan(visit.notebook, row.id, state.request or {}, visit.form.get("head", ""))
        except TruerunError as error:
            trouble = str(error)
        else:
            return moved(f"/t/{row.number}/plan/seal")
    dead = dead_end_of(state.request or {})
    ahead, why = (None, "") if dead else _ahead(visit, state, state.request or {})
    return page_of_test(
        visit,
        row,
        state,
        "seal.html.j2",
        here="plan",
        status=409 if trouble else 200,
        ahead=ahead,
        trouble=trouble or why,
        dead=dead,
        rows=_rows(state.request or {}),
    )


def _rows(request: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Give what a plan holds, in words."""
    shown = typed(request)
    ended = _told(dict(CHOICES["end"])[shown["end"]], shown["end_setting"])
    rows = [
        ("Compared", f"{shown.get('source', '')} with {shown.get('control', '')}"),
        ("Runs", f"{int(shown['runs']) // 2} of each, in an order drawn by lot"),
        ("Set of orders", ORDER_SETS[shown["orders"]]),
        (
            "The timing ends",
            f"{ended}, {dict(CHOICES['timing'])[shown['timing']]}",
        ),
        ("Launched", _launched(shown)),
        ("Measured before each launch", shown["covariates"] or "nothing that the verdict allows for"),
        ("Who knew", BLINDING[int(shown["blinding"])]),
        ("It is over", "after the last planned run, not before and not later"),
        ("A run is left out", rule_words(request.get("left_out_rule", _RULE), request.get("mishaps", {}))),
    ]
    sorted_as = dict(BECOMES)
    for each in request.get("excuses", ()):
        how = f" ({each['how']})" if each.get("how") else ""
        rows.append((f"“{each['words']}”", f"{sorted_as[each['becomes']]}{how}"))
    return [*rows, ("Smallest effect I would care about", f"{shown['margin']} %")] if "margin" in shown else rows


def _launched(shown: Mapping[str, str]) -> str:
    """Say how the wheel is launched, and by what."""
    return _told(dict(CHOICES["launch"])[shown["launch"]], shown["launch_setting"])


def _told(words: str, exactly: str) -> str:
    """Put beside a choice how exactly that is at this bench, where it was said."""
    return f"{words}: {exactly}" if exactly else words


def _sealed(visit: Visit, state: TestState) -> Response:
    """Show the seal: its code to read aloud, as a picture, and in full."""
    sealed = read_plan(state.plan)
    code = sealed.seal.code
    picture = segno.make(f"truerun seal {code} sha256 {sealed.seal.sha256}", error="m", micro=False)
    document = sealed.plan
    return page_of_test(
        visit,
        visit.row,
        state,
        "sealed.html.j2",
        here="plan",
        plan=document,
        code=code,
        sha256=sealed.seal.sha256,
        groups=[(group, spoken(group)) for group in code.split()],
        qr=picture.svg_inline(scale=4, border=4, dark="#000000", light="#ffffff", omitsize=True),
        end=plan_end_words(document),
        orders=ORDER_SETS[document.orders],
        measured=document.covariates,
        blinding=BLINDING[document.blinding.grade],
        margin=None if document.margin is None else percent(document.margin),
        finds=None if document.forecast is None else percent(document.forecast.drive_fraction),
    )


def run_sheet(visit: Visit) -> Response:
    """Give the run sheet to print."""
    state = visit.state(visit.row)
    sealed = read_plan(state.plan or {})
    page = render_run_sheet(sealed.plan, sealed.seal, launch=launch_for(sealed.plan, state.rig))
    return Response(page, media_type="text/html", headers=_PAPER)


def plan_file(visit: Visit) -> Response:
    """Give the sealed plan as a file."""
    row = visit.row
    sealed = read_plan(visit.state(row).plan or {})
    name = {"content-disposition": f'attachment; filename="plan-{row.number}.json"'}
    return Response(plan_file_text(sealed.plan), media_type="application/json", headers=name)
