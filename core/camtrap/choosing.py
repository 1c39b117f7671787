"""Decide which photos and visits of a placement go into a package, and which photos are public."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone, tzinfo
from enum import StrEnum
from zoneinfo import ZoneInfo

from core import clocks, tags
from core.camtrap.telling import Telling
from core.coverage.watching import EDGE
from core.model import (
    BLANK,
    HANDLER,
    AnsweredVisit,
    ClockFlag,
    Photo,
    PhotoKind,
    Placement,
    true_time,
)
from core.views import PlacementView

MEDIA = "media"
"""The folder of the package that holds the pictures."""
_UNSAFE = re.compile(r'[%\\:*?"<>|\x00-\x1f\x7f]|\.(?=\.)|(?<=\.)\.')
"""Characters that some system takes for something else, and two dots that lead out of a folder."""
_STILL_UNSAFE = re.compile(
    rf"(?!%(?:25|5C|3A|2A|3F|22|3C|3E|7C|2E|[01][0-9A-F]|7F))(?:{_UNSAFE.pattern})"
)
"""The same, but for a `%` that stands for one of them already."""


class LeftOut(StrEnum):
    """Why a file of a card is not in the package."""

    NO_PHOTO = "files that are no photos"
    NO_TIME = "photos without a time"
    COPY = "copies of photos of the same placement"
    OUTSIDE = "photos more than 15 minutes outside their camera's start and end"


class HeldBack(StrEnum):
    """Why a picture is not for everybody."""

    PEOPLE = "of people or vehicles"
    HANDLER = "of the people at work"
    UNNAMED = "of what nobody could name"
    UNSETTLED = "not settled, or not tagged yet"


@dataclass(frozen=True, slots=True)
class Media:
    """One photo of the package."""

    photo: Photo
    id: str
    """Its placement and its path, made safe."""
    held_back: HeldBack | None
    """None where people looked at it and saw nothing private."""


@dataclass(frozen=True, slots=True)
class Handled:
    """A run of photos of the study's own people, and who says so."""

    photos: tuple[Photo, ...]
    taggers: tuple[str, ...]
    made_at: datetime | None
    """When the last of them said it."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """What of one placement goes into the package."""

    placement: Placement
    name: str
    """Of the placement, as it is told."""
    offset: tzinfo
    """Of all its times: one, kept through a change of summer time."""
    start: datetime
    end: datetime
    """Its stretch, widened to hold its photos."""
    media: tuple[Media, ...]
    """In the order of time."""
    visits: tuple[AnsweredVisit, ...]
    """With the photos that are in the package; one without any is left out."""
    handled: tuple[Handled, ...]
    """What lies in no visit's time."""
    left_out: tuple[tuple[LeftOut, int], ...]
    visits_left_out: int
    unsure_times: bool
    """Whether some of its times are wrong or not sure, and could not be mended."""

    def ids(self) -> dict[int, str]:
        """Give the id that each photo has in the package, by the study's own."""
        return {one.photo.id: one.id for one in self.media}


def choose(view: PlacementView, telling: Telling, zone: ZoneInfo, gap: timedelta) -> Chosen:
    """Choose the photos and visits of a placement that has a start and an end.

    Photos up to 15 minutes outside still belong to it: people write the log by hand. Then its
    stretch is told a little longer than the log has it.
    """
    start, end = view.placement.start, view.placement.end
    assert start is not None
    assert end is not None
    inside = [p for p in view.ordered if start - EDGE <= true_time(p) <= end + EDGE]
    held_back = _held_back(view, telling)
    paths = _paths(view.photos, telling)
    place = safe_part(telling.without_names(view.placement.placement), whole=True)
    ids = {p.id: f"{place}/{paths[p.id]}" for p in inside}
    media = tuple(Media(p, ids[p.id], held_back.get(p.id)) for p in inside)
    visits = tuple(_with_photos(view.visits, {p.id for p in inside}))
    times = [true_time(p) for p in inside]
    left_out = _left_out(view, len(inside))
    return Chosen(
        placement=view.placement,
        name=telling.without_names(view.placement.placement),
        offset=offset_of(view.placement, zone),
        start=min([start, *times[:1]]),
        end=max([end, *times[-1:]]),
        media=media,
        visits=visits,
        handled=tuple(_said(view, _handled(inside, visits, gap))),
        left_out=left_out,
        visits_left_out=len(view.visits) - len(visits),
        unsure_times=(
            any(why in {LeftOut.NO_TIME, LeftOut.OUTSIDE} for why, _ in left_out)
            or any(p.clock_flag is not ClockFlag.NONE for p in inside)
            or bool(view.clock_fault)
        ),
    )


def offset_of(placement: Placement, zone: ZoneInfo) -> tzinfo:
    """Give the one offset in which a placement's times are told: its clock's when it starts."""
    clock = clocks.clock_of(placement, (), zone, None).zone
    assert placement.start is not None
    offset = placement.start.astimezone(clock).utcoffset() or timedelta(0)
    return timezone(offset)


def safe_part(part: str, *, whole: bool = False) -> str:
    """Write one part of a path, or a `whole` name as one part, so that no system misreads it.

    A part that is safe stays as it is, so that a file keeps the name that it has in a package; of
    whole names no two become one.
    """
    unsafe = _UNSAFE if whole else _STILL_UNSAFE
    told = unsafe.sub(lambda found: f"%{ord(found[0]):02X}", part)
    return told.replace("/", "%2F") if whole else told


def safe_path(path: str) -> str:
    """Write a path so, part by part."""
    return "/".join(map(safe_part, path.split("/")))


def _paths(photos: Iterable[Photo], telling: Telling) -> dict[int, str]:
    """Give each file its path in the package; a second card with the same path is told apart."""
    paths: dict[int, str] = {}
    taken: set[str] = set()
    for photo in sorted(photos, key=lambda p: p.id):
        plain = safe_path(telling.path(photo.file))
        path, card = plain, 1
        while path in taken:
            card += 1
            path = f"card{card}/{plain}"
        taken.add(path)
        paths[photo.id] = path
    return paths


def _held_back(view: PlacementView, telling: Telling) -> dict[int, HeldBack]:
    """Give the photos of which people do not agree to have seen nothing private, and why.

    Whoever says that a person, a car or something unnamed is in a photo keeps it back, also
    where others, or the instructor, hold something else.
    """
    seen = {photo.id for one in view.visits if one.answer.held for photo in one.visit.photos}
    kept = {photo.id: HeldBack.UNSETTLED for photo in view.photos if photo.id not in seen}
    private = [
        tag
        for tag in tags.in_force(view.tags)
        if tag.species != BLANK and telling.is_private(tag.species)
    ]
    # In the order of the files too: the end of a run may be a photo without a place in time.
    for photos in (view.ordered, view.photos):
        place = {photo.id: at for at, photo in enumerate(photos)}
        for run in tags.runs_at(private, place):
            why = _why(run.tag.species, telling)
            kept |= {photo.id: why for photo in photos[run.first : run.last + 1]}
    return kept


def _why(species: str, telling: Telling) -> HeldBack:
    if species == HANDLER:
        return HeldBack.HANDLER
    people = telling.kind(species) in {"human", "vehicle"}
    return HeldBack.PEOPLE if people else HeldBack.UNNAMED


def _with_photos(visits: Iterable[AnsweredVisit], kept: set[int]) -> Iterable[AnsweredVisit]:
    for one in visits:
        photos = tuple(photo for photo in one.visit.photos if photo.id in kept)
        if photos:
            yield replace(one, visit=replace(one.visit, photos=photos))


def _handled(
    photos: Sequence[Photo], visits: Sequence[AnsweredVisit], gap: timedelta
) -> Iterable[tuple[Photo, ...]]:
    """Give runs of handler photos with no neighbours further apart than the gap, outside visits."""
    stretches = [(one.visit.start, one.visit.end) for one in visits]
    run: list[Photo] = []
    for photo in [p for p in photos if p.kind is PhotoKind.HANDLER]:
        moment = true_time(photo)
        before = true_time(run[-1]) if run else moment
        between = any(start <= moment and end >= before for start, end in stretches)
        if run and (between or moment - before > gap):
            yield tuple(run)
            run = []
        if not any(start <= moment <= end for start, end in stretches):
            run.append(photo)
    if run:
        yield tuple(run)


def _said(view: PlacementView, runs: Iterable[tuple[Photo, ...]]) -> Iterable[Handled]:
    """Give each run of handlers those who tagged it so."""
    place = {photo.id: at for at, photo in enumerate(view.ordered)}
    said = tags.runs_at((t for t in tags.in_force(view.tags) if t.species == HANDLER), place)
    for photos in runs:
        first, last = place[photos[0].id], place[photos[-1].id]
        over = [run.tag for run in said if run.first <= last and run.last >= first]
        made = [tag.made_at for tag in over if tag.made_at is not None]
        taggers = tuple(dict.fromkeys(tag.tagger for tag in over))
        yield Handled(photos, taggers, max(made, default=None))


def _left_out(view: PlacementView, inside: int) -> tuple[tuple[LeftOut, int], ...]:
    photos = [p for p in view.photos if p.is_photo]
    copies = sum(p.copy_of is not None and p.true_time is not None for p in photos)
    counts = {
        LeftOut.NO_PHOTO: len(view.photos) - len(photos),
        LeftOut.NO_TIME: sum(p.true_time is None for p in photos),
        LeftOut.COPY: copies,
        LeftOut.OUTSIDE: len(view.ordered) - inside,
    }
    return tuple((why, count) for why, count in counts.items() if count)
