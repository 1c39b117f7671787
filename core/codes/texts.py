"""Decide what a code says: the true time, or which tray deployment, and nothing that is foreign.

`LB1T260304061245` and a check of four digits: the true time 2026-03-04 06:12:45 UTC.
`LB1DSKO-N1` and a check of four digits: tray deployment `SKO-N1`. How a code is drawn is decided
in drawing, how it is found in a photo in reading.
"""

import binascii
import re
from dataclasses import dataclass
from datetime import UTC, datetime

from core.errors import CodeError

CLOCK, TRAY = "LB1T", "LB1D"
"""How our two kinds of text begin; the digit would change with their form."""
CHECK_DIGITS = 4
_CLOCK_TEXT = re.compile(rf"{CLOCK}(\d{{12}})(\d{{{CHECK_DIGITS}}})", re.ASCII)
_TRAY_TEXT = re.compile(rf"{TRAY}(.+)(\d{{{CHECK_DIGITS}}})", re.ASCII | re.DOTALL)
_TIME_FORM = "%y%m%d%H%M%S"
FIRST_YEAR, LAST_YEAR = 2000, 2099
"""A text holds two digits of the year."""


@dataclass(frozen=True, slots=True)
class ClockCode:
    """A code that says when it was shown."""

    true_time: datetime
    """Aware UTC, to the second."""


@dataclass(frozen=True, slots=True)
class TrayCode:
    """A code that says which tray deployment it stands beside."""

    deployment: str


Code = ClockCode | TrayCode


def text_of(code: Code) -> str:
    """Give the text that a code holds; `code_of` gives the code back.

    A clock code is always 20 characters, all of them of the kind that a QR code holds most tightly
    (capital letters and digits), so that its modules are as big as they can be.

    Raises
    ------
    CodeError
        The deployment has no id, or the year has no place in the text.
    """
    if isinstance(code, TrayCode):
        if not code.deployment.strip():
            raise CodeError("A tray deployment without an id has no code. Give it one in the log.")
        return _checked(TRAY + code.deployment)
    moment = code.true_time.astimezone(UTC)
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise CodeError(
            f"The year {moment.year} has no clock code: {FIRST_YEAR} to {LAST_YEAR} have. "
            "Set the clock right."
        )
    return _checked(CLOCK + moment.strftime(_TIME_FORM))


def code_of(text: str) -> Code | None:
    """Give what a text says; None for a foreign text, and for one that was read wrong.

    Of ten thousand texts that begin like ours by chance about one would pass the check; the QR
    code's own error correction stands before it.
    """
    clock, tray = _CLOCK_TEXT.fullmatch(text), _TRAY_TEXT.fullmatch(text)
    if (clock or tray) and _checked(text[:-CHECK_DIGITS]) != text:
        return None
    if clock:
        return _clock_code(clock[1])
    return TrayCode(tray[1]) if tray and tray[1].strip() else None


def _clock_code(digits: str) -> ClockCode | None:
    try:
        moment = datetime.strptime(digits, _TIME_FORM).replace(
            tzinfo=UTC, year=FIRST_YEAR + int(digits[:2])
        )
    except ValueError:  # the 30th of February
        return None
    return ClockCode(moment)


def _checked(text: str) -> str:
    """Put the check behind a text: CRC-16 with polynomial 0x1021 from 0xFFFF, its last digits."""
    check = binascii.crc_hqx(text.encode(), 0xFFFF) % 10**CHECK_DIGITS
    return f"{text}{check:0{CHECK_DIGITS}}"
