"""Decide how a code is drawn, and which table lets a page draw clock codes by itself.

The drawing is segno's. A QR code of one size, level and mask is linear: the difference that a
bit of the text makes to the modules is the same whatever the other bits are. So the few drawings
in `ClockTable`, laid over each other, give the code of any second, exactly as segno draws it.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import segno
from numpy.typing import NDArray

from core.codes.texts import CHECK_DIGITS, CLOCK, ClockCode, Code, TrayCode, text_of
from core.errors import CodeError

Modules = NDArray[np.uint8]
"""A square of modules without its quiet zone: 1 is dark, 0 is light."""

QUIET = 4
"""Light modules that a code needs on each side (ISO/IEC 18004, from memory)."""
CLOCK_MODULES = 21
"""Modules along a side of a clock code: the smallest QR code there is."""
MOST_MODULES = 33
"""Of a tray code; a longer id would make its modules too small to be read (a judgement)."""
_CLOCK_MASK = 3
"""One mask for all clock codes, any of the eight, so that their drawings can be laid over."""
_TIGHT = re.compile(r"[0-9A-Z $%*+\-./:]+", re.ASCII)
_LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_SAMPLE = ClockCode(datetime(2038, 12, 29, 17, 46, 59, tzinfo=UTC))
_PAIR_BITS = 9
"""Two digits are held as one number up to 9 x 45 + 9, in this many bits."""


def modules_of(code: Code) -> Modules:
    """Draw a code.

    A clock code has 21 modules on a side and corrects about 15 % of damage (level M). A tray code
    is as small as its id allows, and corrects as much as fits (level M or better).

    Raises
    ------
    CodeError
        The id of a tray deployment is too long, or there is none.
    """
    text = text_of(code)
    if isinstance(code, TrayCode):
        return _tray_modules(code.deployment, text)
    return _clock_modules(text)


def _clock_modules(text: str) -> Modules:
    return _modules(segno.make_qr(text, error="m", version=1, mask=_CLOCK_MASK, boost_error=False))


def _tray_modules(deployment: str, text: str) -> Modules:
    if _TIGHT.fullmatch(text):
        made = segno.make_qr(text, error="m", mode="alphanumeric")
    else:
        made = segno.make_qr(text, error="m", mode="byte", encoding="utf-8")
    drawn = _modules(made)
    if len(drawn) > MOST_MODULES:
        raise CodeError(
            f"Deployment {deployment!r} has an id too long for a tray card "
            f"({len(deployment)} characters). Give it one of at most 40, best of at most 12 "
            "capital letters and digits: the shorter, the bigger its code."
        )
    return drawn


def _modules(made: segno.QRCode) -> Modules:
    return np.array([list(row) for row in made.matrix], dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class ClockTable:
    """What a page needs to draw the code of any second, with one code to try itself on."""

    empty: str
    """The modules of a text that is CLOCK and sixteen zeros; rows from the top, `0` and `1`."""
    changes: tuple[tuple[str, ...], ...]
    """For each pair of the sixteen digits, for each bit of 45 x first + second, lowest first: the
    modules that change where that bit is 1."""
    sample_text: str
    sample: str
    """A text and its modules, as drawn by itself."""


def clock_table() -> ClockTable:
    """Give the table for every clock code from 2000 to 2099; the same at every call."""
    digits = 12 + CHECK_DIGITS
    empty = _clock_modules(CLOCK + "0" * digits)
    changes = tuple(
        tuple(
            _row(empty ^ _clock_modules(CLOCK + _with_bit(at, bit, digits)))
            for bit in range(_PAIR_BITS)
        )
        for at in range(0, digits, 2)
    )
    text = text_of(_SAMPLE)
    return ClockTable(_row(empty), changes, text, _row(_clock_modules(text)))


def _with_bit(at: int, bit: int, digits: int) -> str:
    first, second = divmod(1 << bit, len(_LETTERS))
    pair = _LETTERS[first] + _LETTERS[second]
    return "0" * at + pair + "0" * (digits - at - 2)


def _row(modules: Modules) -> str:
    return "".join(map(str, modules.ravel().tolist()))
