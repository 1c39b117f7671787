"""Decide how a study keeps what its page signs with: made once, at first use, told to nobody."""

import secrets

from sqlalchemy import Connection, select

from core.store.tables import SECRETS

BYTES = 32
"""As long as the hash that is keyed with it (common practice)."""


def secret(connection: Connection, name: str) -> bytes | None:
    """Fetch a secret; None where it was not made yet."""
    asked = select(SECRETS.c.value).where(SECRETS.c.name == name)
    value: str | None = connection.execute(asked).scalar()
    return None if value is None else bytes.fromhex(value)


def make_secret(connection: Connection, name: str) -> bytes:
    """Give a secret, made now where there is none; ask inside the transaction that writes."""
    known = secret(connection, name)
    if known is not None:
        return known
    made = secrets.token_bytes(BYTES)
    connection.execute(SECRETS.insert(), {"name": name, "value": made.hex()})
    return made
