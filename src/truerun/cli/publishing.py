"""The options that save a result as a page, as PDF and as pictures; the same for every command that has a result."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import click

from truerun.cli.parameters import FILE, Word
from truerun.cli.saving import require_folder, require_new, save_new
from truerun.cli.screen import say
from truerun.errors import ValueOutOfRange

if TYPE_CHECKING:
    from truerun.charts.drawing import Drawing

__all__ = ["Publishing", "publishing_options", "read_time"]

_NAMES = ("report", "pdf", "paper", "pictures", "made", "invented")
_OPTIONS = (
    click.option("--report", type=FILE, metavar="FILE", help="Also write the result as one page; never over a file."),
    click.option(
        "--pdf", is_flag=True, help="Also print that page as PDF beside it, through a Chromium that is there."
    ),
    click.option("--paper", type=Word(("A4", "Letter")), help="Paper of the PDF; A4 if not said."),
    click.option(
        "--pictures",
        type=FILE,
        metavar="FOLDER",
        help="Also save every picture there: SVG and PNG, light, dark and grey, with its table and words.",
    ),
    click.option("--made", metavar="TIME", help="When the page is made, such as 2026-03-14T21:52Z; now if not said."),
    click.option("--invented", is_flag=True, help="The page says first that it never took place."),
)


class Shown(Protocol):
    """A result that can be published."""

    def report(self, *, made: datetime | None = None, invented: bool = False) -> str:
        """Write it as one page."""
        ...

    def drawings(self) -> tuple[Drawing, ...]:
        """Give its drawings."""
        ...


def publishing_options(function: Callable[..., int]) -> Callable[..., int]:
    """Add the options that save a page and pictures."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


@dataclass(frozen=True, slots=True)
class Publishing:
    """What is to be saved, checked before anything is computed."""

    report: Path | None
    pdf: Path | None
    paper: str
    pictures: Path | None
    made: datetime | None
    invented: bool

    @classmethod
    def taken_from(cls, options: dict[str, Any]) -> Publishing:
        """Take the options of publishing out of all that were given.

        Raises
        ------
        ValueOutOfRange
            If a page is asked for in some way and not named, a file is there already, or no Chromium is.
        """
        given = {name: options.pop(name, None) for name in _NAMES}
        report: Path | None = given["report"]
        asked = next((name for name in ("pdf", "paper", "made", "invented") if given[name]), None)
        if asked is not None and report is None:
            raise ValueOutOfRange("The page", "not named", "named with --report", f"Or leave out --{asked}.")
        pdf = report.with_suffix(".pdf") if report is not None and given["pdf"] else None
        if pdf is not None:
            from truerun.report.pdf import require_chromium

            require_chromium(os.environ)
        require_new([path for path in (report, pdf) if path is not None])
        if given["pictures"] is not None:
            require_folder(given["pictures"])
        made = read_time(given["made"]) if given["made"] else None
        return cls(report, pdf, given["paper"] or "A4", given["pictures"], made, bool(given["invented"]))

    def save(self, result: Shown) -> None:
        """Write what was asked for and say where.

        Raises
        ------
        ValueOutOfRange
            If a picture is there already.
        """
        written: list[Path] = []
        if self.report is not None:
            page = result.report(made=self.made, invented=self.invented)
            written += save_new(self.report.parent, {self.report.name: page})
            written += self._printed(page)
        if self.pictures is not None:
            written += self._drawn(result.drawings())
        if written:
            say(f"\nWritten: {_listed(written)}.")

    def _printed(self, page: str) -> list[Path]:
        """Print the page where that was asked for."""
        if self.pdf is None:
            return []
        from truerun.report.pdf import print_pdf, require_chromium

        print_pdf(page, require_chromium(os.environ), self.pdf, paper=self.paper)
        return [self.pdf]

    def _drawn(self, drawings: Sequence[Drawing]) -> list[Path]:
        """Save the pictures; a covered result has none."""
        folder = self.pictures or Path()
        if not drawings:
            say("\nNo picture is saved: there is nothing to show before the last run.")
            return []
        from truerun.report.picture_files import picture_files, picture_names

        require_new([folder / name for name in picture_names(drawings)])
        save_new(folder, picture_files(drawings))
        return [folder]


def _listed(paths: Sequence[Path]) -> str:
    """Name the files."""
    return ", ".join(str(path) for path in paths)


def read_time(text: str) -> datetime:
    """Read a time with its zone.

    Raises
    ------
    ValueOutOfRange
        If it is not one.
    """
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        read = None
    if read is None or read.tzinfo is None:
        raise ValueOutOfRange("--made", f'"{text}"', "a time with its zone", "Write it like 2026-03-14T21:52Z.")
    return read
