"""The phones' pages: pairing, the rigger, the timekeeper, the witness; each role gets its own and no other.

What the timekeeper gets is made of numbers and fixed words alone: no name of a test, of a condition or of a rule, and
no sentence of a refusal, so that nothing that was typed in anywhere can tell the condition.
"""

from __future__ import annotations

import json
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from truerun.errors import TruerunError, ValueOutOfRange
from truerun.notebook.state import TestState
from truerun.report.bench_lists import ONCE_A_BLOCK
from truerun.report.plan_words import plan_end_words
from truerun.trial.mishaps import MISHAPS, excused
from truerun.trial.plan import Plan
from truerun.trial.seal import spoken_code
from truerun.web.gate import unforeseen
from truerun.web.observing import observe
from truerun.web.pages import page
from truerun.web.phone_book import Phone, PhoneBook, Role
from truerun.web.phone_gate import PhoneDoor, PhoneGate
from truerun.web.visit import Bench, Visit, moved, read_visit
from truerun.workflow.plan_files import read_plan
from truerun.workflow.rig import launch_for

__all__ = ["STATIC", "phone_application"]

STATIC = ("colours.css", "page.css", "phone.css", "outbox.js", "phone.js", "phone_watch.js", "press.js")
"""Every file that a phone gets."""

_MAY: Mapping[Role, tuple[str, ...]] = {
    Role.RIGGER: ("begin", "wrong"),
    Role.TIMEKEEPER: ("start", "tap", "stop", "wrong", "guess"),
    Role.WITNESS: (),
}
_GUESSES = 3
_NOT_TAKEN = "This was not taken: that launch is not open. Say so at the desk."

PhonePage = Callable[[Visit, Phone, PhoneBook], Response]


def phone_application(bench: Bench, door: PhoneDoor) -> Starlette:
    """Make the phones' application: its routes are all that a phone can reach.

    Parameters
    ----------
    bench : Bench
        That of the desk.
    door : PhoneDoor
        Who may come in.

    Returns
    -------
    Starlette
    """
    made = Starlette(
        routes=[
            Route("/pair", _pair, methods=["GET", "POST"]),
            Route("/p", _for(None, _own), methods=["GET"]),
            Route("/p/rig", _for(Role.RIGGER, _rig), methods=["GET"]),
            Route("/p/time", _for(Role.TIMEKEEPER, _time), methods=["GET"]),
            Route("/p/watch", _for(Role.WITNESS, _witness), methods=["GET"]),
            Route("/p/now", _for(None, _now), methods=["GET"]),
            Route("/p/observe", _for(None, _observe), methods=["POST"]),
            *[Route(f"/static/{name}", _file(name), methods=["GET"]) for name in STATIC],
        ],
        middleware=[Middleware(PhoneGate, phones=door)],
        exception_handlers={
            TruerunError: _refused,
            HTTPException: _refused,
            ClientDisconnect: _refused,
            Exception: unforeseen,
        },
    )
    made.state.bench, made.state.door = bench, door
    return made


def _file(name: str) -> Callable[[Request], Awaitable[Response]]:
    """Give a file of the list."""

    async def answer(request: Request) -> Response:
        del request
        return FileResponse(Path(__file__).parent / "static" / name)

    return answer


def _for(role: Role | None, show: PhonePage) -> Callable[[Request], Awaitable[Response]]:
    """Make a page an endpoint for one role, None for all."""

    async def answer(request: Request) -> Response:
        phone: Phone | None = request.scope["phone"]
        if phone is None or (role is not None and phone.role is not role):
            raise HTTPException(404)
        visit = await read_visit(request)
        door: PhoneDoor = request.app.state.door
        return await run_in_threadpool(show, replace(visit, place={"number": phone.test}), phone, door.book)

    return answer


async def _refused(request: Request, error: Exception) -> Response:
    """Refuse in fixed words: the error's own may name a condition."""
    status = error.status_code if isinstance(error, HTTPException) else 422
    words = "There is no such page for this phone." if isinstance(error, HTTPException) else _NOT_TAKEN
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"sentence": words}, status)
    visit = Visit(request.app.state.bench, "GET", "", {}, {}, {}, {})
    return await run_in_threadpool(lambda: page(visit, "phone_told.html.j2", status=status, words=words))


async def _pair(request: Request) -> Response:
    """Ask for the code, and exchange it for a cookie."""
    visit = await read_visit(request)
    door: PhoneDoor = request.app.state.door
    if not visit.posted:
        code = visit.query.get("code", "")
        return await run_in_threadpool(lambda: page(visit, "phone_pair.html.j2", code=code, wrong=False))
    phone = door.book.pair(visit.form.get("code", ""), time.monotonic())
    if phone is None:
        return await run_in_threadpool(lambda: page(visit, "phone_pair.html.j2", status=403, code="", wrong=True))
    answer = RedirectResponse("/p", status_code=303)
    answer.set_cookie(door.cookie, phone.secret, httponly=True, samesite="strict", path="/")
    return answer


def _own(visit: Visit, phone: Phone, book: PhoneBook) -> Response:
    """Lead to the page of the role."""
    del visit, book
    return moved(f"/p/{phone.role.value}")


def _standing(visit: Visit) -> tuple[TestState, Plan]:
    """Give the test of a phone and its sealed plan."""
    state = visit.state(visit.row)
    if state.plan is None:
        raise ValueOutOfRange("The plan", "not sealed", "a sealed one", "Seal it at the desk.")
    return state, read_plan(state.plan).plan


def _rig(visit: Visit, phone: Phone, book: PhoneBook) -> Response:
    """Show the rigger what to set up; never a time."""
    state, plan = _standing(visit)
    slot = state.next_slot if state.sessions and state.closed is None else None
    name = plan.order[slot - 1] if slot else ""
    return page(
        visit,
        "phone_rig.html.j2",
        state=state,
        slot=slot,
        planned=plan.runs,
        hidden=plan.drawn_by == "bag",
        condition=name,
        is_source=name == plan.conditions.source,
        launch=launch_for(plan, state.rig),
        covariates=plan.covariates,
        checks=ONCE_A_BLOCK if slot and plan.order_set.begins_block(slot) else (),
        again=bool(slot and slot > 1 and plan.order[slot - 2] == name),
        ready=_is_set_up(state, phone, book),
        run=state.open_run.id if state.open_run else "",
        wrong=excused(plan.mishaps),
        mark=_rigger_mark(state, ready=_is_set_up(state, phone, book)),
    )


def _is_set_up(state: TestState, phone: Phone, book: PhoneBook) -> bool:
    """Tell whether the next launch may begin: a run that the desk began by measuring first still waits for a rigger."""
    run = state.open_run
    return run is not None and (not run.measured or run.id in book.set_up or not book.has_rigger(phone.test))


def _rigger_mark(state: TestState, *, ready: bool) -> str:
    """Name what the rigger's page shows: it is loaded anew for nothing else, so that no tick and no press is lost."""
    going = bool(state.sessions) and state.closed is None
    return f"{state.next_slot or 0} {state.open_run.id if state.open_run else ''} {going} {ready}"


def _time(visit: Visit, phone: Phone, book: PhoneBook) -> Response:
    """Show the timekeeper a number and a watch."""
    del phone, book
    state, plan = _standing(visit)
    return page(
        visit,
        "phone_time.html.j2",
        launch=state.next_slot,
        planned=plan.runs,
        end=plan_end_words(plan),
        guesses=plan.blinding.grade >= _GUESSES,
        wrong={key: MISHAPS[key] for key in excused(plan.mishaps) if key != "wrong-condition"},
    )


def _witness(visit: Visit, phone: Phone, book: PhoneBook) -> Response:
    """Show a witness the seal, how many runs are done, and the last line."""
    del phone, book
    state, plan = _standing(visit)
    return page(
        visit,
        "phone_witness.html.j2",
        state=state,
        code=read_plan(state.plan or {}).seal.code,
        done=plan.runs if state.complete else (state.next_slot or 1) - 1,
        planned=plan.runs,
        closed=" ".join(spoken_code(state.head.digest).split()[:2]),
        mark=state.head.count,
    )


def _now(visit: Visit, phone: Phone, book: PhoneBook) -> Response:
    """Say how far the test is, in numbers."""
    state, _ = _standing(visit)
    ready = _is_set_up(state, phone, book)
    if phone.role is Role.RIGGER:
        return JSONResponse({"mark": _rigger_mark(state, ready=ready)})
    if phone.role is Role.WITNESS:
        return JSONResponse({"mark": state.head.count})
    run = state.open_run
    over = state.next_slot is None or state.closed is not None
    standing = "over" if over else "ready" if ready else "wait"
    return JSONResponse({"launch": state.next_slot, "state": standing, "run": "" if run is None else run.id})


def _observe(visit: Visit, phone: Phone, book: PhoneBook) -> Response:
    """Take what a phone of this role may observe; the answer holds the run's id and nothing else."""
    if visit.sent.get("what") not in _MAY[phone.role]:
        raise ValueOutOfRange("What was observed", "not for this phone", "what its role sees")
    body: dict[str, Any] = dict(visit.sent)
    if body["what"] == "guess":
        names = _standing(visit)[1].conditions
        body["condition"] = {"on": names.source, "off": names.control}.get(str(body.get("condition")), "")
    run = json.loads(bytes(observe(replace(visit, sent=body)).body)).get("run")
    if body["what"] == "begin":
        book.set_up.add(run)
    return JSONResponse({"run": run})
