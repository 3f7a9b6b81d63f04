"""Uncertainty that keeps its sources: budgets by the GUM over the library ``uncertainties``.

A *source* is a named origin of uncertainty (a scale, a clock, five readings). Numbers made from sources are
computed with as usual; a source that two numbers share stays shared, so it cancels in their difference. What a
result owes to each source is read off it by :func:`budget`. Formulas stay functions of floats:
``uncertainties.wrap`` lifts them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit  # scipy.stats would take seconds to import
from uncertainties import UFloat
from uncertainties.core import Variable

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.units.formats import format_percent, format_quantity
from truerun.units.quantity import Quantity, Spread
from truerun.units.unit import Unit

__all__ = [
    "Budget",
    "BudgetLine",
    "Distribution",
    "Line",
    "Sampled",
    "Source",
    "budget",
    "coverage_factor",
    "distribution",
    "effective_degrees_of_freedom",
    "fit_line",
    "freedom_of_judgement",
    "observed_together",
    "quantity_source",
    "report",
    "sampled",
    "second_order_variance",
    "shortest_interval",
    "source",
    "student",
]


@dataclass(frozen=True, slots=True)
class Source:
    """A named origin of uncertainty, and how many degrees of freedom its size was found with."""

    name: str
    degrees_of_freedom: float = math.inf


def source(name: str, value: float, standard_uncertainty: float, degrees_of_freedom: float = math.inf) -> UFloat:
    """Make a number whose uncertainty has one named origin.

    Parameters
    ----------
    name : str
        Of the origin. Numbers made by separate calls are independent; under one name they share a budget line.
    value : float
        Best estimate, in SI.
    standard_uncertainty : float
        Not negative, in SI.
    degrees_of_freedom : float
        Positive; infinite where the uncertainty itself is taken as known.

    Returns
    -------
    UFloat

    Raises
    ------
    ValueOutOfRange
        If a number is outside what is said above.

    References
    ----------
    JCGM 100:2008 (GUM) 4.2, 4.3.

    Examples
    --------
    >>> clock = source("clock", 1.0, 1e-5)
    >>> (61.0 * clock - 60.0 * clock).std_dev == clock.std_dev
    True
    """
    if not math.isfinite(value):
        raise ValueOutOfRange(f"value of {name}", value, "a finite number")
    if not 0.0 <= standard_uncertainty < math.inf:
        raise ValueOutOfRange(f"standard uncertainty of {name}", standard_uncertainty, "zero or positive, and finite")
    if not degrees_of_freedom > 0.0:
        raise ValueOutOfRange(f"degrees of freedom of {name}", degrees_of_freedom, "positive")
    return Variable(value, standard_uncertainty, tag=Source(name, degrees_of_freedom))


def quantity_source(name: str, quantity: Quantity, degrees_of_freedom: float = math.inf) -> UFloat:
    """Make a source from a quantity that somebody wrote.

    Parameters
    ----------
    name : str
        Of the origin.
    quantity : Quantity
        Without an uncertainty of its own it gets that of its last digit: half a step, rectangular.
    degrees_of_freedom : float
        Positive.

    Returns
    -------
    UFloat

    Notes
    -----
    The last digit is the least an uncertainty can be, not what a person's measurement is worth.

    References
    ----------
    JCGM 100:2008 (GUM) F.2.2.1, u = 0.29 times the step.
    """
    stated = quantity.standard_uncertainty
    least = 0.5 * quantity.resolution / Spread.RECTANGULAR.divisor
    return source(name, quantity.value, least if stated is None else stated, degrees_of_freedom)


def observed_together(name: str, readings: ArrayLike) -> tuple[UFloat, ...]:
    r"""Means of quantities that were read together several times, with the correlation the readings show.

    Parameters
    ----------
    name : str
        Of the common origin, such as ``repeats``.
    readings : array, shape (n, p) or (n,)
        Each row one occasion; at least two.

    Returns
    -------
    tuple of UFloat, length p
        In SI if the readings were; all with n − 1 degrees of freedom.

    Raises
    ------
    ValueOutOfRange
        If there are fewer than two rows, a reading is not finite, or all readings of a quantity are equal.

    Notes
    -----
    With deviations D from the means (n rows) and D/√(n(n−1)) = U S V\ :sup:`T`, the means are
    :math:`\bar x + V S e` with p independent unit sources e of one name: their covariance is that of GUM eq. (17).

    References
    ----------
    JCGM 100:2008 (GUM) 4.2.3, 5.2.3.

    Examples
    --------
    >>> period, = observed_together("repeats", [1.0, 2.0, 3.0])
    >>> round(period.std_dev, 6)
    0.57735
    """
    table = np.asarray(readings, dtype=np.float64)
    table = table[:, None] if table.ndim == 1 else table
    if table.ndim != 2 or table.shape[0] < 2:
        raise ValueOutOfRange(f"number of readings of {name}", table.shape[0], "at least 2")
    if not np.isfinite(table).all():
        raise ValueOutOfRange(f"readings of {name}", "not a number in places", "finite numbers")
    if (np.ptp(table, axis=0) == 0.0).any():
        remedy = "Where readings are all alike, the step of the last digit is the uncertainty: state that instead."
        raise ValueOutOfRange(f"spread of {name}", 0, "positive", remedy)
    n = table.shape[0]
    means = table.mean(axis=0)
    _, sizes, directions = np.linalg.svd((table - means) / math.sqrt(n * (n - 1)), full_matrices=False)
    units = [source(name, 0.0, 1.0, n - 1) for _ in sizes]
    loads = directions.T * sizes
    return tuple(
        float(centre) + sum(float(load) * unit for load, unit in zip(row, units, strict=True))
        for centre, row in zip(means, loads, strict=True)
    )


def freedom_of_judgement(doubt: float) -> float:
    """Degrees of freedom of an uncertainty that was judged, not counted.

    Parameters
    ----------
    doubt : float
        Relative uncertainty of the uncertainty: 0.25 for "known to a quarter".

    Returns
    -------
    float
        8 for a quarter, 50 for a tenth.

    Raises
    ------
    ValueOutOfRange
        If the doubt is not positive.

    References
    ----------
    JCGM 100:2008 (GUM) G.4.2, eq. (G.3).

    Examples
    --------
    >>> freedom_of_judgement(0.25)
    8.0
    """
    if not doubt > 0.0:
        raise ValueOutOfRange("relative doubt", doubt, "positive", "Use infinite degrees of freedom for no doubt.")
    return 0.5 / doubt**2


def effective_degrees_of_freedom(components: ArrayLike, degrees_of_freedom: ArrayLike) -> float:
    r"""Degrees of freedom of a combined uncertainty, by Welch and Satterthwaite.

    Parameters
    ----------
    components : array, shape (k,)
        Contributions \|c\| u of independent sources, not rounded.
    degrees_of_freedom : array, shape (k,)
        Of each, positive, may be infinite.

    Returns
    -------
    float
        Infinite where every component that counts has infinitely many.

    Raises
    ------
    ValueOutOfRange
        If degrees of freedom are not positive.

    Notes
    -----
    .. math:: \nu = \Bigl(\sum u_i^2\Bigr)^2 \Big/ \sum u_i^4 / \nu_i

    References
    ----------
    JCGM 100:2008 (GUM) G.4.1, eq. (G.2b).

    Examples
    --------
    >>> effective_degrees_of_freedom([1.0, 1.0], [5.0, 5.0])
    10.0
    """
    parts, freedom = np.asarray(components, dtype=np.float64), np.asarray(degrees_of_freedom, dtype=np.float64)
    if not (freedom > 0.0).all():
        raise ValueOutOfRange("degrees of freedom", float(freedom.min()), "positive")
    total = float(parts @ parts)
    if total == 0.0:
        return math.inf
    doubt = float(((parts**2 / total) ** 2 / freedom).sum())
    return 1.0 / doubt if doubt > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """What a result owes to one source.

    ``contribution`` is its part of the standard uncertainty (unit of the result), ``share`` its part of the
    variance. ``standard_uncertainty`` is that of the source (its own unit) and ``sensitivity`` the derivative of
    the result by it; both are None where several numbers stand under the one name.
    """

    source: str
    contribution: float
    share: float
    degrees_of_freedom: float
    standard_uncertainty: float | None
    sensitivity: float | None


@dataclass(frozen=True, slots=True)
class Budget:
    """A result with its uncertainty, source by source, the largest first."""

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    lines: tuple[BudgetLine, ...]


def _named(tag: object) -> Source:
    """Name the source of a number, also of one made without :func:`source`."""
    return tag if isinstance(tag, Source) else Source("unnamed" if tag is None else str(tag))


def budget(result: UFloat) -> Budget:
    """Read off a result what it owes to each source.

    Parameters
    ----------
    result : UFloat
        Made from sources.

    Returns
    -------
    Budget
        With effective degrees of freedom by :func:`effective_degrees_of_freedom`.

    References
    ----------
    JCGM 100:2008 (GUM) 5.1.2, 5.1.3 and G.4.1.

    Examples
    --------
    >>> mass, radius = source("scale", 2.0, 0.001), source("calliper", 0.15, 0.0005)
    >>> [(line.source, round(line.share, 3)) for line in budget(0.5 * mass * radius**2).lines]
    [('calliper', 0.994), ('scale', 0.006)]
    """
    grouped: dict[Source, list[tuple[float, float]]] = {}
    for variable, derivative in result.derivatives.items():
        pair = (float(derivative), float(variable.std_dev))
        grouped.setdefault(_named(variable.tag), []).append(pair)
    variance = {origin: math.fsum((c * u) ** 2 for c, u in pairs) for origin, pairs in grouped.items()}
    total = math.fsum(variance.values())
    lines = [
        _line(origin, pairs, variance[origin], variance[origin] / total if total else 0.0)
        for origin, pairs in grouped.items()
    ]
    lines.sort(key=lambda line: (-line.contribution, line.source))
    freedom = effective_degrees_of_freedom(
        [line.contribution for line in lines], [line.degrees_of_freedom for line in lines]
    )
    return Budget(float(result.nominal_value), math.sqrt(total), freedom, tuple(lines))


def _line(origin: Source, pairs: list[tuple[float, float]], variance: float, share: float) -> BudgetLine:
    """Write the line of one source."""
    sensitivity, uncertainty = pairs[0] if len(pairs) == 1 else (None, None)
    contribution = math.sqrt(variance)
    return BudgetLine(origin.name, contribution, share, origin.degrees_of_freedom, uncertainty, sensitivity)


def coverage_factor(coverage: float, degrees_of_freedom: float = math.inf, *, truncated: bool = False) -> float:
    """Factor that makes an expanded uncertainty of a standard one.

    Parameters
    ----------
    coverage : float
        Probability that the interval holds the value, between 0 and 1.
    degrees_of_freedom : float
        Positive; infinite for a normal distribution.
    truncated : bool
        Whether degrees of freedom are cut down to a whole number first, as the GUM's own examples do.

    Returns
    -------
    float
        t of (1 + coverage)/2.

    Raises
    ------
    ValueOutOfRange
        If coverage is not between 0 and 1, or degrees of freedom are not positive (when truncated: below 1).

    References
    ----------
    JCGM 100:2008 (GUM) G.3.2, G.4.1 note 1, table G.2.

    Examples
    --------
    >>> round(coverage_factor(0.99, 16.75, truncated=True), 2)
    2.92
    """
    _require_coverage(coverage)
    whole = truncated and math.isfinite(degrees_of_freedom)
    freedom = float(math.floor(degrees_of_freedom)) if whole else degrees_of_freedom
    if not freedom > 0.0:
        raise ValueOutOfRange("degrees of freedom", degrees_of_freedom, "at least 1" if truncated else "positive")
    upper = 0.5 + 0.5 * coverage
    return float(ndtri(upper) if math.isinf(freedom) else stdtrit(freedom, upper))


def _require_coverage(coverage: float) -> None:
    """Refuse a coverage that is not between 0 and 1."""
    if not 0.0 < coverage < 1.0:
        raise ValueOutOfRange("coverage", coverage, "between 0 and 1", "Write 0.95 for 95 %.")


def report(
    found: Budget, unit: Unit | str, coverage: float = 0.95, *, truncated: bool = True, decimal: str = "."
) -> str:
    r"""State a result with its expanded uncertainty and how that was made.

    Parameters
    ----------
    found : Budget
        The result.
    unit : Unit or str
        To write it in.
    coverage : float
        Between 0 and 1.
    truncated : bool
        As for :func:`coverage_factor`.
    decimal : str
        ``"."`` or ``","``.

    Returns
    -------
    str
        Two digits of uncertainty, the value to the same place, coverage, factor and degrees of freedom.

    References
    ----------
    JCGM 100:2008 (GUM) 7.2.4, 7.2.6.

    Examples
    --------
    >>> report(budget(source("scale", 0.1000215, 3.5e-7, 9)), "g", 0.95).replace("\xa0", " ")
    '100.02150 ± 0.00079 g (95 % coverage; standard uncertainty times 2.26, 9 degrees of freedom)'
    """
    factor = coverage_factor(coverage, found.degrees_of_freedom, truncated=truncated)
    stated = format_quantity(found.value, unit, factor * found.standard_uncertainty, decimal=decimal)
    share = format_percent(coverage, decimals=0 if round(coverage, 2) == coverage else 2, decimal=decimal)
    if math.isinf(found.degrees_of_freedom):
        freedom = "normal distribution"
    else:
        freedom = f"{math.floor(found.degrees_of_freedom)} degrees of freedom"
    times = f"{factor:.2f}".replace(".", decimal)
    return f"{stated} ({share} coverage; standard uncertainty times {times}, {freedom})"


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line through points: its height ``level`` at ``centre``, and its ``slope``.

    ``level`` and ``slope`` are independent, since ``centre`` is the mean of x.
    """

    level: UFloat
    slope: UFloat
    centre: float
    residual_deviation: float
    degrees_of_freedom: int

    def at(self, x: float) -> UFloat:
        """Height of the line at x, with the uncertainty of the line (not of one more reading)."""
        return self.level + self.slope * (x - self.centre)


def fit_line(name: str, x: ArrayLike, y: ArrayLike) -> Line:
    r"""Fit a straight line by least squares, each y equally uncertain and x exact.

    Parameters
    ----------
    name : str
        Of the common origin of uncertainty, the scatter about the line.
    x : array, shape (n,)
        At least three, not all equal.
    y : array, shape (n,)
        Read at x.

    Returns
    -------
    Line

    Raises
    ------
    FitImpossible
        If there are fewer than three points, or all at one x.
    ValueOutOfRange
        If x and y are not equally many finite numbers.

    Notes
    -----
    .. math:: \hat b = \frac{\sum (x-\bar x)(y-\bar y)}{\sum (x-\bar x)^2}, \quad
              s^2 = \frac{\sum r^2}{n-2}, \quad u^2(\bar y) = \frac{s^2}{n}, \quad
              u^2(\hat b) = \frac{s^2}{\sum (x-\bar x)^2}

    References
    ----------
    JCGM 100:2008 (GUM) H.3.

    Examples
    --------
    >>> line = fit_line("scatter", [0.0, 1.0, 2.0, 3.0], [1.0, 3.1, 4.9, 7.0])
    >>> round(line.slope.nominal_value, 3), round(line.at(0.0).nominal_value, 3)
    (1.98, 1.03)
    """
    across, up = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if across.ndim != 1 or across.shape != up.shape or not np.isfinite([across, up]).all():
        raise ValueOutOfRange("points of the line", "of unequal number or not finite", "pairs of finite numbers")
    n = across.size
    if n < 3 or np.ptp(across) == 0.0:
        raise FitImpossible(f"{n} points at {np.unique(across).size} places; a line needs 3 points at 2 places.")
    centre, level = float(across.mean()), float(up.mean())
    shifted = across - centre
    squares = float(shifted @ shifted)
    slope = float(shifted @ (up - level)) / squares
    residuals = up - level - slope * shifted
    deviation = math.sqrt(float(residuals @ residuals) / (n - 2))
    return Line(
        source(name, level, deviation / math.sqrt(n), n - 2),
        source(name, slope, deviation / math.sqrt(squares), n - 2),
        centre,
        deviation,
        n - 2,
    )


def second_order_variance(
    function: Callable[..., float], values: Sequence[float], standard_uncertainties: Sequence[float]
) -> float:
    r"""Variance that the first-order sum leaves out where a formula is bent, for independent normal inputs.

    Parameters
    ----------
    function : callable
        Of one float an input.
    values : sequence of float, length k
        Where it is taken.
    standard_uncertainties : sequence of float, length k
        Of the inputs.

    Returns
    -------
    float
        To be added to the first-order variance; unit of the result squared. May be negative.

    Notes
    -----
    .. math:: \sum_i \sum_j \left[\tfrac12 \left(\frac{\partial^2 f}{\partial x_i \partial x_j}\right)^2
              + \frac{\partial f}{\partial x_i} \frac{\partial^3 f}{\partial x_i \partial x_j^2}\right]
              u^2(x_i)\, u^2(x_j)

    Derivatives are differences over one or two standard uncertainties, exact but for rounding for a polynomial of
    third degree.

    References
    ----------
    JCGM 100:2008 (GUM) 5.1.2, note.

    Examples
    --------
    >>> round(second_order_variance(lambda x, y: x * y, (0.0, 0.0), (2.0, 3.0)), 9)
    36.0
    """
    centre, steps = np.asarray(values, dtype=np.float64), np.diag(np.asarray(standard_uncertainties, dtype=np.float64))

    def at(shift: NDArray[np.float64]) -> float:
        return float(function(*(centre + shift)))

    def bend(j: NDArray[np.float64], shift: NDArray[np.float64]) -> float:
        return at(shift + j) - 2.0 * at(shift) + at(shift - j)

    total = 0.0
    for i in steps:
        first = (8.0 * (at(i) - at(-i)) - (at(2.0 * i) - at(-2.0 * i))) / 12.0
        for j in steps:
            mixed = (at(i + j) - at(i - j) - at(j - i) + at(-i - j)) / 4.0
            third = (bend(j, i) - bend(j, -i)) / 2.0
            total += 0.5 * mixed**2 + first * third
    return total


Distribution = Callable[[np.random.Generator, int], NDArray[np.float64]]
"""What one input may be: given a generator and a number, so many values of it."""


def distribution(value: float, half_width: float, spread: Spread) -> Distribution:
    """Give the distribution that a half-width means.

    Parameters
    ----------
    value : float
        Its middle.
    half_width : float
        Not negative; for ``STANDARD`` the standard uncertainty, for ``EXPANDED`` twice that.
    spread : Spread
        Its shape; the first two are normal.

    Returns
    -------
    Distribution

    Raises
    ------
    ValueOutOfRange
        If the half-width is negative.

    References
    ----------
    JCGM 101:2008 (GUM Supplement 1) 6.4.2, 6.4.5, 6.4.6, 6.4.7.
    """
    if not half_width >= 0.0:
        raise ValueOutOfRange("half-width", half_width, "zero or positive")

    def values(rng: np.random.Generator, draws: int) -> NDArray[np.float64]:
        return value + half_width * _UNIT[spread](rng, draws)

    return values


_UNIT: dict[Spread, Distribution] = {
    Spread.STANDARD: lambda rng, draws: rng.standard_normal(draws),
    Spread.EXPANDED: lambda rng, draws: 0.5 * rng.standard_normal(draws),
    Spread.RECTANGULAR: lambda rng, draws: rng.uniform(-1.0, 1.0, draws),
    Spread.TRIANGULAR: lambda rng, draws: rng.triangular(-1.0, 0.0, 1.0, draws),
    Spread.ARCSINE: lambda rng, draws: np.cos(np.pi * rng.uniform(0.0, 1.0, draws)),
}


def student(value: float, standard_uncertainty: float, degrees_of_freedom: float) -> Distribution:
    """Give the distribution of a mean of few readings: wider than its standard uncertainty says.

    Parameters
    ----------
    value : float
        The mean.
    standard_uncertainty : float
        s/√n.
    degrees_of_freedom : float
        n − 1, positive.

    Returns
    -------
    Distribution

    References
    ----------
    JCGM 101:2008 (GUM Supplement 1) 6.4.9.
    """
    if not degrees_of_freedom > 0.0:
        raise ValueOutOfRange("degrees of freedom", degrees_of_freedom, "positive")

    def values(rng: np.random.Generator, draws: int) -> NDArray[np.float64]:
        return value + standard_uncertainty * rng.standard_t(degrees_of_freedom, draws)

    return values


@dataclass(frozen=True, slots=True)
class Sampled:
    """A result by Monte Carlo, with its samples; ``low`` and ``high`` bound the shortest interval."""

    value: float
    standard_uncertainty: float
    low: float
    high: float
    coverage: float
    samples: NDArray[np.float64]


def shortest_interval(samples: ArrayLike, coverage: float) -> tuple[float, float]:
    """Shortest interval that holds a share of the samples.

    Parameters
    ----------
    samples : array, shape (n,)
        At least ten beyond the ends: n (1 − coverage) ≥ 10.
    coverage : float
        Between 0 and 1.

    Returns
    -------
    tuple of float
        Its ends.

    Raises
    ------
    ValueOutOfRange
        If there are too few samples, or coverage is not between 0 and 1.

    References
    ----------
    JCGM 101:2008 (GUM Supplement 1) 5.3.4, 7.7.

    Examples
    --------
    >>> shortest_interval([float(k * k) for k in range(100)], 0.9)
    (0.0, 8100.0)
    """
    _require_coverage(coverage)
    ordered = np.sort(np.asarray(samples, dtype=np.float64).ravel())
    if ordered.size * (1.0 - coverage) < 10.0 - 1e-9:
        least = math.ceil(10.0 / (1.0 - coverage) - 1e-6)
        raise ValueOutOfRange("number of samples", ordered.size, f"at least {least} for this coverage")
    inside = round(coverage * ordered.size)
    first = int(np.argmin(ordered[inside:] - ordered[: ordered.size - inside]))
    return float(ordered[first]), float(ordered[first + inside])


def sampled(
    function: Callable[..., NDArray[np.float64]],
    inputs: Sequence[Distribution],
    rng: np.random.Generator,
    draws: int = 200_000,
    coverage: float = 0.95,
) -> Sampled:
    """Propagate distributions through a formula by Monte Carlo.

    Parameters
    ----------
    function : callable
        Of one array an input, all of shape (n,), to an array of that shape.
    inputs : sequence of Distribution
        One an argument, independent. An input used in two places is one argument.
    rng : numpy.random.Generator
        Source of chance.
    draws : int
        n; ten thousand times 1/(1 − coverage) is plenty.
    coverage : float
        Of the shortest interval, between 0 and 1.

    Returns
    -------
    Sampled

    Raises
    ------
    ValueOutOfRange
        If draws are too few for the coverage, or the formula fails at some of them.

    References
    ----------
    JCGM 101:2008 (GUM Supplement 1) 7.2 to 7.7.

    Examples
    --------
    >>> arm = distribution(0.15, 0.001, Spread.RECTANGULAR)
    >>> area = sampled(lambda r: np.pi * r**2, [arm], np.random.default_rng(1), 20_000)
    >>> round(area.value, 3)
    0.071
    """
    samples = np.asarray(function(*(values(rng, draws) for values in inputs)), dtype=np.float64)
    if samples.shape != (draws,):
        raise ValueOutOfRange("result of the formula", f"of shape {samples.shape}", f"of shape ({draws},)")
    lost = int(np.count_nonzero(~np.isfinite(samples)))
    if lost:
        remedy = "Narrow an input, or choose a distribution that stays where the formula holds."
        raise ValueOutOfRange("result of the formula", f"no number in {lost} of {draws} draws", "finite", remedy)
    low, high = shortest_interval(samples, coverage)
    return Sampled(float(samples.mean()), float(samples.std(ddof=1)), low, high, coverage, samples)
