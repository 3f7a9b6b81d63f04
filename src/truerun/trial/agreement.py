"""What is claimed, and what both sides answered before the plan was sealed."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["Agreement", "Answer", "Claim", "Excuse"]


class Record(BaseModel):
    """A frozen document that refuses unknown keys and numbers that are not finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


class Claim(Record):
    """The claim in the claimant's own words, and what would count against it."""

    words: str = Field(min_length=1)
    against: str | None = None
    by: str | None = None


class Excuse(Record):
    """One excuse that somebody expects to hear, and what it becomes: a check, a control, or no excuse."""

    words: str = Field(min_length=1)
    becomes: Literal["check", "control", "no-excuse"]
    how: str | None = None


class Answer(Record):
    """What one side said before the seal; all None where the side was absent."""

    present: bool = False
    fair: str | None = None
    would_change_my_mind: str | None = None
    excuse_to_come: str | None = None


class Agreement(Record):
    """Both sides' answers and the excuses that were sorted."""

    claimant: Answer = Answer()
    sceptic: Answer = Answer()
    excuses: tuple[Excuse, ...] = ()

    @property
    def absent(self) -> tuple[str, ...]:
        """Who did not answer before the plan was sealed."""
        sides = {"the claimant": self.claimant, "the sceptic": self.sceptic}
        return tuple(name for name, answer in sides.items() if not answer.present)
