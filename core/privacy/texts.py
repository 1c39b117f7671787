"""Decide what in a free text reads like coordinates: what would give a place away.

Pairs of decimal degrees, degrees with a letter or sign, degrees and minutes, UTM and national
grids, map links, `geo:` addresses, plus codes, three-word addresses, sentences of receivers, and
what is called a latitude, a grid reference or geohash in some language. Two bare numbers count
with three decimals each, which is 100 m; fewer are masses more often (a judgement).
"""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from functools import lru_cache

_DEGREE = r"(?:[°º˚]|(?<![a-z])deg(?:rees?)?\b\.?)"
_MINUTE = "(?:['\u2019\u2032\u00b4`]|\\bmin\\b\\.?|(?<=\\d)m(?=\\s?\\d))"
_SECOND = "(?:''|[\"\u201d\u2033\u201c]|\u2032\u2032|\u2019\u2019|(?<=\\d)s\\b|\\bsec\\b\\.?)"
_NUMBER = r"\d+(?:[.,]\d+)?"
_UNIT = (
    r"(?!\s*(?:[mkµ]?g|[mcdk]?m|m?l|[mh]?s|min|h|%|°\s?[CF]|[CF]"
    r"|(?:centi|kilo|milli)?(?:gramm?e?s?|met(?:er|re)s?)|litres?|liters?|hours?|minutes?)\b)(?![.:-]?\d)(?!\s?%)"
)
"""What must not follow: a unit makes it another kind of number."""
_FREE = r"(?<![\w.,:+\-/])"
"""Not inside a word, a number, a time or a date."""
_NS = "(?:[NSns]|north|south|nord|norte|noord|s[u\u00fc]d|sur|sul|suid|zuid)"
_EW = "(?:[EWewOo]|east|west|ost|est|este|leste|oos|oost|wes|ouest|oeste)"
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
_IS = r"\.?[\"']?\s?(?:is\s|ist\s)?[:=]?\s?[\"']?"
"""What may stand between a word and its number."""
_LETTERS, _DOT = r"[^\W\d_]{2,30}", "[.\u3002\uff61]"
_NO_FILE = (
    r"(?!(?:jpe?g|png|tiff?|hei[cf]|webp|avif|pdf|html?|php|docx?|odt|xlsx?|ods|csv|tsv|txt|text"
    r"|json|toml|yaml|zip|org|com|net|info|museum)(?!\w))"
)
"""The name of a file, or of a site, has dots between words too."""
_THREE_WORDS = rf"{_LETTERS}{_DOT}{_LETTERS}{_DOT}{_NO_FILE}{_LETTERS}"
_LINK = r"(?:\bhttps?://|\bwww\.)"
_SITE = r"[\w-]{1,60}(?:\.[\w-]{1,60}){1,6}"
_MAP = r"(?:maps?|karten?|kaarte?|cartes?|mapas?|mapp[ae]|geo|gps|osm|earth|locations?|places?)"
_LATITUDE = (
    r"(?:latitude?|latitudine|latitudo|breitengrad|breedtegraad|breddegrad|leveysaste|leveyspiiri"
    r"|szelessegi fok|enlem|lintang|laiuskraad|vi \u0111o"
    r"|\u0448\u0438\u0440\u043e\u0442\u0430|\u7eac\u5ea6|\u7def\u5ea6"
    r"|\u110b\u1171\u1103\u1169)"
)
_LONGITUDE = (
    r"(?:longitude?|longitudine|longitudo|langengrad|laengengrad|lengtegraad|lengdegrad"
    r"|laengdegrad|l\u00e6ngdegrad|pituusaste|pituuspiiri|boylam|bujur|pikkuskraad|kinh \u0111o"
    r"|\u0434\u043e\u043b\u0433\u043e\u0442\u0430|\u7ecf\u5ea6|\u7d93\u5ea6|\u7d4c\u5ea6"
    r"|\u1100\u1167\u11bc\u1103\u1169)"
)
"""Words that mean nothing else, without accents."""
_WIDTH = (
    r"(?:breite|breedte|bredde?|largeur|larghezza|ancho|largura|szerokosc|szelesseg|sirka|sirina"
    r"|leveys|latime|\u03c0\u03bb\u03b1\u03c4\u03bf[\u03c2\u03c3])"
)
_LENGTH = (
    r"(?:lange|laenge|lengte|lengde|langd|laengde|l\u00e6ngde|longueur|lunghezza|largo|comprimento"
    r"|dlugosc|hosszusag|delka|dlzka|duzina|pituus|lungime|\u03bc\u03b7\u03ba\u03bf[\u03c2\u03c3])"
)
"""Words that may also measure a burrow."""
_OF_THE_EARTH = r"(?:[\s(]{1,2}\w{1,16}\)?)?"
"""As in `szerokość geograficzna`."""
_NOT_IN = r"(?<![\w.+:/-])"
"""Not inside a word, a date or the number of a phone; behind a comma, as in a row of a table."""
_THOUSAND = "[ '\u2019]"
_METRES = r"\d{1,2}[ .']?\d{2,3}[ .']?\d{3}(?:[.,]\d+)?(?!\d)"
_AXIS = rf"[+-]?(?:\d{{1,3}}[.,]\d{{3,}}|\d{{5,7}}(?:[.,]\d+)?)(?!\s?px){_UNIT}"
_POINT = r"[+-]?(?:\d{1,3}[.,]\d{2,}|[1-9]\d{4,6})"
_PARTED = r"\s?[,;/| ]\s?"
_BEFORE = r"(?<![\w.,])\d{1,3}(?:[.,]\d{1,9}\s?\u00b0?|\s?\u00b0)\s?"
"""A number in front of its word, as in `50.12 nördlicher Breite`."""
_MARK = r"(?<=[/?#&=._-])"
_FINE = r"[+-]?\d{1,3}[.,]\d{3,}"


def _any(*patterns: str) -> re.Pattern[str]:
    return re.compile("|".join(patterns), re.IGNORECASE)


_LINKS = (
    # Three-word addresses, also at the end of a link; links to maps, also short ones.
    _any(
        rf"///\s?{_THREE_WORDS}(?!\w)",
        rf"{_LINK}?{_SITE}/(?:[a-z]{{2}}/)?{_THREE_WORDS}(?![\w./])",
        rf"{_LINK}[\w.-]{{0,100}}?(?:map|karte|kaart)[\w.-]{{0,100}}(?:[/?#]\S{{0,300}})?",
        rf"{_LINK}?{_SITE}[/?#](?:\S{{0,300}}?{_MARK})?{_MAP}(?!\w)\S{{0,300}}",
        rf"(?<![\w@.])(?:[\w-]{{1,60}}\.){{0,5}}(?:{_MAP}|[\w-]{{0,60}}map[\w-]{{0,20}})"
        r"(?:\.[\w-]{1,60}){1,5}/\S{1,300}",
    ),
)
"""What has a `/`, and need not have a digit."""
_WORDS = (
    _any(
        rf"(?:three|3)[ -]?words?(?: address)?{_IS}{_THREE_WORDS}(?!\w)",
        r"\bgeo-?hash\b\s?(?:is\s)?[:=]?\s?[0-9b-hjkmnp-z]{5,12}\b",
    ),
    re.compile(
        r"(?<![\w./@:-])(?:[a-z\u00df-\u00ff]{4,18}\.){2}"
        rf"{_NO_FILE}[a-z\u00df-\u00ff]{{4,18}}(?![\w@/-]|\.\w)"
    ),
)
"""What has two dots, or is called a geohash, and need not have a digit."""
_CALLED = (
    # Words for latitude and longitude, in a text without accents.
    _any(
        rf"(?<!\w)(?:{_LATITUDE}|{_LONGITUDE}){_OF_THE_EARTH}{_IS}[+-]?\d{{1,3}}(?:[.,]\d+)?{_UNIT}",
        rf"(?<!\w)(?:{_WIDTH}|{_LENGTH}){_OF_THE_EARTH}{_IS}{_FINE}{_UNIT}",
        rf"(?<!\w){_WIDTH}{_OF_THE_EARTH}{_IS}[+-]?\d{{1,2}}[.,]\d+{_UNIT}[\s,;/]*(?:und\s|en\s)?"
        rf"{_LENGTH}{_OF_THE_EARTH}{_IS}[+-]?\d{{1,3}}[.,]\d+{_UNIT}",
        rf"\b(?:n[o\u00f8]r|n|s[uy])[a-z]{{0,8}}\.?\s{_WIDTH}{_IS}{_NUMBER}{_UNIT}",
        rf"{_BEFORE}(?:n|s)[a-z\u00f8]{{0,8}}\.?\s?(?:{_WIDTH}|br\.)(?!\w)",
        rf"{_BEFORE}(?:o|e|w|v)[a-z]{{0,8}}\.?\s?(?:{_LENGTH}|l\.)(?!\w)",
        rf"\b\d{{1,3}}\s?Gra[da]\w{{0,3}}\s\d{{1,2}}\s?Min\w{{0,5}}\.?\s(?:{_LETTER})\b",
    ),
    # What is called a place, and two numbers.
    _any(
        r"\b(?:lat|latitude)\.?\s?[/,&+-]?\s?(?:and\s)?(?:lon|lng|long|longitude)\b\.?"
        rf"\W{{0,3}}{_POINT}{_PARTED}{_POINT}{_UNIT}",
        r"\b(?:gps|position|wgs ?84|etrs ?89|rd|rt ?90|lv95|gk|utm|wpt|waypoint|coord|koord)"
        rf"[a-z-]{{0,14}}\W{{1,3}}{_POINT}{_PARTED}{_POINT}{_UNIT}",
    ),
)
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
        r"|coordinates|coordonnees|coordenadas|coordinate|coordinaten|koordinaten?)\b\.?\s?(?:is\s|at\s)?[:=]?\s?"
        r"(?=[^\s,;]*\d)[A-Z0-9+./-]{4,}(?:[\s,/]+[\d.-]{3,})*",
        r"\b(?:grid ?ref(?:erence)?|ngr|os ?ref|mgrs)\b\.?\s?(?:is\s|at\s)?[:=]?\s?"
        r"[A-Z]{1,2}\s?\d{2,5}\s?\d{2,5}",
        r"\b(?:easting|northing)s?\b\.?\s?(?:is\s)?[:=]?\s?\d{5,7}(?:[.,]\d+)?",
        rf"\bE\s?[:=]?\s?{_CARTESIAN}[\s,;/]+N\s?[:=]?\s?{_NORTHING}",
        rf"\bN\s?[:=]?\s?{_NORTHING}[\s,;/]+E\s?[:=]?\s?{_CARTESIAN}",
    ),
    # National grids: named axes, bare pairs, letters of squares.
    _any(
        rf"\bX\s?[:=]?\s?{_AXIS}[\s,;/]*\bY\s?[:=]?\s?{_AXIS}",
        rf"\bY\s?[:=]?\s?{_AXIS}[\s,;/]*\bX\s?[:=]?\s?{_AXIS}",
        rf"\b(?:RW|HW|Rechtswert|Hochwert){_IS}{_METRES}",
        rf"\b[RH]\s?[:=]?\s?{_METRES}[\s,;/]+[RH]\s?[:=]?\s?{_METRES}",
        rf"{_NOT_IN}[1-9]\d{{5}}(?:\.\d+)?[ ,;/]{{1,3}}[1-9]\d{{6}}(?:\.\d+)?{_UNIT}(?!\d)",
        rf"{_NOT_IN}[1-9]\d{{6}}(?:\.\d+)?[ ,;/]{{1,3}}[1-9]\d{{5}}(?:\.\d+)?{_UNIT}(?!\d)",
        rf"{_NOT_IN}0\d{{6}}[ ,;/]{{1,3}}[1-9]\d{{6}}{_UNIT}(?!\d)",
        rf"{_NOT_IN}[2-5]\d{{6}}(?:\.\d+)?[ ,;/]{{1,3}}[56]\d{{6}}(?:\.\d+)?{_UNIT}(?!\d)",
        rf"{_NOT_IN}2[4-8]\d{{5}}(?:\.\d+)?[ ,;/]{{1,3}}1[0-3]\d{{5}}(?:\.\d+)?{_UNIT}(?!\d)",
        rf"{_NOT_IN}2{_THOUSAND}[4-8]\d\d{_THOUSAND}\d{{3}}[ ,;/]{{1,3}}"
        rf"1{_THOUSAND}[0-3]\d\d{_THOUSAND}\d{{3}}(?!\d)",
    ),
    re.compile(
        rf"{_NOT_IN}[2-5](?:[.' ]\d{{3}}){{2}}\s?[/,;]\s?[56](?:[.' ]\d{{3}}){{2}}(?!\d)"
        r"|\b[Gg]rid\W{1,2}[HJNOST][A-HJ-Z]\s?\d{3,4}\s?\d{3,4}\b"
        r"|\b(?:[HJNOST][A-HJ-Z]|[A-HJ-Z])\s\d{5}[ /,]{1,2}\d{5}(?!\d)"
        r"|\b[HJNOST][A-HJ-Z]\d{5}\s?\d{5}(?!\d)"
        r"|\b(?!SN|SD|NO|NR)[HJNOST][A-HJ-Z]\s?(?:\d{4}\s\d{4}|\d{3}\s\d{3})(?![ -]?\d)"
    ),
    # With the letters d, m and s; degrees and minutes in one number; sentences of a receiver.
    _any(
        rf"(?<!\w)\d{{1,3}}\s?d\s?{_NUMBER}\s?m(?:\s?{_NUMBER}\s?s)?\s?{_LETTER}\b",
        rf"\b{_LETTER}\s?\d{{1,3}}\s?d\s?{_NUMBER}\s?m(?:\s?{_NUMBER}\s?s\b)?",
        r"\$[A-Z]{2}[A-Z]{3},\S{5,100}",
        r"\b\d{4}\.\d+,[NS],\d{5}\.\d+,[EW]\b",
        rf"\b{_NS}\s?\d{{4}}[.,]\d{{2,}}[\s,;/]*{_EW}\s?\d{{4,5}}[.,]\d{{2,}}",
        rf"{_FREE}\d{{4}}[.,]\d{{2,}}\s?{_NS}[\s,;/]*\d{{4,5}}[.,]\d{{2,}}\s?{_EW}\b",
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
_SIGNS = str.maketrans("\u2212\u2013\u00a0\u202f\u066b\uff0e\uff0c", "--  ..,")
LATITUDES, LONGITUDES = 90.0, 180.0


@lru_cache(maxsize=1024)
def coordinates_in(text: str) -> tuple[str, ...]:
    """Give the pieces of a text that read like coordinates, in their order; none: an empty one.

    A date, a time, a mass or the name of a picture is none. Where both can be meant it would
    sooner hold back a text too many than tell a place. Known for a while: a comment stands with
    each photo of its run.
    """
    plain = text.translate(_SIGNS)
    spans = sorted(_spans(plain), key=lambda span: (span[0], -span[1]))
    found: list[str] = []
    told = 0
    for start, end in spans:
        if end > told:
            found.append(text[max(start, told) : end].strip(" ,;"))
            told = end
    return tuple(dict.fromkeys(filter(None, found)))


def _spans(text: str) -> Iterator[tuple[int, int]]:
    if "/" in text:
        yield from _met(_LINKS, text)
    if text.count(".") > 1 or "hash" in text.casefold():
        yield from _met(_WORDS, text)
    if not any(sign.isdigit() for sign in text):
        return
    for pattern in _PAIRS:
        for pair in pattern.finditer(text):
            one, other = (float(number.replace(",", ".")) for number in pair.groups())
            if _are_degrees(one, other):
                yield pair.span()
    yield from _met(_PATTERNS, text)
    bare, at = _without_accents(text)
    yield from ((at[start], at[end - 1] + 1) for start, end in _met(_CALLED, bare))


def _met(patterns: Sequence[re.Pattern[str]], text: str) -> Iterator[tuple[int, int]]:
    for pattern in patterns:
        for piece in pattern.finditer(text):
            yield piece.span()


def _without_accents(text: str) -> tuple[str, Sequence[int]]:
    """Give a text without the accents of its letters, and the place of each letter in the text."""
    if text.isascii():
        return text, range(len(text))
    parted = (
        (letter, place)
        for place, sign in enumerate(text)
        for letter in unicodedata.normalize("NFD", sign)
        if unicodedata.category(letter) != "Mn"
    )
    letters, at = zip(*parted, strict=True) if text else ((), ())
    return "".join(letters), at


def _are_degrees(one: float, other: float) -> bool:
    small, large = sorted((abs(one), abs(other)))
    return small <= LATITUDES and large <= LONGITUDES
