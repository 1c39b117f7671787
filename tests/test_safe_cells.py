"""Which cells a spreadsheet would run, and that every text comes back as it was."""

import csv
import io
import re

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from core.exports import tables
from core.logs import LogKind
from core.sheets import plain_cell, read_sheet, safe_cell
from core.workspace import Workspace

# OWASP, "CSV Injection" (from memory): the signs, and examples of what is done with them.
DANGEROUS = [
    "=1+1", "+1+1", "-1+1", "@SUM(1)", "\t=1+1", "\r=1+1", '=HYPERLINK("x","y")',
    "=cmd|' /C calc'!A0", "-2+3+cmd|' /C calc'!A0", "@home", "-", "- wet", "=", " =1+1",
    "\uff1d1+1", "\uff0b1", "'=1+1",
]  # fmt: skip
HARMLESS = ["-33.92", "+1.5", "-3e5", "-0,5", "+02:00", "-0500", "2026-03-14T18:00:00+02:00", "",
            "wet",
            "it's", "'quoted'", "a=b", "T-1", "'"]  # fmt: skip


@pytest.mark.parametrize("text", DANGEROUS)
def test_what_would_run_does_not(text: str) -> None:
    """One quote stands before it, by which a spreadsheet takes the cell for text."""
    assert safe_cell(text) == "'" + text
    assert plain_cell(safe_cell(text)) == text


@pytest.mark.parametrize("text", HARMLESS)
def test_what_cannot_run_is_left(text: str) -> None:
    """Numbers, offsets and times are read by programs, and nothing in them can be run."""
    assert safe_cell(text) == text
    assert plain_cell(text) == text


@given(st.text(alphabet=st.sampled_from("'=+-@\t\r\n 1.5e:ab\uff1d,;\"")))
def test_any_text_comes_back(text: str) -> None:
    """Writing and reading are each other's way back, quotes of one's own included."""
    assert plain_cell(safe_cell(text)) == text


@given(st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1))
def test_any_text_comes_back_from_a_file(text: str) -> None:
    """Through a file of CSV, line ends inside a cell too; and no line starts a formula there."""
    written = "".join(tables.csv_text(["a", "b"], [{"a": text, "b": "x"}]))
    rows = list(csv.reader(io.StringIO(written, newline="")))
    assert [plain_cell(cell) for cell in rows[1]] == [text, "x"]
    first = rows[1][0]
    number = re.fullmatch(r"[+-][0-9.,:eE+-]*[0-9.,]", first)
    assert first[:1] not in set("=+-@\t\r\n") or number


@given(st.text(alphabet=st.sampled_from("'=+-@1.5:ab"), min_size=1))
def test_any_text_comes_back_from_a_workbook(text: str) -> None:
    """A cell of a workbook that was written safely is read as it was."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["a", "b"])
    sheet.append(["x", "x"])
    cell = sheet["A2"]
    cell.value, cell.data_type = safe_cell(text), "s"
    held = io.BytesIO()
    book.save(held)
    assert read_sheet(held.getvalue(), "log.xlsx").lines[0].cells["a"] == text


def test_a_column_that_no_table_has_is_not_dropped_in_silence() -> None:
    """A bug must not lose a cell."""
    with pytest.raises(ValueError, match="No column for"):
        list(tables.csv_text(["a"], [{"b": "x"}]))


def test_a_log_with_such_cells_is_the_same_after_download_and_load(empty: Workspace) -> None:
    """Notes such as '- wet', and a column of one's own, through the store and back."""
    log = (
        "deployment,tray,set_out,picked_up,food_start_g,food_left_g,notes,=own\n"
        "D1,T1,2026-03-14 07:00,2026-03-14 18:00,8.0,3.4,- wet,@home\n"
        "D2,T2,2026-03-14 07:00,2026-03-14 18:00,8.0,3.4,'=1+1,-5\n"
    )
    empty.load(LogKind.TRAYS, log.encode(), "trays.csv")
    before = empty.log_rows(LogKind.TRAYS)
    assert [row["notes"] for row in before] == ["- wet", "=1+1"]
    written = "".join(tables.csv_text(list(before[0]), before))
    assert "'=1+1" in written
    counts = empty.load(LogKind.TRAYS, written.encode(), "trays.csv")
    assert counts.same == len(before)
    assert empty.log_rows(LogKind.TRAYS) == before


def test_numbers_stay_numbers_for_programs() -> None:
    """pandas, another reader, takes the columns of numbers for numbers."""
    written = "".join(tables.csv_text(["x"], [{"x": "-33.92"}, {"x": "+1.5"}, {"x": ""}]))
    assert pd.read_csv(io.StringIO(written))["x"].dtype == float
