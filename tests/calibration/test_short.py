"""Every calibration in its short form, from the seed that is its name.

A band is binomial at 99.9 %, or what the method promises: before it was first run, each of these could fail by luck
with chance 1 in 1000 at most where the band is binomial. The long form is ``python calibration/run.py``.
"""

import runpy
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from truerun.stats.opinions import welch
from truerun.virtual import (
    error_rates,
    fit_rates,
    habit_rates,
    pool_rates,
    recorded_rates,
    sentence_rates,
    stopping_rates,
    verdict_habits,
    verdict_rates,
)
from truerun.virtual.calibration import Calibration, Recipe, binomial_band, carry_out
from truerun.virtual.stopping_rates import welch_after_each_run

RECIPES = (
    *error_rates.RECIPES,
    *stopping_rates.RECIPES,
    *habit_rates.RECIPES,
    *pool_rates.RECIPES,
    *verdict_rates.RECIPES,
    *verdict_habits.RECIPES,
    *sentence_rates.RECIPES,
)
QUICK = ("fit coverage, usual", "fit convergence", "drag that drifts, 1 %, 2 turns")
FITS = [
    pytest.param(recipe, id=recipe.name, marks=() if recipe.name in QUICK else pytest.mark.slow)
    for recipe in fit_rates.RECIPES
]


@pytest.mark.parametrize("recipe", RECIPES, ids=lambda recipe: recipe.name)
def test_the_figure_lies_in_its_band(recipe: Recipe) -> None:
    found = carry_out(recipe, short=True)
    assert found.within, found


@pytest.mark.parametrize("recipe", FITS)
def test_the_fit_s_figure_lies_in_its_band(recipe: Recipe) -> None:
    found = carry_out(recipe, short=True)
    assert found.within, found


def test_no_two_have_the_same_name_and_so_the_same_seed() -> None:
    names = [recipe.name for recipe in (*RECIPES, *fit_rates.RECIPES, *recorded_rates.RECIPES)]
    assert len(set(names)) == len(names)


def test_made_again_a_figure_is_the_same() -> None:
    recipe = next(recipe for recipe in RECIPES if recipe.name == "size 6+6, white noise")
    assert carry_out(recipe, short=True) == carry_out(recipe, short=True)


def test_a_part_made_again_leaves_the_other_rows_of_the_page_as_they_are() -> None:
    run = runpy.run_path(str(Path(__file__).parents[2] / "calibration" / "run.py"))
    first, last = RECIPES[0].name, RECIPES[-1].name
    made = Calibration(last, "A sentence.", 100, 0.25, 0.0, 0.2)
    page = run["render_page"]({first: f"| {first} | as it was |", last: run["row"](made)})
    assert run["rows_of"](page) == {first: f"| {first} | as it was |", last: run["row"](made)}
    assert f"\n- {last}\n" in page.split("## Outside their band")[1]
    assert page.count("not measured yet") == len(run["RECIPES"]) - 2


@pytest.mark.parametrize(("rate", "trials"), [(10 / 216, 20_000), (0.05, 2_000), (0.95, 500), (0.5, 10)])
def test_the_band_is_that_of_the_binomial_distribution(rate: float, trials: int) -> None:
    # against scipy.stats.binom, which has its own quantile code
    quantiles = stats.binom.ppf([0.0005, 0.9995], trials, rate)
    assert binomial_band(rate, trials) == tuple(quantiles / trials)


@pytest.mark.parametrize(
    ("value", "within"), [(0.1, True), (0.2, True), (0.15, True), (0.0999, False), (0.2001, False)]
)
def test_the_ends_of_a_band_belong_to_it(value: float, *, within: bool) -> None:
    assert Calibration("name", "sentence", 1, value, 0.1, 0.2).within is within


def test_welch_after_each_run_is_welch_s_test() -> None:
    # against scipy.stats.ttest_ind(equal_var=False) and the one by one route
    rng = np.random.default_rng(4)
    values = rng.standard_normal((3, 12))
    orders = np.array([[1, -1, -1, 1] * 3, [1, 1, -1, -1] * 3, [-1, 1] * 6], dtype=np.int8)
    found = welch_after_each_run(values, orders)
    for row in range(3):
        for runs in range(6, 13):
            source = values[row, :runs][orders[row, :runs] > 0]
            control = values[row, :runs][orders[row, :runs] < 0]
            expected = stats.ttest_ind(source, control, equal_var=False).pvalue
            assert found[row, runs - 6] == pytest.approx(expected, rel=1e-9)  # rounding only
            assert found[row, runs - 6] == pytest.approx(welch(source, control).p, rel=1e-9)  # rounding only
