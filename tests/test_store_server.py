"""The store's tables are those its statements expect, and a server holds them as a file does."""

import os
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from builders import NOON, card_with, new_photo, tag_of
from sqlalchemy import Connection, MetaData, Table, UniqueConstraint

from core.errors import CardError, StudyError
from core.model import (
    ClockCheck,
    Header,
    Placement,
    Species,
    SpeciesRole,
    TimeSource,
    TrayDeployment,
    Where,
)
from core.store import (
    Counts,
    Database,
    cards,
    data_version,
    logs,
    tables,
    tags,
)

SERVER = os.environ.get("LASTBITE_TEST_SERVER", "")
"""SQLAlchemy address of an empty database on a PostgreSQL server; its tables are dropped."""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Give a path for a database, with the characters that break addresses."""
    folder = tmp_path / ("Müller's 50% #1 study" + ("?" if os.name == "posix" else ""))
    folder.mkdir()
    return folder / "lastbite.db"


@pytest.fixture
def database(path: Path) -> Iterator[Database]:
    """Give the database of a new study."""
    made = Database.create(path)
    yield made
    made.dispose()


def test_the_steps_make_the_tables_that_are_used(database: Database) -> None:
    """All steps together give the tables, columns, keys and links that the statements expect."""
    made = MetaData()
    with database.read() as connection:
        made.reflect(connection)
    assert {name: shape_of(table) for name, table in made.tables.items()} == {
        name: shape_of(table) for name, table in tables.METADATA.tables.items()
    }


def shape_of(table: Table) -> dict[str, Any]:
    """Give what a table's definition promises."""
    unique = {
        tuple(column.name for column in constraint.columns)
        for constraint in table.constraints
        if isinstance(constraint, UniqueConstraint)
    }
    links = {(key.parent.name, key.target_fullname) for key in table.foreign_keys}
    columns = [(column.name, column.nullable or column.primary_key) for column in table.c]
    key = [column.name for column in table.primary_key]
    return {"columns": columns, "key": key, "unique": unique, "links": links}


# --- the same on a database server ---------------------------------------------------------------


@pytest.mark.skipif(not SERVER, reason="LASTBITE_TEST_SERVER names no PostgreSQL database")
def test_a_server_holds_a_study_as_a_file_does() -> None:
    """Every statement of the store runs on PostgreSQL too and gives the same rows."""
    database = Database.create(SERVER)
    try:
        with pytest.raises(StudyError, match="holds a study already"):
            Database.create(SERVER)
        opened = Database.open(SERVER)
        with opened.begin() as connection:
            go_round(connection)
            assert data_version(connection) == 1
        made = MetaData()
        with opened.read() as connection:
            made.reflect(connection)
        for name, table in tables.METADATA.tables.items():
            assert shape_of(made.tables[name]) == shape_of(table)
        with pytest.raises(Exception, match="read-only"), opened.read() as connection:
            logs.put_placements(connection, [Placement("P9")])
        opened.dispose()
    finally:
        with database.begin() as connection:
            tables.METADATA.drop_all(connection)
        database.dispose()


def test_a_file_holds_a_study_as_a_server_does(database: Database) -> None:
    """The round that is made on a server gives the same on a file."""
    with database.begin() as connection:
        go_round(connection)


def go_round(connection: Connection) -> None:
    """Use every function once and check what it gives."""
    placement = Placement("P1", trays=("T1",), start=NOON, working_at_pickup=True, latitude=-29.5)
    check = ClockCheck("P1", NOON.replace(tzinfo=None), NOON)
    tray = TrayDeployment("D1", food_start_g=Decimal("2.50"), extra={"b": "1", "a": "ä"})
    species = Species("g", "gerbil", SpeciesRole.FORAGER)
    logs.put_species(connection, [species])
    logs.put_placements(connection, [placement])
    logs.put_clock_checks(connection, [check, ClockCheck("P1", None, None)])
    logs.put_tray_deployments(connection, [tray])
    assert logs.put_tray_deployments(connection, [replace(tray, tray="T1")]) == Counts(changed=1)
    assert logs.species(connection) == [species]
    assert logs.placements(connection) == [placement]
    assert logs.tray_deployments(connection) == [replace(tray, tray="T1")]
    assert logs.remove_clock_check(connection, "P1", None)
    assert logs.clock_checks(connection) == [check]
    shown = Header(NOON.replace(tzinfo=None), "5", "+02:00", TimeSource.ORIGINAL)
    card, (one, two) = card_with(connection, "P1", new_photo("b.jpg", header=shown), "Z.jpg")
    _, (copy,) = card_with(connection, "P2", new_photo("b.jpg", copy_of=one))
    assert [photo.file for photo in cards.photos(connection, "P1")] == ["Z.jpg", "b.jpg"]
    assert cards.photo(connection, one).camera_time == NOON.replace(tzinfo=None)
    assert [row.files for row in cards.cards(connection)] == [2, 1]
    assert [len(found) for found in cards.same_content(connection, [(1000, "b.jpg")]).values()] == [
        2
    ]
    cards.set_photos(connection, {two: new_photo("Z.jpg", size=2)})
    numbers = tags.add_tags(connection, [tag_of(one, two, where=Where.FED, count=2)], ["click"])
    assert tags.add_tags(connection, [tag_of(one)], ["click"]) == numbers
    tags.take_back(connection, numbers[0], NOON, "ann")
    assert tags.tag_count(connection) == 0
    tags.restore(connection, numbers[0], NOON, "ann")
    assert tags.tag_count(connection, "P1") == 1
    assert cards.move_card(connection, card, "P3") == card
    assert [tag.where for tag in tags.tags(connection, "P3")] == [Where.FED]
    assert cards.photo_counts(connection) == {"P3": 2}
    with pytest.raises(CardError, match="one tag"):
        cards.forget_card(connection, card)
    assert cards.forget_card(connection, card, with_tags=True) == 1
    assert cards.photo(connection, copy).copy_of is None
    assert cards.placements_with_photos(connection) == ["P2"]
