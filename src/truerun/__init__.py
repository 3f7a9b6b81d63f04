"""truerun: plan, run and judge tests of claims that a wheel runs by itself.

>>> import truerun
>>> runs = {"run": [1, 2, 3, 4, 5, 6], "condition": ["with", "without"] * 3, "time": [52, 61, 49, 63, 50, 60]}
>>> truerun.look(runs, control="without")
<look: 6 runs, nothing decided>

Nothing heavy is imported before it is used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from truerun.errors import (
        ChoiceNeeded,
        FitImpossible,
        LedgerBroken,
        PlanBroken,
        RecordingUnreadable,
        TruerunError,
        UnsafeLaunch,
        ValueOutOfRange,
    )
    from truerun.workflow.both_ways import both_ways
    from truerun.workflow.comparing import compare
    from truerun.workflow.dosing import dose, plan_dose
    from truerun.workflow.looking import look
    from truerun.workflow.planning import plan
    from truerun.workflow.pooling import pool
    from truerun.workflow.reducing import rundown
    from truerun.workflow.rehearsing import rehearse
    from truerun.workflow.screening import plan_screening, screen
    from truerun.workflow.swinging import swings

    __version__: str

__all__ = [
    "ChoiceNeeded",
    "FitImpossible",
    "LedgerBroken",
    "PlanBroken",
    "RecordingUnreadable",
    "TruerunError",
    "UnsafeLaunch",
    "ValueOutOfRange",
    "__version__",
    "both_ways",
    "compare",
    "dose",
    "look",
    "plan",
    "plan_dose",
    "plan_screening",
    "pool",
    "rehearse",
    "rundown",
    "screen",
    "swings",
]

_PLACES = {
    "both_ways": "truerun.workflow.both_ways",
    "compare": "truerun.workflow.comparing",
    "dose": "truerun.workflow.dosing",
    "look": "truerun.workflow.looking",
    "plan": "truerun.workflow.planning",
    "plan_dose": "truerun.workflow.dosing",
    "plan_screening": "truerun.workflow.screening",
    "pool": "truerun.workflow.pooling",
    "rehearse": "truerun.workflow.rehearsing",
    "rundown": "truerun.workflow.reducing",
    "screen": "truerun.workflow.screening",
    "swings": "truerun.workflow.swinging",
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for."""
    if name == "__version__":
        return import_module("importlib.metadata").version("truerun")  # slow to import, so not at the top
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(_PLACES.get(name, "truerun.errors")), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """Give the public names, also those that were not asked for yet."""
    return sorted({*globals(), *__all__})
