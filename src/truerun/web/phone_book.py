"""Which phones may come in: a code that pairs one phone once, roles, and the list from which a phone can be taken."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from enum import Enum

__all__ = ["LASTS", "TRIES", "Offer", "Phone", "PhoneBook", "Role"]

LASTS = 120.0
"""How long a pairing code is good [s]."""

TRIES = 5
"""Wrong codes after which a pairing code is void."""

_SIGNS = "23456789ABCDEFGHJKMNPQRTUVWXYZ"
_LENGTH = 8


class Role(Enum):
    """What a phone is for; each sees its own page and no other."""

    RIGGER = "rig"
    TIMEKEEPER = "time"
    WITNESS = "watch"


@dataclass(slots=True)
class Offer:
    """A pairing code: for which role and test, until when [s of the caller's clock], and how many tries are left."""

    code: str
    role: Role
    test: int
    until: float
    tries: int = TRIES


@dataclass(frozen=True, slots=True)
class Phone:
    """A phone that was paired; ``secret`` is what its cookie carries."""

    number: int
    role: Role
    test: int
    secret: str = field(repr=False)


@dataclass(slots=True)
class PhoneBook:
    """The offer that stands and the phones that are paired; nothing of it is written to the disk.

    ``set_up`` holds the runs whose rigger said that the wheel is set up.
    """

    offer: Offer | None = None
    phones: list[Phone] = field(default_factory=list)
    paired: int = 0
    set_up: set[str] = field(default_factory=set)

    def offered(self, role: Role, test: int, now: float) -> Offer:
        """Make a new code; the one before is void."""
        code = "".join(secrets.choice(_SIGNS) for _ in range(_LENGTH))
        self.offer = Offer(code, role, test, now + LASTS)
        return self.offer

    def standing(self, now: float) -> Offer | None:
        """Give the code that is still good."""
        if self.offer is not None and (now >= self.offer.until or self.offer.tries <= 0):
            self.offer = None
        return self.offer

    def pair(self, said: str, now: float) -> Phone | None:
        """Use a code up; None where it is wrong, too old, used already or tried too often."""
        offer = self.standing(now)
        if offer is None:
            return None
        plain = "".join(said.split()).replace("-", "").upper()
        if not secrets.compare_digest(plain.encode(), offer.code.encode()):
            offer.tries -= 1
            return None
        self.offer, self.paired = None, self.paired + 1
        phone = Phone(self.paired, offer.role, offer.test, secrets.token_urlsafe(32))
        self.phones.append(phone)
        return phone

    def known(self, secret: str) -> Phone | None:
        """Give the phone whose cookie this is."""
        found = [each for each in self.phones if secrets.compare_digest(each.secret.encode(), secret.encode())]
        return found[0] if found else None

    def revoke(self, number: int) -> None:
        """Take a phone from the list; its next request is refused."""
        self.phones = [each for each in self.phones if each.number != number]

    def has_rigger(self, test: int) -> bool:
        """Tell whether a rigger's phone is paired for a test."""
        return any(each.role is Role.RIGGER and each.test == test for each in self.phones)
