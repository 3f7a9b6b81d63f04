"""What a screening and a dose series share: settings in rounds, an order drawn and sealed, one time a slot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ValidationError

from truerun.errors import PlanBroken, RecordingUnreadable
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.series import Run, RunTable
from truerun.stats.rounds import draw_rounds
from truerun.stats.unfinished import cut_to_common_limit
from truerun.trial.key_troubles import first_trouble
from truerun.trial.mishaps import reason_words
from truerun.trial.phrases import runs_named
from truerun.trial.plan import Measurand

__all__ = ["SettingRuns", "checked_document", "drawn_settings", "observe_settings"]

Array = NDArray[np.float64]
Sealed = TypeVar("Sealed", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class SettingRuns:
    """One entry a slot, shape (n,).

    ``used`` is the number of the setting from 0, as drawn; ``y`` the observation on the scale on which an effect adds,
    NaN where the slot was not run yet; ``done`` counts those that were. ``capped`` tells whether some runs were still
    going, so that all count up to one limit only. ``worst`` marks slots in which a run was stopped after its time had
    been seen (a further attempt does not mend that); in ``y`` they stand in the middle of the others.
    """

    used: NDArray[np.int64]
    y: Array
    done: int
    capped: bool
    findings: tuple[Finding, ...]
    worst: NDArray[np.bool_]

    def against(self, favoured: NDArray[np.bool_]) -> Array:
        """Give the observations with every ``worst`` run as low as any where it is favoured, else as high as any."""
        if not self.worst.any():
            return self.y
        known = self.y[~self.worst]
        return np.where(self.worst, np.where(favoured, known.min(), known.max()), self.y)

    @property
    def complete(self) -> bool:
        """Whether every slot was run."""
        return self.done == len(self.used)


def drawn_settings(seed: str, settings: tuple[str, ...], rounds: int) -> tuple[str, ...]:
    """Draw the order of the settings, every one once in each round."""
    return tuple(settings[number] for number in draw_rounds(seed, len(settings), rounds))


def checked_document(kind: type[Sealed], document: Mapping[str, Any], path: str, maker: str) -> Sealed:
    """Check a sealed document that was read from a file.

    Parameters
    ----------
    kind : type
        Of the record.
    document : mapping
        Plain data, without the key ``seal``.
    path, maker : str
        For messages: the file, and the command that writes such files.

    Returns
    -------
    record of that type

    Raises
    ------
    RecordingUnreadable
        Naming the first key that is missing, unknown or out of range.
    """
    try:
        return kind.model_validate(document)
    except ValidationError as error:
        key, said = first_trouble(error)
        place = key or "the plan"
        raise RecordingUnreadable(path, f'key "{place}"', f"{said}. Use the file that {maker} wrote.") from error


def observe_settings(
    table: RunTable, order: tuple[str, ...], settings: tuple[str, ...], measurand: Measurand
) -> SettingRuns:
    """Read a table against the order that was drawn.

    Parameters
    ----------
    table : RunTable
        As read.
    order : tuple of str
        The setting drawn for each slot.
    settings : tuple of str
        The different settings.
    measurand : Measurand
        Scale and sign.

    Returns
    -------
    SettingRuns

    Raises
    ------
    PlanBroken
        If there are more runs than slots, or a run was left out before its time was seen and not repeated.
    RecordingUnreadable
        If a setting is not known, or a value has no logarithm.
    """
    last = {slot: Run(slot, name, None) for slot, name in enumerate(order, 1)}
    for run in table.runs:
        _require_planned(run, order, settings, table)
        last[run.slot] = run
    runs = [last[slot] for slot in sorted(last)]
    values = np.array([np.nan if run.value is None else run.value for run in runs], dtype=np.float64)
    unfinished = np.array([run.unfinished for run in runs])
    spoilt = {run.slot for run in table.runs if _seen_and_left_out(run)}
    worst = np.array([run.slot in spoilt for run in runs])
    values[worst] = np.nan
    there = np.isfinite(values)
    limit = None
    if (unfinished & there).any():
        cut = cut_to_common_limit(values[there], unfinished[there])
        values[there], limit = cut.times, cut.limit
    y = _adding(values, measurand, runs, table)
    y[worst] = np.median(y[there]) if there.any() else np.nan
    return SettingRuns(
        np.array([settings.index(name) for name in order], dtype=np.int64),
        y,
        int((there | worst).sum()) if there.any() else 0,
        limit is not None,
        (*_slips(runs, order), *_repeats(table, order), *_unfinished(unfinished & there, limit, measurand)),
        worst,
    )


def _seen_and_left_out(run: Run) -> bool:
    """Tell whether a run was left out although its time had been seen."""
    return run.left_out is not None and (run.seen is True or (run.seen is None and run.value is not None))


def _require_planned(run: Run, order: tuple[str, ...], settings: tuple[str, ...], table: RunTable) -> None:
    """Refuse a run beyond the plan, of an unknown setting, or left out for good."""
    place = f"line {run.line}" if run.line else f"run {run.slot}"
    name = table.path or "the table"
    if run.slot > len(order):
        raise PlanBroken(
            f"{len(order)} runs were planned",
            f"{name} has a run {run.slot}",
            "Take out the runs that were not planned.",
        )
    if run.condition not in settings:
        known = ", ".join(f'"{each}"' for each in settings[:8]) + (", ..." if len(settings) > 8 else "")
        what = f'the condition is "{run.condition}"; it must be one of {known}. Correct the name.'
        raise RecordingUnreadable(name, place, what)
    again = any(other.slot == run.slot and other.attempt > run.attempt for other in table.runs)
    if run.left_out is not None and not again and not _seen_and_left_out(run):
        raise PlanBroken(
            "Every setting needs all its runs",
            f"run {run.slot} was left out",
            "Do it again, and add a line with the same run and attempt 2.",
        )


def _adding(values: Array, measurand: Measurand, runs: list[Run], table: RunTable) -> Array:
    """Put values on the scale on which an effect adds."""
    if measurand.scale == "linear":
        return measurand.sign * values
    for run, value in zip(runs, values, strict=True):
        if value <= 0:
            what = f"the {measurand.name} is {value:g}; it must be above 0. Correct it, or compare on a linear scale."
            raise RecordingUnreadable(
                table.path or "the table", f"line {run.line}" if run.line else f"run {run.slot}", what
            )
    return np.asarray(measurand.sign * np.log(values))


def _slips(runs: list[Run], order: tuple[str, ...]) -> list[Finding]:
    """Note runs that were set up otherwise than drawn; they count as drawn."""
    slips = [run.slot for run, name in zip(runs, order, strict=True) if run.condition != name]
    if not slips:
        return []
    if len(slips) > len(order) / 4:
        return [finding("order-not-kept", count=len(slips), all=len(order))]
    return [finding("wrong-set-up", runs=runs_named(slips), count=len(slips), all=len(order))]


def _repeats(table: RunTable, order: tuple[str, ...]) -> list[Finding]:
    """Note runs that were repeated, and doubt those that were stopped after their time had been seen."""
    seen = [run for run in table.runs if _seen_and_left_out(run)]
    rest = [run for run in table.runs if run.left_out is not None and run not in seen]
    found = []
    if rest:
        slots = sorted({run.slot for run in rest})
        reasons = "; ".join(dict.fromkeys(reason_words(run.left_out or "") for run in rest))
        words = {"runs": runs_named(slots), "reasons": reasons, "count": len(slots), "all": len(order)}
        found.append(finding("repeated", words))
    if seen:
        slots = sorted({run.slot for run in seen})
        found.append(finding("aborted-seen", runs=runs_named(slots), count=len(slots), all=len(order)))
    return found


def _unfinished(going: NDArray[np.bool_], limit: float | None, measurand: Measurand) -> list[Finding]:
    """Say that every time is counted up to a common limit only."""
    if limit is None:
        return []
    return [
        finding(
            "unfinished", count=int(going.sum()), all=len(going), limit=f"{limit:g} {measurand.unit or ''}".rstrip()
        )
    ]
