"""The application: its addresses, and the one place where an error becomes a status."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from truerun.errors import HeadMoved, LedgerBroken, NotebookUnusable, PlanBroken, TruerunError, ValueOutOfRange
from truerun.notebook.ledger import Notebook
from truerun.web.gate import BODY_LIMIT, Door, Gate, unforeseen
from truerun.web.pages import page
from truerun.web.visit import Bench, Page, Visit, endpoint

__all__ = ["PAGES", "application"]

TEST = "/t/{number:int}"
RUN = TEST + "/runs/{slot:int}"

PAGES: tuple[tuple[str, str, Sequence[str]], ...] = (
    ("/", "shelf.shelf", ("GET",)),
    ("/keys", "shelf.keys", ("GET",)),
    ("/settings", "settings.settings", ("GET",)),
    ("/settings/check", "settings.check", ("POST",)),
    ("/settings/import", "settings.take_over", ("POST",)),
    ("/phones", "phones.phones", ("GET", "POST")),
    ("/new", "claims.new", ("GET", "POST")),
    (TEST, "shelf.resumed", ("GET",)),
    (TEST + "/claim", "claims.claim", ("GET", "POST")),
    (TEST + "/agreement", "claims.agreement", ("GET",)),
    (TEST + "/agreement/{side}", "claims.answer", ("GET", "POST")),
    (TEST + "/rig", "rigs.rig", ("GET", "POST")),
    (TEST + "/energy", "rigs.energy", ("GET",)),
    (TEST + "/plan", "plans.plan", ("GET", "POST")),
    (TEST + "/plan/figures", "plans.figures", ("POST",)),
    (TEST + "/plan/trade", "plans.trade", ("POST",)),
    (TEST + "/plan/seal", "plans.seal", ("GET", "POST")),
    (TEST + "/plan/redraw", "amending.redraw", ("GET", "POST")),
    (TEST + "/logbook", "amending.logbook", ("GET",)),
    (TEST + "/logbook/{entry:int}/take-back", "amending.take_back", ("GET", "POST")),
    (TEST + "/logbook/{entry:int}/correct", "amending.correct", ("GET", "POST")),
    (TEST + "/close", "amending.close", ("GET", "POST")),
    (TEST + "/plan/sheet", "plans.run_sheet", ("GET",)),
    (TEST + "/plan/file", "plans.plan_file", ("GET",)),
    (TEST + "/session", "runs.session", ("GET", "POST")),
    (TEST + "/warm-up", "runs.warm", ("GET", "POST")),
    (TEST + "/runs", "runs.runs", ("GET",)),
    (TEST + "/notes", "runs.write_note", ("POST",)),
    (TEST + "/observe", "observing.observe", ("POST",)),
    (TEST + "/sensor", "sensing.sensor", ("GET", "POST")),
    (TEST + "/sensor/now", "sensing.sensor_now", ("GET",)),
    (RUN, "run_pages.run_page", ("GET",)),
    (RUN + "/files", "attachments.attach", ("POST",)),
    (TEST + "/photos/{digest}", "attachments.photo", ("GET",)),
    (TEST + "/recordings/{digest}", "attachments.recording", ("GET",)),
    (RUN + "/measured", "measuring.measured", ("GET", "POST")),
    (RUN + "/sheet", "runs.sheet", ("GET",)),
    (RUN + "/now", "runs.sheet_now", ("GET",)),
    (RUN + "/slate", "slates.slate", ("GET",)),
    (RUN + "/typed", "runs.typed_time", ("GET", "POST")),
    (RUN + "/guess", "runs.guess", ("GET", "POST")),
    (RUN + "/withdraw", "runs.withdraw", ("GET", "POST")),
    (TEST + "/verdict", "verdicts.verdict", ("GET",)),
    (TEST + "/verdict/open", "verdicts.open_seal", ("POST",)),
    (TEST + "/verdict/opened", "verdicts.opened", ("GET",)),
    (TEST + "/verdict/break", "verdicts.break_early", ("GET", "POST")),
    (TEST + "/verdict/orders", "verdicts.orders", ("GET",)),
    (TEST + "/controls", "controls.controls", ("GET",)),
    (TEST + "/controls/plan", "controls.plan_control", ("POST",)),
    (TEST + "/challenge", "controls.challenge", ("GET", "POST")),
    (TEST + "/cards", "cards.cards", ("GET",)),
    (TEST + "/cards/{name}", "cards.card", ("GET",)),
    (TEST + "/report", "reports.report", ("GET", "POST")),
    (TEST + "/report/page", "reports.report_page", ("GET",)),
    (TEST + "/bundle", "reports.bundle", ("POST",)),
    ("/screening", "screenings.new", ("GET", "POST")),
    (TEST + "/screening", "screenings.screening", ("GET", "POST")),
    (TEST + "/screening/wrong", "screenings.wrong", ("POST",)),
    (TEST + "/screening/fresh", "screenings.fresh", ("POST",)),
    (TEST + "/screening/sheet", "screenings.sheet", ("GET",)),
    ("/look", "looks.look", ("GET",)),
    ("/look/result", "looks.result", ("GET",)),
)
"""Every address, the page that answers it (module and function), and how it may be asked."""

_STATUS: tuple[tuple[type[TruerunError], int], ...] = (
    (HeadMoved, 409),
    (PlanBroken, 409),
    (NotebookUnusable, 503),
    (LedgerBroken, 500),
    (ValueOutOfRange, 422),
)

_REFUSED = {
    400: "What was sent cannot be read as a form, so nothing of it was written down. Go back and send it once more.",
    404: "There is no such page.",
}


def application(notebook: Notebook, door: Door, *, body_limit: int = BODY_LIMIT) -> Starlette:
    """Make the application over an open notebook.

    Parameters
    ----------
    notebook : Notebook
        Stays open as long as the application answers.
    door : Door
        Who may come in.
    body_limit : int
        Largest body of a request [bytes].

    Returns
    -------
    Starlette
        To be bound to the loopback address.
    """
    made = Starlette(
        routes=_routes(),
        middleware=[Middleware(Gate, door=door, limit=body_limit)],
        exception_handlers={TruerunError: _told, HTTPException: _not_found, Exception: unforeseen},
    )
    made.state.bench = Bench(notebook)
    return made


def _routes() -> list[BaseRoute]:
    """Give every route; what a page needs is imported when it is first asked for."""
    static = StaticFiles(directory=Path(__file__).parent / "static")
    pages: list[BaseRoute] = [
        Route(address, endpoint(_later(name)), methods=list(methods)) for address, name, methods in PAGES
    ]
    return [*pages, Mount("/static", static)]


def _later(name: str) -> Page:
    """Give a page that is imported when it is first asked for."""
    module, _, function = name.partition(".")

    def show(visit: Visit) -> Response:
        found = getattr(import_module(f"truerun.web.{module}"), function)
        answer = found(visit)
        assert isinstance(answer, Response)  # noqa: S101  ours, not a person's
        return answer

    return show


async def _told(request: Request, error: Exception) -> Response:
    """Say an error in the sentence that it carries."""
    status = next((status for kind, status in _STATUS if isinstance(error, kind)), 422)
    if isinstance(error, ValueOutOfRange) and error.name == "The test":
        status = 404
    return await _answer(request, str(error), status)


async def _not_found(request: Request, error: Exception) -> Response:
    """Say that nothing is here, or not in this way."""
    status = error.status_code if isinstance(error, HTTPException) else 500
    said = _REFUSED.get(status, "This page cannot be asked for in this way.")
    return await _answer(request, said, status)


async def _answer(request: Request, sentence: str, status: int) -> Response:
    """Answer with a sentence: as JSON to a script, as a page to a person."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"sentence": sentence}, status)
    visit = Visit(request.app.state.bench, "GET", request.url.path, request.path_params, {}, {}, {})
    return await run_in_threadpool(lambda: page(visit, "refused.html.j2", status=status, sentence=sentence))
