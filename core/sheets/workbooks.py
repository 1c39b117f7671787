"""Decide what the cells of an Excel workbook say, as text."""

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from datetime import datetime, time
from itertools import zip_longest
from typing import Any

from core.errors import LogError, Problem
from core.sheets.values import cell_text

MOST_UNPACKED = 256 * 1024 * 1024
"""What a workbook may grow to when it is unpacked (ours). [bytes]"""
MOST_ROWS, MOST_CELLS = 1_048_576, 20_000_000
"""A sheet of Excel has no more rows; blank cells up to the last of a row count (ours)."""
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_TEXT_IN_FORMAT = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.')
_SAVE = "Open it in a spreadsheet and save it as an Excel workbook (.xlsx) or as CSV UTF-8."


def read_workbook(name: str, data: bytes) -> list[tuple[int, list[str]]]:
    """Give (row number, texts) of the first visible sheet that has a cell.

    A formula gives the result that was saved with it; without one its own text, from `=` on.

    Raises
    ------
    LogError
        When the file is no workbook, is damaged, or unpacks to more than a log can be.
    """
    try:
        _refuse_too_large(name, data)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of parts that have nothing to do with the cells
            return _first_sheet(name, data)
    except LogError:
        raise
    except Exception:  # noqa: BLE001  a damaged workbook makes its reader raise anything
        message = f"The file is a damaged workbook or none that Excel writes. {_SAVE}"
        raise LogError(name, [Problem(message)]) from None


def _refuse_too_large(name: str, data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        unpacked = sum(member.file_size for member in archive.infolist())
    if unpacked > MOST_UNPACKED:
        raise _too_large(name)


def _too_large(name: str) -> LogError:
    message = "The workbook unpacks to more than a log can be. Copy the log's cells to a new one."
    return LogError(name, [Problem(message)])


def _first_sheet(name: str, data: bytes) -> list[tuple[int, list[str]]]:
    """Read twice where there are formulas: their results, and where they stand."""
    results, formulas = _opened(data, results=True), None
    try:
        if _has_formulas(data):
            formulas = _opened(data, results=False)
        for place, sheet in enumerate(results.worksheets):
            if sheet.sheet_state != "visible":
                continue
            beside = formulas.worksheets[place] if formulas is not None else None
            rows = list(_rows(name, sheet, beside))
            if rows:
                return rows
    finally:
        results.close()
        if formulas is not None:
            formulas.close()
    return []


def _opened(data: bytes, *, results: bool) -> Any:
    from openpyxl import load_workbook  # noqa: PLC0415  a fifth of a second that CSV need not pay

    workbook = load_workbook(io.BytesIO(data), read_only=True, data_only=results)
    for sheet in workbook.worksheets:
        sheet.reset_dimensions()  # the size that the file claims is not to be believed
    return workbook


def _has_formulas(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheets = [one for one in archive.namelist() if "worksheets/" in one]
        return any(_FORMULA.search(archive.read(sheet)) for sheet in sheets)


def _rows(name: str, sheet: Any, formulas: Any) -> Iterator[tuple[int, list[str]]]:
    """Give the rows that are not blank."""
    cells_met = 0
    both = zip_longest(sheet.iter_rows(), formulas.iter_rows() if formulas else (), fillvalue=())
    for number, (row, beside) in enumerate(both, start=1):
        cells_met += len(row)
        if number > MOST_ROWS or cells_met > MOST_CELLS:
            raise _too_large(name)
        texts = [_text(cell, twin) for cell, twin in zip_longest(row, beside)]
        if any(texts):
            yield number, texts


def _text(cell: Any, twin: Any) -> str:
    """Give a cell's text; `twin` is the same cell with its formula in place of the result."""
    value = None if cell is None else cell.value
    if value is None:
        # An empty text as a result keeps its type `str`; a result never worked out has none.
        unsolved = twin is not None and twin.data_type == "f" and cell.data_type != "str"
        return _formula_text(twin.value) if unsolved else ""
    if isinstance(value, datetime) and value.time() == time(0) and not _shows_time(cell):
        return cell_text(value.date())
    return cell_text(value)


def _formula_text(formula: object) -> str:
    return formula if isinstance(formula, str) and len(formula) > 1 else "=(formula)"


def _shows_time(cell: Any) -> bool:
    form = _TEXT_IN_FORMAT.sub("", str(cell.number_format)).lower()
    return "h" in form or "s" in form
