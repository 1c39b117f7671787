"""What a file or table that people filled in becomes, cell by cell."""

import io
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from core.errors import LogError
from core.sheets import (
    Sheet,
    check_columns,
    read_sheet,
    sheet_of_rows,
    workbooks,
)


def refusal(read: Callable[[], object]) -> list[str]:
    """Give the faults of a refused log, each with its line."""
    with pytest.raises(LogError) as refused:
        read()
    return [str(problem) for problem in refused.value.problems]


def naive(text: str) -> datetime:
    """Give a time without a zone, as workbooks and cameras hold it."""
    return datetime.fromisoformat(text)


def read_or_refused(data: bytes, name: str) -> int:
    """Count the lines and faults that a file gives."""
    try:
        sheet = read_sheet(data, name)
    except LogError as refused:
        return len(refused.problems)
    return len(sheet.lines) + len(sheet.problems)


def cells(sheet: Sheet) -> list[tuple[int, dict[str, str]]]:
    """Give a sheet's lines as plain values."""
    return [(line.number, dict(line.cells)) for line in sheet.lines]


def workbook(*rows: list[Any], change: Callable[[Any], None] | None = None) -> bytes:
    """Give the bytes of a workbook with these rows."""
    book = Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    if change:
        change(book)
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


# --- CSV -------------------------------------------------------------------------------------

PLAIN = "tray,site\nT1,Skulpkom\nT2,Höhe\n"
EXPECTED = [(2, {"tray": "T1", "site": "Skulpkom"}), (3, {"tray": "T2", "site": "Höhe"})]


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(PLAIN.encode(), id="UTF-8"),
        pytest.param(PLAIN.encode("utf-8-sig"), id="UTF-8 with its mark"),
        pytest.param(PLAIN.encode("utf-16"), id="UTF-16 with its mark"),
        pytest.param(b"\xfe\xff" + PLAIN.encode("utf-16-be"), id="UTF-16, big end first"),
        pytest.param(PLAIN.encode("cp1252"), id="Windows-1252, what Excel writes"),
        pytest.param(PLAIN.replace("\n", "\r\n").encode(), id="CRLF"),
        pytest.param(PLAIN.replace("\n", "\r").encode(), id="CR"),
        pytest.param(PLAIN.rstrip("\n").encode(), id="no line end at the end"),
        pytest.param(PLAIN.replace(",", ";").encode(), id="semicolons"),
        pytest.param(PLAIN.replace(",", "\t").encode(), id="tabs"),
        pytest.param(PLAIN.replace(",", " \u00a0,  ").encode(), id="blanks of every kind"),
        pytest.param(PLAIN.replace("tray", "TRAY").encode(), id="capitals in the header"),
        pytest.param(PLAIN.replace("\n", ",,\n").encode(), id="columns without name or cell"),
        pytest.param(PLAIN.replace("T1", ' "T1"').encode(), id="quotes after a blank"),
        pytest.param((PLAIN + ",\n\n , \n").encode(), id="blank lines at the end"),
    ],
)
def test_a_csv_reads_the_same_however_it_was_saved(data: bytes) -> None:
    """Marks, line ends, delimiters and blanks that spreadsheets leave change no cell."""
    assert cells(read_sheet(data, "trays.csv")) == EXPECTED


def test_a_line_has_the_number_of_its_first_line_in_the_file() -> None:
    """Leading blank lines and line breaks inside a quoted cell count, blank lines are left out."""
    text = '\n ,\ntray,notes\nT1,"one\ntwo"\n\nT2,"she said ""no"""\n'
    sheet = read_sheet(text.encode(), "trays.csv")
    assert cells(sheet) == [
        (4, {"tray": "T1", "notes": "one\ntwo"}),
        (7, {"tray": "T2", "notes": 'she said "no"'}),
    ]
    assert sheet.columns == ("tray", "notes")


def test_a_short_line_ends_in_blank_cells() -> None:
    """Cells that a line leaves out at its end are blank."""
    assert cells(read_sheet(b"a,b,c\n1\n", "x")) == [(2, {"a": "1", "b": "", "c": ""})]


@pytest.mark.parametrize(
    ("text", "delimiter", "columns"),
    [
        pytest.param("a;b (x, y, z)\n1;2\n", ";", ("a", "b (x, y, z)"), id="commas in a name"),
        pytest.param('"a;b",c\n1,2\n', ",", ("a;b", "c"), id="semicolon in a quoted name"),
        pytest.param("\ufeffsep=;\na;b\n1;2\n", ";", ("a", "b"), id="a sep= line"),
        pytest.param("key\nm\n", ",", ("key",), id="one column"),
    ],
)
def test_the_header_decides_the_delimiter(
    text: str, delimiter: str, columns: tuple[str, ...]
) -> None:
    """The delimiter is the one that makes most names of the header, whatever its cells hold."""
    sheet = read_sheet(text.encode(), "x.csv")
    assert (sheet.delimiter, sheet.columns) == (delimiter, columns)
    assert sheet.lines[0].number == text.count("\n")


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(b"", "it has no header and no rows", id="empty"),
        pytest.param(b"\xef\xbb\xbf\n ,,\n", "it has no header and no rows", id="blank"),
        pytest.param(b"tray,site\n\n,\n", "has no rows below its header", id="header only"),
        pytest.param(b"a,b\n1,2\n\n3,\x00\n", "line 4: The file holds NUL bytes", id="NUL"),
        pytest.param(b"a,b\n1,\xff\x81\n", "no text that can be read", id="no text"),
        pytest.param(b'a,b\n1,2\n3,"4\n5,6\n', "line 3: A double quote opens a cell", id="open"),
        pytest.param(b'a,b\n1,"2"x\n', "line 2: A cell has text after its closing", id="after"),
        pytest.param(
            b"tray,site,Tray \n1,2,3\n", '"tray" stands 2 times in the header (columns 1 and 3)',
            id="twice",
        ),
        pytest.param(b"\xd0\xcf\x11\xe0old", "old (.xls) or password-protected", id="xls"),
        pytest.param(b"PK\x03\x04 broken", "damaged workbook", id="broken zip"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_table_is_refused_in_words(data: bytes, expected: str) -> None:
    """What cannot be read as a table is refused whole, and the refusal names the file."""
    (fault,) = refusal(lambda: read_sheet(data, "trays.csv"))
    assert expected in fault
    with pytest.raises(LogError, match=r"^trays\.csv was not loaded"):
        read_sheet(data, "trays.csv")


def test_a_file_that_is_named_as_a_workbook_and_is_none() -> None:
    """Text named .xlsx is not guessed at."""
    assert "named as a workbook but is none" in refusal(lambda: read_sheet(b"a\n1\n", "x.xlsx"))[0]


def test_a_file_that_is_not_there_or_too_large(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing file, a folder and a huge file are refused with their path or size."""
    missing = tmp_path / "trays.csv"
    assert str(missing) in refusal(lambda: read_sheet(missing))[0]
    assert "cannot be read" in refusal(lambda: read_sheet(tmp_path))[0]
    missing.write_bytes(PLAIN.encode())
    assert cells(read_sheet(missing)) == EXPECTED
    monkeypatch.setattr("core.sheets.files.MOST_BYTES", 10)
    assert "larger than" in refusal(lambda: read_sheet(missing))[0]


def test_a_cell_beyond_the_header_is_a_fault_of_its_line() -> None:
    """A line with more cells than the header cannot be trusted, the others are read."""
    sheet = read_sheet(b"a,b\n1,2\n3,4,5\n6,x,\n", "x.csv")
    assert [line.number for line in sheet.lines] == [2, 4]
    assert [problem.line for problem in sheet.problems] == [3]
    assert "'5' stands in column 3" in sheet.problems[0].message
    assert read_sheet(b"a,,b\n1,x,2\n", "x.csv").problems[0].line == 2


def test_a_decimal_comma_that_pushes_cells_along_is_caught() -> None:
    """8,0 in a file with commas is two cells; blank cells at the end must not hide that."""
    text = "deployment,food_start_g,food_left_g,notes\nD1,8,0,\nD2,8,0,,\n"
    sheet = read_sheet(text.encode(), "x.csv")
    assert [line.number for line in sheet.lines] == [2]
    assert "Write 8.0" in sheet.problems[0].message


# --- workbooks -------------------------------------------------------------------------------


def test_the_typed_cells_of_a_workbook() -> None:
    """A workbook's cells read as the text that a person would type."""

    def only_a_day(book: Any) -> None:
        book.worksheets[0]["D2"].number_format = "yyyy-mm-dd"

    rest = ["sum", "yes", "text", "clock", "span"]
    data = workbook(
        ["Time", "noise", "midnight", "day", "whole", "mass", *rest],
        [
            naive("2026-03-14 07:05"),
            46095.29513888 + 1e-7,
            naive("2026-03-14"),
            naive("2026-03-14"),
            10.0,
            3.42,
            0.1 + 0.2,
            True,
            " m\u00a0",
            time(2, 0),
            timedelta(hours=30),
        ],
        change=only_a_day,
    )
    ((number, found),) = cells(read_sheet(data, "x.xlsx"))
    assert number == 2
    assert found == {
        "time": "2026-03-14 07:05:00",
        "noise": "46095.29513898",
        "midnight": "2026-03-14 00:00:00",
        "day": "2026-03-14",
        "whole": "10",
        "mass": "3.42",
        "sum": "0.3",
        "yes": "yes",
        "text": "m",
        "clock": "02:00:00",
        "span": "1 day, 6:00:00",
    }


def test_a_time_with_the_noise_of_a_spreadsheet_is_rounded_to_the_second() -> None:
    """A workbook holds days as binary fractions; 07:04:59.9995 was typed as 07:05."""
    noisy = naive("2026-03-14 07:04:59.999500")
    ((_, found),) = cells(read_sheet(workbook(["t"], [noisy]), "x.xlsx"))
    assert found == {"t": "2026-03-14 07:05:00"}


def test_rows_of_a_workbook_keep_their_numbers() -> None:
    """Blank rows above and between count, as in the spreadsheet; hidden sheets are passed over."""

    def hide_first(book: Any) -> None:
        book.worksheets[0].sheet_state = "hidden"
        empty, log = book.create_sheet("empty"), book.create_sheet("log")
        empty["A1"].number_format = "0.00"
        log["B3"], log["B6"], log["ZZ7"] = "tray", "T1", None

    data = workbook(["not"], ["this"], change=hide_first)
    assert cells(read_sheet(data, "x.xlsx")) == [(6, {"tray": "T1"})]


def test_a_workbook_without_a_cell_is_empty() -> None:
    """A new workbook that was saved by mistake is refused like an empty file."""
    assert "it has no header and no rows" in refusal(lambda: read_sheet(workbook(), "x.xlsx"))[0]


def with_formulas(xml_cells: str) -> bytes:
    """Give a workbook whose second row holds these cells, as a spreadsheet would save them."""
    plain = workbook(["deployment", "food_left_g"], ["D1", "swap me"])
    changed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(plain)) as old,
        zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for member in old.namelist():
            text = old.read(member)
            if member.endswith("sheet1.xml"):
                head, _, tail = text.partition(b'<row r="2"')
                rest = tail.partition(b"</row>")[2]
                row = f'<row r="2">{xml_cells}</row>'.encode()
                text = head + row + rest
            new.writestr(member, text)
    return changed.getvalue()


@pytest.mark.parametrize(
    ("xml", "expected"),
    [
        pytest.param('<c r="B2"><f>8-4.58</f><v>3.42</v></c>', "3.42", id="saved result"),
        pytest.param('<c r="B2"><f>8-4.58</f></c>', "=8-4.58", id="no result"),
        pytest.param('<c r="B2"><f>8-4.58</f><v></v></c>', "=8-4.58", id="empty result"),
        pytest.param('<c r="B2" t="str"><f>IF(1,"")</f><v></v></c>', "", id="blank text"),
        pytest.param('<c r="B2" t="e"><f>1/0</f><v>#DIV/0!</v></c>', "#DIV/0!", id="error"),
    ],
)
def test_a_formula_gives_its_saved_result(xml: str, expected: str) -> None:
    """Results count, a blank text is a blank cell, and a result never worked out shows itself."""
    data = with_formulas(f'<c r="A2" t="inlineStr"><is><t>D1</t></is></c>{xml}')
    ((_, found),) = cells(read_sheet(data, "x.xlsx"))
    assert found == {"deployment": "D1", "food_left_g": expected}


def test_a_workbook_that_unpacks_to_too_much_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither size unpacked nor the number of cells may go beyond what a log can be."""
    data = workbook(["a"], ["b"])
    monkeypatch.setattr(workbooks, "MOST_UNPACKED", 100)
    assert "unpacks to more" in refusal(lambda: read_sheet(data, "x.xlsx"))[0]
    monkeypatch.undo()
    monkeypatch.setattr(workbooks, "MOST_CELLS", 1)
    assert "unpacks to more" in refusal(lambda: read_sheet(data, "x.xlsx"))[0]


DAMAGED = workbook(["tray", "t"], ["T1", naive("2026-03-14 07:05")])


@given(st.integers(0, 10_000), st.integers(0, 255))
def test_a_damaged_workbook_never_breaks_the_reader(place: int, byte: int) -> None:
    """One changed byte leaves a table or a refusal in words, never another error."""
    data = bytearray(DAMAGED)
    data[place % len(data)] = byte
    assert read_or_refused(bytes(data), "x.xlsx") > 0


@given(st.binary(max_size=200))
def test_no_bytes_break_the_reader(data: bytes) -> None:
    """Any bytes give a table or a refusal in words."""
    assert read_or_refused(data, "x.csv") > 0


# --- tables on screen ------------------------------------------------------------------------


def test_rows_of_an_edited_table() -> None:
    """Lines count from 2 as in a file, and nothing, NaN and NaT are blank cells."""
    rows: list[dict[str, object]] = [
        {"Deployment": "D1 ", "food_left_g": 3.0, "set_out": pd.Timestamp("2026-03-14 07:05")},
        {"Deployment": None, "food_left_g": float("nan"), "set_out": pd.NaT},
        {"Deployment": "D2", "food_left_g": Decimal("3.40"), "day": date(2026, 3, 14)},
        {"Deployment": np.int64(7), "food_left_g": pd.NA, "day": np.True_},
    ]
    sheet = sheet_of_rows("the tray log", rows)
    assert sheet.columns == ("Deployment", "food_left_g", "set_out", "day")
    wide = [(line.number, tuple(line.cells.values())) for line in sheet.lines]
    assert wide == [
        (2, ("D1", "3", "2026-03-14 07:05:00", "")),
        (4, ("D2", "3.40", "", "2026-03-14")),
        (5, ("7", "", "", "yes")),
    ]


# --- columns ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("columns", "expected"),
    [
        pytest.param("deployment,set_out,food", [], id="all there"),
        pytest.param("Deployment,SET_OUT,observer", [], id="an extra one is kept"),
        pytest.param("food", ['"deployment" is missing', '"set_out" is missing'], id="missing"),
        pytest.param(
            "deployment,set_outt",
            ['Column "set_outt" is not known; did you mean "set_out"?'],
            id="misspelt",
        ),
        pytest.param("deployment,Set out", ['"Set out" is not known'], id="blank for underscore"),
        pytest.param("deployment,set_out,foood", ['did you mean "food"?'], id="optional misspelt"),
        pytest.param("deployment,set_out,food,foood", [], id="like one that is there: extra"),
        pytest.param("deployment,set_out,mood_of_the_day", [], id="only a little alike: extra"),
    ],
)
def test_the_columns_of_a_log(columns: str, expected: list[str]) -> None:
    """Missing columns are all named; one like a column that is not there gets a suggestion."""
    sheet = read_sheet(f"{columns}\n1\n".encode(), "x.csv")
    found = check_columns(sheet, ["deployment", "set_out"], ["food"])
    assert len(found) == len(expected)
    assert all(part in str(fault) for part, fault in zip(expected, found, strict=True))


def test_the_most_alike_columns_are_paired() -> None:
    """A misspelt column is taken for the one it is most like, not for the first in the list."""
    sheet = read_sheet(b"foodleft_g\n1\n", "x.csv")
    first, second = check_columns(sheet, ["food_start_g", "food_left_g"])
    assert str(first).startswith('Column "food_start_g" is missing')
    assert 'did you mean "food_left_g"' in str(second)
