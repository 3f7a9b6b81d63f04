"""Last digits: the exact distribution by enumeration and by another route, and its error rate."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from truerun.errors import FitImpossible, ValueOutOfRange
from truerun.stats.digits import digit_preference, last_digits


class TestReadingDigits:
    def test_tenths_and_hundredths(self) -> None:
        assert last_digits(np.array([61.2, 58.9, 60.0, 0.3]), 0.1).tolist() == [2, 9, 0, 3]
        assert last_digits(np.array([61.25, -58.97]), 0.01).tolist() == [5, 7]

    def test_a_step_so_fine_that_no_whole_number_holds_the_steps(self) -> None:
        # 60 / 1e-20 = 6e21 steps, beyond 2^63; a float of that size is even, so its last digit is too
        assert int(last_digits(np.array([60.0]), 1e-20)[0]) % 2 == 0

    def test_values_off_the_step_are_refused(self) -> None:
        with pytest.raises(ValueOutOfRange, match=r"61\.25"):
            last_digits(np.array([61.2, 61.25]), 0.1)
        with pytest.raises(ValueOutOfRange, match="step of the last digit"):
            last_digits(np.array([61.2]), 0.0)


class TestEvenDigits:
    def test_against_every_sequence_of_four(self) -> None:
        sums = np.array(
            [sum(count**2 for count in np.bincount(digits, minlength=10)) for digits in product(range(10), repeat=4)]
        )
        for digits in ([0, 1, 2, 3], [0, 0, 1, 2], [3, 3, 7, 7], [5, 5, 5, 1], [9, 9, 9, 9]):
            found = digit_preference(np.array(digits))
            squares = (np.bincount(digits) ** 2).sum()
            assert found.p == pytest.approx((sums >= squares).mean(), rel=1e-12)

    def test_against_scipys_chi_square_and_multinomial_draws(self) -> None:
        digits = np.random.default_rng(1).integers(0, 10, size=47)
        reference = stats.chisquare(np.bincount(digits, minlength=10))
        found = digit_preference(digits)
        assert found.chi_square == pytest.approx(reference.statistic, rel=1e-12)
        drawn = stats.multinomial(47, [0.1] * 10, seed=4).rvs(20_000)
        share = ((drawn**2).sum(axis=1) >= (np.bincount(digits) ** 2).sum()).mean()
        assert found.p == pytest.approx(share, abs=0.013)  # 4 sd of the draws: by luck once in 16 000 seeds

    def test_many_digits_use_the_chi_square_distribution(self) -> None:
        digits = np.random.default_rng(2).integers(0, 10, size=300)
        reference = stats.chisquare(np.bincount(digits, minlength=10))
        assert digit_preference(digits).p == pytest.approx(reference.pvalue, rel=1e-10)

    def test_ends_of_nought_and_five_against_scipy(self) -> None:
        digits = np.array([0, 5, 5, 0, 2, 0, 7, 5, 0, 1, 5, 5])
        found = digit_preference(digits)
        assert found.round_ends == 9
        reference = stats.binomtest(9, 12, 0.2, alternative="greater")
        assert found.p_round == pytest.approx(reference.pvalue, rel=1e-10)

    def test_no_round_ends_at_all(self) -> None:
        assert digit_preference(np.array([1, 2, 3])).p_round == 1.0

    def test_no_digits(self) -> None:
        with pytest.raises(FitImpossible, match="no digits"):
            digit_preference(np.array([], dtype=np.int64))


def test_false_alarms_are_as_rare_as_stated() -> None:
    # 500 sets of 24 even digits: at most 5 % expected, above 8.8 % by luck once in 7000 seeds (binomial)
    rng = np.random.default_rng(3)
    alarms = sum(digit_preference(rng.integers(0, 10, size=24)).p <= 0.05 for _ in range(500))
    assert alarms / 500 <= 0.088
