"""Requests that no page of truerun sends: each is answered with a sentence, none with a status from 500 up."""

from __future__ import annotations

import logging
import re
import socket
from collections.abc import Iterator
from queue import Queue

import httpx
import pytest

from tests.web.conftest import Running
from tests.web.made_tests import agreed, opened, sealed
from truerun.web.gate import HEADERS

JSON = {"content-type": "application/json", "accept": "application/json"}


@pytest.fixture(scope="module")
def number(running: Running) -> int:
    """Open a test with a sealed plan and a test that has none."""
    test = opened(running.notebook)
    agreed(running.notebook, test)
    sealed(running.notebook, test)
    opened(running.notebook, "No plan yet")
    return 1


class TestJson:
    @pytest.mark.parametrize(
        "body",
        [
            '{"what": "note", "at": ' + "9" * 5000 + "}",  # Python reads no number of more than 4300 digits
            '{"what": "note", "sender": "s", "words": "\\ud800"}',  # RFC 8259, section 8.2: half a surrogate pair
            '{"what": "\\ud800", "sender": "s"}',
            '{"what": "start", "sender": "s", "run": "r", "at": ' + "9" * 400 + "}",  # beyond every float
            "[" * 100_000,
            "null",
            "",
        ],
    )
    def test_what_no_reader_can_hold_is_refused(self, client: httpx.Client, number: int, body: str) -> None:
        answer = client.post(f"/t/{number}/observe", content=body, headers=JSON)
        assert answer.status_code == 422
        assert answer.json()["sentence"].startswith("What was sent is not")

    def test_the_largest_number_that_every_reader_holds_is_taken(self, client: httpx.Client, number: int) -> None:
        body = '{"what": "note", "sender": "largest", "words": "w", "at": 9007199254740991}'  # RFC 8259, section 6
        assert client.post(f"/t/{number}/observe", content=body, headers=JSON).status_code == 200


class TestAddresses:
    def test_an_address_of_thousands_of_digits_is_no_page(self, client: httpx.Client) -> None:
        assert client.get("/t/" + "9" * 4400).status_code == 414

    @pytest.mark.parametrize("page", ["correct", "take-back"])
    def test_a_line_beyond_every_count_is_refused(self, client: httpx.Client, number: int, page: str) -> None:
        answer = client.get(f"/t/{number}/logbook/{'9' * 25}/{page}")
        assert answer.status_code == 422
        assert "See the logbook." in answer.text


class TestForms:
    @pytest.mark.parametrize("orders", ["", "no such set", "\0"])
    def test_a_set_of_orders_that_is_none_comes_back_with_the_form(
        self, client: httpx.Client, number: int, orders: str
    ) -> None:
        form = {"then": "seal", "source": "arc in", "control": "arc out", "end": "speed", "orders": orders}
        answer = client.post(f"/t/{number + 1}/plan", data=form)
        assert answer.status_code == 422
        assert "choose one" in answer.text

    @pytest.mark.parametrize("field", ["pilot_runs", "warm_up_launches"])
    def test_a_count_of_five_thousand_digits_comes_back_with_the_form(
        self, client: httpx.Client, number: int, field: str
    ) -> None:
        form = {"source": "arc in", "control": "arc out", "spread": "1", field: "9" * 5000}
        answer = client.post(f"/t/{number + 1}/plan", data=form)
        assert answer.status_code == 422
        assert "is no whole number of at most 15 digits" in answer.text


class Told(logging.Handler):
    """Takes what is printed on the terminal of the server, as it comes: after the answer."""

    def __init__(self) -> None:
        super().__init__()
        self.records: Queue[logging.LogRecord] = Queue()

    def emit(self, record: logging.LogRecord) -> None:
        """Take one line."""
        self.records.put(record)


class TestConnections:
    def test_one_that_is_cut_off_leaves_nothing_behind_and_raises_nothing(
        self, running: Running, client: httpx.Client, number: int
    ) -> None:
        terminal, log = Told(), logging.getLogger("uvicorn.error")
        log.addHandler(terminal)
        head = (
            f"POST /t/{number}/notes HTTP/1.1\r\nHost: 127.0.0.1:{running.door.port}\r\nSec-Fetch-Site: same-origin\r\n"
        )
        head += f"Cookie: {running.door.cookie}={running.door.session}\r\nContent-Length: 100\r\n"
        head += "Content-Type: application/x-www-form-urlencoded\r\n\r\nwords=cut"
        for _ in range(20):
            with socket.create_connection(("127.0.0.1", running.door.port)) as cut:
                cut.sendall(head.encode())
        for _ in range(20):  # these are answered after those above were read
            assert client.get("/keys").status_code == 200
        state = running.bench.state(running.notebook.tests()[number - 1].id)
        assert not [each for each in state.notes if "cut" in each]
        log.removeHandler(terminal)
        assert terminal.records.empty()


class TestWhatTruerunItselfDoesWrong:
    @pytest.fixture
    def terminal(self, monkeypatch: pytest.MonkeyPatch) -> Iterator[Told]:
        """Let the page of the keys fail in a way that nobody foresaw, and give what is printed."""

        def fail(visit: object) -> None:
            raise RuntimeError("a secret", type(visit))

        monkeypatch.setattr("truerun.web.shelf.keys", fail)
        told, log = Told(), logging.getLogger("uvicorn.error")
        log.addHandler(told)
        yield told
        log.removeHandler(told)

    def test_is_a_page_in_plain_words_and_the_traceback_stays_on_the_server(
        self, client: httpx.Client, terminal: Told
    ) -> None:
        answer = client.get("/keys")
        assert answer.status_code == 500  # RFC 9110, section 15.6.1
        assert "What was written down before is kept." in answer.text
        assert not re.search("RuntimeError|secret|Traceback|line [0-9]", answer.text)
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
        printed = terminal.records.get(timeout=20).exc_info
        assert printed is not None
        assert printed[0] is RuntimeError

    def test_is_a_sentence_for_a_script_that_asks(self, client: httpx.Client, terminal: Told) -> None:
        answer = client.get("/keys", headers={"accept": "application/json"})
        assert answer.status_code == 500
        assert "try again" in answer.json()["sentence"]
        assert terminal.records.get(timeout=20).exc_info

    def test_keeps_nobody_from_the_next_page(self, client: httpx.Client, terminal: Told) -> None:
        for _ in range(10):  # the connection of the answer is closed: one that is used again would be cut off
            assert client.get("/keys").status_code == 500
            assert client.get("/").status_code == 200
        assert terminal.records.get(timeout=20).exc_info


class TestAFormThatCannotBeRead:
    @pytest.mark.parametrize("body", [b"--x\r\nno header at all\r\n\r\n", b"--y\r\n\r\n--y--", b"no boundary"])
    def test_is_refused_in_a_sentence(self, client: httpx.Client, number: int, body: bytes) -> None:
        form = {"content-type": "multipart/form-data; boundary=x"}
        answer = client.post(f"/t/{number}/notes", content=body, headers=form)
        assert answer.status_code == 400
        assert "nothing of it was written down" in answer.text
