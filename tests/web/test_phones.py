"""Phones with roles: pairing, what each role gets byte for byte, and a whole test timed by two phones in a browser.

Rules: RFC 6265bis (cookies), W3C Fetch Metadata, and Secure Contexts: over plain http from another machine a browser
sends no fetch metadata and has no randomUUID, so the browser comes in at this machine's own network address.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect
from starlette.routing import Route as Address

from tests.web.conftest import Running
from tests.web.made_tests import opened, sealed
from truerun.errors import ValueOutOfRange
from truerun.web.application import PAGES
from truerun.web.gate import HEADERS
from truerun.web.phone_book import LASTS, TRIES, PhoneBook, Role
from truerun.web.phone_gate import PHONE_LIMIT, PhoneDoor
from truerun.web.phone_pages import STATIC, phone_application
from truerun.web.phone_switch import PhoneSwitch, local_address
from truerun.web.phones import switch_on
from truerun.web.visit import Bench
from truerun.workflow.bench import begin_run, guess, state_of, stop_clock

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
NAMES = (b"zinc arc fitted", b"bare rim alone", b"fitted", b"bare rim")
"""Names of the conditions of the test, and parts of them that nothing else holds."""

expect.set_options(timeout=15_000)


@pytest.fixture(scope="module")
def bench(running: Running) -> Bench:
    """Give a bench of its own over the notebook of the server."""
    return Bench(running.notebook)


@pytest.fixture(scope="module")
def door(bench: Bench) -> Iterator[PhoneDoor]:
    """Switch the phones on."""
    switch = PhoneSwitch()
    yield switch.on(local_address() or "127.0.0.1", lambda door: phone_application(bench, door), port=0)
    switch.off()


@pytest.fixture(scope="module")
def test_id(running: Running) -> str:
    """Give a test of 4 + 4 runs with guesses, whose conditions have names like nothing else."""
    found = opened(running.notebook, "zinc arc fitted or bare rim alone")
    more: dict[str, object] = {"source": "zinc arc fitted", "control": "bare rim alone", "runs": 8, "blinding": 3}
    more |= {"spread": 0.004, "orders": "restricted"}
    sealed(running.notebook, found, **more)
    return found


def phone(door: PhoneDoor, role: Role, test: int = 1) -> httpx.Client:
    """Give a phone that is paired."""
    paired = door.book.pair(door.book.offered(role, test, 0.0).code, 0.0)
    assert paired is not None
    cookies = {door.cookie: paired.secret}
    return httpx.Client(base_url=f"http://{door.host}", cookies=cookies, trust_env=False)


class TestThePairingCode:
    def test_it_is_good_once(self) -> None:
        book = PhoneBook()
        code = book.offered(Role.RIGGER, 1, now=0.0).code
        assert book.pair(code, now=1.0) is not None
        assert book.pair(code, now=2.0) is None

    @pytest.mark.parametrize(("waited", "paired"), [(LASTS - 0.1, True), (LASTS, False), (LASTS + 1, False)])
    def test_it_is_good_for_two_minutes(self, waited: float, *, paired: bool) -> None:
        assert LASTS == 120
        book = PhoneBook()
        code = book.offered(Role.RIGGER, 1, now=1000.0).code
        assert (book.pair(code, now=1000.0 + waited) is not None) is paired

    @pytest.mark.parametrize(("wrong", "paired"), [(TRIES - 1, True), (TRIES, False)])
    def test_the_sixth_try_is_refused_even_with_the_right_code(self, wrong: int, *, paired: bool) -> None:
        assert TRIES == 5
        book = PhoneBook()
        code = book.offered(Role.RIGGER, 1, now=0.0).code
        assert [book.pair("WRONG", now=0.0) for _ in range(wrong)] == [None] * wrong
        assert (book.pair(code, now=0.0) is not None) is paired

    def test_a_new_code_makes_the_one_before_void(self) -> None:
        book = PhoneBook()
        first = book.offered(Role.RIGGER, 1, now=0.0).code
        book.offered(Role.TIMEKEEPER, 1, now=0.0)
        assert book.pair(first, now=0.0) is None

    def test_it_may_be_typed_in_small_letters_with_blanks(self) -> None:
        book = PhoneBook()
        code = book.offered(Role.RIGGER, 1, now=0.0).code
        assert book.pair(f" {code[:4].lower()} {code[4:].lower()}", now=0.0) is not None


class TestWhoComesIn:
    ROUTES = ("/p", "/p/rig", "/p/time", "/p/watch", "/p/now", *[f"/static/{name}" for name in STATIC])

    def test_the_routes_are_the_phones_and_no_others(self, bench: Bench, door: PhoneDoor) -> None:
        made = phone_application(bench, door)
        assert {each.path for each in made.routes if isinstance(each, Address)} == {*self.ROUTES, "/pair", "/p/observe"}
        assert len(made.routes) == len(self.ROUTES) + 2

    @pytest.mark.parametrize("role", list(Role))
    def test_no_route_of_the_desk_answers(self, test_id: str, door: PhoneDoor, role: Role) -> None:
        assert test_id
        with phone(door, role) as paired:
            for path, _, methods in PAGES:
                filled = path.replace("{number:int}", "1").replace("{slot:int}", "1")
                for method in methods:
                    answer = paired.request(method, filled, headers={"origin": f"http://{door.host}"})
                    assert answer.status_code == 404, path
            assert paired.get("/static/sheet.js").status_code == 404

    @pytest.mark.parametrize("path", ROUTES)
    def test_nothing_is_given_to_a_phone_that_is_not_paired(self, door: PhoneDoor, path: str) -> None:
        assert httpx.get(f"http://{door.host}{path}", trust_env=False).status_code == 401

    @pytest.mark.parametrize("role", list(Role))
    def test_each_role_gets_its_own_page_only(self, test_id: str, door: PhoneDoor, role: Role) -> None:
        assert test_id
        with phone(door, role) as paired:
            got = {each: paired.get(f"/p/{each.value}").status_code for each in Role}
            assert got == {each: 200 if each is role else 404 for each in Role}

    def test_the_riggers_key_is_closed_until_its_script_listens(self, test_id: str, door: PhoneDoor) -> None:
        assert test_id
        with phone(door, Role.RIGGER) as paired:
            assert 'id="ready" disabled' in paired.get("/p/rig").text

    def test_a_phone_that_was_taken_off_the_list_is_refused_at_once(self, test_id: str, door: PhoneDoor) -> None:
        assert test_id
        with phone(door, Role.WITNESS) as paired:
            assert paired.get("/p/watch").status_code == 200
            door.book.revoke(door.book.phones[-1].number)
            assert paired.get("/p/watch").status_code == 401
            assert paired.get("/p/now").status_code == 401

    def test_the_cookie_is_for_http_and_this_site_alone(self, door: PhoneDoor) -> None:
        code = door.book.offered(Role.WITNESS, 1, _now()).code
        headers = {"origin": f"http://{door.host}"}
        with httpx.Client(base_url=f"http://{door.host}", headers=headers, trust_env=False) as fresh:
            answer = fresh.post("/pair", data={"code": code})
            assert (answer.status_code, answer.headers["location"]) == (303, "/p")
            cookie = answer.headers["set-cookie"]
            assert {"HttpOnly", "SameSite=strict"} <= {part.strip() for part in cookie.split(";")}
            assert fresh.post("/pair", data={"code": code}).status_code == 403

    @pytest.mark.parametrize("host", ["rebound.example", "127.0.0.1:1", ""])
    def test_only_the_bound_address_is_answered(self, door: PhoneDoor, host: str) -> None:
        with phone(door, Role.WITNESS) as paired:
            assert paired.get("/p", headers={"host": host}).status_code == 400

    @pytest.mark.parametrize("origin", ["null", "http://rebound.example", None])
    def test_another_site_writes_nothing(self, door: PhoneDoor, origin: str | None) -> None:
        with phone(door, Role.RIGGER) as paired:
            headers = {} if origin is None else {"origin": origin}
            assert paired.post("/p/observe", json={"what": "begin"}, headers=headers).status_code == 403
            assert paired.get("/p", headers={"sec-fetch-site": "cross-site"}).status_code == 403

    def test_every_answer_carries_the_headers_of_safety(self, door: PhoneDoor) -> None:
        given = httpx.get(f"http://{door.host}/p", trust_env=False).headers
        expected = HEADERS | {"referrer-policy": "same-origin"}
        del expected["cross-origin-opener-policy"]  # HTML, "Cross-origin opener policies": for secure contexts only
        assert {name: given[name] for name in expected} == expected

    def test_a_long_body_is_not_taken(self, door: PhoneDoor) -> None:
        with phone(door, Role.RIGGER) as paired:
            headers = {"origin": f"http://{door.host}"}
            assert paired.post("/p/observe", content=b"x" * (PHONE_LIMIT + 1), headers=headers).status_code == 413


class TestTheSwitch:
    def test_it_is_off_until_somebody_switches_it_on(self, client: httpx.Client) -> None:
        text = client.get("/phones").text
        assert "Switch phones on" in text
        assert "anybody on it can read along" in text

    @pytest.mark.parametrize("address", ["", "0.0.0.0", "127.0.0.1", "8.8.8.8", "localhost", "192.168.1.999"])  # noqa: S104
    def test_only_an_address_of_a_private_network_is_listened_at(self, bench: Bench, address: str) -> None:
        with pytest.raises(ValueOutOfRange, match="private network"):
            switch_on(bench, address)

    def test_the_desk_pairs_and_takes_off(self, running: Running, client: httpx.Client, test_id: str) -> None:
        assert test_id
        address = local_address()
        if address is None:
            pytest.skip("this machine is in no network")
        client.post("/phones", data={"do": "on", "address": address})
        client.post("/phones", data={"do": "offer", "role": "time", "test": "1"})
        shown = client.get("/phones").text
        assert "data:image/png;base64," in shown
        assert f"http://{address}:" in shown
        client.post("/phones", data={"do": "off"})
        assert "Switch phones on" in client.get("/phones").text
        assert running.notebook


@pytest.fixture
def heard() -> bytearray:
    """Collect every byte that the timekeeper's phone receives."""
    return bytearray()


@pytest.fixture
def phones(door: PhoneDoor, browser: Browser, test_id: str, heard: bytearray) -> Iterator[tuple[Page, Page]]:
    """Pair two phones through the page of the code."""
    assert test_id
    contexts: list[BrowserContext] = []
    pages: list[Page] = []
    for role in (Role.RIGGER, Role.TIMEKEEPER):
        context = browser.new_context(**PHONE)  # type: ignore[arg-type]
        contexts.append(context)
        if role is Role.TIMEKEEPER:
            context.on("response", lambda answer: heard.extend(_bytes_of(answer)))
        page = context.new_page()
        page.goto(f"http://{door.host}/pair?code={door.book.offered(role, 1, _now()).code}")
        page.get_by_role("button", name="Pair this phone").tap()
        page.wait_for_url(f"**/p/{role.value}")
        pages.append(page)
    yield pages[0], pages[1]
    for context in contexts:
        context.close()


def _now() -> float:
    """Give the time by the clock of the pages."""
    import time  # noqa: PLC0415  the server's clock, as the pages read it

    return time.monotonic()


def _bytes_of(answer: object) -> bytes:
    """Give address, headers and body of an answer."""
    url, headers = answer.url, str(answer.headers)  # type: ignore[attr-defined]
    if 300 <= answer.status < 400:  # type: ignore[attr-defined]
        return f"{url}{headers}".encode()
    body: bytes = answer.body()  # type: ignore[attr-defined]
    return f"{url}{headers}".encode() + body


def press(phone: Page, name: str, then: str) -> None:
    """Press a key once it is open to presses, and wait for what the page shows then."""
    phone.locator(f"#{name}").wait_for(state="visible")
    phone.wait_for_function("() => truerunPresses.open(performance.now())")
    phone.locator(f"#{name}").tap()
    phone.wait_for_selector(f"body[data-state={then}]")


def answered(phone: Page, name: str) -> None:
    """Guess; what the page shows then depends on how fast the notebook answers."""
    phone.wait_for_function("() => truerunPresses.open(performance.now())")
    phone.locator(f"#{name}").tap()
    phone.wait_for_selector("body[data-state=guess]", state="detached")


def one_launch(rigger: Page, keeper: Page, slot: int) -> None:
    """Set up on one phone, time on the other, guess."""
    expect(rigger.locator("h1")).to_contain_text(f"Launch {slot} of")
    rigger.locator("#ready").tap()
    keeper.wait_for_selector("body[data-state=ready]")
    expect(keeper.locator("#launch")).to_have_text(str(slot))
    press(keeper, "start", then="timing")
    press(keeper, "tap", then="timing")
    expect(keeper.locator("#taps")).to_have_text("1")
    press(keeper, "stop", then="asked")
    press(keeper, "well", then="guess")
    answered(keeper, "on")


@contextmanager
def watch(bench: Bench, running: Running, browser: Browser) -> Iterator[Page]:
    """Give the timekeeper's phone of a test of its own, set up for its first launch."""
    test = opened(running.notebook, "a finger")
    sealed(running.notebook, test, blinding=3, runs=8, spread=0.004, orders="restricted")
    begin_run(running.notebook, test)
    number = next(row.number for row in running.notebook.tests() if row.id == test)
    switch = PhoneSwitch()
    door = switch.on(local_address() or "127.0.0.1", lambda door: phone_application(bench, door), port=0)
    context = browser.new_context(**PHONE)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(f"http://{door.host}/pair?code={door.book.offered(Role.TIMEKEEPER, number, _now()).code}")
    page.get_by_role("button", name="Pair this phone").tap()
    page.wait_for_selector("body[data-state=ready]")
    yield page
    context.close()
    switch.off()


class TestTwoPhones:
    """In the order of the file: one test goes on from the one before."""

    def test_a_dead_line_and_a_reload_lose_nothing(
        self, running: Running, test_id: str, phones: tuple[Page, Page]
    ) -> None:
        rigger, keeper = phones
        rigger.locator("#ready").tap()
        keeper.wait_for_selector("body[data-state=ready]")

        def dead(route: Route) -> None:
            route.abort()

        keeper.context.route("**/p/observe", dead)
        keeper.locator("#start").tap()
        keeper.wait_for_selector("body[data-state=timing]")
        keeper.reload()
        keeper.wait_for_selector("body[data-state=timing]")
        press(keeper, "stop", then="asked")
        press(keeper, "well", then="guess")
        answered(keeper, "off")
        expect(keeper.locator("#outbox")).to_contain_text("wait")
        keeper.context.unroute("**/p/observe", dead)
        keeper.wait_for_function("() => !window.truerunOutbox.waiting()")
        run = state_of(running.notebook, test_id).runs[-1]
        assert (run.slot, run.guess) == (1, "bare rim alone")
        assert run.seconds is not None
        assert 0 < run.seconds < 60

    def test_what_went_wrong_is_done_again(self, running: Running, test_id: str, phones: tuple[Page, Page]) -> None:
        rigger, keeper = phones
        rigger.locator("#ready").tap()
        keeper.wait_for_selector("body[data-state=ready]")
        keeper.locator("#went-wrong").tap()
        keeper.get_by_label("The bench or the wheel was bumped").check()
        keeper.get_by_role("button", name="Write it down").tap()
        expect(rigger.locator("#ready")).to_be_visible()
        state = state_of(running.notebook, test_id)
        assert (state.runs[-1].left_out, state.next_slot) == ("bumped", 2)

    def test_the_timekeeper_never_receives_a_name_of_a_condition(
        self, running: Running, test_id: str, phones: tuple[Page, Page], heard: bytearray
    ) -> None:
        rigger, keeper = phones
        order = state_of(running.notebook, test_id).order
        for slot in (2, 3, 4):  # at the desk, to be quicker
            run = begin_run(running.notebook, test_id).id
            stop_clock(running.notebook, test_id, run, 60.0 + slot)
            guess(running.notebook, test_id, run, order[0])
        assert len(set(order[4:])) == 2  # both conditions are set up in what the phones do
        for slot in (5, 6, 7, 8):
            one_launch(rigger, keeper, slot)
        keeper.wait_for_selector("body[data-state=over]")
        state = state_of(running.notebook, test_id)
        assert state.complete
        assert [run.slot for run in state.runs if run.counts] == list(range(1, 9))
        assert all(run.guess for run in state.runs if run.counts)
        kept = keeper.evaluate("JSON.stringify(localStorage)").encode()
        assert len(heard) > 10_000  # it really listened
        assert [name for name in NAMES if name in bytes(heard).lower() + kept] == []


class TestPressesOnTheWatch:
    def test_a_finger_that_stays_on_stop_does_not_say_that_all_was_well(
        self, bench: Bench, running: Running, browser: Browser
    ) -> None:
        """A click falls where the finger is lifted: on the key that came up under it."""
        with watch(bench, running, browser) as page:
            press(page, "start", then="timing")
            box = page.locator("#stop").bounding_box()
            assert box is not None
            finger = page.context.new_cdp_session(page)
            place = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
            page.wait_for_function("() => truerunPresses.open(performance.now())")
            page.evaluate("addEventListener('click', (event) => { window.fell = event.target.id; }, true)")
            finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [place]})
            page.wait_for_selector("body[data-state=asked]")
            page.wait_for_function("() => truerunPresses.open(performance.now())")
            finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
            page.wait_for_function("() => window.fell")
            assert page.evaluate("window.fell") == "well"
            assert page.evaluate("document.body.dataset.state") == "asked"
            press(page, "well", then="guess")

    def test_the_last_mark_and_stop_in_one_breath_both_count(
        self, bench: Bench, running: Running, browser: Browser
    ) -> None:
        with watch(bench, running, browser) as page:
            press(page, "start", then="timing")
            page.wait_for_function("() => truerunPresses.open(performance.now())")
            touch = "document.getElementById(each).dispatchEvent(new PointerEvent('pointerdown', {bubbles: true}))"
            page.evaluate(f"['tap', 'tap', 'stop'].forEach((each) => {touch})")
            assert page.evaluate("document.body.dataset.state") == "asked"
            expect(page.locator("#taps")).to_have_text("1")


class TestWhatIsRefusedTellsNothing:
    def test_a_refusal_to_the_timekeeper_is_made_of_fixed_words(
        self, running: Running, test_id: str, door: PhoneDoor
    ) -> None:
        assert test_id
        bodies: list[dict[str, object]] = [
            {"what": "guess", "run": state_of(running.notebook, test_id).runs[-1].id, "condition": "x", "sender": "a"},
            {"what": "stop", "run": "none", "seconds": 1, "sender": "b"},
            {"what": "begin", "slot": 1, "sender": "c"},
            {"what": "note", "words": "x", "sender": "d"},
        ]
        with phone(door, Role.TIMEKEEPER) as paired:
            for body in bodies:
                headers = {"origin": f"http://{door.host}", "accept": "application/json"}
                answer = paired.post("/p/observe", json=body, headers=headers)
                assert answer.status_code == 422
                assert not any(name in answer.content for name in NAMES)
