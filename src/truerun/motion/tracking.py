"""Following passes one by one: which of them is which mark, where one is missing, where one is too many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

__all__ = ["Seed", "Step", "Tracked", "find_seeds", "track_passes"]

MISS_COST = 5.0
EACH_MISS_COST = 0.3
EXTRA_COST = 7.0
MOST_COST = 25.0
LEAST_SCATTER = 0.02
MOST_SCATTER = 0.08
LEAST_FADE = 0.5
MOST_FADE = 1.6
LOST = 60.0
KEEP = 0.75
FORGET = 60.0
MOST_TRAILS = 12
AHEAD_TURNS = 25
SURE = 0.08
MOST_SEEDS = 6
SEED_BEND = 0.08


@dataclass(frozen=True, slots=True)
class Seed:
    """A stretch of passes to begin from, none missing and none too many; ``cost`` is what that takes to believe."""

    first: int
    last: int
    cost: float


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
    ``fade`` is the ratio of the losses of two turns; ``scatter`` is how far passes lie from where they are expected,
    as a share of an interval.
    """

    time: float
    count: int
    rates: tuple[float, ...]
    losses: tuple[float, ...]
    fade: float
    scatter: float
    cost: float
    trouble: float
    last: Step


def find_seeds(times: NDArray[np.float64], marks: int) -> list[Seed]:
    """Find the stretches in which intervals change most evenly from turn to turn, the best one first.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing; more than three turns [s].
    marks : int
        Marks per turn.

    Returns
    -------
    list of Seed
        At most six.

    Notes
    -----
    The energy of an interval, 1/interval^2, falls by nearly the same amount each turn whatever the spacing of the
    marks; its second difference over turns is smallest where no pass is missing or too many.
    """
    rates = np.diff(times) ** -2.0
    bend = np.abs(rates[: -2 * marks] - 2 * rates[marks:-marks] + rates[2 * marks :]) / rates[marks:-marks]
    width = min(max(marks, 6), bend.size)
    worst = np.lib.stride_tricks.sliding_window_view(bend, width).max(axis=1)
    odd = np.minimum((bend / SEED_BEND) ** 2 / 2, MOST_COST)
    seeds: list[Seed] = []
    while len(seeds) < MOST_SEEDS and np.isfinite(worst).any():
        first = int(np.argmin(worst))
        seeds.append(Seed(first, first + width + 2 * marks, float(odd[first : first + width].sum())))
        worst[max(0, first - marks) : first + marks + 1] = np.inf
    return seeds


def track_passes(times: NDArray[np.float64], marks: int, seed: Seed) -> tuple[Tracked, Tracked]:
    """Follow the passes from a seed to both ends.

    Parameters
    ----------
    times : array, shape (n,)
        Increasing [s].
    marks : int
        Marks per turn.
    seed : Seed
        From :func:`find_seeds`.

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
    first, last = seed.first, seed.last
    rates = np.diff(times) ** -2.0
    step: Step | None = None
    for number, index in enumerate(range(first, last + 1)):
        step = Step(index, number, 0.0, step)
    turns = [rates[last - back * marks : last - (back - 1) * marks] for back in (3, 2, 1)]
    forth = _followed(times, last, _begun([np.roll(turn, (last - first) % marks) for turn in turns], step))
    mirror = times.size - 1 - first
    turns = [rates[first + ahead * marks : first + (ahead + 1) * marks][::-1] for ahead in (2, 1, 0)]
    back = _followed(-times[::-1], mirror, _begun(turns, Step(mirror, 0, 0.0, None)))
    turned = Tracked(times.size - 1 - back.index, -back.counts, back.costs, back.rival, back.lost)
    return turned, forth


def _begun(turns: list[NDArray[np.float64]], step: Step | None) -> _Trail:
    """Begin a trail after three turns of the seed, whose rates are in the order of kinds, the last turn last."""
    if step is None:
        raise AssertionError("a seed has passes")
    early, losses = turns[0] - turns[1], turns[1] - turns[2]
    ratio = float(losses.sum() / early.sum()) if early.sum() else 1.0
    fade = min(max(ratio, LEAST_FADE), MOST_FADE)
    bend = 2.5 * float(np.mean(np.abs(losses - fade * early) / turns[1])) / 2
    scatter = min(max(LEAST_SCATTER, bend), MOST_SCATTER)
    return _Trail(0.0, step.count, tuple(turns[2].tolist()), tuple(losses.tolist()), fade, scatter, 0.0, 0.0, step)


def _followed(times: NDArray[np.float64], start: int, begun: _Trail) -> Tracked:
    """Follow the passes after ``start``."""
    trails = [replace(begun, time=float(times[start]))]
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
    rate = trail.rates[kind] - trail.losses[kind] * trail.fade
    if rate > 0:
        away = (gap * sqrt(rate) - 1) / _narrowing(trail.rates, trail.losses, kind, rate)
        if abs(away) < min(max(SURE, 3 * trail.scatter), 0.3):
            return [_moved(trail, index, time, 1, away)]
    ahead = _ahead(trail, gap)
    options = [_skipped(trail)]
    options += [_moved(trail, index, time, steps, away) for steps, away in ahead]
    return options


def _ahead(trail: _Trail, gap: float) -> list[tuple[int, float]]:
    """Numbers of steps that come nearest to a gap, with how far each is away as a share of an interval."""
    marks = len(trail.rates)
    rates, losses = list(trail.rates), list(trail.losses)
    total, found = 0.0, []
    for steps in range(1, AHEAD_TURNS * marks + 1):
        kind = (trail.count + steps - 1) % marks
        losses[kind] *= trail.fade
        rates[kind] -= losses[kind]
        if rates[kind] <= 0:
            break
        interval = 1 / sqrt(rates[kind])
        total += interval
        away = (gap - total) / interval
        if abs(away) < 1.6:
            found.append((steps, away / _narrowing(rates, losses, kind, rates[kind])))
        elif away < 0:
            break
    return found


def _narrowing(rates: Sequence[float], losses: Sequence[float], kind: int, rate: float) -> float:
    """Give the shorter of an interval and the next one, as a share of the first."""
    following = (kind + 1) % len(rates)
    later = rates[following] - losses[following]
    return min(1.0, sqrt(rate / later)) if later > 0 else 1.0


def _moved(trail: _Trail, index: int, time: float, steps: int, away: float) -> _Trail:
    """Take a pass as the one ``steps`` further on."""
    limit = trail.scatter * sqrt(steps) + 0.01 * (steps - 1)
    cost = min((away / limit) ** 2 / 2, MOST_COST)
    if steps > 1:
        cost += MISS_COST + EACH_MISS_COST * min(steps - 1, 20)
    seen = _next_seen if steps == 1 else _later_seen
    rates, losses, fade = seen(trail, time - trail.time, steps)
    return _Trail(
        time=time,
        count=trail.count + steps,
        rates=rates,
        losses=losses,
        fade=fade,
        scatter=_scatter(trail, away) if steps == 1 else trail.scatter,
        cost=trail.cost + cost,
        trouble=KEEP * trail.trouble + cost,
        last=Step(index, trail.count + steps, cost, trail.last),
    )


def _scatter(trail: _Trail, away: float) -> float:
    """Give 2.5 times the mean distance from where passes are expected, slowly forgetting."""
    return min(max(LEAST_SCATTER, 0.93 * trail.scatter + 0.07 * 2.5 * min(abs(away), 0.25)), MOST_SCATTER)


def _next_seen(trail: _Trail, gap: float, steps: int) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Rates, losses and fade after the next interval was seen; the noisier it is, the less they move."""
    kind = (trail.count + steps - 1) % len(trail.rates)
    gain = min(1.0, max(0.25, 1.5 * LEAST_SCATTER / trail.scatter))
    rates, losses = list(trail.rates), list(trail.losses)
    loss = losses[kind] * trail.fade
    expected = rates[kind] - loss
    now = expected + sqrt(gain) * (gap**-2.0 - expected)
    fade = trail.fade
    if loss:
        ratio = (rates[kind] - now) / losses[kind]
        fade += min(1.0, 1.5 / len(rates)) * gain * (min(max(ratio, LEAST_FADE), MOST_FADE) - fade)
    losses[kind] = loss + gain * (rates[kind] - now - loss)
    rates[kind] = now
    return tuple(rates), tuple(losses), fade


def _later_seen(trail: _Trail, gap: float, steps: int) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Rates and losses after a gap with missing passes, as if each interval had taken its predicted share of it."""
    marks = len(trail.rates)
    rates, losses = list(trail.rates), list(trail.losses)
    numbers = range(trail.count, trail.count + steps)
    total = 0.0
    for number in numbers:
        losses[number % marks] *= trail.fade
        rates[number % marks] -= losses[number % marks]
        total += 1 / sqrt(rates[number % marks])
    factor = (total / gap) ** 2
    for kind in {number % marks for number in numbers}:
        turns = len(range((kind - trail.count) % marks, steps, marks))
        rates[kind] *= factor
        losses[kind] = (trail.rates[kind] - rates[kind]) / turns
    return tuple(rates), tuple(losses), trail.fade


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
            parted = max(shared, default=-1)
            place = sum(step.index <= parted for step in steps)
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
