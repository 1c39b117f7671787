"""Complete, dull rows for tests; a test names only what it is about."""

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image
from sqlalchemy import Connection

from core.model import Tag
from core.store import Database, NewPhoto, cards

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
LATER = NOON + timedelta(hours=1)


class RolledBackError(Exception):
    """Ends an example without storing it."""


@contextlib.contextmanager
def rolled_back(database: Database) -> Iterator[Connection]:
    """Give a connection whose changes are undone at the end."""
    with contextlib.suppress(RolledBackError), database.begin() as connection:
        yield connection
        raise RolledBackError


def new_photo(file: str, **values: Any) -> NewPhoto:
    """Give a file with an ordinary header."""
    size, changed_ns = values.pop("size", 1000), values.pop("changed_ns", 5)
    return NewPhoto(file, size, changed_ns, values.pop("fingerprint", file), **values)


def card_with(
    connection: Connection, placement: str, *files: str | NewPhoto, folder: str = "/cards/a"
) -> tuple[int, list[int]]:
    """Put a card with these files and give its id and theirs."""
    card = cards.put_card(connection, placement, folder, NOON)
    rows = [file if isinstance(file, NewPhoto) else new_photo(file) for file in files]
    return card, cards.add_photos(connection, card, rows)


def tag_of(first: int, last: int | None = None, **values: Any) -> Tag:
    """Give an ordinary tag of a run of photos."""
    dull = Tag(0, "P1", first, last or first, "ann", "g", made_at=NOON)
    return replace(dull, **values)


def write_photo(path: Path, shown: datetime | None, *, shade: int = 0, offset: str = "") -> Path:
    """Write a small real JPEG with the Exif time that a camera would write (none for None)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    picture = Image.new("RGB", (64, 48), (shade % 256, shade // 256 % 256, 90))
    exif = Image.Exif()
    if shown is not None:
        text = shown.strftime("%Y:%m:%d %H:%M:%S")
        exif[0x0132] = text
        inner = exif.get_ifd(0x8769)
        inner[0x9003] = text
        inner[0x9004] = text
        if offset:
            inner[0x9011] = offset
    picture.save(path, exif=exif)
    return path


def write_burst(folder: Path, start: datetime, count: int, *, first: int = 1) -> list[Path]:
    """Write photos one second apart, each with a content of its own, named IMG_0001.JPG and on."""
    return [
        write_photo(
            folder / f"IMG_{first + at:04}.JPG", start + timedelta(seconds=at), shade=first + at
        )
        for at in range(count)
    ]
