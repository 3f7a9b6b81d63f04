"""Cards for a film, and words to paste under it; only once the result is open."""

from __future__ import annotations

from starlette.responses import Response

from truerun.errors import ValueOutOfRange
from truerun.notebook.ledger import TestRow
from truerun.notebook.state import TestState
from truerun.report.result_cards import DIGEST, Card
from truerun.web.pages import page_of_test
from truerun.web.verdicts import result_of
from truerun.web.visit import Visit

__all__ = ["card", "cards"]


def cards(visit: Visit) -> Response:
    """Show every card, and the words."""
    row = visit.row
    state = visit.state(row)
    words = result_of(visit, row, state).words_to_paste(invented=state.invented)
    made = _made(visit, row, state)
    return page_of_test(visit, row, state, "cards.html.j2", here="report", cards=made, words=words, digest=DIGEST)


def card(visit: Visit) -> Response:
    """Give one card as PNG."""
    row = visit.row
    made = _made(visit, row, visit.state(row))
    name = str(visit.place["name"]).removesuffix(".png")
    found = next((each for each in made if each.name == name), None)
    if found is None:
        listed = ", ".join(each.name for each in made)
        raise ValueOutOfRange("The card", f'"{name}"', listed, "See all cards.")
    return Response(found.png, media_type="image/png", headers={"cache-control": "private, no-cache"})


def _made(visit: Visit, row: TestRow, state: TestState) -> tuple[Card, ...]:
    """Draw the cards once for each state of the logbook."""
    result = result_of(visit, row, state)
    key = ("cards", row.id, state.head.digest)
    made: tuple[Card, ...] = visit.bench.kept(key, lambda: result.cards(invented=state.invented))
    return made
