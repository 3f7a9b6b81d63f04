"""What a fitted rundown says against itself, on wheels whose truth is known (integrated outside the fit)."""

import numpy as np

from truerun.findings.finding import Finding
from truerun.motion.doubts import rundown_findings
from truerun.motion.drift import with_drift
from truerun.motion.fit import fit_rundown
from truerun.virtual.rotor import jittered
from truerun.virtual.wheels import drifting_runs


def found(size: float, marks: int = 4) -> dict[str, Finding]:
    """Findings of one run whose drag changes from turn to turn by a share of itself."""
    rng = np.random.default_rng(4)
    times = jittered(drifting_runs(1, size, 0.05, rng)[0], 2e-5, rng)[:: 4 // marks]
    return {each.check: each for each in rundown_findings(with_drift(fit_rundown(times, marks, terms=5)))}


class TestDragThatWanders:
    def test_is_said_with_its_size(self) -> None:
        # the reading error falls short by 4 to 25 times on real benches; 2 % of wander is a bad one
        size = found(0.02)["drag-wanders"].size
        assert size is not None
        assert float(size.split()[0]) > 4

    def test_is_not_said_where_the_drag_is_steady(self) -> None:
        assert "drag-wanders" not in found(0.0)


def test_with_one_mark_a_hill_is_said_not_to_be_seen() -> None:
    assert "hill-unseen" in found(0.0, marks=1)
    assert "hill-unseen" not in found(0.0)
