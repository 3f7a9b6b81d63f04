"""Look first: a few runs with and without, before any claim; nothing is written, and it never gives a verdict.

Times and taps stand in the address, so that a look can be gone back to and nothing is kept here.
"""

from __future__ import annotations

from itertools import accumulate
from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from truerun.errors import TruerunError
from truerun.findings.finding import Finding
from truerun.report.layout import minutes_text
from truerun.report.tapped_words import both_impressions, hand_words, longer_words, slowing_rows, window_words
from truerun.series import Run, RunTable
from truerun.trial.holding import Standing, kind_of
from truerun.trial.look import Look, Prospective
from truerun.trial.phrases import percent
from truerun.web.forms import Form
from truerun.web.pages import page
from truerun.web.visit import Visit, moved
from truerun.workflow.looking import LookResult
from truerun.workflow.looking import look as look_at

__all__ = ["look", "result"]

SLOTS = (1, 2, 3)
USUAL = {"source": "magnets on", "control": "magnets off", "end": "standstill", "how": "watch"}
ENDS = (("standstill", "it stopped"), ("speed", "it came to a set speed"), ("turns", "after a set count of turns"))
HOWS = (
    ("watch", "Start and stop", "One time for each run."),
    ("taps", "Tap at every pass", "Of one mark on the rim. Needs no sensor, and tells more."),
)
MOST_TAPS = 1000
_LONG_RUN = 1000.0  # min; a run that is longer is a slip of the keys


def look(visit: Visit) -> Response:
    """Show the watch and the six places for times."""
    return _asked(visit, Form(USUAL | dict(visit.query)))


def _asked(visit: Visit, form: Form, *, status: int = 200) -> Response:
    """Show the form."""
    return page(visit, "look.html.j2", form=form, slots=SLOTS, ends=ENDS, hows=HOWS, status=status)


def result(visit: Visit) -> Response:
    """Say what the runs show, and what they do not."""
    form = Form(USUAL | dict(visit.query))
    runs = _runs(form)
    if not {"source", "control", "end"} <= set(visit.query):
        return moved("/look")
    if form.troubles:
        return _asked(visit, form, status=422)
    end = "standstill" if any(run.extra for run in runs) else form["end"]
    try:
        seen: LookResult = visit.bench.kept(
            ("look", tuple(sorted(form.values.items()))),
            lambda: look_at(RunTable(runs), source=form["source"], control=form["control"], end=end),
        )
    except TruerunError as error:
        form.troubles["source_1"] = str(error)
        return _asked(visit, form, status=422)
    return page(visit, "look_result.html.j2", form=form, **_shown(seen, runs, form))


def _runs(form: Form) -> tuple[Run, ...]:
    """Read times and taps; a place may stay empty."""
    source = form.needed("source", "The name of what is looked at")
    control = form.needed("control", "The name of the wheel without it")
    if source and source == control:
        form.troubles["control"] = "Both have the same name. Give one of them another."
    form.one_of("end", "What ended a run", [key for key, _ in ENDS])
    runs: list[Run] = []
    for slot in SLOTS:
        for side, name in (("source", source), ("control", control)):
            field = f"{side}_{slot}"
            called = f"Time {slot} with “{name}”"
            seconds = form.seconds(field, called)
            taps = _taps(form, f"taps_{field}")
            if seconds is not None and seconds <= 0:
                form.troubles[field] = f"{called} must be above 0 s."
            elif seconds is not None or taps:
                runs.append(Run(len(runs) + 1, name, seconds, extra={"taps": taps} if taps else {}))
    if runs and not {source, control} <= {run.condition for run in runs}:
        form.troubles["source_1"] = "There are runs of one kind only. Make at least two of each, in turn."
    return tuple(runs)


def _taps(form: Form, field: str) -> str:
    """Read the taps of a run, which the page sends as milliseconds between them; give seconds from the first one."""
    steps = [step for step in form[field].split(".") if step]
    if not steps:
        return ""
    if len(steps) >= MOST_TAPS or not all(step.isdecimal() and 0 < len(step) < 8 and int(step) for step in steps):
        form.troubles[field.removeprefix("taps_")] = "The taps of this run came through damaged. Tap it again."
        return ""
    return " ".join(f"{time / 1000:.3f}" for time in accumulate((int(step) for step in steps), initial=0))


def _shown(seen: LookResult, runs: tuple[Run, ...], form: Form) -> dict[str, Any]:
    """Give what a look says."""
    found = seen.look
    minutes = sum(found.means.values()) / len(found.means) / 60
    trial = {"pilot_spread": f"{found.spread:.6f}", "pilot_runs": str(sum(found.counts.values()))}
    trial |= {"run_minutes": f"{minutes:.2g}"} if minutes < _LONG_RUN else {}
    names = {"source": form["source"], "control": form["control"]}
    return {
        "look": found,
        "longer": longer_words(found),
        "runs": sum(found.counts.values()),
        "spread": percent(found.spread),
        "times": [(name, name == found.source, _times(seen, runs, name)) for name in found.counts],
        "tests": [_test(each) for each in found.deciding],
        "checks": [_check(each) for each in found.findings],
        "again": "/look?" + urlencode(form.values),
        "onward": "/new?" + urlencode(trial | names),
        "with_taps": "/look?" + urlencode(names | {"how": "taps"}) if found.findings and seen.tapped is None else None,
        "set_aside": seen.set_aside,
        "tapped": _tapped(seen),
    }


def _tapped(seen: LookResult) -> dict[str, Any] | None:
    """Give what tapped runs say beside."""
    if seen.tapped is None:
        return None
    fair, whole = seen.tapped.look, seen.tapped.to_standstill
    over = window_words(seen.tapped)
    ways = [(f"{over}, by taps", fair)]
    ways += [("until it stopped", whole)] if whole is not None else []
    return {
        "over": over,
        "hand": hand_words(seen.tapped),
        "scatter": f"{seen.tapped.scatter:.2g} s",
        "slowing": slowing_rows(seen.tapped),
        "both": both_impressions(seen.tapped),
        "ways": [_way(words, each) for words, each in ways],
    }


def _way(words: str, look: Look) -> dict[str, str]:
    """Give one way of ending a run: both mean times, the difference, and how easily luck does it."""
    return {
        "words": words,
        "source": f"{look.means[look.source]:.1f}",
        "control": f"{look.means[look.control]:.1f}",
        "difference": longer_words(look),
        "luck": f"{look.clean} of {look.divisions}",
    }


def _times(seen: LookResult, runs: tuple[Run, ...], name: str) -> list[str]:
    """Give the times of one condition: as they were read, or over common speeds with what tapping leaves open."""
    if seen.tapped is None:
        return [f"{run.value:.4g}" for run in runs if run.condition == name and run.value is not None]
    return [f"{run.time:.1f} ± {run.uncertainty:.1f}" for run in seen.tapped.runs if run.condition == name]


def _test(each: Prospective) -> tuple[str, str, str]:
    """Give a deciding test that could follow: runs, what it finds, how long it takes."""
    return f"{each.runs // 2} + {each.runs // 2}", percent(each.finds), _minutes(each.minutes)


def _check(each: Finding) -> Standing:
    """Give a finding as a row."""
    return Standing(kind_of(each), each.check, each.sentence, each.size, each.remedy)


def _minutes(minutes: float | None) -> str:
    """Write a length of time."""
    return "" if minutes is None else minutes_text(minutes)
