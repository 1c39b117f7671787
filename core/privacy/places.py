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
    """Give the one rounded point of all cameras of a place; ValueError without any.

    The uncertainty is the largest of theirs, their distance from the middle, and the diagonal of a
    cell, together. Where all stand on one point of the grid already, with an uncertainty that
    holds the cell, the place was rounded before and nothing is added.
    """
    if not points:
        raise ValueError("Expected at least one point.")
    latitude, longitude = _middle(points)
    lat, lon = _rounded(latitude, precision_deg), _rounded(longitude, precision_deg)
    lat = max(min(lat, Decimal(QUARTER_TURN)), Decimal(-QUARTER_TURN)).quantize(precision_deg)
    cell = cell_m(float(precision_deg), float(lat))
    known = [GPS_M if one.uncertainty_m is None else one.uncertainty_m for one in points]
    before = all(
        Decimal(str(one.latitude)) == lat
        and Decimal(str(one.longitude)) == lon
        and one.uncertainty_m is not None
        and one.uncertainty_m >= cell
        for one in points
    )
    if before:
        return Generalised(lat, lon, max(1, math.ceil(max(known))))
    apart = max(_apart_m(one, latitude, longitude) for one in points)
    return Generalised(lat, lon, math.ceil(max(known) + apart + cell))


def statement(precision_deg: Decimal, *, sensitive: bool) -> str:
    """Say how closely places are told, and that better may be had on request [1]_."""
    why = "since a sensitive species was looked for" if sensitive else "for the cameras' safety"
    return (
        f"Coordinates are rounded to {precision_deg} degree on a geographic grid, {why}, all "
        "cameras of a place alike, and their uncertainty is enlarged accordingly; closer ones may "
        "be had from the contact on request."
    )


def bounding_box(places: Sequence[Generalised]) -> dict[str, Any]:
    """Give the GeoJSON of the box that holds rounded places; a point where there is one only.

    A box without width or height is told as the line that it is.
    """
    west, east = (pick(float(one.longitude) for one in places) for pick in (min, max))
    south, north = (pick(float(one.latitude) for one in places) for pick in (min, max))
    if (west, south) == (east, north):
        return {"type": "Point", "coordinates": [west, south]}
    if west == east or south == north:
        return {"type": "LineString", "coordinates": [[west, south], [east, north]]}
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def _middle(points: Sequence[Point]) -> tuple[float, float]:
    """Give the mean, which is the point itself where all are the same; no cell is crossed at 180.

    Longitudes are counted from the first one, so that a place on the 180th meridian stays there.
    """
    first = points[0]
    if all((one.latitude, one.longitude) == (first.latitude, first.longitude) for one in points):
        return first.latitude, first.longitude
    latitude = sum(one.latitude for one in points) / len(points)
    turns = [_turn(one.longitude - first.longitude) for one in points]
    return latitude, _turn(first.longitude + sum(turns) / len(turns))


def _turn(degrees: float) -> float:
    """Bring an angle into -180..180."""
    return (degrees + HALF_TURN) % (2 * HALF_TURN) - HALF_TURN


def _rounded(degrees: float, precision: Decimal) -> Decimal:
    return Decimal(str(degrees)).quantize(precision, ROUND_HALF_EVEN) + Decimal(0).quantize(
        precision
    )


def _apart_m(point: Point, latitude: float, longitude: float) -> float:
    """Give how far a point lies from another one nearby. [m]"""
    along, across = radii_m(latitude)
    north = math.radians(point.latitude - latitude) * along
    turned = math.radians(_turn(point.longitude - longitude))
    return math.hypot(north, turned * across * math.cos(math.radians(latitude)))
