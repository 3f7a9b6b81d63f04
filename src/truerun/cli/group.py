"""Commands that are imported when they are called, and sentences for what click does not understand."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from importlib import import_module
from typing import Any

import click

from truerun.cli.front_page import COMMANDS, HELP
from truerun.cli.screen import refuse, say
from truerun.errors import ValueOutOfRange

__all__ = ["ExampleCommand", "command", "did_you_mean", "run_command"]

_CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class ExampleCommand(click.Command):
    """A command whose help begins with examples, one a line."""

    def __init__(self, name: str, *, examples: Sequence[str], **more: Any) -> None:
        super().__init__(name, context_settings=_CONTEXT, **more)
        self.examples = tuple(examples)

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the examples, then what click writes."""
        formatter.write("Example:\n" + "".join(f"  {line}\n" for line in self.examples) + "\n")
        super().format_help(ctx, formatter)


def command(name: str, *examples: str) -> Callable[[Callable[..., int]], ExampleCommand]:
    """Make a function the command of this name."""
    return click.command(name, cls=ExampleCommand, examples=examples)


MODULES = {"import": "taking_over"}
"""Commands whose module has another name: a word of Python names no module."""


class LazyGroup(click.Group):
    """The commands of :data:`truerun.cli.front_page.COMMANDS`, each from the module of its name."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  the signature is click's
        """Give the names, in the order of use."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002  likewise
        """Import a command."""
        if cmd_name not in COMMANDS:
            return None
        found = import_module(f"truerun.cli.{MODULES.get(cmd_name, cmd_name)}").command_line
        assert isinstance(found, click.Command)  # noqa: S101  ours, not a person's
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Refuse a word that is no command, with the one that was meant."""
        if args[0] not in COMMANDS:
            meant = did_you_mean(args[0], COMMANDS)
            raise ValueOutOfRange("The command", f'"{args[0]}"', f"one of {', '.join(COMMANDS)}", meant)
        return super().resolve_command(ctx, args)

    def format_help(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002  likewise
        """Write the same page as without click."""
        formatter.write(HELP)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Give a question with the nearest known word, or nothing.

    Examples
    --------
    >>> did_you_mean("compar", ("plan", "compare")), did_you_mean("cook", ("plan",))
    ('Did you mean compare?', '')
    """
    near = difflib.get_close_matches(word, list(known), n=1)
    return f"Did you mean {near[0]}?" if near else ""


@click.group(cls=LazyGroup, context_settings=_CONTEXT, no_args_is_help=False)
@click.version_option(package_name="truerun", message="truerun %(version)s")
def truerun() -> None:
    """Plan, run and judge tests of claims that a wheel runs by itself."""


def run_command(words: Sequence[str]) -> int:
    """Run the command that the words ask for and give its exit code."""
    try:
        code = truerun.main(args=list(words), prog_name="truerun", standalone_mode=False)
    except click.Abort:
        say("Broken off.")
        return 130
    except click.ClickException as error:
        refuse(_sentence(error))
        return 2
    return code if isinstance(code, int) else 0


def _sentence(error: click.ClickException) -> str:
    """Say in one sentence what click did not understand."""
    ctx = getattr(error, "ctx", None)
    path = ctx.command_path if ctx is not None else "truerun"
    see = f"See {path} --help."
    if isinstance(error, click.NoSuchOption):
        meant = did_you_mean(error.option_name, _option_names(ctx))
        return f"{path} has no option {error.option_name}. {meant or see}"
    if isinstance(error, click.MissingParameter) and error.param is not None:
        missing = error.param
        what = missing.opts[0] if missing.param_type_name == "option" else missing.human_readable_name
        return f"{path} needs {what}. {see}"
    if isinstance(error, click.BadParameter) and error.param is not None:
        return f"{error.param.opts[-1]}: {error.message.rstrip('.')}. {see}"
    return f"{error.format_message().rstrip('.')}. {see}"


def _option_names(ctx: click.Context | None) -> list[str]:
    """Give every option that a command has."""
    parameters = ctx.command.params if ctx is not None else []
    return [name for parameter in parameters for name in parameter.opts if not getattr(parameter, "hidden", False)]
