"""Templates of the application: every text that is put into one is escaped, and nothing may be left undefined."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, PrefixLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from truerun.notebook.ledger import TestRow
from truerun.notebook.state import TestState
from truerun.report.typeset import set_quotes
from truerun.trial.mishaps import reason_words
from truerun.web.family import family_of
from truerun.web.road import road_of
from truerun.web.visit import Visit, moved

__all__ = ["page", "page_of_test"]


@lru_cache(maxsize=1)
def _templates() -> Environment:
    """Give the environment, made once; pieces of reports are found under ``report/``."""
    loader = ChoiceLoader(
        [
            PackageLoader("truerun.web", "templates"),
            PrefixLoader({"report": PackageLoader("truerun.report", "templates")}),
        ]
    )
    made = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    made.filters["typeset"] = set_quotes
    made.filters["reason"] = reason_words
    return made


def page(visit: Visit, template: str, *, status: int = 200, **values: Any) -> Response:
    """Fill in a template.

    Parameters
    ----------
    visit : Visit
        The request that is answered.
    template : str
        Its name in the folder ``templates``.
    status : int
        Of the answer.
    **values : object
        What stands in it; texts are escaped.

    Returns
    -------
    Response
    """
    place = str(visit.notebook.place)
    kept = Path(place).name if "://" not in place else "shared"
    text = _templates().get_template(template).render(notebook=kept, path=visit.path, **values)
    return HTMLResponse(text, status)


def page_of_test(
    visit: Visit, row: TestRow, state: TestState, template: str, *, here: str, status: int = 200, **values: Any
) -> Response:
    """Fill in a template of one test, under its road; ``here`` is the stage that is shown.

    A screening has no road: whoever asks for a stage of it, all but the rig, is led to the screening.
    """
    if state.screening is not None and here not in ("", "rig"):
        return moved(f"/t/{row.number}/screening")
    road = road_of(row.number, state, here)
    family = family_of(visit, state)
    base = f"/t/{row.number}"
    return page(visit, template, status=status, row=row, state=state, road=road, family=family, base=base, **values)
