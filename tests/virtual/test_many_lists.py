"""Many lists at once against the exact list one by one: two routes written apart."""

import numpy as np
import pytest

from truerun.stats.exact import exact_list, nuisance_basis, p_minus, p_plus, two_sided_p
from truerun.stats.orders import orders_for
from truerun.virtual.many_lists import list_many


@pytest.mark.parametrize(
    ("order_set", "runs", "adjusted"),
    [
        ("blocks-of-four", 12, 1),
        ("blocks-of-four", 16, 0),
        ("pairs", 12, 0),
        ("restricted", 8, 1),
        ("complete", 10, 2),
        ("abba-blocks", 24, 0),
    ],
)
@pytest.mark.parametrize("digits", [1, 8], ids=["ties", "no ties"])
def test_every_p_value_and_effect_is_the_same(order_set: str, runs: int, adjusted: int, digits: int) -> None:
    rng = np.random.default_rng(runs)
    orders = orders_for(order_set, runs).all()
    columns = np.column_stack([np.arange(runs, dtype=np.float64), rng.standard_normal(runs)])[:, :adjusted]
    basis = nuisance_basis(columns, ("a", "b")[:adjusted], orders[0].astype(np.float64))
    observations = np.round(rng.standard_normal((40, runs)), digits)
    used = rng.integers(0, len(orders), 40)
    effects = np.round(rng.standard_normal(40), 1)
    many = list_many(observations, orders, used, basis, effects)
    for row in range(40):
        one = exact_list(observations[row], orders, orders[used[row]], basis)
        assert many.plus[row] == p_plus(one, effects[row])
        assert many.minus[row] == p_minus(one, effects[row])
        assert many.two_sided[row] == two_sided_p(one, effect=effects[row])
        assert many.delta[row] == pytest.approx(one.delta, abs=1e-12)  # rounding only


def test_flat_observations_speak_for_nothing() -> None:
    orders = orders_for("pairs", 12).all()
    found = list_many(np.full((1, 12), 4.1), orders, np.array([3]), np.full((12, 1), 12**-0.5))
    assert found.two_sided.tolist() == [1.0]
