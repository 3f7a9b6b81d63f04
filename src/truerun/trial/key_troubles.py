"""What a record found wrong in a document, in plain words: the key, and what it must be."""

from __future__ import annotations

from pydantic import ValidationError

__all__ = ["first_trouble"]

_GROUP, _LIST, _TEXT = "a group of keys", "a list", "a text"
_WHOLE, _NUMBER = "a whole number", "a number"
_PLAIN = {
    "dict_type": _GROUP,
    "model_attributes_type": _GROUP,
    "model_type": _GROUP,
    "list_type": _LIST,
    "tuple_type": _LIST,
    "string_type": _TEXT,
    "string_too_short": "a text that is not empty",
    "int_from_float": _WHOLE,
    "int_parsing": _WHOLE,
    "int_parsing_size": _WHOLE,
    "int_type": _WHOLE,
    "float_parsing": _NUMBER,
    "float_type": _NUMBER,
    "missing": "given",
}


def first_trouble(error: ValidationError) -> tuple[str, str]:
    """Give the first key that is out of order, and a clause that says what it must be.

    Parameters
    ----------
    error : ValidationError
        As pydantic raised it.

    Returns
    -------
    tuple of str
        The key with those above it, empty for the whole document, and the clause.

    Examples
    --------
    >>> from truerun.trial.plan import Stopping, Window
    >>> for record, document in ((Stopping, {"look_after": "x"}), (Window, {"from": 1, "to": 2}), (Window, 3)):
    ...     try:
    ...         record.model_validate(document)
    ...     except ValidationError as error:
    ...         first_trouble(error)
    ('look_after', 'it must be a whole number')
    ('', 'a window goes down: its end must be slower than its start')
    ('', 'it must be a group of keys')
    """
    first = error.errors(include_url=False, include_input=False)[0]
    # the name of a check in square brackets stands where one of several records was tried
    key = ".".join(str(part) for part in first["loc"] if "[" not in str(part))
    if first["type"] == "extra_forbidden":
        return key, "it is not known"
    if first["type"] in _PLAIN:
        return key, f"it must be {_PLAIN[first['type']]}"
    said = first["msg"].removeprefix("Value error, ").rstrip(".")
    return key, said.replace("Input should be", "it must be").replace("Input should", "it must")
