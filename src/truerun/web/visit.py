"""One request as the pages see it, and how a page becomes an endpoint."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response

from truerun.errors import ValueOutOfRange
from truerun.notebook.ledger import Notebook, TestRow
from truerun.notebook.state import TestState, went_on
from truerun.workflow.bench import state_of

if TYPE_CHECKING:  # it brings the virtual bench along, and few visits need it
    from truerun.web.checking import Checking
    from truerun.web.phone_switch import PhoneSwitch
    from truerun.web.reckoning import Reckoning
    from truerun.workflow.recorded import Measurements
    from truerun.workflow.sensor_stand import SensorStand

__all__ = ["Bench", "Page", "Sent", "Visit", "endpoint", "moved", "read_visit"]

_LONGEST_WHOLE, _LARGEST_WHOLE = 20, 2**53 - 1


_NOT_MADE = object()


@dataclass(slots=True)
class Bench:
    """What the application holds between requests: the notebook, results that were reckoned, tests that were opened.

    ``results`` and ``states`` keep what can always be made again; ``opened`` holds the test that a form opened, by
    the form's id, so that a form sent twice opens one. ``sensor`` is the sensor's
    stand, once its page was asked for, ``phones`` the switch of the phones' listener,
    ``checking`` the check of the whole notebook that was asked for last. ``measured`` keeps what was measured from
    recordings, by their bytes, ``reckonings`` what is being reckoned, by the id of its test; ``patience`` is how long a
    page waits for it before it says how far it is [s].
    """

    notebook: Notebook
    results: dict[object, Any] = field(default_factory=dict)
    states: dict[str, TestState] = field(default_factory=dict)
    opened: dict[str, int] = field(default_factory=dict)
    sensor: SensorStand | None = None
    phones: PhoneSwitch | None = None
    checking: Checking | None = None
    measured: Measurements = field(default_factory=dict)
    reckonings: dict[str, Reckoning] = field(default_factory=dict)
    patience: float = 1.0

    def state(self, test: str) -> TestState:
        """Give everything that stands in a test: what was added up before, and the entries since."""
        before = self.states.get(test)
        if before is None:
            state = state_of(self.notebook, test)
        else:
            state = went_on(before, self.notebook.entries(test, before.head.count))
        self.states[test] = state
        return state

    def kept(self, key: object, make: Callable[[], Any]) -> Any:
        """Give a result, made once."""
        found = self.results.get(key, _NOT_MADE)
        if found is _NOT_MADE:
            found = make()
            if len(self.results) >= 64:
                self.results.pop(next(iter(self.results)), None)
            self.results[key] = found
        return found


@dataclass(frozen=True, slots=True)
class Sent:
    """A file that was sent: the last part of its name, and its bytes, on the disk where they are many."""

    name: str
    file: IO[bytes]


@dataclass(frozen=True, slots=True)
class Visit:
    """One request: what the path, the query and the form say.

    ``sent`` is the body where it was JSON, ``file`` the file that came with a form.
    """

    bench: Bench
    method: str
    path: str
    place: Mapping[str, Any]
    query: Mapping[str, str]
    form: Mapping[str, str]
    sent: Mapping[str, Any]
    file: Sent | None = None

    @property
    def notebook(self) -> Notebook:
        """The open notebook."""
        return self.bench.notebook

    @property
    def posted(self) -> bool:
        """Whether something is to be written."""
        return self.method == "POST"

    @property
    def row(self) -> TestRow:
        """The test that the path names."""
        number = int(self.place["number"])
        rows = self.notebook.tests()
        found = next((row for row in rows if row.number == number), None)
        if found is None:
            raise ValueOutOfRange("The test", number, f"one of the {len(rows)} of this notebook", "See all tests.")
        return found

    def state(self, row: TestRow) -> TestState:
        """Give everything that stands in a test."""
        return self.bench.state(row.id)


Page = Callable[[Visit], Response]


def endpoint(page: Page) -> Callable[[Request], Awaitable[Response]]:
    """Make a page an endpoint: its form is read, and it runs beside the others."""

    async def answer(request: Request) -> Response:
        try:
            if _media(request) == "multipart/form-data":
                return await _with_file(request, page)
            visit = await read_visit(request)
        except ClientDisconnect:  # nothing came to its end, nothing was written, and nobody hears an answer
            return Response(status_code=400)
        return await run_in_threadpool(page, visit)

    return answer


async def _with_file(request: Request, page: Page) -> Response:
    """Read a form with a file, hand it to the page, and let go of the file."""
    async with request.form(max_files=1, max_fields=20) as form:
        texts = {name: value.strip() for name, value in form.items() if isinstance(value, str)}
        sent = next((each for each in form.values() if isinstance(each, UploadFile)), None)
        visit = Visit(
            bench=request.app.state.bench,
            method=request.method,
            path=request.url.path,
            place=request.path_params,
            query=dict(request.query_params),
            form=texts,
            sent={},
            file=None if sent is None else Sent(_last_part(sent.filename or ""), sent.file),
        )
        return await run_in_threadpool(page, visit)


def _last_part(name: str) -> str:
    """Give the name of a file without folders, as far as it can be read."""
    last = name.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in last if sign.isprintable())[:200]


def _media(request: Request) -> str:
    """Give the media type of what was sent."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


async def read_visit(request: Request) -> Visit:
    """Read a request."""
    body = await request.body() if request.method == "POST" else b""
    media = _media(request)
    form = parse_qsl(_text(body), keep_blank_values=True) if media == "application/x-www-form-urlencoded" else ()
    return Visit(
        bench=request.app.state.bench,
        method=request.method,
        path=request.url.path,
        place=request.path_params,
        query=dict(request.query_params),
        form={name: value.strip() for name, value in form},
        sent=_object(body) if media == "application/json" else {},
    )


def _text(body: bytes) -> str:
    """Read a body as text."""
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ValueOutOfRange("What was sent", "not text", "a form or JSON in UTF-8") from error


def _object(body: bytes) -> dict[str, Any]:
    """Read a body as a JSON object."""
    text = _text(body)
    try:
        read = json.loads(text, parse_int=_whole)
        json.dumps(read, ensure_ascii=False).encode()  # an escaped half of a surrogate pair can be written nowhere
    except (ValueError, RecursionError) as error:
        raise ValueOutOfRange("What was sent", "not JSON", "one JSON object") from error
    if not isinstance(read, dict):
        raise ValueOutOfRange("What was sent", "not an object", "one JSON object")
    return read


def _whole(text: str) -> int:
    """Read a whole number that every reader of JSON can hold (RFC 8259, section 6)."""
    if len(text) > _LONGEST_WHOLE or abs(int(text)) > _LARGEST_WHOLE:
        raise ValueError(text[:_LONGEST_WHOLE])
    return int(text)


def moved(address: str) -> Response:
    """Lead on after something was written, so that Back never repeats it."""
    return RedirectResponse(address, status_code=303)
