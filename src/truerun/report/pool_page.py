"""Several tests together as a page."""

from __future__ import annotations

from typing import Any

from truerun.charts.pooled import draw_pooled
from truerun.report.figures_shown import figures_shown
from truerun.report.json_text import json_text
from truerun.report.pictures import picture_of
from truerun.report.pooled_text import span_text, trust_rows
from truerun.report.several_page import Section, SeveralPage, checks_of
from truerun.trial.context import amount, shown, shown_span
from truerun.trial.phrases import chance, stake
from truerun.trial.pooled import OneOfSeveral, PooledEffects, PooledTests

__all__ = ["pool_said"]


def pool_said(result: PooledTests, document: dict[str, Any] | None = None, *, invented: bool = False) -> SeveralPage:
    """Give all that a page of several tests says.

    Parameters
    ----------
    result : PooledTests
        Finished.
    document : dict, optional
        The result as plain data, to be enclosed.
    invented : bool
        Whether the tests never took place; the page then says so first.

    Returns
    -------
    SeveralPage
    """
    claims = {test.comparison.at.rules.plan.claim.words for test in result.tests if test.comparison.at.rules.plan}
    together = result.together
    value = amount(result.at, shown(result.at, together.mean.effect), signed=True) if together else None
    return SeveralPage(
        kind="several tests, put together",
        tag=f"{len(result.used)} of {len(result.tests)} tests are fair and finished",
        headline=result.headline,
        lede=result.sentence,
        claim=next(iter(claims)) if len(claims) == 1 else None,
        figure_tag=_measured(result),
        figure=value,
        figure_words="what the tests say together" if value else "",
        keys=_keys(result),
        picture=picture_of(lambda width: draw_pooled(result, width)),
        sections=tuple(_sections(result)),
        checks=checks_of(result.findings),
        document=None if document is None else json_text(document),
        invented=invented,
    )


def _measured(result: PooledTests) -> str:
    """Name what the figure is."""
    return "Drive of the source" if result.at.logarithmic else f"Difference in {result.at.rules.measurand.name}"


def _keys(result: PooledTests) -> tuple[tuple[str, str], ...]:
    """Give the few figures that stand beside the headline."""
    rows = [("Tests put together", f"{len(result.used) if result.together else 0} of {len(result.tests)}")]
    if result.together is not None:
        low, high = shown_span(result.at, result.together.mean.low, result.together.mean.high)
        ends = [amount(result.at, end, signed=True) for end in (low, high) if end is not None]
        rows.insert(0, ("Between", " and ".join(ends)))
    if result.luck is not None:
        luck = result.luck
        ways = chance(luck.p, luck.combinations)
        rows.append(("Luck alone does this in", f"{ways} ways" if luck.exact else f"{ways} ways drawn by lot"))
        if luck.evidence is not None:
            rows.append(("A running bet against no effect", f"your stake times {stake(luck.evidence)}"))
    return tuple(rows)


def _sections(result: PooledTests) -> list[Section]:
    """Give the parts of the page below the picture."""
    parts = [
        Section(
            "Each test",
            words=(("Every test that was brought, whatever it found. Its place counts the tests of the same claim by "
                   "the day they were sealed."),),
            caption="Every test by itself",
            columns=("Test", "Place", "Verdict", "Put together?", "Found", "From", "To"),
            rows=tuple(_test_row(test) for test in result.tests),
            in_words=4,
        )
    ]  # fmt: skip
    left = tuple((test.name, f"{test.why_not[:1].upper()}{test.why_not[1:]}.") for test in result.tests if test.why_not)
    if left:
        parts.append(Section("Not put together, and why", pairs=left))
    if result.together is not None:
        parts.append(_trust(result, result.together))
    return parts


def _test_row(test: OneOfSeveral) -> tuple[str, ...]:
    """Write one test; a covered one shows no figure."""
    figures = figures_shown(test.comparison)
    place = f"test {test.place.number} of {test.place.of}" if test.place is not None else "no sealed plan"
    pooled = "no" if test.why_not else "yes"
    found = figures.found if figures is not None else None
    sizes = ("covered", "", "") if found is None else (found.value, found.low or "no span", found.high or "no span")
    return (test.name, place, test.comparison.headline, pooled, *sizes)


def _trust(result: PooledTests, together: PooledEffects) -> Section:
    """Say how far the sum may be trusted."""
    agreed = together.agreement
    return Section(
        "How far the sum may be trusted",
        words=(
            "The tests need not agree exactly: wheels and benches differ. How much they differ widens the span.",
            "Leaving out one test after the other shows whether a single one makes the result.",
        ),
        pairs=(
            ("All together", span_text(result, together.mean)),
            *trust_rows(result, together),
            (
                "Terms",
                (
                    f"Paule-Mandel spread, Hartung-Knapp interval; Cochran's Q {agreed.q:.3g} on {agreed.df} degrees "
                    f"of freedom, p = {agreed.p:.3g}, I² {100 * agreed.i_squared:.0f} %. What each test adds, and how "
                    "surely, comes from its covariance analysis."
                ),
            ),
        ),
    )
