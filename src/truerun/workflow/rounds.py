"""Files of a screening and of a dose series: the sealed plan, the sheet to fill in, and reading both again."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from truerun.recordings.run_checks import Compared
from truerun.recordings.run_tables import read_run_table
from truerun.series import RunTable
from truerun.trial.dose import DosePlan
from truerun.trial.plan import Measurand
from truerun.trial.rounds import checked_document
from truerun.trial.screening import ScreeningPlan
from truerun.trial.seal import Seal, require_seal
from truerun.workflow.plan_files import load_document, plan_file_text

__all__ = ["SHEET", "SealedRounds", "is_folder", "read_sealed_rounds", "read_settings_table", "sheet_text"]

SHEET = "run-sheet.csv"
"""Name of the sheet to fill in."""

Sealed = TypeVar("Sealed", ScreeningPlan, DosePlan)


@dataclass(frozen=True, slots=True)
class SealedRounds(Generic[Sealed]):
    """A plan in rounds and the seal that it still fits."""

    plan: Sealed
    seal: Seal

    def document(self) -> dict[str, Any]:
        """Give the plan as plain data with its seal."""
        return self.plan.document() | {"seal": self.seal.document()}

    def json(self) -> str:
        """Give the plan as JSON text, as it is written to a file."""
        return plan_file_text(self.plan)


def sheet_text(heading: str, seal: Seal, order: Sequence[str], measurand: Measurand, rounds: int) -> str:
    """Give the run sheet to fill in, as a table with comment lines.

    Parameters
    ----------
    heading : str
        What it is for.
    seal : Seal
        Its code stands on the sheet.
    order : sequence of str
        The setting of each slot.
    measurand : Measurand
        Heads the column to fill in.
    rounds : int
        Noted as a column, so that a break can come between them.

    Returns
    -------
    str
    """
    text = io.StringIO()
    text.write(f"# {' '.join(heading.split())}\n# Seal {seal.code}\n")
    text.write(
        "# Fill in one time a line; take breaks between rounds. A run stopped before its time was seen: write why\n"
    )
    text.write("# under left_out, add a line with the same run and attempt 2, and do it again at once.\n")
    table = csv.writer(text, lineterminator="\n")
    unit = f" [{measurand.unit}]" if measurand.unit else ""
    table.writerow(["run", "condition", f"{measurand.name}{unit}", "attempt", "left_out", "round"])
    size = len(order) // rounds
    for slot, name in enumerate(order):
        table.writerow([slot + 1, name, "", 1, "", slot // size + 1])
    return text.getvalue()


def read_settings_table(table: Any, measure: str, decimal: str | None) -> RunTable:
    """Read a table with several conditions, unless it was read already."""
    if isinstance(table, RunTable):
        return table
    return read_run_table(table, measure=measure, decimal=decimal, conditions=Compared.SEVERAL)


def read_sealed_rounds(source: Any, kind: type[Sealed], maker: str, code: str | None = None) -> SealedRounds[Sealed]:
    """Read a sealed plan in rounds and check that it was not changed.

    Parameters
    ----------
    source : path, mapping or SealedRounds
        As it was written.
    kind : type
        Of the record.
    maker : str
        The command that writes such files, for messages.
    code : str, optional
        The spoken code that a stranger kept.

    Returns
    -------
    SealedRounds

    Raises
    ------
    RecordingUnreadable
        If the file is missing, not JSON, or not such a plan.
    PlanBroken
        If it has no seal, was changed since, or does not fit the code.
    """
    if isinstance(source, SealedRounds):
        return source
    if isinstance(source, Mapping):
        document, name = dict(source), "the plan"
    else:
        document, name = load_document(Path(source)), str(source)
    stored = document.pop("seal", None)
    read: Sealed = checked_document(kind, document, name, maker)
    return SealedRounds(read, require_seal(read, stored, name, code))


def is_folder(source: Any) -> bool:
    """Tell whether something names a folder that is there."""
    return isinstance(source, str | os.PathLike) and Path(source).is_dir()
