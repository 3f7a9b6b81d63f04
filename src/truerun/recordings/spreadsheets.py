"""Sheets of a workbook (.xlsx, .ods, .xls) to rows of cells."""

from __future__ import annotations

import re
import zlib
from io import BytesIO
from zipfile import BadZipFile, ZipFile

from truerun.errors import RecordingUnreadable
from truerun.recordings.grid import Grid, lines_of_cells

__all__ = ["looks_like_spreadsheet", "read_spreadsheet"]

ZIP_START = b"PK\x03\x04"  # .xlsx and .ods are zip archives
OLD_OFFICE_START = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # .xls
LARGEST_UNPACKED = 200_000_000  # bytes; a table of runs is far below it, a zip bomb above
MOST_CELLS = 2_000_000  # in a sheet, empty ones among them
# what zipfile raises for damaged archives; a compression that it does not know is a RuntimeError too
ZIP_TROUBLES = (BadZipFile, EOFError, OSError, RuntimeError, ValueError, zlib.error)
SHEET = re.compile(r"xl/worksheets/[^/]+\.xml|content\.xml")
FILLED_CELL = re.compile(rb'<c\s[^>]*?\br="([A-Z]{1,3})([0-9]{1,7})"[^>]*(?<!/)>')  # .xlsx
REPEATED_CELL = re.compile(rb'<table:table-cell\s[^>]*number-columns-repeated="([0-9]{1,9})"[^>]*(?<!/)>')  # .ods
REPEATED_ROW = re.compile(
    rb'<table:table-row\s[^>]*number-rows-repeated="([0-9]{1,9})"[^>]*(?<!/)>(.*?)</table:table-row>', re.DOTALL
)
AS_CSV = "Save the sheet as CSV, which always works, or as .xlsx or .ods."


def looks_like_spreadsheet(head: bytes) -> bool:
    """Tell a workbook by its first bytes, whatever its name.

    Parameters
    ----------
    head : bytes
        The first 8 bytes or more.

    Returns
    -------
    bool

    Examples
    --------
    >>> looks_like_spreadsheet(b"run,condition,time")
    False
    """
    return head.startswith((ZIP_START, OLD_OFFICE_START))


def read_spreadsheet(content: bytes, name: str) -> dict[str, Grid]:
    """Sheets of a workbook that hold anything.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        Its name, for messages.

    Returns
    -------
    dict of str to Grid
        By name of the sheet, in the order of the workbook; hidden sheets too.

    Raises
    ------
    RecordingUnreadable
        If the file is no workbook, or the library that reads workbooks is not installed.
    """
    try:
        # Optional and only for this file format; everything else works without it.
        from python_calamine import CalamineError, CalamineWorkbook, PasswordError, SheetTypeEnum  # noqa: PLC0415
    except ImportError:
        found = 'the file is a spreadsheet, and the library that reads those ("python-calamine") is not installed.'
        raise RecordingUnreadable(
            name, "", f"{found} Install truerun[spreadsheets], or save the sheet as CSV, which works too."
        ) from None
    _require_moderate_size(content, name)
    try:
        book = CalamineWorkbook.from_filelike(BytesIO(content))
        names = [sheet.name for sheet in book.sheets_metadata if sheet.typ == SheetTypeEnum.WorkSheet]
        sheets = {sheet: book.get_sheet_by_name(sheet).to_python(skip_empty_area=False) for sheet in names}
    except PasswordError:
        raise RecordingUnreadable(name, "", f"the file is locked with a password. {AS_CSV}") from None
    except CalamineError:
        raise RecordingUnreadable(name, "", f"the file is damaged, or no spreadsheet. {AS_CSV}") from None
    grids = {sheet: Grid(name, "row", lines_of_cells(rows, 1)) for sheet, rows in sheets.items()}
    return {sheet: grid for sheet, grid in grids.items() if grid.lines}


def _require_moderate_size(content: bytes, name: str) -> None:
    """Refuse what would fill the memory: the library lays out every cell up to the last one that is filled."""
    if not content.startswith(ZIP_START):
        return
    try:
        with ZipFile(BytesIO(content)) as archive:
            members = archive.infolist()
            size = sum(member.file_size for member in members)
            sheets = [member for member in members if SHEET.fullmatch(member.filename)]
            cells = max((_area(archive.read(sheet)) for sheet in sheets if size <= LARGEST_UNPACKED), default=0)
    except ZIP_TROUBLES:
        raise RecordingUnreadable(name, "", f"the file is damaged, or no spreadsheet. {AS_CSV}") from None
    if size > LARGEST_UNPACKED:
        found = f"the file unpacks to {size / 1e6:.0f} MB; a table of runs is at most {LARGEST_UNPACKED / 1e6:.0f} MB."
        raise RecordingUnreadable(name, "", f"{found} {AS_CSV}")
    if cells > MOST_CELLS:
        found = "something stands so far from the rest of a sheet that the sheet is too large to read."
        raise RecordingUnreadable(name, "", f"{found} Delete all rows and columns outside the table.")


def _area(sheet: bytes) -> int:
    """Cells between the first of a sheet and the last that is filled, or at least as many."""
    places = [(_column(letters), int(row)) for letters, row in FILLED_CELL.findall(sheet)]
    area = max((column for column, _ in places), default=0) * max((row for _, row in places), default=0)
    wide = max((int(count) for count in REPEATED_CELL.findall(sheet)), default=1)
    high = max((int(count) for count, row in REPEATED_ROW.findall(sheet) if b"<text:p" in row), default=1)
    return max(area, wide * high)


def _column(letters: bytes) -> int:
    """Count a column (A is 1, AA is 27)."""
    number = 0
    for letter in letters:
        number = 26 * number + letter - ord("A") + 1
    return number
