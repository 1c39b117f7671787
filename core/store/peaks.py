"""Decide how the viewer fetches scores: one number a photo of a whole placement, the rest of few.

How photos are scored, and how scores and outlines are held, is decided in motion and scores.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from core.store.dialects import batches
from core.store.tables import PHOTOS, SCORES

Polygons = Sequence[Sequence[Sequence[float]]]

_HERE = SCORES.join(PHOTOS, SCORES.c.photo_id == PHOTOS.c.id)


@dataclass(frozen=True, slots=True)
class Change:
    """How much a photo differs from its placement's quiet scene."""

    infrared: bool
    whole: float
    """Over the whole picture, 0 to 1."""
    outline: Polygons
    """Round what changed, lengths in picture widths."""
    on_tray: float | None = None
    """The same inside the outlines of the trays; None where no outline was known."""
    off_tray: float | None = None


def mark(connection: Connection, placement: str) -> tuple[float, ...]:
    """Give numbers that change whenever photos of a placement are scored, or scored anew.

    No counter of changes is raised by scores, since nothing that people said hangs on them.
    """
    sums = func.count(), func.sum(SCORES.c.whole), func.sum(SCORES.c.method)
    asked = select(*sums).select_from(_HERE).where(PHOTOS.c.placement == placement)
    return tuple(float(one or 0) for one in connection.execute(asked).one())


def wholes(connection: Connection, placement: str) -> dict[int, float]:
    """Fetch how much each scored photo of a placement differs, by its id."""
    asked = select(SCORES.c.photo_id, SCORES.c.whole).select_from(_HERE)
    return dict(connection.execute(asked.where(PHOTOS.c.placement == placement)).all())


def infrared(connection: Connection, placement: str) -> dict[int, bool]:
    """Fetch of each scored photo of a placement whether it is an infrared one, by its id."""
    asked = select(SCORES.c.photo_id, SCORES.c.infrared).select_from(_HERE)
    return dict(connection.execute(asked.where(PHOTOS.c.placement == placement)).all())


def changes(connection: Connection, photos: Sequence[int]) -> dict[int, Change]:
    """Fetch all of the scores of some photos, by their ids; those not scored are left out."""
    names = "photo_id", "infrared", "whole", "outline", "on_tray", "off_tray"
    columns = [SCORES.c[name] for name in names]
    found: dict[int, Change] = {}
    for some in batches(photos):
        asked = select(*columns).where(SCORES.c.photo_id.in_(some))
        for photo, infrared, whole, outline, *parts in connection.execute(asked):
            found[photo] = Change(infrared, whole, json.loads(outline or "[]"), *parts)
    return found
