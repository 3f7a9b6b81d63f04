"""The notebook itself: where it is, how large, whether it is whole, and tests taken over from elsewhere."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.responses import Response

from truerun.errors import TruerunError
from truerun.notebook.connection import sqlite_path
from truerun.trial.seal import spoken_code
from truerun.web.checking import Checking
from truerun.web.forms import Form
from truerun.web.pages import page
from truerun.web.visit import Visit, moved
from truerun.workflow.bundles import import_bundle

__all__ = ["check", "settings", "take_over"]


def settings(visit: Visit) -> Response:
    """Show the notebook; while it is being checked the page comes again by itself."""
    return _shown(visit, Form({}))


def _shown(visit: Visit, form: Form, *, status: int = 200) -> Response:
    """Show the page."""
    rows, checking = visit.notebook.tests(), visit.bench.checking
    place = sqlite_path(visit.notebook.place)
    answer = page(
        visit,
        "settings.html.j2",
        status=status,
        form=form,
        place=place or visit.notebook.engine.url.render_as_string(hide_password=True),
        size=None if place is None else _size_of(place),
        tests=len(rows),
        lines=sum(row.head.count for row in rows),
        identity=visit.notebook.identity,
        checking=checking,
        heads=[(row.number, row.head.count, spoken_code(row.head.digest)) for row in rows],
        noticed=[each.sentence for each in visit.notebook.findings],
    )
    if checking is not None and checking.running:
        answer.headers["refresh"] = "1; url=/settings#whole"
    return answer


def _size_of(place: Path) -> str:
    """Write the size of the file, with what is still beside it."""
    files = [Path(f"{place}{end}") for end in ("", "-wal")]
    size = sum(each.stat().st_size for each in files if each.exists())
    return f"{size / 1e6:.2f}\N{NO-BREAK SPACE}MB"


def check(visit: Visit) -> Response:
    """Begin to check every byte, unless that is under way."""
    bench = visit.bench
    if bench.checking is None or not bench.checking.running:
        bench.checking = Checking(visit.notebook.time()[:19].replace("T", " "))
        threading.Thread(target=bench.checking.run, args=(visit.notebook,), daemon=True).start()
    return moved("/settings#whole")


def take_over(visit: Visit) -> Response:
    """Take a test over from a bundle, if the bundle holds."""
    form = Form(visit.form)
    if visit.file is None or not visit.file.name:
        form.troubles["file"] = "No file was chosen. Choose a bundle, such as truerun-test-2.zip."
        return _shown(visit, form, status=422)
    with TemporaryDirectory(prefix="truerun-") as folder:
        path = Path(folder) / "bundle.zip"
        with path.open("wb") as file:
            shutil.copyfileobj(visit.file.file, file)
        try:
            test = import_bundle(visit.notebook, path)
        except TruerunError as error:
            form.troubles["file"] = str(error).replace(str(path), visit.file.name)
            return _shown(visit, form, status=422)
    number = next(row.number for row in visit.notebook.tests() if row.id == test)
    return moved(f"/t/{number}/logbook")
