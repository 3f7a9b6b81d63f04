"""The orders that a luck picture shows, each with the effect that it would have given."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truerun.stats.draw import draw_many
from truerun.stats.exact import ExactList, exact_list, nuisance_basis, p_minus, p_plus
from truerun.stats.orders import OrderSet, orders_for
from truerun.trial.comparison import Comparison
from truerun.trial.context import Context
from truerun.trial.decision import SAMPLED_ORDERS, Figures

__all__ = ["PICTURED", "ShownOrders", "order_rows", "shown_orders"]

Array = NDArray[np.float64]

PICTURED = 19_999
"""Orders drawn for the picture where all of them were counted and not listed; the one used is added."""


@dataclass(frozen=True, slots=True)
class ShownOrders:
    """What a luck picture marks.

    ``sizes`` holds the drive fraction (or difference) of each order shown, ours among them as ``ours``, and
    ``strong`` tells which are as far as ours or farther. ``luck`` of ``orders`` is what decides, ``both_sides``
    whether ``strong`` marks both sides: else the smaller one is marked, and luck is twice that. ``part`` tells
    whether only a part of all orders is shown, ``of`` how many the set has.
    """

    sizes: Array
    strong: NDArray[np.bool_]
    ours: float
    luck: int
    orders: int
    both_sides: bool
    part: bool
    of: int


def shown_orders(comparison: Comparison) -> ShownOrders | None:
    """Give the orders to be shown; None where the result may show none.

    Parameters
    ----------
    comparison : Comparison
        Finished.

    Returns
    -------
    ShownOrders or None
        None for a covered or withdrawn result, and where the order came from no known set.

    Notes
    -----
    Orders are placed at the drive fraction of 2 a_j / b_o, on the scale of the order used: so ours stands exactly at
    the result, and as many are strong as p says. Where runs count at their worst, the side that decides is shown.
    """
    at, drawn = comparison.at, comparison.figures
    if drawn is None or comparison.withdrawn:
        return None
    if drawn.plus.heap is None and at.seen.worst.any():
        return None  # counted, not listed, and with two lists: neither can be made again from what is kept
    side = drawn.plus if p_plus(drawn.plus) <= p_minus(drawn.minus) else drawn.minus
    heap = side.heap if side.heap is not None else _pictured(at, drawn)
    luck = round(drawn.p * side.orders)
    of = _set_of(at).count
    listed = side.heap is not None and not drawn.sampled
    if listed and drawn.plus is drawn.minus:
        farthest = np.argsort(-np.abs(heap), kind="stable")
        strong = np.zeros(len(heap), dtype=np.bool_)
        strong[farthest[:luck]] = True
    else:
        strong = _as_far(heap, side.delta, both=side.heap is None)
    both = (listed and drawn.plus is drawn.minus) or side.heap is None
    return ShownOrders(
        _as_shown(at, heap),
        strong,
        float(_as_shown(at, np.array([side.delta]))[0]),
        luck,
        side.orders,
        both,
        not listed,
        of,
    )


def order_rows(comparison: Comparison) -> tuple[NDArray[np.int8], tuple[int, ...]] | None:
    """Give every order behind the heap, shape (m, n) of +1 and -1, and the slot of each column."""
    at, drawn = comparison.at, comparison.figures
    if drawn is None or comparison.withdrawn:
        return None
    allowed, places, used = _set_of(at), _places(at), at.seen.used[_inside(at)]
    if allowed.listed and drawn.plus.heap is not None:
        rows = allowed.all()[:, places]
    else:
        rows = _drawn_orders(allowed, places, used, *_draw_of(drawn))
    return rows, tuple(int(place) + 1 for place in places)


def _pictured(at: Context, drawn: Figures) -> Array:
    """Give the effects of a part of the orders, drawn by lot, for a list that was only counted."""
    inside = _inside(at)
    used = at.seen.used[inside]
    rows = _drawn_orders(_set_of(at), _places(at), used, *_draw_of(drawn))
    basis = nuisance_basis(np.zeros((len(used), 0)), (), used.astype(np.float64))
    found: ExactList = exact_list(at.seen.y[inside], rows, used, basis)
    return found.heap if found.heap is not None else np.zeros(0)


def _draw_of(drawn: Figures) -> tuple[str, int]:
    """Give seed and number of the orders that were drawn by lot."""
    return (f"{drawn.seed}|list", SAMPLED_ORDERS) if drawn.sampled else (f"{drawn.seed}|picture", PICTURED)


def _drawn_orders(
    allowed: OrderSet, places: NDArray[np.int64], used: NDArray[np.int8], seed: str, draws: int
) -> NDArray[np.int8]:
    """Draw orders from a set that is too large to list; the one used comes last."""
    numbers = np.array(draw_many(seed, allowed.count, draws), dtype=np.int64)
    return np.vstack([allowed.unrank(numbers)[:, places], used[None, :]])


def _set_of(at: Context) -> OrderSet:
    """Give the set the order was drawn from."""
    return orders_for(at.rules.orders or "", at.seen.planned if at.rules.plan else len(at.seen.used))


def _inside(at: Context) -> NDArray[np.bool_]:
    """Tell which slots the list is made of."""
    slots = at.seen.planned if at.rules.plan else len(at.seen.used)
    return np.asarray(at.seen.kept & (at.seen.places < slots), dtype=np.bool_)


def _places(at: Context) -> NDArray[np.int64]:
    """Give the places of those slots, from 0."""
    return np.asarray(at.seen.places[_inside(at)])


def _as_far(heap: Array, ours: float, *, both: bool) -> NDArray[np.bool_]:
    """Tell which effects are as far from zero as ours or farther."""
    reach = abs(ours) - 1e-9 * float(np.abs(heap).max(initial=0.0))
    side = np.abs(heap) if both else math.copysign(1.0, ours) * heap
    return np.asarray(side >= reach, dtype=np.bool_)


def _as_shown(at: Context, effects: Array) -> Array:
    """Put effects on the scale that people read."""
    return -np.expm1(-effects) if at.logarithmic else at.rules.measurand.sign * effects
