"""Decide what in a free text reads like coordinates: what would give a place away.

Decimal degrees in pairs or with a letter, degrees and minutes, UTM, military grid, map links,
`geo:` addresses, plus codes, and what is called a grid reference or geohash.
"""

import re
from collections.abc import Iterator

_DEGREE = r"[°º˚]|\bdeg(?:rees?)?\b|\*"
_HEMISPHERE = r"[NSEWnsewOo]"
_MINUTES = "['\u2032\u2019\u00b4]"
_SECONDS = "(?:[\"\u2033\u201d]|''|\u2032\u2032|\u2019\u2019)"

_PATTERNS = {
    "link": re.compile(
        r"(?:geo:|[@=/!(]|loc:|ll=|q=)\s*(-?\d{1,2}\.\d{2,}),\s*(-?\d{1,3}\.\d{2,})"
    ),
    "sexagesimal": re.compile(
        rf"{_HEMISPHERE}?\s?\d{{1,3}}\s?(?:{_DEGREE})\s?\d{{1,2}}(?:[.,]\d+)?\s?(?:{_MINUTES})"
        rf"(?:\s?\d{{1,2}}(?:[.,]\d+)?\s?{_SECONDS})?\s?{_HEMISPHERE}?"
    ),
    "minutes": re.compile(
        r"\b[NSns]\s?\d{1,2}\s\d{1,2}[.,]\d{2,}|\b\d{1,2}\s\d{1,2}(?:[.,]\d+|\s\d{1,2}(?:[.,]\d+)?)?\s?[NSns]"
        r"\b[\s,;]*\d{1,3}\s\d{1,2}(?:[.,]\d+|\s\d{1,2}(?:[.,]\d+)?)?\s?[EWew]\b"
    ),
    "degrees": re.compile(rf"[+-]?\d{{1,3}}[.,]\d{{2,}}\s?(?:{_DEGREE})(?![CFcf\w])"),
    "lettered": re.compile(
        r"(?<![\w.])(?:[NSEW]\s?-?\d{1,3}[.,]\d{2,}|-?\d{1,3}[.,]\d{3,}\s?[NSEW])(?!\w)"
    ),
    "named": re.compile(
        r"\b(?:lat|lon|long|lng|latitude|longitude|y|x)\b\s?[:=]?\s?-?\d{1,3}[.,]\d{2,}",
        re.IGNORECASE,
    ),
    "utm": re.compile(
        r"\b\d{1,2}\s?[C-HJ-NP-Xc-hj-np-x]\s?(?:mE\s*)?\d{6}(?:[.,]\d+)?\s?(?:m?E)?[\s,;/]+\d{6,7}(?:[.,]\d+)?"
        r"|\b\d{6}(?:\.\d+)?\s?m?E[\s,;/]+\d{6,7}(?:\.\d+)?\s?m?N\b"
        r"|\bE(?:asting)?\s?[:=]?\s?\d{6}(?:\.\d+)?[\s,;/]+N(?:orthing)?\s?[:=]?\s?\d{6,7}\b",
        re.IGNORECASE,
    ),
    "grid": re.compile(
        r"\b\d{1,2}[C-HJ-NP-X]\s?[A-HJ-NP-Z]{2}\s?(?:\d{2}\s?\d{2}|\d{3}\s?\d{3}|\d{4}\s?\d{4}|\d{5}\s?\d{5})\b"
    ),
    "labelled": re.compile(
        r"\b(?:grid ?ref(?:erence)?|easting|northing|geohash|plus ?code|mgrs|utm|gps|coords?"
        r"|coordinates)\b"
        r"\s?[:=]?\s?(?=[A-Z0-9+./-]*\d)[A-Z0-9+.-]{4,}(?:[\s,/]+\d{3,})*",
        re.IGNORECASE,
    ),
    "plus": re.compile(r"(?<!\w)[23456789CFGHJMPQRVWX]{4,8}\+[23456789CFGHJMPQRVWX]{2,7}(?!\w)"),
}
_PAIR = re.compile(
    r"(?<![\w.,:+-])([+-]?\d{1,3}\.\d{3,}|[+-]\d{1,3}\.\d{2,})\s?(?:[°º˚]\s?)?(?:\s*[,;/|]\s*|\s+)"
    r"([+-]?\d{1,3}\.\d{3,}|[+-]\d{1,3}\.\d{2,})(?![\w.]*\d)"
)
_COMMA_PAIR = re.compile(
    r"(?<![\w.,:+-])([+-]?\d{1,3},\d{3,})\s*(?:[;/|]|\s)\s*([+-]?\d{1,3},\d{3,})(?![\w,]*\d)"
)
LATITUDES, LONGITUDES = 90.0, 180.0


def coordinates_in(text: str) -> tuple[str, ...]:
    """Give the pieces of a text that read like coordinates, in their order; none: an empty one.

    A date, a time, a mass or the name of a picture is none. It would sooner hold back a text too
    many than tell a place.
    """
    if not any(sign.isdigit() for sign in text):
        return ()
    found: dict[int, str] = {}
    for start, piece in _pieces(text):
        found.setdefault(start, piece.strip(" ,;"))
    return tuple(dict.fromkeys(found[start] for start in sorted(found)))


def _pieces(text: str) -> Iterator[tuple[int, str]]:
    for pattern in (_PAIR, _COMMA_PAIR):
        for pair in pattern.finditer(text):
            one, other = (float(number.replace(",", ".")) for number in pair.groups())
            if _are_degrees(one, other):
                yield pair.start(), pair[0]
    for pattern in _PATTERNS.values():
        for piece in pattern.finditer(text):
            yield piece.start(), piece[0]


def _are_degrees(one: float, other: float) -> bool:
    small, large = sorted((abs(one), abs(other)))
    return small <= LATITUDES and large <= LONGITUDES
