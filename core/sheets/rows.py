"""Decide how lines of text cells become rows: the columns they need, and every fault with its line.

What a single cell may hold is decided in `cells` and `times`.
"""

import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from core.errors import LogError, Problem
from core.sheets.safe import plain_cell
from core.sheets.values import cell_text, stripped

Value = TypeVar("Value")
Blank = TypeVar("Blank")
Row = TypeVar("Row")

LONGEST_CELL = 2_000
"""Characters that a text cell may hold (ours): more is a file read with the wrong quotes."""
SPREADSHEET_ERRORS = frozenset(
    {"#N/A", "#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#SPILL!", "#CALC!"}
)
_SURE, _LIKELY = 0.8, 0.6
"""How alike two column names are (difflib) where the known one may, or must, be there."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a log, as screens, templates and the README show it."""

    name: str
    required: bool
    meaning: str
    type: str = "string"
    """As Table Schema calls it; a boolean is yes or no, a datetime as in its meaning."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a log that is not blank."""

    number: int
    """As a spreadsheet numbers it, the header of a plain file being 1."""
    cells: Mapping[str, str]
    """By column name in lower case; blanks at the ends are left out, '' is a blank cell."""
    as_text: frozenset[str] = frozenset()
    """Columns whose cell was written to be taken for text, whatever it begins with."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One log as people wrote it: text cells, nothing decided."""

    name: str
    """Of the file, for messages."""
    columns: tuple[str, ...]
    """As written, blanks at the ends left out."""
    lines: tuple[Line, ...]
    delimiter: str = ""
    """Between the cells of a CSV file; '' for a workbook or a table on screen."""
    problems: tuple[Problem, ...] = ()
    """Lines that could not be laid under the header; they are not in `lines`."""


def lay_out(
    name: str,
    header: Sequence[str],
    numbered: Iterable[tuple[int, Sequence[str]]],
    delimiter: str = "",
    *,
    from_file: bool = False,
) -> Sheet:
    """Lay lines under a header; blank lines and columns without a name or a cell are left out.

    `from_file`: cells that were written so that no spreadsheet runs them are read as they were. A
    line with cells beyond the header goes to `problems`. LogError when two columns have one name.
    """
    read = plain_cell if from_file else str
    columns = [read(stripped(cell)) for cell in header]
    repeated = _repeated_columns(columns)
    if repeated:
        raise LogError(name, repeated)
    keys = [column.lower() for column in columns]
    lines, problems = [], []
    for number, cells in numbered:
        written = [stripped(cell) for cell in cells]
        texts = [read(cell) for cell in written]
        if not any(texts):
            continue
        fault = _beyond_header(keys, texts, delimiter, number)
        if fault:
            problems.append(fault)
        else:
            texts += [""] * (len(keys) - len(texts))
            cells_by_name = {key: text for key, text in zip(keys, texts, strict=False) if key}
            pairs = zip(keys, written, texts, strict=False)
            as_text = frozenset(key for key, cell, text in pairs if cell != text)
            lines.append(Line(number, cells_by_name, as_text))
    named = tuple(column for column in columns if column)
    return Sheet(name, named, tuple(lines), delimiter, tuple(problems))


def sheet_of_rows(name: str, rows: Iterable[Mapping[str, object]]) -> Sheet:
    """Build a sheet of the rows of an edited table, numbered from 2; None and NaN are blank cells.

    No rows give a sheet without columns, which every reader takes for an empty log.
    """
    listed = list(rows)
    columns = list(dict.fromkeys(str(column) for row in listed for column in row))
    by_name = [{str(column): value for column, value in row.items()} for row in listed]
    texts = ([cell_text(row.get(column)) for column in columns] for row in by_name)
    return lay_out(name, columns, enumerate(texts, start=2))


def _repeated_columns(columns: Sequence[str]) -> list[Problem]:
    places: dict[str, list[int]] = {}
    for place, column in enumerate(columns, start=1):
        places.setdefault(column.lower(), []).append(place)
    return [
        Problem(
            f'Column "{columns[found[0] - 1]}" stands {len(found)} times in the header '
            f"(columns {_listed(found)}). Keep one of them or rename the others."
        )
        for name, found in places.items()
        if name and len(found) > 1
    ]


def _listed(numbers: Sequence[int]) -> str:
    return " and ".join(filter(None, [", ".join(map(str, numbers[:-1])), str(numbers[-1])]))


def _beyond_header(
    keys: Sequence[str], texts: Sequence[str], delimiter: str, number: int
) -> Problem | None:
    """Refuse a cell without a column, and blank ones that decimal commas have pushed there."""
    for place, text in enumerate(texts):
        if text and (place >= len(keys) or not keys[place]):
            return Problem(
                f"{shown(text)} stands in column {place + 1}, which has no name in the header. "
                "Name the column, or look for a delimiter inside a cell: write numbers with a "
                "decimal point and put a text that holds the delimiter in double quotes.",
                number,
            )
    digits = next((pair for pair in pairwise(texts) if all(map(str.isdecimal, pair))), None)
    if digits and delimiter == "," and len(texts) > len(keys):
        return Problem(
            f"The line has {len(texts)} cells, the header {len(keys)}, and {','.join(digits)} may "
            f"be a number with a decimal comma. Write {'.'.join(digits)}, or take away the commas "
            "at the line's end.",
            number,
        )
    return None


def shown(text: str) -> str:
    """Quote a cell in a message, cut when it is long."""
    return repr(text if len(text) <= 60 else f"{text[:57]}...")  # noqa: PLR2004  fits one line


def header_line(columns: Iterable[Column]) -> str:
    """Give the header of an empty log, as CSV."""
    return ",".join(column.name for column in columns) + "\n"


def check_columns(
    sheet: Sheet,
    required: Iterable[str],
    optional: Iterable[str] = (),
    meanings: Mapping[str, str] | None = None,
) -> list[Problem]:
    """Name every required column that is missing and every one that seems misspelt.

    An unknown column is misspelt when it is like a known one that is not there; others are extra.
    """
    needed, allowed = list(required), list(optional)
    there = {column.lower() for column in sheet.columns}
    absent = [known for known in [*needed, *allowed] if known not in there]
    unknown = [column for column in sheet.columns if column.lower() not in {*needed, *allowed}]
    meant = _meant(absent, unknown, needed)
    problems = []
    for known in absent:
        if known in meant:
            problems.append(_misspelt(meant[known], known, known in needed))
        elif known in needed:
            meaning = (meanings or {}).get(known, "")
            says = f": {meaning}" if meaning else ""
            problems.append(Problem(f'Column "{known}" is missing{says}. Add it to the header.'))
    return problems


def _meant(absent: Sequence[str], unknown: Sequence[str], needed: Sequence[str]) -> dict[str, str]:
    """Pair known columns that are not there with unknown ones, the most alike first."""
    alike = [
        (_likeness(known, column), known, column)
        for known in absent
        for column in unknown
        if _likeness(known, column) >= (_LIKELY if known in needed else _SURE)
    ]
    meant: dict[str, str] = {}
    for _, known, column in sorted(alike, key=lambda pair: -pair[0]):
        if known not in meant and column not in meant.values():
            meant[known] = column
    return meant


def _likeness(known: str, column: str) -> float:
    spelt = re.sub(r"[\s-]+", "_", column.lower())
    return difflib.SequenceMatcher(None, spelt, known).ratio()


def _misspelt(column: str, known: str, required: bool) -> Problem:
    rest = (
        f'Column "{known}" must be there.'
        if required
        else "Rename it; an extra column needs a name that is less like it."
    )
    return Problem(f'Column "{column}" is not known; did you mean "{known}"? {rest}')


@dataclass(frozen=True, slots=True)
class RowReader:
    """One line being read: hands out its cells and gathers its faults."""

    sheet: Sheet
    line: Line
    problems: list[Problem]
    unusable: frozenset[str] = frozenset()
    """Columns whose cell was refused whatever it stands for."""

    def cell(
        self, column: str, parse: Callable[[str], Value | Problem], blank: Blank
    ) -> Value | Blank:
        """Give a cell's value; `blank` where it is blank, not there, or a fault that is noted."""
        text = self.line.cells.get(column, "")
        if not text or column in self.unusable:
            return blank
        value = parse(text)
        if isinstance(value, Problem):
            self.refuse(f"{column} {shown(text)} {value.message}")
            return blank
        return value

    def text(self, column: str) -> str:
        """Give a cell as it is written."""
        return self.line.cells.get(column, "")

    def refuse(self, message: str) -> None:
        """Note a fault of this line."""
        self.problems.append(Problem(message, self.line.number))

    def need(self, column: str, way_out: str) -> None:
        """Note a fault where the cell is blank."""
        if not self.text(column):
            self.refuse(f"{column} is blank. {way_out}")

    def rest(self, known: Iterable[str]) -> dict[str, str]:
        """Give the cells that are not blank of all columns that are not known."""
        names = set(known)
        cells = {column: self.text(column.lower()) for column in self.sheet.columns}
        return {name: text for name, text in cells.items() if text and name.lower() not in names}


def read_rows(
    sheet: Sheet,
    required: Sequence[str],
    columns: Sequence[Column],
    read: Callable[[RowReader], Row],
) -> tuple[list[tuple[int, Row]], list[Problem]]:
    """Give (line number, row) of every line and every fault met.

    A missing or misspelt column stops the reading (LogError), since then no row can be trusted;
    a sheet without any column, such as a table whose rows were all removed, has no rows.
    """
    if sheet.columns or sheet.lines:
        optional = [column.name for column in columns if column.name not in required]
        meanings = {column.name: column.meaning for column in columns}
        faults = check_columns(sheet, required, optional, meanings)
        if faults:
            raise LogError(sheet.name, [*faults, *sheet.problems])
    problems = list(sheet.problems)
    rows = [(line.number, read(_reader(sheet, line, problems))) for line in sheet.lines]
    return rows, problems


def accepted(
    sheet: Sheet, rows: Iterable[tuple[int, Row]], problems: Sequence[Problem]
) -> list[Row]:
    """Give the rows when there is no fault; LogError with every fault by line otherwise."""
    if problems:
        raise LogError(sheet.name, sorted(problems, key=lambda problem: problem.line or 0))
    return [row for _, row in rows]


def _reader(sheet: Sheet, line: Line, problems: list[Problem]) -> RowReader:
    faults = {
        column: _unusable(text, as_text=column in line.as_text)
        for column, text in line.cells.items()
    }
    refused = {column: fault for column, fault in faults.items() if fault}
    for column, fault in refused.items():
        text = line.cells[column]
        problems.append(Problem(f"{column} {shown(text)} {fault}", line.number))
    return RowReader(sheet, line, problems, frozenset(refused))


def _unusable(text: str, *, as_text: bool) -> str:
    """Say why no cell may hold this text; '' where it may."""
    if len(text) > LONGEST_CELL:
        return (
            f"has {len(text)} characters, more than {LONGEST_CELL}. Shorten it, and look for a "
            "double quote that is opened here and not closed."
        )
    if "\0" in text:
        return "holds a NUL byte. Type the cell anew."
    if text.upper() in SPREADSHEET_ERRORS:
        return "is an error of the spreadsheet. Mend the formula behind it, or empty the cell."
    if text.startswith("=") and len(text) > 1 and not as_text:
        return (
            "is a formula without its result. Open the file in a spreadsheet and save it again, "
            "or type the value; put a ' before a text that truly begins with =."
        )
    return ""


def repeated(
    what: str, values: Iterable[tuple[int, str]], *, any_case: bool = False
) -> list[Problem]:
    """Name every value that a line before has too, `any_case` even in other letters."""
    first: dict[str, tuple[int, str]] = {}
    problems = []
    for number, value in values:
        earlier, spelt = first.setdefault(value.casefold() if any_case else value, (number, value))
        if earlier == number:
            continue
        same = f"{what} {shown(value)} stands in line {earlier} too"
        if spelt != value:
            same = (
                f"{what} {shown(value)} differs only by letter case from {shown(spelt)} "
                f"in line {earlier}"
            )
        problems.append(Problem(f"{same}. Change or remove one of the two.", number))
    return problems
