"""Frozen records of what was observed: a table of runs and, for recordings, signals and passes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

from truerun.findings.finding import Finding

if TYPE_CHECKING:  # a table of runs needs no arrays, and whoever reads only one need not wait for numpy
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "AngleTrack",
    "Clock",
    "Passes",
    "PositionTrack",
    "Recording",
    "Releases",
    "Run",
    "RunTable",
    "Series",
    "SpeedTable",
    "Time",
    "Timing",
    "Trace",
]


@dataclass(frozen=True, slots=True)
class Run:
    """One line of a table of runs.

    ``slot`` is the place in the plan's order (1, 2, ...), ``attempt`` counts tries in it. ``value`` is the
    observation in SI units (for a time: seconds); where ``unfinished`` is true the run had not ended when
    ``value`` was reached; None where nothing was written. ``left_out`` is the reason for leaving the run out,
    ``seen`` whether its time had been seen by then (None: not said). ``recording`` is a path relative to the table,
    ``marks`` the number of marks a turn in it. ``extra`` holds further columns, numbers in the unit of their
    header. Where several keepers timed the run, ``readings`` holds what each read. ``line`` is the line in the file,
    for messages.
    """

    slot: int
    condition: str
    value: float | None
    unfinished: bool = False
    attempt: int = 1
    left_out: str | None = None
    seen: bool | None = None
    session: str | None = None
    keeper: str | None = None
    recording: str | None = None
    extra: Mapping[str, float | str | None] = field(default_factory=dict)
    line: int | None = None
    marks: int | None = None
    readings: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RunTable:
    """A table of runs, in the order of their slots, attempts in theirs.

    ``measure`` is the heading of the observed column without its unit, ``unit`` its SI unit (``"s"`` for a
    time, None if the heading names none). ``resolution`` is the step of the last digit written, in that unit.
    ``digest`` is the SHA-256 of the bytes that were read (hexadecimal), None for a table from memory.
    ``extra_units`` gives the unit of each further column whose heading names one, ``rig`` names what was written down
    about the rig beside the table. ``capture`` is the highest speed at which, by recordings, a magnetic bump catches
    the wheel [rad/s], None where none shows one.
    """

    runs: tuple[Run, ...]
    measure: str = "time"
    unit: str | None = "s"
    resolution: float | None = None
    path: str | None = None
    digest: str | None = None
    findings: tuple[Finding, ...] = ()
    extra_units: Mapping[str, str] = field(default_factory=dict)
    rig: tuple[str, ...] = ()
    capture: float | None = None

    @property
    def conditions(self) -> tuple[str, ...]:
        """Names of the conditions, in order of first appearance."""
        return tuple(dict.fromkeys(run.condition for run in self.runs))

    @property
    def recorded(self) -> bool:
        """Whether the times must come from recordings: some are named, and no time stands beside them."""
        named = [run for run in self.runs if run.recording is not None]
        return bool(named) and all(run.value is None for run in named)


class Clock(Enum):
    """What put the times on a recording."""

    SENSOR = "stamped at the sensor"
    HOST = "stamped by a computer that asked the sensor"
    FRAMES = "the frames of a film"
    HAND = "a watch worked by hand"
    UNKNOWN = "not said"


@dataclass(frozen=True, slots=True)
class Timing:
    """How finely and by what a recording was timed.

    ``resolution`` is the step of the times [s], None where it cannot be told. ``wrap`` is where the clock starts
    again from 0 [s], None where it does not or nothing is known.
    """

    resolution: float | None = None
    clock: Clock = Clock.UNKNOWN
    wrap: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A signal sampled at equal steps: ``values`` (n,) [V], the first one at ``start`` [s], ``step`` apart [s]."""

    values: NDArray[np.floating]
    start: float
    step: float
    timing: Timing = Timing()


@dataclass(frozen=True, slots=True, eq=False)
class Passes:
    """Times at which marks passed a sensor, as recorded: in the order of the file, nothing repaired.

    ``times`` (n,) [s]. ``mark`` (n,) is the number of the mark that passed, -1 where it is not known, None where
    no column says. ``ends`` (n,) are the times at which the same marks left the sensor [s], None where only one edge
    was logged. ``triggers`` (k,) are the passes of a trigger mark of its own, once a turn [s]. ``counts`` (n,) is
    what a counter beside the times read, None where there was none.
    """

    times: NDArray[np.float64]
    mark: NDArray[np.intp] | None = None
    ends: NDArray[np.float64] | None = None
    triggers: NDArray[np.float64] | None = None
    counts: NDArray[np.intp] | None = None
    timing: Timing = Timing()


@dataclass(frozen=True, slots=True, eq=False)
class AngleTrack:
    """Angles at times: ``times`` (n,) [s], ``angles`` (n,) as recorded [rad], their step ``angle_resolution`` [rad]."""

    times: NDArray[np.float64]
    angles: NDArray[np.float64]
    angle_resolution: float | None = None
    timing: Timing = Timing()


@dataclass(frozen=True, slots=True, eq=False)
class PositionTrack:
    """Places of a point of the wheel at times: ``times`` (n,) [s], ``x`` and ``y`` (n,) in one unit, as recorded.

    ``unit`` is that of the places where the recording names it (``"m"``: they were converted), else None.
    """

    times: NDArray[np.float64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    unit: str | None = None
    timing: Timing = Timing()


@dataclass(frozen=True, slots=True, eq=False)
class SpeedTable:
    """Speeds at times: ``times`` (n,) [s], ``speeds`` (n,) [rad/s], as recorded.

    ``standard_uncertainty`` (n,) is what the recording states for each speed [rad/s], None where it states none.
    ``speed_resolution`` is the step of the speeds [rad/s]. ``counts`` (n,) is what a counter of passes beside them
    read, None where there was none.
    """

    times: NDArray[np.float64]
    speeds: NDArray[np.float64]
    standard_uncertainty: NDArray[np.float64] | None = None
    speed_resolution: float | None = None
    counts: NDArray[np.intp] | None = None
    timing: Timing = Timing()


@dataclass(frozen=True, slots=True, eq=False)
class Releases:
    """Releases from rest: ``starts`` (n,) where the wheel was let go, ``turnings`` (n,) where it first turned back.

    In radians, as recorded; counted on through whole turns from start to turning.
    """

    starts: NDArray[np.float64]
    turnings: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Time:
    """One time read off a watch [s]."""

    seconds: float
    timing: Timing = Timing(clock=Clock.HAND)


Series = Trace | Passes | AngleTrack | PositionTrack | SpeedTable | Releases | Time


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One file as read: what it holds, and what was recognised to read it so.

    ``said`` lists, in plain sentences, what was taken from the heading or the data (kind, unit, decimal sign).
    ``digest`` is the SHA-256 of the file's bytes (hexadecimal). ``findings`` are doubts from reading alone.
    """

    series: Series
    path: str | None = None
    digest: str | None = None
    said: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
