"""Templates of pages: every text that is put into one is escaped, and nothing may be left undefined."""

from __future__ import annotations

from functools import lru_cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from truerun.charts.palette import Scheme, variables_of
from truerun.report.typeset import set_quotes

__all__ = ["rendered"]

_PAPER = ("near", "near-line")


def rendered(template: str, **values: object) -> str:
    """Fill in a template of the folder ``templates``.

    Parameters
    ----------
    template : str
        Its name.
    **values : object
        What stands in it; plain texts are escaped.

    Returns
    -------
    str
        HTML, without blank lines and with one line end at its end.
    """
    text = _templates().get_template(template).render(**values)
    return "\n".join(line for line in text.split("\n") if line.strip()) + "\n"


@lru_cache(maxsize=1)
def _templates() -> Environment:
    """Give the environment, made once; the colours are those of the drawings."""
    pages = Environment(
        loader=PackageLoader("truerun.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    paper = ";".join(
        part for part in variables_of(Scheme.GREY_PRINT).split(";") if part.split(":")[0].removeprefix("--") in _PAPER
    )
    pages.filters["typeset"] = set_quotes
    pages.globals["light"] = variables_of(Scheme.LIGHT)
    pages.globals["dark"] = variables_of(Scheme.DARK)
    pages.globals["paper"] = paper
    return pages
