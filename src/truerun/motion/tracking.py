"""Following passes one by one: which of them is which mark, where one is missing, where one is too many."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

__all__ = ["Step", "Tracked", "find_seed", "track_passes"]

MISS_COST = 5.0
EACH_MISS_COST = 0.3
EXTRA_COST = 7.0
MOST_COST = 25.0
EVENT_COST = 4.0
LEAST_SCATTER = 0.02
LOST = 60.0
KEEP = 0.75
FORGET = 60.0
MOST_TRAILS = 12
AHEAD_TURNS = 25
SURE = 0.08


@dataclass(frozen=True, slots=True)
class Step:
    """One pass that got a number, what it cost to believe it, and the step before."""

    index: int
    count: int
    cost: float
    before: Step | None


@dataclass(frozen=True, slots=True)
class Tracked:
    """Passes followed from a seed: ``index`` and ``counts`` (n,) and ``costs`` (n,).

    ``rival`` is the place in them from which another numbering is nearly as good, None where there is none.
    ``lost`` says that the passes stopped following any order before the last one.
    """

    index: NDArray[np.intp]
    counts: NDArray[np.intp]
    costs: NDArray[np.float64]
    rival: int | None
    lost: bool


@dataclass(frozen=True, slots=True)
class _Trail:
    """One way of numbering so far.

    ``rates`` hold 1/interval^2 for each kind of interval as last seen [1/s^2], ``losses`` what it falls by each turn;
    ``scatter`` is how far passes lie from where they are expected, as a share of an interval.
    """

    time: float
    count: int
    rates: tuple[float, ...]
    losses: tuple[float, ...]
    scatter: float
    cost: float
    trouble: float
    last: Step


def find_seed(times: NDArray[np.float64], marks: int) -> tuple[int, int]:
    """Find the stretch in which intervals change most evenly from turn to turn.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing; more than three turns [s].
    marks : int
        Marks per turn.

    Returns
    -------
    first, last : int
        Passes at its ends.

    Notes
    -----
    The energy of an interval, 1/interval^2, falls by nearly the same amount each turn whatever the spacing of the
    marks; its second difference over turns is smallest where no pass is missing or too many.
    """
    rates = np.diff(times) ** -2.0
    bend = np.abs(rates[: -2 * marks] - 2 * rates[marks:-marks] + rates[2 * marks :]) / rates[marks:-marks]
    width = min(max(marks, 6), bend.size)
    worst = np.lib.stride_tricks.sliding_window_view(bend, width).max(axis=1)
    first = int(np.argmin(worst))
    return first, first + width + 2 * marks


def track_passes(times: NDArray[np.float64], marks: int, seed: tuple[int, int]) -> tuple[Tracked, Tracked]:
    """Follow the passes from a seed to both ends.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    marks : int
        Marks per turn.
    seed : (int, int)
        From :func:`find_seed`.

    Returns
    -------
    before, after : Tracked
        From the seed to the start (in that order, counts falling from 0), and from the seed's first pass to the end.

    Notes
    -----
    Each pass is the next mark, a later one (then passes are missing), or one too many. The ways of numbering that
    agree best with the energy of each kind of interval, extrapolated from the turn before, are followed side by side
    until one is clearly better. An interval is predicted from that of the same two marks a turn ago, so neither
    the spacing of the marks nor the hill matters.
    """
    first, last = seed
    rates = np.diff(times) ** -2.0
    late = rates[last - marks : last]
    earlier = rates[last - 2 * marks : last - marks]
    step: Step | None = None
    for number, index in enumerate(range(first, last + 1)):
        step = Step(index, number, 0.0, step)
    forth = _followed(
        times, last, np.roll(late, (last - first) % marks), np.roll(earlier - late, (last - first) % marks), step
    )
    early = rates[first : first + marks]
    later = rates[first + marks : first + 2 * marks]
    back = _followed(
        -times[::-1],
        times.size - 1 - first,
        early[::-1],
        (later - early)[::-1],
        Step(times.size - 1 - first, 0, 0.0, None),
    )
    turned = Tracked(times.size - 1 - back.index, -back.counts, back.costs, back.rival, back.lost)
    return turned, forth


def _followed(
    times: NDArray[np.float64],
    start: int,
    rates: NDArray[np.float64],
    losses: NDArray[np.float64],
    step: Step | None,
) -> Tracked:
    """Follow the passes after ``start``; ``rates`` are by kind, kind = count modulo their number."""
    if step is None:
        raise AssertionError("a seed has passes")
    trail = _Trail(
        float(times[start]), step.count, tuple(rates.tolist()), tuple(losses.tolist()), LEAST_SCATTER, 0.0, 0.0, step
    )
    trails = [trail]
    for index, time in enumerate(times[start + 1 :].tolist(), start + 1):
        found = [option for each in trails for option in _options(each, index, time)]
        alive = [option for option in found if option.trouble < LOST]
        if not alive:
            return _told(trails, lost=True)
        trails = alive if len(alive) == 1 else _pruned(alive)
    return _told(trails, lost=False)


def _options(trail: _Trail, index: int, time: float) -> list[_Trail]:
    """Ways in which a trail can go on with one more pass."""
    gap = time - trail.time
    kind = trail.count % len(trail.rates)
    rate = trail.rates[kind] - trail.losses[kind]
    if rate > 0:
        away = gap * sqrt(rate) - 1
        if abs(away) < min(max(SURE, 3 * trail.scatter), 0.3):
            return [_moved(trail, index, time, 1, away)]
    ahead = _ahead(trail, gap)
    options = [_skipped(trail)]
    options += [_moved(trail, index, time, steps, away) for steps, away in ahead]
    return options


def _ahead(trail: _Trail, gap: float) -> list[tuple[int, float]]:
    """Numbers of steps that come nearest to a gap, with how far each is away as a share of an interval."""
    marks = len(trail.rates)
    rates = list(trail.rates)
    total, found = 0.0, []
    for steps in range(1, AHEAD_TURNS * marks + 1):
        kind = (trail.count + steps - 1) % marks
        rates[kind] -= trail.losses[kind]
        if rates[kind] <= 0:
            break
        interval = 1 / sqrt(rates[kind])
        total += interval
        away = (gap - total) / interval
        if abs(away) < 1.6:
            found.append((steps, away))
        elif away < 0:
            break
    return found


def _moved(trail: _Trail, index: int, time: float, steps: int, away: float) -> _Trail:
    """Take a pass as the one ``steps`` further on."""
    rates, losses = _updated(trail, time - trail.time, steps)
    scatter = max(LEAST_SCATTER, 2.5 * _level(trail, away))
    limit = trail.scatter * sqrt(steps) + 0.01 * (steps - 1)
    cost = min((away / limit) ** 2 / 2, MOST_COST)
    if steps > 1:
        cost += MISS_COST + EACH_MISS_COST * min(steps - 1, 20)
    return _Trail(
        time,
        trail.count + steps,
        rates,
        losses,
        scatter if steps == 1 else trail.scatter,
        trail.cost + cost,
        KEEP * trail.trouble + cost,
        Step(index, trail.count + steps, cost, trail.last),
    )


def _level(trail: _Trail, away: float) -> float:
    """Mean distance from where passes are expected, slowly forgetting."""
    return 0.93 * trail.scatter / 2.5 + 0.07 * min(abs(away), 0.25)


def _updated(trail: _Trail, gap: float, steps: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Rates and losses of all kinds in a gap, as if each had taken its predicted share of it."""
    marks = len(trail.rates)
    gain = min(1.0, max(0.25, 1.5 * LEAST_SCATTER / trail.scatter))
    rates, losses = list(trail.rates), list(trail.losses)
    if steps == 1:
        kind = trail.count % marks
        seen = gap**-2.0
        expected = rates[kind] - losses[kind]
        now = expected + sqrt(gain) * (seen - expected)
        losses[kind] += gain * (rates[kind] - now - losses[kind])
        rates[kind] = now
        return tuple(rates), tuple(losses)
    total = 0.0
    for number in range(trail.count, trail.count + steps):
        kind = number % marks
        rates[kind] -= losses[kind]
        total += 1 / sqrt(rates[kind])
    factor = (total / gap) ** 2
    for kind in {number % marks for number in range(trail.count, trail.count + steps)}:
        turns = len(range((kind - trail.count) % marks, steps, marks))
        rates[kind] *= factor
        losses[kind] = (trail.rates[kind] - rates[kind]) / turns
    return tuple(rates), tuple(losses)


def _skipped(trail: _Trail) -> _Trail:
    """Take a pass as one too many."""
    return replace(trail, cost=trail.cost + EXTRA_COST, trouble=trail.trouble + EXTRA_COST)


def _pruned(trails: list[_Trail]) -> list[_Trail]:
    """Keep the better of trails that stand at the same place, and those not far worse than the best."""
    best: dict[tuple[int, int], _Trail] = {}
    for trail in trails:
        place = (trail.last.index, trail.count)
        if place not in best or trail.cost < best[place].cost:
            best[place] = trail
    ranked = sorted(best.values(), key=lambda trail: trail.cost)
    return [trail for trail in ranked[:MOST_TRAILS] if trail.cost < ranked[0].cost + FORGET]


def _told(trails: list[_Trail], *, lost: bool) -> Tracked:
    """Write out the best trail, and where the next best one parts from it."""
    ranked = sorted(trails, key=lambda trail: trail.cost)
    steps = _steps(ranked[0].last)
    known = {(step.index, step.count) for step in steps}
    rival = None
    for other in ranked[1:]:
        if other.cost < ranked[0].cost + 3 * EXTRA_COST:
            shared = [step.index for step in _steps(other.last) if (step.index, step.count) in known]
            place = sum(step.index <= max(shared, default=-1) for step in steps)
            rival = place if rival is None else min(place, rival)
    index, counts, costs = zip(*((step.index, step.count, step.cost) for step in steps), strict=True)
    return Tracked(np.array(index, dtype=np.intp), np.array(counts, dtype=np.intp), np.array(costs), rival, lost)


def _steps(last: Step) -> list[Step]:
    """List the steps up to the last one."""
    steps, step = [], last
    while step is not None:
        steps.append(step)
        step = step.before  # type: ignore[assignment]
    return steps[::-1]
