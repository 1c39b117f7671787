"""Decide how a cell of a package is read and written by its column: nothing is guessed.

References
----------
.. [1] RFC 3339, Date and Time on the Internet: section 5.6.
.. [2] Frictionless Data, Table Schema, version 1.0: types and constraints.
"""

import math
import re
from collections.abc import Callable, Collection
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from core.camtrap.fields import MISSING, Field, Kind
from core.errors import LastbiteError
from core.sheets import plain_cell

Value = str | int | float | bool | datetime | None
"""What a cell may hold; None where nothing is there."""

YES = ("true", "True", "TRUE", "1")
NO = ("false", "False", "FALSE", "0")
QUOTE = "'"
_NOTHING = frozenset(filter(None, MISSING))
LONGEST_NUMBER = 30
"""No measure has more characters, and longer ones only cost time (ours)."""
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_WHOLE = re.compile(r"[+-]?[0-9]+")
_WHOLE_WITH_POINT = re.compile(r"[+-]?[0-9]+(?:\.0*)?")
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:Z|[+-][0-9]{2}:[0-9]{2})"
)
_LOOSE_TIME = re.compile(
    r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})[Tt ]([0-9]{1,2}):([0-9]{1,2}):([0-9]{1,2})(?:\.[0-9]+)?"
    r"(?:([Zz])|([+-][0-9]{2}):?([0-9]{2}))"
)
_NO_OFFSET = re.compile(r"[0-9]{4}[-:][0-9]{1,2}[-:][0-9]{1,2}[Tt ][0-9:.]+")


class CellError(LastbiteError):
    """A cell does not hold what its column asks for; the text says what would be right."""


def read(
    text: str, field: Field, *, strict: bool = True, missing: Collection[str] = MISSING
) -> Value:
    """Read one cell; None where nothing is there and nothing has to be.

    `missing` are the texts that mean that nothing is there: the standard's, where no other are
    told.

    Times are aware, in the offset that is written. With `strict` false `1.0` is a whole number,
    times may be unpadded, have fractions, which are dropped, or an offset without a colon, and
    words and limits count in required columns only.

    Raises
    ------
    CellError
        It cannot be read, is out of bounds, or is blank where it must not be.
    """
    if text in missing:
        if field.required:
            raise CellError("Nothing is there, but the column asks for it. Fill it in.")
        return None
    value = _READERS[field.kind](text, strict)
    if strict or field.required:
        _refuse_unlisted(text, field, strict=strict)
        _refuse_out_of_bounds(value, field)
    return value


def time_of(text: str, *, strict: bool = True) -> datetime:
    """Read a time that has an offset [1]_; CellError otherwise, also for a naive one."""
    if strict:
        if _TIME.fullmatch(text):
            return _built(text)
        raise CellError(_time_words(text))
    found = _LOOSE_TIME.fullmatch(text.strip())
    if not found:
        raise CellError(_time_words(text))
    year, *parts = found.groups()[:6]
    month, day, hour, minute, second = (part.zfill(2) for part in parts)
    offset = "+00:00" if found[7] else f"{found[8]}:{found[9]}"
    return _built(f"{year}-{month}-{day}T{hour}:{minute}:{second}{offset}")


def _built(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
        moment.astimezone(UTC)  # the first and last day there is may have no UTC
    except (ValueError, OverflowError):
        raise CellError("There is no such time. Write one that the calendar has.") from None
    return moment


def _time_words(text: str) -> str:
    way = "Write it as 2026-05-30T04:57:37+02:00."
    if _NO_OFFSET.fullmatch(text.strip()):
        return f"The time has no offset, so nobody can tell which moment it is. {way}"
    return f"This is no time with whole seconds and an offset. {way}"


def _text(text: str, _strict: bool) -> str:
    return text


def _number(text: str, strict: bool) -> float:
    told = text if strict else text.strip()
    if len(told) > LONGEST_NUMBER or not _NUMBER.fullmatch(told) or math.isinf(float(told)):
        raise CellError("This is no number. Write it as 51.496, with a point and no unit.")
    return float(told)


def _whole(text: str, strict: bool) -> int:
    told, pattern = (text, _WHOLE) if strict else (text.strip(), _WHOLE_WITH_POINT)
    if len(told) > LONGEST_NUMBER or not pattern.fullmatch(told):
        raise CellError("This is no whole number. Write it as 3, without a point or unit.")
    return int(told.partition(".")[0])


def _yes_no(text: str, strict: bool) -> bool:
    told = text if strict else text.strip()
    if told in YES or told in NO:
        return told in YES
    raise CellError("This is neither true nor false. Write one of the two.")


def _time(text: str, strict: bool) -> datetime:
    return time_of(text, strict=strict)


_READERS: dict[Kind, Callable[[str, bool], str | int | float | bool | datetime]] = {
    Kind.TEXT: _text,
    Kind.NUMBER: _number,
    Kind.WHOLE: _whole,
    Kind.YES_NO: _yes_no,
    Kind.TIME: _time,
}


def _refuse_unlisted(text: str, field: Field, *, strict: bool) -> None:
    if field.words and text not in field.words:
        raise CellError(f"This is not one of the words allowed: {', '.join(field.words)}.")
    if strict and field.pattern and not re.search(field.pattern, text):
        raise CellError(f"This is not of the form allowed, {field.pattern}.")


def _refuse_out_of_bounds(value: Value, field: Field) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return
    if field.least is not None and value < field.least:
        raise CellError(f"This is too small: at least {field.least:g} is allowed.")
    if field.most is not None and value > field.most:
        raise CellError(f"This is too large: at most {field.most:g} is allowed.")


def plain(text: str) -> str:
    """Read a text of our own packages as it was before it was made safe, here and for tables."""
    if not text.startswith(QUOTE):
        return text
    return text[1:] if text.lstrip(QUOTE) in _NOTHING else plain_cell(text)


# --- writing -----------------------------------------------------------------------------------


def kept(text: str) -> str:
    """Write a text of ours so that no reader takes it for nothing: a quote in front of `NA`.

    Also in front of one with quotes of its own, so that `plain` gives any text back.
    """
    return QUOTE + text if text.lstrip(QUOTE) in _NOTHING else text


def write(value: Value | Decimal, field: Field) -> str:
    """Write one cell so that `read` gives it back; None as an empty cell.

    Times keep their offset, zero as `Z`, and lose fractions of a second. Numbers have no
    exponent unless they would be very long, whole ones no point.

    Raises
    ------
    CellError
        The column cannot hold it: of another type, out of bounds, naive, a text that means
        nothing is there, or nothing where something has to be.
    """
    text = "" if value is None else _WRITERS[field.kind](value)
    if value is not None and text in MISSING:
        raise CellError(f"{value!r} in {field.name} would be read as nothing. Name it differently.")
    try:
        read(text, field)
    except CellError as fault:
        raise CellError(f"{field.name} {value!r}: {fault}") from None
    return text


def _refused(value: object, wanted: str) -> CellError:
    return CellError(f"{value!r} is not {wanted}. Give one.")


def _text_cell(value: Value | Decimal) -> str:
    if not isinstance(value, str):
        raise _refused(value, "a text")
    return value


def _exact(value: Value | Decimal, wanted: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise _refused(value, wanted)
    exact = Decimal(str(value))
    if not exact.is_finite() or abs(exact.adjusted()) > LONGEST_NUMBER:
        raise _refused(value, f"{wanted} of a usual size")
    return exact


def _number_cell(value: Value | Decimal) -> str:
    exact = _exact(value, "a number")
    plain = f"{exact:f}"
    return plain if len(plain) <= LONGEST_NUMBER else str(exact)


def _whole_cell(value: Value | Decimal) -> str:
    exact = _exact(value, "a whole number")
    if exact != exact.to_integral_value():
        raise _refused(value, "a whole number")
    return str(int(exact))


def _yes_no_cell(value: Value | Decimal) -> str:
    if not isinstance(value, bool):
        raise _refused(value, "true or false")
    return "true" if value else "false"


def _time_cell(value: Value | Decimal) -> str:
    if not isinstance(value, datetime):
        raise _refused(value, "a time")
    offset = value.utcoffset()
    if offset is None or offset % timedelta(minutes=1):
        raise _refused(value, "a time with an offset of whole minutes")
    return told_time(value)


def told_time(moment: datetime) -> str:
    """Write an aware time as the standard wants it, to the second, in its own offset [1]_."""
    text = moment.isoformat(timespec="seconds")
    return text.removesuffix("+00:00") + "Z" if text.endswith("+00:00") else text


_WRITERS: dict[Kind, Callable[[Value | Decimal], str]] = {
    Kind.TEXT: _text_cell,
    Kind.NUMBER: _number_cell,
    Kind.WHOLE: _whole_cell,
    Kind.YES_NO: _yes_no_cell,
    Kind.TIME: _time_cell,
}
