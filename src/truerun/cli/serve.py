"""``truerun serve``: the notebook in a browser on this machine."""

from __future__ import annotations

import threading
import webbrowser
from typing import TYPE_CHECKING

import click

from truerun.cli.group import command
from truerun.cli.notebooks import notebook_option, opened
from truerun.cli.screen import say, show

if TYPE_CHECKING:
    from truerun.workflow.recorded import Measurements

__all__ = ["command_line", "serve_notebook"]


@command("serve", "truerun serve", "truerun serve --notebook bench.notebook --no-browser")
@notebook_option
@click.option("--port", type=click.IntRange(0, 65535), metavar="N", help="The port; without it 8416 or the next free.")
@click.option("--no-browser", "quiet", is_flag=True, help="Only print the link; no browser is opened.")
def command_line(notebook: str | None, *, port: int | None, quiet: bool) -> int:
    """Open the notebook in a browser; one that is not there yet is made.

    Only this machine is answered, and only a browser that opened the link which is printed. The link is good once.
    Ctrl-C ends it; everything that was written is kept.
    """
    return serve_notebook(notebook, port=port, quiet=quiet)


def serve_notebook(notebook: str | None, *, port: int | None, quiet: bool, measured: Measurements | None = None) -> int:
    """Answer a browser until Ctrl-C, with the notebook that was named."""
    from truerun.web.server import listening, serve

    def ready(link: str) -> None:
        show(link)
        say("This link is good once, for one browser. Ctrl-C here ends truerun.")
        if not quiet:
            threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()

    listener = listening(port)
    with listener, opened(notebook, make=True) as book:
        serve(book, listener, ready, measured=measured)
    say("Closed. Everything that was written is kept.")
    return 0
