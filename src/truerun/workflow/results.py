"""What results have in common: each gives itself as text and as plain data, most also as a page.

Pages and pictures are imported where a result is shown as one: templates and drawings would double the time of a cold
start.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from truerun.findings.finding import Finding
from truerun.report.json_text import json_text

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing
    from truerun.report.recording_page import Said
    from truerun.report.several_page import SeveralPage

__all__ = ["PageResult", "RecordingResult", "Result", "SeveralResult"]


class Result(ABC):
    """A result that gives itself as text and as plain data."""

    __slots__ = ()

    @abstractmethod
    def summary(self) -> str:
        """Give the result as plain text."""

    @abstractmethod
    def document(self) -> dict[str, Any]:
        """Give the result as plain data, with its schema."""

    def json(self) -> str:
        """Give the result as JSON text."""
        return json_text(self.document())


class PageResult(Result):
    """A result that is also a page, a piece of a page, and drawings."""

    __slots__ = ()

    @abstractmethod
    def _repr_html_(self) -> str:
        """Show the result in a notebook."""

    def report(self, *, made: datetime | None = None, invented: bool = False) -> str:
        """Write the result as one HTML page.

        Parameters
        ----------
        made : datetime, optional
            When it is made; None: now. The same time gives the same bytes.
        invented : bool
            Whether it never took place; the page then says so first.

        Returns
        -------
        str
            One HTML page without script and without any request.

        Raises
        ------
        ValueOutOfRange
            If the time has no zone.
        """
        return self._page(made or datetime.now(UTC), invented=invented)

    @abstractmethod
    def _page(self, made: datetime, *, invented: bool) -> str:
        """Write the page."""

    @abstractmethod
    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings, to be saved as files."""


class SeveralResult(PageResult):
    """A result of more than one test: several tests, many variants, many doses."""

    __slots__ = ()

    @abstractmethod
    def _said(self, document: dict[str, Any] | None, *, invented: bool) -> SeveralPage:
        """Give what the page says; the document is enclosed where there is one."""

    def _repr_html_(self) -> str:
        """Show the result in a notebook."""
        from truerun.report.several_page import page_fragment  # noqa: PLC0415  see the head of this module

        return page_fragment(self._said(None, invented=False))

    def _page(self, made: datetime, *, invented: bool) -> str:
        """Write the page."""
        from truerun.report.several_page import render_page  # noqa: PLC0415  see the head of this module

        return render_page(self._said(self.document(), invented=invented), made)


class RecordingResult(PageResult):
    """A result of one recording, or of several that belong together, which is no plain rundown."""

    __slots__ = ()

    findings: tuple[Finding, ...]

    @abstractmethod
    def _said(self) -> Said:
        """Give what the page says."""

    def _repr_html_(self) -> str:
        """Show the result in a notebook."""
        from truerun.report.recording_page import recording_fragment  # noqa: PLC0415  see the head of this module

        return recording_fragment(self._said(), self.findings)

    def _page(self, made: datetime, *, invented: bool) -> str:
        """Write the page."""
        from truerun.report.recording_page import render_recording  # noqa: PLC0415  see the head of this module

        return render_recording(
            self._said(), findings=self.findings, document=self.document(), made=made, invented=invented
        )
