"""Decide in which order one placement is worked out: photos and clock, then tags, then answers.

The first layer holds as long as no log and no card changes; the second follows every tag.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from core import clockfaults, clocks, coverage, tags, visits
from core.clockfaults import ClockCorrection
from core.clocks import Timed
from core.errors import ClockError
from core.model import (
    Answer,
    AnsweredVisit,
    ClockCheck,
    Photo,
    Placement,
    Reason,
    Span,
    Species,
    Tag,
    TrayDeployment,
    Visit,
    VisitState,
)
from core.standing import Standing
from core.tags import Run

NOBODY = Answer(VisitState.UNTAGGED, Reason.UNTAGGED)
"""Of a visit that nobody tagged."""


@dataclass(frozen=True, slots=True)
class PlacementBase:
    """One placement as its logs and cards have it: what no tag changes."""

    placement: Placement
    logged: bool
    """Whether the camera log has it."""
    timed: Timed
    """Every file met on its cards, in the order of the files, with true times."""
    ordered: Timed
    """Photos that count, in the order of time; their kinds are not decided yet."""
    ids: NDArray[np.int64]
    seconds: NDArray[np.int64]
    due: NDArray[np.bool_]
    """Of each of those: its id, its true time [s since 1970 UTC], whether time-lapse was due."""
    place: Mapping[int, int]
    """Where each of those stands in the order, by id."""
    clock: clocks.Clock | None
    clock_fault: str
    species: Mapping[str, Species]
    """The study's, by key."""
    trays: tuple[TrayDeployment, ...]
    """All of the study's tray log."""
    corrections: tuple[ClockCorrection, ...] = ()
    """What people accepted to put its clock right, in the order made; they came before `clock`."""

    @property
    def known(self) -> bool:
        """Say whether the study has the placement: in its camera log, or photos of it."""
        return self.logged or len(self.timed) > 0

    @property
    def untimed(self) -> tuple[Photo, ...]:
        """Give the photos without a time: listed and shown, in no visit."""
        without = (self.timed.photos[at] for at in np.flatnonzero(~self.timed.known).tolist())
        return tuple(photo for photo in without if photo.is_photo)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where a placement's visits lie and which tags stand over them; nothing is answered yet."""

    base: PlacementBase
    standing: Standing
    kinds: NDArray[np.int8]
    """Shape (n,), of each photo in the order of time its place in `visits.KINDS`."""
    visit_of: NDArray[np.int64]
    """Shape (n,), the number of the visit that each photo is in; 0: in none."""
    places: NDArray[np.int64]
    """Places of the photos that are in a visit, rising."""
    edges: NDArray[np.int64]
    """Visit n has the `places` from edges[n - 1] up to before edges[n]."""
    needed: int
    """How many taggers have to agree."""
    gap: timedelta
    known: dict[tuple[int, ...], Answer] = field(default_factory=dict, repr=False)
    """Answers that were worked out before, by the visit's ends and the tags over it."""

    @property
    def visits(self) -> int:
        """Count the visits."""
        return len(self.edges) - 1

    def photos_of(self, number: int) -> list[int]:
        """Give the places of the photos of a visit, numbered from 1."""
        found: list[int] = self.places[self.edges[number - 1] : self.edges[number]].tolist()
        return found

    def photo(self, place: int) -> Photo:
        """Give the photo at a place, with its kind."""
        return visits.of_kinds([self.base.ordered[place]], self.kinds[place : place + 1])[0]

    def visit(self, number: int) -> Visit:
        """Give a visit by its number."""
        photos = tuple(self.base.ordered[place] for place in self.photos_of(number))
        return Visit(self.base.placement.placement, number, photos)

    def answer(self, number: int) -> Answer:
        """Give what is held of a visit, by its number."""
        places = self.photos_of(number)
        return self._answer(number, places, self.standing.between(places[0], places[-1]))

    def answers(self) -> list[Answer]:
        """Give what is held of every visit, in order."""
        firsts, lasts = self.places[self.edges[:-1]], self.places[self.edges[1:] - 1]
        starts = np.searchsorted(lasts, self.standing.firsts, side="left").tolist()
        stops = np.searchsorted(firsts, self.standing.lasts, side="right").tolist()
        over: dict[int, list[Run]] = {}
        for run, start, stop in zip(self.standing.runs, starts, stops, strict=True):
            for at in range(start, stop):
                over.setdefault(at + 1, []).append(run)
        return [
            self._answer(number, self.photos_of(number), over[number]) if number in over else NOBODY
            for number in range(1, self.visits + 1)
        ]

    def _answer(self, number: int, places: Sequence[int], runs: Sequence[Run]) -> Answer:
        # Between the same two photos and under the same tags a visit has the same photos.
        key = (places[0], places[-1], *(run.tag.number for run in runs))
        known = self.known.get(key)
        if known is None:
            known = self.known[key] = tags.answer(
                self.visit(number),
                places,
                runs,
                self.base.ordered,
                needed=self.needed,
                species=self.base.species,
                timelapse_every_min=self.base.placement.timelapse_every_min,
            )
        return known


@dataclass(frozen=True, slots=True)
class PlacementView:
    """One placement with its photos, visits, answers and watched time, as they are now."""

    placement: Placement
    logged: bool
    """Whether the camera log has it."""
    photos: tuple[Photo, ...]
    """Every file met on its cards, in the order of the files, with true times and kinds."""
    ordered: tuple[Photo, ...]
    """Photos that count, in the order of time."""
    visits: tuple[AnsweredVisit, ...]
    watched: tuple[Span, ...]
    clock: clocks.Clock | None
    clock_fault: str
    tags: tuple[Tag, ...]
    corrections: tuple[ClockCorrection, ...] = ()
    """Those in force."""

    @property
    def untimed(self) -> tuple[Photo, ...]:
        """Give the photos without a time: listed and shown, in no visit."""
        return tuple(p for p in self.photos if p.is_photo and p.true_time is None)


def base_of(
    name: str,
    logged: Placement | None,
    checks: Sequence[ClockCheck],
    photos: Sequence[Photo],
    zone: ZoneInfo,
    species: Mapping[str, Species],
    trays: Sequence[TrayDeployment],
    corrections: Sequence[ClockCorrection] = (),
) -> PlacementBase:
    """Give the photos of a placement their true times and their order.

    Parameters
    ----------
    logged
        Its line in the camera log; None where there is none (yet).
    checks
        The clock checks of this placement.
    photos
        Every file met on its cards, in the order of the files.
    zone, species, trays
        The study's.
    corrections
        Those of this placement that people accepted, taken back ones too.
    """
    clock, fault = None, ""
    try:
        timed, clock = clockfaults.true_times(photos, logged, checks, zone, corrections)
    except ClockError as words:
        timed, fault = Timed.of(photos), str(words)
    placement = logged or Placement(name)
    known = logged is not None
    base = in_order(timed, placement, known, clock, fault, species=species, trays=trays)
    return replace(base, corrections=tuple(clockfaults.in_force(corrections)))


def in_order(
    timed: Timed,
    placement: Placement,
    logged: bool,
    clock: clocks.Clock | None = None,
    clock_fault: str = "",
    *,
    species: Mapping[str, Species],
    trays: Sequence[TrayDeployment] = (),
) -> PlacementBase:
    """Put the photos of a placement, which have their true times, in order."""
    counts = [photo.is_photo and photo.copy_of is None for photo in timed.photos]
    counted = timed.at(np.flatnonzero(timed.known & np.array(counts, dtype=np.bool_)))
    ordered = counted.at(visits.order_of(counted.photos, counted.seconds))
    ids = [photo.id for photo in ordered.photos]
    return PlacementBase(
        placement=placement,
        logged=logged,
        timed=timed,
        ordered=ordered,
        ids=np.array(ids, dtype=np.int64),
        seconds=ordered.seconds,
        due=visits.due(ordered.photos, placement.timelapse_every_min),
        place={photo: at for at, photo in enumerate(ids)},
        clock=clock,
        clock_fault=clock_fault,
        species=species,
        trays=tuple(trays),
    )


def layout_of(
    base: PlacementBase,
    standing: Standing,
    needed: int,
    gap: timedelta,
    before: Layout | None = None,
) -> Layout:
    """Say which photos make which visit, given the tags that stand over them.

    `needed` is how many taggers have to agree. `before` is the layout of other tags on the same
    base; what was answered there is not answered again.
    """
    kinds = visits.kinds(
        base.seconds, base.due, gap=gap, tagged=standing.over > 0, handler=standing.handler
    )
    places = np.flatnonzero(kinds == visits.TRIGGER)
    numbers = visits.numbers_within(base.seconds[places], gap)
    visit_of = np.zeros(len(base.ordered), dtype=np.int64)
    visit_of[places] = numbers
    edges = np.append(np.flatnonzero(np.diff(numbers, prepend=0)), len(places))
    known = before.known if before and before.base is base else {}
    return Layout(base, standing, kinds, visit_of, places, edges, needed, gap, known)


def view_of(layout: Layout) -> PlacementView:
    """Give a placement with every visit answered and its watched time."""
    base = layout.base
    ordered = visits.of_kinds(base.ordered, layout.kinds)
    triggered = [ordered[place] for place in layout.places.tolist()]
    grouped = visits.visits_of(triggered, layout.visit_of[layout.places])
    by_id = {photo.id: photo for photo in ordered}
    files = enumerate(base.timed.photos)
    return PlacementView(
        placement=base.placement,
        logged=base.logged,
        photos=tuple(by_id.get(photo.id) or base.timed[at] for at, photo in files),
        ordered=tuple(ordered),
        visits=tuple(map(AnsweredVisit, grouped, layout.answers())),
        watched=tuple(coverage.watched(ordered, base.placement, layout.gap)),
        clock=base.clock,
        clock_fault=base.clock_fault,
        tags=tuple(layout.standing.tags()),
        corrections=base.corrections,
    )
