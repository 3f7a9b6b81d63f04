"""``truerun demo``: a notebook of invented tests in a browser, or a plan and a verdict on the terminal."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from truerun.cli.group import command
from truerun.cli.parameters import FILE
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import say, show
from truerun.cli.serve import serve_notebook

if TYPE_CHECKING:
    from truerun.workflow.recorded import Measurements

__all__ = ["command_line"]

_NAMES = ("claim.toml", "trial.csv", "plan.json", "run-sheet.csv", "run-sheet.html")
_NOTEBOOK = "demo.notebook"


@command("demo", "truerun demo", "truerun demo --out demo", "truerun demo --terminal")
@click.option("--out", type=FILE, metavar="FOLDER", help="Where to keep its files; a folder for a while if not said.")
@click.option("--terminal", is_flag=True, help="No browser: one test from claim to verdict here, with its files.")
@click.option("--port", type=click.IntRange(0, 65535), metavar="N", help="The port; without it 8416 or the next free.")
@click.option("--no-browser", "quiet", is_flag=True, help="Only print the link; no browser is opened.")
def command_line(*, out: Path | None, terminal: bool, port: int | None, quiet: bool) -> int:
    """Open a notebook of invented tests: a village repair hall tests "the rim arc".

    It is made in FOLDER, always with the same runs; one that is there already is opened as it is. Ctrl-C ends it.
    """
    if terminal:
        return _on_the_terminal(out)
    folder = _folder(out)
    place = folder / _NOTEBOOK
    measured: Measurements = {}
    if not place.exists():
        say("Making the notebook of invented tests; this takes a few seconds.")
        measured = _make(place)
    say(f"The notebook is {place}. Nothing in it took place.")
    return serve_notebook(str(place), port=port, quiet=quiet, measured=measured)


def _make(place: Path) -> Measurements:
    """Make the notebook, whole or not at all; give what was measured meanwhile."""
    from truerun.workflow.demo_notebook import demonstration_notebook

    measured: Measurements = {}
    place.parent.mkdir(parents=True, exist_ok=True)
    try:
        demonstration_notebook(place, workers=os.cpu_count() or 1, kept=measured)
    except BaseException:
        for part in place.parent.glob(f"{place.name}*"):
            part.unlink()
        raise
    return measured


def _folder(out: Path | None) -> Path:
    """Give the folder of the files."""
    return Path(tempfile.mkdtemp(prefix="truerun-demo-")) if out is None else out


def _on_the_terminal(out: Path | None) -> int:
    """Show a whole test: claim, trial runs, sealed plan, filled-in sheet, verdict; its files stay in the folder."""
    if out is not None:
        require_new([out / name for name in _NAMES])
    folder = _folder(out)
    say("An invented test: a village repair hall tests an arc of magnets beside the rim of a wheel.\n")
    from truerun.workflow.comparing import compare
    from truerun.workflow.demonstration import demonstration_files

    save_new(folder, demonstration_files())
    sheet, plan = folder / "run-sheet.csv", folder / "plan.json"
    result = compare(sheet, plan)
    show(result.summary())
    say(
        f"\nIts files are in {folder}. Try next:\n"
        f'  truerun look {folder / "trial.csv"} --control "arc out" --end speed\n'
        f"  truerun plan {folder / 'claim.toml'} --pilot {folder / 'trial.csv'} --out my-test\n"
        f"  truerun compare {sheet} --plan {plan} --json\n"
        f"To print: {folder / 'run-sheet.html'}. Your own test begins with: truerun plan"
    )
    return 0
