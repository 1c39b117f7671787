"""How high the sun stands, when it rises and sets, and what light that makes."""

import math
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import ephem
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.sun import CIVIL, HORIZON, LIGHT_RULE, NAUTICAL, Light, SunDay, height, light, sun_day
from core.units import NO_TIME, to_array_time

MINUTE = timedelta(minutes=1)
OSLO = ZoneInfo("Europe/Oslo")
TROMSO = (69.65, 18.96)
EVENTS = ("sunrise", "sunset", "civil_dawn", "civil_dusk", "nautical_dawn", "nautical_dusk")
EDGES = dict(zip(EVENTS, np.repeat([HORIZON, CIVIL, NAUTICAL], 2).tolist(), strict=True))


def height_at(moment: datetime, latitude: float, longitude: float) -> float:
    """Give the height at one moment. [degrees]"""
    return float(height(np.array([to_array_time(moment)]), latitude, longitude)[0])


def by_the_clock(day: SunDay, zone: ZoneInfo) -> dict[str, str]:
    """Give the events of a day as a local clock shows them, to the nearest minute."""
    found = {name: getattr(day, name) for name in EVENTS}
    return {
        name: f"{(moment + MINUTE / 2).astimezone(zone):%H:%M}" if moment else "none"
        for name, moment in found.items()
    }


# --- published values --------------------------------------------------------------------------


def test_the_height_of_a_worked_example() -> None:
    """Golden, Colorado, 17 October 2003, 12:30:30 at UTC-7: zenith angle 50.11162 degrees.

    Source: I. Reda, A. Andreas, Solar Position Algorithm for Solar Radiation Applications, 2004,
    worked example. It has 0.016 degrees of refraction in it, which ours leaves out.
    """
    moment = datetime.fromisoformat("2003-10-17T12:30:30-07:00")
    assert 90 - height_at(moment, 39.742476, -105.1786) == pytest.approx(50.11162, abs=0.05)
    assert 90 - height_at(moment, 39.742476, -105.1786) == pytest.approx(50.128, abs=0.01)


@pytest.mark.parametrize(
    ("day", "latitude", "sunrise", "sunset"),
    [
        ("1994-01-02", 35, "07:08:12.8", "16:59:55.9"),
        ("1996-07-05", -35, "07:08:15.4", "17:01:04.5"),
        ("2004-12-04", -35, "04:38:57.1", "19:02:02.5"),
    ],
)
def test_sunrise_on_the_greenwich_meridian(
    day: str, latitude: float, sunrise: str, sunset: str
) -> None:
    """Within 2 s, north and south.

    Source: Reda & Andreas 2004, Table A2.1 (after an almanac).
    """
    found = sun_day(date.fromisoformat(day), latitude, 0, UTC)
    for moment, published in ((found.sunrise, sunrise), (found.sunset, sunset)):
        assert moment is not None
        assert abs(moment - datetime.fromisoformat(f"{day}T{published}+00:00")).total_seconds() < 2
    assert found.absent == ()


def test_the_example_of_an_almanac() -> None:
    """Wayne, New Jersey, 25 June 1990: sunrise 05:26 and sunset 20:33 by the summer clock.

    Source: Almanac for Computers 1990, Nautical Almanac Office, US Naval Observatory.
    """
    new_york = ZoneInfo("America/New_York")
    found = sun_day(date(1990, 6, 25), 40.9, -74.3, new_york)
    shown = by_the_clock(found, new_york)
    assert (shown["sunrise"], shown["sunset"]) == ("05:26", "20:33")


@pytest.mark.parametrize(
    ("day", "sunrise", "sunset", "dawn", "dusk"),
    [
        ("2026-02-11", "07:03", "17:45", "06:36", "18:12"),
        ("2026-06-21", "05:48", "20:34", "05:17", "21:06"),
        ("2026-12-21", "07:21", "16:55", "06:52", "17:24"),
    ],
)
def test_sunrise_and_civil_twilight_as_printed(
    day: str, sunrise: str, sunset: str, dawn: str, dusk: str
) -> None:
    """San Francisco through the year, to the printed minute.

    Source: US Naval Observatory, rise, set and twilight for 37.6188 N 122.3754 W.
    """
    pacific = ZoneInfo("America/Los_Angeles")
    found = sun_day(date.fromisoformat(day), 37.6188056, -122.3754167, pacific)
    shown = by_the_clock(found, pacific)
    printed = {
        "sunrise": sunrise, "sunset": sunset, "civil_dawn": dawn, "civil_dusk": dusk
    }  # fmt: skip
    assert {name: shown[name] for name in printed} == printed


def planetary_theory(seconds: float, latitude: float, longitude: float) -> float:
    """Give the height by VSOP87 and a full nutation, seen from the earth's centre. [degrees]"""
    place, sun = ephem.Observer(), ephem.Sun()
    place.lat, place.lon = math.radians(latitude), math.radians(longitude)
    place.pressure, place.elevation = 0, 0
    place.date = ephem.Date(datetime(1970, 1, 1) + timedelta(seconds=seconds))  # noqa: DTZ001
    sun.compute(place)
    seen = math.degrees(sun.alt)
    return seen + 8.794 / 3600 * math.cos(math.radians(seen))  # the sun's parallax


def test_the_accuracy_that_is_promised() -> None:
    """20,000 places and times from 1900 to 2100: the height is within 0.01 degrees.

    Source: PyEphem, another theory of the sun (VSOP87), with nothing of ours in it.
    """
    rng = np.random.default_rng(20260314)
    ends = [datetime(year, 1, 1, tzinfo=UTC).timestamp() for year in (1900, 2100)]
    seconds = rng.integers(int(ends[0]), int(ends[1]), 20_000)
    places = np.column_stack([rng.uniform(-90, 90, 20_000), rng.uniform(-180, 180, 20_000)])
    worst = max(
        abs(
            float(height(np.array([second], dtype="datetime64[s]"), *place)[0])
            - planetary_theory(second, *place)
        )
        for second, place in zip(seconds.tolist(), places.tolist(), strict=True)
    )
    assert 0.001 < worst < 0.01  # nothing at all would be a comparison with itself


# --- heights of many photos ----------------------------------------------------------------------


def test_many_heights_are_those_of_each_alone() -> None:
    """An array keeps its order and shape; a photo without a time has no height."""
    moments = np.array(
        [["2026-03-14T18:00", "NaT"], ["2026-03-14T06:00", "2025-12-31T23:59:59"]],
        dtype="datetime64[s]",
    )
    found = height(moments, -33.9, 18.4)
    assert found.shape == (2, 2)
    assert np.isnan(found[0, 1])
    alone = [height(moments[at : at + 1, 0], -33.9, 18.4)[0] for at in (0, 1)]
    assert found[:, 0].tolist() == alone
    assert height(np.array([], dtype="datetime64[s]"), 0, 0).shape == (0,)
    assert np.isnan(height(np.array([NO_TIME]), 0, 0)[0])


def test_the_height_goes_on_over_a_year_change_and_a_summer_time_night() -> None:
    """The sky knows no new year and no summer time: a minute moves the sun a quarter degree."""
    for edge in ("2025-12-31T23:50", "2026-03-29T00:50", "2024-02-29T23:50"):
        minutes = np.datetime64(edge, "s") + np.arange(20) * np.timedelta64(60, "s")
        steps = np.diff(height(minutes, 45, 10))
        assert np.all(np.abs(steps) < 0.2507)
        assert np.all(np.abs(np.diff(steps)) < 0.003)


def test_south_is_the_other_half_of_the_year() -> None:
    """At noon in December the sun is 79.5 degrees high over the Cape, 15.8 over Belgium."""
    for place, highest in (((-33.9, 18.4), 90 - 33.9 + 23.4), ((50.8, 4.4), 90 - 50.8 - 23.4)):
        noon = sun_day(date(2026, 12, 21), *place, UTC).noon
        assert height_at(noon, *place) == pytest.approx(highest, abs=0.1)


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(90.1, 0), (-90.1, 0), (0, 180.1), (0, -180.1), (math.nan, 0), (0, math.nan)],
)
def test_a_place_off_the_globe_is_refused(latitude: float, longitude: float) -> None:
    """No height and no sunrise where there is no place; the message says the numbers."""
    with pytest.raises(ValueError, match=f"latitude {latitude}, longitude {longitude}"):
        height(np.array(["2026-03-14"], dtype="datetime64[s]"), latitude, longitude)
    with pytest.raises(ValueError, match=f"latitude {latitude}, longitude {longitude}"):
        sun_day(date(2026, 3, 14), latitude, longitude, UTC)


# --- one day -------------------------------------------------------------------------------------

latitudes = st.floats(-89, 89)
longitudes = st.floats(-180, 180)
days = st.dates(date(1950, 1, 1), date(2050, 12, 31))


@settings(deadline=None)
@given(days, latitudes, longitudes)
def test_each_event_is_when_the_sun_stands_there(
    day: date, latitude: float, longitude: float
) -> None:
    """At each event the sun is at its edge, going the right way; dawn comes first, dusk last."""
    zone = ZoneInfo("Etc/GMT") if abs(longitude) < 90 else ZoneInfo("Pacific/Auckland")
    found = sun_day(day, latitude, longitude, zone)
    for name in EVENTS:
        moment = getattr(found, name)
        if moment is None:
            continue
        assert height_at(moment, latitude, longitude) == pytest.approx(EDGES[name], abs=0.005)
        inner = timedelta(seconds=2) if name in {"sunrise", "civil_dawn", "nautical_dawn"} else None
        later = moment + (inner or -timedelta(seconds=2))
        assert height_at(later, latitude, longitude) >= EDGES[name]
    order = [found.nautical_dawn, found.civil_dawn, found.sunrise, found.noon]
    order += [found.sunset, found.civil_dusk, found.nautical_dusk]
    there = [moment for moment in order if moment is not None]
    assert there == sorted(there)


@settings(deadline=None)
@given(days, latitudes, longitudes)
def test_none_is_said_and_only_then(day: date, latitude: float, longitude: float) -> None:
    """Every event that does not happen is named once in words, and no other."""
    found = sun_day(day, latitude, longitude, UTC)
    said = " ".join(found.absent)
    for name in EVENTS:
        words = f"no {name.replace('_', ' ')}"
        assert said.count(words) == (getattr(found, name) is None)


@settings(deadline=None)
@given(days, latitudes, longitudes)
def test_a_missing_event_is_a_sun_that_stays(day: date, latitude: float, longitude: float) -> None:
    """Where no sunrise is found, every tenth minute from midnight to noon is on the same side."""
    found = sun_day(day, latitude, longitude, UTC)
    if found.sunrise is None:
        minutes = np.arange(0, 721, 10)
        noon = np.datetime64(found.noon.replace(tzinfo=None), "s")
        heights = height(noon - minutes * np.timedelta64(60, "s"), latitude, longitude)
        clear = heights[np.abs(heights - HORIZON) > 0.02]  # grazing is finer than we promise
        assert len(set((clear >= HORIZON).tolist())) <= 1


@pytest.mark.parametrize(
    ("day", "latitude", "absent"),
    [
        pytest.param("2026-03-14", 69.65, (), id="an ordinary day far north"),
        pytest.param(
            "2026-06-21",
            69.65,
            (
                "no sunrise and no sunset: the sun's centre stays above -0.833°",
                "no civil dawn and no civil dusk: the sun's centre stays above -6°",
                "no nautical dawn and no nautical dusk: the sun's centre stays above -12°",
            ),
            id="polar day",
        ),
        pytest.param(
            "2026-12-21",
            69.65,
            ("no sunrise and no sunset: the sun's centre stays below -0.833°",),
            id="polar night with twilight",
        ),
        pytest.param(
            "2026-06-21",
            -89,
            (
                "no sunrise and no sunset: the sun's centre stays below -0.833°",
                "no civil dawn and no civil dusk: the sun's centre stays below -6°",
                "no nautical dawn and no nautical dusk: the sun's centre stays below -12°",
            ),
            id="the depth of the southern winter",
        ),
        pytest.param(
            "2026-06-21",
            57,
            ("no nautical dawn and no nautical dusk: the sun's centre stays above -12°",),
            id="white nights",
        ),
    ],
)
def test_polar_day_and_polar_night(day: str, latitude: float, absent: tuple[str, ...]) -> None:
    """None, in words, and no error; whether the sun stays up or down is said."""
    assert sun_day(date.fromisoformat(day), latitude, 18.96, OSLO).absent == absent


def test_the_polar_day_comes_and_goes_when_it_does() -> None:
    """At Tromso the midnight sun is from about 18-20 May to 22-26 July, the polar night from
    about 26-28 November to 14-16 January (from memory; hills and rounding move it by days).
    """

    def without(first: date, last: date, event: str) -> list[date]:
        some = [first + timedelta(days=at) for at in range((last - first).days)]
        return [day for day in some if getattr(sun_day(day, *TROMSO, OSLO), event) is None]

    bright = without(date(2026, 4, 1), date(2026, 9, 1), "sunset")
    dark = without(date(2026, 10, 1), date(2027, 3, 1), "sunrise")
    for days_, begins, ends in (
        (bright, date(2026, 5, 18), date(2026, 7, 25)),
        (dark, date(2026, 11, 27), date(2027, 1, 15)),
    ):
        assert abs((days_[0] - begins).days) <= 2
        assert abs((days_[-1] - ends).days) <= 2
        assert len(days_) == (days_[-1] - days_[0]).days + 1


def test_a_sunset_after_midnight_belongs_to_the_day_that_it_ends() -> None:
    """Late in July the sun of the 26th sets at Tromso after midnight, on the 27th by the clock."""
    found = sun_day(date(2026, 7, 26), *TROMSO, OSLO)
    assert found.noon.astimezone(OSLO).date() == date(2026, 7, 26)
    assert found.sunset is not None
    assert found.sunset.astimezone(OSLO).date() == date(2026, 7, 27)


def test_the_first_night_without_a_sunset() -> None:
    """When the midnight sun begins there is a sunrise that no sunset follows, and that is said."""
    found = sun_day(date(2026, 5, 18), *TROMSO, OSLO)
    assert found.sunrise is not None
    assert found.sunset is None
    assert found.absent[0] == "no sunset: the sun's centre stays above -0.833°"


@pytest.mark.parametrize(
    ("zone", "longitude"),
    [
        ("Pacific/Apia", -172.0),
        ("Pacific/Kiritimati", -157.4),
        ("Asia/Shanghai", 75.0),
        ("America/Adak", 179.0),
        ("Etc/GMT", 0.0),
    ],
)
def test_the_day_is_that_of_the_zone(zone: str, longitude: float) -> None:
    """Beyond the date line, and in a zone that is wide, noon is on the day that was asked for."""
    there = ZoneInfo(zone)
    for day in (date(2026, 1, 1), date(2024, 2, 29), date(2026, 10, 25)):
        noon = sun_day(day, -13.8, longitude, there).noon
        assert noon.astimezone(there).date() == day
        around = [noon + timedelta(hours=hour) for hour in range(-6, 7)]
        heights = [height_at(moment, -13.8, longitude) for moment in around]
        assert max(heights) == heights[6]


# --- light ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees", "expected"),
    [
        (90, Light.DAY),
        (0, Light.DAY),
        (-0.833, Light.DAY),
        (-0.8331, Light.CIVIL),
        (-6, Light.CIVIL),
        (-6.0001, Light.NAUTICAL),
        (-12, Light.NAUTICAL),
        (-12.0001, Light.NIGHT),
        (-90, Light.NIGHT),
    ],
)
def test_light_by_the_height_of_the_sun(degrees: float, expected: Light) -> None:
    """Edges by the US Naval Observatory's definitions; an edge is the lighter class (ours)."""
    assert light(degrees) is expected


def test_light_of_no_time_is_refused() -> None:
    """A photo without a true time has no light, and is not night by accident."""
    with pytest.raises(ValueError, match="no true time"):
        light(math.nan)


def test_the_rule_is_said_with_its_edges() -> None:
    """Whoever reads a result reads which light is meant."""
    assert LIGHT_RULE == (
        "day: the sun's centre at -0.833° or higher; civil twilight: down to -6°; "
        "nautical twilight: down to -12°; night: below that"
    )


@settings(deadline=None)
@given(days, latitudes, longitudes)
def test_light_changes_at_the_events(day: date, latitude: float, longitude: float) -> None:
    """A second past sunrise it is day, a second before it is not, and so for the twilights."""
    found = sun_day(day, latitude, longitude, UTC)
    second = timedelta(seconds=1)
    for name, inside in (("sunrise", Light.DAY), ("civil_dawn", Light.CIVIL)):
        moment = getattr(found, name)
        if moment is None or abs(latitude) > 72:
            continue
        after = height_at(moment + second, latitude, longitude)
        before = height_at(moment - second, latitude, longitude)
        assert before <= after
        assert light(after) is inside
        assert light(before) is not inside
