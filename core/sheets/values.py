"""Decide how a value that is no text yet (a workbook's cell, a table's) is written as text."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal

import numpy as np

INVISIBLE = "\ufeff\u200b\u200c\u200d\u2060"
"""Characters of no width that spreadsheets and web pages leave at the ends of a cell."""


def cell_text(value: object) -> str:
    """Give the text of any value, blanks at its ends left out; nothing at all gives ''.

    A whole number has no decimal point, another number at most 15 digits (what a spreadsheet
    holds), a time is `YYYY-MM-DD HH:MM:SS` rounded to the second, a truth value is yes or no.
    """
    if isinstance(value, np.generic):
        value = value.item()
    if _is_nothing(value):
        return ""
    if isinstance(value, bool):
        return yes_no_text(value)
    if isinstance(value, float):
        return plain_text(Decimal(f"{value:.15g}"))
    if isinstance(value, Decimal):
        return plain_text(value)
    if isinstance(value, datetime | date | time | timedelta):
        return _time_text(value)
    return stripped(str(value))


def stripped(text: str) -> str:
    """Leave out blanks of every kind at both ends, the invisible ones too."""
    bare = text.strip().strip(INVISIBLE)
    return bare if bare == text else stripped(bare)


def plain_text(number: Decimal | float | None) -> str:
    """Write a number without an exponent, every digit kept; None gives ''."""
    if number is None:
        return ""
    exact = number if isinstance(number, Decimal) else Decimal(f"{number!r}".removesuffix(".0"))
    return format(exact, "f")


def yes_no_text(value: bool | None) -> str:
    """Write a truth value as yes or no; None gives ''."""
    return "" if value is None else "yes" if value else "no"


def _is_nothing(value: object) -> bool:
    if value is None or type(value).__name__ in {"NAType", "NaTType"}:
        return True
    return isinstance(value, float | Decimal) and value != value  # noqa: PLR0124  not a number


def _time_text(value: date | time | timedelta) -> str:
    if isinstance(value, datetime):
        return (value + timedelta(microseconds=500_000)).isoformat(sep=" ", timespec="seconds")
    if isinstance(value, time):
        return value.isoformat(timespec="seconds")
    return str(value)
