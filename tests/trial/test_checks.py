"""Every check is reached by a constructed table, says its words in full, and weighs what it should."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import truerun
from tests.trial.constructed import NAMES, ORDER, calm, checks, runs_of, sealed, signs, stated, table, times
from truerun.findings.catalogue import CHECKS
from truerun.findings.finding import Finding, Severity
from truerun.findings.verdict_words import HEADLINES, SENTENCES
from truerun.motion.capture_bound import capture_bound
from truerun.series import Run, RunTable
from truerun.trial.comparison import Comparison, compare_runs
from truerun.trial.holding import holding
from truerun.trial.look import look_at
from truerun.trial.plan import Blinding, End, Measurand, Role
from truerun.trial.rules import Rules, rules_of_plan
from truerun.trial.verdict import Verdict

SENSOR = Blinding(timing="sensor")
STANDSTILL: dict[str, Any] = {"end": End.STANDSTILL, "stop": "lies-still"}


def plain(factor: float = 1.05, rules: Rules | None = None, **columns: list[Any]) -> tuple[Finding, ...]:
    """Findings of a table of calm runs."""
    return compare_runs(table(ORDER, times(ORDER, factor), **columns), rules or stated()).findings


def planned(made_of: dict[str, Any], runs: int | None = None, *, broken: bool = False, factor: float = 1.0) -> Any:
    """Findings of a sealed plan of which the first runs are done."""
    made = sealed(**made_of)
    order = signs(made, spare=True)[: runs or made.plan.runs]
    return compare_runs(table(order, times(order, factor)), rules_of_plan(made.plan, seal_broken=broken)).findings


def launched(column: str, share: float) -> list[dict[str, float]]:
    """A further column that differs between the conditions by a share."""
    return [{column: 100.0 * (1 + share * (sign == "+")) + 0.01 * slot} for slot, sign in enumerate(ORDER)]


def opposed() -> tuple[Finding, ...]:
    """Lists of twelve runs that drift: in a drawn order the drift does no harm, Welch's t drowns in it."""
    values = [time * (1 + 0.02 * slot) for slot, time in enumerate(times(ORDER, 1.02)) if time is not None]
    return compare_runs(table(ORDER, list(values)), stated(blinding=SENSOR)).findings


def wrongly_set_up(slips: int) -> tuple[Finding, ...]:
    """A sealed test in which the first runs had the other condition."""
    made = sealed()
    order = signs(made)
    done = "".join({"+": "-", "-": "+"}[sign] for sign in order[:slips]) + order[slips:]
    return compare_runs(table(done, times(done)), rules_of_plan(made.plan)).findings


def looked_at(factor: float) -> tuple[Finding, ...]:
    """The planned look after twelve of twenty-four runs."""
    return tuple(planned({"runs": 24, "look_after": 12}, 12, factor=factor))


def kept_by(*readings: float) -> tuple[Finding, ...]:
    """Two timekeepers."""
    runs = tuple(
        replace(run, readings={"Ada": 60.0 + 0.02 * (run.slot % 3), "Bo": 60.1 - readings[0] * (run.slot % 2)})
        for run in runs_of(ORDER, times(ORDER))
    )
    return compare_runs(RunTable(runs), stated()).findings


def guessed(right: bool) -> tuple[Finding, ...]:  # noqa: FBT001 - read at the table below
    """Guesses of somebody who was not to know: all right, or the same all along."""
    names = [NAMES.source if sign == "+" or not right else NAMES.control for sign in ORDER]
    return plain(1.0, extra=[{"guess": name} for name in names])


def attempts() -> tuple[Finding, ...]:
    """A run that was repeated."""
    rows = runs_of(ORDER, times(ORDER))
    first = replace(rows[2], value=None, left_out="string caught")
    return compare_runs(RunTable((*rows[:2], first, replace(rows[2], attempt=2), *rows[3:])), stated()).findings


def hand_made() -> tuple[Finding, ...]:
    """A difference of a twentieth of a second in a minute, however clear."""
    values = [60 + 0.05 * (sign == "+") + 0.0001 * (slot % 5) for slot, sign in enumerate(ORDER)]
    return compare_runs(RunTable(tuple(runs_of(ORDER, list(values)))), stated()).findings


def far_off() -> list[float | None]:
    """Calm times and one that is not."""
    return [*times(ORDER)[:6], 75.0, *times(ORDER)[7:]]


LARGE = "+--+" * 7

REACHED: dict[str, Callable[[], tuple[Finding, ...]]] = {
    "aborted-seen": lambda: plain(left_out=["bumped", *[None] * 11]),
    "absent": lambda: planned({}),
    "adjusted-unsealed": lambda: plain(
        rules=stated(adjust=("draught",)), extra=[{"draught": float(slot * 5 % 7)} for slot in range(12)]
    ),
    "beyond-plan": lambda: planned({"spare_blocks": 1}, 16),
    "capture-bounded": lambda: plain(rules=stated(**STANDSTILL, hill_bound=0.01)),
    "capture-explains": lambda: plain(rules=stated(**STANDSTILL)),
    "cause-not-isolated": plain,
    "coarse-reading": lambda: (
        compare_runs(
            RunTable(tuple(runs_of(ORDER, [60.0 if slot else 61.0 for slot in range(12)])), resolution=1.0), stated()
        ).findings
    ),
    "control-without": lambda: (
        compare_runs(
            table(ORDER, times(ORDER, 1.05)), stated(controls_done=(Role.DUMMY,), controls_without=(Role.DUMMY,))
        ).findings
    ),
    "decided-at-look": lambda: looked_at(1.05),
    "drift": opposed,
    "end-not-stated": lambda: plain(rules=stated(end=None)),
    "few-left-to-compare": lambda: plain(rules=stated(adjust=("gap",)), extra=launched("gap", 0.004)),
    "guessed-too-well": lambda: guessed(right=True),
    "guesses": lambda: guessed(right=False),
    "hand-allowance": hand_made,
    "keepers": lambda: kept_by(0.02),
    "last-digits": lambda: (
        compare_runs(
            RunTable(tuple(runs_of(ORDER, [60.0 + 0.5 * (slot % 3) for slot in range(12)])), resolution=0.1), stated()
        ).findings
    ),
    "launch-by-hand": lambda: plain(rules=stated(**STANDSTILL, blinding=Blinding(launch="hand"))),
    "launch-differs": lambda: plain(extra=launched("launch speed", 0.05)),
    "left-out-blind": lambda: (
        compare_runs(
            table(ORDER, [*times(ORDER)[:11], None], left_out=[*[None] * 11, "door opened"]), stated()
        ).findings
    ),
    "look-goes-on": lambda: looked_at(1.0),
    "look-standstill": lambda: look_at(table(ORDER, times(ORDER, 1.01)), stated(end=None)).findings,
    "no-blocks": lambda: planned({"orders": "complete"}, 9, broken=True),
    "not-sealed": plain,
    "operator-knew": plain,
    "order-cannot-decide": lambda: compare_runs(table(ORDER[:8], times(ORDER[:8])), stated()).findings,
    "order-not-drawn": lambda: plain(rules=stated(orders=None)),
    "order-not-in-set": lambda: plain(rules=stated(orders="abba-blocks")),
    "order-not-kept": lambda: wrongly_set_up(4),
    "planted-found": lambda: plain(rules=stated(role=Role.PLANTED, claimed=0.047, blinding=SENSOR)),
    "planted-missed": lambda: plain(rules=stated(role=Role.PLANTED, claimed=0.2, blinding=SENSOR)),
    "planted-not-seen": lambda: (
        compare_runs(
            table(ORDER, times(ORDER, 1.0, spread=0.05, seed=2)), stated(role=Role.PLANTED, claimed=0.01)
        ).findings
    ),
    "repeated": attempts,
    "rig-not-recorded": plain,
    "run-far-off": lambda: compare_runs(table(ORDER, far_off()), stated()).findings,
    "same-differs": lambda: plain(rules=stated(role=Role.SAME_AGAINST_SAME)),
    "sampled-orders": lambda: compare_runs(table(LARGE, times(LARGE)), stated()).findings,
    "screening": lambda: plain(rules=stated(role=Role.SCREENING)),
    "sealed-until-complete": lambda: planned({}, 5),
    "second-opinion": opposed,
    "spread-differs": lambda: (
        compare_runs(
            table(ORDER, [t if s == "+" else 60 + 9 * (t - 60) for t, s in zip(calm(12), ORDER, strict=True)]), stated()
        ).findings
    ),
    "standstill": lambda: plain(rules=stated(**STANDSTILL)),
    "standstill-too-large": lambda: plain(rules=stated(**STANDSTILL, hill_bound=0.2)),
    "stopped-early": lambda: planned({"runs": 16}, 12, broken=True),
    "unfinished": lambda: (
        compare_runs(
            table(
                ORDER,
                [700.0 if s == "+" else 500.0 + i for i, s in enumerate(ORDER)],
                unfinished=[s == "+" for s in ORDER],
            ),
            stated(),
        ).findings
    ),
    "which-stop": lambda: plain(rules=stated(end=End.STANDSTILL)),
    "wrong-set-up": lambda: wrongly_set_up(1),
}
"""For each check of a comparison or a look, a constructed case."""

SOURCE = Path(truerun.__file__).parent
OF_A_TEST = ("trial/checks.py", "trial/comparison.py", "trial/sentences.py", "trial/look.py")


def named_in(path: Path) -> set[str]:
    """Identifiers that a module speaks."""
    return set(re.findall(r'finding\(\s*"([a-z-]+)"', path.read_text(encoding="utf-8")))


class TestTheCatalogueIsWhatIsSaid:
    def test_every_entry_is_spoken_somewhere_and_nothing_else(self) -> None:
        modules = [path for path in SOURCE.rglob("*.py") if path.name != "catalogue.py"]
        assert set().union(*(named_in(path) for path in modules)) <= set(CHECKS)
        # some are chosen between two names first, so each need only stand somewhere in quotes
        written = "".join(path.read_text(encoding="utf-8") for path in modules)
        assert {check for check in CHECKS if f'"{check}"' not in written} == set()

    def test_every_entry_of_a_comparison_or_a_look_is_reached_here(self) -> None:
        # those of table readers, pooling, screening and dose series are reached in their own tests
        assert set().union(*(named_in(SOURCE / name) for name in OF_A_TEST)) == set(REACHED)


class TestEveryCheckIsReached:
    @pytest.mark.parametrize("check", REACHED)
    def test_by_a_constructed_case_with_its_words_filled_in(self, check: str) -> None:
        said = [found for found in REACHED[check]() if found.check == check]
        assert said
        for found in said:
            assert found.severity is CHECKS[check].severity
            for text in (found.sentence, found.size, found.remedy):
                assert text is None or text.strip()
                assert text is None or not re.search(r"[{}]|nan|None|\binf\b", text), text


BANNED = re.compile(r"!|\berrors?\b|\binvalid\b|\bproven\b|\bproof\b|\bdebunked\b", re.IGNORECASE)


class TestPlainWords:
    """Method, section 12, and the rules of the house: short, calm, nothing claimed too much."""

    @pytest.mark.parametrize("check", CHECKS)
    def test_sentences_and_remedies_of_the_catalogue(self, check: str) -> None:
        words = CHECKS[check]
        for text in (words.sentence, words.remedy):
            assert text is None or text.endswith((".", "{meaning}", "{drive}"))
            assert text is None or not BANNED.search(text)
        assert words.size is None or not words.size.endswith(".")

    @pytest.mark.parametrize("key", [*HEADLINES, *SENTENCES])
    def test_sentences_of_the_verdict(self, key: str) -> None:
        assert not BANNED.search((HEADLINES | SENTENCES)[key])

    @pytest.mark.parametrize("headline", HEADLINES.values())
    def test_headlines_end_with_a_full_stop(self, headline: str) -> None:
        assert headline.endswith(".")

    def test_a_stop_says_what_to_do(self) -> None:
        assert all(words.remedy for words in CHECKS.values() if words.severity is Severity.STOP)


class TestWhatABumpWouldHaveToBe:
    """Where only times to standstill exist: the bump that alone would make the difference."""

    def said(self, factor: float, **more: object) -> list[Finding]:
        rules = stated(**{**STANDSTILL, **more})
        return [found for found in plain(factor, rules=rules) if found.check == "capture-explains"]

    def test_its_height_makes_that_difference(self) -> None:
        (found,) = self.said(1.05)
        assert found.size is not None
        share = float(found.size.split("\N{NO-BREAK SPACE}")[0]) / 100
        # capture speed over launch speed is the root of half the height over the launch energy
        bound = capture_bound(1.0, (share / 2) ** 0.5)
        assert bound.rest == pytest.approx(0.05, rel=0.1)  # two digits of the height, and runs that scatter

    def test_a_measured_bound_or_a_fair_end_needs_none(self) -> None:
        assert not self.said(1.05, hill_bound=0.01)
        assert not self.said(1.05, end=End.SPEED)

    def test_no_difference_needs_none(self) -> None:
        assert not self.said(1.0)


class TestStandstill:
    """Method, section 2: standstill with a bound below the effect is a verdict with an objection; without, none."""

    @pytest.mark.parametrize(
        ("factor", "bound", "verdict"),
        [
            (1.05, 0.04, Verdict.ADDS),  # 1.05 longer: 4.8 % of the longer time
            (1.05, 0.05, Verdict.NOT_FAIR),
            (0.95, 0.04, Verdict.TAKES),
            (0.95, 0.06, Verdict.NOT_FAIR),
            (1.05, None, Verdict.NOT_FAIR),
        ],
    )
    def test_bound(self, factor: float, bound: float | None, verdict: Verdict) -> None:
        rules = stated(**STANDSTILL, hill_bound=bound, blinding=SENSOR)
        assert compare_runs(table(ORDER, times(ORDER, factor)), rules).verdict is verdict

    def test_a_shortening_by_a_fifth_can_be_all_of_a_brake_of_a_quarter(self) -> None:
        # method, section 2: a shortening by s mimics D = -s/(1 - s); a fifth gives -0.25
        rules = stated(**STANDSTILL, hill_bound=0.2, blinding=SENSOR)
        assert compare_runs(table(ORDER, times(ORDER, 0.79)), rules).verdict is Verdict.TAKES
        assert compare_runs(table(ORDER, times(ORDER, 0.81)), rules).verdict is Verdict.NOT_FAIR

    def test_seconds_compared_on_a_linear_scale_are_taken_as_a_share_too(self) -> None:
        rules = stated(**STANDSTILL, hill_bound=0.2, blinding=SENSOR, measurand=Measurand(scale="linear"))
        result = compare_runs(table(ORDER, times(ORDER, 1.05)), rules)
        assert "standstill-too-large" in checks(result)

    def test_turns_and_speeds_ask_nothing(self) -> None:
        for end in (End.TURNS, End.SPEED):
            found = checks(compare_runs(table(ORDER, times(ORDER)), stated(end=end)))
            assert not {"standstill", "which-stop", "end-not-stated", "capture-bounded"} & found


class TestWhatAHandCouldMake:
    """Method, section 4, "Blinding": the inner limit moves by .10 s / shortest mean; the printed interval stays."""

    def of(self, seconds: float, **more: Any) -> Comparison:
        """Source runs longer by so many seconds of a minute."""
        values = [60 + seconds * (sign == "+") + 0.001 * (slot * 5 % 7) for slot, sign in enumerate(ORDER)]
        return compare_runs(RunTable(tuple(runs_of(ORDER, list(values)))), stated(**more))

    def test_allowance_by_hand(self) -> None:
        assert self.of(0.2).document()["hand_allowance"] == pytest.approx(0.1 / 60.003, rel=1e-4)
        assert self.of(-0.2).document()["hand_allowance"] == pytest.approx(0.1 / 59.803, rel=1e-4)
        assert self.of(0.2, blinding=SENSOR).document()["hand_allowance"] is None
        assert self.of(0.2, blinding=Blinding(grade=2)).document()["hand_allowance"] is None

    @pytest.mark.parametrize("seconds", [0.09, -0.09, 0.12, -0.12])
    def test_only_the_verdict_moves(self, seconds: float) -> None:
        by_hand, by_sensor = self.of(seconds), self.of(seconds, blinding=SENSOR)
        assert by_sensor.verdict is (Verdict.ADDS if seconds > 0 else Verdict.TAKES)
        assert (by_hand.verdict is by_sensor.verdict) == (abs(seconds) > 0.1)
        assert ("hand-allowance" in checks(by_hand)) == (abs(seconds) < 0.1)
        one, other = (each.document()["drive_fraction"] for each in (by_hand, by_sensor))
        assert one == other

    def test_on_a_linear_scale_the_hand_moves_a_tenth_of_a_second(self) -> None:
        linear = Measurand(scale="linear")
        assert self.of(0.09, measurand=linear).verdict is Verdict.NO_DIFFERENCE
        assert self.of(0.12, measurand=linear).verdict is Verdict.ADDS


class TestCoarseReadings:
    def of(self, values: list[float], resolution: float | None, **more: Any) -> Comparison:
        """Runs read in steps."""
        runs = RunTable(tuple(runs_of(ORDER, list(values))), resolution=resolution)
        return compare_runs(runs, stated(blinding=SENSOR, **more))

    def test_equal_times_say_no_more_than_a_step(self) -> None:
        result = self.of([60.0] * 12, 1.0, margin=0.01)
        limits = result.document()["limits"]
        assert limits["adds_less_than"] == pytest.approx(1 - np.exp(-1 / 60))
        assert limits["takes_less_than"] == pytest.approx(np.exp(1 / 60) - 1)
        assert result.verdict is not Verdict.WITHIN_MARGIN  # a step of a sixtieth hides more than one in a hundred
        assert self.of([60.0] * 12, 1.0, margin=0.02).verdict is Verdict.WITHIN_MARGIN

    def test_equal_times_of_unknown_step_bound_nothing(self) -> None:
        limits = self.of([60.0] * 12, None).document()["limits"]
        assert limits["adds_less_than"] is limits["takes_less_than"] is None

    def test_what_the_finer_reading_would_have_said_lies_within_the_limits(self) -> None:
        rng = np.random.default_rng(4)
        for _ in range(20):
            fine = 60 + rng.normal(0, 0.2, 12)
            true = self.of(fine.tolist(), None).document()["limits"]
            read = self.of(np.rint(fine).tolist(), 1.0).document()["limits"]
            assert read["adds_less_than"] >= true["adds_less_than"]
            assert read["takes_less_than"] >= true["takes_less_than"]

    def test_fine_readings_move_nothing(self) -> None:
        values = [time for time in times(ORDER, 1.0, spread=0.01) if time is not None]
        one, other = (self.of(values, step).document()["limits"] for step in (0.01, None))
        assert one == other

    def test_more_digits_than_were_said_leave_the_last_digit_alone(self) -> None:
        assert "last-digits" not in checks(self.of([60 + 0.013 * slot for slot in range(12)], 0.1))


class TestKnownTruth:
    """A/A and planted effect, method, section 5."""

    def test_less_that_means_more_is_shown_as_measured(self) -> None:
        # a help of 1 g less to hang on: measured -1 g, and found
        mass = Measurand(name="mass", scale="linear", sign=-1, unit="g")
        values = [100 - (sign == "+") + 0.01 * (slot * 5 % 7) for slot, sign in enumerate(ORDER)]
        runs = RunTable(tuple(runs_of(ORDER, list(values))), measure="mass", unit="g")
        rules = stated(measurand=mass, role=Role.PLANTED, claimed=1.0)
        found = next(each for each in compare_runs(runs, rules).findings if each.check == "planted-found")
        assert "help of −1\N{NO-BREAK SPACE}g" in found.sentence
        assert "found it: −1.02\N{NO-BREAK SPACE}g, between −1.05" in found.sentence
        missed = compare_runs(runs, replace(rules, claimed=3.0)).findings
        assert next(each for each in missed if each.check == "planted-missed").size == "1.98\N{NO-BREAK SPACE}g away"


class TestWhoKnew:
    @pytest.mark.parametrize(
        ("blinding", "hand"),
        [(Blinding(), True), (Blinding(timing="sensor", launch="hand"), True), (SENSOR, False)],
    )
    def test_nobody_is_told_to_do_what_was_done(self, blinding: Blinding, hand: bool) -> None:  # noqa: FBT001  a row of a table
        found = next(each for each in plain(rules=stated(blinding=blinding)) if each.check == "operator-knew")
        assert ("without a hand" in str(found.remedy)) is hand


class TestLaunches:
    def test_a_sealed_covariate_is_no_finding(self) -> None:
        extra = launched("launch speed", 0.05)
        for slot, row in enumerate(extra):
            row["launch speed"] += 5.0 * (slot * 7 % 5)
        within = compare_runs(table(ORDER, times(ORDER), extra=extra), stated(adjust=("launch speed",)))
        assert "launch-differs" not in checks(within)

    def test_equal_launches_are_no_finding(self) -> None:
        assert "launch-differs" not in {each.check for each in plain(extra=launched("launch speed", 0.0))}


class TestSecondOpinions:
    def test_both_are_given_and_say_which_is_which(self) -> None:
        result = compare_runs(table(ORDER, times(ORDER, 1.02)), stated())
        assert set(result.document()["second_opinions"]) == {"welch", "ancova"}

    def test_they_are_withdrawn_with_the_planned_verdict(self) -> None:
        made = sealed(runs=16)
        order = signs(made)[:12]
        result = compare_runs(table(order, times(order, 1.02)), rules_of_plan(made.plan, seal_broken=True))
        assert result.document()["second_opinions"] == {}


class TestFarOff:
    def test_luck_does_it_in_one_test_of_a_hundred(self) -> None:
        # 12 normal runs, 300 tests: .01 expected at most; 4 standard deviations: 1 chance in 1000 by luck
        rng = np.random.default_rng(12)
        alarms = 0
        for _ in range(300):
            values = (60 * np.exp(rng.normal(0, 0.01, 12))).tolist()
            alarms += "run-far-off" in checks(compare_runs(RunTable(tuple(runs_of(ORDER, values))), stated()))
        assert alarms <= 3 + 4 * 3**0.5

    def test_a_run_far_from_equal_readings_is_found_and_one_step_of_the_watch_is_not(self) -> None:
        # all others alike leave no spread to divide by: the step of the reading is the least there can be
        for value, is_far in ((60.01, False), (70.0, True)):
            values: list[float | None] = [60.0] * 12
            values[8] = value
            result = compare_runs(table(ORDER, values), stated())
            assert ("run-far-off" in checks(result)) is is_far
            standing = {each.check for each in holding(result.at, result.findings)}
            assert ("none-far-off" in standing) is not is_far

    def test_runs_all_stopped_at_the_limit_have_no_spread_to_compare(self) -> None:
        # 60.06 s is no round binary number: the mean of its logarithms is off in the last bit
        for limit in np.linspace(60.01, 60.2, 20):
            values = [limit if sign == "+" else time - 2 for sign, time in zip(ORDER, calm(12, 0.01), strict=True)]
            ended = [sign == "+" for sign in ORDER]
            runs = tuple(runs_of(ORDER, values, unfinished=ended))
            assert "spread-differs" not in checks(compare_runs(RunTable(runs), stated()))

    def test_it_names_the_run_and_drops_nothing(self) -> None:
        result = compare_runs(table(ORDER, far_off()), stated())
        assert next(each for each in result.findings if each.check == "run-far-off").sentence.startswith(
            "Run 7 lies far"
        )
        assert sum(result.counts.values()) == 12


def test_a_run_without_further_columns_is_enough() -> None:
    assert compare_runs(RunTable((*runs_of(ORDER, times(ORDER))[:11], Run(12, NAMES.control, 60.0))), stated()).verdict
