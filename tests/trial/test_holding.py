"""A check holds where it looked and found nothing; to be silent is not to hold."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from truerun.findings.catalogue import CHECKS
from truerun.findings.finding import Finding, Severity
from truerun.findings.holds import HOLDS, NOT_DONE
from truerun.trial.holding import Kind, holding, kind_of
from truerun.trial.plan import Window
from truerun.workflow.comparing import ComparisonResult, compare
from truerun.workflow.planning import plan

ORDER = "+--+-++-+-+-"
CALM = [60.0, 60.11, 59.92, 60.05, 60.01, 59.95, 60.02, 60.1, 59.98, 60.03, 60.04, 59.97]


def fair(times: list[float] | None = None, **columns: list[Any]) -> ComparisonResult:
    """Compare runs on somebody's word."""
    runs = {
        "run": list(range(1, 13)),
        "condition": ["arc in" if sign == "+" else "arc out" for sign in ORDER],
        "time [s]": times or CALM,
    }
    return compare(runs | columns, control="arc out", orders="blocks-of-four", end="speed")


def of(result: ComparisonResult, kind: Kind) -> set[str]:
    """Names of the checks of a kind."""
    found = result.comparison
    return {each.check for each in holding(found.at, found.findings) if each.kind is kind}


class TestTheWords:
    def test_what_contradicts_a_check_is_in_the_catalogue(self) -> None:
        assert set().union(*(held.against for held in HOLDS.values())) <= set(CHECKS)

    def test_no_sentence_overclaims(self) -> None:
        for held in HOLDS.values():
            assert not {"proven", "certainly", "perfectly"} & set(held.sentence.split())

    @pytest.mark.parametrize("words", NOT_DONE.values())
    def test_a_blank_says_what_to_do(self, words: tuple[str, str]) -> None:
        assert all(part.endswith(".") for part in words)


class TestWhatHolds:
    def test_nothing_both_holds_and_is_contradicted(self) -> None:
        for times in (CALM, [time + slot for slot, time in enumerate(CALM)], [*CALM[:5], 90.0, *CALM[6:]]):
            result = fair(times)
            found = {each.check for each in result.comparison.findings}
            assert not [name for name in of(result, Kind.HOLDS) if HOLDS[name].against & found]

    def test_what_was_found_no_longer_holds(self) -> None:
        assert "none-far-off" in of(fair(), Kind.HOLDS)
        assert "none-far-off" not in of(fair([*CALM[:5], 90.0, *CALM[6:]]), Kind.HOLDS)

    def test_without_a_plan_nothing_about_a_plan_holds(self) -> None:
        assert not {"order", "stopped-as-planned", "both-answered", "one-test"} & of(fair(), Kind.HOLDS)

    def test_with_a_plan_it_does(self) -> None:
        names: dict[str, Any] = {"claim": "It gains.", "source": "arc in", "control": "arc out"}
        sealed = plan(**names, end="speed", runs=12, spread=0.01, seed="a seed for tests, long enough")
        runs = {"run": list(range(1, 13)), "condition": list(sealed.plan.order), "time [s]": CALM}
        result = compare(runs, sealed.document())
        assert {"order", "order-can-decide", "stopped-as-planned", "one-test"} <= of(result, Kind.HOLDS)
        held = {each.check: each for each in holding(result.comparison.at, result.comparison.findings)}
        assert held["order"].size == "one of 216 orders"  # 6 arrangements of two and two, in three blocks: 6^3
        assert held["stopped-as-planned"].size == "6 and 6"


class TestWhatCouldNotBeLookedAt:
    def test_launches_without_a_column_are_not_done(self) -> None:
        assert "launch-alike" in of(fair(), Kind.NOT_DONE)

    def test_launches_alike_hold(self) -> None:
        result = fair(**{"launch [r/min]": [150.0 + slot % 2 for slot in range(12)]})
        assert "launch-alike" in of(result, Kind.HOLDS)

    def test_launches_apart_neither_hold_nor_are_blank(self) -> None:
        result = fair(**{"launch [r/min]": [160.0 if sign == "+" else 150.0 for sign in ORDER]})
        assert "launch-differs" in {each.check for each in result.comparison.findings}
        assert not [
            each for each in holding(result.comparison.at, result.comparison.findings) if "launch" in each.check
        ]

    def test_how_far_above_capture_is_never_known_from_times(self) -> None:
        at = fair().comparison.at
        assert [each.kind for each in holding(at, ()) if each.check == "above-capture"] == [Kind.NOT_DONE]


class TestAboveCapture:
    """Method: the slower speed must be three times that below which the bump catches the wheel."""

    @pytest.mark.parametrize(("capture", "kind"), [(4.0 / 3.01, Kind.HOLDS), (4.0 / 2.99, Kind.NOT_DONE)])
    def test_recordings_show_how_far(self, capture: float, kind: Kind) -> None:
        at = fair().comparison.at
        window = Window.model_validate({"from": 12.0, "to": 4.0, "defined_by": "energy"})
        at = replace(at, table=replace(at.table, capture=capture), rules=replace(at.rules, window=window))
        assert [each.kind for each in holding(at, ()) if each.check == "above-capture"] == [kind]


class TestKinds:
    @pytest.mark.parametrize(
        ("check", "severity", "kind"),
        [
            ("standstill", Severity.STOP, Kind.STOPS),
            ("not-sealed", Severity.DOUBT, Kind.MIND),
            ("drift", Severity.NOTE, Kind.NOTED),
            ("planted-found", Severity.NOTE, Kind.HOLDS),
            ("rig-not-recorded", Severity.NOTE, Kind.NOT_DONE),
        ],
    )
    def test_of_findings(self, check: str, severity: Severity, kind: Kind) -> None:
        assert kind_of(Finding(check, severity, "A sentence.")) is kind
