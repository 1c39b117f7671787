"""Decide how it is held what people said of suspected stretches: added, taken back, never changed.

What a ruling means for a tray is decided in `coverage`.
"""

from datetime import datetime

from sqlalchemy import ColumnElement, Connection, func, select, true

from core.coverage.rows import StretchRuling
from core.errors import StudyError
from core.model import Span
from core.store.tables import PHOTOS, SCORES, STRETCH_RULINGS


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
        table.by, table.made_at, table.taken_back, table.taken_back_by, table.number,
    )  # fmt: skip
    found = connection.execute(select(*columns).where(of).order_by(table.number))
    return [
        StretchRuling(name, why, Span(start, end), accepted, because, by, made, back, who or "", no)
        for name, why, start, end, accepted, because, by, made, back, who, no in found
    ]


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
    here = SCORES.join(PHOTOS, SCORES.c.photo_id == PHOTOS.c.id)
    asked = (
        select(SCORES.c.photo_id, SCORES.c.grey, SCORES.c.contrast)
        .select_from(here)
        .where(PHOTOS.c.placement == placement, SCORES.c.grey.is_not(None))
    )
    return {photo: (grey, contrast) for photo, grey, contrast in connection.execute(asked)}


def mark_of_measures(connection: Connection) -> tuple[float, ...]:
    """Give numbers that change whenever photos are measured; no counter of changes is raised."""
    asked = select(func.count(SCORES.c.grey), func.sum(SCORES.c.grey), func.sum(SCORES.c.contrast))
    return tuple(float(one or 0) for one in connection.execute(asked).one())


def files_on_cards(connection: Connection, placement: str) -> dict[int, tuple[int, int]]:
    """Fetch of each photo of a placement its card and its size [bytes], by id."""
    asked = select(PHOTOS.c.id, PHOTOS.c.card_id, PHOTOS.c.size)
    found = connection.execute(asked.where(PHOTOS.c.placement == placement))
    return {photo: (card, size) for photo, card, size in found}
