"""Decide which runs of photos a tagger is led through, and what of each is theirs to see.

What tags mean together is decided in core.tags; nothing here is kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from core import tags, visits
from core.model import (
    AnsweredVisit,
    Photo,
    PhotoKind,
    Placement,
    Tag,
    TrayDeployment,
    TrayRole,
)
from core.workspace import PlacementView

OUT = {TrayRole.STUDY, TrayRole.PREBAIT}
"""Roles of trays that stand before a camera."""


class Show(StrEnum):
    """Which runs of photos are shown; the text is what people choose."""

    MINE = "not tagged by me"
    OPEN = "unanswered"
    ALL = "all visits"
    OTHER = "handler and time-lapse photos"
    UNTIMED = "photos without a time"


@dataclass(frozen=True, slots=True)
class Turn:
    """A run of photos that is looked at in one go."""

    placement: str
    photos: tuple[Photo, ...]
    answered: AnsweredVisit | None = None
    """The visit that it is; None for photos that make no visit."""
    tags: tuple[Tag, ...] = ()
    """All that hold over it, whoever made them."""

    @property
    def key(self) -> int:
        """Give the id of its first photo, by which it is found again."""
        return self.photos[0].id

    @property
    def timed(self) -> bool:
        """Say whether it has a place in time; what has none cannot be tagged."""
        return self.photos[0].true_time is not None

    @property
    def open(self) -> bool:
        """Say whether it still waits for people."""
        return self.answered is not None and not self.answered.answer.held

    def seen_by(self, tagger: str, *, instructor: bool) -> tuple[Tag, ...]:
        """Give the tags that somebody may see: their own, or as the instructor all."""
        return tuple(tag for tag in self.tags if instructor or tag.tagger == tagger)


def turns(view: PlacementView, show: Show, tagger: str, gap: timedelta) -> list[Turn]:
    """Give the runs to be shown, in the order of time."""
    match show:
        case Show.UNTIMED:
            return [Turn(photo.placement, (photo,)) for photo in view.untimed]
        case Show.OTHER:
            return _others(view, gap)
    every = [
        Turn(one.visit.placement, one.visit.photos, one, one.answer.tags) for one in view.visits
    ]
    if show is Show.OPEN:
        return [one for one in every if one.open]
    if show is Show.MINE:
        return [one for one in every if all(tag.tagger != tagger for tag in one.tags)]
    return every


def _others(view: PlacementView, gap: timedelta) -> list[Turn]:
    """Give the runs of photos that make no visit: handler photos together, time-lapse singly."""
    handler = [photo for photo in view.ordered if photo.kind is PhotoKind.HANDLER]
    joined = visits.group([replace(one, kind=PhotoKind.TRIGGER) for one in handler], gap)
    of_handler = [tuple(replace(p, kind=PhotoKind.HANDLER) for p in one.photos) for one in joined]
    timelapse = [(one,) for one in view.ordered if one.kind is PhotoKind.TIMELAPSE]
    runs = sorted([*of_handler, *timelapse], key=lambda photos: visits.rank(photos[0]))
    placed = {photo.id: at for at, photo in enumerate(view.ordered)}
    held = tags.runs_of(view.tags, view.ordered)
    return [
        Turn(
            run[0].placement,
            run,
            tags=tuple(
                one.tag
                for one in held
                if one.first <= placed[run[-1].id] and one.last >= placed[run[0].id]
            ),
        )
        for run in runs
    ]


def find(view: PlacementView, photo: int, tagger: str, gap: timedelta) -> Turn | None:
    """Give the run that holds a photo, in whichever list it stands."""
    for show in (Show.ALL, Show.OTHER, Show.UNTIMED):
        for turn in turns(view, show, tagger, gap):
            if any(one.id == photo for one in turn.photos):
                return turn
    return None


def place_of(listed: Sequence[Turn], here: Turn) -> int | None:
    """Give the place of a run in a list, from 0; None where it is not in it (any more)."""
    return next((at for at, one in enumerate(listed) if one.key == here.key), None)


def after(listed: Sequence[Turn], here: Turn) -> Turn | None:
    """Give the next run of a list in time; None after the last."""
    at = place_of(listed, here)
    if at is not None:
        return listed[at + 1] if at + 1 < len(listed) else None
    return next((one for one in listed if _later(one, here)), None)


def before(listed: Sequence[Turn], here: Turn) -> Turn | None:
    """Give the run before, in time; None before the first."""
    at = place_of(listed, here)
    if at is not None:
        return listed[at - 1] if at > 0 else None
    return next((one for one in reversed(listed) if _later(here, one)), None)


def next_open(every: Sequence[Turn], here: Turn) -> Turn | None:
    """Give the next run that waits for people, from the beginning again after the last."""
    waiting = [one for one in every if one.open and one.key != here.key]
    later = [one for one in waiting if _later(one, here)]
    return next(iter(later or waiting), None)


def _later(one: Turn, other: Turn) -> bool:
    if not (one.timed and other.timed):
        return False
    return visits.rank(one.photos[0]) > visits.rank(other.photos[0])


def deployments_at(
    trays: Sequence[TrayDeployment], placement: Placement, start: datetime, end: datetime
) -> list[TrayDeployment]:
    """Give the tray deployments of a camera into whose window a run of photos falls."""
    return [
        one
        for one in trays
        if one.tray in placement.trays
        and one.role in OUT
        and one.set_out is not None
        and one.picked_up is not None
        and start < one.picked_up
        and end >= one.set_out
    ]


def trays_to_choose(
    trays: Sequence[TrayDeployment], placement: Placement, out: Sequence[TrayDeployment]
) -> list[str]:
    """Give the trays that may be meant: none to choose where only one can be.

    A tray that is in no log may have been out.
    """
    logged = {one.tray for one in trays if one.role in OUT}
    there = {one.tray for one in out}
    possible = [tray for tray in placement.trays if tray in there or tray not in logged]
    return possible if len(possible) > 1 else []
