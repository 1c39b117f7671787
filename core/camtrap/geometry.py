"""Decide whether a descriptor's `spatial` is a shape, and which box of coordinates it spans.

References
----------
.. [1] RFC 7946, The GeoJSON Format: section 3.1, geometry objects; longitude comes first.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

HALF_TURN, QUARTER_TURN = 180, 90
SHORTEST_RING = 4
DEEPEST = 6
"""No shape is nested deeper."""
NEAR_DEG = 1.0
"""So far off may a place be where only a point or a line is told, not an area (a judgement)."""
EXACT_DEG = 1e-9
POINTS, LINES, RINGS, SHAPES = 0, 1, 2, 3
DEPTHS = {
    "Point": POINTS, "MultiPoint": LINES, "LineString": LINES, "MultiLineString": RINGS,
    "Polygon": RINGS, "MultiPolygon": SHAPES,
}  # fmt: skip
"""How deep the lists of coordinates of each kind of shape are nested around its positions."""
WAY = "Write a GeoJSON shape, such as a Polygon, with longitude before latitude."


class Box(NamedTuple):
    """The smallest box around a shape. [degrees]"""

    west: float
    south: float
    east: float
    north: float

    def holds(self, latitude: float, longitude: float) -> bool:
        """Say whether a place is in it; near it is enough where it has no area."""
        flat = self.west == self.east or self.south == self.north
        slack = NEAR_DEG if flat else EXACT_DEG
        return (
            self.south - slack <= latitude <= self.north + slack
            and self.west - slack <= longitude <= self.east + slack
        )


def faults_of(told: object) -> Iterator[tuple[str, object, str]]:
    """Give what is wrong with a `spatial`: property, value and the way out."""
    if not isinstance(told, dict):
        yield "spatial", told, WAY
        return
    yield from _of_shape(told, 0)


def box_of(told: object) -> Box | None:
    """Give the box of a shape; None where it has no positions that can be read."""
    positions = list(_positions(told, 0))
    if not positions:
        return None
    longitudes, latitudes = zip(*positions, strict=True)
    return Box(min(longitudes), min(latitudes), max(longitudes), max(latitudes))


def _of_shape(told: Any, deep: int) -> Iterator[tuple[str, object, str]]:
    kind = told.get("type") if isinstance(told, dict) and deep < DEEPEST else ""
    kind = kind if isinstance(kind, str) else ""
    parts = _parts(told) if kind in {"Feature", "FeatureCollection", "GeometryCollection"} else None
    if parts is not None:
        for part in parts:
            yield from _of_shape(part, deep + 1)
        return
    if kind not in DEPTHS:
        yield "spatial.type", kind, WAY
        return
    coordinates = told.get("coordinates")
    if not _is_nested(coordinates, DEPTHS[kind]):
        yield "spatial.coordinates", "", f"These are not the coordinates of a {kind}. {WAY}"
        return
    if any(not _is_on_earth(*position) for position in _positions(told, deep)):
        yield "spatial.coordinates", "", f"Not every position is on the earth. {WAY}"
    shapes = [coordinates] if kind == "Polygon" else coordinates if kind == "MultiPolygon" else ()
    if any(not _is_closed(ring) for shape in shapes for ring in shape):
        yield "spatial.coordinates", "", "A ring is open. Let it end with the point it began with."


def _parts(told: dict[str, Any]) -> list[Any] | None:
    if told["type"] == "Feature":
        return [told.get("geometry")]
    listed = told.get("features" if told["type"] == "FeatureCollection" else "geometries")
    return listed if isinstance(listed, list) else None


def _is_position(told: object) -> bool:
    return (
        isinstance(told, list)
        and 2 <= len(told) <= 4  # noqa: PLR2004 (longitude, latitude, height and one more)
        and all(isinstance(one, int | float) and not isinstance(one, bool) for one in told)
    )


def _is_nested(told: object, depth: int) -> bool:
    if depth == POINTS:
        return _is_position(told)
    return isinstance(told, list) and bool(told) and all(_is_nested(o, depth - 1) for o in told)


def _is_on_earth(longitude: float, latitude: float) -> bool:
    return abs(longitude) <= HALF_TURN and abs(latitude) <= QUARTER_TURN


def _is_closed(ring: list[Any]) -> bool:
    return len(ring) >= SHORTEST_RING and ring[0] == ring[-1]


def _positions(told: object, deep: int) -> Iterator[tuple[float, float]]:
    if _is_position(told):
        assert isinstance(told, list)
        yield told[0], told[1]
    elif isinstance(told, list) and deep <= 2 * DEEPEST:
        for one in told:
            yield from _positions(one, deep + 1)
    elif isinstance(told, dict) and deep <= 2 * DEEPEST:
        for name in ("coordinates", "geometry", "geometries", "features"):
            yield from _positions(told.get(name), deep + 1)
