"""Decide what a cell other than a time means: numbers, names, choices, clocks.

Every parser takes the text of a cell that is not blank and gives its value, or a Problem whose
message follows the column and the quoted text.
"""

import difflib
import functools
import re
import unicodedata
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar
from zoneinfo import available_timezones

from core.errors import Problem
from core.sheets.times import MOST_HOURS_OF_OFFSET

Choice = TypeVar("Choice", bound=StrEnum)

MOST_FOOD_G = 10_000
"""No tray holds more (ours): a larger number was written in another unit. [g]"""
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_YES, _NO = {"yes", "y", "true", "1"}, {"no", "n", "false", "0"}
_FIXED_CLOCK = re.compile(r"([+-])([0-9]{1,2})(?::([0-9]{2}))?|([+-])([0-9]{2})([0-9]{2})")
_NOT_ZONES = {"localtime", "Factory", "posixrules"}
"""Names that stand for whatever this computer is set to, or for nothing."""


def number_cell(text: str, delimiter: str = "") -> Decimal | Problem:
    """Give a decimal number, every digit kept.

    A decimal comma is taken where the file's delimiter shows that it can be nothing else.
    """
    plain = text.replace("\u2212", "-")
    if _DECIMAL_COMMA.fullmatch(plain):
        pointed = plain.replace(",", ".")
        if delimiter == ",":
            return Problem(f"has a comma. Write {pointed} where it is a decimal comma.")
        if delimiter != ";" and _MAYBE_THOUSANDS.fullmatch(plain):
            return Problem(f"can mean {pointed} or {plain.replace(',', '')}. Write the right one.")
        plain = pointed
    if not _PLAIN.fullmatch(plain):
        return Problem(
            "is no plain number. Write digits with a decimal point, such as 3.42, without a unit, "
            "an exponent or marks between thousands."
        )
    return Decimal(plain)


def mass_cell(text: str, delimiter: str = "") -> Decimal | Problem:
    """Give a food mass from 0 to 10,000 [g]."""
    grams = number_cell(text, delimiter)
    if isinstance(grams, Problem):
        return grams
    if grams < 0:
        return Problem(
            "is negative. Write 0 where nothing was left, nothing where none was weighed."
        )
    if grams > MOST_FOOD_G:
        return Problem(
            f"would be {text} g of food, more than {MOST_FOOD_G} g; did you mean milligrams? "
            "Write the mass in grams."
        )
    return grams.copy_abs()


def positive_cell(text: str, high: int, delimiter: str = "") -> Decimal | Problem:
    """Give a number above 0, up to `high`."""
    number = number_cell(text, delimiter)
    if isinstance(number, Problem):
        return number
    if not 0 < number <= high:
        return Problem(f"is not above 0 and at most {high}. Mend it, or leave the cell blank.")
    return number


def degrees_cell(text: str, most: int, delimiter: str = "") -> float | Problem:
    """Give a coordinate from -`most` to `most` [decimal degrees]."""
    degrees = number_cell(text, delimiter)
    if isinstance(degrees, Problem):
        return Problem(
            "is no decimal number. Write degrees such as -33.918, south and west with a minus."
        )
    if not -most <= degrees <= most:
        return Problem(f"is outside -{most} to {most} degrees. Look for a slip or a swap.")
    return float(degrees)


def whole_cell(text: str, low: int, high: int, what: str, delimiter: str = "") -> int | Problem:
    """Give a whole number of `what` from `low` to `high`, both allowed; 10.0 is whole."""
    number = number_cell(text, delimiter)
    if isinstance(number, Problem) or number != int(number):
        return Problem(f"is no whole number. Write {what} as digits alone.")
    if not low <= number <= high:
        return Problem(f"is outside {low} to {high}. Write {what} in that range.")
    return int(number)


def yes_no_cell(text: str) -> bool | Problem:
    """Give a truth value: yes or no, also y, n, true, false, 1, 0, in any letter case."""
    word = text.lower()
    if word in _YES | _NO:
        return word in _YES
    return Problem("is neither yes nor no. Write one of the two.")


def choice_cell(text: str, choices: type[Choice]) -> Choice | Problem:
    """Give one of a few words, in any letter case; the likely one is named otherwise."""
    word = text.lower()
    known = [choice.value for choice in choices]
    if word in known:
        return choices(word)
    near = difflib.get_close_matches(re.sub(r"[\s-]+", "_", word), known, n=1)
    hint = f'Did you mean "{near[0]}"? ' if near else ""
    return Problem(f"is not known. {hint}Write one of: {', '.join(known)}.")


def name_cell(text: str) -> str | Problem:
    """Give a name or id that stands on one line."""
    if any(unicodedata.category(sign) in {"Cc", "Cs", "Zl", "Zp"} for sign in text):
        return Problem("holds a line break or a control character. Write it on one line.")
    return text


TAKEN_KEYS = frozenset(". + - = ?")
"""Keystrokes that mean something else where animals are tagged."""


def key_cell(text: str) -> str | Problem:
    """Give a species key: one keystroke, so one character that can be seen."""
    key = unicodedata.normalize("NFC", text)
    if len(key) != 1:
        return Problem(f"has {len(key)} characters. A key is one keystroke: write one character.")
    if key in TAKEN_KEYS:
        return Problem("means something else on the Tag page. Write a letter or a digit.")
    return key if key.isprintable() else Problem("cannot be typed. Write a letter or a digit.")


def clock_cell(text: str) -> str | Problem:
    """Give what a camera's clock is set to: `±HH:MM` to 14:00, `Z`, `UTC` or an IANA zone."""
    plain = text.replace("\u2212", "-")
    if plain.upper() in {"Z", "UTC"}:
        return plain.upper()
    fixed = _FIXED_CLOCK.fullmatch(plain)
    if fixed:
        return _fixed_clock(fixed)
    if re.fullmatch(r"[0-9]{1,2}(?::?[0-9]{2}){0,2}", plain):
        return Problem("has no sign. Write +02:00 or -02:00, in a cell that is formatted as text.")
    if re.match(r"(?:UTC|GMT)\s*[+-]", plain, re.IGNORECASE):
        return Problem("mixes a zone and an offset. Write the offset alone, such as +02:00.")
    return plain if plain in _zones() else _unknown_zone(plain)


def _fixed_clock(found: re.Match[str]) -> str | Problem:
    sign, hours, minutes = found[1] or found[4], found[2] or found[5], found[3] or found[6] or "0"
    total = int(hours) * 60 + int(minutes)
    if int(minutes) > 59 or total > MOST_HOURS_OF_OFFSET * 60:  # noqa: PLR2004  of an hour
        return Problem("is no offset. Offsets go from -14:00 to +14:00, such as +02:00.")
    return f"{sign}{int(hours):02}:{int(minutes):02}"


def _unknown_zone(text: str) -> Problem:
    other_case = {name.lower(): name for name in sorted(_zones())}
    wanted = text.lower().replace(" ", "_")
    near = difflib.get_close_matches(wanted, other_case, n=1, cutoff=0.6)
    hint = f'Did you mean "{other_case[near[0]]}"? ' if near else ""
    return Problem(
        f"is no time zone that is known. {hint}Write an IANA name such as Africa/Johannesburg, "
        "or an offset such as +02:00."
    )


@functools.cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones() - _NOT_ZONES)
