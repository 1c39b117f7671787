"""Decide what the text of an Exif time means, in every form that cameras are known to write."""

import re
from dataclasses import dataclass
from datetime import datetime

_TIME = re.compile(
    r"(\d{4})([:/-])(\d\d)\2(\d\d)(?:T| +)(\d{1,2}):(\d\d):(\d\d)(?:[.:](\d+))?(?: *([Zz+-].*))?",
    re.ASCII,
)
_OFFSET = re.compile(r"([+-])(\d{1,2})(?::?(\d\d))?", re.ASCII)
_FARTHEST_OFFSET_MIN = 14 * 60  # no zone is further from UTC (IANA zone data)
_FIRST_YEAR, _LAST_YEAR = 1990, 2100
_QUOTED = 40


@dataclass(frozen=True, slots=True)
class ExifTime:
    """What the text of one Exif time says."""

    shown: datetime | None
    """Naive, to the second: what the camera showed; None where the text is no time."""
    subsec: str = ""
    """Digits after the decimal point."""
    offset: str = ""
    """`±HH:MM`, where the text holds one."""
    flag: str = ""
    """What is wrong or strange, in words; empty: nothing."""


def exif_time(text: str | bytes) -> ExifTime:
    """Read the text of an Exif time, in every form that cameras are known to write.

    `YYYY:MM:DD HH:MM:SS`; also with `-` or `/` in the date, `T` between, a fraction after `.` or
    `:`, and an offset. Hour 24 is hour 00 of the same written date, flagged. Zeros and blanks are
    no time. Everything behind the first NUL is cut. Nothing is guessed.
    """
    written = text_of(text)
    text = written.strip()
    form = _TIME.fullmatch(text)
    if not text.strip(" 0:/-.+TZ"):
        return ExifTime(None, flag=f"holds no time ({_quoted(written)})")
    if form is None:
        return ExifTime(None, flag=f"{_quoted(written)} is no whole time")
    year, _, month, day, hour, minute, second, subsec, after = form.groups()
    late = hour == "24"
    try:
        shown = datetime(  # noqa: DTZ001  (naive: what the camera showed)
            int(year), int(month), int(day), 0 if late else int(hour), int(minute), int(second)
        )
    except ValueError:
        return ExifTime(None, flag=f"{_quoted(written)} is not in the calendar or on a clock")
    offset, flag = offset_of(after or "")
    flags = [flag, "hour 24 is read as hour 00 of the same date" if late else "", _odd_year(shown)]
    return ExifTime(shown, subsec or "", offset, "; ".join(filter(None, flags)))


def _odd_year(shown: datetime) -> str:
    if shown.year < _FIRST_YEAR:
        return f"year {shown.year}: the clock was probably never set"
    if shown.year > _LAST_YEAR:
        return f"year {shown.year}: the clock was probably set wrong"
    return ""


def offset_of(text: str) -> tuple[str, str]:
    """Give an offset as `±HH:MM`, and what is wrong with it; both empty where none is written."""
    text = text.strip()
    if not text.strip(" :+-"):
        return "", ""
    if text in {"Z", "z"}:
        return "+00:00", ""
    form = _OFFSET.fullmatch(text)
    hours, minutes = (int(form[2]), int(form[3] or 0)) if form else (0, 60)
    if form is None or minutes >= 60 or hours * 60 + minutes > _FARTHEST_OFFSET_MIN:  # noqa: PLR2004
        return "", f"its offset {_quoted(text)} cannot be read and is left out"
    return f"{form[1]}{hours:02}:{minutes:02}", ""


def text_of(value: object) -> str:
    """Give a text as written, cut at the first NUL; empty where the value is no text."""
    if isinstance(value, bytes):
        written = value.partition(b"\0")[0]
        try:
            value = written.decode()
        except UnicodeDecodeError:
            value = written.decode("latin-1")
    return value.partition("\0")[0] if isinstance(value, str) else ""


def _quoted(text: str) -> str:
    return repr(text if len(text) <= _QUOTED else text[:_QUOTED] + "…")
