"""A planned look: levels counted over the orders, and against two-stage normal tests."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from truerun.errors import PlanBroken
from truerun.stats.exact import ExactList, exact_list, nuisance_basis, two_sided_p
from truerun.stats.orders import orders_for
from truerun.stats.stages import PlannedLook, planned_look, stage_rejections

Array = NDArray[np.float64]

FIRST = orders_for("blocks-of-four", 12).all()
WHOLE = orders_for("blocks-of-four", 24).all()
LOOK = planned_look(216, 216**2, 0.05)


def listed(observations: Array, orders: NDArray[np.int8], used: NDArray[np.int8]) -> ExactList:
    """List the orders with nothing adjusted."""
    basis = nuisance_basis(np.zeros((len(used), 0)), (), used.astype(np.float64))
    return exact_list(observations, orders, used, basis)


def heaps(observations: Array, used: int = 0) -> tuple[Array, Array]:
    """Give what the first twelve of 24 runs and all of them show under every order of the whole plan."""
    first = listed(observations[:12], FIRST, WHOLE[used, :12])
    last = listed(observations, WHOLE, WHOLE[used])
    assert first.heap is not None
    assert last.heap is not None
    return np.repeat(first.heap, 216), last.heap  # the first three blocks are the leading digits of an order's number


class TestLevels:
    def test_a_look_at_half_of_eight_plus_eight_is_refused(self) -> None:
        with pytest.raises(PlanBroken, match="needs at least 200 orders; the runs before it have 36"):
            planned_look(36, 1296, 0.05)

    def test_a_look_that_leaves_nothing_is_refused(self) -> None:
        with pytest.raises(PlanBroken, match="could never reject"):
            planned_look(200, 200**2, 0.01)

    def test_both_levels_together_keep_to_what_was_asked(self) -> None:
        assert LOOK.first_level == pytest.approx(2 / 216)
        assert 0.0499 < LOOK.total_level <= 0.05

    @pytest.mark.parametrize("noise", ["normal", "cauchy", "tied", "drifting"])
    def test_no_more_orders_reject_than_stated_for_any_observations(self, noise: str) -> None:
        rng = np.random.default_rng(1)
        observations = {
            "normal": rng.normal(size=24),
            "cauchy": rng.standard_cauchy(24),
            "tied": rng.integers(0, 2, size=24).astype(np.float64),
            "drifting": np.arange(24.0) + rng.normal(size=24),
        }[noise]
        found = stage_rejections(*heaps(observations), LOOK)
        assert found.first.mean() <= LOOK.first_level + 1e-12
        assert found.level <= LOOK.total_level
        assert not (found.first & found.last).any()

    def test_observations_without_ties_use_up_both_levels(self) -> None:
        first, last = heaps(np.random.default_rng(6).normal(size=24))
        found = stage_rejections(first, last, LOOK)
        alone = stage_rejections(np.zeros_like(first), last, LOOK)
        assert found.first.mean() == LOOK.first_level
        assert alone.last.mean() == LOOK.last_level

    def test_constant_observations_never_reject(self) -> None:
        assert stage_rejections(*heaps(np.ones(24)), LOOK).level == 0.0


class TestAgreementWithTheLists:
    @pytest.mark.parametrize("used", [0, 12345, 46655])
    def test_what_rejects_is_what_its_own_lists_say(self, used: int) -> None:
        observations = np.random.default_rng(2).normal(size=24) + 0.6 * WHOLE[used]
        found = stage_rejections(*heaps(observations, used), LOOK)
        first = listed(observations[:12], FIRST, WHOLE[used, :12])
        last = listed(observations, WHOLE, WHOLE[used])
        assert bool(found.first[used]) is (two_sided_p(first) <= LOOK.first_alpha)
        if not found.first[used]:
            assert bool(found.last[used]) is (two_sided_p(last) <= LOOK.last_alpha)


class TestTwoStageNormalTests:
    # S. J. Pocock, Biometrika 64 (1977): 2.178 twice; P. C. O'Brien, T. R. Fleming, Biometrics 35 (1979): 2.797,
    # 1.977; both for two looks at 5 % in all; constants from memory
    @pytest.mark.parametrize("bounds", [(2.178, 2.178), (2.797, 1.977)])
    def test_published_boundaries_give_five_per_cent(self, bounds: tuple[float, float]) -> None:
        # normal statistics in the place of heaps; both margins are exact, only the overlap of the two is by luck:
        # its sd is .0002, so .001 is passed by luck once in a million seeds
        rng = np.random.default_rng(3)
        half, other = rng.normal(size=(2, 200_000))
        first, last = (round(float(2 * stats.norm.sf(bound)), 6) for bound in bounds)
        found = stage_rejections(half, (half + other) / 2**0.5, PlannedLook(first, first, last, last))
        assert found.level == pytest.approx(0.05, abs=0.001)
