"""Decide how high the sun stood at a place and time, and what light that made.

From the low-accuracy formulas of Meeus, as national services print them for calculators: no
table, no download. Whether a photo fits its light is decided elsewhere.

Accuracy: the height of the sun's centre is within 0.01 degrees of a full planetary theory from
1900 to 2100 (the tests hold 20,000 places and times against one); rise and set within a minute
inside 72 degrees of latitude and within about ten beyond, since air bends light as it likes [2]_.

References
----------
.. [1] J. Meeus, Astronomical Algorithms, 2nd ed. 1998, chapters 12, 13, 22 and 25 (from memory;
   the tests hold the results against published ones).
.. [2] NOAA Global Monitoring Laboratory, Solar Calculation Details: "accurate to within a minute
   for locations between +/- 72 degrees latitude, and within 10 minutes outside of those latitudes".
.. [3] US Naval Observatory, Rise, Set, and Twilight Definitions: 34' of refraction and 16' of
   radius; civil and nautical twilight at 6 and 12 degrees, geometrically.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, tzinfo
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from core.units import Times

Degrees = NDArray[np.float64]
"""Angles. [degrees]"""

HORIZON = -0.833
"""Height of the sun's centre as its upper rim touches the horizon: 34' + 16' [3]_. [degrees]"""
CIVIL, NAUTICAL = -6.0, -12.0
"""Lower edges of civil and nautical twilight [3]_. [degrees]"""


class Light(StrEnum):
    """How light it is, by the height of the sun's centre; an edge belongs to the lighter class."""

    DAY = "day"
    CIVIL = "civil twilight"
    NAUTICAL = "nautical twilight"
    NIGHT = "night"


LIGHT_RULE = (
    f"day: the sun's centre at {HORIZON}° or higher; {Light.CIVIL}: down to {CIVIL:g}°; "
    f"{Light.NAUTICAL}: down to {NAUTICAL:g}°; night: below that"
)
"""The rule of `light` in words, to be printed with every result that uses it."""


def light(height: float) -> Light:
    """Give the light at a height of the sun's centre [degrees, without refraction].

    Exactly an edge is the lighter class. Not a number (the height at no time) is a ValueError.
    """
    if np.isnan(height):
        raise ValueError("There is no light at a height of nan: the photo has no true time.")
    if height >= HORIZON:
        return Light.DAY
    if height >= CIVIL:
        return Light.CIVIL
    return Light.NAUTICAL if height >= NAUTICAL else Light.NIGHT


def height(times: Times, latitude: float, longitude: float) -> Degrees:
    """Give the height of the sun's centre above the horizon, without refraction. [degrees]

    Parameters
    ----------
    times
        True times, UTC, any shape and order; NaT gives nan.
    latitude, longitude
        North and east are positive. [decimal degrees] ValueError beyond 90 and 180.
    """
    _refuse_off_the_globe(latitude, longitude)
    since = times - np.datetime64(0, "s")
    return _height(since / np.timedelta64(1, "s"), latitude, longitude)


def _refuse_off_the_globe(latitude: float, longitude: float) -> None:
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):  # noqa: PLR2004
        raise ValueError(
            f"There is no place at latitude {latitude}, longitude {longitude}. "
            "Latitude is -90 to 90 and longitude -180 to 180 degrees, north and east positive."
        )


def _height(seconds: Degrees, latitude: float, longitude: float) -> Degrees:
    """Give the height from seconds since 1970 UTC [s]."""
    declination, hour_angle = _place_in_the_sky(seconds, longitude)
    north = np.radians(latitude)
    sine = np.sin(north) * np.sin(declination)
    sine += np.cos(north) * np.cos(declination) * np.cos(hour_angle)
    found: Degrees = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    return found


def _place_in_the_sky(seconds: Degrees, longitude: float) -> tuple[Degrees, Degrees]:
    """Give the sun's declination and its hour angle at a longitude. [radians]

    Universal time stands in for dynamical time: about a minute, 0.0008 degrees of the sun's way.
    """
    days = seconds / 86_400 - 10_957.5  # since noon of 1 January 2000
    t = days / 36_525
    mean_longitude = 280.46646 + t * (36_000.76983 + 0.0003032 * t)
    anomaly = np.radians(357.52911 + t * (35_999.05029 - 0.0001537 * t))
    centre = (
        (1.914602 - t * (0.004817 + 0.000014 * t)) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2 * anomaly)
        + 0.000289 * np.sin(3 * anomaly)
    )
    node = np.radians(125.04 - 1_934.136 * t)
    nutation = -0.00478 * np.sin(node)
    apparent = np.radians(mean_longitude + centre - 0.00569 + nutation)
    tilt = 23.4392911 - t * (0.0130042 + t * (0.00000016 - 0.000000504 * t))
    obliquity = np.radians(tilt + 0.00256 * np.cos(node))
    declination = np.arcsin(np.sin(obliquity) * np.sin(apparent))
    ascension = np.arctan2(np.cos(obliquity) * np.sin(apparent), np.cos(apparent))
    sidereal = 280.46061837 + 360.98564736629 * days + 0.000387933 * t * t
    sidereal += nutation * np.cos(obliquity) + longitude
    return declination, np.radians(sidereal) - ascension


# --- one day ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SunDay:
    """When the sun rises and sets on one day at one place; aware UTC, to the second.

    None: it does not on that day, which `absent` says in words.
    """

    noon: datetime
    """When the sun stands highest."""
    sunrise: datetime | None
    sunset: datetime | None
    civil_dawn: datetime | None
    civil_dusk: datetime | None
    nautical_dawn: datetime | None
    nautical_dusk: datetime | None
    absent: tuple[str, ...] = ()
    """What does not happen on that day, and why; empty: all six do."""


_EVENTS = (
    ("sunrise", "sunset", HORIZON),
    ("civil dawn", "civil dusk", CIVIL),
    ("nautical dawn", "nautical dusk", NAUTICAL),
)
_HALF_DAY_S = 43_200


def sun_day(day: date, latitude: float, longitude: float, zone: tzinfo) -> SunDay:
    """Give sunrise, sunset and the edges of the twilights of one day.

    The day runs from one solar midnight to the next, around the solar noon that is nearest to
    12:00 of `day` in `zone`; so a far northern sunset after midnight still belongs to the day
    that it ends. Where the sun stays above or below an edge in a half of that day, there is no
    passing it: None, no error.

    Parameters
    ----------
    latitude, longitude
        North and east are positive. [decimal degrees] ValueError beyond 90 and 180.
    """
    _refuse_off_the_globe(latitude, longitude)
    noon = _noon(datetime.combine(day, time(12), zone).timestamp(), longitude)
    up = _passings(noon - _HALF_DAY_S, noon, latitude, longitude)
    down = _passings(noon + _HALF_DAY_S, noon, latitude, longitude)
    highest = _height(np.array([noon]), latitude, longitude)[0]
    absent = [
        _absent("" if rise else rises, "" if fall else falls, highest >= edge, edge)
        for (rises, falls, edge), rise, fall in zip(_EVENTS, up, down, strict=True)
        if not (rise and fall)
    ]
    return SunDay(
        _moment(noon), up[0], down[0], up[1], down[1], up[2], down[2], absent=tuple(absent)
    )


def _absent(rise: str, fall: str, above: bool, edge: float) -> str:
    side = "above" if above else "below"
    what = " and no ".join(filter(None, [rise, fall]))
    return f"no {what}: the sun's centre stays {side} {edge:g}°"


def _noon(near: float, longitude: float) -> float:
    """Give when the sun passes the meridian nearest to a moment. [s since 1970 UTC]"""
    moment = near
    for _ in range(3):
        _, hour_angle = _place_in_the_sky(np.array([moment]), longitude)
        turn = float(np.degrees(hour_angle[0]))
        moment -= ((turn + 180) % 360 - 180) / 360 * 86_400
    return moment


def _passings(dark: float, noon: float, latitude: float, longitude: float) -> list[datetime | None]:
    """Give when the sun stands at each edge between a solar midnight and noon; None: never."""
    edges = np.array([edge for _, _, edge in _EVENTS])
    lowest, highest = _height(np.array([dark, noon]), latitude, longitude)
    lows, highs = np.full(len(edges), dark), np.full(len(edges), noon)
    for _ in range(18):  # half a day halved 18 times is a sixth of a second
        middles = (lows + highs) / 2
        above = _height(middles, latitude, longitude) >= edges
        lows, highs = np.where(above, lows, middles), np.where(above, middles, highs)
    passed = (lowest < edges) & (edges <= highest)
    found = zip(highs.tolist(), passed.tolist(), strict=True)
    return [_moment(second) if there else None for second, there in found]


def _moment(second: float) -> datetime:
    return datetime.fromtimestamp(round(second), UTC)
