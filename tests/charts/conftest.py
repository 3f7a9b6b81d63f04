"""An invented test of 8 + 8 runs: a rim arc in a village repair hall. No such test took place."""

from collections.abc import Callable

import pytest

from truerun.series import Run, RunTable
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.plan import Blinding, Conditions, End, Measurand, Window
from truerun.trial.rules import Rules

Compare = Callable[..., Comparison]

ORDER = "+--+ --++ -++- +--+".replace(" ", "")
TIMES = (150.9, 158.9, 158.4, 152.0, 160.6, 162.3, 151.6, 149.4, 158.6, 151.8, 151.0, 161.1, 149.8, 159.0, 158.7, 155.1)


def compare(
    times: tuple[float | None, ...] = TIMES,
    order: str = ORDER,
    *,
    left_out: dict[int, bool] | None = None,
    unfinished: tuple[int, ...] = (),
    **changes: object,
) -> Comparison:
    """Compare invented runs; ``left_out`` names slots, and whether their time had been seen."""
    gone = left_out or {}
    runs = tuple(
        Run(
            slot=slot,
            condition="arc in" if mark == "+" else "arc out",
            value=time,
            unfinished=slot in unfinished,
            left_out="bumped" if slot in gone else None,
            seen=gone.get(slot),
        )
        for slot, (time, mark) in enumerate(zip(times, order, strict=True), start=1)
    )
    measurand = changes.pop("measurand", Measurand())
    assert isinstance(measurand, Measurand)
    table = RunTable(runs, measure=measurand.name, unit=measurand.unit, digest="0" * 64)
    rules = {
        "conditions": Conditions(source="arc in", control="arc out"),
        "measurand": measurand,
        "end": End.SPEED,
        "window": Window.model_validate({"from": 12.57, "to": 4.19}),
        "orders": "blocks-of-four",
        "blinding": Blinding(timing="sensor"),
        "margin": 0.02,
        "claimed": 1.0,
    } | changes
    return compare_runs(table, Rules(**rules))  # type: ignore[arg-type]


@pytest.fixture(name="compare")
def compare_fixture() -> Compare:
    """Give the function that compares invented runs."""
    return compare


@pytest.fixture(scope="session")
def arc() -> Comparison:
    """Give the invented test as it stands."""
    return compare()


@pytest.fixture(scope="session")
def nothing() -> Comparison:
    """Give the same runs, the second half of each pair of times exchanged, so that little is left."""
    times = list(TIMES)
    times[0], times[1], times[4], times[6] = times[1], times[0], times[6], times[4]
    times[9], times[11], times[14], times[15] = times[11], times[9], times[15], times[14]
    return compare(tuple(times))


@pytest.fixture(scope="session")
def power() -> Comparison:
    """Give an invented test on a linear scale: power lost, less of which speaks for the source."""
    lost = (11.2, 10.6, 10.5, 11.1, 10.7, 10.6, 11.0, 11.3, 10.5, 11.1, 11.2, 10.4, 11.0, 10.6, 10.7, 11.4)
    return compare(
        lost, measurand=Measurand(name="power", scale="linear", sign=-1, unit="mW"), margin=0.2, claimed=None
    )
