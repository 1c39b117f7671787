"""Decide which cells a spreadsheet would run as a formula, and how they are written and read.

A quote in front is the sign by which spreadsheets take a cell for text. It is put in front of a
text that begins like a formula, also behind quotes of its own, and one is taken away on reading:
so any text comes back as it was. Blanks in front do not help: some readers leave them out, so
` =1+1` is quoted, too. A number that somebody quoted by hand is read as that number.

References
----------
.. [1] OWASP, CSV Injection: cells that begin with `=`, `+`, `-`, `@`, tab or carriage return
   (from memory); the full-width signs are read alike by some.
"""

import re

QUOTE = "'"
_FORMULA = re.compile("(?:[\t\r\n]|\\s*[=+\\-@\uff1d\uff0b\uff0d\uff20])")
_NUMBER = re.compile(r"[+-](?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?|[+-]\d\d:?\d\d")
"""Signed numbers and offsets from UTC: nothing in them can be run, and programs read them."""


def safe_cell(text: str) -> str:
    """Write a cell so that no spreadsheet runs it."""
    if not _FORMULA.match(text.lstrip(QUOTE)) or _NUMBER.fullmatch(text):
        return text
    return QUOTE + text


def plain_cell(text: str) -> str:
    """Read a cell as it was before `safe_cell`."""
    if text.startswith(QUOTE) and _FORMULA.match(text.lstrip(QUOTE)):
        return text[1:]
    return text
