"""Who is let in. Rules: RFC 6265bis (cookies), W3C Fetch Metadata, CSP 3, the loopback of RFC 6890 (127.0.0.0/8)."""

from __future__ import annotations

import re
import socket

import httpx
import pytest
from starlette.routing import Mount, Route

from tests.web.conftest import Running
from truerun.web.application import PAGES, application
from truerun.web.gate import BODY_LIMIT, HEADERS, Door


def addresses() -> list[tuple[str, str]]:
    """Give every method and address of the application, with something in the place of each part."""
    filled = [(re.sub(r"\{\w+(:\w+)?\}", "1", path), methods) for path, _, methods in PAGES]
    return [(method, path) for path, methods in filled for method in methods] + [("GET", "/static/page.css")]


def asked(running: Running, method: str, path: str, **more: object) -> httpx.Response:
    """Ask without a cookie."""
    with httpx.Client(base_url=running.address, trust_env=False) as stranger:
        return stranger.request(method, path, **more)  # type: ignore[arg-type]


class TestOnlyThisMachine:
    def test_the_server_is_bound_to_the_loopback_address(self, running: Running) -> None:
        assert running.listener.getsockname()[0] == "127.0.0.1"

    def test_another_address_of_this_machine_is_not_answered(self, running: Running) -> None:
        with socket.socket() as other:
            other.settimeout(2)
            assert other.connect_ex(("127.0.0.2", running.door.port)) != 0  # loopback too, and not bound


class TestTheHostName:
    @pytest.mark.parametrize(
        ("form", "answered"),
        [
            ("127.0.0.1:{port}", True),
            ("localhost:{port}", True),
            ("LOCALHOST:{port}", True),  # names of hosts have no case, RFC 9110 section 4.2.3
            ("127.0.0.1", False),
            ("localhost", False),
            ("localhost.:{port}", False),
            ("127.0.0.1:1", False),
            ("[::1]:{port}", False),
            ("0.0.0.0:{port}", False),
            ("2130706433:{port}", False),  # the loopback address as one number
            ("rebound.example:{port}", False),
            ("127.0.0.1:{port}.rebound.example", False),
            ("", False),
        ],
    )
    @pytest.mark.parametrize("path", ["/", "/static/page.css", "/start", "/nowhere"])
    def test_only_names_of_this_machine_with_the_port(
        self, running: Running, form: str, path: str, *, answered: bool
    ) -> None:
        host = form.format(port=running.door.port)
        with running.client() as known:
            status = known.get(path, headers={"host": host}).status_code
        assert (status != 400) is answered

    def test_two_host_headers_are_refused(self, running: Running) -> None:
        own = f"Host: 127.0.0.1:{running.door.port}\r\n"
        with socket.create_connection(("127.0.0.1", running.door.port)) as line:
            line.sendall(f"GET / HTTP/1.1\r\n{own}{own}Connection: close\r\n\r\n".encode())
            assert line.recv(4096).startswith(b"HTTP/1.1 400 ")


class TestNothingWithoutTheCookie:
    @pytest.mark.parametrize(("method", "path"), addresses())
    def test_every_route_is_refused(self, running: Running, method: str, path: str) -> None:
        answer = asked(running, method, path, headers={"sec-fetch-site": "same-origin"})
        assert answer.status_code == 401
        assert "notebook" not in answer.text.lower()

    def test_the_list_of_addresses_is_whole(self, running: Running) -> None:
        made = application(running.notebook, running.door)
        listed = {route.path for route in made.routes if isinstance(route, Route)}
        assert listed == {path for path, _, _ in PAGES}
        assert [route.path for route in made.routes if isinstance(route, Mount)] == ["/static"]

    @pytest.mark.parametrize("value", ["", "x", "é", '"', "a" * 5000])
    def test_a_wrong_cookie_is_refused(self, running: Running, value: str) -> None:
        line = f"{running.door.cookie}={value}".encode()
        assert asked(running, "GET", "/", headers={b"cookie": line}).status_code == 401

    def test_the_cookie_of_another_port_is_not_taken(self, running: Running) -> None:
        line = f"truerun_{running.door.port + 1}={running.door.session}"
        assert asked(running, "GET", "/", headers={"cookie": line}).status_code == 401


class TestTheStartLink:
    def test_it_gives_the_cookie_once(self, running: Running) -> None:
        link = running.door.link.removeprefix(running.address)
        first, second = asked(running, "GET", link), asked(running, "GET", link)
        assert (first.status_code, first.headers["location"]) == (303, "/")
        cookie = first.headers["set-cookie"]
        assert cookie.startswith(f"{running.door.cookie}={running.door.session};")
        assert {"HttpOnly", "SameSite=strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
        assert second.status_code == 403
        assert "set-cookie" not in second.headers

    @pytest.mark.parametrize("query", ["", "?token=", "?token=None", "?token=wrong", "?token=%C3%A9"])
    def test_another_token_is_refused(self, running: Running, query: str) -> None:
        answer = asked(running, "GET", f"/start{query}")
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers

    def test_tokens_are_long_and_differ(self) -> None:
        one, other = Door(1), Door(1)
        assert len({one.token, other.token, one.session, other.session}) == 4
        assert all(len(str(each)) >= 43 for each in (one.token, one.session))  # 256 bits in base 64


class TestOtherPages:
    @pytest.mark.parametrize("site", ["cross-site", "same-site", "anything"])
    @pytest.mark.parametrize("method", ["GET", "POST"])
    def test_what_another_site_asks_is_refused(self, client: httpx.Client, site: str, method: str) -> None:
        assert client.request(method, "/", headers={"sec-fetch-site": site}).status_code == 403

    def test_the_address_bar_may_read_and_not_write(self, client: httpx.Client) -> None:
        bar = {"sec-fetch-site": "none"}
        assert client.get("/", headers=bar).status_code == 200
        assert client.post("/", headers=bar).status_code == 403

    @pytest.mark.parametrize(
        "origin", ["null", "http://localhost:1", "https://127.0.0.1:{port}", "http://rebound.example"]
    )
    def test_an_old_browser_is_judged_by_the_origin(self, running: Running, origin: str) -> None:
        with running.client() as known:
            del known.headers["sec-fetch-site"]
            sent = {"origin": origin.format(port=running.door.port)}
            assert known.post("/", headers=sent).status_code == 403
            assert known.get("/", headers=sent).status_code == 403
            assert known.post("/").status_code == 403  # nothing said at all
            assert known.post("/", headers={"origin": running.address}).status_code == 405  # let in; only read there

    def test_no_other_origin_is_ever_allowed(self, client: httpx.Client) -> None:
        assert not [name for name in client.get("/").headers if name.startswith("access-control-")]


class TestEveryAnswer:
    @pytest.mark.parametrize("path", ["/", "/static/page.css", "/nowhere", "/t/99/claim"])
    def test_carries_the_headers_of_safety(self, client: httpx.Client, path: str) -> None:
        given = client.get(path).headers
        assert {name: given[name] for name in HEADERS} == HEADERS

    def test_refusals_too(self, running: Running) -> None:
        given = asked(running, "GET", "/").headers
        assert {name: given[name] for name in HEADERS} == HEADERS

    def test_scripts_come_from_files_only(self) -> None:
        rules = dict(rule.strip().split(" ", 1) for rule in HEADERS["content-security-policy"].split(";"))
        assert rules["default-src"] == "'none'"
        assert rules["script-src"] == "'self'"

    def test_what_is_not_there_is_said_as_a_page(self, client: httpx.Client) -> None:
        answer = client.get("/nowhere")
        assert (answer.status_code, "There is no such page." in answer.text) == (404, True)

    def test_nothing_outside_the_folder_is_given(self, client: httpx.Client) -> None:
        assert client.get("/static/..%2fgate.py").status_code == 404
        assert client.get("/static/%2e%2e/%2e%2e/errors.py").status_code == 404


class TestTheBody:
    def test_one_that_says_it_is_too_long_is_not_read(self, running: Running) -> None:
        head = (
            f"POST / HTTP/1.1\r\nHost: 127.0.0.1:{running.door.port}\r\nSec-Fetch-Site: same-origin\r\n"
            f"Cookie: {running.door.cookie}={running.door.session}\r\nContent-Length: {BODY_LIMIT + 1}\r\n\r\n"
        )
        with socket.create_connection(("127.0.0.1", running.door.port)) as line:
            line.sendall(head.encode())  # and none of the body
            assert line.recv(4096).startswith(b"HTTP/1.1 413 ")

    def test_one_that_does_not_say_is_cut_off(self, client: httpx.Client) -> None:
        pieces = (b"x" * 65536 for _ in range(BODY_LIMIT // 65536 + 2))
        path = next(path for path, _, methods in PAGES if "POST" in methods)
        answer = client.post(re.sub(r"\{\w+(:\w+)?\}", "1", path), content=pieces)
        assert answer.status_code == 413


class TestTexts:
    def test_nothing_that_was_typed_becomes_markup(self, client: httpx.Client) -> None:
        evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"
        client.post("/new", data={"form": "one", "name": evil, "words": evil, "claimed": evil})
        pages = client.get("/").text + client.post("/new", data={"form": "two", "name": evil, "claimed": evil}).text
        assert "<script>alert" not in pages
        assert "<img src=x" not in pages
        assert "&lt;script&gt;alert" in pages
