"""``truerun report``: the verdict and everything it rests on, as one page."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.parameters import DECIMAL, FILE, Word, parse_angles, recordings_options
from truerun.cli.publishing import read_time
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import say, show

__all__ = ["command_line"]


@command(
    "report",
    "truerun report run-sheet.csv --plan plan.json --out report.html",
    "truerun report run-sheet.csv --plan plan.json --out report.html --pdf",
    "truerun report run-sheet.csv --plan plan.json --out report.html --linked dummy.csv dummy-plan.json",
)
@click.argument("table", type=FILE)
@click.option("--plan", type=FILE, required=True, help="The sealed plan; it gives every rule.")
@click.option("--out", type=FILE, required=True, metavar="FILE", help="Where to write the page; never over a file.")
@click.option("--pdf", is_flag=True, help="Also print it as PDF beside the page, through a Chromium that is there.")
@click.option("--paper", type=Word(("A4", "Letter")), default="A4", help="Paper of the PDF; A4 if not said.")
@click.option(
    "--cards", type=FILE, metavar="FOLDER", help="Also cards for a film, 1920 by 1080, and words to paste under it."
)
@click.option(
    "--linked",
    type=(FILE, FILE),
    multiple=True,
    metavar="TABLE PLAN",
    help="Another test of the same wheel: a control, a known help, same against same; may be repeated.",
)
@click.option("--claimant-says", metavar="WORDS", help="The claimant's answer to the result, in their own words.")
@click.option("--sceptic-says", metavar="WORDS", help="The sceptic's answer to the result.")
@click.option("--interests", metavar="WORDS", help="Who paid, who gains.")
@click.option("--stamp", metavar="WORDS", help="Who outside holds the code of the seal, or which time stamp it has.")
@click.option("--made", metavar="TIME", help="When it is made, such as 2026-03-14T21:52Z; now if not said.")
@click.option("--invented", is_flag=True, help="Say first that the test never took place.")
@click.option("--break-seal", is_flag=True, help="Look before the last planned run; only the running bet then decides.")
@click.option("--code", metavar="CODE", help="The spoken code that the plan must have.")
@click.option("--decimal", type=DECIMAL, help="Decimal sign of the table, where it cannot be told.")
@recordings_options
def command_line(
    table: Path,
    plan: Path,
    *,
    out: Path,
    pdf: bool,
    paper: str,
    cards: Path | None,
    linked: tuple[tuple[Path, Path], ...],
    claimant_says: str | None,
    sceptic_says: str | None,
    interests: str | None,
    stamp: str | None,
    made: str | None,
    invented: bool,
    break_seal: bool,
    code: str | None,
    decimal: str | None,
    marks: int | None,
    mark_angles: str | None,
) -> int:
    """Write the report of a test as one page that opens without any network and prints on A4 and Letter.

    It begins with claim, verdict, every run, controls, objections, seal and safety, and goes on with everything that
    these rest on. What was not done is said to be not done. The same TIME gives the same bytes.
    """
    printed = out.with_suffix(".pdf")
    require_new([out, printed] if pdf else [out])
    when = read_time(made) if made is not None else None
    from truerun.report.pdf import print_pdf, require_chromium
    from truerun.workflow.comparing import compare

    chromium = require_chromium(os.environ) if pdf else None
    angles = None if mark_angles is None else parse_angles(mark_angles)
    read = partial(compare, decimal=decimal, marks=marks, mark_angles=angles, workers=os.cpu_count() or 1)
    result = read(table, plan, break_seal=break_seal, code=code)
    said = {"claimant": claimant_says, "sceptic": sceptic_says}
    page = result.report(
        made=when,
        linked=[read(*each).comparison for each in linked],
        answers={side: words for side, words in said.items() if words is not None},
        interests=interests,
        stamp=stamp,
        invented=invented,
    )
    save_new(out.parent, {out.name: page})
    if chromium is not None:
        print_pdf(page, chromium, printed, paper=paper)
    if cards is not None:
        drawn = {f"{each.name}.png": each.png for each in result.cards(invented=invented)}
        save_new(cards, drawn | {"words.txt": result.words_to_paste(invented=invented)})
    show(result.comparison.headline)
    say(f"Written: {out}" + (f" and {printed}" if pdf else "") + (f" and cards in {cards}" if cards else ""))
    return 1 if result.stopped else 0
