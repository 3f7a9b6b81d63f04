"""The desk's page of the phones: switched on and off, a code for one phone, and the list of those that are paired."""

from __future__ import annotations

import ipaddress
import time
from urllib.parse import urlencode

import segno
from starlette.responses import Response
from starlette.types import ASGIApp

from truerun.errors import ValueOutOfRange
from truerun.units.number import whole_number
from truerun.web.pages import page
from truerun.web.phone_book import Role
from truerun.web.phone_gate import PhoneDoor
from truerun.web.phone_pages import phone_application
from truerun.web.phone_switch import PhoneSwitch, local_address
from truerun.web.visit import Bench, Visit, moved

__all__ = ["phones", "switch_on"]

ROLES = {
    Role.RIGGER: "Rigger: sees the condition, sets the wheel up",
    Role.TIMEKEEPER: "Timekeeper: sees a number and a watch, never the condition",
    Role.WITNESS: "Witness: sees the code of the seal and how many runs are done",
}


def switch_on(bench: Bench, address: str) -> PhoneDoor:
    """Let phones in at an address of this machine in its own network.

    Raises
    ------
    ValueOutOfRange
        If the address is none of a private network, or not this machine's.
    """
    try:
        private = ipaddress.IPv4Address(address).is_private
    except ValueError:
        private = False
    if not private or address.startswith(("0.", "127.")):
        raise ValueOutOfRange(
            "The address for phones", f'"{address}"', "one of a private network, such as 192.168.1.20",
            "Look it up in this machine's network settings.",
        )  # fmt: skip
    if bench.phones is None:
        bench.phones = PhoneSwitch()

    def made(door: PhoneDoor) -> ASGIApp:
        return phone_application(bench, door)

    return bench.phones.on(address, made)


def phones(visit: Visit) -> Response:
    """Show the phones, or change something about them."""
    switch = visit.bench.phones
    if visit.posted:
        _change(visit)
        return moved("/phones")
    door = None if switch is None else switch.door
    offer = None if door is None else door.book.standing(time.monotonic())
    link = "" if door is None or offer is None else f"{door.pairing}?{urlencode({'code': offer.code})}"
    return page(
        visit,
        "phones.html.j2",
        door=door,
        address=local_address() or "",
        offer=offer,
        link=link,
        picture=_picture(link) if link else "",
        roles=ROLES,
        tests=_tests(visit),
    )


def _change(visit: Visit) -> None:
    """Do what a form asks."""
    form, switch = visit.form, visit.bench.phones
    if form.get("do") == "on":
        switch_on(visit.bench, form.get("address", ""))
    elif switch is None or switch.door is None:
        return
    elif form.get("do") == "off":
        switch.off()
    elif form.get("do") == "offer":
        tests = [number for number, _ in _tests(visit)]
        role = next((each for each in Role if each.value == form.get("role")), None)
        test = whole_number(form.get("test", ""))
        if role is None or test is None or test not in tests:
            raise ValueOutOfRange("The new phone", "not said which", "a role and a test with a sealed plan")
        switch.door.book.offered(role, test, time.monotonic())
    elif form.get("do") == "revoke" and (phone := whole_number(form.get("phone", ""))) is not None:
        switch.door.book.revoke(phone)


def _tests(visit: Visit) -> list[tuple[int, str]]:
    """Give the tests whose plan is sealed, by number."""
    states = [(row.number, visit.state(row)) for row in visit.notebook.tests()]
    return [(number, state.name) for number, state in states if state.plan is not None and state.closed is None]


def _picture(link: str) -> str:
    """Draw a link as a square code."""
    return segno.make(link, error="m", micro=False).png_data_uri(scale=7, border=4)
