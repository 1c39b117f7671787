"""Decide how files and tags are fetched whole, and brought into another study as they were."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, func, select

from core.matching import File, Held, Turn
from core.model import Header, Outline
from core.store import tags as tag_store
from core.store.cards import NewPhoto
from core.store.dialects import batches
from core.store.tables import (
    CARDS,
    CODE_DECISIONS,
    PEOPLE,
    PHOTOS,
    REFERENCE_PHOTOS,
    SHARES,
    TAG_EVENTS,
    TAGS,
    TRAY_OUTLINES,
)


@dataclass(frozen=True, slots=True)
class CardFile:
    """A file as it is held, with its card."""

    id: int
    placement: str
    folder: str
    scanned_at: datetime
    photo: NewPhoto


@dataclass(frozen=True, slots=True)
class Drawn:
    """An outline with the placement it is of, and when it was drawn."""

    placement: str
    outline: Outline
    made_at: datetime


@dataclass(frozen=True, slots=True)
class OwnThings:
    """What a copy of a study has for itself."""

    people: Mapping[str, str]
    """Their names, by what makes two names the same."""
    shares: int
    references: frozenset[tuple[int, str]]
    """Photo and species."""
    decisions: frozenset[tuple[str, str, bool, datetime]]
    """Placement, words, yes or no, and when, of what was said of proposals from codes."""


def drawn(connection: Connection) -> list[Drawn]:
    """Fetch every outline that was ever drawn, in the order made."""
    table = TRAY_OUTLINES.c
    shape = (table.tray, table.cx, table.cy, table.rx, table.ry, table.angle, table.made_by)
    asked = select(table.placement, table.made_at, *shape).order_by(table.id)
    return [Drawn(name, Outline(*cells), at) for name, at, *cells in connection.execute(asked)]


def own_things(connection: Connection) -> OwnThings:
    """Fetch what is never brought into another study, to tell of it."""
    table = CODE_DECISIONS.c
    said = select(table.placement, table.words, table.accepted, table.made_at)
    photos = select(REFERENCE_PHOTOS.c.photo_id, REFERENCE_PHOTOS.c.species)
    return OwnThings(
        dict(connection.execute(select(PEOPLE.c.same, PEOPLE.c.name)).all()),
        int(connection.execute(select(func.count()).select_from(SHARES)).scalar_one()),
        frozenset((photo, species) for photo, species in connection.execute(photos)),
        frozenset((*cells,) for cells in connection.execute(said)),
    )


def files(connection: Connection) -> list[File]:
    """Fetch every file of a study, by id."""
    names = "size", "fingerprint", "content_hash", "copy_of"
    asked = select(
        PHOTOS.c.id,
        PHOTOS.c.placement,
        CARDS.c.folder,
        PHOTOS.c.file,
        *(PHOTOS.c[name] for name in names),
    ).join_from(PHOTOS, CARDS)
    return [File(*cells) for cells in connection.execute(asked.order_by(PHOTOS.c.id))]


def card_files(connection: Connection, ids: Collection[int]) -> list[CardFile]:
    """Fetch files with all that their headers said, by id."""
    found: list[CardFile] = []
    of_header = [name for name in Header.__dataclass_fields__ if name in PHOTOS.c]
    of_file = [name for name in NewPhoto.__dataclass_fields__ if name in PHOTOS.c]
    for some in batches(sorted(ids)):
        asked = select(PHOTOS, CARDS.c.folder, CARDS.c.scanned_at).join_from(PHOTOS, CARDS)
        rows = connection.execute(asked.where(PHOTOS.c.id.in_(some)).order_by(PHOTOS.c.id))
        for row in rows.mappings():
            header = Header(**{name: row[name] for name in of_header})
            photo = NewPhoto(**{name: row[name] for name in of_file}, header=header)
            found.append(
                CardFile(row["id"], row["placement"], row["folder"], row["scanned_at"], photo)
            )
    return found


def held(connection: Connection) -> list[Held]:
    """Fetch every tag of a study in the order made, with its act and what became of it."""
    turns: dict[int, list[Turn]] = defaultdict(list)
    names = "number", "taken_back", "done_at", "done_by", "action"
    events = select(*(TAG_EVENTS.c[name] for name in names)).order_by(TAG_EVENTS.c.id)
    for number, *cells in connection.execute(events):
        turns[number].append(Turn(*cells))
    acts = dict(connection.execute(select(TAGS.c.number, TAGS.c.action)).all())
    return [
        Held(tag, acts[tag.number], tuple(turns[tag.number])) for tag in tag_store.tags(connection)
    ]


def add_held(connection: Connection, rows: Sequence[Held]) -> None:
    """Add tags in the order given, with their acts, times and all that became of them."""
    last = connection.execute(select(func.max(TAGS.c.number))).scalar() or 0
    tag_store.add_tags(connection, [one.tag for one in rows], [one.action for one in rows])
    newer = select(TAGS.c.number).where(TAGS.c.number > last).order_by(TAGS.c.number)
    numbers = list(connection.scalars(newer))
    for number, one in zip(numbers, rows, strict=True):
        add_turns(connection, number, one.turns)


def add_turns(connection: Connection, number: int, turns: Sequence[Turn]) -> None:
    """Add what became of a tag, in its order."""
    rows = [
        {
            "number": number,
            "taken_back": one.taken_back,
            "done_at": one.at,
            "done_by": one.by,
            "action": one.action,
        }
        for one in turns
    ]
    if rows:
        connection.execute(TAG_EVENTS.insert(), rows)
