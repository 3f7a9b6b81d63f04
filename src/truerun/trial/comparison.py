"""One comparison from beginning to end: table and rules in, verdict with all its figures out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from truerun.errors import RecordingUnreadable
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.findings.verdict_words import HEADLINES, SENTENCES
from truerun.series import RunTable
from truerun.stats.exact import attained
from truerun.stats.orders import orders_for
from truerun.trial.checks import findings_of, second_opinions
from truerun.trial.context import Context, hand_allowance, plain_difference, pooled_spread, shown, shown_span, withdrawn
from truerun.trial.controls import SETTLES, finds_it_again
from truerun.trial.decision import Figures, figures, honest_interval
from truerun.trial.guessing import judge_guesses
from truerun.trial.observations import Observations, observe
from truerun.trial.plan import Plan, Role
from truerun.trial.rules import Rules, rules_at_look
from truerun.trial.sentences import cause_findings, headline, sentence
from truerun.trial.verdict import Verdict, decide

__all__ = ["Comparison", "compare_runs", "may_be_seen", "with_controls"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """A verdict and everything it rests on.

    ``verdict`` is None where a sealed plan is not complete: then there are counts only. ``at`` holds rules,
    observations and figures, so that any later question can be answered without a second computation.
    """

    verdict: Verdict | None
    headline: str
    sentence: str
    findings: tuple[Finding, ...]
    at: Context

    @property
    def figures(self) -> Figures | None:
        """What the exact list says; None where nothing may be shown or the order came from no known set."""
        return None if self.verdict is None else self.at.figures

    @property
    def counts(self) -> dict[str, int]:
        """Runs that count, by condition."""
        names = self.at.rules.conditions
        kept = self.at.seen.kept
        return {
            names.source: int((kept & (self.at.seen.used > 0)).sum()),
            names.control: int((kept & (self.at.seen.used < 0)).sum()),
        }

    @property
    def withdrawn(self) -> bool:
        """Whether p and interval are withdrawn because the test did not stop where it was planned."""
        return withdrawn(self.at)

    def document(self) -> dict[str, Any]:
        """Give the comparison as plain data, keys as in the schema ``truerun/comparison/1``."""
        rules, seen = self.at.rules, self.at.seen
        return {
            "schema": "truerun/comparison/1",
            "verdict": self.verdict.value if self.verdict else None,
            "headline": self.headline,
            "sentence": self.sentence,
            "source": rules.conditions.source,
            "control": rules.conditions.control,
            "alpha": rules.alpha,
            "counts": self.counts,
            "planned": seen.planned,
            "measurand": rules.measurand.model_dump(),
            "window": rules.window.model_dump(by_alias=True) if rules.window else None,
            "end": rules.end.value if rules.end else None,
            "adjusted_for": list(rules.adjust),
            "margin": rules.margin,
            "claimed": rules.claimed,
            **_figures_document(self),
            "hand_allowance": hand_allowance(self.at) if self.verdict else None,
            "guesses": self.at.guesses.document() if self.verdict and self.at.guesses else None,
            "findings": [found.document() for found in self.findings],
            "inputs": [self.at.table.digest] if self.at.table.digest else [],
        }


def compare_runs(table: RunTable, rules: Rules) -> Comparison:
    """Decide what a table of runs says, by rules that were fixed before.

    Parameters
    ----------
    table : RunTable
        As read.
    rules : Rules
        From a sealed plan, or as stated.

    Returns
    -------
    Comparison

    Raises
    ------
    RecordingUnreadable
        If a condition has no run, or a name or value does not fit the rules.
    PlanBroken
        If the table has runs that were never planned.
    """
    seen = observe(table, rules)
    if _covered(seen, rules):
        return _at_planned_look(table, rules, seen) or _counts_only(table, rules, seen)
    if not math.isfinite(plain_difference(seen)):
        raise _one_sided(table, rules, seen)
    drawn = figures(seen, table, rules) if _order_known(seen, rules) else None
    at = Context(table, rules, seen, drawn, second_opinions(seen, rules), judge_guesses(seen, rules))
    found = findings_of(at)
    verdict = decide(at, found)
    return Comparison(
        verdict, headline(at, verdict), sentence(at, verdict, found), found + cause_findings(at, verdict), at
    )


def _one_sided(table: RunTable, rules: Rules, seen: Observations) -> RecordingUnreadable:
    """Say that a condition has no run yet, and what to do: a broken seal needs runs, a whole table its times."""
    remedy = "Fill in the times."
    if rules.seal_broken and seen.missing.any():
        remedy = f"Go on with run {min(_slots(seen, seen.missing))}, and break the seal once both have one."
    return RecordingUnreadable(
        table.path or "the table",
        "",
        f'one of the conditions "{rules.conditions.source}" and "{rules.conditions.control}" has no finished run; '
        f"both need at least one. {remedy}",
    )


def _slots(seen: Observations, those: NDArray[np.bool_]) -> list[int]:
    """Give the numbers of some of the runs."""
    return [run.slot for run, counts in zip(seen.runs, those, strict=True) if counts]


def may_be_seen(table: RunTable, rules: Rules) -> bool:
    """Tell whether the result of a table may be looked at: its test is complete, at its planned look, or has no plan.

    Parameters
    ----------
    table : RunTable
        As read; runs whose recording is named count as done.
    rules : Rules
        From a sealed plan, or as stated.

    Returns
    -------
    bool
    """
    seen = observe(table, rules)
    return not _covered(seen, rules) or _at_look(seen, rules)


def _covered(seen: Observations, rules: Rules) -> bool:
    """Tell whether a sealed plan is not complete."""
    return rules.plan is not None and bool(seen.missing.any()) and not rules.seal_broken


def _at_look(seen: Observations, rules: Rules) -> bool:
    """Tell whether the runs done are just those before the planned look."""
    look = None if rules.plan is None else rules.plan.stopping.look_after
    done = _slots(seen, ~seen.missing)
    return look is not None and done == list(range(1, look + 1))


def with_controls(result: Comparison, linked: Sequence[Comparison]) -> Comparison:
    """Say a result anew, knowing which controls were made; its figures and its verdict stay.

    Parameters
    ----------
    result : Comparison
        Finished.
    linked : sequence of Comparison
        Other tests of the same wheel; one that was not a fair test, or is not finished, settles nothing. Nor does a
        control that did not find the difference again: just what it takes out may have made it.

    Returns
    -------
    Comparison
    """
    rules = result.at.rules
    fair = [test for test in linked if test.verdict not in (None, Verdict.NOT_FAIR) and _is_control(test)]
    done = tuple(dict.fromkeys((*rules.controls_done, *(test.at.rules.role for test in fair))))
    gone = [test.at.rules.role for test in fair if not _found_again(result, test)]
    without = tuple(dict.fromkeys((*rules.controls_without, *gone)))
    if result.verdict is None or (done, without) == (rules.controls_done, rules.controls_without):
        return result
    at = replace(result.at, rules=replace(rules, controls_done=done, controls_without=without))
    others = tuple(found for found in result.findings if found.check not in ("cause-not-isolated", "control-without"))
    findings = others + cause_findings(at, result.verdict)
    return replace(result, at=at, sentence=sentence(at, result.verdict, findings), findings=findings)


def _is_control(test: Comparison) -> bool:
    """Tell whether a test is one of the controls that can take a cause out."""
    return test.at.rules.role in SETTLES and test.at.rules.role is not Role.MAIN


def _found_again(result: Comparison, control: Comparison) -> bool:
    """Tell whether a control found the difference of the main test again."""
    adds = {Verdict.ADDS: True, Verdict.TAKES: False}.get(control.verdict or Verdict.NOT_FAIR)
    rules = control.at.rules
    drive = result.verdict is Verdict.ADDS
    return finds_it_again(rules.role, drive=drive, adds=adds, one_way=rules.measurand.name == "time")


def _order_known(seen: Observations, rules: Rules) -> bool:
    """Tell whether the order belongs to the set it is said to be drawn from."""
    if rules.orders is None:
        return False
    if rules.plan is None:
        return orders_for(rules.orders, len(seen.used)).contains(seen.used)
    return rules.plan.drawn_by == "lot" or _bag_in_set(seen, rules.plan)


def _bag_in_set(seen: Observations, plan: Plan) -> bool:
    """Tell whether what a bag gave belongs to the set; of a test that was stopped or gone on, its whole blocks."""
    size = plan.order_set.block or plan.runs
    done = int(np.argmax(np.append(seen.missing, True))) // size * size
    return not done or orders_for(plan.orders, done).contains(seen.used[:done])


def _at_planned_look(table: RunTable, rules: Rules, seen: Observations) -> Comparison | None:
    """Decide at the planned look if the runs end there; None if they do not, or if it decides nothing."""
    plan = rules.plan
    if plan is None or plan.stopping.look_after is None or not _at_look(seen, rules):
        return None
    first = replace(table, runs=tuple(run for run in table.runs if run.slot <= plan.stopping.look_after))
    result = compare_runs(first, replace(rules_at_look(plan), controls_done=rules.controls_done))
    if result.verdict not in (Verdict.ADDS, Verdict.TAKES):
        return None
    level = f"{100 * plan.stopping.look_alpha:g}"
    note = finding("decided-at-look", run=plan.stopping.look_after, planned=plan.runs, level=level)
    return replace(result, findings=(*result.findings, note))


def _counts_only(table: RunTable, rules: Rules, seen: Observations) -> Comparison:
    """Say how far a sealed test has come, and nothing else."""
    done = int((~seen.missing).sum())
    following = min(_slots(seen, seen.missing))
    covered = [finding("sealed-until-complete", done=done, planned=seen.planned, next=following)]
    if rules.plan is not None and rules.plan.stopping.look_after == done:
        covered.append(finding("look-goes-on", run=done))
    text = SENTENCES["counts-only"].format(done=done, planned=seen.planned)
    at = Context(table, rules, seen, None, {})
    return Comparison(None, HEADLINES["counts-only"], text, tuple(covered), at)


def _figures_document(result: Comparison) -> dict[str, Any]:
    """Give the figures as plain data; all None where nothing may be shown."""
    at, drawn = result.at, result.figures
    hidden = result.verdict is None
    shown_interval = drawn is not None and not result.withdrawn
    document: dict[str, Any] = {
        "orders": drawn.plus.orders if drawn else None,
        "drive_fraction": None,
        "log_time_difference": None,
        "effect": None,
        "p": drawn.p if drawn and shown_interval else None,
        "evidence": drawn.evidence.last if drawn and drawn.evidence else None,
        "evidence_steps": drawn.evidence.steps.tolist() if drawn and drawn.evidence else None,
        "evidence_interval": _sequence(at, drawn),
        "limits": _limits(at, drawn if shown_interval else None),
        "severity": _severity(at, drawn if shown_interval else None),
        "spread": None if hidden else pooled_spread(at) or None,
        "second_opinions": {} if hidden or result.withdrawn else _opinions(at),
        "sampled": drawn.sampled if drawn else None,
        "seed": drawn.seed if drawn else at.rules.seed,
    }
    if hidden:
        return document
    found = _interval(at, drawn if shown_interval else None)
    if at.logarithmic:
        document["drive_fraction"] = _on_drive_scale(found)
        document["log_time_difference"] = found
    else:
        document["effect"] = _on_measured_scale(found, at.rules.measurand.sign)
    return document


def _interval(at: Context, drawn: Figures | None) -> dict[str, Any]:
    """Give effect and interval on the adding scale."""
    return {
        "value": at.effect,
        "low": drawn.low if drawn else None,
        "high": drawn.high if drawn else None,
        "coverage": 1 - at.rules.alpha,
        "attained": attained(drawn.plus, at.rules.alpha) if drawn else None,
    }


def _on_drive_scale(found: dict[str, Any]) -> dict[str, Any]:
    """Turn log differences into drive fractions."""
    ends = {key: None if found[key] is None else -math.expm1(-found[key]) for key in ("value", "low", "high")}
    return found | ends


def _on_measured_scale(found: dict[str, Any], sign: int) -> dict[str, Any]:
    """Give a linear difference as measured: more is more, whatever it means for the drive."""
    ends = (found["low"], found["high"])
    low, high = ends if sign > 0 else (None if end is None else -end for end in reversed(ends))
    return found | {"value": sign * found["value"], "low": low, "high": high}


def _limits(at: Context, drawn: Figures | None) -> dict[str, Any] | None:
    """Give how much the source may still add or take, as positive numbers."""
    if drawn is None:
        return None
    up = -math.expm1(-drawn.high_limit) if drawn.high_limit is not None and at.logarithmic else drawn.high_limit
    down = math.expm1(-drawn.low_limit) if drawn.low_limit is not None and at.logarithmic else drawn.low_limit
    down = down if down is None or at.logarithmic else -down
    return {
        "adds_less_than": None if up is None else max(0.0, up),
        "takes_less_than": None if down is None else max(0.0, down),
        "confidence": 1 - at.rules.alpha,
    }


def _severity(at: Context, drawn: Figures | None) -> list[dict[str, float]] | None:
    """Give the sizes below which the true drive is held with .80, .95 and .99, each an end of a one-sided interval."""
    if drawn is None:
        return None
    ends = [
        (level, honest_interval(drawn.plus, drawn.minus, round(2 * (1 - level), 12), at.seen, at.rules)[1])
        for level in (0.80, 0.95, 0.99)
    ]
    return [{"surely": level, "below": shown(at, end)} for level, end in ends if end is not None]


def _opinions(at: Context) -> dict[str, dict[str, float]]:
    """Give the second opinions on the adding scale."""
    return {
        name: {"low": given.low, "high": given.high, "value": given.effect, "p": given.p, "df": given.df}
        for name, given in at.opinions.items()
    }


def _sequence(at: Context, drawn: Figures | None) -> dict[str, float | None] | None:
    """Give the interval of the running bet, as drive fractions or as measured."""
    if drawn is None or drawn.evidence is None:
        return None
    low, high = shown_span(at, *drawn.sequence)
    return {"low": low, "high": high}
