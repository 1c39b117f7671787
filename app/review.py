"""Decide which runs of photos a tagger is led through, in which order, and what is theirs to see.

A visit comes whole, but for the edges of the tagger's own tags: what they split comes as its
parts, what they tagged as one comes as one. What tags mean together is decided in core.tags.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from core import visits
from core.model import (
    BLANK,
    Placement,
    Tag,
    TrayDeployment,
    TrayRole,
)
from core.views import Layout

Places = NDArray[np.int64]
Mask = NDArray[np.bool_]

OUT = {TrayRole.STUDY, TrayRole.PREBAIT}
"""Roles of trays that stand before a camera."""


class Show(StrEnum):
    """Which runs of photos are shown; the text is what people choose."""

    MINE = "not tagged by me"
    SHARE = "my share"
    """Of those, the ones that were handed out to them."""
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
    share: tuple[int, ...] = ()
    """Photos by which visits were handed out to them, for `Show.SHARE`."""


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


def rows(layout: Layout, asked: Asked, scores: NDArray[np.float64]) -> Rows:
    """Give the runs that are asked for, in no order (yet).

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
        case Show.SHARE:
            found = visited.at(
                _given(layout, visited, asked.share)
                & ~visited.covered
                & ~_need_none(layout, visited, own)
            )
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
    return found


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


def _given(layout: Layout, visited: Rows, share: Sequence[int]) -> Mask:
    """Say of each run whether its visit holds a photo by which it was handed out."""
    places = [place for photo in share if (place := layout.base.place.get(photo)) is not None]
    given = np.zeros(layout.visits + 1, dtype=np.bool_)
    given[layout.visit_of[places]] = True
    given[0] = False
    found: Mask = given[layout.visit_of[visited.firsts]]
    return found


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


QUIET_BELOW = 0.5
"""A run whose most different photo scores this or more is looked at alone: so much is what an
animal of 0.4 % of the picture scores (a judgement)."""


def quiet_sheet(layout: Layout, found: Rows, asked: Asked) -> tuple[Rows, int]:
    """Give the runs for the quiet sheet, and how many more are scored but changed too much for it.

    Left out are runs on which a tag stands that says something else than blank: an instructor,
    whose word would rule, is never offered to overrule an animal unseen. A tagger knows their own
    tags alone.
    """

    def names_somebody(tag: Tag) -> bool:
        return tag.species != BLANK and (asked.instructor or tag.tagger == asked.tagger)

    over = np.concatenate(([0], np.cumsum(covered(layout, _each(layout, names_somebody)))))
    named = over[found.lasts + 1] > over[found.firsts]
    left = found.at(~named & ~np.isnan(found.scores))
    little = left.scores < QUIET_BELOW
    return left.at(little), int(np.count_nonzero(~little))


def in_order(found: Rows, order: Order) -> Rows:
    """Put runs in the order asked for; by how little they differ only those that are scored."""
    match order:
        case Order.TIME:
            return found.at(np.argsort(found.firsts, kind="stable"))
        case Order.CHANGED:
            return found.at(np.lexsort((found.firsts, -np.nan_to_num(found.scores, nan=-1.0))))
        case Order.QUIET:
            scored = found.at(~np.isnan(found.scores))
            return scored.at(np.lexsort((scored.firsts, scored.scores)))


# --- trays --------------------------------------------------------------------------------------


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
