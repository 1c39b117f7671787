"""Decide which time a cell means, and refuse every text that can be read in two ways.

A time without an offset is local to a zone that the caller names, never to this computer's.
"""

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from core.errors import Problem

FIRST_YEAR, LAST_YEAR = 1990, 2100
"""Years outside of these are a slip of the pen or a clock that was reset (ours)."""
MOST_HOURS_OF_OFFSET = 14
_WRITE = "Write YYYY-MM-DD HH:MM, for instance 2026-03-14 07:05."

_DATE = r"(?P<year>[0-9]{4})(?P<sep>[-/.:])(?P<month>[0-9]{1,2})(?P=sep)(?P<day>[0-9]{1,2})"
_CLOCK = r"(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2})(?:[.,][0-9]+)?)?"
_OFFSET = r"\s?(?P<offset>[Zz]|[+-][0-9]{2}(?::?[0-9]{2})?)?"
_USUAL = re.compile(rf"{_DATE}(?:\s+|[Tt]){_CLOCK}{_OFFSET}")
_COMPACT = re.compile(
    r"(?P<year>[0-9]{4})(?P<month>[0-9]{2})(?P<day>[0-9]{2})[Tt]"
    rf"(?P<hour>[0-9]{{2}})(?P<minute>[0-9]{{2}})(?P<second>[0-9]{{2}})?{_OFFSET}"
)
_DAY_ONLY = re.compile(_DATE)
_DAY_MONTH = re.compile(
    r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})(?![0-9])(.*)", re.DOTALL
)
_HALF_DAY = re.compile(r"(?:^|[\s0-9])[ap]\.?m\.?$", re.IGNORECASE)
_DATE_NUMBER = re.compile(r"[0-9]{5}(?:[.,][0-9]+)?")
_TIME_ONLY = re.compile(_CLOCK)


def time_cell(text: str, zone: ZoneInfo) -> datetime | Problem:
    """Give the aware UTC time, to the second (a fraction is cut), that a cell means.

    Parameters
    ----------
    text
        `YYYY-MM-DD HH:MM[:SS]`, also with T, and with or without an offset.
    zone
        Zone of a time without an offset. One that its clocks skipped or showed twice is refused.
    """
    parts = _parts(text)
    if isinstance(parts, Problem):
        return parts
    naive, offset = parts
    if offset is not None:
        return naive.replace(tzinfo=offset).astimezone(UTC)
    return _from_local(naive, zone)


def camera_time_cell(text: str) -> datetime | Problem:
    """Give the naive time, to the second, that a camera showed; an offset is refused."""
    parts = _parts(text)
    if isinstance(parts, Problem):
        return parts
    naive, offset = parts
    if offset is not None:
        return Problem(
            "has an offset, but a camera's display has none. Write what the camera showed: "
            f"{camera_text(naive)}."
        )
    return naive


def local_text(moment: datetime | None, zone: ZoneInfo) -> str:
    """Write a time as `YYYY-MM-DD HH:MM[:SS]` in a zone; None gives ''.

    The offset follows where the zone's clocks show that time twice, so it reads back the same.
    """
    if moment is None:
        return ""
    local = moment.astimezone(zone)
    naive = local.replace(tzinfo=None, fold=0)
    if _before_and_after(naive, zone)[0] == _before_and_after(naive, zone)[1]:
        return camera_text(naive)
    return camera_text(naive) + _offset_text(local)


def camera_text(shown: datetime | None) -> str:
    """Write what a camera showed as `YYYY-MM-DD HH:MM[:SS]`; None gives ''."""
    if shown is None:
        return ""
    return shown.strftime("%Y-%m-%d %H:%M:%S" if shown.second else "%Y-%m-%d %H:%M")


def _parts(text: str) -> tuple[datetime, tzinfo | None] | Problem:
    """Split a cell into its naive time and its offset, when it has one."""
    plain = text.replace("\u2212", "-")
    found = _USUAL.fullmatch(plain) or _COMPACT.fullmatch(plain)
    if found is None:
        return _not_a_time(plain)
    year, month, day = (int(found[part]) for part in ("year", "month", "day"))
    hour, minute, second = (int(found[part] or 0) for part in ("hour", "minute", "second"))
    date = _date(year, month, day)
    if isinstance(date, Problem):
        return date
    if (hour, minute, second) == (24, 0, 0):
        return Problem(f"names midnight 24:00. Write {date + timedelta(days=1):%Y-%m-%d} 00:00.")
    try:
        naive = date.replace(hour=hour, minute=minute, second=second)
    except ValueError:
        return Problem("is no time of day. Hours go from 00 to 23, minutes and seconds to 59.")
    offset = _offset(found["offset"] or "")
    return offset if isinstance(offset, Problem) else (naive, offset)


def _date(year: int, month: int, day: int) -> datetime | Problem:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return Problem(
            f"lies in the year {year}, outside {FIRST_YEAR} to {LAST_YEAR}. Mend the year."
        )
    if not 1 <= month <= 12:  # noqa: PLR2004  months of a year
        return Problem(f"names month {month}. Write year, month and day: YYYY-MM-DD HH:MM.")
    try:
        return datetime(year, month, day)  # noqa: DTZ001  zone or camera follows
    except ValueError:
        return Problem(f"names day {day}, which {year}-{month:02} does not have. Mend the day.")


def _offset(text: str) -> tzinfo | Problem | None:
    if not text:
        return None
    if text in "Zz":
        return UTC
    hours, minutes = int(text[1:3]), int(text[3:].strip(":") or 0)
    span = timedelta(hours=hours, minutes=minutes)
    if minutes > 59 or span > timedelta(hours=MOST_HOURS_OF_OFFSET):  # noqa: PLR2004
        return Problem(f"has the offset {text}; offsets go to +14:00 and -14:00. Mend it.")
    return timezone(-span if text[0] == "-" else span)


def _not_a_time(text: str) -> Problem:
    day_month = _DAY_MONTH.fullmatch(text)
    if day_month:
        return _day_month(day_month)
    if _HALF_DAY.search(text):
        return Problem(f"uses AM or PM. Write the hour from 00 to 23. {_WRITE}")
    if _DAY_ONLY.fullmatch(text):
        return Problem(f"has no time of day. {_WRITE}")
    if _TIME_ONLY.fullmatch(text):
        return Problem(f"has no date. {_WRITE}")
    if _DATE_NUMBER.fullmatch(text):
        return Problem(f"is a spreadsheet's number. Format the cell as a date and time. {_WRITE}")
    return Problem(f"is no time that can be read in one way only. {_WRITE}")


def _day_month(found: re.Match[str]) -> Problem:
    """Refuse a form such as 03/04/2026 and show what it can mean."""
    first, second = int(found[1]), int(found[3])
    year, short = int(found[4]), len(found[4]) == len("26")
    dates = [_date(year, second, first), _date(year, first, second)]
    if short:
        dates = [_date(2000 + year, second, first), _date(2000 + year, first, second)]
        dates.append(_date(2000 + first, second, year))
    readings = list(
        dict.fromkeys(f"{date:%Y-%m-%d}" for date in dates if isinstance(date, datetime))
    )
    if not readings:
        return Problem(f"is no date of the calendar. {_WRITE}")
    meaning = " or ".join(readings)
    if len(readings) > 1:
        return Problem(f"can mean {meaning}. Write the right one, year first: YYYY-MM-DD HH:MM.")
    clock = found[5].strip() if _TIME_ONLY.fullmatch(found[5].strip()) else "HH:MM"
    return Problem(f"does not put the year first. Write {meaning} {clock}.")


def _before_and_after(naive: datetime, zone: ZoneInfo) -> tuple[timedelta, timedelta]:
    """Give the offsets that a local time has by the clock before and after a change."""
    early = naive.replace(tzinfo=zone, fold=0).utcoffset() or timedelta(0)
    late = naive.replace(tzinfo=zone, fold=1).utcoffset() or timedelta(0)
    return early, late


def _from_local(naive: datetime, zone: ZoneInfo) -> datetime | Problem:
    before, after = _before_and_after(naive, zone)
    utc = naive.replace(tzinfo=UTC)
    if before == after:
        return utc - before
    readings = sorted([utc - before, utc - after])
    if before < after:
        low, high = (camera_text(one.astimezone(zone).replace(tzinfo=None)) for one in readings)
        return Problem(
            f"does not exist in {zone.key}, whose clocks were put forward over it. "
            f"Write {low} or {high}, whichever it was, or add the offset of your watch."
        )
    first, second = (camera_text(naive) + _offset_text(one.astimezone(zone)) for one in readings)
    return Problem(
        f"occurs twice in {zone.key}, whose clocks were put back over it. "
        f"Add the offset: {first} (the first time) or {second} (the second)."
    )


def _offset_text(moment: datetime) -> str:
    return f"{moment:%z}"[:3] + ":" + f"{moment:%z}"[3:5]
