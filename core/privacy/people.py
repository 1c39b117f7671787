"""Decide whom a cell of people names, and which parts of a name give somebody away."""

import re
import unicodedata
from collections.abc import Iterable, Iterator

from core.people import bare
from core.privacy.spellings import is_long_enough

_AND = ("and", "und", "en", "et", "og", "och", "ja", "with", "mit", "met", "avec", "con", "com")
_BETWEEN = re.compile(rf"[,;/&+|\n]|(?<!\w)(?:(?i:{'|'.join(_AND)})|[yei])(?!\w)(?!\.)")
"""What stands between several people; a single letter only where it is small, `E.` is a name's."""
_PARTICLES = """
van von der den dem des del della dos das las los ten ter zum zur bin ibn san the and und
"""
_ROLES = """
student students team crew group class course tagger taggers handler handlers observer instructor
teacher assistant assistants helper helpers volunteer volunteers ranger field prof professor doctor
miss mrs nobody none unknown unnamed all we us me myself
"""
_NOBODY = frozenset((_PARTICLES + _ROLES).split())
"""Words that are nobody's name, however often they stand in cells (a judgement)."""
_WORD = re.compile(r"[^\W\d_]+(?:['\u2019][^\W\d_]+)*")


def people_of(cell: str) -> tuple[str, ...]:
    """Give the names in a cell such as `Jo Kim und Piet Maas`."""
    names = (bare(name).strip(" .()") for name in _BETWEEN.split(cell))
    return tuple(filter(None, names))


def looked_for(names: Iterable[str]) -> frozenset[str]:
    """Give what is looked for of people: their names, and the parts that would name them alone."""
    return frozenset(word for name in names for word in (*_whole(name), *parts_of(name)))


def parts_of(name: str) -> Iterator[str]:
    """Give the words of a name that are looked for; of an address, those before the `@`."""
    for word in _WORD.findall(unicodedata.normalize("NFC", name.partition("@")[0])):
        if word.casefold() not in _NOBODY and is_long_enough(word):
            yield word


def has_a_persons_name(name: str) -> bool:
    """Say whether a species of people is called as somebody: two words or more with capitals."""
    words = name.split()
    return len(words) > 1 and all(word[0].isupper() for word in words)


def _whole(name: str) -> Iterator[str]:
    if bare(name).casefold() not in _NOBODY:
        yield bare(name)
