"""Is the sensor there, and does it see every mark once? A magnet passed by hand, then one turn by hand."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from truerun.sensing.capture import Pass

__all__ = ["CheckNow", "SensorCheck", "Step", "turn_sentence"]

SILENCE = 3.0  # s without a pass: the hand has stopped
BOUNCE = 1e-3  # s; no hand brings two marks past in less


class Step(Enum):
    """How far the check is."""

    PASS = "pass"  # noqa: S105  no password
    TURN = "turn"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class CheckNow:
    """Where the check stands: what to do or what was found, in words; ``good`` is None until it is done."""

    step: Step
    counted: int
    words: str
    good: bool | None = None


def turn_sentence(counted: int, marks: int, *, bounced: int = 0) -> tuple[bool, str]:
    """Say whether one turn by hand gave as many passes as there are marks.

    Parameters
    ----------
    counted : int
        Passes in one turn.
    marks : int
        Marks on the wheel.
    bounced : int
        Passes that came within a thousandth of a second of the one before.

    Returns
    -------
    good : bool
    words : str

    Examples
    --------
    >>> turn_sentence(12, 12)
    (True, '12 passes in one turn, 12 marks: every mark was seen once.')
    >>> turn_sentence(24, 12)[1]
    '24 passes in one turn, 12 marks: each mark counts twice. Let the sensor stamp one edge only.'
    """
    passes, stuck = "pass" if counted == 1 else "passes", "mark" if marks == 1 else "marks"
    begins = f"{counted} {passes} in one turn, {marks} {stuck}"
    if bounced:
        return False, f"{begins}: {bounced} came within 1 ms of another. The sensor bounces; add the dead time."
    if counted == marks:
        return True, f"{begins}: every mark was seen once."
    if counted == 2 * marks:
        return False, f"{begins}: each mark counts twice. Let the sensor stamp one edge only."
    if counted == marks + 1:
        return False, f"{begins}: the turn went a little too far, or something else passes for a mark. Turn once more."
    if counted < marks:
        return False, f"{begins}: {marks - counted} not seen. Bring the sensor nearer, and look at each mark."
    return False, f"{begins}: {counted - marks} too many. Something else passes for a mark."


class SensorCheck:
    """The check as it goes.

    Parameters
    ----------
    marks : int
        Marks on the wheel.

    Notes
    -----
    First any pass shows that the sensor is alive. After 3 s of quiet, one turn by hand is counted; it ends with 3 s of
    quiet, or, where the sensor tells the index mark, with its second pass.
    """

    def __init__(self, marks: int) -> None:
        self._marks = marks
        self._step = Step.PASS
        self._times: list[float] = []
        self._quiet_since: float | None = None
        self._indexed: int | None = None
        self._result: CheckNow | None = None

    def note(self, each: Pass, arrived: float) -> None:
        """Take a pass that arrived at a time of the reading computer [s]."""
        self._quiet_since = arrived
        if self._step is Step.DONE:
            return
        if self._step is Step.TURN and each.indexed and self._indexed is not None:
            self._end(len(self._times) - self._indexed)
        elif each.indexed and self._step is Step.TURN:
            self._indexed = len(self._times)
        self._times.append(each.time)

    def now(self, time: float) -> CheckNow:
        """Tell where the check stands at a time of the reading computer [s]."""
        quiet = self._quiet_since is not None and time - self._quiet_since >= max(SILENCE, 3 * self._longest())
        if quiet and self._step is Step.PASS:
            self._step, self._times, self._quiet_since = Step.TURN, [], None
        elif quiet and self._step is Step.TURN:
            self._end(len(self._times))
        if self._result is not None:
            return self._result
        count = len(self._times)
        if self._step is Step.PASS:
            words = f"Seen, {count} so far. Now keep still for 3 s." if count else "Pass a mark or magnet by hand."
        else:
            words = f"Turn the wheel by hand, slowly, exactly once, then keep still: {count} of {self._marks}."
        return CheckNow(self._step, count, words)

    def _longest(self) -> float:
        """Give the longest interval of the turn so far [s]."""
        if self._step is not Step.TURN:
            return 0.0
        return max((late - early for early, late in pairwise(self._times)), default=0.0)

    def _end(self, counted: int) -> None:
        """Say what was found."""
        times = self._times
        bounced = sum(late - early < BOUNCE for early, late in pairwise(times))
        good, words = turn_sentence(counted, self._marks, bounced=bounced)
        self._step = Step.DONE
        self._result = CheckNow(Step.DONE, counted, words, good)
