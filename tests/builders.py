"""Complete, dull rows for tests; a test names only what it is about."""

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from PIL import Image
from sqlalchemy import Connection

from core import standing, views
from core.clocks import Timed
from core.coverage import Cover
from core.food import Food
from core.forager import Circumstances, Company, Seen
from core.model import (
    HANDLER,
    Censored,
    ClockFlag,
    Outcome,
    Photo,
    Placement,
    Reason,
    SeenVisit,
    Sighting,
    Span,
    Species,
    SpeciesRole,
    Status,
    Tag,
    TrayDeployment,
    Where,
)
from core.outcomes import outcomes
from core.settings import Settings
from core.store import Database, NewPhoto, cards
from core.views import Layout
from core.windows import Record

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
LATER = NOON + timedelta(hours=1)

SETTINGS = Settings("dunes", ZoneInfo("UTC"))
"""Gap 120 s, scale step 0.1 g, one tagger; the zone is UTC, so that clocks read as written."""
SPECIES = {
    one.key: one
    for one in (
        Species("g", "gerbil", SpeciesRole.FORAGER, "Gerbillus sp."),
        Species("m", "mouse", SpeciesRole.FORAGER),
        Species("f", "fox", SpeciesRole.OTHER),
        Species("p", "hiker", SpeciesRole.PERSON),
    )
}

NO_CAMERA = Placement("P1")
"""A placement of which nothing is known but its name."""


class RolledBackError(Exception):
    """Ends an example without storing it."""


@contextlib.contextmanager
def rolled_back(database: Database) -> Iterator[Connection]:
    """Give a connection whose changes are undone at the end."""
    with contextlib.suppress(RolledBackError), database.begin() as connection:
        yield connection
        raise RolledBackError


def new_photo(file: str, **values: Any) -> NewPhoto:
    """Give a file with an ordinary header."""
    size, changed_ns = values.pop("size", 1000), values.pop("changed_ns", 5)
    return NewPhoto(file, size, changed_ns, values.pop("fingerprint", file), **values)


def card_with(
    connection: Connection, placement: str, *files: str | NewPhoto, folder: str = "/cards/a"
) -> tuple[int, list[int]]:
    """Put a card with these files and give its id and theirs."""
    card = cards.put_card(connection, placement, folder, NOON)
    rows = [file if isinstance(file, NewPhoto) else new_photo(file) for file in files]
    return card, cards.add_photos(connection, card, rows)


def tag_of(first: int, last: int | None = None, **values: Any) -> Tag:
    """Give an ordinary tag of a run of photos."""
    dull = Tag(0, "P1", first, last or first, "ann", "g", made_at=NOON)
    return replace(dull, **values)


def write_photo(path: Path, shown: datetime | None, *, shade: int = 0, offset: str = "") -> Path:
    """Write a small real JPEG with the Exif time that a camera would write (none for None)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    picture = Image.new("RGB", (64, 48), (shade % 256, shade // 256 % 256, 90))
    exif = Image.Exif()
    if shown is not None:
        text = shown.strftime("%Y:%m:%d %H:%M:%S")
        exif[0x0132] = text
        inner = exif.get_ifd(0x8769)
        inner[0x9003] = text
        inner[0x9004] = text
        if offset:
            inner[0x9011] = offset
    picture.save(path, exif=exif)
    return path


def write_burst(folder: Path, start: datetime, count: int, *, first: int = 1) -> list[Path]:
    """Write photos one second apart, each with a content of its own, named IMG_0001.JPG and on."""
    return [
        write_photo(
            folder / f"IMG_{first + at:04}.JPG", start + timedelta(seconds=at), shade=first + at
        )
        for at in range(count)
    ]


# --- one night at the trays --------------------------------------------------------------------


def at(clock: str, day: int = 0) -> datetime:
    """Give a time of the night that begins on 14 March: hours before noon are next morning's."""
    hour, minute, second = (*map(int, clock.split(":")), 0)[:3]
    late = day if hour >= 12 else day + 1
    return datetime(2026, 3, 14, hour, minute, second, tzinfo=UTC) + timedelta(days=late)


def tray(deployment: str = "D1", **values: Any) -> TrayDeployment:
    """Give tray T1, out from 18:00 to 06:00 with 10.0 g, of which 4.0 g are left."""
    dull = TrayDeployment(
        deployment, "T1", at("18:00"), at("06:00"), Decimal("10.0"), Decimal("4.0")
    )
    return replace(dull, **values)


def camera(placement: str = "P1", **values: Any) -> Placement:
    """Give a camera on tray T1, there from 17:30 to 06:30."""
    return replace(Placement(placement, "cam", ("T1",), at("17:30"), at("06:30")), **values)


@dataclass(frozen=True, slots=True)
class Stay:
    """A run of photos, one a minute, with what one tagger said of it."""

    first: datetime
    last: datetime
    tag: Tag | None

    @property
    def moments(self) -> list[datetime]:
        """Give the times of its photos; the last always has one."""
        minutes = int((self.last - self.first) / timedelta(minutes=1))
        steps = [self.first + timedelta(minutes=step) for step in range(minutes + 1)]
        return sorted({*steps, self.last})


def stay(clock: str, species: str = "g", where: Where | None = Where.FED, **values: Any) -> Stay:
    """Give a run such as `19:00-19:03` (or one photo, `19:00`); an empty species: untagged."""
    day = values.pop("day", 0)
    first, _, last = clock.partition("-")
    where = where if species not in {HANDLER, "blank"} else None
    tag = Tag(0, "P1", 0, 0, values.pop("tagger", "ann"), species, where=where, **values)
    return Stay(at(first, day), at(last or first, day), tag if species else None)


def record(
    placement: Placement,
    *stays: Stay,
    alive: Sequence[str] = ("17:35", "06:05"),
    settings: Settings = SETTINGS,
    flag: ClockFlag = ClockFlag.NONE,
) -> Record:
    """Give a placement with its photos grouped, tagged and watched as a study would have them.

    `alive` are handler photos, by default one at set-up and one after pick-up.
    """
    runs = [*(stay(clock, HANDLER) for clock in alive), *stays]
    moments = sorted({moment for run in runs for moment in run.moments})
    name = placement.placement
    photos = [
        Photo(
            number,
            name,
            f"IMG_{number:04}.JPG",
            moment.replace(tzinfo=None),
            true_time=moment,
            clock_flag=flag,
        )
        for number, moment in enumerate(moments, start=1)
    ]
    ids = {photo.true_time: photo.id for photo in photos}
    made = [
        replace(
            run.tag,
            number=number,
            placement=name,
            first_photo=ids[run.first],
            last_photo=ids[run.last],
        )
        for number, run in enumerate(runs, start=1)
        if run.tag
    ]
    layout = laid_out(photos, made, placement, needed=settings.taggers_needed, gap=settings.gap)
    view = views.view_of(layout)
    return Record(placement, view.visits, view.watched)


def laid_out(
    photos: Sequence[Photo],
    made: Sequence[Tag],
    placement: Placement = NO_CAMERA,
    *,
    needed: int = 1,
    gap: timedelta = SETTINGS.gap,
    trays: Sequence[TrayDeployment] = (),
) -> Layout:
    """Give where the visits of photos with true times lie, and the tags over them."""
    base = views.in_order(Timed.of(photos), placement, logged=True, species=SPECIES, trays=trays)
    nothing = standing.nothing(len(base.ordered))
    stands = standing.renewed(nothing, made, base.place, needed)
    return views.layout_of(base, stands, needed, gap)


def judge(
    deployments: Sequence[TrayDeployment],
    records: Sequence[Record],
    settings: Settings = SETTINGS,
) -> list[Outcome]:
    """Give the outcomes of a small study."""
    return outcomes(deployments, records, SPECIES, settings)


@dataclass(frozen=True, slots=True)
class Night:
    """A night at one tray with one camera; everything else is dull."""

    stays: Sequence[Stay]
    tray: dict[str, Any] = field(default_factory=dict)
    camera: dict[str, Any] = field(default_factory=dict)
    alive: Sequence[str] = ("17:35", "06:05")
    more: Sequence[TrayDeployment] = ()
    settings: dict[str, Any] = field(default_factory=dict)
    flag: ClockFlag = ClockFlag.NONE

    def outcome(self) -> Outcome:
        """Give the outcome of the tray."""
        settings = replace(SETTINGS, **self.settings)
        card = record(
            camera(**self.camera),
            *self.stays,
            alive=self.alive,
            settings=settings,
            flag=self.flag,
        )
        return judge([tray(**self.tray), *self.more], [card], settings)[0]


# --- one card, no tray ---------------------------------------------------------------------------


def photo_showing(text: str, number: int = 1, **values: Any) -> Photo:
    """Give photo `number` of P1 by what its camera showed; an empty text: it has no time."""
    shown = datetime.fromisoformat(text) if text else None
    return replace(Photo(number, "P1", f"IMG_{number:04}.JPG", shown), **values)


def photos_at(*seconds: int, **values: Any) -> list[Photo]:
    """Give photos 1, 2, … of P1, so many seconds after noon each, on a clock that is right."""
    moments = [NOON + timedelta(seconds=second) for second in seconds]
    return [
        replace(
            Photo(number, "P1", f"IMG_{number:04}.JPG", moment.replace(tzinfo=None)),
            **({"true_time": moment} | values),
        )
        for number, moment in enumerate(moments, start=1)
    ]


# --- one tray as the rule looks at it ----------------------------------------------------------

FIRST_REASONS = {
    Status.KEEP: Reason.CLEAN,
    Status.CAUTION: Reason.COUNT_IS_MINIMUM,
    Status.NO_GUD: Reason.UNUSED_SEEN,
    Status.DROP: Reason.EATER_NOT_SEEN,
    Status.ERROR: Reason.WINDOWS_OVERLAP,
    Status.PENDING: Reason.MASS_MISSING,
}
"""Reasons stand under their status in the model: the first of each."""


def _reasons_of() -> dict[Status, set[Reason]]:
    order = list(Reason)
    edges = [*(order.index(first) for first in FIRST_REASONS.values()), len(order)]
    places = zip(FIRST_REASONS, pairwise(edges), strict=True)
    return {status: set(order[first:end]) for status, (first, end) in places}


REASONS_OF = _reasons_of()


def there(seen: Seen, **values: Any) -> Company:
    """Give a company of that kind; an identified last feeder is the gerbil."""
    feeders = {
        Seen.ONE: ("g",),
        Seen.SEVERAL: ("m", "g"),
        Seen.SOME_UNKNOWN: ("unknown", "g"),
        Seen.ONLY_UNKNOWN: ("unknown",),
    }.get(seen, ())
    owner = "g" if "g" in feeders else None
    dull = Company(seen, owner, feeders=feeders, persons=seen is Seen.PERSONS)
    return replace(dull, **values)


def case(
    food: Food = Food.PART_EATEN,
    seen: Seen = Seen.ONE,
    cover: Cover = Cover.WHOLE,
    *,
    who: Company | None = None,
    **values: Any,
) -> Circumstances:
    """Give the circumstances of one cell, those of the keep by default; feeding seen on T1."""
    dull = Circumstances(
        food,
        cover,
        who or there(seen, feeding_seen=food is Food.PART_EATEN and seen is not Seen.PERSONS),
        waits_for=(Reason.UNTAGGED,) if seen is Seen.UNFINISHED else (),
        visits_on_tray=0 if seen in {Seen.NOBODY, Seen.UNFINISHED} else 1,
    )
    return replace(dull, **values)


# --- outcomes for the analysis -------------------------------------------------------------------


def sighting(species: str = "g", where: Where = Where.FED, clock: str = "20:00") -> Sighting:
    """Give a stay of five minutes on the only tray."""
    first, last = at(clock), at(clock) + timedelta(minutes=5)
    return Sighting(species, where, "", 1, first, last, (last, 0.0, "IMG_0001.JPG"))


def bounded_trays() -> list[Outcome]:
    """Give 60 trays that tell of the gerbil's density in every way: a value, or some bound."""
    draw = Random(7)
    after = (seen(sighting()), seen(sighting("m", clock="23:00")))
    kinds: tuple[dict[str, Any], ...] = (
        {},
        {"status": Status.CAUTION, "gud": Decimal("0.1"), "censored": Censored.BELOW},
        {"status": Status.CAUTION, "censored": Censored.AT_MOST},
        {"status": Status.NO_GUD, "reason": Reason.VISITED_NOT_EATEN, "seen": (seen(sighting()),)},
        {"status": Status.CAUTION, "forager": "mouse", "seen": after},
    )
    return [
        result(f"B{at}", f"{draw.uniform(1, 6) + 1.5 * (at % 2):.2f}", ("bush", "open")[at % 2],
               **kinds[draw.choice((0, 0, 0, 1, 2, 3, 4))])
        for at in range(60)
    ]  # fmt: skip


def seen(*sightings: Sighting, **values: Any) -> SeenVisit:
    """Give a visit to a tray as its outcome holds it, answered unless said otherwise."""
    return replace(SeenVisit((), at("20:00"), at("20:05"), sightings, held=True), **values)


def result(
    deployment: str = "D1",
    left: str | None = "4.0",
    microhabitat: str = "open",
    *,
    site: str = "S1",
    night: int = 0,
    status: Status = Status.KEEP,
    tray_is: dict[str, Any] | None = None,
    **values: Any,
) -> Outcome:
    """Give an outcome of so many grams left of 10.0, watched all night, owned by the gerbil."""
    given = {
        "set_out": at("18:00", night),
        "picked_up": at("06:00", night),
        "food_left_g": None if left is None else Decimal(left),
        "microhabitat": microhabitat,
        "site": site,
    }
    one = tray(deployment, **(given | (tray_is or {})))
    valued = status in {Status.KEEP, Status.CAUTION}
    dull = Outcome(
        one,
        status,
        FIRST_REASONS[status],
        "",
        gud=one.food_left_g if valued else None,
        forager="gerbil" if valued else "",
        watched_share=1.0,
        watched=(Span(at("18:00", night), at("06:00", night)),),
        seen=(seen(sighting()),) if valued else (),
        visits_all=1 if valued else 0,
    )
    return replace(dull, **values)
