"""A quick look at a few runs, before any claim or plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from truerun.errors import FitImpossible
from truerun.recordings.run_tables import read_run_table
from truerun.report.plain_text import look_text
from truerun.series import RunTable
from truerun.trial.look import Look, look_at
from truerun.trial.plan import End, Measurand
from truerun.trial.rules import Rules
from truerun.workflow.comparing import conditions_of, one_of
from truerun.workflow.results import Result

if TYPE_CHECKING:
    from truerun.trial.tapped_look import TappedLook

__all__ = ["LookResult", "look"]


@dataclass(frozen=True, slots=True, repr=False)
class LookResult(Result):
    """A finished look that can show itself; it has no verdict.

    ``look`` is that of the times over common speeds where the runs were tapped, else of the times as they stand.
    ``tapped`` is None where no taps could be used; ``set_aside`` says of which runs they could not, and why.
    """

    look: Look
    tapped: TappedLook | None = None
    set_aside: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"<look: {sum(self.look.counts.values())} runs, nothing decided>"

    def summary(self) -> str:
        """Give the look as plain text."""
        if self.tapped is None and not self.set_aside:
            return look_text(self.look)
        from truerun.report.tapped_words import tapped_text  # noqa: PLC0415  few looks were tapped

        return tapped_text(self.look, self.tapped, self.set_aside)

    def document(self) -> dict[str, Any]:
        """Give the look as plain data, schema ``truerun/look/1``."""
        whole = self.look.document()
        if self.tapped is not None:
            whole["tapped"] = self.tapped.document()
        return whole | ({"taps_set_aside": list(self.set_aside)} if self.set_aside else {})

    def _repr_html_(self) -> str:
        """Show the look in a notebook."""
        from truerun.report.fragments import look_fragment  # noqa: PLC0415  see truerun.workflow.comparing

        if self.tapped is None and not self.set_aside:
            return look_fragment(self.look)
        from truerun.report.tapped_words import tapped_sentences  # noqa: PLC0415  few looks were tapped

        return look_fragment(self.look, tapped_sentences(self.tapped, self.set_aside))

    @property
    def pilot(self) -> dict[str, Any]:
        """What a plan takes over from these runs: keys of a plan request."""
        return {"pilot_spread": self.look.spread, "pilot_runs": self.look.degrees_of_freedom + 2}


def look(
    table: Any,
    *,
    source: str | None = None,
    control: str | None = None,
    end: str | None = None,
    change_minutes: float | None = None,
    decimal: str | None = None,
) -> LookResult:
    """Look at a few runs: how far apart, how much they scatter, what a deciding test would need.

    Parameters
    ----------
    table : path, data frame, mapping of columns, or RunTable
        One line a run: ``run``, ``condition``, ``time``. A further column ``taps`` holds the times at which one mark
        passed, in seconds with spaces between them; the runs are then compared over speeds that all of them fell
        through, and ``time`` is that to standstill, where there is one.
    source, control : str, optional
        Names of the conditions. One names the other.
    end : {"speed", "turns", "standstill"}, optional
        What ended a run.
    change_minutes : float, optional
        Minutes between two runs.
    decimal : {".", ","}, optional
        Decimal sign of the table, where it cannot be told.

    Returns
    -------
    LookResult

    Examples
    --------
    >>> runs = {"run": [1, 2, 3, 4, 5, 6], "condition": ["with", "without"] * 3, "time": [52, 61, 49, 63, 50, 60]}
    >>> look(runs, control="without")
    <look: 6 runs, nothing decided>
    """
    read = table if isinstance(table, RunTable) else read_run_table(table, decimal=decimal, instead="taps")
    rules = Rules(
        conditions=conditions_of(read, source, control),
        measurand=Measurand(),
        end=End(one_of("end", end, tuple(each.value for each in End))) if end is not None else None,
    )
    if not any(run.extra.get("taps") is not None for run in read.runs):
        return LookResult(look_at(read, rules, change_minutes=change_minutes))
    from truerun.trial.tapped_look import look_at_taps  # noqa: PLC0415  few looks were tapped, and fits are heavy

    tapped, set_aside = look_at_taps(read, rules, change_minutes=change_minutes)
    if tapped is not None:
        return LookResult(tapped.look, tapped, set_aside)
    try:
        return LookResult(look_at(read, rules, change_minutes=change_minutes), None, set_aside)
    except FitImpossible as error:
        raise FitImpossible(" ".join((*set_aside, str(error)))) from error
