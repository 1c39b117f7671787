"""An invented field season with known truth: cards as cameras write them, clean or with faults.

Rows, not pictures. A card is made true first; a fault then changes what its camera showed or what
people wrote down, and the truth stays beside it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from random import Random
from zoneinfo import ZoneInfo

import numpy as np

from core import sun
from core.clockfaults import ClockCorrection, ClockFault, Neighbour, Timeline, true_times
from core.model import ClockCheck, Photo, Placement, Span, TrayDeployment
from core.windows import window_of

SECOND, MINUTE, HOUR, DAY = (timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1),
                             timedelta(days=1))  # fmt: skip


@dataclass(frozen=True)
class Place:
    """Where a season is."""

    zone: ZoneInfo
    latitude: float
    longitude: float


DUNES = Place(ZoneInfo("Africa/Johannesburg"), -33.9, 19.0)
BRUSSELS = Place(ZoneInfo("Europe/Brussels"), 50.8, 4.4)
DESERT = Place(ZoneInfo("America/Los_Angeles"), 35.0, -115.5)
SYDNEY = Place(ZoneInfo("Australia/Sydney"), -33.8, 150.9)


@dataclass(frozen=True)
class Habits:
    """What the people and animals of a card do."""

    nights: int = 1
    out: time = time(18)
    back: time = time(6)
    """Local hours of set-out and pick-up; a pick-up at or before the set-out is next day's."""
    by_night: float = 8
    by_day: float = 2
    """Triggers of animals in the twelve hours of night, and of day."""
    timelapse_min: int | None = None
    walk: float = 0.3
    car: float = 0.25
    test_shots: float = 0.2
    trips: float = 0.1
    dies: float = 0.15
    """How likely are photos on the way there, in the car, at home days before, another trip on
    the card, and a camera that stops early."""
    unseen: float = 0.08
    """How likely people at an edge of a window have no photo."""
    notes_off_min: float = 4
    rounded_min: int = 5
    """How far people's notes are from what they did, at most, and to what they round. [minutes]"""
    longer_min: float = 20
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
    """Ids of the photos whose time the faults changed."""
    true_trays: tuple[TrayDeployment, ...] = ()
    """The tray log as it should be, where a row of it is at fault."""

    @property
    def span(self) -> Span:
        """Give the placement's stretch."""
        start, end = self.placement.start, self.placement.end
        assert start is not None
        assert end is not None
        return Span(start, end)

    def timeline(
        self, corrections: Iterable[ClockCorrection] = (), *, light: bool = False
    ) -> Timeline:
        """Give what the rules are given."""
        here = partial(sun.height, latitude=self.place.latitude, longitude=self.place.longitude)
        return Timeline(
            self.placement,
            self.photos,
            self.place.zone,
            self.trays,
            self.checks,
            tuple(corrections),
            self.infrared if light else {},
            here if light else None,
            self.others,
        )

    def misplaced(self, corrections: Sequence[ClockCorrection], near: timedelta) -> set[int]:
        """Give the photos that fall into a wrong window, but for those so near a window's edge."""
        trays = self.true_trays or self.trays
        timed, _ = true_times(
            self.photos, self.placement, self.checks, self.place.zone, corrections
        )
        edges = [edge for one in trays for edge in (one.set_out, one.picked_up) if edge]
        return {
            photo.id
            for photo in timed
            if window_at(trays, photo.true_time) != window_at(trays, self.true[photo.id])
            and all(abs(self.true[photo.id] - edge) > near for edge in edges)
        }


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
    habits: Habits | None = None,
    place: Place = DUNES,
    *,
    name: str = "P1",
    tray: str = "T1",
) -> Card:
    """Make a card whose clock is right, with everything that people and animals do."""
    habits = habits or Habits()
    done = [
        tuple(edge + random.uniform(-20, 20) * MINUTE for edge in _night(day, habits, place))
        for day in (first + night * DAY for night in range(habits.nights))
    ]
    start = done[0][0] - random.random() * habits.longer_min * MINUTE
    end = done[-1][1] + random.random() * habits.longer_min * MINUTE
    comings = [start, *(edge for night in done for edge in night), end]
    moments = _moments(random, comings, habits, place)
    rows = tuple(
        TrayDeployment(
            f"{tray}-{name}-{number}", tray, _noted(out, habits), _noted(up, habits),
            Decimal("10.0"), Decimal("4.0"),
        )
        for number, (out, up) in enumerate(done, start=1)
    )  # fmt: skip
    placement = Placement(
        name, f"cam-{tray}", (tray,), _noted(start, habits), _noted(end, habits),
        timelapse_every_min=habits.timelapse_min,
    )  # fmt: skip
    return written(random, placement, rows, moments, place)


def _night(day: date, habits: Habits, place: Place) -> tuple[datetime, datetime]:
    later = day if habits.back > habits.out else day + DAY
    out = datetime.combine(day, habits.out).replace(tzinfo=place.zone)
    up = datetime.combine(later, habits.back).replace(tzinfo=place.zone)
    return out.astimezone(UTC), up.astimezone(UTC)


def _noted(moment: datetime, habits: Habits) -> datetime:
    step = habits.rounded_min * 60
    return datetime.fromtimestamp(round(moment.timestamp() / step) * step, UTC)


def _moments(
    random: Random, comings: Sequence[datetime], habits: Habits, place: Place
) -> list[datetime]:
    start, end = comings[0], comings[-1]
    early = random.random() < habits.dies
    stop = start + random.random() * (end - start) if early else end
    found: list[datetime] = []
    for edge in comings:
        if random.random() >= habits.unseen and edge <= stop:
            found += _people(random, edge, habits)
    found += [one for one in _animals(random, start, end, habits, place) if one <= stop]
    found += _timelapse(start, stop, habits, place)
    found += _out_of_place(random, start, end, habits, place, early=early)
    return sorted({one.replace(microsecond=0) for one in found}) or [start.replace(microsecond=0)]


def _people(random: Random, edge: datetime, habits: Habits) -> list[datetime]:
    """Two to ten photos in three minutes, as far from the note as people's notes are."""
    begun = edge + random.uniform(-habits.notes_off_min, habits.notes_off_min) * MINUTE
    return [begun + random.random() * 3 * MINUTE for _ in range(random.randint(2, 10))]


def _animals(
    random: Random, start: datetime, end: datetime, habits: Habits, place: Place
) -> list[datetime]:
    most = max(habits.by_night, habits.by_day, 1e-9)
    mean = 2 * most * ((end - start) / DAY)
    found = []
    for _ in range(max(0, round(random.gauss(mean, mean**0.5)))):
        moment = start + random.random() * (end - start)
        day = 6 <= moment.astimezone(place.zone).hour < 18
        if random.random() < (habits.by_day if day else habits.by_night) / most:
            found += [moment, moment + SECOND, moment + 2 * SECOND]
    return found


def _timelapse(start: datetime, stop: datetime, habits: Habits, place: Place) -> list[datetime]:
    if not habits.timelapse_min:
        return []
    local = start.astimezone(place.zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(UTC)
    step = habits.timelapse_min * MINUTE
    first = int((start - midnight) / step) + 1
    return [midnight + number * step for number in range(first, int((stop - midnight) / step) + 1)]


def _out_of_place(
    random: Random, start: datetime, end: datetime, habits: Habits, place: Place, *, early: bool
) -> list[datetime]:
    """Give photos on the way, in the car, at home days before, and of another trip."""
    found: list[datetime] = []
    if random.random() < habits.walk:
        way = random.uniform(3, 60) * MINUTE
        found += [start - random.random() * way for _ in range(random.randint(1, 12))]
    if random.random() < habits.car and not early:
        way = random.uniform(5, 180) * MINUTE
        found += [end + random.random() * way for _ in range(random.randint(1, 15))]
    if random.random() < habits.test_shots:
        home, apart = start - random.uniform(1, 12) * DAY, random.uniform(1, 40) * SECOND
        found += [home + shot * apart for shot in range(random.randint(1, 10))]
    away = random.choice([-1, 1]) * random.uniform(3, 40) * DAY
    if random.random() < habits.trips and abs(away) > end - start + DAY:
        found += _animals(random, start + away, end + away, habits, place)
        found += _people(random, start + away, habits) + _people(random, end + away, habits)
    return found


def written(
    random: Random,
    placement: Placement,
    trays: tuple[TrayDeployment, ...],
    moments: Sequence[datetime],
    place: Place,
) -> Card:
    """Give the card that a camera writes at some true times; its clock is right to 45 s."""
    number, first = random.choice([1, 1, 1, 9_990, 4_321]), random.randint(1, 5000)
    off = round(random.uniform(-45, 45)) * SECOND
    offset = (placement.start or moments[0]).astimezone(place.zone).utcoffset() or 0 * SECOND
    naive = np.array([one.replace(tzinfo=None) for one in moments], dtype="datetime64[s]")
    height = sun.height(naive, place.latitude, place.longitude)
    photos = tuple(
        Photo(first + at, placement.placement, _file(number + at),
              (moment + off + offset).replace(tzinfo=None))
        for at, moment in enumerate(moments)
    )  # fmt: skip
    ids = [photo.id for photo in photos]
    infrared = {one: bool(up < random.uniform(-8, 2)) for one, up in zip(ids, height, strict=True)}
    true = dict(zip(ids, moments, strict=True))
    return Card(placement, trays, photos, true, place, infrared=infrared)


def _file(number: int) -> str:
    folder, own = divmod(number - 1, 9_999)
    return f"DCIM/{100 + folder}MEDIA/IMG_{own + 1:04}.JPG"


def twin(card: Card, random: Random, *, name: str = "P2") -> Card:
    """Give a second camera's card at the same tray: most of the same visits."""
    kept = [one + random.randint(-15, 15) * SECOND for one in card.true.values()
            if random.random() < 0.8]  # fmt: skip
    placement = replace(card.placement, placement=name, camera=f"{card.placement.camera}-b")
    moments = sorted(set(kept)) or [card.span.start]
    return written(random, placement, card.trays, moments, card.place)


def neighbour(card: Card, *, checked: bool = False) -> Neighbour:
    """Give a card as another placement of the same camera or tray."""
    timed, _ = true_times(card.photos, card.placement, card.checks, card.place.zone, ())
    return Neighbour(card.placement, timed.seconds[timed.known], checked)


# --- faults --------------------------------------------------------------------------------------


def shown_as(
    card: Card,
    change: Callable[[int, datetime], datetime],
    kind: ClockFault,
    which: Iterable[int] | None = None,
) -> Card:
    """Change what the camera showed in some photos (None: in all), by id and display."""
    wanted = frozenset(card.true if which is None else which)
    photos = tuple(
        replace(photo, camera_time=change(photo.id, photo.camera_time))
        if photo.id in wanted and photo.camera_time
        else photo
        for photo in card.photos
    )
    return replace(card, photos=photos, faults=(*card.faults, kind), touched=card.touched | wanted)


def shifted(
    card: Card, by: timedelta, kind: ClockFault, which: Iterable[int] | None = None
) -> Card:
    """Let the camera show another time by a constant; `by` is what puts it right."""
    return shown_as(card, lambda _, shown: shown - by, kind, which)


def one_hour(card: Card, random: Random) -> Card:
    """Let the clock be one hour fast or slow."""
    return shifted(card, random.choice([-1, 1]) * HOUR, ClockFault.ONE_HOUR)


def twelve_hours(card: Card, random: Random) -> Card:
    """Let the clock be set to the wrong half of the day."""
    return shifted(card, random.choice([-12, 12]) * HOUR, ClockFault.TWELVE_HOURS)


def some_minutes(card: Card, random: Random) -> Card:
    """Let the clock be 20 to 45 minutes, or one and a half to ten hours, off."""
    off = random.choice([random.randint(20, 45), random.randint(90, 600)])
    return shifted(card, random.choice([-1, 1]) * off * MINUTE, ClockFault.MINUTES)


def whole_days(card: Card, random: Random) -> Card:
    """Let the date be one to nine days off."""
    return shifted(card, random.choice([-1, 1]) * random.randint(1, 9) * DAY, ClockFault.DAYS)


def a_year(card: Card, random: Random) -> Card:
    """Let the year be wrong, the clock set on the day of the placement."""
    day = card.span.start.astimezone(card.place.zone).date()
    day = day.replace(day=28) if (day.month, day.day) == (2, 29) else day
    wrong = day.replace(year=day.year - random.choice([-1, 1, 1, 2, 7]))
    return shifted(card, day - wrong, ClockFault.YEARS)


def day_month(card: Card, _: Random) -> Card:
    """Let day and month be exchanged on the day of the placement, or one not long before."""
    day = card.span.start.astimezone(card.place.zone).date()
    while day.day > 12 or day.day == day.month:
        day -= DAY
    return shifted(card, day - day.replace(month=day.day, day=day.month), ClockFault.DAY_MONTH)


def reset(card: Card, random: Random, *, whole: bool = False) -> Card:
    """Let the clock fall back to 1 January of some year on the way, or before the first photo."""
    inside = sorted(one for one in card.true.values() if card.span.start <= one <= card.span.end)
    some = len(inside) // 4 + random.randrange(max(1, len(inside) // 2))
    whole = whole or len(inside) < 4
    when = min(card.true.values()) if whole else inside[some]
    begun = when - random.random() * 20 * MINUTE
    default = datetime(random.choice([2000, 2012, 2015, 2019]), 1, 1)  # noqa: DTZ001

    def fallen(number: int, _: datetime) -> datetime:
        return (default + (card.true[number] - begun)).replace(microsecond=0)

    which = [number for number, true in card.true.items() if true >= when]
    return shown_as(card, fallen, ClockFault.DEFAULT_DATE, which)


def drifting(card: Card, random: Random) -> Card:
    """Let the clock lose or gain minutes a day, told by a check at either end."""
    rate = random.choice([-1, 1]) * random.uniform(90, 400)
    offset = card.span.start.astimezone(card.place.zone).utcoffset() or 0 * SECOND

    def drifted(true: datetime) -> timedelta:
        return round(rate * ((true - card.span.start) / DAY)) * SECOND

    moved = shown_as(
        card, lambda number, shown: shown + drifted(card.true[number]), ClockFault.DRIFT
    )
    checks = tuple(
        ClockCheck(
            card.placement.placement, (edge + offset + drifted(edge)).replace(tzinfo=None), edge
        )
        for edge in (card.span.start, card.span.end)
    )
    return replace(moved, checks=checks)


def switched(card: Card, _: Random) -> Card:
    """Let the camera change to or from summer time by itself at the turn within the card."""
    zone = card.place.zone
    begun = card.span.start.astimezone(zone).utcoffset() or 0 * SECOND
    ended = card.span.end.astimezone(zone).utcoffset() or 0 * SECOND
    after = [n for n, true in card.true.items() if true.astimezone(zone).utcoffset() != begun
             and true >= card.span.start]  # fmt: skip
    return shifted(card, begun - ended, ClockFault.SUMMER_TIME, after)


def exchanged_each(card: Card, _: Random) -> Card:
    """Let day and month of each photo be exchanged, as a program that copies cards may do."""

    def exchange(_: int, shown: datetime) -> datetime:
        return shown.replace(month=shown.day, day=shown.month) if shown.day <= 12 else shown

    return shown_as(card, exchange, ClockFault.DAY_MONTH_EACH)


def repeated_row(card: Card, before: Card) -> Card:
    """Let a sheet row repeat the window, and the camera's stretch, of the one before."""
    first, second = before.trays[-1], card.trays[0]
    wrong = replace(second, set_out=first.set_out, picked_up=first.picked_up)
    start, end = before.placement.start, before.placement.end
    return replace(
        card,
        placement=replace(card.placement, start=start, end=end),
        trays=(*before.trays, wrong, *card.trays[1:]),
        true_trays=(*before.trays, *card.trays),
        others=(neighbour(before),),
        faults=(ClockFault.REPEATED_ROW,),
        touched=frozenset(card.true),
    )


# --- the season ----------------------------------------------------------------------------------


def season(random: Random) -> list[Card]:
    """Make a season of 130 windows: ten trays, thirteen nights, over a turn of summer time.

    Five trays have a card a night, three a card a week, two one card for all. What is wrong with
    each card is in its `faults`.
    """
    habits = Habits(unseen=0.03, dies=0.1, trips=0.05)
    first = date(2026, 3, 20)
    cards: dict[str, Card] = {}
    for number in range(1, 11):
        tray = f"T{number:02}"
        runs = [1] * 13 if number <= 5 else [7, 6] if number <= 8 else [13]
        night = 0
        for run in runs:
            name = f"{tray}N{night + 1:02}"
            some = replace(habits, nights=run)
            cards[name] = clean(random, first + night * DAY, some, BRUSSELS, name=name, tray=tray)
            night += run
    for name, faults in SEASON_FAULTS.items():
        for fault in faults:
            cards[name] = fault(cards[name], random)
    for name, before in (("T04N06", "T04N05"), ("T05N09", "T05N08")):
        cards[name] = repeated_row(cards[name], cards[before])
    return list(cards.values())


Fault = Callable[[Card, Random], Card]
SEASON_FAULTS: dict[str, tuple[Fault, ...]] = {
    **{f"T01N{night:02}": (day_month,) for night in range(3, 11)},
    **{f"T02N{night:02}": (reset,) for night in (2, 5, 9)},
    "T02N12": (partial(reset, whole=True),),
    "T03N04": (twelve_hours,),
    "T03N08": (a_year,),
    "T03N11": (whole_days,),
    "T06N01": (one_hour,),
    "T06N08": (drifting,),
    "T07N01": (some_minutes,),
    "T07N08": (reset,),
    "T08N01": (day_month, reset),
    "T08N08": (a_year,),
    "T09N01": (switched,),
}
