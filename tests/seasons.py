"""An invented field season with known truth: cards as cameras write them, clean or with faults.

Rows, not pictures. A card is made true first; a fault then changes what its camera showed or what
people wrote down, and the truth stays beside it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from random import Random
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from core.clockfaults import ClockCorrection, ClockFault, Neighbour, Timeline, true_times
from core.clockfaults.rows import SunHeight
from core.model import ClockCheck, Photo, Placement, Span, TrayDeployment
from core.units import Times
from core.windows import window_of

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Place:
    """Where a season is."""

    zone: ZoneInfo
    latitude: float
    longitude: float

    def sun(self) -> SunHeight:
        """Give the height of the sun's centre, to about a degree (enough for day and night)."""

        def height(times: Times) -> NDArray[np.float64]:
            seconds = times.astype("datetime64[s]").astype(np.int64)
            day = seconds / 86_400 + 10957.5 - 21_915
            mean = np.radians(280.46 + 0.9856474 * day)
            anomaly = np.radians(357.528 + 0.9856003 * day)
            ecliptic = mean + np.radians(1.915 * np.sin(anomaly) + 0.02 * np.sin(2 * anomaly))
            tilt = np.radians(23.439)
            declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
            right = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
            sidereal = np.radians(280.46061837 + 360.98564736629 * day + self.longitude)
            hour = sidereal - right
            here = np.radians(self.latitude)
            high = np.sin(here) * np.sin(declination)
            high = high + np.cos(here) * np.cos(declination) * np.cos(hour)
            return np.asarray(np.degrees(np.arcsin(high)), dtype=np.float64)

        return height


DUNES = Place(ZoneInfo("Africa/Johannesburg"), -33.9, 19.0)
BRUSSELS = Place(ZoneInfo("Europe/Brussels"), 50.8, 4.4)
DESERT = Place(ZoneInfo("America/Los_Angeles"), 35.0, -115.5)
SYDNEY = Place(ZoneInfo("Australia/Sydney"), -33.8, 150.9)


@dataclass(frozen=True)
class Habits:
    """What the people and animals of a card do."""

    nights: int = 1
    first_out: tuple[int, int] = (18, 0)
    back: tuple[int, int] = (6, 0)
    """Local hours of set-out and pick-up; a pick-up at or before the set-out is next day's."""
    events_a_night: float = 8
    """Triggers of animals, by night, in each 24 hours."""
    events_a_day: float = 2
    """Triggers by day."""
    burst: int = 3
    timelapse_min: int | None = None
    walk: float = 0.3
    """How likely each of these is: photos on the way there, test shots at home, photos in the
    car, another trip on the card, a camera that stops early, people unseen at an edge."""
    test_shots: float = 0.2
    car: float = 0.25
    trips: float = 0.1
    dies: float = 0.15
    unseen: float = 0.08
    off_log_min: int = 4
    """How far people's notes are from what they did. [minutes]"""
    rounded_min: int = 5
    loose_min: int = 20
    """The camera stands so much longer than the trays, at most. [minutes]"""


@dataclass(frozen=True)
class Card:
    """One placement's card, what was written down, and what is true."""

    placement: Placement
    trays: tuple[TrayDeployment, ...]
    photos: tuple[Photo, ...]
    true: dict[int, datetime]
    """By photo id."""
    place: Place
    checks: tuple[ClockCheck, ...] = ()
    infrared: dict[int, bool] = field(default_factory=dict)
    others: tuple[Neighbour, ...] = ()
    faults: tuple[ClockFault, ...] = ()
    touched: frozenset[int] = frozenset()
    """Ids of the photos whose time the faults changed; empty: all."""
    true_trays: tuple[TrayDeployment, ...] = ()
    """The tray log as it should be, where a row of it is at fault."""

    def timeline(self, *, light: bool = True) -> Timeline:
        """Give what the rules are given."""
        return Timeline(
            self.placement,
            self.photos,
            self.place.zone,
            self.trays,
            self.checks,
            infrared=self.infrared if light else {},
            sun_height=self.place.sun() if light else None,
            others=self.others,
        )

    def windows(self, corrections: Sequence[ClockCorrection]) -> list[str]:
        """Give each photo's window (a deployment's id, or empty) under some corrections."""
        timed, _ = true_times(
            self.photos, self.placement, self.checks, self.place.zone, corrections
        )
        return [window_at(self.true_trays or self.trays, photo.true_time) for photo in timed]

    def misplaced(
        self, corrections: Sequence[ClockCorrection], within: timedelta = 2 * MINUTE
    ) -> list[int]:
        """Give the photos that fall into a wrong window, but for those so near a window's edge."""
        edges = [
            edge
            for one in self.true_trays or self.trays
            if (window := window_of(one))
            for edge in (window.start, window.end)
        ]
        pairs = zip(self.photos, self.windows(corrections), self.true_windows(), strict=True)
        return [
            photo.id
            for photo, found, true in pairs
            if found != true and all(abs(self.true[photo.id] - edge) > within for edge in edges)
        ]

    def true_windows(self) -> list[str]:
        """Give each photo's window by the truth."""
        trays = self.true_trays or self.trays
        return [window_at(trays, self.true.get(photo.id)) for photo in self.photos]


def window_at(trays: Sequence[TrayDeployment], moment: datetime | None) -> str:
    """Give the deployment that was out at a moment; empty where none was."""
    for one in trays:
        window = window_of(one)
        if moment is not None and window and window.start <= moment < window.end:
            return one.deployment
    return ""


# --- true cards ----------------------------------------------------------------------------------


def clean(
    random: Random,
    first: date = date(2026, 3, 2),
    *,
    habits: Habits = Habits(),
    place: Place = DUNES,
    name: str = "P1",
    tray: str = "T1",
) -> Card:
    """Make a card whose clock is right, with everything that people and animals do."""
    outs = [
        _windows_of(first + timedelta(days=night), habits, place) for night in range(habits.nights)
    ]
    done = [(out + _jitter(random, habits), up + _jitter(random, habits)) for out, up in outs]
    start = done[0][0] - random.random() * habits.loose_min * MINUTE
    end = done[-1][1] + random.random() * habits.loose_min * MINUTE
    moments = _photos_of(random, done, start, end, habits, place)
    rows = [
        TrayDeployment(
            f"{tray}-{name}-{at}",
            tray,
            _noted(out, habits),
            _noted(up, habits),
            Decimal("10.0"),
            Decimal("4.0"),
        )
        for at, (out, up) in enumerate(done, start=1)
    ]
    placement = Placement(
        name,
        f"cam-{tray}",
        (tray,),
        _noted(min(start, done[0][0]), habits),
        _noted(max(end, done[-1][1]), habits),
        timelapse_every_min=habits.timelapse_min,
    )
    return _written(placement, tuple(rows), moments, place, random)


def _windows_of(day: date, habits: Habits, place: Place) -> tuple[datetime, datetime]:
    out = datetime(day.year, day.month, day.day, *habits.first_out, tzinfo=place.zone)
    later = day if habits.back > habits.first_out else day + timedelta(days=1)
    up = datetime(later.year, later.month, later.day, *habits.back, tzinfo=place.zone)
    return out.astimezone(UTC), up.astimezone(UTC)


def _jitter(random: Random, habits: Habits) -> timedelta:
    return random.uniform(-20, 20) * MINUTE


def _noted(moment: datetime, habits: Habits) -> datetime:
    step = habits.rounded_min * 60
    seconds = round(moment.timestamp() / step) * step
    return datetime.fromtimestamp(seconds, UTC)


def _photos_of(
    random: Random,
    done: Sequence[tuple[datetime, datetime]],
    start: datetime,
    end: datetime,
    habits: Habits,
    place: Place,
) -> list[datetime]:
    stop = end
    if random.random() < habits.dies:
        stop = start + random.random() * (end - start)
    moments: list[datetime] = []
    for edge in [start, *(edge for pair in done for edge in pair), end]:
        if random.random() >= habits.unseen and edge <= stop:
            moments += _people(random, edge, habits)
    moments += [one for one in _animals(random, start, end, habits, place) if one <= stop]
    if habits.timelapse_min:
        moments += _lapse(start, stop, habits.timelapse_min, place)
    if random.random() < habits.walk:
        way = random.uniform(3, 60)
        moments += [start - random.random() * way * MINUTE for _ in range(random.randint(1, 12))]
    if random.random() < habits.car and stop == end:
        way = random.uniform(5, 180)
        moments += [end + random.random() * way * MINUTE for _ in range(random.randint(1, 15))]
    if random.random() < habits.test_shots:
        home = start - random.uniform(1, 12) * DAY
        moments += [home + at * random.uniform(1, 40) * timedelta(seconds=1)
                    for at in range(random.randint(1, 10))]  # fmt: skip
    if random.random() < habits.trips:
        moments += _trip(random, start, end, habits, place)
    whole = sorted({one.replace(microsecond=0) for one in moments})
    return whole or [start.replace(microsecond=0)]


def _people(random: Random, edge: datetime, habits: Habits) -> list[datetime]:
    """Two to ten photos in the minutes around a coming, as far from the note as people are."""
    begun = edge + random.uniform(-habits.off_log_min, habits.off_log_min) * MINUTE
    return [begun + random.random() * 3 * MINUTE for _ in range(random.randint(2, 10))]


def _animals(
    random: Random, start: datetime, end: datetime, habits: Habits, place: Place
) -> list[datetime]:
    days = (end - start) / DAY
    most = max(habits.events_a_night, habits.events_a_day)
    found = []
    for _ in range(_count(random, 2 * most * days)):
        moment = start + random.random() * (end - start)
        hour = moment.astimezone(place.zone).hour
        rate = habits.events_a_day if 6 <= hour < 18 else habits.events_a_night
        if random.random() < rate / most:
            found += [moment + timedelta(seconds=shot) for shot in range(habits.burst)]
    return found


def _count(random: Random, mean: float) -> int:
    return max(0, round(random.gauss(mean, mean**0.5)))


def _lapse(start: datetime, stop: datetime, every_min: int, place: Place) -> list[datetime]:
    local = start.astimezone(place.zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC)
    step = every_min * MINUTE
    number = int((start - midnight) / step) + 1
    found = []
    while midnight + number * step <= stop:
        found.append(midnight + number * step)
        number += 1
    return found


def _trip(
    random: Random, start: datetime, end: datetime, habits: Habits, place: Place
) -> list[datetime]:
    """Another placement on the same card, weeks before or after, as long as this one."""
    away = random.choice([-1, 1]) * random.uniform(3, 40) * DAY
    other = replace(habits, timelapse_min=None)
    begun, ended = start + away, end + away
    if abs(away) < (end - start) + DAY:
        return []
    found = _animals(random, begun, ended, other, place)
    return [*found, *_people(random, begun, habits), *_people(random, ended, habits)]


def _written(
    placement: Placement,
    trays: tuple[TrayDeployment, ...],
    moments: Sequence[datetime],
    place: Place,
    random: Random,
) -> Card:
    first = random.choice([1, 1, 1, 9_990, 4_321])
    ids = random.randint(1, 5000)
    off = random.uniform(-45, 45)
    begun = placement.start or moments[0]
    offset = begun.astimezone(place.zone).utcoffset() or timedelta(0)
    height = place.sun()(np.array([one.replace(tzinfo=None) for one in moments], "datetime64[s]"))
    photos, true, infrared = [], {}, {}
    for at, moment in enumerate(moments):
        shown = (moment + timedelta(seconds=round(off)) + offset).replace(tzinfo=None)
        photos.append(Photo(ids + at, placement.placement, _file(first + at), shown))
        true[ids + at] = moment
        infrared[ids + at] = bool(height[at] < random.uniform(-8, 2))
    return Card(placement, trays, tuple(photos), true, place, infrared=infrared)


def _file(number: int) -> str:
    folder, own = divmod(number - 1, 9_999)
    return f"DCIM/{100 + folder}MEDIA/IMG_{own + 1:04}.JPG"


# --- faults --------------------------------------------------------------------------------------

Change = Callable[[datetime], datetime | None]


def shown_as(card: Card, change: Change, kind: ClockFault, which: Sequence[int] = ()) -> Card:
    """Change what the camera showed in some photos (all: none named); None: it stays."""
    wanted = set(which) or {photo.id for photo in card.photos}
    photos = tuple(
        replace(photo, camera_time=(change(photo.camera_time) or photo.camera_time))
        if photo.id in wanted and photo.camera_time is not None
        else photo
        for photo in card.photos
    )
    return replace(
        card,
        photos=photos,
        faults=(*card.faults, kind),
        touched=card.touched | frozenset(wanted),
    )


def shifted(card: Card, by: timedelta, kind: ClockFault, which: Sequence[int] = ()) -> Card:
    """Let the camera show another time by a constant; `by` is what would put it right."""
    return shown_as(card, lambda shown: shown - by, kind, which)


def one_hour(card: Card, random: Random) -> Card:
    """Let the clock be one hour fast or slow."""
    return shifted(card, random.choice([-1, 1]) * HOUR, ClockFault.ONE_HOUR)


def twelve_hours(card: Card, random: Random) -> Card:
    """Let the clock be set to the wrong half of the day."""
    return shifted(card, random.choice([-12, 12]) * HOUR, ClockFault.TWELVE_HOURS)


def minutes(card: Card, random: Random) -> Card:
    """Let the clock be 20 to 50 minutes, or a few hours and minutes, off."""
    off = random.choice([random.randint(20, 50), random.randint(70, 600)])
    return shifted(card, random.choice([-1, 1]) * off * MINUTE, ClockFault.MINUTES)


def whole_days(card: Card, random: Random) -> Card:
    """Let the date be one to nine days off."""
    off = random.choice([-1, 1]) * random.randint(1, 9)
    return shifted(card, off * DAY, ClockFault.DAYS)


def a_year(card: Card, random: Random) -> Card:
    """Let the year be wrong, the clock set on the day of the placement."""
    shown = _first_day(card)
    day = shown.replace(day=28) if (shown.month, shown.day) == (2, 29) else shown
    wrong = day.replace(year=day.year - random.choice([-1, 1, 1, 2, 7]))
    return shifted(card, day - wrong, ClockFault.YEARS)


def day_month(card: Card, random: Random) -> Card:
    """Let day and month be exchanged on the day of the placement or the days before it."""
    day = _first_day(card)
    while day.day > 12 or day.day == day.month:
        day -= timedelta(days=1)
    return shifted(card, day - day.replace(month=day.day, day=day.month), ClockFault.DAY_MONTH)


def _first_day(card: Card) -> datetime:
    start = card.placement.start
    assert start is not None
    local = start.astimezone(card.place.zone)
    return datetime(local.year, local.month, local.day)


def _ids_from(card: Card, moment: datetime) -> list[int]:
    return [number for number, true in card.true.items() if true >= moment]


def reset(card: Card, random: Random, *, whole: bool = False) -> Card:
    """Let the clock fall back to 1 January of some year on the way, or from the beginning."""
    start, end = card.placement.start, card.placement.end
    assert start is not None and end is not None
    inside = sorted(true for true in card.true.values() if start <= true <= end)
    whole = whole or len(inside) < 4
    when = start if whole else inside[len(inside) // 4 + random.randrange(max(1, len(inside) // 2))]
    which = _ids_from(card, when)
    if whole:
        which = list(card.true)
        when = min(card.true.values())
    year = random.choice([2000, 2012, 2015, 2019])
    begun = when - random.random() * timedelta(minutes=20)
    local = datetime(year, 1, 1)
    changed = set(which)
    photos = tuple(
        replace(
            photo,
            camera_time=(local + (card.true[photo.id] - begun)).replace(microsecond=0),
        )
        if photo.id in changed
        else photo
        for photo in card.photos
    )
    return replace(
        card,
        photos=photos,
        faults=(*card.faults, ClockFault.DEFAULT_DATE),
        touched=card.touched | frozenset(which),
    )


def drifting(card: Card, random: Random) -> Card:
    """Let the clock lose or gain minutes a day, told by a check at either end."""
    rate = random.choice([-1, 1]) * random.uniform(90, 400)
    start, end = card.placement.start, card.placement.end
    assert start is not None and end is not None
    first = min(shown for p in card.photos if (shown := p.camera_time))
    base = card.true[card.photos[0].id]

    def drifted(true: datetime, shown: datetime) -> datetime:
        return shown + timedelta(seconds=round(rate * ((true - start) / DAY)))

    photos = tuple(
        replace(p, camera_time=drifted(card.true[p.id], p.camera_time)) if p.camera_time else p
        for p in card.photos
    )
    offset = first.replace(tzinfo=UTC) - base
    checks = tuple(
        ClockCheck(
            card.placement.placement, drifted(true, (true + offset).replace(tzinfo=None)), true
        )
        for true in (start, end)
    )
    return replace(
        card,
        photos=photos,
        checks=checks,
        faults=(*card.faults, ClockFault.DRIFT),
        touched=frozenset(card.true),
    )


def repeated_row(card: Card, before: Card) -> Card:
    """Let a sheet row repeat the window (and the camera's stretch) of the one before."""
    first, second = before.trays[-1], card.trays[0]
    wrong = replace(second, set_out=first.set_out, picked_up=first.picked_up)
    placement = replace(card.placement, start=before.placement.start, end=before.placement.end)
    return replace(
        card,
        placement=placement,
        trays=(*before.trays, wrong, *card.trays[1:]),
        true_trays=(*before.trays, *card.trays),
        others=(neighbour(before),),
        faults=(ClockFault.REPEATED_ROW,),
    )


def neighbour(card: Card, *, checked: bool = False) -> Neighbour:
    """Give a card as another placement of the same camera or tray."""
    timed, _ = true_times(card.photos, card.placement, card.checks, card.place.zone, ())
    return Neighbour(card.placement, timed.seconds[timed.known], checked)


def span_of(card: Card) -> Span:
    """Give a card's stretch."""
    assert card.placement.start and card.placement.end
    return Span(card.placement.start, card.placement.end)


def switched(card: Card) -> Card:
    """Let the camera change to or from summer time by itself at the turn within the card."""
    zone = card.place.zone
    begun = min(card.true.values()).astimezone(zone).utcoffset()
    later = [n for n, true in card.true.items() if true.astimezone(zone).utcoffset() != begun]
    turned = max(card.true.values()).astimezone(zone).utcoffset()
    assert begun is not None and turned is not None
    return shifted(card, begun - turned, ClockFault.SUMMER_TIME, later)


def exchanged_each(card: Card) -> Card:
    """Let day and month of each photo be exchanged, as a program that copies cards may do."""

    def exchange(shown: datetime) -> datetime | None:
        return shown.replace(month=shown.day, day=shown.month) if shown.day <= 12 else None

    return shown_as(card, exchange, ClockFault.DAY_MONTH_EACH)


def set_right(card: Card, by: timedelta, kind: ClockFault) -> Card:
    """Let the clock be off by so much until somebody sets it right on the way."""
    ids = sorted(card.true, key=lambda number: card.true[number])
    start, end = span_of(card).start, span_of(card).end
    inside = [number for number in ids if start <= card.true[number] <= end]
    return shifted(card, by, kind, ids[: ids.index(inside[len(inside) // 2])])


def twin(card: Card, random: Random, *, name: str, share: float = 0.8) -> Card:
    """Give a second camera's card at the same tray: most of the same visits, some of its own."""
    kept = [one for one in card.true.values() if random.random() < share]
    moments = sorted({one + timedelta(seconds=random.randint(-15, 15)) for one in kept})
    placement = replace(card.placement, placement=name, camera=f"{card.placement.camera}-b")
    return _written(placement, card.trays, moments or [span_of(card).start], card.place, random)
