"""Small pieces of text that the sentences of a verdict and of its checks are filled with."""

from __future__ import annotations

from collections.abc import Sequence

from truerun.units.formats import format_percent

__all__ = ["listed", "percent", "runs_named", "stake"]

_SPACE = "\N{NO-BREAK SPACE}"


def percent(share: float, *, signed: bool = False) -> str:
    r"""Write a share in percent, with two digits of it.

    Examples
    --------
    >>> percent(0.0546), percent(0.00312), percent(-0.3)
    ('5.5\xa0%', '0.31\xa0%', '−30\xa0%')
    """
    size = abs(share)
    decimals = 0 if size >= 0.0995 else 1 if size >= 0.00995 else 2
    return format_percent(share, signed=signed, decimals=decimals)


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
    """Write how many times its stake a bet stands at, with three digits.

    Examples
    --------
    >>> stake(12.67), stake(7021.4), stake(0.0995)
    ('12.7', '7020', '0.0995')
    """
    return f"{evidence:.3g}" if evidence < 100 else f"{float(f'{evidence:.3g}'):.0f}"
