"""Decide how the rows of a study are written as lines of text, and how a study is made of them.

A line is the cells of a row as JSON, as they are written in the database; the first line names the
columns. Rows stand in the order of their keys, so the same rows give the same text.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, bindparam, column, delete, insert, select, table, update

from core.errors import StudyError
from core.store import copying, dialects, migrations
from core.store.database import Database, Raises
from core.store.tables import METADATA, SCHEMA_STEPS, SECRETS

LEFT_OUT = (SECRETS.name, SCHEMA_STEPS.name)
"""What proves who somebody is stays where it is; steps run again where the study is made."""


def names() -> list[str]:
    """Name the tables that are written, those that others point to first."""
    return [one.name for one in METADATA.sorted_tables if one.name not in LEFT_OUT]


def lines(connection: Connection, name: str) -> Iterator[str]:
    """Give a table as lines, the names of its columns first."""
    one = METADATA.tables[name]
    plain, columns = copying.plain_table(one), [c.name for c in one.columns]
    yield _line(columns)
    asked = select(*(plain.c[c] for c in columns)).order_by(
        *(plain.c[key.name] for key in one.primary_key)
    )
    streamed = {"stream_results": True, "yield_per": copying.LOT}
    for row in connection.execute(asked, execution_options=streamed):
        yield _line([cell + 0.0 if isinstance(cell, float) else cell for cell in row])


def last_numbers(connection: Connection) -> dict[str, int]:
    """Give the last number that each table has handed out: it is not given again."""
    return {one.name: copying.last_number(connection, one, key) for one, key in copying.numbered()}


def current_step() -> int:
    """Give the number of the last step that is known."""
    return len(migrations.STEPS)


def schema_step(connection: Connection) -> int:
    """Give the number of the last step by which the study's tables have grown."""
    return max(migrations.steps_run(connection) or [0])


def make(
    path: Path, step: int, tables: Mapping[str, Iterable[str]], numbers: Mapping[str, int]
) -> None:
    """Make an SQLite study of lines that were written at a step of the schema.

    What the schema has grown by since is done to its rows when it is opened. StudyError for a step
    that is not known yet, or a line that is no row of its table.
    """
    known = len(migrations.STEPS)
    if not 0 < step <= known:
        raise StudyError(
            f"The study was written by another Lastbite (step {step}, this one knows {known}). "
            "Install the newer Lastbite."
        )
    path.touch(0o600, exist_ok=False)
    dialects.switch_on_wal(path)
    database = Database.as_it_is(path)
    try:
        with database.begin(Raises.NOTHING) as connection:
            for number in range(1, step + 1):
                migrations.run_step(connection, number)
            for name in names():
                if name in tables:
                    _put(connection, name, tables[name])
            for one, key in copying.numbered():
                if numbers.get(one.name):
                    copying.set_last_number(connection, one, key, numbers[one.name])
    finally:
        database.dispose()


def _put(connection: Connection, name: str, rows: Iterable[str]) -> None:
    """Put the lines of a table into it; a row that points to a later one is mended at the end."""
    one = METADATA.tables[name]
    given = iter(rows)
    columns = _cells(name, next(given, "[]"), None)
    plain = table(name, *(column(str(c), _type(one, str(c))) for c in columns))
    connection.execute(delete(plain))  # steps put first rows into some
    own = [key.parent.name for key in one.foreign_keys if key.column.table is one]
    links: list[dict[str, Any]] = []
    key = next(iter(one.primary_key)).name
    lot: list[dict[str, Any]] = []
    for text in given:
        row = dict(zip(map(str, columns), _cells(name, text, len(columns)), strict=True))
        links += [{"which": row[key], "link": c, "to": row[c]} for c in own if row[c] is not None]
        lot.append(row | dict.fromkeys(own))
        if len(lot) >= copying.LOT:
            connection.execute(insert(plain), lot)
            lot = []
    if lot:
        connection.execute(insert(plain), lot)
    for link in own:
        these = [{"which": o["which"], "to": o["to"]} for o in links if o["link"] == link]
        if these:
            this = update(plain).where(plain.c[key] == bindparam("which"))
            connection.execute(this.values({link: bindparam("to")}), these)


def _type(one: Table, name: str) -> Any:
    found = next((c for c in one.columns if c.name == name), None)
    if found is None:
        raise StudyError(f"The table {one.name} has no column {name!r}. The archive is no study.")
    return copying.written_type(found)


def _cells(name: str, text: str, width: int | None) -> list[Any]:
    try:
        cells = json.loads(text)
    except ValueError:
        cells = None
    if not isinstance(cells, list) or (width is not None and len(cells) != width):
        raise StudyError(f"A line of the table {name} is no row: {text[:80]!r}.")
    return cells


def _line(cells: list[Any]) -> str:
    return json.dumps(cells, ensure_ascii=False, separators=(",", ":")) + "\n"
