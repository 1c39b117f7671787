"""Decide how long what was worked out of a placement holds: the store's counters of changes tell.

Photos and clocks hold until a log or a card changes; tags made since are added to those known.
"""

import contextlib
import gc
from collections.abc import Iterator, Mapping
from datetime import timedelta

from sqlalchemy import Connection

from core import standing, views
from core.model import Species
from core.settings import Settings
from core.standing import Standing
from core.store import Database, base_version, data_version
from core.store import cards as card_store
from core.store import logs as log_store
from core.store import tags as tag_store
from core.views import Layout, PlacementBase, PlacementView


class Kept:
    """What was worked out of each placement, and of which state of the study it is."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self._database = database
        self._settings = settings
        self._species: tuple[int, Mapping[str, Species]] | None = None
        self._bases: dict[str, tuple[int, PlacementBase]] = {}
        self._standings: dict[str, tuple[PlacementBase, tag_store.Seen, Standing]] = {}
        self._layouts: dict[tuple[str, timedelta], tuple[int, Layout]] = {}
        self._views: dict[tuple[str, timedelta], tuple[Layout, PlacementView]] = {}

    def species(self, connection: Connection) -> Mapping[str, Species]:
        """Give the study's species by key, in the list's order."""
        version = base_version(connection)
        if self._species is None or self._species[0] != version:
            listed = {one.key: one for one in log_store.species(connection)}
            self._species = (version, listed)
        return self._species[1]

    def base(self, connection: Connection, placement: str) -> PlacementBase:
        """Give what no tag changes of a placement: its photos, their times and order."""
        version = base_version(connection)
        cached = self._bases.get(placement)
        if cached and cached[0] == version:
            return cached[1]
        logged = {one.placement: one for one in log_store.placements(connection)}
        checked = [c for c in log_store.clock_checks(connection) if c.placement == placement]
        with _looking_for_no_garbage():
            base = views.base_of(
                placement,
                logged.get(placement),
                checked,
                card_store.photos(connection, placement),
                self._settings.timezone,
                self.species(connection),
                log_store.tray_deployments(connection),
            )
        if base.known:
            self._bases[placement] = (version, base)
        return base

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

    def view(self, placement: str, gap: timedelta) -> PlacementView:
        """Give a placement with every visit answered."""
        layout, _ = self.layout(placement, gap)
        cached = self._views.get((placement, gap))
        if cached and cached[0] is layout:
            return cached[1]
        with _looking_for_no_garbage():
            view = views.view_of(layout)
        self._views[placement, gap] = (layout, view)
        return view

    def _standing(self, connection: Connection, base: PlacementBase) -> Standing:
        """Give the tags that stand, from those known before and what was said since."""
        placement = base.placement.placement
        known, seen, old = self._standings.get(placement) or (None, None, None)
        if known is not base or seen is None or old is None:
            seen, old = tag_store.NOTHING_SEEN, standing.nothing(len(base.ordered))
        news, seen = tag_store.news(connection, placement, seen)
        now = standing.renewed(old, news, base.place, self._settings.taggers_needed)
        self._standings[placement] = (base, seen, now)
        return now


@contextlib.contextmanager
def _looking_for_no_garbage() -> Iterator[None]:
    """Build rows that all stay: to look through them for garbage takes a third of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
