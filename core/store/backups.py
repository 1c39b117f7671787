"""Decide how a back-up is written and proved: one SQLite file, from a file or from a server.

It is a study's database with one table more, `backup_notes`: the settings, when it was made, and
a digest of every table. Whatever the study is held in, a back-up can be opened anywhere.
"""

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, inspect

from core.errors import StudyError
from core.store import copying, dialects
from core.store.copying import Digest
from core.store.database import Database, faults_in_words

NOTES = "backup_notes"


@dataclass(frozen=True, slots=True)
class Backup:
    """What a back-up says of itself."""

    settings: str
    """The text of `study.toml` when it was made."""
    made_at: datetime
    rows: Mapping[str, int]
    """How many rows each table has."""


def write(database: Database, settings: str, file: Path) -> Backup:
    """Write a back-up of one state of the study while others go on, and read it again to prove it.

    StudyError, and no file, where there is one of that name or it does not prove right.
    """
    _refuse_there(file)
    part = file.with_name(file.name + ".part")
    with _removed_after_fault(part):
        with database.read() as source:
            _copy(source, part)
            kept = copying.digests(source)
        _note(part, settings, kept)
        made = proved(part)
        _put_in_place(part, file)
    return made


def proved(file: Path) -> Backup:
    """Read a back-up whole; StudyError where it is none, or not what was written."""
    _refuse_missing(file)
    database = Database.as_it_is(file)
    try:
        with database.read() as connection:
            notes = _notes(connection, database.name)
            refuse_damaged(connection, database.name)
            kept = json.loads(notes["tables"])
            _refuse_newer(kept, database.name)
            of = {name: said["columns"] for name, said in kept.items()}
            was = {name: Digest(said["rows"], said["content"]) for name, said in kept.items()}
            differing = copying.differing(was, copying.digests(connection, of))
    finally:
        database.dispose()
    if differing:
        raise StudyError(
            f"{file} is not what was written: {', '.join(differing)} differ. Take another back-up."
        )
    made_at = datetime.fromisoformat(notes["made_at"])
    return Backup(notes["settings"], made_at, {name: one.rows for name, one in was.items()})


def unpack(file: Path, path: Path) -> None:
    """Make the database of a study at `path` from a back-up; there must be none."""
    copy_file(file, path)
    proved(path)
    with faults_in_words(str(path), writing=True):
        with contextlib.closing(sqlite3.connect(path)) as connection:
            connection.execute(f"DROP TABLE {NOTES}")
        dialects.switch_on_wal(path)


def copy_file(file: Path, path: Path) -> None:
    """Copy an SQLite file to where there is none, as one state of it, while others use it."""
    _refuse_missing(file)
    _make_private(path)
    with (
        faults_in_words(str(file), writing=False),
        contextlib.closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as one,
        contextlib.closing(sqlite3.connect(path)) as other,
    ):
        one.backup(other)
        other.execute("PRAGMA journal_mode = DELETE")


def _copy(source: Connection, part: Path) -> None:
    """Write the state that a connection sees into a new file."""
    if not dialects.is_sqlite(source):
        Database.create(part, lambda target: copying.carry(source, target)).dispose()
        return
    _make_private(part)
    source.exec_driver_sql("SELECT count(*) FROM schema_steps")  # from now on it sees one state
    raw = source.connection.dbapi_connection
    assert isinstance(raw, sqlite3.Connection)
    with contextlib.closing(sqlite3.connect(part)) as target:
        raw.backup(target)


def _note(part: Path, settings: str, kept: Mapping[str, Digest]) -> None:
    names = copying.columns()
    tables = {name: asdict(one) | {"columns": names[name]} for name, one in kept.items()}
    made_at = datetime.now(UTC).isoformat(timespec="seconds")
    notes = {"settings": settings, "made_at": made_at, "tables": json.dumps(tables)}
    with (
        faults_in_words(str(part), writing=True),
        contextlib.closing(sqlite3.connect(part)) as connection,
    ):
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute(f"CREATE TABLE {NOTES} (name TEXT PRIMARY KEY, value TEXT NOT NULL)")
        connection.executemany(f"INSERT INTO {NOTES} VALUES (?, ?)", list(notes.items()))  # noqa: S608
        connection.commit()
    with contextlib.suppress(OSError):
        part.chmod(0o600)


def _notes(connection: Connection, name: str) -> dict[str, str]:
    if not inspect(connection).has_table(NOTES):
        raise StudyError(
            f"{name} is no back-up. Give a file that 'lastbite backup' wrote, or a study folder."
        )
    rows = connection.exec_driver_sql(f"SELECT name, value FROM {NOTES}")  # noqa: S608
    return {key: value for key, value in rows}  # noqa: C416


def refuse_damaged(connection: Connection, name: str) -> None:
    """Read an SQLite file whole; StudyError where it is not sound."""
    sound = connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    if not sound or connection.exec_driver_sql("PRAGMA foreign_key_check").first():
        raise StudyError(f"{name} is damaged. Take another back-up.")


def _refuse_newer(kept: Mapping[str, Mapping[str, object]], name: str) -> None:
    known = copying.columns()
    for table, said in kept.items():
        unknown = set(said["columns"]) - set(known.get(table, ()))  # type: ignore[call-overload]
        if unknown:
            raise StudyError(
                f"{name} was written by a newer Lastbite (it has {table}.{min(unknown)}). Install "
                "the newer Lastbite to restore it."
            )


def _refuse_missing(file: Path) -> None:
    if not file.is_file():
        raise StudyError(f"There is no file {file}. Name a back-up, or a study folder.")


def _refuse_there(file: Path) -> None:
    if file.exists():
        raise StudyError(f"{file} is there already. Name another file; nothing is overwritten.")


def _make_private(path: Path) -> None:
    """Make an empty file that only its owner reads: a study holds codes and names."""
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except OSError as fault:
        raise StudyError(
            f"{path} cannot be written ({fault.strerror}). Name a file in a folder that is there "
            "and that you may write in."
        ) from None


def _put_in_place(part: Path, file: Path) -> None:
    try:
        os.link(part, file)  # fails where somebody made a file of that name in the meantime
    except FileExistsError:
        _refuse_there(file)
    except OSError:  # some disks know no second name
        _refuse_there(file)
        part.rename(file)
    part.unlink(missing_ok=True)


@contextlib.contextmanager
def _removed_after_fault(part: Path) -> Iterator[None]:
    part.unlink(missing_ok=True)
    try:
        with faults_in_words(str(part), writing=True):
            yield
    except BaseException:
        for end in ("", "-journal", "-wal", "-shm"):
            part.with_name(part.name + end).unlink(missing_ok=True)
        raise
