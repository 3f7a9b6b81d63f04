"""The report of a test as a page, and the test as one file for strangers."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import mkdtemp

from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from truerun.errors import PlanBroken
from truerun.web.pages import page_of_test
from truerun.web.road import next_step
from truerun.web.verdicts import result_of
from truerun.web.visit import Visit, moved
from truerun.workflow.bundles import bundle as write_bundle
from truerun.workflow.deciding import report as write_report
from truerun.workflow.kept_reports import kept_report

__all__ = ["bundle", "report", "report_page"]

_OWN_STYLE = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"


def report(visit: Visit) -> Response:
    """Write the report, or say where it is."""
    row = visit.row
    state = visit.state(row)
    ready = state.decided is not None and (state.complete or state.broken is not None)
    if visit.posted:
        if not ready:
            raise PlanBroken("A report follows the verdict", "the result is covered", "Go on with the runs.")
        write_report(visit.notebook, row.id, decided=result_of(visit, row, state))
        return moved(f"/t/{row.number}/report")
    step = next_step(row.number, state)
    return page_of_test(visit, row, state, "report_made.html.j2", here="report", ready=ready, step=step)


def report_page(visit: Visit) -> Response:
    """Give the report that was written last, to read or to keep."""
    row = visit.row
    state = visit.state(row)
    if state.report is None:
        return moved(f"/t/{row.number}/report")
    text = b"".join(kept_report(visit.notebook, state))
    headers = {"content-security-policy": _OWN_STYLE}
    if visit.query.get("save"):
        headers["content-disposition"] = f'attachment; filename="report-{row.number}.html"'
    return Response(text, media_type="text/html", headers=headers)


def bundle(visit: Visit) -> Response:
    """Write the test as one file and hand it over."""
    row = visit.row
    state = visit.state(row)
    if state.plan is None:
        raise PlanBroken("A test is handed on with its sealed plan", "none is sealed yet", "Seal the plan first.")
    folder = Path(mkdtemp(prefix="truerun-"))
    name = f"truerun-test-{row.number}.zip"
    try:
        made = write_bundle(visit.notebook, row.id, folder / name)
    except BaseException:
        shutil.rmtree(folder)
        raise
    return FileResponse(made.path, filename=name, background=BackgroundTask(shutil.rmtree, folder))
