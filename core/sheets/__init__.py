"""Decide how a file or table that people filled in becomes lines of text cells, and cells values.

Which columns a log has, and what its rows mean, is decided in `logs` and `traylog`.
"""

from core.sheets.cells import (
    choice_cell,
    clock_cell,
    degrees_cell,
    key_cell,
    mass_cell,
    name_cell,
    number_cell,
    positive_cell,
    whole_cell,
    yes_no_cell,
)
from core.sheets.files import read_sheet
from core.sheets.rows import (
    Column,
    Line,
    RowReader,
    Sheet,
    accepted,
    check_columns,
    header_line,
    read_rows,
    repeated,
    sheet_of_rows,
    shown,
)
from core.sheets.safe import plain_cell, safe_cell
from core.sheets.times import camera_text, camera_time_cell, local_text, time_cell
from core.sheets.values import plain_text, yes_no_text

__all__ = [
    "Column",
    "Line",
    "RowReader",
    "Sheet",
    "accepted",
    "camera_text",
    "camera_time_cell",
    "check_columns",
    "choice_cell",
    "clock_cell",
    "degrees_cell",
    "header_line",
    "key_cell",
    "local_text",
    "mass_cell",
    "name_cell",
    "number_cell",
    "plain_cell",
    "plain_text",
    "positive_cell",
    "read_rows",
    "read_sheet",
    "repeated",
    "safe_cell",
    "sheet_of_rows",
    "shown",
    "time_cell",
    "whole_cell",
    "yes_no_cell",
    "yes_no_text",
]
