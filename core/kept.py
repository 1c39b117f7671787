"""Decide how long what was worked out of a placement holds: the store's counters of changes tell.

Photos and clocks hold until a log or a card changes; tags made since are added to those known.
"""

import contextlib
import gc
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection

from core import standing, views
from core.clockfaults import ClockCorrection
from core.model import ClockCheck, Photo, Placement, Species, TrayDeployment
from core.settings import Settings
from core.standing import Standing
from core.store import Database, base_version, data_version
from core.store import cards as card_store
from core.store import corrections as correction_store
from core.store import logs as log_store
from core.store import peaks as peak_store
from core.store import tags as tag_store
from core.views import Layout, PlacementBase, PlacementView


@dataclass(frozen=True, slots=True)
class Logs:
    """The logs that photos are held to, as they are now."""

    placements: Mapping[str, Placement]
    """By name, in the camera log's order."""
    checks: tuple[ClockCheck, ...]
    trays: tuple[TrayDeployment, ...]

    def checks_of(self, placement: str) -> list[ClockCheck]:
        """Give the clock checks of a placement, in the log's order."""
        return [one for one in self.checks if one.placement == placement]


class Kept:
    """What was worked out of each placement, and of which state of the study it is."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self._database = database
        self._settings = settings
        self._species: tuple[int, Mapping[str, Species]] | None = None
        self._logs: tuple[int, Logs] | None = None
        self._infrared: dict[str, tuple[tuple[float, ...], Mapping[int, bool]]] = {}
        self._taggers: tuple[int, frozenset[str]] = (0, frozenset())
        self._locks = tuple(threading.Lock() for _ in range(16))
        self._bases: dict[str, tuple[int, PlacementBase]] = {}
        self._standings: dict[str, tuple[PlacementBase, tag_store.Seen, Standing]] = {}
        self._layouts: dict[tuple[str, timedelta], tuple[int, Layout]] = {}
        self._wholes: dict[str, tuple[PlacementBase, tuple[float, ...], NDArray[np.float64]]] = {}
        self._views: dict[tuple[str, timedelta], tuple[Layout, PlacementView]] = {}

    def species(self, connection: Connection) -> Mapping[str, Species]:
        """Give the study's species by key, in the list's order."""
        version = base_version(connection)
        if self._species is None or self._species[0] != version:
            listed = {one.key: one for one in log_store.species(connection)}
            self._species = (version, listed)
        return self._species[1]

    def logs(self, connection: Connection) -> Logs:
        """Give the camera, clock and tray logs."""
        version = base_version(connection)
        if self._logs is None or self._logs[0] != version:
            logs = Logs(
                {one.placement: one for one in log_store.placements(connection)},
                tuple(log_store.clock_checks(connection)),
                tuple(log_store.tray_deployments(connection)),
            )
            self._logs = (version, logs)
        return self._logs[1]

    def tagger(self, connection: Connection, name: str) -> str:
        """Give a tagger's name as the study spells it already, else as it stands.

        Blanks inside and at the ends are made single; nomsa and Nomsa are one tagger.
        """
        bare, version = " ".join(name.split()), base_version(connection)
        if self._taggers[0] != version or bare not in self._taggers[1]:
            # A tagger may be new since; one that is known stays so until a card is forgotten.
            self._taggers = (version, frozenset(tag_store.names_of_taggers(connection)))
        known = self._taggers[1]
        if bare in known:
            return bare
        return min((one for one in known if one.casefold() == bare.casefold()), default=bare)

    def base(self, connection: Connection, placement: str) -> PlacementBase:
        """Give what no tag changes of a placement: its photos, their times and order.

        Not to be asked with a connection that writes: what is undone would be held true.
        """
        version = base_version(connection)
        cached = self._bases.get(placement)
        if cached and cached[0] == version:
            return cached[1]
        # A page asks for several things at once: one of its requests does the work for all.
        with self._locks[hash(placement) % len(self._locks)]:
            cached = self._bases.get(placement)
            if cached and cached[0] == version:
                return cached[1]
            base = self._read_base(connection, placement)
            if base.known and (cached is None or cached[0] < version):
                self._bases[placement] = (version, base)
            return base

    def supposed(
        self,
        connection: Connection,
        base: PlacementBase,
        corrections: Sequence[ClockCorrection],
        gap: timedelta,
    ) -> PlacementView:
        """Give a placement as it would be with these corrections of its clock; nothing is kept."""
        placement, needed = base.placement.placement, self._settings.taggers_needed
        with looking_for_no_garbage():
            other = self._base_of(connection, placement, base.timed.photos, corrections)
            news, _ = tag_store.news(connection, placement, tag_store.NOTHING_SEEN)
            stands = standing.nothing(len(other.ordered))
            stands = standing.renewed(stands, news, other.place, needed)
            return views.view_of(views.layout_of(other, stands, needed, gap))

    def _read_base(self, connection: Connection, placement: str) -> PlacementBase:
        with looking_for_no_garbage():
            photos = card_store.photos(connection, placement)
            corrections = correction_store.corrections(connection, placement)
            return self._base_of(connection, placement, photos, corrections)

    def _base_of(
        self,
        connection: Connection,
        placement: str,
        photos: Sequence[Photo],
        corrections: Sequence[ClockCorrection],
    ) -> PlacementBase:
        logs = self.logs(connection)
        return views.base_of(
            placement,
            logs.placements.get(placement),
            logs.checks_of(placement),
            photos,
            self._settings.timezone,
            self.species(connection),
            logs.trays,
            corrections,
        )

    def infrared(self, connection: Connection, placement: str) -> Mapping[int, bool]:
        """Say of each photo that was looked at whether it is an infrared one, by its id."""
        mark = peak_store.mark(connection, placement)
        known = self._infrared.get(placement)
        if known is None or known[0] != mark:
            known = (mark, peak_store.infrared(connection, placement))
            self._infrared[placement] = known
        return known[1]

    def layout(self, placement: str, gap: timedelta) -> tuple[Layout, int]:
        """Give a placement's visits without their answers, and the `data_version` they are of."""
        with self._database.read() as connection:
            version = data_version(connection)
            cached = self._layouts.get((placement, gap))
            if cached and cached[0] == version:
                return cached[1], version
            base = self.base(connection, placement)
            stands = self._standing(connection, base)
        needed = self._settings.taggers_needed
        layout = views.layout_of(base, stands, needed, gap, cached[1] if cached else None)
        if base.known:
            self._layouts[placement, gap] = (version, layout)
        return layout, version

    def wholes(self, base: PlacementBase) -> NDArray[np.float64]:
        """Give how much each photo in order differs from its quiet scene; NaN: not scored."""
        placement = base.placement.placement
        with self._database.read() as connection:
            mark = peak_store.mark(connection, placement)
            cached = self._wholes.get(placement)
            if cached and cached[0] is base and cached[1] == mark:
                return cached[2]
            with looking_for_no_garbage():
                found = peak_store.wholes(connection, placement)
        scores = (found.get(photo, np.nan) for photo in base.ids.tolist())
        wholes = np.fromiter(scores, np.float64, count=len(base.ids))
        self._wholes[placement] = (base, mark, wholes)
        return wholes

    def view(self, placement: str, gap: timedelta) -> PlacementView:
        """Give a placement with every visit answered."""
        layout, _ = self.layout(placement, gap)
        cached = self._views.get((placement, gap))
        if cached and cached[0] is layout:
            return cached[1]
        with looking_for_no_garbage():
            view = views.view_of(layout)
        if layout.base.known:
            self._views[placement, gap] = (layout, view)
        return view

    def _standing(self, connection: Connection, base: PlacementBase) -> Standing:
        """Give the tags that stand, from those known before and what was said since."""
        placement = base.placement.placement
        known, seen, old = self._standings.get(placement) or (None, None, None)
        if known is not base or seen is None or old is None:
            seen, old = tag_store.NOTHING_SEEN, standing.nothing(len(base.ordered))
        with looking_for_no_garbage():
            news, seen = tag_store.news(connection, placement, seen)
            now = standing.renewed(old, news, base.place, self._settings.taggers_needed)
        if base.known:
            self._standings[placement] = (base, seen, now)
        return now


@contextlib.contextmanager
def looking_for_no_garbage() -> Iterator[None]:
    """Build rows that all stay: to look through them for garbage takes a third of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
