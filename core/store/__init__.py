"""Decide how a study's rows are held and fetched; what they mean is decided by everyone else.

Open a `Database`, take a connection from `begin()` or `read()`, and hand it to the functions of
the noun's module: `logs`, `cards`, `originals`, `tags`.
"""

from core.store import cards, logs, originals, tags
from core.store.cards import Candidate, CardRow, KnownFile, NewPhoto
from core.store.database import FILE_NAME, Database, Raises, base_version, data_version
from core.store.logs import Counts
from core.store.originals import Original

__all__ = [
    "FILE_NAME",
    "Candidate",
    "CardRow",
    "Counts",
    "Database",
    "KnownFile",
    "NewPhoto",
    "Original",
    "Raises",
    "base_version",
    "cards",
    "data_version",
    "logs",
    "originals",
    "tags",
]
