"""Decide how a study's database is made, opened, read and written: each change whole or not at all.

What SQLite and a server do differently is decided in `dialects`.
"""

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from enum import Enum
from pathlib import Path
from typing import Self

from sqlalchemy import Connection, Engine, func, inspect, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from core.errors import StudyError
from core.store import dialects, migrations, servers
from core.store.tables import CHANGES, METADATA

FILE_NAME = "lastbite.db"

Fill = Callable[[Connection], None]
"""Puts the first rows into a study that is being made."""


class Raises(Enum):
    """Which counter of changes a write raises: results are made anew only when they must."""

    ALL = 1
    TAGS = 2
    """Only tags are touched: times, order and logs stay as they are."""
    NOTHING = 0
    """Only what no result hangs on: scores, hashes, outlines, secrets."""


class Database:
    """A study's database, held open; may be used from many threads at once."""

    def __init__(self, engine: Engine, name: str, path: Path | None = None) -> None:
        self._engine = engine
        self.name = name
        """Path or address, as people are shown it."""
        self.path = path
        """The file; None where a server holds it."""

    @classmethod
    def create(cls, address: str | Path, fill: Fill | None = None) -> Self:
        """Make the database of a new study, `fill` it, and open it.

        `address` is the path of the SQLite file to make, or a server's URL. StudyError where
        there is one already, or it cannot be made; then nothing is left behind.
        """
        path = _sqlite_path(address)
        if path is None:
            return cls._create_on_server(str(address), fill)
        return cls._create_file(path, fill)

    @classmethod
    def as_it_is(cls, path: Path) -> Self:
        """Open an SQLite file without asking what it is, and without bringing it up to date."""
        _refuse_missing(path)
        return cls(dialects.sqlite_engine(path), str(path), path)

    @classmethod
    def open(cls, address: str | Path) -> Self:
        """Open the database of a study and bring it up to date.

        StudyError where there is none (none is made), where it is no study's database, is damaged
        or locked, or was made by a newer Lastbite.
        """
        path = _sqlite_path(address)
        if path is None:
            database = cls(*_server(str(address)))
        else:
            _refuse_missing(path)
            database = cls(dialects.sqlite_engine(path), str(path), path)
        try:
            database._bring_up_to_date()
        except BaseException:
            database.dispose()
            raise
        return database

    @contextlib.contextmanager
    def begin(self, raises: Raises = Raises.ALL) -> Iterator[Connection]:
        """Give a connection that writes: all of it is stored at the end, or after a fault nothing.

        Writers wait for one another here, up to 10 s. StudyError for a full disk, a read-only
        folder, a locked or damaged file. Every use raises `data_version`, unless it `raises`
        nothing, and `base_version` where it raises all.
        """
        with self._transaction(writing=True) as connection:
            if raises is not Raises.NOTHING:
                counter = CHANGES.update().where(CHANGES.c.id == raises.value)
                connection.execute(counter.values(number=CHANGES.c.number + 1))
            yield connection

    @contextlib.contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the study throughout and cannot write."""
        with self._transaction(writing=False) as connection:
            yield connection

    def dispose(self) -> None:
        """Close every connection that is not in use; the next use opens new ones."""
        self._engine.dispose()

    @contextlib.contextmanager
    def _transaction(self, *, writing: bool) -> Iterator[Connection]:
        mark = dialects.for_writing if writing else dialects.for_reading
        with (
            faults_in_words(self.name, writing=writing),
            self._engine.connect() as connection,
            mark(connection).begin(),
        ):
            yield connection

    def discard(self) -> None:
        """Remove what was just made, tables or file, since what it was made for did not work."""
        if self.path is None:
            with self._transaction(writing=True) as connection:
                migrations.drop(connection)
        self.dispose()
        if self.path is not None:
            for end in ("", "-wal", "-shm"):
                self.path.with_name(self.path.name + end).unlink(missing_ok=True)

    def _bring_up_to_date(self) -> None:
        with self.read() as connection:
            if self.path is None:
                servers.refuse_unfit(connection, self.name)
            run = migrations.steps_run(connection)
        if not run:
            raise StudyError(
                f"{self.name} is a database, but not one of a study. Give the study's folder, or "
                "make a new study."
            )
        known = len(migrations.STEPS)
        if run[-1] > known:
            raise StudyError(
                f"{self.name} was made by a newer Lastbite (step {run[-1]}, this one knows "
                f"{known}). Install the newer Lastbite to open it."
            )
        if run[-1] < known:
            self._run_steps()

    def _run_steps(self) -> None:
        for number in range(1, len(migrations.STEPS) + 1):
            with self._transaction(writing=True) as connection:
                migrations.run_step(connection, number)

    @classmethod
    def _create_file(cls, path: Path, fill: Fill | None) -> Self:
        _make_empty_file(path)
        database = cls(dialects.sqlite_engine(path), str(path), path)
        try:
            with faults_in_words(database.name, writing=True):
                dialects.switch_on_wal(path)
            database._run_steps()
            if fill is not None:
                with database._transaction(writing=True) as connection:
                    fill(connection)
        except BaseException:
            database.discard()
            raise
        return database

    @classmethod
    def _create_on_server(cls, address: str, fill: Fill | None) -> Self:
        database = cls(*_server(address))
        try:
            with database._transaction(writing=True) as connection:
                servers.refuse_unfit(connection, database.name)
                _refuse_full(connection, database.name)
                for number in range(1, len(migrations.STEPS) + 1):
                    migrations.run_step(connection, number)
                if fill is not None:
                    fill(connection)
        except BaseException:
            database.dispose()
            raise
        return database


def data_version(connection: Connection) -> int:
    """Give a number that every change to the study raises; results hold as long as it stands."""
    number: int = connection.execute(select(func.sum(CHANGES.c.number))).scalar_one()
    return int(number)


def base_version(connection: Connection) -> int:
    """Give a number that every change raises but those of tags alone."""
    counter = CHANGES.c.id == Raises.ALL.value
    number: int = connection.execute(select(CHANGES.c.number).where(counter)).scalar_one()
    return number


@contextlib.contextmanager
def faults_in_words(name: str, *, writing: bool) -> Iterator[None]:
    """Turn what a person can put right into words: the one place where that is done."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as fault:
        words = dialects.in_words(name, fault, writing=writing)
        if words is None:
            raise
        raise words from fault
    except PoolTimeoutError as fault:
        raise StudyError(
            f"{name}: too many ask for the study at once. Nothing was stored; do it again."
        ) from fault
    except UnicodeEncodeError as fault:
        raise StudyError(
            f"{fault.object!r} is not written in Unicode and cannot be stored. Rename it."
        ) from None


def _sqlite_path(address: str | Path) -> Path | None:
    """Give the path of an SQLite file; None where the address is a server's."""
    if isinstance(address, Path) or not ("://" in address or address.startswith("postgres")):
        return Path(address)
    url = servers.parsed(address)
    if url.get_backend_name() != "sqlite":
        return None
    if not url.database or url.database == ":memory:":
        raise StudyError(f"{address!r} names no file. Give the path of the study's database.")
    return Path(url.database)


def _server(address: str) -> tuple[Engine, str]:
    url = servers.parsed(address)
    return dialects.server_engine(url), servers.shown(url)


def _refuse_full(connection: Connection, name: str) -> None:
    """Refuse to make a study where there is one, or tables of another program in its way."""
    if migrations.steps_run(connection):
        raise StudyError(
            f"{name} holds a study already. Open that one, or give the address of an empty "
            "database."
        )
    there = sorted(METADATA.tables.keys() & set(inspect(connection).get_table_names()))
    if there:
        raise StudyError(
            f"{name} holds tables of another program ({', '.join(there[:3])}). Give the address "
            "of an empty database."
        )


def _make_empty_file(path: Path) -> None:
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666))
    except FileExistsError:
        raise StudyError(
            f"{path} is there already. Open that study, or choose another folder."
        ) from None
    except OSError as fault:
        raise StudyError(
            f"{path} cannot be made ({fault.strerror}). Choose a folder that is there and that "
            "you may write in."
        ) from None


def _refuse_missing(path: Path) -> None:
    try:
        found = path.is_file()
    except OSError as fault:
        raise StudyError(
            f"{path} cannot be reached ({fault.strerror}). See that you may read its folder."
        ) from None
    if not found:
        raise StudyError(f"There is no study at {path}. Check the folder, or make a new study.")
