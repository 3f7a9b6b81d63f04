"""Plans that can never decide: why, in plain words, and the smallest changes that would make them decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from truerun.errors import ValueOutOfRange
from truerun.stats.orders import orders_for, rejecting_orders, smallest_p
from truerun.trial.phrases import count_words, percent

__all__ = ["DeadEnd", "WayOut", "dead_end_of"]

_SHORT = {
    "blocks-of-four": "blocks of four",
    "restricted": "well-mixed orders",
    "complete": "any order",
    "pairs": "pairs",
    "abba-blocks": "blocks of four, there and back again",
}
"""Sets of orders, those first that stand a drifting bench better."""

_MOST_RUNS = 60
_NEVER = "This plan can never decide."


@dataclass(frozen=True, slots=True)
class WayOut:
    """One change that makes a plan decide: what it is called, what it gives, and the keys of the request it changes."""

    words: str
    gives: str
    changes: Mapping[str, str]

    def document(self) -> dict[str, Any]:
        """Give it as plain data."""
        return {"words": self.words, "gives": self.gives, "changes": dict(self.changes)}


@dataclass(frozen=True, slots=True)
class DeadEnd:
    """Why a plan can never decide, and the ways out of it, the smallest change first."""

    why: str
    ways: tuple[WayOut, ...]

    def document(self) -> dict[str, Any]:
        """Give it as plain data."""
        return {"why": self.why, "ways": [way.document() for way in self.ways]}


def dead_end_of(request: Mapping[str, Any]) -> DeadEnd | None:
    """Say why a plan could never decide, and what would make it decide.

    Parameters
    ----------
    request : mapping
        Keys of :class:`truerun.workflow.planning.PlanRequest`; what is not there is as usual.

    Returns
    -------
    DeadEnd or None
        None: it can decide. Every way out changes all that is needed, and no more.

    Examples
    --------
    >>> found = dead_end_of({"runs": 8, "orders": "blocks-of-four"})
    >>> [way.words for way in found.ways]
    ['Keep 4 + 4 runs, in well-mixed orders', 'Keep 4 + 4 runs, in any order', 'Make it 6 + 6 runs']
    >>> dead_end_of({"runs": 12, "orders": "blocks-of-four"}) is None
    True
    """
    runs, orders = int(request.get("runs", 16)), str(request.get("orders", "blocks-of-four"))
    alpha = float(request.get("alpha", 0.05))
    stop, way_to_end = _stop_trouble(request)
    lot = _lot_trouble(orders, runs, alpha)
    if not stop and not lot:
        return None
    ways = _of_the_lot(orders, runs, alpha) if lot else ()
    if stop and lot:
        ways = tuple(
            WayOut(
                f"{way_to_end.words}, and {way.words[0].lower()}{way.words[1:]}",
                way.gives,
                {**way.changes, **way_to_end.changes},
            )
            for way in ways
        )
    elif stop:
        ways = (way_to_end,)
    return DeadEnd(" ".join(part for part in (_NEVER, lot, stop) if part), ways)


def _lot_trouble(orders: str, runs: int, alpha: float) -> str:
    """Say why too few orders could be drawn; empty where there are enough."""
    count = _count(orders, runs)
    size = f"{runs // 2} + {runs // 2}"
    if not count:
        return f"{size} runs do not fit into {_SHORT[orders]}."
    if rejecting_orders(count, alpha) >= 1:
        return ""
    luck = round(smallest_p(count) * count)
    return (
        f"{size} runs in {_SHORT[orders]} can stand in only {count_words(count)} orders, and {luck} of them part long "
        f"runs from short ones as cleanly as can be. So luck alone does it in {percent(smallest_p(count))} of tests; "
        f"a verdict may come by luck in {100 * alpha:g}\N{NO-BREAK SPACE}% at most. However clear the runs are, the "
        "answer would be: this test was too small."
    )


def _count(orders: str, runs: int) -> int:
    """Count the orders, 0 where the set has none of this length."""
    try:
        return orders_for(orders, runs).count
    except ValueOutOfRange:
        return 0


def _of_the_lot(orders: str, runs: int, alpha: float) -> tuple[WayOut, ...]:
    """Give other sets for as many runs, then more runs for the same set."""
    size = f"{runs // 2} + {runs // 2}"
    ways = [
        WayOut(
            f"Keep {size} runs, in {_SHORT[each]}",
            _gives(each, runs),
            {"runs": str(runs), "orders": each},
        )
        for each in _SHORT
        if each != orders and rejecting_orders(_count(each, runs), alpha) >= 1
    ]
    ways = ways[:2]
    more = (each for each in range(runs + 2, _MOST_RUNS + 1, 2) if rejecting_orders(_count(orders, each), alpha) >= 1)
    larger = next(more, None)
    if larger is not None:
        half = larger // 2
        changes = {"runs": str(larger), "orders": orders}
        ways.append(WayOut(f"Make it {half} + {half} runs", _gives(orders, larger), changes))
    return tuple(ways)


def _gives(orders: str, runs: int) -> str:
    """Say what a set gives."""
    count = _count(orders, runs)
    luck = round(smallest_p(count) * count)
    return f"{count_words(count)} orders, {luck} of them as clean by luck"


def _stop_trouble(request: Mapping[str, Any]) -> tuple[str, WayOut]:
    """Say why runs timed to a stop could not decide, and the change that mends it; empty where they can."""
    by_speed = WayOut("Time each run at a set speed", "a bump of the magnets then changes nothing", {"end": "speed"})
    if str(request.get("end")) != "standstill" or request.get("measure", "time") != "time":
        return "", by_speed
    if request.get("hill_bound") is None:
        why = "Runs are timed to a stop, and nothing says what a magnetic bump alone does to such a time."
        return why, by_speed
    if request.get("launch") == "hand":
        gives = "a falling weight pushes alike each time"
        why = "Runs are timed to a stop, and launched by hand: how hard a hand pushes is unknown."
        return why, WayOut("Launch by a mechanism", gives, {"launch": "mechanical"})
    return "", by_speed
