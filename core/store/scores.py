"""Decide how scores are held: one a photo, with how it was worked out, so that it can be bettered.

What a score means is decided in `motion`; no counter of changes is raised by scores.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select

from core.store.dialects import batches
from core.store.tables import PHOTOS, SCORES

STALE = 0
"""Number of no method: a score that holds until it is worked out anew."""


@dataclass(frozen=True, slots=True)
class Score:
    """How much one photo differs from its quiet scene, and how that was worked out."""

    photo: int
    method: int
    basis: str
    """The picture that was looked at: `copy`, or `thumbnail` from the photo's own header."""
    infrared: bool
    whole: float
    on_tray: float | None
    off_tray: float | None
    outline: Sequence[Sequence[Sequence[float]]]
    grey: float | None = None
    """Mean grey, 0 black to 1 white; nothing is scored by it, it tells a lens that is blocked."""
    contrast: float | None = None


def put_scores(connection: Connection, scores: Sequence[Score]) -> None:
    """Hold scores, in place of those that their photos had."""
    for some in batches([one.photo for one in scores]):
        connection.execute(SCORES.delete().where(SCORES.c.photo_id.in_(some)))
    rows = [
        {
            "photo_id": one.photo,
            "method": one.method,
            "basis": one.basis,
            "infrared": one.infrared,
            "whole": one.whole,
            "on_tray": one.on_tray,
            "off_tray": one.off_tray,
            "outline": json.dumps(one.outline),
            "grey": one.grey,
            "contrast": one.contrast,
        }
        for one in scores
    ]
    if rows:
        connection.execute(SCORES.insert(), rows)


def scored(connection: Connection, placement: str) -> dict[int, tuple[int, str, bool]]:
    """Fetch method, basis and whether it is infrared of each scored photo of a placement."""
    columns = [SCORES.c[name] for name in ("photo_id", "method", "basis", "infrared")]
    asked = select(*columns).join_from(SCORES, PHOTOS).where(PHOTOS.c.placement == placement)
    return {photo: (method, basis, red) for photo, method, basis, red in connection.execute(asked)}


def make_stale(connection: Connection, placement: str) -> None:
    """Have the scores of a placement worked out anew; until then they hold."""
    here = select(PHOTOS.c.id).where(PHOTOS.c.placement == placement)
    connection.execute(SCORES.update().where(SCORES.c.photo_id.in_(here)).values(method=STALE))
