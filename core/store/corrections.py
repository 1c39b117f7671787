"""Decide how accepted clock corrections are held: added, taken back, never changed or removed."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, func, select, true

from core.clockfaults.rows import ClockCorrection
from core.errors import ClockError
from core.store.tables import CLOCK_CORRECTIONS, PHOTOS

_FIELDS = list(CLOCK_CORRECTIONS.c)


def add_corrections(connection: Connection, rows: Sequence[ClockCorrection]) -> list[int]:
    """Add corrections that a person accepted together, in the order given; give their numbers.

    ClockError, and nothing added, where a piece begins or ends at a photo that is not on the
    correction's placement (any more).
    """
    _refuse_missing_photos(connection, rows)
    before = connection.execute(select(func.max(CLOCK_CORRECTIONS.c.number))).scalar() or 0
    for row in rows:
        cells = asdict(row)
        del cells["number"], cells["taken_back"], cells["taken_back_by"]
        connection.execute(CLOCK_CORRECTIONS.insert(), cells)
    newer = CLOCK_CORRECTIONS.c.number > before
    added = select(CLOCK_CORRECTIONS.c.number).where(newer).order_by(CLOCK_CORRECTIONS.c.number)
    return list(connection.scalars(added))


def corrections(connection: Connection, placement: str | None = None) -> list[ClockCorrection]:
    """Fetch the corrections of a placement, or of all, in the order made, taken back ones too."""
    of: ColumnElement[bool] = (
        true() if placement is None else CLOCK_CORRECTIONS.c.placement == placement
    )
    rows = select(*_FIELDS).where(of).order_by(CLOCK_CORRECTIONS.c.number)
    names = [column.key for column in _FIELDS]
    found = (dict(zip(names, cells, strict=True)) for cells in connection.execute(rows))
    return [
        ClockCorrection(**cells | {"taken_back_by": cells["taken_back_by"] or ""})
        for cells in found
    ]


def take_back(connection: Connection, number: int, at: datetime, by: str) -> None:
    """Take a correction back; it is kept and no longer counts. Twice is the same as once.

    ClockError where there is no such correction.
    """
    this = CLOCK_CORRECTIONS.c.number == number
    if connection.execute(select(CLOCK_CORRECTIONS.c.number).where(this)).first() is None:
        raise ClockError(
            f"Clock correction {number} is not in the study. Open the page again and choose one "
            "that is listed."
        )
    standing = CLOCK_CORRECTIONS.c.taken_back.is_(None)
    connection.execute(
        CLOCK_CORRECTIONS.update().where(this, standing).values(taken_back=at, taken_back_by=by)
    )


def _refuse_missing_photos(connection: Connection, rows: Sequence[ClockCorrection]) -> None:
    for row in rows:
        for photo in (row.first_photo, row.last_photo):
            if photo is None:
                continue
            of = select(PHOTOS.c.placement).where(PHOTOS.c.id == photo)
            if connection.execute(of).scalar() != row.placement:
                raise ClockError(
                    f"Photo {photo} is not on placement {row.placement!r}: its card was forgotten "
                    "or moved. Nothing was corrected; open the page again."
                )
