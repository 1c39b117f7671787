"""Decide how closely a place is told: rounded on a grid, never moved at random.

References
----------
.. [1] Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data,
   doi 10.15468/doc-5jp4-5g10.
.. [2] Chapman & Wieczorek 2020, Georeferencing Best Practices, doi 10.15468/doc-gg7h-s853.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

SEMI_MAJOR_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
"""The ellipsoid of WGS84."""
GPS_M = 30.0
"""Uncertainty of a place of which none is written: a hand-held receiver's [1]_. [m]"""
HALF_TURN, QUARTER_TURN = 180, 90


@dataclass(frozen=True, slots=True)
class Point:
    """Where one camera stands, as written."""

    latitude: float
    longitude: float
    """WGS84. [degrees]"""
    uncertainty_m: float | None = None


@dataclass(frozen=True, slots=True)
class Generalised:
    """Where a place is told to be."""

    latitude: Decimal
    longitude: Decimal
    """On the grid, with as many decimals as it has. [degrees]"""
    uncertainty_m: int

    @property
    def latitude_text(self) -> str:
        """Write the latitude with fixed decimals."""
        return f"{self.latitude:f}"

    @property
    def longitude_text(self) -> str:
        """Write the longitude with fixed decimals."""
        return f"{self.longitude:f}"


def radii_m(latitude: float) -> tuple[float, float]:
    """Give the radii of curvature of the ellipsoid at a latitude: along the meridian, and across.

    [m]
    """
    squared = FLATTENING * (2 - FLATTENING)
    root = 1 - squared * math.sin(math.radians(latitude)) ** 2
    return SEMI_MAJOR_M * (1 - squared) / root**1.5, SEMI_MAJOR_M / math.sqrt(root)


def cell_m(precision_deg: float, latitude: float) -> float:
    """Give the diagonal of one cell of the grid at a latitude: what rounding adds [2]_. [m]"""
    along, across = radii_m(latitude)
    step = math.radians(precision_deg)
    return math.hypot(step * along, step * across * math.cos(math.radians(latitude)))


def generalised(points: Sequence[Point], precision_deg: Decimal) -> Generalised:
    """Give the one rounded point of all cameras of a place.

    The uncertainty is the largest of theirs, their distance from the middle, and the diagonal of a
    cell, together, in whole metres rounded up. Where all stand on one point of the grid already,
    with an uncertainty that holds the cell, the place was rounded before and nothing is added.

    Raises
    ------
    ValueError
        Without any point, for one that is not on the earth, and for a precision of nothing.
    """
    _refuse_impossible(points, precision_deg)
    latitude, longitude = _middle(points)
    lat = _rounded(latitude, precision_deg, QUARTER_TURN)
    lon = _rounded(longitude, precision_deg, HALF_TURN)
    cell = cell_m(float(precision_deg), float(lat))
    known = max(GPS_M if one.uncertainty_m is None else one.uncertainty_m for one in points)
    if all(_was_rounded(one, lat, lon, cell) for one in points):
        return Generalised(lat, lon, math.ceil(known))
    apart = max(_apart_m(one, latitude, longitude) for one in points)
    return Generalised(lat, lon, math.ceil(known + apart + cell))


def statement(precision_deg: Decimal, *, sensitive: bool) -> str:
    """Say how closely places are told, and that better may be had on request [1]_."""
    why = "since a sensitive species was looked for" if sensitive else "for the cameras' safety"
    return (
        f"Coordinates are rounded to {precision_deg:f} degree on a geographic grid, {why}, all "
        "cameras of a place alike, and their uncertainty holds what was rounded. The study holds "
        "them as they were recorded; those may be had from the contact on request."
    )


def bounding_box(places: Sequence[Generalised]) -> dict[str, Any]:
    """Give the GeoJSON of the box that holds rounded places; a point where there is one only.

    A box without width or height is told by its two ends, since a polygon without an area is none
    and the standard takes no line; a polygon's ring is closed and runs counter-clockwise. Places
    on both sides of the 180th meridian have a box around the whole earth. ValueError without any.
    """
    west, east = (pick(float(one.longitude) for one in places) for pick in (min, max))
    south, north = (pick(float(one.latitude) for one in places) for pick in (min, max))
    if (west, south) == (east, north):
        return {"type": "Point", "coordinates": [west, south]}
    if west == east or south == north:
        return {"type": "MultiPoint", "coordinates": [[west, south], [east, north]]}
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def _middle(points: Sequence[Point]) -> tuple[float, float]:
    """Give the mean, which is the point itself where all are the same; no cell is crossed at 180.

    Longitudes are counted from the first one, so that a place on the 180th meridian stays there.
    """
    first = points[0]
    if all((one.latitude, one.longitude) == (first.latitude, first.longitude) for one in points):
        return first.latitude, first.longitude
    latitude = math.fsum(one.latitude for one in points) / len(points)
    turns = [_turn(one.longitude - first.longitude) for one in points]
    return latitude, _turn(first.longitude + sum(turns) / len(turns))


def _turn(degrees: float) -> float:
    """Bring an angle into -180..180."""
    return (degrees + HALF_TURN) % (2 * HALF_TURN) - HALF_TURN


def _rounded(degrees: float, precision: Decimal, farthest: int) -> Decimal:
    """Give the nearest point of the grid that is on the earth, with the decimals of the grid."""
    step = precision.normalize()
    most = farthest // step
    steps = (Decimal(str(degrees)) / step).to_integral_value(ROUND_HALF_EVEN)
    decimals = Decimal(1).scaleb(min(0, int(step.as_tuple().exponent)))
    return (max(min(steps, most), -most) * step).quantize(decimals) + Decimal(0).quantize(decimals)


def _was_rounded(point: Point, lat: Decimal, lon: Decimal, cell: float) -> bool:
    """Say whether a point lies on the grid as it is, its uncertainty large enough for a cell."""
    there = (Decimal(str(point.latitude)), Decimal(str(point.longitude))) == (lat, lon)
    return there and point.uncertainty_m is not None and point.uncertainty_m >= cell


def _refuse_impossible(points: Sequence[Point], precision: Decimal) -> None:
    if not points:
        raise ValueError("Expected at least one point.")
    if not (precision.is_finite() and precision > 0):
        raise ValueError(f"Expected a precision above 0 degrees, not {precision}.")
    for one in points:
        if not (abs(one.latitude) <= QUARTER_TURN and abs(one.longitude) <= HALF_TURN):
            raise ValueError(f"{one} is not on the earth.")
        if one.uncertainty_m is not None and not 0 <= one.uncertainty_m < math.inf:
            raise ValueError(f"{one} has an uncertainty that is no length.")


def _apart_m(point: Point, latitude: float, longitude: float) -> float:
    """Give how far a point lies from another, at least: the chord, bent as the earth at most is.

    [m]
    """
    chord = math.dist(_in_space(point.latitude, point.longitude), _in_space(latitude, longitude))
    bent = SEMI_MAJOR_M * (1 - FLATTENING) ** 2
    return 2 * bent * math.asin(min(1.0, chord / 2 / bent))


def _in_space(latitude: float, longitude: float) -> tuple[float, float, float]:
    """Give a point of the ellipsoid from the middle of the earth. [m]"""
    _, across = radii_m(latitude)
    north, east = math.radians(latitude), math.radians(longitude)
    ring = across * math.cos(north)
    up = across * (1 - FLATTENING) ** 2 * math.sin(north)
    return ring * math.cos(east), ring * math.sin(east), up
