"""Numbers as people write them: decimal point or comma, groups of three, fractions, powers of ten.

A number is kept exactly, with the step of its last digit, so that nothing is lost before it becomes a float.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from truerun.errors import ChoiceNeeded, ValueOutOfRange

__all__ = [
    "DECIMAL_SIGNS",
    "LONGEST",
    "NUMBER",
    "POWER",
    "Written",
    "decimal_sign",
    "exact_number",
    "nearest_float",
    "parse_number",
    "parse_written",
    "plain_text",
    "power_of_ten",
    "require_decimal_sign",
    "whole_number",
]

DECIMAL_SIGNS = (".", ",")

LONGEST = 120  # characters; nobody writes more by hand, and longer ones only cost time

_MOST_DIGITS = 15  # of a count: a float and every reader of JSON hold it exactly

_VULGAR = {
    "¼": "1/4",
    "½": "1/2",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅓": "1/3",
    "⅔": "2/3",
}
_TYPED = str.maketrans(
    dict.fromkeys("\u2212\u2010\u2011\u2012\u2013\ufe63", "-")
    | dict.fromkeys("\u00a0\u2007\u2009\u200a\u202f", " ")
    | {"\u2044": "/"}
    | {sign: f" {written}" for sign, written in _VULGAR.items()}
)
_RAISED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")

_BODY = r"[0-9]+(?:[ .,][0-9]+)*[.,]?|[.,][0-9]+"
POWER = r"[ ]?[×x·*][ ]?10(?:\^(?P<up>[-+]?[0-9]{1,3})|(?P<raised>[⁻⁺]?[⁰¹²³⁴⁵⁶⁷⁸⁹]{1,3}))"
NUMBER = re.compile(
    r"(?P<sign>[-+]?)[ ]?"
    r"(?:(?:(?P<whole>[0-9]+)[ -])?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)"
    rf"|(?P<body>{_BODY})(?:[eE](?P<exponent>[-+]?[0-9]{{1,3}})(?![0-9])|{POWER})?)"
)
_MARKED = re.compile(r"[0-9]+(?:[ .,][0-9]+)*|[.,][0-9]+")
_EITHER = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_GROUPS = re.compile(r"[0-9]{1,3}(?:([.,])[0-9]{3})(?:\1[0-9]{3})+")
_AFTER = re.compile(r"[0-9]*|(?:[0-9]{3} )+[0-9]{1,3}")


@dataclass(frozen=True, slots=True)
class Written:
    """A number as it was written: its exact value, and the step of its last digit (1/8 for 3/8)."""

    value: Fraction
    step: Fraction


def plain_text(text: str) -> str:
    """Give every minus sign, space and fraction sign its plain form.

    Examples
    --------
    >>> plain_text("−11⅜ in")
    '-11 3/8 in'
    """
    return " ".join(text.translate(_TYPED).split())


def _shown_sign(body: str) -> str | None:
    """Tell the decimal sign that one number proves, or None if it could be either."""
    marks = [character for character in body if character in DECIMAL_SIGNS]
    if not marks or _EITHER.fullmatch(body):
        return None
    if len(marks) == 1:
        return marks[0]
    if len(set(marks)) == len(DECIMAL_SIGNS):
        return marks[-1]
    return DECIMAL_SIGNS[marks[0] == "."] if _GROUPS.fullmatch(body) else None


def decimal_sign(texts: Iterable[str], name: str = "The number") -> str:
    """Tell whether numbers were written with a decimal point or a decimal comma.

    Parameters
    ----------
    texts : iterable of str
        All texts by the same hand, such as a column of a table.
    name : str
        What they are, for the question.

    Returns
    -------
    str
        ``"."`` or ``","``.

    Raises
    ------
    ChoiceNeeded
        If a comma could mark thousands as well as decimals (``1,234``) and no other number settles it.
    ValueOutOfRange
        If some numbers prove a point and others a comma.

    Notes
    -----
    A single point is a decimal point unless another number proves the comma: instruments, phones and programs
    all write it so. Spaces between groups of three settle nothing.

    Examples
    --------
    >>> decimal_sign(["1,234", "61,5"])
    ','
    """
    bodies = [body for text in texts for body in _MARKED.findall(plain_text(text))]
    shown = {sign: body for body in bodies if (sign := _shown_sign(body))}
    if len(shown) > 1:
        found = f'written both as "{shown["."]}" and as "{shown[","]}"'
        raise ValueOutOfRange(name, found, "written with one decimal sign", "Write all numbers alike.")
    if shown:
        return next(iter(shown))
    for body in bodies:
        if "," in body:
            choices = (body.replace(",", "."), body.replace(",", ""))
            raise ChoiceNeeded(f'{name} "{body}"', choices, "Say whether the comma is the decimal sign.")
    return "."


def require_decimal_sign(decimal: str) -> None:
    """Refuse a decimal sign that is neither point nor comma."""
    if decimal not in DECIMAL_SIGNS:
        raise ValueOutOfRange("decimal sign", f'"{decimal}"', 'a point or a comma ("." or ",")')


def power_of_ten(found: re.Match[str]) -> Fraction:
    """Size of the power of ten that a match of :data:`NUMBER` or :data:`POWER` holds (1 if none)."""
    groups = found.groupdict()
    written = groups.get("exponent") or groups.get("up") or (groups.get("raised") or "0").translate(_RAISED)
    return Fraction(10) ** int(written)


def exact_number(found: re.Match[str], decimal: str) -> Written | None:
    """Give the number that a match of :data:`NUMBER` stands for, None if its groups do not fit the decimal sign."""
    sign = -1 if found["sign"] == "-" else 1
    if found["body"] is None:
        if int(found["bottom"]) == 0:
            return None
        part = Fraction(int(found["top"]), int(found["bottom"]))
        return Written(sign * (int(found["whole"] or 0) + part), Fraction(1, int(found["bottom"])))
    front, _, rest = found["body"].partition(decimal)
    group = DECIMAL_SIGNS[decimal == "."]
    grouped = re.fullmatch(rf"[0-9]*|[0-9]{{1,3}}(?:([ {group}])[0-9]{{3}})(?:\1[0-9]{{3}})*", front)
    if not grouped or not _AFTER.fullmatch(rest):
        return None
    front, rest = front.replace(group, "").replace(" ", ""), rest.replace(" ", "")
    step = power_of_ten(found) / 10 ** len(rest)
    return Written(sign * int(front + rest) * step, step)


def parse_written(text: str, decimal: str | None = None, name: str = "number") -> Written:
    """Read a number exactly, with the step of its last digit.

    Parameters
    ----------
    text : str
        Such as ``12.3``, ``−0,5``, ``1 234.5``, ``11 3/8``, ``1.2e-4`` or ``1.2×10⁻⁴``.
    decimal : str, optional
        ``"."`` or ``","``; None: as :func:`decimal_sign` tells from the text.
    name : str
        What it is, for messages.

    Returns
    -------
    Written

    Raises
    ------
    ValueOutOfRange
        If the text is not one number.
    ChoiceNeeded
        If a comma could mark thousands or decimals.

    Examples
    --------
    >>> parse_written("11 3/8")
    Written(value=Fraction(91, 8), step=Fraction(1, 8))
    """
    if len(text) > LONGEST:
        raise ValueOutOfRange(name, f"{len(text)} characters long", f"at most {LONGEST} characters long")
    plain = plain_text(text)
    sign = decimal_sign([plain]) if decimal is None else decimal
    require_decimal_sign(sign)
    found = NUMBER.fullmatch(plain)
    written = exact_number(found, sign) if found else None
    if written is None:
        allowed = f"a number with a decimal {'point' if sign == '.' else 'comma'}"
        raise ValueOutOfRange(name, f'"{text}"', allowed, f"Write it like 12{sign}3 or 11 3/8.")
    return written


def nearest_float(value: Fraction, name: str) -> float:
    """Give the float nearest to an exact value.

    Raises
    ------
    ValueOutOfRange
        If it is beyond the largest float.
    """
    try:
        return float(value)
    except OverflowError:
        raise ValueOutOfRange(name, "beyond 1.8e308", "a size that a computer can hold") from None


def parse_number(text: str, decimal: str | None = None, name: str = "number") -> float:
    """Read a number without a unit; arguments and refusals as for :func:`parse_written`.

    Examples
    --------
    >>> parse_number("−12,5")
    -12.5
    >>> parse_number("1,234")
    Traceback (most recent call last):
    ...
    truerun.errors.ChoiceNeeded: The number "1,234" could be "1.234" or "1234".
    Say whether the comma is the decimal sign.
    """
    return nearest_float(parse_written(text, decimal, name).value, name)


def whole_number(text: str) -> int | None:
    """Read a count, such as a number of runs.

    Parameters
    ----------
    text : str
        Decimal digits of any script, blanks around them let go.

    Returns
    -------
    int or None
        None where it is not one, or has more than 15 digits.

    Examples
    --------
    >>> whole_number(" 16 "), whole_number("16.5"), whole_number("9" * 5000)
    (16, None, None)
    """
    plain = text.strip()
    return int(plain) if plain.isdecimal() and len(plain) <= _MOST_DIGITS else None
