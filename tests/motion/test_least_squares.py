"""Dense least squares against the certified nonlinear regressions of the NIST Statistical Reference Datasets.

Data, starting values and certified results (11 digits) of Misra1a, Lanczos3, MGH17 and Thurber: National Institute of
Standards and Technology, Statistical Reference Datasets, nonlinear regression.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truerun.errors import FitImpossible
from truerun.motion.least_squares import Ending, LeastSquares, fit_least_squares

Array = NDArray[np.float64]
NIST = Path(__file__).parents[1] / "data" / "nist"
SETS = ("Misra1a", "Lanczos3", "MGH17", "Thurber")
STARTS = ("start1", "start2")


def certificate(name: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((NIST / f"{name}.json").read_text("utf-8"))
    return read


def misra1a(x: Array, b: Array) -> tuple[Array, Array]:
    fall = np.exp(-b[1] * x)
    return b[0] * (1 - fall), np.stack([1 - fall, b[0] * x * fall], axis=1)


def lanczos3(x: Array, b: Array) -> tuple[Array, Array]:
    falls = np.exp(-x[:, None] * b[1::2])
    slopes = np.stack([falls, -b[0::2] * x[:, None] * falls], axis=2).reshape(x.size, 6)
    return falls @ b[0::2], slopes


def mgh17(x: Array, b: Array) -> tuple[Array, Array]:
    first, second = np.exp(-x * b[3]), np.exp(-x * b[4])
    slopes = np.stack([np.ones_like(x), first, second, -b[1] * x * first, -b[2] * x * second], axis=1)
    return b[0] + b[1] * first + b[2] * second, slopes


def thurber(x: Array, b: Array) -> tuple[Array, Array]:
    powers = x[:, None] ** np.arange(4)
    top, bottom = powers @ b[:4], 1 + powers[:, 1:] @ b[4:]
    slopes = np.concatenate([powers, -powers[:, 1:] * (top / bottom)[:, None]], axis=1) / bottom[:, None]
    return top / bottom, slopes


CURVES: dict[str, Callable[[Array, Array], tuple[Array, Array]]] = {
    "Misra1a": misra1a,
    "Lanczos3": lanczos3,
    "MGH17": mgh17,
    "Thurber": thurber,
}


def fitted(name: str, start: str, enough: float) -> tuple[LeastSquares, dict[str, Any]]:
    case = certificate(name)
    x, y = np.array(case["x"]), np.array(case["y"])

    def misses(b: Array) -> tuple[Array, Array]:
        with np.errstate(over="ignore", invalid="ignore"):
            value, slopes = CURVES[name](x, b)
            return y - value, slopes

    return fit_least_squares(misses, np.array(case[start]), enough=enough, most=1000), case


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("name", SETS)
class TestTheCertifiedRegressions:
    def test_parameters(self, name: str, start: str) -> None:
        found, case = fitted(name, start, 0.0)
        assert found.parameters == pytest.approx(case["certified"], rel=1e-10)  # 11 digits are certified

    def test_standard_deviations_and_sum_of_squares(self, name: str, start: str) -> None:
        found, case = fitted(name, start, 0.0)
        spread = np.sqrt(np.diag(found.covariance) * found.variance)
        assert spread == pytest.approx(case["certified_sd"], rel=1e-10)
        assert found.chi2 == pytest.approx(case["rss"], rel=1e-10)
        assert found.freedom == case["dof"]

    def test_the_everyday_stop_is_within_a_hundredth_of_a_standard_deviation(self, name: str, start: str) -> None:
        found, case = fitted(name, start, 1e-4)
        assert found.ending is Ending.SETTLED
        away = np.abs(found.parameters - case["certified"]) / case["certified_sd"]
        assert away.max() < 0.01  # decrement below 1e-4 of the variance


class TestAStepTooFar:
    def test_a_prediction_that_overflows_is_stepped_back_from(self) -> None:
        x = 1400 * np.linspace(0, 1, 9)

        def misses(p: Array) -> tuple[Array, Array]:  # from -.05 the plain step goes to exponents in the thousands
            grown = np.exp(p[0] * x)
            return np.exp(-0.001 * x) - grown, (x * grown)[:, None]

        assert fit_least_squares(misses, np.array([-0.05])).parameters[0] == pytest.approx(-0.001, abs=1e-8)


class TestRefusals:
    def test_fewer_readings_than_unknowns(self) -> None:
        with pytest.raises(FitImpossible, match="1 readings for 2 unknowns"):
            fit_least_squares(lambda p: (np.ones(1) - p.sum(), np.ones((1, 2))), np.zeros(2))

    def test_two_terms_that_are_the_same(self) -> None:
        x = np.arange(6.0)
        with pytest.raises(FitImpossible, match="lost in rounding"):
            fit_least_squares(lambda p: (x - p.sum() * x, np.stack([x, x], axis=1)), np.zeros(2))

    def test_a_start_without_a_motion(self) -> None:
        def none(parameters: Array) -> tuple[Array, Array]:
            raise ZeroDivisionError(parameters)

        with pytest.raises(FitImpossible, match="first guess"):
            fit_least_squares(none, np.zeros(2))

    def test_a_search_without_an_end(self) -> None:
        x = np.linspace(0, 1, 9)

        def runaway(p: Array) -> tuple[Array, Array]:  # the best fit is at infinity
            return np.exp(-p[0] - 0 * x), -np.exp(-p[0] - 0 * x)[:, None]

        with pytest.raises(FitImpossible, match="did not settle"):
            fit_least_squares(lambda p: (runaway(p)[0], -runaway(p)[1]), np.zeros(1), enough=0.0)
