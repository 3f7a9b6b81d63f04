"""What ``truerun`` and ``truerun --help`` say; nothing is imported here, so that both come at once."""

from __future__ import annotations

__all__ = ["COMMANDS", "FIRST_STEPS", "HELP"]

COMMANDS = {
    "look": "look at a few runs before any claim or plan; nothing is decided",
    "plan": "make a fair plan, draw the order of the runs by lot, seal it",
    "rehearse": "try the plan on a virtual wheel: how often each verdict comes",
    "rundown": "measure how a wheel slowed down, from one recording or several",
    "compare": "decide what a table of runs says about the source",
    "report": "write the verdict and all it rests on as one page",
    "pool": "put finished tests of one claim together",
    "screening": "find out which of many variants is worth a test",
    "dose": "test whether more of the source does more",
    "serve": "open the notebook in a browser on this machine",
    "new": "open a test in the notebook, with its claim and its sealed plan",
    "run": "do the next runs at the bench, led from launch to launch",
    "live": "watch a sensor, check it, keep its passes as a run or in a file",
    "record": "type in runs from a printed sheet, attach recordings and photos, write notes",
    "amend": "put right or add what stands in a test: answers, draws, mistakes, challenges",
    "show": "show what stands in the notebook",
    "decide": "decide a test of the notebook once its last run is done",
    "bundle": "write a test as one file for strangers",
    "import": "take a test over from such a file",
    "verify": "check a notebook or such a file, byte by byte",
    "demo": "see invented tests in a browser, or a verdict here",
}
"""The commands in the order of use."""

FIRST_STEPS = """\
1. Look first    truerun look TABLE      a few runs with and without the source; nothing is decided
2. Plan          truerun plan            answer questions; the order is drawn by lot, the plan sealed
3. Compare       truerun compare run-sheet.csv --plan plan.json         the filled-in sheet decides
All of it in a browser, on this computer only: truerun serve.
Nothing to try it on yet: truerun demo. All commands: truerun --help."""

_WIDTH = max(map(len, COMMANDS)) + 2

HELP = f"""\
Example:
  truerun plan                                      questions, a sealed plan, a run sheet
  truerun compare run-sheet.csv --plan plan.json    the verdict, once the sheet is filled in

Usage: truerun COMMAND [OPTIONS] ...

  Does a wheel with magnets run by itself? truerun plans a fair test, keeps it sealed,
  and decides by the rule that was fixed before the first run.

Commands:
{chr(10).join(f"  {name.ljust(_WIDTH)}{what}" for name, what in COMMANDS.items())}

Options:
  --help     this page; truerun COMMAND --help is the page of a command
  --version  which truerun this is

Ends with 0 when done, 1 when it is not a fair test or only counts may be shown, 2 when
something given cannot be used. Results go to standard output, all else to standard error."""
