"""Decide how all rows of a study are carried into another database, and compared row by row.

Rows go as they are written, not as they are read, so that no value changes on the way.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Connection,
    Table,
    TableClause,
    TypeDecorator,
    bindparam,
    column,
    delete,
    insert,
    select,
    table,
    text,
    update,
)

from core.store.dialects import is_sqlite
from core.store.tables import METADATA

LOT = 500
"""Rows that are held at once."""
_LARGEST = 1 << 256


@dataclass(frozen=True, slots=True)
class Digest:
    """What proves that two tables hold the same rows."""

    rows: int
    content: str
    """The sum of the SHA-256 of each row, in hexadecimal digits: the order says nothing."""


def columns() -> dict[str, tuple[str, ...]]:
    """Give the names of the columns of each table of a study."""
    return {one.name: tuple(c.name for c in one.columns) for one in METADATA.sorted_tables}


def digests(
    connection: Connection, of: Mapping[str, Sequence[str]] | None = None
) -> dict[str, Digest]:
    """Work out the digest of each table, over all columns or those that are named."""
    wanted = columns() if of is None else of
    return {name: _digest(connection, name, names) for name, names in wanted.items()}


def differing(one: Mapping[str, Digest], other: Mapping[str, Digest]) -> list[str]:
    """Name the tables whose rows are not the same, sorted."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))


def carry(source: Connection, target: Connection) -> None:
    """Put every row of a study into one whose tables were just made, with the numbers they have.

    Numbers that were given and are gone are not given again there either.
    """
    for made in reversed(METADATA.sorted_tables):  # steps put first rows into some
        if target.execute(select(*made.primary_key).limit(1)).first() is not None:
            target.execute(delete(made))
    for one in METADATA.sorted_tables:
        _carry_table(source, target, one)
    for one, key in numbered():
        last = last_number(source, one, key)
        if last:
            set_last_number(target, one, key, last)


def plain_table(one: Table) -> TableClause:
    """Give a table whose values are taken as they are written."""
    return table(one.name, *(column(c.name, written_type(c)) for c in one.columns))


def written_type(one: Column[Any]) -> Any:
    """Give the type of a column as its values are written."""
    return one.type.impl_instance if isinstance(one.type, TypeDecorator) else one.type


def _rows(
    connection: Connection, one: TableClause, names: Sequence[str]
) -> Iterator[Sequence[Sequence[Any]]]:
    streamed = {"stream_results": True, "yield_per": LOT}
    asked = select(*(one.c[name] for name in names))
    return connection.execute(asked, execution_options=streamed).partitions()


def _digest(connection: Connection, name: str, names: Sequence[str]) -> Digest:
    rows = total = 0
    for lot in _rows(connection, plain_table(METADATA.tables[name]), names):
        for cells in lot:
            rows += 1
            # SQLite knows no zero below zero.
            said = [one + 0.0 if isinstance(one, float) else one for one in cells]
            words = json.dumps(said, ensure_ascii=False).encode("utf-8", "surrogatepass")
            total += int.from_bytes(hashlib.sha256(words).digest(), "big")
    return Digest(rows, f"{total % _LARGEST:064x}")


def _carry_table(source: Connection, target: Connection, one: Table) -> None:
    plain, names = plain_table(one), [c.name for c in one.columns]
    # A row may point to a later one of its own table: that is put in once all are there.
    own = [key.parent.name for key in one.foreign_keys if key.column.table is one]
    for lot in _rows(source, plain, names):
        rows = [dict(zip(names, cells, strict=True)) for cells in lot]
        target.execute(insert(plain), [row | dict.fromkeys(own) for row in rows])
    key = next(iter(one.primary_key)).name
    for link in own:
        this = update(plain).where(plain.c[key] == bindparam("which"))
        for lot in _rows(source, plain, [key, link]):
            pairs = [{"which": which, "to": to} for which, to in lot if to is not None]
            if pairs:
                target.execute(this.values({link: bindparam("to")}), pairs)


def numbered() -> list[tuple[Table, str]]:
    """Give the tables whose key is handed out by the database, with that key."""
    return [
        (one, key.name)
        for one in METADATA.sorted_tables
        for key in one.primary_key
        if isinstance(key.type, BigInteger) and key.autoincrement == "auto"
    ]


def last_number(connection: Connection, one: Table, key: str) -> int:
    """Give the last number that a table has handed out; 0: none."""
    if is_sqlite(connection):
        asked = text("SELECT seq FROM sqlite_sequence WHERE name = :name")
        return int(connection.execute(asked, {"name": one.name}).scalar() or 0)
    sequence = connection.execute(_SEQUENCE, {"name": one.name, "key": key}).scalar_one()
    last, called = connection.exec_driver_sql(f"SELECT last_value, is_called FROM {sequence}").one()  # noqa: S608
    return int(last) if called else 0


def set_last_number(connection: Connection, one: Table, key: str, last: int) -> None:
    """Go on behind a number that was handed out elsewhere."""
    if not is_sqlite(connection):
        asked = text("SELECT setval(pg_get_serial_sequence(:name, :key), :last)")
        connection.execute(asked, {"name": one.name, "key": key, "last": last})
        return
    row = {"name": one.name, "last": last}
    connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), row)
    connection.execute(text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :last)"), row)


_SEQUENCE = text("SELECT pg_get_serial_sequence(:name, :key)")
