"""Bytes of a text file to rows of cells: encoding, delimiter, quotes, comments, blank lines."""

from __future__ import annotations

import codecs
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator

from truerun.errors import RecordingUnreadable, ValueOutOfRange
from truerun.findings.catalogue import finding
from truerun.findings.finding import Finding
from truerun.recordings.grid import Grid, Line

__all__ = [
    "BYTE_ORDER_MARKS",
    "DECLARED_DELIMITER",
    "decode_text",
    "detect_delimiter",
    "is_left_out",
    "read_text_table",
    "split_cells",
    "unmarked_encoding",
]

# Longer marks first: the mark of UTF-16 (little end first) is the beginning of that of UTF-32.
BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
DELIMITERS = ("\t", ";", ",")
QUOTED = re.compile(r'"((?:[^"]|"")*)"')
LONGEST_CELL = 100  # lines; a quote that stays open for longer was not meant to open a cell
DECLARED_DELIMITER = re.compile(r"sep=([\t;,])\s*", re.IGNORECASE)
# Tab, line feed and form feed are the only control characters that a table may hold.
CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x84\x86-\x9f\ufffe\uffff]")


def decode_text(content: bytes, name: str, encoding: str | None = None) -> tuple[str, tuple[Finding, ...]]:
    r"""Text of a file, with a finding where its encoding had to be guessed.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        Its name, for messages.
    encoding : str, optional
        Name of the encoding; found by its byte-order mark, else UTF-8, UTF-16 or Western European.

    Returns
    -------
    tuple
        The text, in composed Unicode form and with ``\n`` at the ends of lines, and the findings.

    Raises
    ------
    RecordingUnreadable
        If the bytes are not text in that encoding.
    ValueOutOfRange
        If there is no encoding of that name.

    Examples
    --------
    >>> decode_text("Lauf;Zeit\r\n1;61,2\r\n".encode("utf-16"), "times.csv")
    ('Lauf;Zeit\n1;61,2\n', ())
    """
    mark, marked = next((pair for pair in BYTE_ORDER_MARKS if content.startswith(pair[0])), (b"", None))
    body = content[len(mark) :]
    findings: tuple[Finding, ...] = ()
    chosen = marked or encoding or unmarked_encoding(body)
    if chosen is None:
        chosen = "cp1252"
        findings = (finding("encoding-guessed", path=name),)
    try:
        text = body.decode(chosen)
    except LookupError:
        allowed = "the name of a text encoding"
        raise ValueOutOfRange("encoding", f'"{encoding}"', allowed, 'For example "utf-8" or "cp1252".') from None
    except ValueError:
        raise RecordingUnreadable(name, "", _not_text(chosen if marked or encoding else None)) from None
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\x1a"))
    _require_text(text, name)
    return text, findings


def _require_text(text: str, name: str) -> None:
    """Refuse what holds control characters: many are another kind of file, few are a damaged line."""
    odd = CONTROL.findall(text)
    if not odd:
        return
    if "\x00" in odd or len(odd) > 0.01 * len(text):
        raise RecordingUnreadable(name, "", _not_text(None))
    line = text.count("\n", 0, text.index(odd[0])) + 1
    found = f"there is a character U+{ord(odd[0]):04X} in it, which no table of text has."
    raise RecordingUnreadable(name, f"line {line}", f"{found} Take it out.")


def unmarked_encoding(body: bytes) -> str | None:
    r"""Tell the encoding of a text without a byte-order mark.

    Parameters
    ----------
    body : bytes
        The text, or whole lines of it.

    Returns
    -------
    str or None
        UTF-8 where the bytes allow it, UTF-16 where every other byte is mostly zero, else None.

    Examples
    --------
    >>> unmarked_encoding(b"61.2"), unmarked_encoding(b"6\x001\x00")
    ('utf-8', 'utf-16-le')
    """
    head = body[:4096]
    pairs = len(head) // 2
    if pairs and head[1::2].count(0) > 0.6 * pairs:
        return "utf-16-le"
    if pairs and head[0::2].count(0) > 0.6 * pairs:
        return "utf-16-be"
    try:
        body.decode("utf-8")
    except UnicodeDecodeError:
        return None
    return "utf-8"


def _not_text(encoding: str | None) -> str:
    """Say that the bytes are no text, and what to do."""
    kind = f"text in the encoding {encoding}" if encoding else "text"
    return f"the file is not {kind}. Save the table as CSV in UTF-8, or as .xlsx or .ods."


def detect_delimiter(lines: list[str]) -> str:
    r"""Sign that separates the cells of a table.

    The first of tab, semicolon and comma that comes equally often in at least half of the lines (so a decimal
    comma never wins over a semicolon); comma if none does.

    Parameters
    ----------
    lines : list of str
        Lines of the file without blank lines and comments.

    Returns
    -------
    str
        One of ``"\t"``, ``";"``, ``","``.

    Examples
    --------
    >>> detect_delimiter(["Lauf;Bedingung;Zeit", "1;Magnet drin;61,2"])
    ';'
    """
    for delimiter in DELIMITERS:
        counts = Counter(line.count(delimiter) for line in lines if delimiter in line)
        if counts and 2 * counts.most_common(1)[0][1] >= len(lines):
            return delimiter
    return ","


def split_cells(text: str, delimiter: str) -> list[str] | None:
    """Cells of one row, without outer blanks and quotes.

    Parameters
    ----------
    text : str
        The row. It may hold ends of lines inside quotes.
    delimiter : str
        Sign between cells.

    Returns
    -------
    list of str or None
        None while a quote is open: the row goes on in the next line.

    Raises
    ------
    ValueError
        If a cell goes on after its closing quote.

    Examples
    --------
    >>> split_cells('1, "arc ""A"", near" ,61.2', ",")
    ['1', 'arc "A", near', '61.2']
    """
    if '"' not in text:
        return [cell.strip() for cell in text.split(delimiter)]
    cells: list[str] = []
    place = 0
    while place <= len(text):
        start = place + len(text[place:]) - len(text[place:].lstrip(" \u00a0"))
        quoted = QUOTED.match(text, start)
        if quoted is None and text.startswith('"', start):
            return None
        end = text.find(delimiter, quoted.end() if quoted else place)
        end = len(text) if end < 0 else end
        rest = text[quoted.end() if quoted else place : end].strip()
        if quoted and rest:
            raise ValueError(rest)
        cells.append(quoted[1].replace('""', '"').strip() if quoted else rest)
        place = end + 1
    return cells


def is_left_out(text: str) -> bool:
    """Tell whether a line is blank or a comment; a lone # is the heading of a column of numbers.

    Examples
    --------
    >>> is_left_out(";;"), is_left_out("# my bench"), is_left_out("#;time")
    (True, True, False)
    """
    bare = text.strip()
    return not bare.strip("\t;, ") or (bare[0] == "#" and bare[1:2] not in DELIMITERS)


def _rows(name: str, lines: list[str], delimiter: str) -> Iterator[Line]:
    """Rows that are neither blank nor comments; a quoted cell may run over several lines."""
    start, pending = 0, ""
    for number, text in enumerate(lines, 1):
        if not pending:
            if is_left_out(text):
                continue
            start = number
        pending = f"{pending}\n{text}" if number > start else text
        try:
            cells = split_cells(pending, delimiter)
        except ValueError as rest:
            found = f'a cell goes on with "{rest}" after its closing quote.'
            raise RecordingUnreadable(name, f"line {start}", f"{found} Double the quotes inside a cell.") from None
        if cells is not None:
            yield Line(start, tuple(cells))
            pending = ""
        elif number - start > LONGEST_CELL:
            break
    if pending:
        found = "a quote opens a cell and is never closed."
        raise RecordingUnreadable(name, f"line {start}", f"{found} Close it, or take it out.")


def read_text_table(content: bytes, name: str, *, encoding: str | None = None) -> Grid:
    r"""Rows of a table of text, with comma, semicolon or tab between cells.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        Its name, for messages.
    encoding : str, optional
        Name of the encoding, where it is known.

    Returns
    -------
    Grid

    Raises
    ------
    RecordingUnreadable
        If the bytes are no text, or a quote is not closed.

    Examples
    --------
    >>> read_text_table(b"# my bench\n\nrun,time\n1,61.2\n", "times.csv").lines
    (Line(number=3, cells=('run', 'time')), Line(number=4, cells=('1', '61.2')))
    """
    text, findings = decode_text(content, name, encoding)
    lines = text.replace("\x0c", " ").split("\n")
    declared = DECLARED_DELIMITER.fullmatch(lines[0])
    if declared:
        lines[0] = ""
    delimiter = declared[1] if declared else detect_delimiter([line for line in lines if not is_left_out(line)])
    return Grid(name, "line", tuple(_rows(name, lines, delimiter)), findings=findings)
