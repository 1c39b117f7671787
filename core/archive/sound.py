"""Decide which rows of an archive no study could hold; the first is named by file, line and value.

Checksums only say that a file is as it was packed; whoever writes one by hand can make those fit.
"""

import json
import math
from collections.abc import Callable, Collection, Iterable, Iterator
from datetime import MAXYEAR, MINYEAR, datetime
from decimal import Decimal, InvalidOperation
from functools import partial
from pathlib import PurePath
from typing import Any

from sqlalchemy import BigInteger, Boolean, Column, Double, Text

from core.archive import members
from core.errors import Problem, StudyError
from core.logs import LONGEST_QUIET_S, MINUTES_OF_A_DAY, MOST_UNCERTAIN_M
from core.sheets import clock_cell
from core.sheets.times import FIRST_YEAR, LAST_YEAR
from core.store.tables import METADATA, CameraTime, Cells, DecimalText, Names, UtcTime, Word

Wrong = Callable[[Any], str]
"""Says what is wrong with a cell; empty: nothing."""
LOGS = ("placements", "clock_checks", "tray_deployments")
ANY_YEAR = MINYEAR, MAXYEAR
"""A camera shows what it likes."""
MOST_DIGITS = 30
"""No mass has a point that lies further off (ours)."""
LARGEST = (1 << 63) - 1
YEAR_S = 366 * 86_400
BOUNDS = {
    "latitude": (-90, 90),
    "longitude": (-180, 180),
    "uncertainty_m": (0, MOST_UNCERTAIN_M),
    "timelapse_every_min": (1, MINUTES_OF_A_DAY),
    "quiet_s": (0, LONGEST_QUIET_S),
    "shift_s": (-MAXYEAR * YEAR_S, MAXYEAR * YEAR_S),
}
"""What a log, or a person on a page, could at most have said."""


def sound(name: str, lines: Iterable[str]) -> Iterator[str]:
    """Give the lines of a table, the names of its columns first, as long as they hold rows.

    StudyError for the first cell that is of another kind than its column, is out of bounds, or
    leads out of its card. A line that is no row is left to who reads it.
    """
    given = iter(lines)
    header = next(given, "[]")
    yield header
    table = METADATA.tables[name]
    names = _cells(header)
    known = {column.name: _wrong(name, column) for column in table.columns}
    checks = [(at, str(one), known[one]) for at, one in enumerate(names) if one in known]
    for number, line in enumerate(given, 2):
        cells = _cells(line)
        if len(cells) == len(names):
            for at, column, wrong in checks:
                fault = "" if cells[at] is None else wrong(cells[at])
                if fault:
                    raise StudyError(
                        f"{members.rows_of(name)} line {number}: {column} is {cells[at]!r:.80}, "
                        f"{fault}. No study holds that, so nothing was made. Have it packed again "
                        "by whoever has the study."
                    )
        yield line


def _cells(line: str) -> list[Any]:
    try:
        cells = json.loads(line)
    except ValueError:
        return []
    return cells if isinstance(cells, list) else []


def _wrong(table: str, column: Column[Any]) -> Wrong:
    """Give what looks at the cells of a column."""
    special = _TEXTS.get((table, column.name))
    return special or _KINDS[type(column.type)](table, column)


def _years(table: str) -> tuple[int, int]:
    """Give the first and last year of times in UTC: of logs one more, where the day is another."""
    return (FIRST_YEAR - 1, LAST_YEAR + 1) if table in LOGS else ANY_YEAR


def _of_time(cell: Any, *, years: tuple[int, int], aware: bool) -> str:
    try:
        moment = datetime.fromisoformat(cell)
    except (TypeError, ValueError):
        return "no time that the calendar has"
    if (moment.tzinfo is not None) is not aware:
        return "without its offset" if aware else "with an offset, which no camera shows"
    first, last = years
    return "" if first <= moment.year <= last else f"outside the years {first} to {last}"


def _of_decimal(cell: Any) -> str:
    try:
        number = Decimal(cell) if isinstance(cell, str) else None
    except InvalidOperation:
        number = None
    usual = number is not None and number.is_finite() and abs(number.adjusted()) <= MOST_DIGITS
    return "" if usual else "no number of a usual size"


def _of_number(cell: Any, *, bounds: tuple[float, float], whole: bool) -> str:
    kinds = int if whole else (int, float)
    if isinstance(cell, bool) or not isinstance(cell, kinds) or not math.isfinite(cell):
        return "no whole number" if whole else "no number"
    least, most = bounds
    return "" if least <= cell <= most else f"outside {least} to {most}"


def _of_texts(cell: Any, *, wanted: type) -> str:
    try:
        held = json.loads(cell)
    except (TypeError, ValueError, RecursionError):
        held = None
    texts = held.values() if isinstance(held, dict) else held if isinstance(held, list) else ()
    right = isinstance(held, wanted) and all(isinstance(text, str) for text in texts)
    return "" if right else "no list of texts"


def _of_word(cell: Any, *, words: Collection[str]) -> str:
    return "" if isinstance(cell, str) and cell in words else "no word of its list"


def _of_yes_no(cell: Any) -> str:
    return "" if isinstance(cell, bool) else "neither true nor false"


def _of_text(cell: Any) -> str:
    return "" if isinstance(cell, str) else "no text"


def _of_file(cell: Any) -> str:
    """Refuse what leads out of the card: what is shown, or copied, is only ever a file of it."""
    if not isinstance(cell, str) or not cell or "\0" in cell:
        return "no file's name"
    path = PurePath(cell)
    return "which leads out of its card" if path.anchor or ".." in path.parts else ""


def _of_clock(cell: Any) -> str:
    if not isinstance(cell, str):
        return "no text"
    return "no zone or offset" if cell and isinstance(clock_cell(cell), Problem) else ""


def _in_bounds(column: Column[Any], *, whole: bool) -> Wrong:
    return partial(_of_number, bounds=BOUNDS.get(column.name, (-LARGEST, LARGEST)), whole=whole)


_TEXTS: dict[tuple[str, str], Wrong] = {
    ("photos", "file"): _of_file,
    ("photos", "offset"): _of_clock,
    ("placements", "clock"): _of_clock,
}
_KINDS: dict[type, Callable[[str, Column[Any]], Wrong]] = {
    UtcTime: lambda table, _: partial(_of_time, years=_years(table), aware=True),
    CameraTime: lambda *_: partial(_of_time, years=ANY_YEAR, aware=False),
    Word: lambda _, one: partial(_of_word, words={word.value for word in one.type.words}),  # type: ignore[attr-defined]
    DecimalText: lambda *_: _of_decimal,
    Cells: lambda *_: partial(_of_texts, wanted=dict),
    Names: lambda *_: partial(_of_texts, wanted=list),
    Boolean: lambda *_: _of_yes_no,
    BigInteger: lambda _, one: _in_bounds(one, whole=True),
    Double: lambda _, one: _in_bounds(one, whole=False),
    Text: lambda *_: _of_text,
}
