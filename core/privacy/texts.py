"""Decide what in a free text reads like coordinates: what would give a place away.

Pairs of decimal degrees, degrees with a letter or sign, degrees and minutes, UTM, military grid,
map links, `geo:` addresses, plus codes, and what is called a grid reference or geohash. Two bare
numbers count with three decimals each, which is 100 m; fewer are masses more often (a judgement).
"""

import re
from collections.abc import Iterator

_DEGREE = r"(?:[°º˚]|(?<![a-z])deg(?:rees?)?\b\.?)"
_MINUTE = "(?:['\u2019\u2032\u00b4`]|\\bmin\\b\\.?|(?<=\\d)m(?=\\s?\\d))"
_SECOND = "(?:''|[\"\u201d\u2033\u201c]|\u2032\u2032|\u2019\u2019|(?<=\\d)s\\b|\\bsec\\b\\.?)"
_NUMBER = r"\d+(?:[.,]\d+)?"
_UNIT = r"(?!\s*(?:[mkµ]?g|[mcdk]?m|m?l|[mh]?s|min|h|%|°\s?[CF]|[CF])\b)(?![.:-]?\d)(?!\s?%)"
"""What must not follow: a unit makes it another kind of number."""
_FREE = r"(?<![\w.,:+\-/])"
"""Not inside a word, a number, a time or a date."""
_NS, _EW = "(?:[NSns]|north|south)", "(?:[EWewOo]|east|west)"
_LETTER = f"(?:{_NS}|{_EW})"
_SECONDS = rf"(?:\s?{_NUMBER}\s?{_SECOND})?"
_ANGLE = (
    rf"\d{{1,3}}\s?(?:{_DEGREE}|\*)\s?\d{{1,2}}"
    rf"(?:(?:[.,]\d+)?\s?{_MINUTE}{_SECONDS}|[.,]\d{{2,}}|(?=\s?{_LETTER}\b))"
)
_SPACED = (
    r"\d{1,3}[ :-]\d{1,2}(?:[.,]\d+|[ :-]\d{1,2}(?:[.,]\d+)?)?['\"\u2019\u201d\u2032\u2033]{0,2}"
)
_CARTESIAN = r"\d{6}(?:[.,]\d+)?"
_NORTHING = r"\d{6,7}(?:[.,]\d+)?"
_PLUS = "23456789CFGHJMPQRVWX"
_ZONE = r"(?:0?[1-9]|[1-5]\d|60)"


def _any(*patterns: str) -> re.Pattern[str]:
    return re.compile("|".join(patterns), re.IGNORECASE)


_PATTERNS = (
    # Links and addresses: geo:, @lat,lon, !3dlat!4dlon, q=, ll=, #map=zoom/lat/lon, lat=..&lon=..
    _any(
        r"geo:[+-]?\d+(?:\.\d+)?,[+-]?\d+(?:\.\d+)?",
        r"!3d-?\d+\.\d+!4d-?\d+\.\d+",
        r"(?<!\w)@-?\d+\.\d+,-?\d+\.\d+",
        r"[?&](?:s?ll|q|query|center|centre|cp|at|pt|loc|destination|daddr|saddr|near)="
        r"(?:loc:)?-?\d+\.\d+(?:,|%2C|~)\+?-?\d+\.\d+",
        r"#(?:map=)?\d+(?:\.\d+)?/-?\d+\.\d+/-?\d+\.\d+",
        r"/(?:-?\d{1,3}\.\d{2,}),\s?(?:-?\d{1,3}\.\d{2,})",
    ),
    # Degrees and minutes, with signs; with blanks or colons only between letters of both.
    _any(
        rf"(?:\b{_LETTER}\s?)?[+-]?{_ANGLE}(?:\s?{_LETTER}\b)?",
        rf"{_FREE}{_SPACED}\s?{_NS}(?![a-z])[\s,;/]*{_SPACED}\s?{_EW}\b",
        rf"\b{_NS}\s?{_SPACED}[\s,;/]*{_EW}\s?{_SPACED}",
        r"\b[NS]\s?\d{1,2}\s\d{1,2}[.,]\d{2,}",
    ),
    # Decimal degrees with a sign or letters; a temperature is none.
    _any(
        rf"{_FREE}[+-]?\d{{1,3}}[.,]\d{{3,}}\s?{_DEGREE}(?!\s?[CF]\b)(?:\s?{_LETTER}\b)?",
        rf"{_FREE}[+-]?\d{{1,3}}[.,]\d{{2,}}\s?{_DEGREE}\s?{_LETTER}\b",
        rf"\b{_LETTER}\s?\d{{1,3}}[.,]\d{{2,}}\s?{_DEGREE}(?!\s?[CF]\b)",
        rf"{_FREE}{_NUMBER}\s?{_DEGREE}\s?{_NS}(?![a-z])[\s,;/]*(?:and\s)?{_NUMBER}\s?{_DEGREE}\s?{_EW}\b",
        rf"{_FREE}\d{{1,2}}[.,]\d+\s?{_NS}(?![a-z])[\s,;/]*(?:and\s)?\d{{1,3}}[.,]\d+\s?{_EW}\b",
        rf"{_FREE}\d{{1,3}}[.,]\d+\s?{_EW}(?![a-z])[\s,;/]*(?:and\s)?\d{{1,2}}[.,]\d+\s?{_NS}\b",
        rf"\b{_NS}\s?{_NUMBER}\s?{_DEGREE}[\s,;/]*(?:and\s)?{_EW}\s?{_NUMBER}\s?{_DEGREE}",
        rf"\b{_NS}\s?\d{{1,2}}[.,]\d+[\s,;/]*(?:and\s)?{_EW}\s?\d{{1,3}}[.,]\d+{_UNIT}",
        rf"\b{_EW}\s?\d{{1,3}}[.,]\d+[\s,;/]*(?:and\s)?{_NS}\s?\d{{1,2}}[.,]\d+{_UNIT}",
        rf"\b(?-i:[NSEW])\s?\d{{1,3}}[.,]\d{{3,}}{_UNIT}",
        rf"{_FREE}-?\d{{1,3}}[.,]\d{{3,}}\s?(?-i:[NSEW])\b",
    ),
    # Called a latitude, longitude, grid reference and so on.
    _any(
        r"\b(?:lat|lon|lng|latitude|longitude|decimallatitude|decimallongitude)\b"
        rf"\.?[\"']?\s?(?:is\s)?[:=]?\s?[\"']?[+-]?\d{{1,3}}(?:[.,]\d+)?{_UNIT}",
        rf"\blong\b\.?\s?[:=]\s?[+-]?\d{{1,3}}[.,]\d+{_UNIT}",
        r"\b(?:grid ?ref(?:erence)?|ngr|os ?ref|geo-?hash|plus ?code|mgrs|utm|gps|coords?"
        r"|coordinates|what3words)\b\.?\s?(?:is\s|at\s)?[:=]?\s?"
        r"(?=[^\s,;]*\d)[A-Z0-9+./-]{4,}(?:[\s,/]+[\d.-]{3,})*",
        r"\b(?:grid ?ref(?:erence)?|ngr|os ?ref|mgrs)\b\.?\s?(?:is\s|at\s)?[:=]?\s?"
        r"[A-Z]{1,2}\s?\d{2,5}\s?\d{2,5}",
        r"\bgeo-?hash\b\s?(?:is\s)?[:=]?\s?[0-9b-hjkmnp-z]{5,12}\b",
        r"\b(?:easting|northing)s?\b\.?\s?(?:is\s)?[:=]?\s?\d{5,7}(?:[.,]\d+)?",
        rf"\bE\s?[:=]?\s?{_CARTESIAN}[\s,;/]+N\s?[:=]?\s?{_NORTHING}",
        rf"\bN\s?[:=]?\s?{_NORTHING}[\s,;/]+E\s?[:=]?\s?{_CARTESIAN}",
    ),
    # UTM: zone, easting, northing.
    _any(
        rf"\b{_ZONE}\s?[C-HJ-NP-X]\s?(?:E\s?[:=]?\s?)?{_CARTESIAN}\s?(?:m\s?E|E)?[\s,;/]+"
        rf"(?:N\s?[:=]?\s?)?{_NORTHING}",
        rf"\bzone\s?{_ZONE}\s?[A-Z]?(?:\b\w+\b)?[\s,;:/]+(?:E\s?[:=]?\s?)?{_CARTESIAN}"
        rf"\s?(?:m\s?E|E)?[\s,;/]+(?:N\s?[:=]?\s?)?{_NORTHING}",
        rf"{_FREE}{_CARTESIAN}\s?m?\s?E\b[\s,;/]+{_NORTHING}\s?m?\s?N\b",
        rf"{_FREE}{_NORTHING}\s?m?\s?N\b[\s,;/]+{_CARTESIAN}\s?m?\s?E\b",
    ),
    # Codes that are written in capitals: military grid, open location codes.
    re.compile(
        rf"\b{_ZONE}[C-HJ-NP-X]\s?[A-HJ-NP-Z][A-HJ-NP-V]\s?(?:"
        r"\d{5}\s?\d{5}|\d{4}\s?\d{4}|\d{3}\s?\d{3}|\d{2}\s?\d{2})\b"
    ),
    re.compile(
        rf"(?<![\w+])(?=[{_PLUS}]*[A-Z]|[{_PLUS}]{{8}}\+|[{_PLUS}]{{4}}\+[{_PLUS}]*[A-Z])"
        rf"(?:(?:[{_PLUS}]{{2}}){{2,4}}\+[{_PLUS}]{{2,7}}|[{_PLUS}]{{8}}\+|[{_PLUS}]{{2,6}}0{{2,6}}\+)"
        r"(?!\w)"
    ),
)
_BETWEEN = r"(?:\s*[,;/|]\s*|\s+(?:and\s+|by\s+)?)"
_START = r"(?<![\w.])(?<!\d[:+-])"
"""Also behind a comma, as in a row of a table."""
_PAIRS = (
    re.compile(rf"{_START}([+-]?\d{{1,3}}\.\d{{3,}}){_BETWEEN}([+-]?\d{{1,3}}\.\d{{3,}}){_UNIT}"),
    re.compile(rf"{_START}([+-]\d{{1,3}}\.\d{{2,}}){_BETWEEN}([+-]?\d{{1,3}}\.\d{{2,}}){_UNIT}"),
    re.compile(rf"{_START}([+-]?\d{{1,3}}\.\d{{2,}}){_BETWEEN}([+-]\d{{1,3}}\.\d{{2,}}){_UNIT}"),
    re.compile(
        rf"{_FREE}([+-]?\d{{1,3}},\d{{3,}})(?:\s*[;/|]\s*|\s+)([+-]?\d{{1,3}},\d{{3,}}){_UNIT}"
    ),
    re.compile(rf"{_FREE}([+-]?\d{{1,3}},\d{{4,}}),\s+([+-]?\d{{1,3}},\d{{4,}}){_UNIT}"),
)
_MINUS = str.maketrans("\u2212\u2013\u00a0\u202f", "--  ")
LATITUDES, LONGITUDES = 90.0, 180.0


def coordinates_in(text: str) -> tuple[str, ...]:
    """Give the pieces of a text that read like coordinates, in their order; none: an empty one.

    A date, a time, a mass or the name of a picture is none. Where both can be meant it would
    sooner hold back a text too many than tell a place.
    """
    if not any(sign.isdigit() for sign in text) and "hash" not in text.casefold():
        return ()
    plain = text.translate(_MINUS)
    spans = sorted(_spans(plain), key=lambda span: (span[0], -span[1]))
    found: list[str] = []
    told = 0
    for start, end in spans:
        if end > told:
            found.append(text[max(start, told) : end].strip(" ,;"))
            told = end
    return tuple(dict.fromkeys(filter(None, found)))


def _spans(text: str) -> Iterator[tuple[int, int]]:
    for pattern in _PAIRS:
        for pair in pattern.finditer(text):
            one, other = (float(number.replace(",", ".")) for number in pair.groups())
            if _are_degrees(one, other):
                yield pair.span()
    for pattern in _PATTERNS:
        for piece in pattern.finditer(text):
            yield piece.span()


def _are_degrees(one: float, other: float) -> bool:
    small, large = sorted((abs(one), abs(other)))
    return small <= LATITUDES and large <= LONGITUDES
