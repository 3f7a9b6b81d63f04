"""A counter that starts again from 0 becomes a time that goes on; a sensor that started again is told from that."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from truerun.errors import ValueOutOfRange
from truerun.sensing.lines import Clockwork

__all__ = ["Arrival", "following_ticks", "require_clockwork"]

# s; how much later than printed a line may arrive; cables collect for some 20 ms: common practice, no source
SLACK = 0.3
CLOCK_SHARE = 0.01  # of the time between; cheap resonators are 0.3 % off
LEAST_PERIOD = 1.0  # s; a counter that starts again sooner cannot be followed by when its lines arrive
WITHOUT_ARRIVAL = 20.0  # times the interval before; a longer one across a start from 0 is not believed in a file


@dataclass(frozen=True, slots=True)
class Arrival:
    """Between which times of the reading computer a line arrived [s]; ``earliest`` -inf: it was there already."""

    earliest: float
    latest: float


def require_clockwork(clockwork: Clockwork) -> Clockwork:
    """Refuse a counter that cannot be followed.

    Raises
    ------
    ValueOutOfRange
        If it starts again from 0 in less than a second.
    """
    if clockwork.period < LEAST_PERIOD:
        raise ValueOutOfRange(
            f"The {clockwork.bits}-bit counter at {clockwork.rate} ticks a second",
            f"back at 0 every {clockwork.period:.3g} s",
            f"one that lasts at least {LEAST_PERIOD:g} s",
            "Let the sensor send 32 bits, or let it tick more slowly.",
        )
    return clockwork


def following_ticks(
    before: int,
    raw: int,
    clockwork: Clockwork,
    arrivals: tuple[Arrival, Arrival],
    interval: float | None = None,
) -> int | None:
    """Give the ticks of a pass, counted on across starts from 0.

    Parameters
    ----------
    before : int
        Ticks of the pass before, counted on.
    raw : int
        What the line says.
    clockwork : Clockwork
    arrivals : pair of Arrival
        Of the pass before and of this one.
    interval : float, optional
        Between the two passes before [s]; used where the arrivals are not known.

    Returns
    -------
    int or None
        None where no number of starts from 0 fits the time that went by: the sensor itself started again, or the
        line was garbled.

    Notes
    -----
    The counter was back at 0 n times; the fewest n is taken for which ticks and arrivals agree within .3 s and 1 %.

    Examples
    --------
    >>> then, now = Arrival(9.9, 10.0), Arrival(10.1, 10.2)
    >>> following_ticks(2**32 - 100_000, 100_000, Clockwork(), (then, now)) - 2**32
    100000
    >>> following_ticks(2**31, 100_000, Clockwork(), (then, now)) is None
    True
    """
    if raw >= 2**clockwork.bits:
        return None
    step = (raw - before) % 2**clockwork.bits
    first, second = arrivals
    least = second.earliest - first.latest
    most = second.latest - first.earliest
    if least == float("-inf"):
        believed = interval is not None and step / clockwork.rate <= WITHOUT_ARRIVAL * interval
        return before + step if raw >= before % 2**clockwork.bits or believed else None
    low = least - SLACK - CLOCK_SHARE * abs(least)
    high = most + SLACK + CLOCK_SHARE * most
    starts = max(0, ceil((low - step / clockwork.rate) / clockwork.period))
    seconds = step / clockwork.rate + starts * clockwork.period
    return before + step + starts * 2**clockwork.bits if seconds <= high else None
