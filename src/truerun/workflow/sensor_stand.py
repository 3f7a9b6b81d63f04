"""The one sensor of an application that answers many requests: plugged in, checked, armed for a run, ended."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass

import numpy as np

from truerun.errors import PlanBroken, TruerunError, ValueOutOfRange
from truerun.notebook.ledger import Notebook
from truerun.notebook.state import RunState
from truerun.sensing.ports import BAUD, Port, list_ports, opener_of
from truerun.virtual.made_up_sensor import MadeUpSensor, hand_lines, sensor_lines
from truerun.workflow.keeping import RunKeeper, begin_live_run, finish_run, require_real
from truerun.workflow.live import Live, LiveNow, watched

__all__ = ["MADE_UP", "Armed", "SensorStand"]

MADE_UP = "made-up"
"""Stands for the name of a port: a made-up sensor on a made-up wheel."""


@dataclass(frozen=True, slots=True)
class Armed:
    """The run that the sensor is armed for."""

    test: str
    run: RunState


class SensorStand:
    """The sensor of an application.

    Parameters
    ----------
    clock : callable
        Gives the time [s].
    pause : callable
        Waits a moment.

    Notes
    -----
    ``name`` is the port that is open, None where there is none; ``marks`` its marks a turn; ``armed`` the run that it
    is armed for; ``trouble`` what ended the reading before its time.
    """

    def __init__(self, clock: Callable[[], float], pause: Callable[[], None]) -> None:
        self._clock, self._pause = clock, pause
        self._lock = threading.RLock()
        self._stack = ExitStack()
        self._live: Live | None = None
        self.name: str | None = None
        self.marks = 0
        self.armed: Armed | None = None
        self.trouble: str | None = None

    def ports(self) -> tuple[Port, ...]:
        """List what can be opened; the made-up sensor comes last."""
        return (*list_ports(), Port(MADE_UP, "a made-up sensor on a made-up wheel, to try this without hardware"))

    def plug(self, name: str, *, marks: int, baud: int = BAUD) -> None:
        """Open a port and read it from now on.

        Raises
        ------
        TruerunError
            If a sensor is open already, the port is none of those listed, or it does not open.
        """
        with self._lock:
            if self._live is not None:
                raise ValueOutOfRange("The sensor", f"open already ({self.name})", "closed", "Let it go first.")
            known = [port.name for port in self.ports()]
            if name not in known:
                raise ValueOutOfRange("The port", f'"{name}"', f"one of {', '.join(known)}", "Plug it in, look again.")
            self._connect(name, marks, baud)

    def _connect(self, name: str, marks: int, baud: int, *, by_hand: bool = False) -> Live:
        """Open a port; a made-up wheel is launched by that, or turned by hand."""
        with ExitStack() as opened:
            at = name
            if name == MADE_UP:
                lines = hand_lines(marks) if by_hand else sensor_lines(np.random.default_rng(), marks=marks)
                sensor = MadeUpSensor(lines, self._clock)
                opened.callback(sensor.close)
                at = sensor.name
            opener = opener_of(at, baud=baud, wait=self._pause)
            live = Live(opener, marks=marks, clock=self._clock, pause=self._pause)
            opened.enter_context(watched(live, self._troubled))
            self._stack = opened.pop_all()
        self._live, self.name, self.marks, self.trouble = live, name, marks, None
        return live

    def _made_up_anew(self, *, by_hand: bool) -> Live:
        """Give the sensor that is open; a made-up wheel is launched anew, or turned by hand."""
        live = self._open()
        if self.name != MADE_UP:
            return live
        self._stack.close()
        return self._connect(MADE_UP, self.marks, BAUD, by_hand=by_hand)

    def unplug(self) -> None:
        """Let the port go; not while a run is armed."""
        with self._lock:
            if self.armed is not None:
                raise PlanBroken("A run is ended before the sensor goes", "one is armed", "End the run first.")
            self._live, self.name = None, None
            self._stack.close()

    def close(self) -> None:
        """Let everything go at the end of the application; what waits in an armed run is kept first."""
        with self._lock:
            self._stack.close()

    def now(self) -> LiveNow | None:
        """Tell how the sensor is; None where none is open."""
        live = self._live
        return None if live is None else live.now()

    def check(self) -> None:
        """Begin the check: a mark by hand, then one turn by hand."""
        with self._lock:
            if self.armed is not None:
                raise PlanBroken("The check comes before the run", "one is armed", "End the run first.")
            self._require_reading()
            self._made_up_anew(by_hand=True).begin_check()

    def arm(self, notebook: Notebook, test: str) -> RunState:
        """Keep the passes from now on as the next run of a test.

        Raises
        ------
        PlanBroken
            If no run may begin, or the sensor is made up and the test is not.
        """
        with self._lock:
            self._require_reading()
            if self.armed is not None and self.armed.test == test:
                return self.armed.run
            if self.armed is not None:
                raise PlanBroken("The sensor keeps one run at a time", "it keeps that of another test", "End it first.")
            require_real(notebook, test, made_up=self.name == MADE_UP)
            run = begin_live_run(notebook, test)
            live = self._made_up_anew(by_hand=False)
            live.arm(RunKeeper(notebook, test, run.id))
            self.armed = Armed(test, run)
            return run

    def end(self, notebook: Notebook, test: str, *, wrong: str | None = None) -> str:
        """End the run, and say in words what it came to; it stays armed where the notebook does not take it.

        Parameters
        ----------
        notebook : Notebook
        test : str
            Of the run.
        wrong : str, optional
            What went wrong, one of :data:`truerun.trial.mishaps.MISHAPS`; said before anything is seen.

        Returns
        -------
        str
        """
        with self._lock:
            if self.armed is None or self.armed.test != test:
                raise PlanBroken("A run that is armed can be ended", "none of this test is", "Arm the sensor first.")
            said = finish_run(notebook, test, self.armed.run, self._open().stop(), self.marks, wrong=wrong)
            self.armed = None
            return said

    def _open(self) -> Live:
        """Give the sensor that is open."""
        if self._live is None:
            raise ValueOutOfRange("The sensor", "not open", "open", "Choose its port first.")
        return self._live

    def _require_reading(self) -> None:
        """Refuse to begin with a sensor that is not open, or that nobody reads any more."""
        self._open()
        if self.trouble is not None:
            raise PlanBroken("A sensor is read from when it was opened", self.trouble, "Let it go, then open it again.")

    def _troubled(self, error: TruerunError) -> None:
        """Remember what ended the reading."""
        self.trouble = str(error)
