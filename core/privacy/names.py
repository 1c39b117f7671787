"""Decide what stands for a name that is not told: always the same, and telling nothing."""

import hashlib
import hmac
import re
import unicodedata

PREFIX = "anonymized:"
DIGITS = 10
_MADE = re.compile(rf"{PREFIX}[0-9a-f]{{7,64}}")


def pseudonym(name: str, secret: bytes) -> str:
    """Give what stands for a name, the same for every spelling that people take for one.

    Nobody without the study's secret can find the name by trying some. What is a pseudonym already
    stays as it is, and nothing stays nothing.
    """
    bare = " ".join(unicodedata.normalize("NFC", name).split())
    if not bare or _MADE.fullmatch(bare):
        return bare
    made = hmac.new(secret, bare.casefold().encode(), hashlib.sha256).hexdigest()
    return PREFIX + made[:DIGITS]
