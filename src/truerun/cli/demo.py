"""``truerun demo``: a plan and a verdict on invented data."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.parameters import FILE
from truerun.cli.saving import require_new, save_new
from truerun.cli.screen import say, show

__all__ = ["command_line"]

_NAMES = ("claim.toml", "trial.csv", "plan.json", "run-sheet.csv", "run-sheet.html")


@command("demo", "truerun demo", "truerun demo --out demo")
@click.option("--out", type=FILE, metavar="FOLDER", help="Where to write its files; a folder for a while if not said.")
def command_line(*, out: Path | None) -> int:
    """Show a whole test on invented data: claim, trial runs, sealed plan, filled-in sheet, verdict.

    A village repair hall tests "the rim arc". The files stay in FOLDER, to be tried with the other commands.
    """
    if out is not None:
        require_new([out / name for name in _NAMES])
    folder = Path(tempfile.mkdtemp(prefix="truerun-demo-")) if out is None else out
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
