"""Where the store's tests keep a study: in a file, and on a server where one is named."""

import contextlib
import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import URL, make_url

from core.store import Database


def _database_of(server: str, process: str) -> str:
    """Give the address of a database of this process alone, made where there is none yet.

    A study looks who else is in its database; tests that run side by side must not.
    """
    if not server or not process:
        return server
    url = make_url(server)
    engine = create_engine(url.set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        known = connection.execute(
            text("SELECT 1 FROM pg_database WHERE datname = :name"), {"name": process}
        )
        if known.first() is None:
            connection.execute(text(f'CREATE DATABASE "{process}"'))
    engine.dispose()
    return url.set(database=process).render_as_string(hide_password=False)


SERVER = _database_of(
    os.environ.get("LASTBITE_TEST_SERVER", ""), os.environ.get("PYTEST_XDIST_WORKER", "")
)
"""Address of a database on a PostgreSQL server where tests may make schemas of their own."""
ON_SERVER = pytest.mark.skipif(
    not SERVER, reason="LASTBITE_TEST_SERVER names no PostgreSQL database"
)
SQLITE, POSTGRESQL = "sqlite", "postgresql"
KINDS = [SQLITE, pytest.param(POSTGRESQL, marks=ON_SERVER)]


def server_url(**parts: str) -> URL:
    """Give the address of the tests' server, with some parts in place of its own."""
    return make_url(SERVER).set(drivername="postgresql+psycopg").set(**parts)  # type: ignore[arg-type]


@contextlib.contextmanager
def empty_schema() -> Iterator[str]:
    """Give the address of a place on the server that is empty, and gone afterwards."""
    name = f"test_{uuid.uuid4().hex[:12]}"
    engine = create_engine(server_url(), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE SCHEMA {name}"))
    try:
        place = make_url(SERVER).update_query_dict({"options": f"-csearch_path={name}"})
        yield place.render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.execute(text(f"DROP SCHEMA {name} CASCADE"))
        engine.dispose()


@contextlib.contextmanager
def place_of(kind: str, folder: Path) -> Iterator[str | Path]:
    """Give where a study of one kind may be made."""
    if kind == SQLITE:
        # A folder with the characters that break addresses.
        inside = folder / ("Müller's 50% #1 study" + ("?" if os.name == "posix" else ""))
        inside.mkdir()
        yield inside / "lastbite.db"
    else:
        with empty_schema() as address:
            yield address


@contextlib.contextmanager
def new_study(kind: str, folder: Path) -> Iterator[Database]:
    """Give the database of a new study of one kind."""
    with place_of(kind, folder) as place:
        made = Database.create(place)
        yield made
        made.dispose()
