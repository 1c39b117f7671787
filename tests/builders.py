"""Complete, dull rows for tests; a test names only what it is about."""

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

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
