"""The page ``docs/commands.md``, made from the commands themselves; a test holds the page to it."""

from __future__ import annotations

import inspect

import click

from truerun.cli.front_page import COMMANDS
from truerun.cli.group import ExampleCommand, truerun

__all__ = ["commands_page"]

_HEAD = """\
# Commands

Every command that computes takes `--json` and then writes one object with a key `schema`. Results go to standard
output, everything else to standard error. The exit code is 0 when done, 1 when it is not a fair test or only counts may
be shown, 2 when something given cannot be used (one sentence says what), 130 after Ctrl-C.

A share is written `5%` or `0.05`; a bare 5 is refused. A speed needs its unit, such as `120 r/min`; minutes may be
written `6`, `5:30` or `330 s`. Decimal point and decimal comma both count.
"""


def commands_page() -> str:
    """Write the page of all commands with every option.

    Returns
    -------
    str
        Markdown.
    """
    ctx = click.Context(truerun)
    sections = [
        _section(command) for name in COMMANDS if isinstance(command := truerun.get_command(ctx, name), ExampleCommand)
    ]
    return "\n".join([_HEAD, *sections])


def _section(command: ExampleCommand) -> str:
    """Write one command: examples, what it does, its options."""
    examples = "\n".join(command.examples)
    rows = [_row(option) for option in command.params if isinstance(option, click.Option) and not option.hidden]
    arguments = " ".join(
        parameter.human_readable_name if parameter.required else f"[{parameter.human_readable_name}]"
        for parameter in command.params
        if isinstance(parameter, click.Argument)
    )
    return "\n".join(
        [
            f"## truerun {' '.join(filter(None, [command.name, arguments]))}\n",
            f"```\n{examples}\n```\n",
            f"{inspect.cleandoc(command.help or '')}\n",
            "| option | what it says |",
            "|---|---|",
            *rows,
            "",
        ]
    )


def _row(option: click.Option) -> str:
    """Write one option as a row of a table."""
    metavar = "" if option.is_flag else f" {option.metavar or _words(option)}"
    name = f"{option.opts[-1]}{metavar}".replace("|", "\\|")
    return f"| `{name}` | {option.help} |"


def _words(option: click.Option) -> str:
    """Give the words that an option takes, or the kind of its value."""
    return "|".join(getattr(option.type, "words", (option.type.name.upper(),)))
