"""Decide how the bytes of a CSV or XLSX file become lines of text cells."""

import codecs
import csv
import io
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from core.errors import LogError, Problem
from core.sheets.rows import Sheet, lay_out
from core.sheets.values import stripped
from core.sheets.workbooks import read_workbook

MOST_BYTES = 64 * 1024 * 1024
"""A log is a table that a person wrote (ours): larger is another file. [bytes]"""
_ZIP, _OLD_EXCEL = (b"PK\x03\x04", b"PK\x05\x06"), b"\xd0\xcf\x11\xe0"
_DELIMITERS = (",", ";", "\t")
_SEP_LINE = re.compile(r'"?sep=([,;\t])"?', re.IGNORECASE)
_SAVE = "Save it from the spreadsheet as CSV UTF-8 or as an Excel workbook (.xlsx)."


def read_sheet(source: Path | bytes, name: str = "") -> Sheet:
    """Read a CSV or XLSX file, or its bytes as a page uploads them.

    A CSV may be UTF-8, UTF-16 with its mark, or else Windows-1252; its delimiter is the comma,
    semicolon or tab of its header. Of a workbook the first visible sheet with a cell is read.

    Raises
    ------
    LogError
        When the file cannot be read as a table, two columns have one name, or there are no rows.
    """
    shown_name = name or (source.name if isinstance(source, Path) else "the table")
    data = source if isinstance(source, bytes) else _bytes_of(source, shown_name)
    if len(data) > MOST_BYTES:
        raise _fault(shown_name, f"The file is larger than {MOST_BYTES >> 20} MB. Is it the log?")
    if data.startswith(_OLD_EXCEL):
        raise _fault(
            shown_name, f"The file is an old (.xls) or password-protected workbook. {_SAVE}"
        )
    is_workbook = data.startswith(_ZIP)
    if not is_workbook and shown_name.lower().endswith((".xlsx", ".xlsm")):
        raise _fault(shown_name, f"The file is named as a workbook but is none. {_SAVE}")
    rows: Iterator[tuple[int, Sequence[str]]]
    if is_workbook:
        delimiter, rows = "", iter(read_workbook(shown_name, data))
    else:
        text = _decoded(shown_name, data)
        delimiter, text = _delimiter(text)
        rows = _csv_rows(shown_name, text, delimiter)
    return _below_header(shown_name, rows, delimiter)


def _below_header(name: str, rows: Iterator[tuple[int, Sequence[str]]], delimiter: str) -> Sheet:
    header = next((cells for _, cells in rows if any(map(stripped, cells))), None)
    if header is None:
        raise _fault(name, "The file is empty: it has no header and no rows. Choose another file.")
    sheet = lay_out(name, header, rows, delimiter, from_file=True)
    if not sheet.lines and not sheet.problems:
        raise _fault(name, "The file has no rows below its header. Add one row at least.")
    return sheet


def _fault(name: str, message: str, line: int | None = None) -> LogError:
    return LogError(name, [Problem(message, line)])


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as fault:
        reason = fault.strerror or "it cannot be opened"
        raise _fault(name, f"{path} cannot be read ({reason}). Give the path of a file.") from None


def _decoded(name: str, data: bytes) -> str:
    """Decode a CSV file; the mark at its start decides, then UTF-8, then Windows-1252."""
    try:
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text = data.decode("utf-16")
        else:
            text = _utf8_or_windows(data)
    except UnicodeDecodeError:
        raise _fault(name, f"The file is no text that can be read. {_SAVE}") from None
    if "\0" in text:
        line = len(re.findall(r"\r\n|\r|\n", text[: text.index("\0")])) + 1
        raise _fault(name, f"The file holds NUL bytes, which no text has. {_SAVE}", line)
    return text


def _utf8_or_windows(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252")


def _delimiter(text: str) -> tuple[str, str]:
    """Give the delimiter of the header, and the text with a `sep=` line emptied."""
    first = re.match(r"[^\r\n]*", text)
    said = _SEP_LINE.fullmatch(first[0]) if first else None
    if first and said:
        return said[1], text[first.end() :]
    return max(_DELIMITERS, key=lambda delimiter: _names_in_header(text, delimiter)), text


def _names_in_header(text: str, delimiter: str) -> tuple[bool, int]:
    """Say whether the header's first cell, and how many of all, hold no other delimiter.

    The larger pair wins; of equals the comma, which stands first.
    """
    others = set(_DELIMITERS) - {delimiter}
    try:
        rows: Iterator[list[str]] = _reader(text, delimiter)
        header = next((row for row in rows if any(map(stripped, row))), [])
    except csv.Error:
        return False, 0
    clean = [not others & set(cell) for cell in map(stripped, header) if cell]
    return clean[:1] == [True], sum(clean)


def _reader(text: str, delimiter: str) -> Any:
    lines = io.StringIO(text, newline="")
    return csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=True)


def _csv_rows(name: str, text: str, delimiter: str) -> Iterator[tuple[int, Sequence[str]]]:
    """Give each row with the number of its first line in the file."""
    reader, number = _reader(text, delimiter), 1
    try:
        for cells in reader:
            yield number, cells
            number = reader.line_num + 1
    except csv.Error as fault:
        if "expected after" in str(fault):
            message = (
                "A cell has text after its closing double quote. Write a double quote inside a "
                'quoted cell twice (""), or take the quotes away.'
            )
        else:
            message = "A double quote opens a cell and never closes it. Close or remove it."
        raise _fault(name, message, number) from None
