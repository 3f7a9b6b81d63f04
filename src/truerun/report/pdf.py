"""A page as PDF, printed by a Chromium that is there already."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from truerun.errors import ValueOutOfRange

__all__ = ["PAPERS", "find_chromium", "print_pdf", "require_chromium"]

PAPERS = ("A4", "Letter")
"""Sizes of paper."""

_VARIABLE = "TRUERUN_CHROMIUM"
_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
_PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
)
_SECONDS = 120
_QUIET = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-extensions",
    "--disable-sync",
    "--no-pings",
    "--no-pdf-header-footer",
    # nothing leaves the machine: every name leads nowhere, and a proxy that is not there would refuse the rest
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--proxy-server=127.0.0.1:9",
    "--virtual-time-budget=1000",
)


def find_chromium(environ: Mapping[str, str], which: Callable[[str], str | None] = shutil.which) -> Path | None:
    """Find a Chromium, or one of its relatives.

    Parameters
    ----------
    environ : mapping
        ``TRUERUN_CHROMIUM`` names one; the rest is not looked at.
    which : callable
        Finds a program by its name.

    Returns
    -------
    Path or None

    Examples
    --------
    >>> str(find_chromium({}, {"chrome": "chrome"}.get))
    'chrome'
    """
    named = environ.get(_VARIABLE)
    if named:
        return Path(named) if Path(named).is_file() else None
    found = next((path for name in _NAMES if (path := which(name))), None)
    if found is None:
        found = next((place for place in _PLACES if Path(place).is_file()), None)
    return Path(found) if found else None


def require_chromium(environ: Mapping[str, str]) -> Path:
    """Find a Chromium, or say in one sentence what to do without.

    Raises
    ------
    ValueOutOfRange
        If there is none.
    """
    found = find_chromium(environ)
    if found is None:
        named = environ.get(_VARIABLE)
        raise ValueOutOfRange(
            "The program that prints the PDF",
            f'"{named}", which is no file' if named else "not there",
            f"Chromium or one of its relatives, by name or in {_VARIABLE}",
            "Install it, or open the page in any browser and print it from there.",
        )
    return found


def print_pdf(html: str, chromium: Path, out: Path, *, paper: str = "A4") -> None:
    """Print a page.

    Parameters
    ----------
    html : str
        Self-contained.
    chromium : Path
        From :func:`require_chromium`.
    out : Path
        Where to write; its folder must be there.
    paper : {"A4", "Letter"}
        Size of the paper; the margins are the page's own.

    Raises
    ------
    ValueOutOfRange
        If the paper is unknown, or Chromium did not print.

    Notes
    -----
    Chromium gets a folder of its own for the time of printing and no way out to any network.
    """
    if paper not in PAPERS:
        raise ValueOutOfRange("The paper", f'"{paper}"', " or ".join(PAPERS))
    with tempfile.TemporaryDirectory(prefix="truerun-print-") as folder:
        page, made = Path(folder) / "page.html", Path(folder) / "page.pdf"
        sized = html.replace("</head>", f"<style>@page {{ size: {paper} }}</style>\n</head>", 1)
        page.write_text(sized, encoding="utf-8", newline="\n")
        said = _run(
            [
                str(chromium),
                *_QUIET,
                *_as_root(),
                f"--user-data-dir={folder}/profile",
                f"--print-to-pdf={made}",
                page.as_uri(),
            ]
        )
        if not made.is_file() or not made.read_bytes().startswith(b"%PDF-"):
            raise ValueOutOfRange("The PDF", f"not made ({said})", "printed by Chromium", "Print the page by hand.")
        shutil.copyfile(made, out)


def _as_root() -> list[str]:
    """Chromium refuses its sandbox to root."""
    return ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []


def _run(words: list[str]) -> str:
    """Run Chromium and give the last line it said."""
    try:
        ended = subprocess.run(  # noqa: S603  the program was found by name or named by its user
            words, capture_output=True, text=True, errors="replace", timeout=_SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        return f"no answer within {_SECONDS} s"
    except OSError as error:
        return (error.strerror or "it cannot be started").lower()
    lines = ended.stderr.strip().splitlines()
    return lines[-1][:200] if lines else f"it ended with {ended.returncode}"
