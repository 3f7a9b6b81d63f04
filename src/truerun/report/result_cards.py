"""Cards to hold into a film: 1920 by 1080 points, readable on a phone; and words to paste under it."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from truerun.charts.drawing import Drawing
from truerun.charts.drive_line import draw_drive_line
from truerun.charts.luck import draw_luck
from truerun.charts.palette import Scheme, colours_of
from truerun.charts.render import FACES, png_of
from truerun.report.figures_shown import figures_shown
from truerun.trial.comparison import Comparison
from truerun.trial.plan import Plan

__all__ = ["CAUTIONS", "SIZE", "Card", "cards_of", "words_to_paste"]

SIZE = (1920, 1080)
"""Points of a card."""

CAUTIONS = (
    "Guard a spinning wheel, stand out of its plane, wear eye protection.",
    "Strong magnets pinch and shatter; wearers of implants stay away and ask their clinic.",
    "Local codes and licensed practice come first.",
)

DIGEST = "A film that is put on the web is encoded anew: what is watched there no longer matches any fingerprint."

_SERIF = "Georgia,Noto Serif,DejaVu Serif,Liberation Serif,serif"
_LEFT, _RIGHT = 110, 1810


@dataclass(frozen=True, slots=True)
class Card:
    """One card: its name, what it says in words, and the picture as PNG."""

    name: str
    words: str
    png: bytes


@dataclass(frozen=True, slots=True)
class _Line:
    """Words of one size [px]."""

    words: str
    size: int
    serif: bool = False
    strong: bool = False
    colour: str = "ink"


def cards_of(
    result: Comparison, *, plan: Plan | None = None, code: str | None = None, invented: bool = False
) -> tuple[Card, ...]:
    """Draw the cards of a finished test.

    Parameters
    ----------
    result : Comparison
        One that may be seen; a covered one has no cards.
    plan : Plan, optional
        Gives claim and order.
    code : str, optional
        Spoken code of the seal.
    invented : bool
        Whether the test never took place; every card then says so.

    Returns
    -------
    tuple of Card
        Claim, order, luck, result, limits, as far as there is something to say.
    """
    if result.verdict is None:
        return ()
    head = ("Invented example. " if invented else "") + (f"Sealed: {code}" if code else "No sealed plan")
    cards = []
    if plan is not None:
        cards.append(_card("claim", head, _claim_lines(plan)))
        cards.append(_card("order", head, _order_lines(plan)))
    luck = draw_luck(result)
    if luck is not None:
        said = [_Line("What could luck have done?", 76, serif=True), _Line(luck.alternative, 40, colour="ink2")]
        cards.append(_card("luck", head, said, luck))
    said = [_Line(result.headline, 104, serif=True), _Line(result.sentence, 42, colour="ink2")]
    cards.append(_card("result", head, said, draw_drive_line(result)))
    cards.append(_card("limits", head, _limit_lines(result)))
    return tuple(cards)


def words_to_paste(
    result: Comparison, *, plan: Plan | None = None, code: str | None = None, invented: bool = False
) -> str:
    """Write what can be pasted under a film.

    Parameters
    ----------
    result, plan, code, invented
        As for :func:`cards_of`.

    Returns
    -------
    str
        Nothing of a result that is still covered.
    """
    if result.verdict is None:
        return ""
    lines = ["INVENTED EXAMPLE. No such test took place."] if invented else []
    if plan is not None:
        lines.append(f"Claim: “{plan.claim.words}”")
        lines.append(f"{plan.runs} runs in an order drawn by lot, sealed {plan.made[:10]}.")
    if code:
        lines.append(f"Code of the seal: {code}")
    lines += [result.headline, result.sentence, *(line.words for line in _limit_lines(result)[1:]), DIGEST]
    return "\n".join(lines) + "\n"


def _claim_lines(plan: Plan) -> list[_Line]:
    """Say the claim, and what would count against it."""
    lines = [_Line("The claim", 44, strong=True, colour="ink2"), _Line(f"“{plan.claim.words}”", 84, serif=True)]
    if plan.claim.by:
        lines.append(_Line(f"Claimed by {plan.claim.by}.", 44, colour="ink2"))
    if plan.claim.against:
        lines.append(_Line(f"Against it would count: {plan.claim.against}", 44))
    return lines


def _order_lines(plan: Plan) -> list[_Line]:
    """Say the order of the runs."""
    rows = [f"{place}  {name}" for place, name in enumerate(plan.order, 1)]
    columns = 4 if len(rows) > 12 else 3
    deep = -(-len(rows) // columns)
    table = ["\t".join(rows[row::deep]) for row in range(deep)]
    return [
        _Line("The order, drawn by lot before the first run", 64, serif=True),
        *(_Line(row, 58) for row in table),
    ]


def _limit_lines(result: Comparison) -> list[_Line]:
    """Say what the result does not show."""
    figures = figures_shown(result)
    standing = next((each.sentence for each in result.findings if each.check == "cause-not-isolated"), None)
    lines = [_Line("What this does not say", 64, serif=True)]
    if standing:
        lines.append(_Line(standing, 48))
    if figures is not None and figures.bounds is not None:
        lines.append(_Line(f"Still possible: it adds {figures.bounds.adds}; it takes {figures.bounds.takes}.", 48))
    lines.append(_Line("It holds for the wheel that was tested, in the state in which it was tested.", 48))
    return [*lines, *(_Line(each, 40, colour="ink2") for each in CAUTIONS)]


def _card(name: str, head: str, lines: Sequence[_Line], drawing: Drawing | None = None) -> Card:
    """Draw one card."""
    said = "\n".join(line.words.replace("\t", "   ") for line in lines)
    return Card(name, said, _painted(head, lines, drawing))


def _painted(head: str, lines: Sequence[_Line], drawing: Drawing | None) -> bytes:
    """Paint words, and below them a drawing."""
    import vl_convert  # noqa: PLC0415  heavy, and only where cards are made
    from PIL import Image  # noqa: PLC0415

    texts, bottom = _texts([_Line(head, 34, colour="ink2"), *lines])
    colours, (width, height) = colours_of(Scheme.LIGHT), SIZE
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f'<rect width="{width}" height="{height}" fill="{colours["sheet"]}"/>'
        f'<rect x="{_LEFT}" y="118" width="{_RIGHT - _LEFT}" height="4" fill="{colours["ink"]}"/>{texts}</svg>'
    )
    card = Image.open(io.BytesIO(vl_convert.svg_to_png(svg, scale=1))).convert("RGB")
    if drawing is not None:
        room = SIZE[1] - bottom - 50
        scale = min((_RIGHT - _LEFT) / drawing.width, room / drawing.height)
        picture = Image.open(io.BytesIO(png_of(drawing, Scheme.LIGHT, scale))).convert("RGB")
        card.paste(picture, ((SIZE[0] - picture.width) // 2, bottom + 20))
    written = io.BytesIO()
    card.save(written, "PNG")
    return written.getvalue()


def _texts(lines: Iterable[_Line]) -> tuple[str, int]:
    """Set lines below one another, broken where they are too long; give the elements and where they end."""
    colours, parts, y = colours_of(Scheme.LIGHT), [], 90
    for place, line in enumerate(lines):
        fits = int((_RIGHT - _LEFT) / (line.size * (0.5 if line.serif else 0.53)))
        for row in _rows(line.words, fits):
            if place:
                y += round(1.28 * line.size)
            for column, words in enumerate(row.split("\t")):
                x = _LEFT + column * (_RIGHT - _LEFT) // 4
                face = _SERIF if line.serif else FACES
                weight = ' font-weight="600"' if line.strong else ""
                parts.append(
                    f'<text x="{x}" y="{y}" font-size="{line.size}" font-family="{face}" fill="{colours[line.colour]}"'
                    f"{weight}>{escape(words)}</text>"
                )
        y += 34 if place == 0 else round(0.35 * line.size)
    return "".join(parts), y


def _rows(words: str, fits: int) -> list[str]:
    """Break words into rows; a row of a table stays whole."""
    return [words] if "\t" in words else textwrap.wrap(words, fits) or [""]
