"""Decide how it is held what people said of suspected stretches: added, taken back, never changed.

What a ruling means for a tray is decided in `coverage`.
"""

import json
from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, bindparam, exists, func, or_, select, true

from core.coverage.rows import StretchRuling
from core.errors import StudyError
from core.model import Span
from core.store.tables import MEASURE_MARKS, PHOTOS, SCORES, STRETCH_RULINGS

_HERE = SCORES.join(PHOTOS, SCORES.c.photo_id == PHOTOS.c.id)


def add_ruling(connection: Connection, ruling: StretchRuling) -> int:
    """Add a ruling and give its number."""
    connection.execute(
        STRETCH_RULINGS.insert(),
        {
            "placement": ruling.placement,
            "why": ruling.why,
            "start": ruling.span.start,
            "end": ruling.span.end,
            "accepted": ruling.accepted,
            "because": ruling.because,
            "by": ruling.by,
            "made_at": ruling.made_at,
            "look_at": json.dumps(ruling.look_at),
        },
    )
    number = connection.execute(select(func.max(STRETCH_RULINGS.c.number))).scalar_one()
    return int(number)


def rulings(connection: Connection, placement: str | None = None) -> list[StretchRuling]:
    """Fetch the rulings of a placement, or of all, in the order made, taken back ones too."""
    table = STRETCH_RULINGS.c
    of: ColumnElement[bool] = true() if placement is None else table.placement == placement
    columns = (
        table.placement, table.why, table.start, table.end, table.accepted, table.because,
        table.by, table.made_at, table.taken_back, table.taken_back_by, table.number, table.look_at,
    )  # fmt: skip
    found = connection.execute(select(*columns).where(of).order_by(table.number))
    return [
        StretchRuling(
            name, why, Span(start, end), accepted, because, by, made, back, who or "", no,
            tuple(json.loads(looked_at or "[]")),
        )
        for name, why, start, end, accepted, because, by, made, back, who, no, looked_at in found
    ]  # fmt: skip


def take_back(connection: Connection, number: int, at: datetime, by: str) -> None:
    """Take a ruling back; it is kept and no longer counts. Twice is the same as once."""
    this = STRETCH_RULINGS.c.number == number
    if connection.execute(select(STRETCH_RULINGS.c.number).where(this)).first() is None:
        raise StudyError(
            f"Ruling {number} is not in the study. Open the page again and choose one that is "
            "listed."
        )
    standing = STRETCH_RULINGS.c.taken_back.is_(None)
    connection.execute(
        STRETCH_RULINGS.update().where(this, standing).values(taken_back=at, taken_back_by=by)
    )


def measures(connection: Connection, placement: str) -> dict[int, tuple[float, float]]:
    """Fetch mean grey and contrast, 0 to 1, of each photo of a placement that has them, by id."""
    asked = (
        select(SCORES.c.photo_id, SCORES.c.grey, SCORES.c.contrast)
        .select_from(_HERE)
        .where(PHOTOS.c.placement == placement, SCORES.c.grey.is_not(None))
    )
    return {photo: (grey, contrast) for photo, grey, contrast in connection.execute(asked)}


def unmeasured(connection: Connection, placement: str) -> set[int]:
    """Fetch the ids of photos of a placement that were scored before they were measured too."""
    asked = select(SCORES.c.photo_id).select_from(_HERE)
    here = PHOTOS.c.placement == placement
    return set(connection.execute(asked.where(here, SCORES.c.grey.is_(None))).scalars())


def put_measures(connection: Connection, found: Mapping[int, tuple[float, float]]) -> None:
    """Hold mean grey and contrast of photos beside the scores that they have."""
    rows = [{"photo": photo, "g": grey, "c": plain} for photo, (grey, plain) in found.items()]
    changed = SCORES.update().where(SCORES.c.photo_id == bindparam("photo"))
    if rows:
        connection.execute(changed.values(grey=bindparam("g"), contrast=bindparam("c")), rows)


def has_dark(connection: Connection, placement: str, grey: float, contrast: float) -> bool:
    """Say whether a photo of a placement was measured up to this grey, or up to this contrast."""
    low = or_(SCORES.c.grey <= grey, SCORES.c.contrast <= contrast)
    asked = exists().select_from(_HERE).where(PHOTOS.c.placement == placement, low)
    return bool(connection.execute(select(asked)).scalar_one())


def raise_mark(connection: Connection, placement: str) -> None:
    """Raise the number of a placement, since photos were measured of which some show nothing."""
    mark = MEASURE_MARKS.c
    raised = MEASURE_MARKS.update().where(mark.placement == placement)
    if not connection.execute(raised.values(number=mark.number + 1)).rowcount:
        connection.execute(MEASURE_MARKS.insert(), {"placement": placement, "number": 1})


def mark_of_measures(connection: Connection, placement: str | None = None) -> int:
    """Give a number that rises as such photos are measured at a placement, or at any."""
    mark = MEASURE_MARKS.c
    of: ColumnElement[bool] = true() if placement is None else mark.placement == placement
    return int(connection.execute(select(func.sum(mark.number)).where(of)).scalar() or 0)


def files_on_cards(connection: Connection, placement: str) -> dict[int, tuple[int, int]]:
    """Fetch of each photo of a placement its card and its size [bytes], by id."""
    asked = select(PHOTOS.c.id, PHOTOS.c.card_id, PHOTOS.c.size)
    found = connection.execute(asked.where(PHOTOS.c.placement == placement))
    return {photo: (card, size) for photo, card, size in found}
