"""``truerun verify``: check a notebook or a bundle."""

from __future__ import annotations

from pathlib import Path

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened
from truerun.cli.parameters import FILE, json_option
from truerun.cli.screen import show, show_json
from truerun.report.json_text import json_text

__all__ = ["command_line"]


@command("verify", "truerun verify", "truerun verify arc.zip")
@click.argument("bundle", type=FILE, required=False)
@notebook_option
@json_option
def command_line(bundle: Path | None, *, notebook: str | None, as_json: bool) -> int:
    """Check the notebook, or BUNDLE, byte by byte: every line, both chains, every file.

    Ends with 1 where something is not as it was written; each fault is named with its line or file and its meaning.
    """
    from truerun.workflow.bundles import verify

    if bundle is not None:
        checked = verify(bundle)
    else:
        with opened(notebook) as book:
            checked = verify(book)
    if as_json:
        faults = [{"where": fault.where, "meaning": fault.meaning} for fault in checked.faults]
        data = {
            "schema": "truerun/verification/1",
            "entries": checked.entries,
            "files": checked.files,
            "faults": faults,
        }
        show_json(json_text(data))
    elif checked.faults:
        show("\n".join(f"{fault.where}: {fault.meaning}." for fault in checked.faults))
    else:
        files = f" and {checked.files} files" if checked.files else ""
        show(f"All {checked.entries} lines{files} are as they were written.")
    return 1 if checked.faults else 0
