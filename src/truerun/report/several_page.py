"""One page for what is more than one test: several tests, many variants, many doses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from truerun.errors import ValueOutOfRange
from truerun.findings.finding import Finding
from truerun.report.pages import rendered
from truerun.report.pictures import Picture
from truerun.trial.holding import Kind, Standing, kind_of
from truerun.trial.seal import Seal, spoken

__all__ = ["Pairs", "Section", "SeveralPage", "checks_of", "page_fragment", "render_page"]

Pairs = tuple[tuple[str, str], ...]
_ORDER = tuple(Kind)


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the page: sentences, names with values, a table of which the first ``in_words`` columns are words."""

    title: str
    words: tuple[str, ...] = ()
    pairs: Pairs = ()
    caption: str = ""
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    in_words: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SeveralPage:
    """All that the page says; ``keys`` stand beside the headline, below the one ``figure`` that counts most."""

    kind: str
    tag: str
    headline: str
    lede: str
    claim: str | None = None
    claim_tag: str = "Claim"
    figure_tag: str = ""
    figure: str | None = None
    figure_words: str = ""
    keys: Pairs = ()
    picture: Picture | None = None
    sections: tuple[Section, ...] = ()
    checks: tuple[Standing, ...] = ()
    seal: Seal | None = None
    sealed: str = ""
    document: str | None = None
    invented: bool = False

    @property
    def groups(self) -> list[tuple[str, str]]:
        """The groups of the seal's code, each with its words."""
        return [(group, spoken(group)) for group in self.seal.code.split()] if self.seal else []


def checks_of(findings: Sequence[Finding]) -> tuple[Standing, ...]:
    """Give findings as a page shows them, the weightiest first."""
    found = [Standing(kind_of(each), each.check, each.sentence, each.size, each.remedy) for each in findings]
    return tuple(sorted(found, key=lambda each: _ORDER.index(each.kind)))


def render_page(page: SeveralPage, made: datetime) -> str:
    """Write the page.

    Parameters
    ----------
    page : SeveralPage
        What it says.
    made : datetime
        When it is made, with a time zone; the same time gives the same bytes.

    Returns
    -------
    str
        One HTML page without script and without any request; prints on A4 and on Letter.

    Raises
    ------
    ValueOutOfRange
        If the time has no zone.
    """
    if made.tzinfo is None:
        raise ValueOutOfRange("The time of the report", made.isoformat(), "given with its time zone")
    return rendered("several.html.j2", page=page, seal=page.seal, made=made.astimezone(UTC))


def page_fragment(page: SeveralPage) -> str:
    """Write what matters most of a page as a piece for notebooks: one ``div``, without script and any request."""
    return rendered("several_fragment.html.j2", page=page)
