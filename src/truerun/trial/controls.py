"""Controls: what each settles about the cause of a difference, and what it leaves standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from truerun.trial.plan import Role

__all__ = [
    "CAUSES",
    "NAMES",
    "SETTLES",
    "Cause",
    "Settling",
    "finds_it_again",
    "left_standing",
    "next_controls",
    "taken_out",
    "taking_out",
]


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
    Role.MAINS_OFF: (_STAYS, _STAYS, _STAYS, _STAYS, _CANCELS),
}
"""For each control, what it does to each of :data:`CAUSES`; a cause that cancels is the same in both conditions."""

NAMES: dict[Role, str] = {
    Role.MAIN: "the source taken out",
    Role.DUMMY: "a dummy (same mass, shape, iron and metal, not magnetised)",
    Role.REVERSAL: "the same test with the wheel turning the other way",
    Role.POLARITY: "the same test with the poles turned round",
    Role.LOAD_MATCHED: "the same pull on the bearing without the source",
    Role.DISTANCE: "the source at three distances",
    Role.BENCH_TURNED: "the bench turned half round",
    Role.MAINS_OFF: "the same test with the mains off (the fuse of the room off; light and sensor from batteries)",
}
"""Each control in words."""

_AFTER_A_DRIVE = (Role.REVERSAL, Role.DUMMY, Role.LOAD_MATCHED, Role.DISTANCE, Role.POLARITY, Role.MAINS_OFF)
_AFTER_A_BRAKE = (Role.DUMMY, Role.LOAD_MATCHED, Role.DISTANCE, Role.REVERSAL, Role.POLARITY, Role.MAINS_OFF)


def left_standing(done: Sequence[Role], *, drive: bool) -> tuple[Cause, ...]:
    """Give the causes that would explain a difference and that no finished control has taken out.

    Parameters
    ----------
    done : sequence of Role
        Controls that were made and found the difference again, see :func:`finds_it_again`.
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
    >>> left_standing([Role.REVERSAL, Role.DUMMY, Role.MAINS_OFF], drive=True)
    ()
    """
    return tuple(cause for cause in _suspects(drive=drive) if not any(_takes_out(role, cause) for role in done))


def taking_out(done: Sequence[Role], *, drive: bool) -> tuple[str, ...]:
    """Name the controls that took out at least one suspect.

    Examples
    --------
    >>> taking_out([Role.DISTANCE, Role.REVERSAL], drive=True)
    ('the same test with the wheel turning the other way',)
    """
    suspects = _suspects(drive=drive)
    return tuple(NAMES[role] for role in done if any(_takes_out(role, cause) for cause in suspects))


def taken_out(done: Sequence[Role], *, drive: bool) -> tuple[Cause, ...]:
    """Give the suspects that at least one of the controls takes out.

    Examples
    --------
    >>> [cause.name for cause in taken_out([Role.DUMMY], drive=True)]
    ['air']
    """
    return tuple(cause for cause in _suspects(drive=drive) if any(_takes_out(role, cause) for role in done))


def finds_it_again(role: Role, *, drive: bool, adds: bool | None, one_way: bool) -> bool:
    """Tell whether a control found what it must find if nothing that it takes out is the cause.

    Parameters
    ----------
    role : Role
        Of the control.
    drive : bool
        Whether the main test found a drive; else a brake.
    adds : bool or None
        What the control found: more, less, or no difference.
    one_way : bool
        Whether it compares times of one direction of travel; else, in a reversal, the part that changes sign.

    Returns
    -------
    bool

    Notes
    -----
    A control takes a cause out because that cause is the same in both of its conditions. So it takes it off the list
    only if the difference is still there; where it is gone, just that cause may have made it. Turning the other way, a
    real drive becomes a brake. With the poles turned round any difference will do.

    Examples
    --------
    >>> finds_it_again(Role.DUMMY, drive=True, adds=True, one_way=True)
    True
    >>> finds_it_again(Role.DUMMY, drive=True, adds=None, one_way=True)
    False
    """
    if adds is None:
        return False
    if role is Role.POLARITY:
        return True
    return adds is not drive if role is Role.REVERSAL and one_way else adds is drive


def _suspects(*, drive: bool) -> tuple[Cause, ...]:
    """Give what could make a difference besides a static drive; a brake in metal cannot help."""
    return tuple(cause for cause in CAUSES if cause.name != "static drive" and (cause.can_help or not drive))


def _takes_out(role: Role, cause: Cause) -> bool:
    """Tell whether a control takes a cause out; with the bench turned the source is there in both conditions."""
    settles = SETTLES.get(Role.MAIN if role is Role.BENCH_TURNED else role, SETTLES[Role.MAIN])
    return settles[CAUSES.index(cause)] is _CANCELS


def next_controls(done: Sequence[Role], *, drive: bool) -> tuple[str, ...]:
    """Name the controls still to be made, most valuable first.

    Examples
    --------
    >>> next_controls([Role.DUMMY], drive=False)[0]
    'the same pull on the bearing without the source'
    """
    order = _AFTER_A_DRIVE if drive else _AFTER_A_BRAKE
    return tuple(NAMES[role] for role in order if role not in done)
