"""Decide how it is held which photos were looked at for codes, what they showed, what people said.

What a code leads to is decided in `codes`; no counter of changes is raised by what was read.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, func, select, true

from core.errors import StudyError
from core.store.dialects import batches
from core.store.tables import CODE_DECISIONS, CODES_READ, PHOTOS, TAG_EVENTS, TAGS

_NONE = json.dumps([])


@dataclass(frozen=True, slots=True)
class Text:
    """A text that a code in a photo holds."""

    text: str
    corners: tuple[tuple[float, float], ...]
    """Of the code, x and y of the upright photo, both in picture widths."""
    how: str
    """The way of looking that found it."""


@dataclass(frozen=True, slots=True)
class Read:
    """What was seen when one photo was looked at."""

    photo: int
    found: tuple[Text, ...] = ()
    hurried: bool = False
    """Whether time ran out before every way of looking was tried."""
    unreadable: bool = False
    """Whether the file is damaged; it is looked at again once it has changed."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What a person said of a proposal, and what it replaced, so that it can be taken back."""

    placement: str
    proposal: str
    """Which one, in a form that stays the same while the proposal does."""
    accepted: bool
    words: str
    """What was proposed, in words."""
    before: Mapping[str, str | None] = field(default_factory=dict)
    """The cells as they stood, by name."""
    after: Mapping[str, str | None] = field(default_factory=dict)
    by: str = ""
    made_at: datetime | None = None
    taken_back: datetime | None = None
    taken_back_by: str = ""
    number: int = 0


def put_read(connection: Connection, rows: Sequence[Read], method: int) -> None:
    """Hold what was seen, in place of what was seen in these photos before."""
    for some in batches([row.photo for row in rows]):
        connection.execute(CODES_READ.delete().where(CODES_READ.c.photo_id.in_(some)))
    cells = [
        {
            "photo_id": row.photo,
            "method": method,
            "found": json.dumps([[one.text, one.corners, one.how] for one in row.found]),
            "hurried": row.hurried,
            "unreadable": row.unreadable,
        }
        for row in rows
    ]
    if cells:
        connection.execute(CODES_READ.insert(), cells)


def read(connection: Connection, placement: str, method: int) -> dict[int, Read]:
    """Fetch what was seen in a placement's photos by a method, by photo id."""
    table = CODES_READ.c
    asked = (
        select(table.photo_id, table.found, table.hurried, table.unreadable)
        .join_from(CODES_READ, PHOTOS, table.photo_id == PHOTOS.c.id)
        .where(PHOTOS.c.placement == placement, table.method == method)
    )
    return {
        photo: Read(photo, _found(found), hurried, unreadable)
        for photo, found, hurried, unreadable in connection.execute(asked)
    }


def _found(text: str) -> tuple[Text, ...]:
    return tuple(
        Text(word, tuple((x, y) for x, y in corners), how)
        for word, corners, how in json.loads(text)
    )


def codes_seen(connection: Connection, placement: str) -> int:
    """Count the photos of a placement that were seen to show a code, by any method."""
    asked = (
        select(func.count())
        .select_from(CODES_READ)
        .join(PHOTOS, CODES_READ.c.photo_id == PHOTOS.c.id)
        .where(PHOTOS.c.placement == placement, CODES_READ.c.found != _NONE)
    )
    return int(connection.execute(asked).scalar_one())


def newest_tag(connection: Connection, species: str) -> int:
    """Give the number of the newest tag that says this; 0 where there is none."""
    asked = select(func.max(TAGS.c.number)).where(TAGS.c.species == species)
    return int(connection.execute(asked).scalar() or 0)


def standing_tags(connection: Connection, numbers: Sequence[int]) -> list[int]:
    """Give those of these tags that are in the study and not taken back."""
    found: list[int] = []
    for some in batches(numbers):
        newest = select(func.max(TAG_EVENTS.c.id)).where(TAG_EVENTS.c.number.in_(some))
        last = newest.group_by(TAG_EVENTS.c.number)
        back = select(TAG_EVENTS.c.number).where(TAG_EVENTS.c.id.in_(last), TAG_EVENTS.c.taken_back)
        asked = select(TAGS.c.number).where(TAGS.c.number.in_(some), TAGS.c.number.not_in(back))
        found += connection.scalars(asked)
    return found


def add_decision(connection: Connection, one: Decision) -> int:
    """Add what a person said and give its number."""
    connection.execute(
        CODE_DECISIONS.insert(),
        {
            "placement": one.placement,
            "proposal": one.proposal,
            "accepted": one.accepted,
            "words": one.words,
            "before": json.dumps(dict(one.before)),
            "after": json.dumps(dict(one.after)),
            "by": one.by,
            "made_at": one.made_at,
        },
    )
    return int(connection.execute(select(func.max(CODE_DECISIONS.c.number))).scalar_one())


def decisions(connection: Connection, placement: str | None = None) -> list[Decision]:
    """Fetch what people said of a placement's proposals, or of all, as made; taken back too."""
    table = CODE_DECISIONS.c
    of: ColumnElement[bool] = true() if placement is None else table.placement == placement
    asked = select(
        table.placement, table.proposal, table.accepted, table.words, table.before, table.after,
        table.by, table.made_at, table.taken_back, table.taken_back_by, table.number,
    ).where(of).order_by(table.number)  # fmt: skip
    return [
        Decision(name, proposal, accepted, words, json.loads(before), json.loads(after), by, made,
                 back, who or "", number)
        for name, proposal, accepted, words, before, after, by, made, back, who, number
        in connection.execute(asked)
    ]  # fmt: skip


def take_back(connection: Connection, number: int, at: datetime, by: str) -> Decision:
    """Take a decision back and give it as it was; it is kept and no longer counts.

    StudyError where there is none, or it was taken back before.
    """
    found = {one.number: one for one in decisions(connection)}
    one = found.get(number)
    if one is None or one.taken_back is not None:
        raise StudyError(
            f"Decision {number} is not in the study, or was taken back. Open the page again."
        )
    this = CODE_DECISIONS.c.number == number
    connection.execute(CODE_DECISIONS.update().where(this).values(taken_back=at, taken_back_by=by))
    return one
