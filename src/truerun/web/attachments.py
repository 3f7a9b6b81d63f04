"""Files of a run: recordings as they are, photos made anew without what a camera writes into them."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.responses import Response, StreamingResponse

from truerun.errors import PlanBroken, TruerunError, ValueOutOfRange
from truerun.notebook.files import read_file
from truerun.notebook.state import Attached, RunState, TestState
from truerun.units.number import whole_number
from truerun.web.forms import Form
from truerun.web.run_pages import run_page
from truerun.web.visit import Sent, Visit, moved
from truerun.workflow.bench import attach_photo, attach_recording, begin_run
from truerun.workflow.reducing import As, read_as, reduced

__all__ = ["PHOTO_LIMIT", "attach", "photo", "recording"]

PHOTO_LIMIT = 25 << 20
"""Largest photo that is taken [bytes]."""

PHOTO_SIDE = 2400
"""Longest side of a photo as it is kept [px]."""

_MOST_PIXELS = 120_000_000
_PIECE = 1 << 20
_PHOTO_NAMES = (".jpg", ".jpeg", ".png", ".webp", ".gif", ".bmp", ".tif", ".tiff")
_NOT_AS_PAGE = {"content-security-policy": "default-src 'none'; sandbox"}


def attach(visit: Visit) -> Response:
    """Take a file of a run: a photo, or a recording that can be read and counted."""
    row, slot = visit.row, int(visit.place["slot"])
    state = visit.state(row)
    if state.plan is None or not 1 <= slot <= len(state.order):
        raise ValueOutOfRange("The run", slot, f"1 to {len(state.order)}", "See all runs.")
    form = Form(visit.form)
    sent = visit.file
    if sent is None or not sent.name:
        form.troubles["file"] = "No file was chosen. Choose a photo or a recording."
    else:
        try:
            _taken(visit, state, slot, sent, _marks(form))
        except PlanBroken:
            raise
        except TruerunError as error:
            form.troubles["file"] = str(error)
    if form.troubles:
        return run_page(visit, form=form, status=422)
    return moved(f"/t/{row.number}/runs/{slot}#files")


def _marks(form: Form) -> int | None:
    """Read the number of marks a turn."""
    if not form["marks"]:
        return None
    marks = whole_number(form["marks"])
    if marks is None or not 1 <= marks <= 10_000:
        raise ValueOutOfRange("The number of marks", f'"{form["marks"]}"', "a whole number from 1 up")
    return marks


def _taken(visit: Visit, state: TestState, slot: int, sent: Sent, marks: int | None) -> None:
    """Attach a photo, or a recording."""
    test = visit.row.id
    if sent.name.lower().endswith(_PHOTO_NAMES):
        made, run = _made_anew(sent), _last_run(state, slot)
        attach_photo(visit.notebook, test, sent.name, [made], run=None if run is None else run.id)
        return
    run = _last_run(state, slot)
    if run is None and slot != state.next_slot:
        raise PlanBroken("Recordings follow the order that was sealed", f"run {slot} was not begun", "See all runs.")
    known = marks or _marks_before(state)
    _require_readable(sent, known)
    run = run or begin_run(visit.notebook, test, slot=slot)
    attach_recording(
        visit.notebook, test, run.id, sent.name, _pieces(sent), media="application/octet-stream", marks=known
    )


def _last_run(state: TestState, slot: int) -> RunState | None:
    """Give the attempt at a run that files belong to."""
    return next((run for run in reversed(state.runs) if run.slot == slot and run.left_out is None), None)


def _marks_before(state: TestState) -> int | None:
    """Give the number of marks in the recording before."""
    kept = [each for run in state.runs for each in run.recordings if each.marks is not None]
    return kept[-1].marks if kept else None


def _require_readable(sent: Sent, marks: int | None) -> None:
    """Refuse a recording that holds no rundown; what it says of the run is not looked at."""
    with TemporaryDirectory(prefix="truerun-") as folder:
        path = Path(folder) / f"recording{Path(sent.name).suffix[:12]}"
        with path.open("wb") as file:
            file.writelines(_pieces(sent))
        how = As(marks)
        try:
            reduced(read_as(path, how), how)
        except TruerunError as error:
            raise ValueOutOfRange(
                "The file",
                str(error).replace(str(path), sent.name),
                "a recording of the run",
                "Nothing was attached; the file on your side is as it was.",
            ) from error


def _pieces(sent: Sent) -> Iterator[bytes]:
    """Read a file that was sent from its beginning."""
    sent.file.seek(0)
    while piece := sent.file.read(_PIECE):
        yield piece


def _made_anew(sent: Sent) -> bytes:
    """Read a photo, turn it upright, and write it anew: nothing of the file but the picture stays."""
    from PIL import Image, ImageOps  # noqa: PLC0415  only where photos are sent

    data = sent.file.read(PHOTO_LIMIT + 1)
    if len(data) > PHOTO_LIMIT:
        raise ValueOutOfRange("The photo", "larger", f"at most {PHOTO_LIMIT >> 20} MB", "Make it smaller.")
    try:
        with Image.open(io.BytesIO(data)) as image:
            if image.width * image.height > _MOST_PIXELS:
                raise ValueOutOfRange("The photo", f"{image.width} by {image.height} points", "at most 120 million")
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise ValueOutOfRange("The photo", "not readable as a picture", "a photo as phones make it") from error
    upright.thumbnail((PHOTO_SIDE, PHOTO_SIDE))
    written = io.BytesIO()
    upright.save(written, "JPEG", quality=85)
    return written.getvalue()


def photo(visit: Visit) -> Response:
    """Give a photo."""
    found = _named(visit, visit.state(visit.row).photos)
    data = b"".join(read_file(visit.notebook, found.digest))
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=86400"} | _NOT_AS_PAGE)


def recording(visit: Visit) -> Response:
    """Hand a recording over, byte for byte; never shown as a page."""
    state = visit.state(visit.row)
    found = _named(visit, [each for run in state.runs for each in run.recordings])
    if not (state.complete or state.broken is not None) or state.decided is None:
        raise PlanBroken("Recordings are handed over once the result is open", "it is covered", "Go on with the runs.")
    headers = {"content-disposition": f'attachment; filename="{found.digest[:16]}.txt"'} | _NOT_AS_PAGE
    return StreamingResponse(
        read_file(visit.notebook, found.digest), media_type="application/octet-stream", headers=headers
    )


def _named(visit: Visit, kept: tuple[Attached, ...] | list[Attached]) -> Attached:
    """Find a file of this test by its digest."""
    said = str(visit.place["digest"])
    found = next((each for each in kept if each.digest == said), None)
    if found is None:
        raise ValueOutOfRange("The file", f"{said[:16]}...", "one that was attached to this test")
    return found
