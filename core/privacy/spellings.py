"""Decide where a text has a name of the study, however it is spelled there.

Capitals, accents, the two ways to store one, `ue` for `ü`, and what stands between the parts of a
name make no other name: `Grosse Höhle`, `grosse-hoehle` and `GrosseHöhle` are one.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

SHORTEST = 3
"""Letters and digits from which on a place is looked for inside other words (ours)."""
LONG = 8
"""So many in a row are no accident, whatever signs stand between them (a judgement)."""
_MADE = r"anonymized[:-][0-9a-f]{7,64}"
"""A pseudonym, also in a path; letters in it are no name."""
_GAP = r"(?:(?:[^\w/\\]|_|%20){1,3})?"
"""What may stand between the parts of a name: blanks, dashes and the like, no folder's end."""
_GAP_OF_FOLDERS = r"(?:(?:[\W_]|%20){1,3})?"
_TWO_LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa"})
_ONE_LETTER = str.maketrans({
    "ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "\u0131": "i",
})  # fmt: skip
_HUMP = re.compile(r"[a-z][A-Z]")
_EDGE = "\0"
"""Stands in a folded text where a new part begins with a capital, as in `GrosseHöhle`."""


@dataclass(frozen=True, slots=True)
class Finder:
    """Names that are looked for."""

    pattern: re.Pattern[str] | None
    """For folded texts; None: there are none."""

    def spans(self, text: str) -> list[tuple[int, int]]:
        """Give where names stand in a text, from left to right, none over another."""
        if self.pattern is None or not text:
            return []
        every = sorted(self._met(text), key=lambda span: (span[0], -span[1]))
        found: list[tuple[int, int]] = []
        for start, end in every:
            if not found or start >= found[-1][1]:
                found.append((start, end))
        return found

    def found(self, text: str) -> tuple[str, ...]:
        """Give the names as they stand in a text, in their order, each once."""
        return tuple(dict.fromkeys(text[start:end] for start, end in self.spans(text)))

    def replaced(self, text: str, by: Callable[[str], str]) -> str:
        """Give a text with something else for each name; the same text where it has none."""
        pieces, told = [], 0
        for start, end in self.spans(text):
            pieces += [text[told:start], by(text[start:end])]
            told = end
        return "".join([*pieces, text[told:]])

    def _met(self, text: str) -> Iterator[tuple[int, int]]:
        assert self.pattern is not None
        for folded, at in _foldings(text):
            for met in self.pattern.finditer(folded):
                if met["name"]:
                    start, end = at[met.start()], at[met.end() - 1] + 1
                    yield start, _with_marks(text, end)


def places_finder(names: Iterable[str]) -> Finder:
    """Look for names of places, inside other words too: people build ids from them.

    Those of two letters are looked for as words of their own, shorter ones not at all.
    """
    patterns = {}
    for name in names:
        for spelled, parts in _spellings(name):
            size = len(spelled)
            if size >= SHORTEST - 1:
                patterns[spelled] = _pattern(name, parts, whole=size < SHORTEST)
    return _finder(patterns)


def people_finder(names: Iterable[str]) -> Finder:
    """Look for names of people or parts of them, as whole words, also as in `Thandi's`."""
    patterns = {}
    for name in names:
        for spelled, parts in _spellings(name):
            if is_long_enough(spelled):
                patterns[spelled] = _pattern(name, parts, whole=True, owning="(?:['\u2019]?s)?")
    return _finder(patterns)


def is_long_enough(name: str) -> bool:
    """Say whether a name is looked for: three letters, two where a script has no small ones."""
    plain = [one for one in name if one.isalnum()]
    return len(plain) >= SHORTEST - any(_has_no_case(one) for one in plain)


def _finder(patterns: dict[str, str]) -> Finder:
    """Look for the longest first, and step over pseudonyms."""
    if not patterns:
        return Finder(None)
    long_first = sorted(patterns, key=lambda spelled: (-len(spelled), spelled))
    names = "|".join(patterns[spelled] for spelled in long_first)
    return Finder(re.compile(rf"{_MADE}|(?P<name>{names})"))


def _pattern(name: str, parts: list[str], *, whole: bool, owning: str = "") -> str:
    gap = _GAP_OF_FOLDERS if "/" in name or "\\" in name else _GAP
    letters = sum(map(len, parts))
    inside = gap if letters >= LONG else f"{_EDGE}?"
    body = gap.join(inside.join(map(re.escape, part)) for part in parts)
    if not whole:
        return body
    first, last = parts[0][0], parts[-1][-1]
    return _no_more(first, "<!") + body + owning + _no_more(last, "!")


def _no_more(edge: str, where: str) -> str:
    """Ask for the end of a word: no further letter, or no further digit.

    Scripts without capitals often have no blanks between words.
    """
    if edge.isdigit():
        return rf"(?{where}\d)"
    return "" if _has_no_case(edge) else rf"(?{where}[^\W\d_])"


def _has_no_case(letter: str) -> bool:
    return letter.isalpha() and letter.upper() == letter.lower()


def _spellings(name: str) -> Iterator[tuple[str, list[str]]]:
    """Give the folded spellings of a name, each in its parts."""
    for folded, _ in _foldings(name):
        parts = re.findall(r"[^\W\d_]+|\d+", folded)
        if parts:
            yield "".join(parts), parts


# --- folding -------------------------------------------------------------------------------------


def _foldings(text: str) -> Iterator[tuple[str, Sequence[int]]]:
    """Give a text in small letters without accents, and the place of each letter in the text.

    Twice where it has accents: `ü` as `u`, and as `ue`.
    """
    if text.isascii() and not _HUMP.search(text):
        yield text.lower(), range(len(text))
        return
    pieces = list(_letters(text))
    for table in ({}, _TWO_LETTERS):
        folded: list[str] = []
        at: list[int] = []
        for place, letter, edge in pieces:
            plain = edge + _plain(letter.translate(table))
            folded.append(plain)
            at += [place] * len(plain)
        yield "".join(folded), at
        if text.isascii():
            return


def _letters(text: str) -> Iterator[tuple[int, str, str]]:
    """Give each letter with its accents as one small one, its place, and whether a part begins."""
    starts = [at for at, one in enumerate(text) if not _is_mark(one)]
    before = ""
    for start, end in zip(starts, [*starts[1:], len(text)], strict=True):
        edge = _EDGE if before.islower() and text[start].isupper() else ""
        yield start, unicodedata.normalize("NFC", text[start:end]).casefold(), edge
        before = text[start]


def _plain(letter: str) -> str:
    parted = unicodedata.normalize("NFKD", letter).casefold()
    return "".join(one for one in parted if not _is_mark(one)).translate(_ONE_LETTER)


def _is_mark(one: str) -> bool:
    return unicodedata.category(one) == "Mn"


def _with_marks(text: str, end: int) -> int:
    """Give the end of a name with the accents of its last letter."""
    while end < len(text) and _is_mark(text[end]):
        end += 1
    return end
