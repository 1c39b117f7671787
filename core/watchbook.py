"""Decide what is asked of a study's watched time, and how a person's word on it is kept.

What is suspected and what it means for a tray is decided in `coverage`.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from core import coverage
from core.coverage import Rhythm, Stretch, StretchRuling, Suspicion, WindowAccount
from core.errors import StudyError
from core.model import Finding, Outcome, Photo, Placement, Where
from core.people import named
from core.settings import Settings
from core.store import Database, base_version
from core.store import rulings as store
from core.views import PlacementView
from core.windows import Record, window_of


@dataclass(frozen=True, slots=True)
class _Known:
    """What was worked out of one view, and of which rulings and measures it is."""

    view: PlacementView
    mark: tuple[object, ...]
    suspicions: tuple[Suspicion, ...]
    stretches: tuple[Stretch, ...]
    rhythm: Rhythm | None


class Watchbook:
    """When the cameras of a study watched, what is suspected, and what people said of that."""

    def __init__(
        self,
        database: Database,
        settings: Settings,
        placements: Callable[[], list[Placement]],
        view: Callable[[str], PlacementView],
        clock_in_doubt: Callable[[str], bool],
    ) -> None:
        self._database = database
        self._gap = settings.gap
        self._placements = placements
        self._view = view
        self._clock_in_doubt = clock_in_doubt
        self._known: dict[str, _Known] = {}

    # --- what is suspected -----------------------------------------------------------------

    def mark(self, placement: str | None = None) -> tuple[object, ...]:
        """Give what changes whenever something else could be suspected, or is ruled."""
        with self._database.read() as connection:
            return base_version(connection), store.mark_of_measures(connection, placement)

    def suspicions(self, view: PlacementView) -> tuple[Suspicion, ...]:
        """Give what may have kept a placement's camera from watching, ruled on or not."""
        return self._of(view).suspicions

    def open(self, view: PlacementView) -> list[Suspicion]:
        """Give the suspicions that take watched time into doubt, and on which nobody has ruled."""
        doubted = coverage.doubted(self.stretches(view))
        standing = [one for one in self.history(view.placement.placement) if not one.taken_back]
        ruled = coverage.held(standing, self.suspicions(view))
        return [
            one
            for one in self.suspicions(view)
            for left in [coverage.without(one.span, [r.span for r in ruled if r.why is one.why])]
            if any(coverage.overlap(part, span) for part in left for span in doubted)
        ]

    def stretches(self, view: PlacementView) -> tuple[Stretch, ...]:
        """Account for all of a placement's time, each stretch ending where the next begins."""
        return self._of(view).stretches

    def rhythm(self, view: PlacementView) -> Rhythm | None:
        """Give the rhythm of time-lapse photos that the camera log does not mention."""
        return self._of(view).rhythm

    def _of(self, view: PlacementView) -> _Known:
        name = view.placement.placement
        mark = self.mark(name)
        known = self._known.get(name)
        if known is None or known.view is not view or known.mark != mark:
            known = self._known[name] = self._work_out(view, mark)
        return known

    def _work_out(self, view: PlacementView, mark: tuple[object, ...]) -> _Known:
        name = view.placement.placement
        with self._database.read() as connection:
            measured = store.measures(connection, name)
            files = store.files_on_cards(connection, name)
            ruled = store.rulings(connection, name)
        unknown = (np.nan, np.nan)
        numbers = np.array(
            [measured.get(photo.id, unknown) for photo in view.ordered], dtype=np.float64
        ).reshape(-1, 2)
        grey, contrast = numbers[:, 0], numbers[:, 1]
        found = coverage.lens_blocked(view.ordered, view.placement, grey, contrast)
        found += _full_cards(view, files)
        rhythm = coverage.rhythm_of(view.ordered, view.placement, self._gap)
        dead = coverage.battery_dead(view.ordered, view.placement, rhythm)
        found += [dead] if dead is not None else []
        stretches = coverage.stretches_of(
            view.ordered, view.placement, self._gap, suspicions=found, rulings=ruled
        )
        return _Known(view, mark, tuple(found), tuple(stretches), rhythm)

    # --- what it means for trays -----------------------------------------------------------

    def record(self, view: PlacementView, *, clock_doubted: bool = False) -> Record:
        """Give a placement as outcomes ask for it: its visits, watched and doubted time."""
        stretches = self.stretches(view)
        watched = coverage.without_accepted(view.watched, stretches)
        doubted = coverage.doubted(stretches)
        return Record(view.placement, view.visits, tuple(watched), tuple(doubted), clock_doubted)

    def account(self, outcome: Outcome) -> WindowAccount | None:
        """Account for every moment of a tray's window; None where a time of it is missing."""
        window = window_of(outcome.deployment)
        if window is None:
            return None
        on_tray = (
            sighting.last
            for visit in outcome.seen
            for sighting in visit.sightings
            if sighting.where is not Where.NEAR
        )
        last = max(on_tray, default=None)
        there = [self._trusted(view) for view in self._views_of(outcome.deployment.tray)]
        return coverage.account_of(window, there, last)

    def _trusted(self, view: PlacementView) -> Sequence[Stretch]:
        """Give the stretches of a placement, untrusted where its clock is in doubt."""
        stretches = self.stretches(view)
        if self._clock_in_doubt(view.placement.placement):
            return coverage.with_clock_in_doubt(stretches, "see the Clocks page")
        return stretches

    def at_tray(self, outcome: Outcome) -> list[Suspicion]:
        """Give what is suspected of the cameras of a tray inside its window, ruled on or not."""
        window = window_of(outcome.deployment)
        if window is None:
            return []
        return [
            one
            for view in self._views_of(outcome.deployment.tray)
            for one in self.suspicions(view)
            if coverage.overlap(one.span, window)
        ]

    def ruled(self, suspicion: Suspicion) -> StretchRuling | None:
        """Give the ruling on a suspicion that holds; None where nobody has looked yet."""
        standing = [one for one in self.history(suspicion.placement) if not one.taken_back]
        found = [
            one
            for one in coverage.held(standing, [suspicion])
            if one.why is suspicion.why and not coverage.without(suspicion.span, [one.span])
        ]
        return found[-1] if found else None

    def rhythms_at_tray(self, outcome: Outcome) -> list[Rhythm]:
        """Give the rhythms of time-lapse photos that the log of a tray's cameras does not have."""
        return [
            rhythm
            for view in self._views_of(outcome.deployment.tray)
            if (rhythm := self.rhythm(view)) is not None
        ]

    def _views_of(self, tray: str) -> list[PlacementView]:
        """Give the placements that the camera log has for a tray."""
        names = [one.placement for one in self._placements() if tray in one.trays]
        return [view for view in map(self._view, names) if view.logged]

    # --- what people said ------------------------------------------------------------------

    def rule(self, suspicion: Suspicion, by: str, *, accepted: bool, because: str = "") -> int:
        """Keep that a person looked, and what they saw; gives the ruling's number."""
        who = named(by, StudyError, "looked at the photos")
        ruling = StretchRuling(
            suspicion.placement,
            suspicion.why,
            suspicion.span,
            accepted,
            because.strip(),
            who,
            datetime.now(UTC),
            look_at=suspicion.look_at,
        )
        with self._database.begin() as connection:
            return store.add_ruling(connection, ruling)

    def take_back(self, number: int, by: str) -> None:
        """Take a ruling back; it is kept and no longer counts."""
        who = named(by, StudyError, "looked at the photos")
        with self._database.begin() as connection:
            store.take_back(connection, number, datetime.now(UTC), who)

    def history(self, placement: str | None = None) -> list[StretchRuling]:
        """List the rulings of a placement, or of all, as made; taken back ones too."""
        with self._database.read() as connection:
            return store.rulings(connection, placement)

    def findings(self, view: PlacementView) -> list[Finding]:
        """Word what somebody should look at, and what the camera log may lack.

        What is suspected of time that is unwatched anyway is good to know, and no more.
        """
        thing = f"placement {view.placement.placement}"
        names = {photo.id: photo.file for photo in view.ordered}
        asked = self.open(view)
        found = [_worded(thing, one, names) for one in asked]
        found += [
            Finding(thing, f"{one.why}, perhaps: {'; '.join(one.evidence)}.", serious=False)
            for one in self.suspicions(view)
            if one not in asked and self.ruled(one) is None
        ]
        rhythm = self.rhythm(view)
        return [*found, *([Finding(thing, rhythm.sentence, False)] if rhythm else [])]


def _worded(thing: str, one: Suspicion, names: Mapping[int, str]) -> Finding:
    look = " and ".join(names[photo] for photo in one.look_at if photo in names)
    signs = "; ".join(one.evidence)
    return Finding(
        thing,
        f"{one.why}, perhaps: {signs}. Its trays are at best a caution until somebody has looked "
        f"at {look} and said so on the Trays page.",
    )


def _full_cards(view: PlacementView, files: Mapping[int, tuple[int, int]]) -> list[Suspicion]:
    """Look at each card of a placement by itself, up to when the next one was put in."""
    cards: dict[int, list[Photo]] = {}
    for photo in view.photos:
        if photo.id in files:
            cards.setdefault(files[photo.id][0], []).append(photo)
    firsts = {card: _first(own) for card, own in cards.items()}
    sizes = {photo: size for photo, (_, size) in files.items()}
    found = []
    for card, own in cards.items():
        first = firsts[card]
        later = [other for other in firsts.values() if first and other and other > first]
        one = coverage.card_full(
            own, view.placement, taken_out=min(later, default=None), sizes=sizes
        )
        found += [one] if one is not None else []
    return found


def _first(photos: Sequence[Photo]) -> datetime | None:
    return min((p.true_time for p in photos if p.true_time and p.is_photo), default=None)
