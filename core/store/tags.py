"""Decide how tags are held: added, never changed; taking one back is a row of its own.

What several tags together mean is decided in `core.tags`.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, func, select, true

from core.errors import TagError
from core.model import Tag
from core.store.dialects import batches
from core.store.tables import FORGOTTEN_TAGS, PHOTOS, TAG_EVENTS, TAGS

_FIELDS = [column for column in TAGS.c if column.key != "action"]


def add_tags(
    connection: Connection, tags: Sequence[Tag], actions: Sequence[str | None]
) -> list[int]:
    """Add tags and give each its number, in the order given.

    `actions` stands beside `tags`: the name of the click that made it, or None. A click that is
    known adds nothing and gives the number that it got first. `number` and `taken_back` of the
    tags given are not looked at. TagError, and nothing added, where a photo is not on the tag's
    placement (any more).
    """
    known = _numbers_of_actions(connection, [action for action in actions if action is not None])
    fresh: list[dict[str, Any]] = []
    waiting: dict[str | int, int] = {}  # action, or place in `tags`, -> place in `fresh`
    for place, (tag, action) in enumerate(zip(tags, actions, strict=True)):
        if action is None or (action not in known and action not in waiting):
            waiting[place if action is None else action] = len(fresh)
            fresh.append(_cells(tag) | {"action": action})
    _refuse_missing_photos(connection, fresh)
    numbers = _insert(connection, fresh)
    return [
        known[action]
        if action is not None and action in known
        else numbers[waiting[place if action is None else action]]
        for place, action in enumerate(actions)
    ]


def tags(connection: Connection, placement: str | None = None) -> list[Tag]:
    """Fetch the tags of a placement, or of all, in the order made, those taken back too."""
    found = connection.execute(select(*_FIELDS).where(_of(placement)).order_by(TAGS.c.number))
    events = (
        select(TAG_EVENTS.c.number, TAG_EVENTS.c.taken_back)
        .join_from(TAG_EVENTS, TAGS)
        .where(_of(placement))
        .order_by(TAG_EVENTS.c.id)
    )
    taken_back = dict(connection.execute(events).all())
    names = [column.key for column in _FIELDS]
    return [
        Tag(**dict(zip(names, cells, strict=True)), taken_back=taken_back.get(cells[0], False))
        for cells in found
    ]


def tag_count(connection: Connection, placement: str | None = None) -> int:
    """Count the tags of a placement, or of all, that are not taken back."""
    newest = select(func.max(TAG_EVENTS.c.id)).group_by(TAG_EVENTS.c.number)
    taken_back = select(TAG_EVENTS.c.number).where(
        TAG_EVENTS.c.id.in_(newest), TAG_EVENTS.c.taken_back
    )
    standing = TAGS.c.number.not_in(taken_back)
    counted = select(func.count()).select_from(TAGS).where(_of(placement), standing)
    return connection.execute(counted).scalar_one()


def take_back(connection: Connection, number: int, at: datetime, by: str) -> None:
    """Take a tag back; it is kept. TagError where there is no such tag."""
    _add_event(connection, number, at, by, taken_back=True)


def restore(connection: Connection, number: int, at: datetime, by: str) -> None:
    """Let a tag hold again that was taken back. TagError where there is no such tag."""
    _add_event(connection, number, at, by, taken_back=False)


def forget_tags(connection: Connection, numbers: Sequence[int], at: datetime) -> None:
    """Move tags with their events, as JSON, to the forgotten ones; for a card that is forgotten."""
    for some in batches(numbers):
        events: dict[int, list[dict[str, Any]]] = {}
        found = connection.execute(select(TAG_EVENTS).where(TAG_EVENTS.c.number.in_(some)))
        for event in found.mappings():
            events.setdefault(event["number"], []).append(dict(event))
        rows = connection.execute(select(TAGS).where(TAGS.c.number.in_(some))).mappings().all()
        kept = [dict(row) | {"events": events.get(row["number"], [])} for row in rows]
        connection.execute(
            FORGOTTEN_TAGS.insert(),
            [{"number": row["number"], "tag": _json(row), "forgotten_at": at} for row in kept],
        )
        connection.execute(TAG_EVENTS.delete().where(TAG_EVENTS.c.number.in_(some)))
        connection.execute(TAGS.delete().where(TAGS.c.number.in_(some)))


def _of(placement: str | None) -> ColumnElement[bool]:
    return true() if placement is None else TAGS.c.placement == placement


def _cells(tag: Tag) -> dict[str, Any]:
    cells = asdict(tag)
    del cells["number"], cells["taken_back"]
    return cells


def _json(row: dict[str, Any]) -> str:
    return json.dumps(row, ensure_ascii=False, default=datetime.isoformat)


def _numbers_of_actions(connection: Connection, actions: Sequence[str]) -> dict[str, int]:
    numbers: dict[str, int] = {}
    for some in batches(actions):
        known = select(TAGS.c.action, TAGS.c.number).where(TAGS.c.action.in_(some))
        numbers.update(dict(connection.execute(known).all()))
    return numbers


def _refuse_missing_photos(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    ends = ("first_photo", "last_photo")
    asked = {(row[end], row["placement"]): None for row in rows for end in ends}
    holds: dict[int, str] = {}
    for some in batches([photo for photo, _ in asked]):
        found = select(PHOTOS.c.id, PHOTOS.c.placement).where(PHOTOS.c.id.in_(some))
        holds.update(dict(connection.execute(found).all()))
    for photo, placement in asked:
        if holds.get(photo) != placement:
            raise TagError(
                f"Photo {photo} is not on placement {placement!r}: its card was forgotten or "
                "moved. Nothing was tagged; open the placement again and tag what is there."
            )


def _insert(connection: Connection, rows: Sequence[dict[str, Any]]) -> list[int]:
    if not rows:
        return []
    before = connection.execute(select(func.max(TAGS.c.number))).scalar() or 0
    connection.execute(TAGS.insert(), rows)
    added = select(TAGS.c.number).where(TAGS.c.number > before).order_by(TAGS.c.number)
    return list(connection.scalars(added))


def _add_event(
    connection: Connection, number: int, at: datetime, by: str, *, taken_back: bool
) -> None:
    if connection.execute(select(TAGS.c.number).where(TAGS.c.number == number)).first() is None:
        raise TagError(f"Tag {number} is not in the study. Open the page again and choose another.")
    event = {"number": number, "taken_back": taken_back, "done_at": at, "done_by": by}
    connection.execute(TAG_EVENTS.insert(), event)
