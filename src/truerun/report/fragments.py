"""Results as pieces of a page, for notebooks; the same pieces as in a report."""

from __future__ import annotations

from truerun.report.figures_shown import figures_shown
from truerun.report.layout import minutes_text
from truerun.report.pages import rendered
from truerun.report.pictures import drive_line_picture
from truerun.report.plan_words import ORDER_SETS, plan_end_words
from truerun.report.standings import standings
from truerun.trial.comparison import Comparison
from truerun.trial.holding import Standing, kind_of
from truerun.trial.look import Look
from truerun.trial.phrases import measured, percent
from truerun.trial.plan import Plan
from truerun.trial.planning import Prospect, Schedule
from truerun.trial.seal import Seal, spoken

__all__ = ["comparison_fragment", "look_fragment", "plan_fragment"]


def comparison_fragment(result: Comparison) -> str:
    """Write a comparison as a piece of a page: verdict, key figures, drive line, checks.

    Parameters
    ----------
    result : Comparison
        Finished, or covered.

    Returns
    -------
    str
        One ``div``, without script and without any request.
    """
    return rendered(
        "comparison_fragment.html.j2",
        result=result,
        figures=figures_shown(result),
        picture=drive_line_picture(result),
        checks=standings(result),
    )


def look_fragment(look: Look, said: tuple[str, ...] = ()) -> str:
    """Write a quick look as a piece of a page; it never sounds like a verdict.

    Parameters
    ----------
    look : Look
        Finished.
    said : tuple of str
        Sentences that follow it, of taps.

    Returns
    -------
    str
        One ``div``, without script and without any request.
    """
    tests = [
        (f"{test.runs // 2} + {test.runs // 2} runs", percent(test.finds), _minutes(test.minutes))
        for test in look.deciding
    ]
    return rendered(
        "look_fragment.html.j2",
        look=look,
        share=percent(abs(1 / (1 - look.difference) - 1)),
        longer="longer" if look.difference > 0 else "shorter",
        runs=sum(look.counts.values()),
        means=[(name, str(look.counts[name]), f"{mean:.4g}") for name, mean in look.means.items()],
        spread=percent(look.spread),
        tests=tests,
        said=said,
        checks=[Standing(kind_of(each), each.check, each.sentence, each.size, each.remedy) for each in look.findings],
    )


def plan_fragment(plan: Plan, seal: Seal, ahead: Prospect, time: Schedule | None) -> str:
    """Write a sealed plan as a piece of a page: its code, what it holds, what it can find.

    Parameters
    ----------
    plan : Plan
        Sealed.
    seal : Seal
        Its fingerprint.
    ahead : Prospect
        What it can find.
    time : Schedule or None
        How long it takes, where minutes were given.

    Returns
    -------
    str
        One ``div``, without script and without any request.
    """
    return rendered(
        "plan_fragment.html.j2",
        plan=plan,
        seal=seal,
        groups=[(group, spoken(group)) for group in seal.code.split()],
        ahead=ahead,
        time=time,
        minutes=_minutes(time.minutes) if time is not None else "",
        end=plan_end_words(plan),
        orders=ORDER_SETS[plan.orders],
        finds=_size(plan, ahead.finds),
        finds_surely=_size(plan, ahead.finds_surely),
        spread=_size(plan, ahead.spread),
        false_alarms=percent(ahead.false_alarms),
    )


def _size(plan: Plan, size: float) -> str:
    """Write a size in percent, or in the unit of a linear measurand."""
    if plan.measurand.scale == "log":
        return percent(size)
    return measured(size, plan.measurand.unit)


def _minutes(minutes: float | None) -> str:
    """Write a length of time, or nothing where it is not known."""
    return "" if minutes is None else minutes_text(minutes)
