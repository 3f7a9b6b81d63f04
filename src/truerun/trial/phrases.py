"""Small pieces of text that the sentences of a verdict and of its checks are filled with."""

from __future__ import annotations

import math
from collections.abc import Sequence

from truerun.units.formats import format_percent

__all__ = [
    "NEXT_TO_NOTHING",
    "adjusted_words",
    "chance",
    "count_words",
    "listed",
    "measured",
    "percent",
    "runs_named",
    "stake",
]

NEXT_TO_NOTHING = 5e-5
"""Half a hundredth of a percent: less would be written as 0.00 %."""

_MOST_COUNTED = 1_000_000
_ADJUSTED = {"run-number": "run number", "session": "sitting"}
_NOTHING = 1e-9  # of the whole: less is rounding
_MOST_PLAIN = 6  # powers of ten that are written out
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")

_SPACE = "\N{NO-BREAK SPACE}"


def percent(share: float, *, signed: bool = False) -> str:
    r"""Write a share in percent, with two digits of it or hundredths; what would be 0 then with its first digit.

    Examples
    --------
    >>> percent(0.0546), percent(0.00312), percent(-0.3), percent(0.00001234)
    ('5.5\xa0%', '0.31\xa0%', '−30\xa0%', '0.001\xa0%')
    """
    size = abs(share)
    decimals = 0 if size >= 0.0995 else 1 if size >= 0.00995 else 2
    if _NOTHING <= size < NEXT_TO_NOTHING:
        decimals = -math.floor(math.log10(100 * size))
    return format_percent(share, signed=signed, decimals=decimals)


def measured(size: float, unit: str | None, *, signed: bool = False) -> str:
    r"""Write a size on a linear scale with three digits and its unit.

    Examples
    --------
    >>> measured(0.5, "s"), measured(-1234.0, "W", signed=True), measured(1.2e-5, "N m"), measured(-0.0, None)
    ('0.5\xa0s', '−1230\xa0W', '1.2×10⁻⁵\xa0N m', '0')
    """
    number, _, power = f"{size + 0.0:{'+' if signed and size else ''}.3g}".partition("e")
    if power:
        plain = 0 <= int(power) < _MOST_PLAIN
        raised = str(int(power)).translate(_RAISED)
        number = f"{float(f'{number}e{power}'):{'+' if signed else ''}.0f}" if plain else f"{number}×10{raised}"
    return number.replace("-", "\N{MINUS SIGN}") + (f"{_SPACE}{unit}" if unit else "")


def chance(p: float, ways: int) -> str:
    r"""Say how often luck alone does something: counted where a reader could count along, else about how often.

    Examples
    --------
    >>> chance(2 / 1296, 1296), chance(0.1121, 10**12), chance(9.2e-10, 10**12)
    ('2 of 1296', 'about 11 of 100', 'about 1 of 1\xa0100\xa0000\xa0000')
    """
    if ways <= _MOST_COUNTED or p <= 0:
        return f"{count_words(p * ways)} of {count_words(ways)}"
    return f"about {100 * p:.0f} of 100" if p >= 0.01 else f"about 1 of {count_words(float(f'{1 / p:.2g}'))}"


def count_words(count: float) -> str:
    r"""Write a whole number, in groups of three from 10 000 on.

    Examples
    --------
    >>> count_words(1296), count_words(12870)
    ('1296', '12\xa0870')
    """
    number = round(count)
    return f"{number:,}".replace(",", _SPACE) if number >= 10_000 else str(number)


def adjusted_words(names: Sequence[str]) -> list[str]:
    """Name in short what a result was adjusted for.

    Examples
    --------
    >>> adjusted_words(["run-number", "temperature"])
    ['run number', 'temperature']
    """
    return [_ADJUSTED.get(name, name) for name in names]


def listed(words: Sequence[str]) -> str:
    """Join words as in a sentence.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def runs_named(slots: Sequence[int], singular: str = "was", plural: str = "were") -> str:
    """Name runs as the subject of a sentence.

    Examples
    --------
    >>> runs_named([5]), runs_named([5, 9])
    ('Run 5 was', 'Runs 5 and 9 were')
    """
    names = listed([str(slot) for slot in slots])
    return f"Runs {names} {plural}" if len(slots) > 1 else f"Run {names} {singular}"


def stake(evidence: float) -> str:
    r"""Write how many times its stake a bet stands at, with three digits.

    Examples
    --------
    >>> stake(12.67), stake(7021.4), stake(0.0995), stake(26_600_000)
    ('12.7', '7020', '0.0995', '26\xa0600\xa0000')
    """
    return f"{evidence:.3g}" if evidence < 100 else count_words(float(f"{evidence:.3g}"))
