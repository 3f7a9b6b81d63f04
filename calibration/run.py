"""Measure every error rate that truerun claims, and write docs/measured.md.

    python calibration/run.py            all of it, on two cores (half an hour or so)
    python calibration/run.py --only fit only names that hold "fit"; the other rows of the page stay as they are
    python calibration/run.py --short    a quick try, nothing is written

Each figure has a seed of its own, its name, so a part made again gives the same figure. Ctrl-C writes nothing.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
from functools import partial
from pathlib import Path

import self_runners

from truerun.virtual import (
    error_rates,
    fit_rates,
    habit_rates,
    pool_rates,
    recorded_rates,
    sentence_rates,
    stopping_rates,
    verdict_habits,
    verdict_rates,
)
from truerun.virtual.calibration import Calibration, Recipe, carry_out

SECTIONS: dict[str, tuple[Recipe, ...]] = {
    "The verdict: whole tests, from the sealed plan and the filled sheet to the words": (
        *verdict_rates.RECIPES,
        *verdict_habits.RECIPES,
        *sentence_rates.RECIPES,
    ),
    "The whole road: from a sensor's files, read, counted and fitted, to the words": (
        *recorded_rates.RECIPES,
        *self_runners.RECIPES,
    ),
    "The list of orders alone": error_rates.RECIPES,
    "Stopping and looking": stopping_rates.RECIPES,
    "Habits, bumps and pooled tests": habit_rates.RECIPES,
    "Many variants, many doses, several tests": pool_rates.RECIPES,
    "The fit of one rundown": fit_rates.RECIPES,
}
RECIPES = tuple(recipe for recipes in SECTIONS.values() for recipe in recipes)
PAGE = Path(__file__).parents[1] / "docs" / "measured.md"

HEAD = """# What was measured

Every error rate that truerun claims, measured by truerun itself on its virtual bench, where the truth is known.
One command makes this page, `python calibration/run.py`, in half an hour or so; nothing in it is written by hand.

A band is where the figure must lie. Where theory gives the rate, the band is binomial: a rate that is right falls
outside it by luck once in a thousand. Elsewhere it is what the method promises. "Times" is how many made-up tests
the figure rests on: the fewer, the wider the band must be.

Words used here:

- *6+6*: six runs with the source and six with the control, in an order drawn by lot in blocks of four. *8+8* likewise.
- *spread*: how far runs of the same thing scatter (one standard deviation), 2 % of the time unless another is given.
- *white noise*: every run scatters by itself. *A line of 6 spreads*: times creep by that much from the first run to
  the last. *Warm-up*: the bearing runs in. *A level step*: the bench was knocked once. *A random walk*: the level
  wanders from run to run. *AR .8*: each run keeps .8 of how far the last one was off.
- *false alarm*: the source does nothing and is said to do something. *D*: the drive, D = .05 pays back 5 of every 100
  parts of the loss.
- *the list*: all the orders that could have been drawn; *p* is the share of them that luck alone makes as striking.
  *E*: the running bet against no effect, as a multiple of the stake.
- *span*, *interval*: between which two values the truth lies, right 95 times in 100.
- *s.e.*: the standard error, how far luck moves the result of one test. *Precision ratio 5*: the best test is five
  times as precise as the worst.
- *covariate*: something measured before launch that also matters.
- *lossless bump*: a magnetic bump that gives back all it takes. *Drag that wanders*: by 1 % within a run, forgetting
  within ten turns.
- *capture*: the bump catches the wheel. *Drag that drifts, 1 %, 2 turns*: drag wanders by 1 % and forgets within two
  turns.
- *chi-squared*: the squared misfit of all readings, each in units of its own error. *Linear theory*: the smallest
  scatter of drag, bump and mark spacing that such readings allow; *e'He/p* is the squared scatter found in those units.
"""

TABLE = ("| what | how | times | band | result | |", "|---|---|---|---|---|---|")


def format_figure(value: float) -> str:
    """Give a figure with the digits that a reader can use."""
    return f"{value:.0f}" if value == round(value) and abs(value) > 1 else f"{value:.5g}"


def row(made: Calibration) -> str:
    """Give one line of the table."""
    band = f"{format_figure(made.low)} to {format_figure(made.high)}"
    verdict = "within" if made.within else "**outside**"
    figures = f"{made.repetitions} | {band} | {format_figure(made.value)} | {verdict}"
    return f"| {made.name} | {made.sentence} | {figures} |"


def rows_of(page: str) -> dict[str, str]:
    """Give the rows of a page by the name of their figure."""
    lines = (line for line in page.splitlines() if line.startswith("| ") and line not in TABLE)
    return {line.split(" | ")[0].removeprefix("| "): line for line in lines}


def render_page(rows: dict[str, str]) -> str:
    """Give the page: a table for each section, then what fell outside its band or was not measured."""
    tables = [
        line
        for title, recipes in SECTIONS.items()
        for line in (f"## {title}", "", *TABLE, *(rows[each.name] for each in recipes if each.name in rows), "")
    ]
    names = [recipe.name for recipe in RECIPES]
    outside = [f"- {name}" for name in names if "**outside**" in rows.get(name, "")]
    missing = [f"- {name}: not measured yet" for name in names if name not in rows]
    return "\n".join([HEAD, *tables, "## Outside their band", "", *(outside + missing or ["None."]), ""])


def main() -> int:
    """Measure, show progress, write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--short", action="store_true", help="few repetitions, wide bands, nothing is written")
    parser.add_argument("--only", default="", metavar="TEXT", help="only names that hold this text")
    parser.add_argument("--workers", type=int, default=2, help="processes at a time (2)")
    asked = parser.parse_args()
    chosen = [recipe for recipe in RECIPES if asked.only in recipe.name]
    made = []
    # each process works alone: linear algebra that shares it out among cores makes the fits several times slower
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    start = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(asked.workers) as pool:
        for found in pool.imap(partial(carry_out, short=asked.short), chosen):
            made.append(found)
            mark = "within " if found.within else "OUTSIDE"
            band = f"{format_figure(found.low)} to {format_figure(found.high)}"
            seconds = time.monotonic() - start
            counted = f"{len(made):3d}/{len(chosen)} {seconds:6.0f} s"
            print(f"{counted}  {mark}  {found.name}: {format_figure(found.value)} ({band})", flush=True)
    if not asked.short:
        kept = rows_of(PAGE.read_text(encoding="utf-8")) if asked.only and PAGE.exists() else {}
        PAGE.write_text(render_page(kept | {found.name: row(found) for found in made}), encoding="utf-8")
        print(f"written: {PAGE}")
    return 0 if all(found.within for found in made) else 1


if __name__ == "__main__":
    sys.exit(main())
