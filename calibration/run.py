"""Measure every error rate that truerun claims, and write docs/measured.md.

    python calibration/run.py            all of it, on two cores (some minutes)
    python calibration/run.py --short    a quick try, nothing is written

Each figure has a seed of its own, its name, so a part made again gives the same figure. Ctrl-C writes nothing.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from functools import partial
from pathlib import Path

from truerun.virtual import error_rates, fit_rates, habit_rates, pool_rates, stopping_rates
from truerun.virtual.calibration import Calibration, Recipe, carry_out

RECIPES: tuple[Recipe, ...] = (
    *error_rates.RECIPES,
    *stopping_rates.RECIPES,
    *habit_rates.RECIPES,
    *pool_rates.RECIPES,
    *fit_rates.RECIPES,
)
PAGE = Path(__file__).parents[1] / "docs" / "measured.md"

HEAD = """# What was measured

Every error rate that truerun claims, measured by truerun itself on its virtual bench, where the truth is known.
One command makes this page, `python calibration/run.py`, in some minutes; nothing in it is written by hand.

A band is where the figure must lie. Where theory gives the rate, the band is binomial: a rate that is right falls
outside it by luck once in a thousand. Elsewhere it is what the method promises.
"""


def format_figure(value: float) -> str:
    """Give a figure with the digits that a reader can use."""
    return f"{value:.0f}" if value == round(value) and abs(value) > 1 else f"{value:.5g}"


def row(made: Calibration) -> str:
    """Give one line of the table."""
    band = f"{format_figure(made.low)} to {format_figure(made.high)}"
    verdict = "within" if made.within else "**outside**"
    figures = f"{made.repetitions} | {band} | {format_figure(made.value)} | {verdict}"
    return f"| {made.name} | {made.sentence} | {figures} |"


def render_page(made: list[Calibration]) -> str:
    """Give the page: the table, then what fell outside its band."""
    outside = [f"- {found.name}: {format_figure(found.value)}" for found in made if not found.within]
    table = ["| what | how | times | band | result | |", "|---|---|---|---|---|---|", *map(row, made)]
    shortfalls = outside or ["None."]
    return "\n".join([HEAD, *table, "", "## Outside their band", "", *shortfalls, ""])


def main() -> int:
    """Measure, show progress, write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--short", action="store_true", help="few repetitions, wide bands, nothing is written")
    parser.add_argument("--only", default="", metavar="TEXT", help="only names that hold this text, nothing is written")
    parser.add_argument("--workers", type=int, default=2, help="processes at a time (2)")
    asked = parser.parse_args()
    chosen = [recipe for recipe in RECIPES if asked.only in recipe.name]
    made = []
    start = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(asked.workers) as pool:
        for found in pool.imap(partial(carry_out, short=asked.short), chosen):
            made.append(found)
            mark = "within " if found.within else "OUTSIDE"
            band = f"{format_figure(found.low)} to {format_figure(found.high)}"
            seconds = time.monotonic() - start
            counted = f"{len(made):3d}/{len(chosen)} {seconds:6.0f} s"
            print(f"{counted}  {mark}  {found.name}: {format_figure(found.value)} ({band})", flush=True)
    if not asked.short and not asked.only:
        PAGE.write_text(render_page(made), encoding="utf-8")
        print(f"written: {PAGE}")
    return 0 if all(found.within for found in made) else 1


if __name__ == "__main__":
    sys.exit(main())
