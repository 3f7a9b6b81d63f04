"""Controls: what each settles about the cause of a difference, and what it leaves standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from truerun.trial.plan import Role

__all__ = ["CAUSES", "NAMES", "SETTLES", "Cause", "Settling", "left_standing", "next_controls"]


class Settling(Enum):
    """What a control does to one possible cause."""

    STAYS = "stays in"
    PARTLY = "partly out"
    CANCELS = "cancels"
    FLIPS = "changes sign"
    SCALES = "fades its own way"
    VARIES = "changes or not"


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that could make a difference, in plain words."""

    name: str
    words: str
    can_help: bool


CAUSES: tuple[Cause, ...] = (
    Cause("static drive", "a real drive", can_help=True),
    Cause("eddy, iron", "an invisible brake in metal", can_help=False),
    Cause("bearing load", "less or more load on the bearing", can_help=True),
    Cause("air", "the air round the source", can_help=True),
    Cause("mains field", "the field of the mains", can_help=True),
)

_STAYS, _PARTLY, _CANCELS, _FLIPS, _SCALES, _VARIES = Settling

SETTLES: dict[Role, tuple[Settling, ...]] = {
    Role.MAIN: (_STAYS, _STAYS, _STAYS, _STAYS, _STAYS),
    Role.DUMMY: (_STAYS, _PARTLY, _STAYS, _CANCELS, _STAYS),
    Role.REVERSAL: (_FLIPS, _CANCELS, _CANCELS, _PARTLY, _VARIES),
    Role.POLARITY: (_VARIES, _CANCELS, _FLIPS, _CANCELS, _VARIES),
    Role.LOAD_MATCHED: (_STAYS, _PARTLY, _CANCELS, _STAYS, _STAYS),
    Role.DISTANCE: (_SCALES, _SCALES, _SCALES, _STAYS, _STAYS),
    Role.BENCH_TURNED: (_CANCELS, _CANCELS, _CANCELS, _VARIES, _VARIES),
}
"""For each control, what it does to each of :data:`CAUSES`; a cause that cancels stays in both conditions."""

NAMES: dict[Role, str] = {
    Role.MAIN: "the source taken out",
    Role.DUMMY: "a dummy (same mass, shape, iron and metal, not magnetised)",
    Role.REVERSAL: "the same test with the wheel turning the other way",
    Role.POLARITY: "the same test with the poles turned round",
    Role.LOAD_MATCHED: "the same pull on the bearing without the source",
    Role.DISTANCE: "the source at three distances",
    Role.BENCH_TURNED: "the bench turned half round",
}
"""Each control in words."""

_AFTER_A_DRIVE = (Role.REVERSAL, Role.DUMMY, Role.LOAD_MATCHED, Role.DISTANCE, Role.POLARITY)
_AFTER_A_BRAKE = (Role.DUMMY, Role.LOAD_MATCHED, Role.DISTANCE, Role.REVERSAL, Role.POLARITY)


def left_standing(done: Sequence[Role], *, drive: bool) -> tuple[Cause, ...]:
    """Give the causes that would explain a difference and that no finished control has taken out.

    Parameters
    ----------
    done : sequence of Role
        Controls that were made.
    drive : bool
        Whether the difference is a drive; a brake in metal cannot drive.

    Returns
    -------
    tuple of Cause
        Without the claimed cause itself where it is a drive.

    Examples
    --------
    >>> [cause.name for cause in left_standing([Role.REVERSAL], drive=True)]
    ['air', 'mains field']
    """
    standing = []
    for place, cause in enumerate(CAUSES):
        if drive and (not cause.can_help or cause.name == "static drive"):
            continue
        if cause.name == "static drive":
            continue
        if not any(SETTLES.get(role, SETTLES[Role.MAIN])[place] is _CANCELS for role in done):
            standing.append(cause)
    return tuple(standing)


def next_controls(done: Sequence[Role], *, drive: bool) -> tuple[str, ...]:
    """Name the controls still to be made, most valuable first.

    Examples
    --------
    >>> next_controls([Role.DUMMY], drive=False)[0]
    'the same pull on the bearing without the source'
    """
    order = _AFTER_A_DRIVE if drive else _AFTER_A_BRAKE
    return tuple(NAMES[role] for role in order if role not in done)
