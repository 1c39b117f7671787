"""What in a free text reads like coordinates, and what does not."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.privacy import coordinates_in, pseudonym

PLACES = [  # each is a notation that people and programs write; common practice
    "51.18042, 4.65506",
    "51.180 4.655",
    "-26.1234,19.6543",
    "\u221226.1234, 19.6543",  # a real minus sign
    "-26.12 19.65",
    "51,18042; 4,65506",
    "51,18042 4,65506",
    "51,18042, 4,65506",
    "51.18042 N, 4.65506 E",
    "51.18 N 4.65 E",
    "N51.18042 E4.65506",
    "N 51.18, E 4.65",
    "4.65506 E 51.18042 N",
    "51.18042° N, 4.65506° E",
    "51.18°N 4.65°E",
    "26° S, 19° E",
    "26.1234°",
    "D4,51.18042,4.65506,30",
    "Den:51.180,4.655",
    "51.18042,4.65506,17z",
    "lat:51.18,lon:4.65",
    "51.18042N4.65506E",
    "26.1234 deg S",
    "51*10'49.5\"N",
    "26° 07 S",
    "26° 07.404",
    "26.12° S",
    "S 26.12°",
    "N51°10.825 E004°39.303",
    "51°10'49.5\"N 4°39'18.2\"E",
    "51° 10\u2032 49.5\u2033 N",
    "51º10\u201949\u201dN",
    "26°07.404'S 019°39.258'E",
    "26° 7.404 S",
    "51 10 49.5 N, 4 39 18.2 E",
    "S26 07.404 E019 39.258",
    "26:07:24 S 19:39:15 E",
    "51 deg 10' 49.50\" N",
    "31U 597319 5670372",
    "31U 597319mE 5670372mN",
    "UTM 34K 365432 7109876",
    "zone 31 N, 597319 5670372",
    "597319 E, 5670372 N",
    "31UES9731970372",
    "31U ES 97319 70372",
    "34KCG 6543 0987",
    "geo:51.18042,4.65506",
    "geo:-26.1,19.6;u=30",
    "https://maps.example.org/@51.18042,4.65506,17z",
    "https://maps.example.org/?q=51.18042,4.65506",
    "https://maps.example.org/?ll=-26.12,19.65&z=9",
    "https://maps.example.org/#map=17/51.18042/4.65506",
    "https://maps.example.org/data=!3d51.18042!4d4.65506",
    "https://maps.example.org/?mlat=51.18042&lat=51.18&lon=4.65",
    "9F26RM4X+5Q",
    "RM4X+5Q Antwerp",
    "9F260000+",
    "lat 51.18",
    "latitude: -26.1, longitude: 19.6",
    "Lat=51.18042",
    '"lon": "4.65506"',
    "grid reference SU 387 148",
    "grid ref: SU387148",
    "NGR SU 38712 14831",
    "easting 438712 northing 114831",
    "E: 438712, N: 114831",
    "geohash u155kqx",
    "geohash: u4pruydqqvj",
    "///filled.count.soap",
    "///gef\u00fcllt.z\u00e4hlen.seife",
    "filled.count.soap",
    "three-word address: filled.count.soap",
    "https://example.org/filled.count.soap",
    "example.org/de/filled.count.soap",
    "https://maps.example.org/place",
    "https://example.org/maps/AbCdEf",
    "https://maps.app.example/AbCdEf",
    "maps.app.example/AbCdEf",
    "https://www.streetmap.example/node",
    "streetmap.example/node/x",
    "https://example.org/?map=Rooikrans",
    "Breite 50.123456, L\u00e4nge 8.654321",
    "L\u00e4nge: 8,654321",
    "La\u0308nge: 8,654321",
    "Breite 50.12, L\u00e4nge 8.65",
    "Breitengrad 50.1",
    "breedtegraad -26.12, lengtegraad 19.65",
    "latitud: 50.12, longitud: 8.65",
    "latitudine 50.12",
    "szeroko\u015b\u0107 geograficzna 50.1234",
    "\u0448\u0438\u0440\u043e\u0442\u0430 50.12, \u0434\u043e\u043b\u0433\u043e\u0442\u0430 8.65",
    "\u7eac\u5ea6 50.12",
    "\uc704\ub3c4 50.12",
    "X=8.654321 Y=50.123456",
    "Y: 50.123456, X: 8.654321",
    "X 3475123 Y 5553456",
    "RW 3475123 HW 5553456",
    "Rechtswert 34 75 123",
    "R 3475123 H 5553456",
    "475312 5552345",
    "D4,475312,5552345",
    "3475123 5553456",
    "2600123 / 1200456",
    "2'600'123, 1'200'456",
    "TQ 30080 80450",
    "TQ3008080450",
    "TQ 3008 8045",
    "SU 387 148",
    "O 15904 34671",
    "32d07m24s S 18d50m E",
    "S32d07m24s",
    "18 d 50 m E",
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M",
    "4807.038,N,01131.000,E",
    "S2607.404 E01939.258",
    "Lat/Long 50.12/8.65",
    "lat, lon: 50.12, 8.65",
    "GPS-Punkt 50.12/8.65",
    "GPS 50,12 8,65",
    "co\u00f6rdinaten 155123 463456",
    "coordonn\u00e9es : 50.12 / 8.65",
    "RD 155123 463456",
    "n\u00f6rdl. Breite 50.12",
    "50.12 n\u00f6rdlicher Breite, 8.65 \u00f6stlicher L\u00e4nge",
    "50 Grad 7 Minuten Nord",
    "50\u00b0 nord 8\u00b0 est",
    "3.475.123 / 5.553.456",
    "grid TQ300804",
    "GPS 0512345 6543210",
    "coordinates 438712 114831",
]
OTHERS = [  # what stands in notes, logs and file names
    "",
    "sand was damp",
    "2026-05-04",
    "04.05.2026",
    "4/5/2026, 5/5/2026",
    "2026-05-04 22:00:20",
    "2026-05-04T22:00:20+02:00",
    "2026:05:04 22:00:20",
    "from 17:45 to 06:15",
    "set 17:45:10, up 06:15:30",
    "17:45 N of the track",
    "0.5 g",
    "0.5 g, 1.25 g",
    "2.50, 1.75",
    "(1.25, 2.50)",
    "left 0.512 g 0.498 g",
    "0.512, 0.498 g",
    "3 x 0.50 g",
    "12.50 g",
    "1,25 g; 2,50 g",
    "E 12.75 g",
    "tail 12.50 cm long",
    "long 12.50 cm",
    "24.50 °C at noon, 3.25°C at night",
    "24 degrees in the shade",
    "24.5 °C",
    "humidity 45.125 %",
    "3 mice, 2 gerbils",
    "12 of 30 seeds",
    "200 seeds in 3 litres",
    "T07",
    "tray T7 and T12",
    "2 trays N, 3 trays E",
    "P1/DCIM/100RECNX/IMG_0031.JPG",
    "RCNX0031.JPG",
    "IMG_20260504_220020.jpg",
    "100MEDIA/DSCF0012.JPG",
    "+27 82 123 4567",
    "082 123 4567",
    "(082) 123-4567",
    "+32 2 555 12 12",
    "50 m north of the dam",
    "5 m N, 10 m E of the bush",
    "camera 1.5 m high, 3 m from the tray",
    "serial 8723461",
    "v0.1.0, 12.0.1",
    "chapter 3.2.1",
    "moon 0.85",
    "S1,2026-05-04,2026-05-05",
    "at 24° 10 mice came",
    "24 degrees, 3 gerbils",
    "24.50° at noon",
    "slope 12.25°, facing N",
    "3 * 50 g",
    "2 * 12.5",
    "p = 0.049, n = 12",
    "1,000 seeds, 2,000 husks",
    "12,345 photos",
    "1,000, 2,000 and 3,000 g",
    "12,345, 12,400",
    "10,000",
    "battery 6.2 V",
    "ISO 400, 1/60 s, f/2.8",
    "C++ and 2+2",
    "page 23+45",
    "anonymized:1234567",
    "anonymized-1234567",
    "ISBN 978-3-16-148410-0",
    "2048x1440 px",
    "8 to 10 cm deep",
    "gps was off",
    "utm zone is not known",
    "lat was not noted",
    "notes.final.docx",
    "see www.example.org/protocol.pdf",
    "https://doi.org/10.15468/doc-gg7h-s853",
    "https://example.org/paper.final.pdf",
    "a map of the site is in the book",
    "SN 12345678",
    "SD 123 456",
    "Breite 30 cm, L\u00e4nge 12,125 cm",
    "Breite 30, H\u00f6he 40",
    "x = 12, y = 30",
    "x 1024 px y 12345 px",
    "H 40 cm, R 12.50",
    "battery 2d07m old",
    "position 12, 3 mice",
    "gps 12:30 set, 14:10 lost",
    "waypoint 12, tray 3",
    "20 s lange Pause, 5 m breite Rinne",
    "3 e. Lange weg",
    "um 5 o. l. neben T3",
    "12 Grad 10 Minuten gewartet",
    "rd 10000 seeds",
    "grid A 12, grid B 14",
    "4.25 g neben breitem Busch",
]
NOTES = [
    "left 4.25 g, start 10.00 g",
    "T07: 4.25 g; T08: 3.75 g; T09: empty",
    "weighed 0.512 g, then 0.498 g",
    "12 of 30 seeds left, 3 husks",
    "1,234 seeds in 3 litres of sand",
    "set 17:45, up 06:15",
    "2026-05-04 22:00:20 first mouse, 22:03:10 second",
    "04.05.2026 bis 06.05.2026",
    "3/5/2026 - 5/5/2026, two nights",
    "IMG_0031.JPG to IMG_0047.JPG",
    "see 100MEDIA/DSCF0012.JPG and 101MEDIA/DSCF0013.JPG",
    "IMG_20260504_220020.jpg is blurred",
    "call +27 82 123 4567 before you drive in",
    "farm gate: (082) 123-4567, code 4711",
    "Tel. 0171 1234567",
    "camera 8723461, card 12345678",
    "battery 6.2 V, 12 cells, 2300 mAh",
    "24.5 \u00b0C at dusk, 11.25 \u00b0C at dawn, 45 % rH",
    "wind 3-4 Bft from SW, 2 mm rain",
    "5 m N, 10 m E of the bush, 1.5 m high",
    "Beute 12,5 cm lang, 8,25 cm breit, Schwanz 12.125 cm",
    "Grabl\u00e4nge 30 cm, Breite 12 cm",
    "seed mass 0.00512 g, n = 40",
    "tray 30 x 40 x 5 cm, sand sieved at 0.5 mm",
    "mean 3.125 g, SD 0.512 g",
    "p = 0.049, F = 4.512",
    "moon 0.85, rises 21:14",
    "1/60 s, f/2.8, ISO 1600, 2048x1440",
    "protocol v1.2.3, chapter 3.2.1",
    "2 seeds dropped; wind. mouse. gone by 23:00",
    "fox on tray e.g. at 02:15, i.e. after the mice",
    "Kamera 30 cm nach links, Winkel 15\u00b0",
    "budget R 12.50 per kg, 3 kg in all",
]
"""What people write at trays."""


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("sentence", ["{}", "Tray at {}, under the bush.", "({})", "see\n{}\nnow"])
def test_a_place_is_found(place: str, sentence: str) -> None:
    """Whatever notation it is in, alone or in a sentence."""
    assert coordinates_in(sentence.format(place))


@pytest.mark.parametrize("other", OTHERS)
@pytest.mark.parametrize("sentence", ["{}", "Seen: {}, then nothing.", "({})"])
def test_what_is_no_place_is_let_through(other: str, sentence: str) -> None:
    """Notes are full of numbers; holding them all back would make people switch this off."""
    assert coordinates_in(sentence.format(other)) == ()


@pytest.mark.parametrize("note", NOTES)
def test_ordinary_notes_stay_tellable(note: str) -> None:
    """Weights, times, counts, dates, files and telephones: a search that holds them is no use."""
    assert coordinates_in(note) == ()


def test_the_pieces_come_in_their_order_and_once() -> None:
    """People look for them in their text, so they are told as they stand there."""
    text = "Nest 51.18042, 4.65506; car geo:51.1,4.6. Again: 51.18042, 4.65506."
    assert coordinates_in(text) == ("51.18042, 4.65506", "geo:51.1,4.6")


def test_numbers_off_the_earth_are_none() -> None:
    """Two numbers of which neither can be a latitude are something else."""
    assert coordinates_in("291.250, 312.125") == ()
    assert coordinates_in("95.125, 170.250") == ()
    assert coordinates_in("170.250, 85.125")  # either order is met


def _dms(degrees: float, letters: str) -> str:
    seconds = round(abs(degrees) * 3600)
    letter = letters[degrees < 0]
    return f"{seconds // 3600}°{seconds // 60 % 60:02}'{seconds % 60:02}\"{letter}"


def _spaced(degrees: float, letters: str) -> str:
    minutes = abs(degrees) * 60
    return f"{letters[degrees < 0]}{int(minutes // 60):02} {minutes % 60:06.3f}"


NOTATIONS = {
    "decimal": lambda lat, lon: f"{lat:.5f}, {lon:.5f}",
    "blank": lambda lat, lon: f"{lat:.4f} {lon:.4f}",
    "comma": lambda lat, lon: (
        f"{lat:.5f}".replace(".", ",") + "; " + f"{lon:.5f}".replace(".", ",")
    ),
    "letters": lambda lat, lon: f"{abs(lat):.3f}{'NS'[lat < 0]} {abs(lon):.3f}{'EW'[lon < 0]}",
    "signs": lambda lat, lon: f"{abs(lat):.2f}° {'NS'[lat < 0]}, {abs(lon):.2f}° {'EW'[lon < 0]}",
    "dms": lambda lat, lon: f"{_dms(lat, 'NS')} {_dms(lon, 'EW')}",
    "minutes": lambda lat, lon: f"{_spaced(lat, 'NS')} {_spaced(lon, 'EW')}",
    "geo": lambda lat, lon: f"geo:{lat:.6f},{lon:.6f}",
    "link": lambda lat, lon: f"https://maps.example.org/@{lat:.6f},{lon:.6f},12z",
    "map": lambda lat, lon: f"https://maps.example.org/#map=12/{lat:.4f}/{lon:.4f}",
    "named": lambda lat, lon: f"lat {lat:.3f} lon {lon:.3f}",
    "utm": lambda lat, lon: (
        f"{int((lon + 180) // 6) % 60 + 1}{'SN'[lat >= 0]} "
        f"{500000 + int(lon * 1000):06} {5000000 + int(lat * 10000):07}"
    ),
}


@pytest.mark.parametrize("notation", NOTATIONS)
@given(
    lat=st.floats(-90, 90, allow_subnormal=False),
    lon=st.floats(-180, 180, allow_subnormal=False),
    before=st.sampled_from(["", "Den at ", "2026-05-04 22:00: ", "T7, 0.5 g: ", "("]),
    after=st.sampled_from(["", ".", ", in the shade", " (30 m)", ")", "\nNext day dry."]),
)
def test_every_place_in_every_notation_is_found(
    notation: str, lat: float, lon: float, before: str, after: str
) -> None:
    """The whole earth, in a sentence."""
    written = NOTATIONS[notation](lat, lon)
    assert coordinates_in(before + written + after), written


@given(st.text(max_size=200))
def test_any_text_is_read(text: str) -> None:
    """Pieces are parts of the text as it is."""
    assert all(piece in text for piece in coordinates_in(text))


@given(st.text(max_size=30), st.binary(min_size=1, max_size=8))
def test_a_pseudonym_is_no_place(name: str, secret: bytes) -> None:
    """Not even one whose digits are all decimal ones."""
    assert coordinates_in(pseudonym("x" + name, secret)) == ()


def test_long_texts_are_read_at_once() -> None:
    """No text makes the search run for long: each character is looked at a bounded number of times.

    Nothing here is measured in seconds; a search that goes wild would not come back.
    """
    for piece in ("1" * 50_000, "1 " * 25_000, "12.345 " * 8_000, "N1°" * 10_000, "A1+" * 10_000,
                  "a." * 25_000, "https://map" * 4_000, "a.b/" * 10_000, "www." * 10_000,
                  "1d1m" * 10_000, "x1" * 20_000, "/" * 50_000):  # fmt: skip
        coordinates_in(piece)
        coordinates_in(re.sub(" ", "\t", piece))
