"""Decide how it is held where photos lie, which of their contents were hashed, and their faults.

How they came into the study is decided in `cards`.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from core.store.dialects import batches
from core.store.tables import CARDS, PHOTOS


@dataclass(frozen=True, slots=True)
class Original:
    """Where a file lies, and what its copies hang on."""

    id: int
    placement: str
    folder: str
    """The card's."""
    file: str
    size: int
    """[bytes]"""
    changed_ns: int
    """When the file system said it was changed last, at its last scan. [ns since 1970 UTC]"""
    is_photo: bool
    problem: str
    hashed: bool
    """Whether the hash of its whole content is held."""

    @property
    def path(self) -> Path:
        """Give where it lies, at hand or not."""
        return Path(self.folder, self.file)


@dataclass(frozen=True, slots=True)
class HeldFile:
    """A file of a card, with what tells it from all others."""

    card: int
    placement: str
    file: str
    size: int
    """[bytes]"""
    fingerprint: str
    content_hash: str | None
    """SHA-256 of the whole file, where somebody needed it."""


def files_on(connection: Connection, card_id: int) -> list[HeldFile]:
    """Fetch every file of a card, by path."""
    names = ("card_id", "placement", "file", "size", "fingerprint", "content_hash")
    asked = select(*(PHOTOS.c[name] for name in names)).where(PHOTOS.c.card_id == card_id)
    return [HeldFile(*cells) for cells in connection.execute(asked.order_by(PHOTOS.c.file))]


def set_card_folder(connection: Connection, card_id: int, folder: str) -> None:
    """Hold that a card's files lie in another folder."""
    connection.execute(CARDS.update().where(CARDS.c.id == card_id).values(folder=folder))


def originals(connection: Connection, placement: str) -> list[Original]:
    """Fetch the photos of a placement that count, copies and other files left out, by id."""
    counts = PHOTOS.c.is_photo, PHOTOS.c.copy_of.is_(None), PHOTOS.c.placement == placement
    rows = connection.execute(_SELECT.where(*counts).order_by(PHOTOS.c.id))
    return [Original(*cells) for cells in rows]


def originals_of(connection: Connection, ids: Collection[int]) -> dict[int, Original]:
    """Fetch these files by id, whether they count or not; one that is not held is left out."""
    found: dict[int, Original] = {}
    for some in batches([one for one in ids if abs(one) <= _LARGEST]):
        rows = connection.execute(_SELECT.where(PHOTOS.c.id.in_(some)))
        found |= {cells[0]: Original(*cells) for cells in rows}
    return found


def editions(connection: Connection, ids: Collection[int]) -> dict[int, str]:
    """Fetch what changes for a photo when its file is found to hold something else, by id."""
    columns = PHOTOS.c.id, PHOTOS.c.size, PHOTOS.c.changed_ns
    found: dict[int, str] = {}
    for some in batches(list(ids)):
        rows = connection.execute(select(*columns).where(PHOTOS.c.id.in_(some)))
        found |= {photo: f"{size:x}-{changed_ns:x}" for photo, size, changed_ns in rows}
    return found


def ids_on(connection: Connection, card_id: int) -> list[int]:
    """Fetch the ids of every file of a card."""
    return list(connection.scalars(select(PHOTOS.c.id).where(PHOTOS.c.card_id == card_id)))


def card_folders(connection: Connection) -> list[str]:
    """Fetch the folders of all cards."""
    return list(connection.scalars(select(CARDS.c.folder)))


def set_content_hashes(connection: Connection, hashes: Mapping[int, str | None]) -> None:
    """Hold the hashes of files' whole contents, by photo id."""
    _set_each(connection, "content_hash", hashes)


def set_photo_problems(connection: Connection, problems: Mapping[int, str]) -> None:
    """Hold what is wrong with files, in words, by photo id; empty: nothing."""
    _set_each(connection, "problem", problems)


_LARGEST = (1 << 63) - 1  # a database holds no larger number; whoever asks for one has made it up

_SELECT: Select[Any] = select(
    PHOTOS.c.id,
    PHOTOS.c.placement,
    CARDS.c.folder,
    PHOTOS.c.file,
    PHOTOS.c.size,
    PHOTOS.c.changed_ns,
    PHOTOS.c.is_photo,
    PHOTOS.c.problem,
    PHOTOS.c.content_hash.is_not(None),
).join_from(PHOTOS, CARDS)


def _set_each(connection: Connection, column: str, values: Mapping[int, Any]) -> None:
    if values:
        rows = [{"photo_id": photo, "value": value} for photo, value in values.items()]
        this = PHOTOS.update().where(PHOTOS.c.id == bindparam("photo_id"))
        connection.execute(this.values({column: bindparam("value")}), rows)
