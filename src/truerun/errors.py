"""Everything truerun raises on purpose: one family each, with fields and a sentence.

A sentence says what was found (with its unit), what is allowed, and what to do. Only the doors (``cli`` and
``web``) turn an error into an exit code or a status.
"""

from __future__ import annotations

from typing import Any

__all__ = [
    "ChoiceNeeded",
    "FitImpossible",
    "HeadMoved",
    "LedgerBroken",
    "NotebookUnusable",
    "PlanBroken",
    "RecordingUnreadable",
    "TruerunError",
    "UnsafeLaunch",
    "ValueOutOfRange",
]


class TruerunError(Exception):
    """Base of every error that is meant for a person; ``slug`` names its paragraph in ``docs/errors.md``."""

    slug = "truerun-error"

    def __reduce__(self) -> tuple[Any, ...]:
        """Say how it is made again in another process: from its sentence and its fields, not from its arguments."""
        return _made_again, (type(self), self.args, self.__dict__)


def _made_again(family: type[TruerunError], sentence: tuple[str, ...], fields: dict[str, object]) -> TruerunError:
    """Make an error again that came from another process."""
    error = family.__new__(family, *sentence)
    error.__dict__.update(fields)
    return error


class ValueOutOfRange(TruerunError, ValueError):
    """A value that was given lies outside what is allowed.

    Examples
    --------
    >>> str(ValueOutOfRange("gap", "−2 mm", "positive", "Give the distance between the faces."))
    'gap is −2 mm; it must be positive. Give the distance between the faces.'
    """

    slug = "value-out-of-range"

    def __init__(self, name: str, found: object, allowed: str, remedy: str = "") -> None:
        self.name = name
        self.found = found
        self.allowed = allowed
        self.remedy = remedy
        super().__init__(f"{name} is {found}; it must be {allowed}. {remedy}".strip())


class RecordingUnreadable(TruerunError):
    """A file (recording, table, plan) cannot be read as it stands.

    Examples
    --------
    >>> str(RecordingUnreadable("times.csv", "line 7", 'the time is "10x4"; it must be a number.'))
    'times.csv, line 7: the time is "10x4"; it must be a number.'
    """

    slug = "recording-unreadable"

    def __init__(self, path: object, where: str, what: str) -> None:
        self.path = str(path)
        self.where = where
        self.what = what
        place = f"{path}, {where}" if where else f"{path}"
        super().__init__(f"{place}: {what}")


class ChoiceNeeded(TruerunError):
    """Something could be meant in more than one way, and truerun does not guess.

    Examples
    --------
    >>> str(ChoiceNeeded("The control", ("arc in", "arc out"), "Name it with --control."))
    'The control could be "arc in" or "arc out". Name it with --control.'
    """

    slug = "choice-needed"

    def __init__(self, name: str, choices: tuple[str, ...], remedy: str) -> None:
        self.name = name
        self.choices = choices
        self.remedy = remedy
        listed = " or ".join(f'"{choice}"' for choice in choices)
        super().__init__(f"{name} could be {listed}. {remedy}")


class FitImpossible(TruerunError):
    """There is too little in the data for what was asked; the sentence says what would be enough."""

    slug = "fit-impossible"

    def __init__(self, lacking: str) -> None:
        self.lacking = lacking
        super().__init__(lacking)


class HeadMoved(TruerunError):
    """An edit was made from a state of the ledger that is no longer the last one; the draft is in ``draft``."""

    slug = "head-moved"

    def __init__(self, test: str, quoted: str, found: str, draft: object) -> None:
        self.test = test
        self.quoted = quoted
        self.found = found
        self.draft = draft
        super().__init__(
            f"Something was written since you began: your change was made from the state {quoted[:8]}, the last line "
            f"is now {found[:8]}. Nothing was lost. Look at what is new, then say it again."
        )


class NotebookUnusable(TruerunError):
    """A notebook cannot be opened or written as it stands.

    Examples
    --------
    >>> str(NotebookUnusable("bench.notebook", "the disk is full", "Make room."))
    'bench.notebook: the disk is full. Make room.'
    """

    slug = "notebook-unusable"

    def __init__(self, name: str, found: str, remedy: str) -> None:
        self.name = name
        self.found = found
        self.remedy = remedy
        super().__init__(f"{name}: {found}. {remedy}")


class PlanBroken(TruerunError):
    """What was done, or is asked for, contradicts the plan, or the plan cannot decide.

    Examples
    --------
    >>> str(PlanBroken("The plan has 16 runs", "the table has 17", "Take out the run that was not planned."))
    'The plan has 16 runs; the table has 17. Take out the run that was not planned.'
    """

    slug = "plan-broken"

    def __init__(self, rule: str, found: str, remedy: str) -> None:
        self.rule = rule
        self.found = found
        self.remedy = remedy
        super().__init__(f"{rule}; {found}. {remedy}")


class UnsafeLaunch(TruerunError):
    """A launch, a fastening or a store of energy is beyond its limit; numbers refuse here."""

    slug = "unsafe-launch"

    def __init__(self, limit: str, found: str, remedy: str) -> None:
        self.limit = limit
        self.found = found
        self.remedy = remedy
        super().__init__(f"{found}; {limit}. {remedy}")


class LedgerBroken(TruerunError):
    """A stored entry is not what it was when it was written."""

    slug = "ledger-broken"

    def __init__(self, entry: int, expected: str, found: str) -> None:
        self.entry = entry
        self.expected = expected
        self.found = found
        super().__init__(
            f"Ledger entry {entry} was changed after it was written: its digest is {found}; "
            f"it must be {expected}. Open a copy, or ask for the original."
        )
