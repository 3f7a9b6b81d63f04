"""Sentences as they are set on a page: straight quotation marks become those of print."""

from __future__ import annotations

import re

__all__ = ["set_quotes"]

_QUOTED = re.compile(r'"([^"]*)"')


def set_quotes(text: str) -> str:
    """Put the quotation marks of print round words that stand between straight ones.

    Parameters
    ----------
    text : str
        A sentence of this program, with names of a person's own between straight marks, as a terminal shows them.

    Returns
    -------
    str
        The same where the marks do not come in pairs: one of them is then an inch or a slip.

    Examples
    --------
    >>> set_quotes('"arc in" takes energy.')
    '“arc in” takes energy.'
    >>> set_quotes('A 3" magnet.')
    'A 3" magnet.'
    """
    return text if text.count('"') % 2 else _QUOTED.sub("“\\1”", text)
