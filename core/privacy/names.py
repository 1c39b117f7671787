"""Decide what stands for a name that is not told: always the same, and telling nothing."""

import hashlib
import hmac
import re
import unicodedata

from core.people import bare

PREFIX = "anonymized:"
DIGITS = 10
"""Hexadecimal digits: of 1,000 names two have the same in one of two million studies."""
_MADE = re.compile(rf"{PREFIX}[0-9a-f]{{7,64}}")
"""Others' pseudonyms too: the example of Camtrap DP has seven digits."""


def pseudonym(name: str, secret: bytes) -> str:
    """Give what stands for a name, the same for every spelling that people take for one.

    Nobody without the study's secret can find the name by trying some. What is a pseudonym already
    stays as it is, and nothing stays nothing.
    """
    shown = _shown(name)
    return shown if _stays(shown) else PREFIX + _digest(shown, secret)[:DIGITS]


def _shown(name: str) -> str:
    """Give a name as people take it, letters with accents in one of the ways to write them."""
    return bare(unicodedata.normalize("NFC", name))


def _stays(shown: str) -> bool:
    return not shown or _MADE.fullmatch(shown) is not None


def _digest(shown: str, secret: bytes) -> str:
    return hmac.new(secret, shown.casefold().encode(), hashlib.sha256).hexdigest()
