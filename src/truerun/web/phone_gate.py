"""What every request of a phone must pass: host, no other site, a cookie of a phone that is still on the list."""

from __future__ import annotations

from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import ASGIApp, Scope

from truerun.web.gate import HEADERS, Door, Gate, from_elsewhere, said
from truerun.web.phone_book import Phone, PhoneBook

__all__ = ["PHONE_LIMIT", "PhoneDoor", "PhoneGate"]

PHONE_LIMIT = 1 << 14
"""Largest body that a phone sends [bytes]."""

_OPEN = ("/pair",)
"""Answered before a phone is paired."""


@dataclass(frozen=True, slots=True)
class PhoneDoor:
    """Where the phones come in: the address that is bound, its port, and who is on the list."""

    address: str
    port: int
    book: PhoneBook

    @property
    def host(self) -> str:
        """The one host header that is answered."""
        return f"{self.address}:{self.port}"

    @property
    def pairing(self) -> str:
        """The address at which a phone is paired."""
        return f"http://{self.host}/pair"

    @property
    def cookie(self) -> str:
        """Name of the cookie."""
        return f"truerun_phone_{self.port}"

    def phone(self, headers: Headers) -> Phone | None:
        """Give the phone that asks, by its cookie."""
        for line in headers.getlist("cookie"):
            try:
                found = SimpleCookie(line).get(self.cookie)
            except CookieError:
                continue
            phone = None if found is None else self.book.known(found.value)
            if phone is not None:
                return phone
        return None


class PhoneGate(Gate):
    """Lets in paired phones only.

    Parameters
    ----------
    app : ASGI application
        The phones' pages.
    phones : PhoneDoor
        Who may come in.
    """

    # with "no-referrer" a form sent over plain http names no origin, and could not be told from another site's
    # a browser heeds the opener policy on https only, and says so in its console
    headers = {name: value for name, value in HEADERS.items() if name != "cross-origin-opener-policy"} | {
        "referrer-policy": "same-origin"
    }

    def __init__(self, app: ASGIApp, phones: PhoneDoor) -> None:
        super().__init__(app, Door(phones.port, token=None), PHONE_LIMIT)
        self.phones = phones

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Give the answer to a request that may not pass; None lets it pass, with the phone in its scope."""
        hosts = [host.lower() for host in headers.getlist("host")]
        if hosts != [self.phones.host.lower()]:
            return said(400, "This address is not answered.", "Scan the code that the desk shows.")
        if from_elsewhere(scope["method"], headers, hosts[0]):
            return said(403, "This came from another page.", "Scan the code that the desk shows.")
        scope["phone"] = self.phones.phone(headers)
        if scope["phone"] is None and scope["path"] not in _OPEN:
            return said(401, "This phone is not paired.", "Scan the code that the desk shows.")
        return self._too_long(scope, headers)

    def _limit_of(self, scope: Scope) -> int:
        """Give the largest body; files are never taken from a phone."""
        del scope
        return self.limit
