"""The plan: all that is fixed before the first run.

A plan is a document with the schema ``truerun/plan/1``. Everything that looks at the results afterwards takes its
rules from here and from nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError, model_validator

from truerun.errors import RecordingUnreadable
from truerun.stats.orders import ORDER_SETS, OrderSet, orders_for
from truerun.trial.agreement import Agreement, Claim, Record
from truerun.trial.key_troubles import first_trouble
from truerun.trial.mishaps import require_mishaps

__all__ = [
    "MAY_BE_ABSENT",
    "Blinding",
    "Conditions",
    "End",
    "Forecast",
    "Measurand",
    "Pilot",
    "Plan",
    "Role",
    "Sessions",
    "Stopping",
    "Window",
    "WindowRule",
    "plan_from_document",
]


MAY_BE_ABSENT = ("end_setting", "launch_setting", "mishaps")
"""Keys that are left out of the document where nothing was said, so that seals made without them still fit."""


class End(Enum):
    """What ended the timing of a run."""

    SPEED = "speed"
    TURNS = "turns"
    STANDSTILL = "standstill"


class Role(Enum):
    """What a test is for; all but the first name the test they belong to."""

    MAIN = "main"
    DUMMY = "dummy"
    REVERSAL = "reversal"
    POLARITY = "polarity"
    LOAD_MATCHED = "load-matched"
    DISTANCE = "distance"
    BENCH_TURNED = "bench-turned"
    MAINS_OFF = "mains-off"
    SAME_AGAINST_SAME = "same-against-same"
    PLANTED = "planted"
    SCREENING = "screening"
    DOSE = "dose"
    CHALLENGE = "challenge"


class Conditions(Record):
    """The experimenter's names of the two conditions."""

    source: str = Field(min_length=1)
    control: str = Field(min_length=1)

    @model_validator(mode="after")
    def _two_names(self) -> Conditions:
        if self.source == self.control:
            raise ValueError("source and control must have different names")
        return self


class Measurand(Record):
    """What is compared: its column, its scale, and whether more of it means more drive (+1) or less (-1)."""

    name: str = "time"
    scale: Literal["log", "linear"] = "log"
    sign: Literal[1, -1] = 1
    unit: str | None = "s"


class Window(Record):
    """A window of speed as numbers [rad/s]."""

    from_: float = Field(alias="from", gt=0)
    to: float = Field(gt=0)
    defined_by: Literal["energy", "turn-time", "speed", "turns"] = "speed"

    @model_validator(mode="after")
    def _falls(self) -> Window:
        if self.to >= self.from_:
            raise ValueError("a window goes down: its end must be slower than its start")
        return self


class WindowRule(Record):
    """A window found once, after the last run, without looking at the conditions."""

    rule: Literal["slowest launch to three times the largest capture speed"] = (
        "slowest launch to three times the largest capture speed"
    )


class Stopping(Record):
    """When the test is over: after the planned runs, or at the one look that was planned.

    ``look_after`` is the run after which the planned look comes, at the level ``look_alpha``. Spare blocks are drawn
    with the plan, for going on openly; then only the running bet decides.
    """

    rule: Literal["after the last planned run"] = "after the last planned run"
    look_after: int | None = Field(default=None, ge=2)
    look_alpha: float = Field(default=0.01, gt=0, lt=0.5)
    spare_order: tuple[str, ...] = ()


class Blinding(Record):
    """Who knew which was which, and what timed the runs.

    Grade 0 none; 1 sensor timing and mechanical release; 2 who launches and times does not know the condition; 3 that
    and recorded guesses.
    """

    grade: Literal[0, 1, 2, 3] = 0
    timing: Literal["hand", "sensor"] = "hand"
    launch: Literal["hand", "mechanical"] = "mechanical"


class Sessions(Record):
    """Uncounted warm-up launches at the start of each session, and the runs after which a break may come."""

    warm_up_launches: int = Field(default=3, ge=0)
    breaks_after: tuple[int, ...] = ()
    minutes: float | None = Field(default=None, gt=0)


class Pilot(Record):
    """Trial runs seen before the plan was made: run-to-run spread of ln T, its degrees of freedom."""

    spread: float = Field(gt=0)
    degrees_of_freedom: int = Field(ge=1)
    upper_spread: float = Field(gt=0)


class Forecast(Record):
    """What the plan was made to find: a drive of this size with this probability, at the planned spread."""

    spread: float = Field(gt=0)
    drive_fraction: float = Field(gt=0)
    power: float = Field(gt=0, lt=1)


class Plan(Record):
    """All that is fixed before the first run; keys as in the schema ``truerun/plan/1``."""

    schema_: Literal["truerun/plan/1"] = Field(default="truerun/plan/1", alias="schema")
    id: str
    role: Role = Role.MAIN
    main_test: str | None = None
    claim: Claim
    conditions: Conditions
    measurand: Measurand = Measurand()
    window: Window | WindowRule | None = None
    end: End
    stop: Literal["turns-back", "lies-still"] | None = None
    hill_bound: float | None = Field(default=None, gt=0)
    orders: str
    adjust: tuple[str, ...] = ()
    drawn_by: Literal["lot", "bag"] = "lot"
    seed: str = Field(min_length=16)
    order: tuple[str, ...]
    runs: int = Field(ge=2)
    alpha: float = Field(default=0.05, gt=0, lt=0.5)
    margin: float | None = Field(default=None, gt=0)
    claimed: float | None = None
    stopping: Stopping = Stopping()
    left_out_rule: str = "Only a run stopped before its time was seen, with a reason; it is then repeated."
    blinding: Blinding = Blinding()
    sessions: Sessions = Sessions()
    agreed: Agreement = Agreement()
    made: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$")]
    pilot: Pilot | None = None
    forecast: Forecast | None = None
    note: str | None = None
    end_setting: str | None = None
    launch_setting: str | None = None
    mishaps: Mapping[str, str] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _holds_together(self) -> Plan:
        if self.orders not in ORDER_SETS:
            raise ValueError(f'"{self.orders}" is not a set of orders; choose one of {", ".join(ORDER_SETS)}')
        if len(self.order) != self.runs or set(self.order) - {self.conditions.source, self.conditions.control}:
            raise ValueError("the order must name one of the two conditions for each planned run")
        if not orders_for(self.orders, self.runs).contains(self.signs):
            raise ValueError(f"the order does not belong to the set {self.orders}")
        if self.end is End.STANDSTILL and self.stop is None:
            raise ValueError("an end at standstill must say which stop: turns-back or lies-still")
        if self.margin is not None and self.margin >= 1 and self.measurand.scale == "log":
            raise ValueError("the margin must be below 1, such as 0.02 for 2 %")
        require_mishaps(self.mishaps)
        return self

    @property
    def signs(self) -> NDArray[np.int8]:
        """The order as +1 for source and -1 for control, shape (runs,)."""
        return np.array([1 if name == self.conditions.source else -1 for name in self.order], dtype=np.int8)

    @property
    def covariates(self) -> tuple[str, ...]:
        """What is measured before each launch and adjusted for, by name."""
        return tuple(name for name in self.adjust if name not in ("run-number", "session"))

    @property
    def order_set(self) -> OrderSet:
        """The set from which the order was drawn."""
        return orders_for(self.orders, self.runs)

    def document(self) -> dict[str, Any]:
        """Give the plan as plain data, ready to be written as JSON; :data:`MAY_BE_ABSENT` only where said."""
        written = self.model_dump(mode="json", by_alias=True)
        return {key: value for key, value in written.items() if value or key not in MAY_BE_ABSENT}


def plan_from_document(document: Mapping[str, Any], path: str) -> Plan:
    """Check a plan that was read from a file.

    Parameters
    ----------
    document : mapping
        Plain data, without the key ``seal``.
    path : str
        For messages.

    Returns
    -------
    Plan

    Raises
    ------
    RecordingUnreadable
        Naming the first key that is missing, unknown or out of range.
    """
    try:
        return Plan.model_validate(document)
    except ValidationError as error:
        key, said = first_trouble(error)
        place = key or "the plan"
        raise RecordingUnreadable(path, f'key "{place}"', f"{said}. Use the file that truerun plan wrote.") from error
