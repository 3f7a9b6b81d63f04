"""Sheets of a workbook (.xlsx, .ods, .xls) to rows of cells."""

from __future__ import annotations

from io import BytesIO
from zipfile import BadZipFile, ZipFile

from truerun.errors import RecordingUnreadable
from truerun.recordings.grid import Grid, lines_of_cells

__all__ = ["looks_like_spreadsheet", "read_spreadsheet"]

ZIP_START = b"PK\x03\x04"  # .xlsx and .ods are zip archives
OLD_OFFICE_START = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # .xls
LARGEST_UNPACKED = 200_000_000  # bytes; a table of runs is far below it, a zip bomb above
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
    """Refuse an archive that would fill the memory."""
    if not content.startswith(ZIP_START):
        return
    try:
        with ZipFile(BytesIO(content)) as archive:
            size = sum(member.file_size for member in archive.infolist())
    except (BadZipFile, ValueError, NotImplementedError, UnicodeDecodeError):
        raise RecordingUnreadable(name, "", f"the file is damaged, or no spreadsheet. {AS_CSV}") from None
    if size > LARGEST_UNPACKED:
        found = f"the file unpacks to {size / 1e6:.0f} MB; a table of runs is at most {LARGEST_UNPACKED / 1e6:.0f} MB."
        raise RecordingUnreadable(name, "", f"{found} {AS_CSV}")
