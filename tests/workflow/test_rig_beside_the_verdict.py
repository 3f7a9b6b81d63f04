"""What was written down about the rig of a test stands beside its verdict: it is not asked for again."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.web.made_tests import opened, run, sealed
from truerun.notebook.ledger import open_notebook
from truerun.trial.holding import holding
from truerun.workflow.bench import describe_rig
from truerun.workflow.comparing import ComparisonResult
from truerun.workflow.deciding import decide
from truerun.workflow.rig import rig_body

BARE, LEVEL = "rig-not-recorded", "level-noted"


def decided(folder: Path, **typed: str) -> ComparisonResult:
    """Decide an invented test whose rig was described like this."""
    with open_notebook(folder / "bench.notebook") as notebook:
        test = opened(notebook)
        if typed:
            describe_rig(notebook, test, rig_body(typed))
        sealed(notebook, test)
        run(notebook, test, 16)
        return decide(notebook, test)


def said(result: ComparisonResult) -> set[str]:
    """Names of all that is said about a result, also of what holds."""
    found = result.comparison
    held = {each.check for each in holding(found.at, found.findings)}
    return held | {each.check for each in found.findings}


class TestTheRigIsNotAskedForTwice:
    def test_without_an_entry_it_is_missed(self, tmp_path: Path) -> None:
        assert said(decided(tmp_path)) & {BARE, LEVEL} == {BARE}

    @pytest.mark.parametrize("typed", [{"level": "0.4 mm/m"}, {"note": "Levelled with a water level on both axes."}])
    def test_a_level_that_was_written_down_holds(self, tmp_path: Path, typed: dict[str, str]) -> None:
        assert said(decided(tmp_path, **typed)) & {BARE, LEVEL} == {LEVEL}

    def test_an_entry_without_a_level_is_no_blank_and_holds_no_level(self, tmp_path: Path) -> None:
        assert said(decided(tmp_path, weight="400 g", height="800 mm")) & {BARE, LEVEL} == set()
