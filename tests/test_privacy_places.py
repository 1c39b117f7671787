"""How closely places are told: on a grid, all cameras of a place alike, with what it costs."""

import math
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.privacy import Generalised, Point, bounding_box, cell_m, generalised, statement

FINE, MIDDLE, COARSE = Decimal("0.001"), Decimal("0.01"), Decimal("0.1")
GRIDS = [FINE, MIDDLE, COARSE, Decimal("0.0001"), Decimal(1)]
LATITUDES = st.floats(-90, 90, allow_subnormal=False)
LONGITUDES = st.floats(-180, 180, allow_subnormal=False)


@pytest.mark.parametrize(
    ("precision", "latitude", "metres"),
    [
        (0.1, 0, 15_691), (0.1, 30, 14_697), (0.1, 60, 12_461), (0.1, 85, 11_211),
        (0.01, 0, 1_570), (0.01, 30, 1_470), (0.01, 60, 1_246), (0.01, 85, 1_121),
        (0.001, 0, 157), (0.001, 30, 147), (0.001, 60, 125), (0.001, 85, 112),
    ],
)  # fmt: skip
def test_a_cell_is_as_large_as_the_guide_says(
    precision: float, latitude: float, metres: float
) -> None:
    """Chapman & Wieczorek 2020, Georeferencing Best Practices (doi 10.15468/doc-gg7h-s853).

    Its table of the uncertainty due to coordinate precision on WGS84; south as north.
    """
    assert cell_m(precision, latitude) == pytest.approx(metres, abs=1)
    assert cell_m(precision, -latitude) == cell_m(precision, latitude)


def test_the_guides_worked_case() -> None:
    """A GPS's 30 m and 157 m at the equator make 187 m (same guide, its worked case)."""
    told = generalised([Point(0.00042, 10.12349)], FINE)
    assert (told.latitude_text, told.longitude_text) == ("0.000", "10.123")
    assert told.uncertainty_m == 187


@pytest.mark.parametrize(
    ("precision", "latitude", "longitude"),
    [
        ("0.0001", "51.1804", "-4.6551"),
        ("0.001", "51.180", "-4.655"),
        ("0.01", "51.18", "-4.66"),
        ("0.1", "51.2", "-4.7"),
        ("1", "51", "-5"),
        ("0.5", "51.0", "-4.5"),
        ("10", "50", "0"),
        ("0.0010", "51.180", "-4.655"),
    ],
)
def test_all_decimals_of_the_grid_are_written(
    precision: str, latitude: str, longitude: str
) -> None:
    """A zero at the end is written too, and no more than the grid has; there is no `-0`."""
    told = generalised([Point(51.18042, -4.65506)], Decimal(precision))
    assert (told.latitude_text, told.longitude_text) == (latitude, longitude)


def test_no_zero_has_a_sign() -> None:
    """`-0.000` is another text for the same place."""
    told = generalised([Point(-0.0002, -0.0001)], FINE)
    assert (told.latitude_text, told.longitude_text) == ("0.000", "0.000")


@pytest.mark.parametrize("precision", [*GRIDS, Decimal("0.7"), Decimal(7)])
@pytest.mark.parametrize("point", [Point(90, 180), Point(-90, -180), Point(89.99999, 179.99999)])
def test_a_place_stays_on_the_earth(precision: Decimal, point: Point) -> None:
    """Also where the next point of the grid would lie behind a pole."""
    told = generalised([point], precision)
    assert abs(told.latitude) <= 90
    assert abs(told.longitude) <= 180


def test_all_cameras_of_a_place_are_one_point() -> None:
    """The mean, 20 m from either of two cameras that stand 40 m apart on a meridian.

    0.00036 degree of latitude at the equator are 39.8 m: a degree is 110,574 m there (WGS84).
    """
    told = generalised([Point(0.0, 20.0, 5), Point(0.00036, 20.0, 12)], FINE)
    assert told.uncertainty_m == math.ceil(12 + 19.903 + 156.9)
    assert (told.latitude_text, told.longitude_text) == ("0.000", "20.000")


def test_a_place_on_the_180th_meridian_stays_there() -> None:
    """The mean of 179.9998 east and west is 180, not 0; the cameras are 44.5 m apart.

    A degree of longitude at the equator is 111,320 m (WGS84).
    """
    told = generalised([Point(0, 179.9998, 30), Point(0, -179.9998, 30)], FINE)
    assert abs(told.longitude) == 180
    assert told.uncertainty_m == math.ceil(30 + 22.264 + 156.9)


def test_a_missing_uncertainty_is_a_gps_receivers() -> None:
    """30 m, as Camtrap DP advises for coordinates from a GPS; the largest one counts."""
    alone = generalised([Point(10.0004, 10.0)], FINE).uncertainty_m
    assert alone == generalised([Point(10.0004, 10.0, 30)], FINE).uncertainty_m
    both = generalised([Point(10.0004, 10.0), Point(10.0004, 10.0, 100)], FINE).uncertainty_m
    assert both == alone + 70


def test_what_was_rounded_before_stays() -> None:
    """So that a package that is read in and given away again says the same."""
    once = generalised([Point(51.18042, 4.65506)], FINE)
    there = Point(float(once.latitude), float(once.longitude), once.uncertainty_m)
    assert generalised([there, there], FINE) == once


@pytest.mark.parametrize("uncertainty_m", [None, 5, 131])
def test_a_point_that_only_lies_on_the_grid_is_not_taken_for_rounded(
    uncertainty_m: float | None,
) -> None:
    """At 51 degrees north a cell has 131.6 m: less uncertainty cannot hold it (same formula)."""
    assert cell_m(0.001, 51.18) == pytest.approx(131.6, abs=0.5)
    told = generalised([Point(51.18, 4.655, uncertainty_m)], FINE)
    assert told.uncertainty_m == math.ceil((uncertainty_m or 30) + cell_m(0.001, 51.18))


def test_a_coarser_grid_is_not_taken_for_the_same() -> None:
    """What was rounded to 0.001 is rounded again at 0.1, and its uncertainty grows."""
    once = generalised([Point(51.18042, 4.65506)], FINE)
    told = generalised([Point(float(once.latitude), float(once.longitude), 187)], COARSE)
    assert (told.latitude_text, told.longitude_text) == ("51.2", "4.7")
    assert told.uncertainty_m == math.ceil(187 + cell_m(0.1, 51.2))


@given(
    st.lists(st.tuples(st.floats(-0.001, 0.001), st.floats(-0.001, 0.001)), min_size=1, max_size=5),
    LATITUDES,
    LONGITUDES,
    st.sampled_from(GRIDS),
)
def test_the_circle_holds_every_camera(
    offsets: list[tuple[float, float]], lat: float, lon: float, precision: Decimal
) -> None:
    """Whatever is told, each true place lies within the uncertainty of the told one.

    The distance is a chord in space, from the ellipsoid's own equation.
    """
    points = [
        Point(max(-90.0, min(90.0, lat + north)), max(-180.0, min(180.0, lon + east)))
        for north, east in offsets
    ]
    told = generalised(points, precision)
    there = in_space(float(told.latitude), float(told.longitude))
    for one in points:
        assert math.dist(in_space(one.latitude, one.longitude), there) <= told.uncertainty_m
    again = Point(float(told.latitude), float(told.longitude), told.uncertainty_m)
    assert generalised([again], precision) == told


def in_space(latitude: float, longitude: float) -> tuple[float, float, float]:
    """Give a point on WGS84 [m]: a = 6,378,137, b = 6,356,752.3142 (NIMA TR8350.2; from memory)."""
    wide, high = 6_378_137.0, 6_356_752.3142
    north, east = math.radians(latitude), math.radians(longitude)
    root = math.hypot(wide * math.cos(north), high * math.sin(north))
    ring = wide**2 * math.cos(north) / root
    return ring * math.cos(east), ring * math.sin(east), high**2 * math.sin(north) / root


@given(LATITUDES, LONGITUDES)
def test_nothing_is_left_to_chance(lat: float, lon: float) -> None:
    """The same place is told alike each time: noise could be averaged away."""
    told = {generalised([Point(lat, lon)], MIDDLE) for _ in range(3)}
    assert len(told) == 1
    (one,) = told
    assert abs(float(one.latitude) - lat) <= 0.005000001


@pytest.mark.parametrize(
    ("points", "precision"),
    [
        ([], FINE),
        ([Point(90.001, 0)], FINE),
        ([Point(0, -180.5)], FINE),
        ([Point(math.nan, 0)], FINE),
        ([Point(0, math.inf)], FINE),
        ([Point(0, 0, -1)], FINE),
        ([Point(0, 0, math.nan)], FINE),
        ([Point(0, 0)], Decimal(0)),
        ([Point(0, 0)], Decimal("NaN")),
    ],
)
def test_what_cannot_be_is_refused(points: list[Point], precision: Decimal) -> None:
    """No place, none on the earth, no length, no grid."""
    with pytest.raises(ValueError, match=r"Expected|not on the earth|no length"):
        generalised(points, precision)


# --- what the package says of it -----------------------------------------------------------------


@pytest.mark.parametrize("sensitive", [True, False])
def test_the_statement_says_what_was_done(*, sensitive: bool) -> None:
    """What was rounded, to what, what is held, and that it may be asked for (Chapman 2020)."""
    said = statement(COARSE, sensitive=sensitive)
    for words in ("0.1 degree", "rounded", "uncertainty", "as they were recorded", "on request"):
        assert words in said
    assert ("sensitive species" in said) is sensitive


def place(latitude: str, longitude: str) -> Generalised:
    return Generalised(Decimal(latitude), Decimal(longitude), 187)


def test_one_place_is_a_point() -> None:
    """RFC 7946: longitude comes first."""
    box = bounding_box([place("51.180", "4.655")] * 2)
    assert box == {"type": "Point", "coordinates": [4.655, 51.18]}


@pytest.mark.parametrize("other", [("51.180", "4.700"), ("51.200", "4.655")])
def test_places_in_a_row_are_told_by_their_ends(other: tuple[str, str]) -> None:
    """RFC 7946, section 3.1.3: a polygon would have no area, and the standard takes no line."""
    box = bounding_box([place("51.180", "4.655"), place(*other)])
    lat, lon = map(float, other)
    assert box == {"type": "MultiPoint", "coordinates": [[4.655, 51.18], [lon, lat]]}


@given(st.lists(st.tuples(LATITUDES, LONGITUDES), min_size=1, max_size=6))
def test_the_box_holds_all_places_and_turns_left(at: list[tuple[float, float]]) -> None:
    """RFC 7946, section 3.1.6: a ring is closed, its outer one counter-clockwise."""
    places = [generalised([Point(*one)], COARSE) for one in at]
    box = bounding_box(places)
    corners = box["coordinates"] if box["type"] != "Polygon" else box["coordinates"][0]
    corners = [corners] if box["type"] == "Point" else corners
    for one in places:
        assert min(c[0] for c in corners) <= float(one.longitude) <= max(c[0] for c in corners)
        assert min(c[1] for c in corners) <= float(one.latitude) <= max(c[1] for c in corners)
    if box["type"] == "Polygon":
        assert corners[0] == corners[-1]
        assert len(corners) == 5
        assert sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(corners)) > 0
