"""Decide how tags are held: added, never changed; taking one back is a row of its own.

What several tags together mean is decided in `core.tags`.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from operator import attrgetter
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, func, select, true

from core.errors import TagError
from core.model import Tag
from core.store.dialects import batches
from core.store.tables import FORGOTTEN_TAGS, PHOTOS, TAG_EVENTS, TAGS

_FIELDS = [column for column in TAGS.c if column.key != "action"]
_NAMES = [column.key for column in _FIELDS]


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
    return news(connection, placement)[0]


@dataclass(frozen=True, slots=True)
class Seen:
    """How far tags were fetched before: since then some were added, taken back or restored."""

    number: int = 0
    event: int = 0


NOTHING_SEEN = Seen()


def news(
    connection: Connection, placement: str | None = None, since: Seen = NOTHING_SEEN
) -> tuple[list[Tag], Seen]:
    """Fetch the tags that are new, or taken back or restored, since others were fetched.

    Holds as long as no card was moved or forgotten in between (`base_version` tells). Gives them
    as they are now, in the order made, and up to where they are fetched with that.
    """
    events = (
        select(TAG_EVENTS.c.id, TAG_EVENTS.c.number, TAG_EVENTS.c.taken_back)
        .join_from(TAG_EVENTS, TAGS)
        .where(TAG_EVENTS.c.id > since.event, _of(placement))
        .order_by(TAG_EVENTS.c.id)
    )
    met = connection.execute(events).all()
    taken_back = {number: back for _, number, back in met}
    found = [_tag(cells, taken_back) for cells in connection.execute(_newer(placement, since))]
    turned = [number for number in taken_back if number <= since.number]
    for some in batches(turned):
        asked = select(*_FIELDS).where(TAGS.c.number.in_(some))
        found += [_tag(cells, taken_back) for cells in connection.execute(asked)]
    found.sort(key=attrgetter("number"))
    last = found[-1].number if found else 0
    return found, Seen(max(last, since.number), met[-1].id if met else since.event)


def _newer(placement: str | None, since: Seen) -> Select[Any]:
    newer = select(*_FIELDS).where(TAGS.c.number > since.number, _of(placement))
    return newer.order_by(TAGS.c.number)


def _tag(cells: Sequence[Any], taken_back: Mapping[int, bool]) -> Tag:
    named = dict(zip(_NAMES, cells, strict=True))
    return Tag(**named, taken_back=taken_back.get(named["number"], False))


def taken_back_by(connection: Connection) -> dict[int, tuple[str, datetime]]:
    """Give who took each tag back that does not hold, and when, by its number."""
    newest = select(func.max(TAG_EVENTS.c.id)).group_by(TAG_EVENTS.c.number)
    asked = select(TAG_EVENTS.c.number, TAG_EVENTS.c.done_by, TAG_EVENTS.c.done_at).where(
        TAG_EVENTS.c.id.in_(newest), TAG_EVENTS.c.taken_back
    )
    return {number: (by, at) for number, by, at in connection.execute(asked)}


def turn(
    connection: Connection,
    numbers: Sequence[int],
    at: datetime,
    by: str,
    *,
    taken_back: bool,
    action: str | None = None,
) -> None:
    """Take tags back, or let them hold again; they are kept either way.

    An `action` that is known changes nothing. TagError, and nothing changed, where one of the
    tags is not in the study.
    """
    if action is not None and _is_known_event(connection, action):
        return
    missing = set(numbers) - set(taggers(connection, numbers))
    if missing:
        raise TagError(
            f"Tag {min(missing)} is not in the study. Open the page again and choose another."
        )
    event = {"taken_back": taken_back, "done_at": at, "done_by": by, "action": action}
    if numbers:
        connection.execute(TAG_EVENTS.insert(), [event | {"number": one} for one in numbers])


def taggers(connection: Connection, numbers: Sequence[int]) -> dict[int, str]:
    """Say who made tags, by their numbers; those that are not in the study are left out."""
    made: dict[int, str] = {}
    for some in batches(numbers):
        asked = select(TAGS.c.number, TAGS.c.tagger).where(TAGS.c.number.in_(some))
        made |= dict(connection.execute(asked).all())
    return made


def tags_of_actions(connection: Connection, actions: Sequence[str]) -> dict[str, Tag]:
    """Fetch the tags that these clicks made, as they were said; other clicks are left out."""
    found: dict[str, Tag] = {}
    for some in batches(actions):
        asked = select(TAGS.c.action, *_FIELDS).where(TAGS.c.action.in_(some))
        found |= {action: _tag(cells, {}) for action, *cells in connection.execute(asked)}
    return found


def names_of_taggers(connection: Connection) -> list[str]:
    """Name everybody who ever made a tag, sorted."""
    return sorted(connection.scalars(select(TAGS.c.tagger).distinct()))


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
    if len(rows) == 1:  # as the viewer sends them: one statement in place of three
        key = connection.execute(TAGS.insert(), rows[0]).inserted_primary_key
        assert key is not None
        return [key[0]]
    before = connection.execute(select(func.max(TAGS.c.number))).scalar() or 0
    connection.execute(TAGS.insert(), rows)
    added = select(TAGS.c.number).where(TAGS.c.number > before).order_by(TAGS.c.number)
    return list(connection.scalars(added))


def _is_known_event(connection: Connection, action: str) -> bool:
    known = select(TAG_EVENTS.c.id).where(TAG_EVENTS.c.action == action).limit(1)
    return connection.execute(known).first() is not None
