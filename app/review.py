"""Decide which runs of photos a tagger is led through, in which order, and what is theirs to see.

A visit comes whole, but for the edges of the tagger's own tags: what they split comes as its
parts, what they tagged as one comes as one. What tags mean together is decided in core.tags.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

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
from core.views import Layout
from core.workspace import PlacementView

Places = NDArray[np.int64]
Mask = NDArray[np.bool_]

OUT = {TrayRole.STUDY, TrayRole.PREBAIT}
"""Roles of trays that stand before a camera."""


class Show(StrEnum):
    """Which runs of photos are shown; the text is what people choose."""

    MINE = "not tagged by me"
    DONE = "tagged by me"
    UNSURE = "unsure"
    OPEN = "unanswered"
    ALL = "all visits"
    OTHER = "handler and time-lapse photos"
    UNTIMED = "photos without a time"
    SPECIES = "species"
    """Followed by `:` and the key of the species."""


class Order(StrEnum):
    """In which order runs come."""

    TIME = "time"
    CHANGED = "changed"
    """Those that differ most from their quiet scene first, those not scored last."""
    QUIET = "quiet"
    """Those that differ least first, those not scored left out."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What somebody wants to go through."""

    tagger: str
    """Their name as the study spells it; empty where nobody said."""
    instructor: bool
    show: Show = Show.MINE
    species: str = ""
    """The key, for `Show.SPECIES`."""
    order: Order = Order.TIME


@dataclass(frozen=True, slots=True)
class Rows:
    """Runs of photos, beside one another."""

    firsts: Places
    lasts: Places
    """Places of their ends in the placement's order, both inside."""
    starts: Places
    ends: Places
    """Where their photos stand among all photos of their kind; the end is outside."""
    covered: Mask
    """Whether the tagger has tagged each."""
    peaks: Places
    """Place of the most different photo of each; -1 where not all of its photos are scored."""
    scores: NDArray[np.float64]
    """How much that one differs, 0 to 1; NaN where not all of its photos are scored."""

    def __len__(self) -> int:
        """Count them."""
        return len(self.firsts)

    def at(self, chosen: Mask | Places) -> "Rows":
        """Give those that are chosen, in the order chosen."""
        return Rows(*(getattr(self, name)[chosen] for name in self.__slots__))


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


# --- runs of a placement, all at once ----------------------------------------------------------


def rows(layout: Layout, asked: Asked, scores: NDArray[np.float64]) -> Rows:
    """Give the runs that are asked for, in the order asked for.

    `scores` stands beside the placement's photos in order, NaN where one is not scored. Photos
    without a time have no place in it and come in none of these.
    """
    own = made_by(layout, asked.tagger)
    of_visits = layout.places, layout.visit_of[layout.places]
    of_handlers = _handlers(layout)
    visited, handled = (_cut(layout, *some, own, scores) for some in (of_visits, of_handlers))
    match asked.show:
        case Show.ALL:
            found = visited
        case Show.MINE:
            found = visited.at(~visited.covered & ~_need_none(layout, visited, own))
        case Show.OPEN:
            waits = np.array([not answer.held for answer in layout.answers()], dtype=np.bool_)
            found = visited.at(_any(visited, np.repeat(waits, np.diff(layout.edges))))
        case Show.OTHER:
            found = _joined(handled, _timelapse(layout, scores))
        case Show.DONE:
            found = _joined(*(some.at(some.covered) for some in (visited, handled)))
        case Show.UNSURE | Show.SPECIES:
            over = covered(layout, _matching(layout, asked))
            found = _joined(
                visited.at(_any(visited, over[of_visits[0]])),
                handled.at(_any(handled, over[of_handlers[0]])),
            )
        case Show.UNTIMED:
            found = visited.at(np.zeros(len(visited), dtype=np.bool_))
    return _in_order(found, asked.order)


def tagged_visits(layout: Layout, tagger: str) -> int:
    """Count the visits of which somebody has tagged every photo that asks for a tag."""
    over = covered(layout, made_by(layout, tagger))[layout.places]
    if len(over) == 0:
        return 0
    left = ~over & ~layout.base.due[layout.places]
    begun, unfinished = (np.logical_or.reduceat(m, layout.edges[:-1]) for m in (over, left))
    return int(np.count_nonzero(begun & ~unfinished))


def made_by(layout: Layout, tagger: str) -> Mask:
    """Say of each tag that stands whether somebody made it."""
    return _each(layout, lambda tag: tag.tagger == tagger)


def covered(layout: Layout, chosen: Mask) -> Mask:
    """Say of each photo in order whether one of the chosen tags lies over it."""
    steps = np.zeros(len(layout.base.ordered) + 1, dtype=np.int64)
    np.add.at(steps, layout.standing.firsts[chosen], 1)
    np.add.at(steps, layout.standing.lasts[chosen] + 1, -1)
    return np.cumsum(steps[:-1]) > 0


def _each(layout: Layout, says: Callable[[Tag], bool]) -> Mask:
    runs = layout.standing.runs
    return np.fromiter((says(run.tag) for run in runs), dtype=np.bool_, count=len(runs))


def _matching(layout: Layout, asked: Asked) -> Mask:
    """Say of each tag whether it is unsure, or of the species; a tagger sees their own alone."""

    def says(tag: Tag) -> bool:
        theirs = asked.instructor or tag.tagger == asked.tagger
        wanted = tag.species == asked.species if asked.show is Show.SPECIES else not tag.sure
        return theirs and wanted

    return _each(layout, says)


def _cut(
    layout: Layout, places: Places, groups: Places, own: Mask, scores: NDArray[np.float64]
) -> Rows:
    """Cut photos of one kind into runs: at each new group, and at the edges of one's own tags.

    Within one's own tag the beginning of a group is no edge.
    """
    if len(places) == 0:
        return _none()
    begins = np.searchsorted(places, layout.standing.firsts[own], side="left")
    stops = np.searchsorted(places, layout.standing.lasts[own], side="right")
    begins, stops = begins[stops > begins], stops[stops > begins]
    edge = np.diff(groups, prepend=groups[0] - 1) != 0
    inside = np.zeros(len(places) + 1, dtype=np.int64)
    np.add.at(inside, begins + 1, 1)
    np.add.at(inside, stops, -1)
    edge &= np.cumsum(inside[:-1]) == 0
    edge[begins] = True
    edge[stops[stops < len(places)]] = True
    starts = np.flatnonzero(edge)
    ends = np.append(starts[1:], len(places))
    peaks, most = _most_different(places, starts, ends, scores)
    over = covered(layout, own)[places]
    return Rows(places[starts], places[ends - 1], starts, ends, over[starts], peaks, most)


def _most_different(
    places: Places, starts: Places, ends: Places, scores: NDArray[np.float64]
) -> tuple[Places, NDArray[np.float64]]:
    """Give the place and the score of the most different photo of each run."""
    here = scores[places]
    most = np.maximum.reduceat(here, starts)
    is_most = here == np.repeat(most, ends - starts)
    first = np.minimum.reduceat(np.where(is_most, np.arange(len(places)), len(places)), starts)
    return np.where(np.isnan(most), -1, places[np.minimum(first, len(places) - 1)]), most


def _none() -> Rows:
    place, flag = np.empty(0, dtype=np.int64), np.empty(0, dtype=np.bool_)
    return Rows(place, place, place, place, flag, place, np.empty(0, dtype=np.float64))


def _any(some: Rows, mask: Mask) -> Mask:
    """Say of each run whether any of its photos is marked; `mask` over all photos of its kind."""
    marked = np.concatenate(([0], np.cumsum(mask)))
    return marked[some.ends] > marked[some.starts]


def _need_none(layout: Layout, visited: Rows, own: Mask) -> Mask:
    """Say of each run whether it is the time-lapse rest of a visit that was tagged in part."""
    if len(visited) == 0:
        return visited.covered
    over = covered(layout, own)[layout.places]
    begun = np.logical_or.reduceat(over, layout.edges[:-1])
    asks = _any(visited, ~layout.base.due[layout.places])
    return begun[layout.visit_of[visited.firsts] - 1] & ~asks


def _handlers(layout: Layout) -> tuple[Places, Places]:
    """Give the handler photos, and which of them were taken in one go."""
    places = np.flatnonzero(layout.kinds == visits.HANDLER)
    return places, visits.numbers_within(layout.base.seconds[places], layout.gap)


def _timelapse(layout: Layout, scores: NDArray[np.float64]) -> Rows:
    """Give each time-lapse photo as a run."""
    places = np.flatnonzero(layout.kinds == visits.TIMELAPSE)
    nobodys = np.zeros(len(layout.standing.runs), dtype=np.bool_)
    return _cut(layout, places, places, nobodys, scores)


def _joined(*some: Rows) -> Rows:
    columns = ([getattr(one, name) for one in some] for name in Rows.__slots__)
    return Rows(*(np.concatenate(column) for column in columns))


def _in_order(found: Rows, order: Order) -> Rows:
    match order:
        case Order.TIME:
            return found.at(np.argsort(found.firsts, kind="stable"))
        case Order.CHANGED:
            return found.at(np.lexsort((found.firsts, -np.nan_to_num(found.scores, nan=-1.0))))
        case Order.QUIET:
            scored = found.at(~np.isnan(found.scores))
            return scored.at(np.lexsort((scored.firsts, scored.scores)))
