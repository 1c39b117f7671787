"""Every row comes back from the store as it was given, and each log keeps its order."""

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta, timezone
from operator import attrgetter
from pathlib import Path
from typing import Any, TypeVar

import pytest
from builders import LATER, NOON, card_with, rolled_back
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Table
from stores import KINDS, new_study

from core.model import (
    ClockCheck,
    Condition,
    Header,
    Photo,
    Placement,
    Species,
    SpeciesRole,
    Tag,
    TimeSource,
    TrayDeployment,
    TrayRole,
    Where,
)
from core.store import (
    Counts,
    Database,
    KnownFile,
    NewPhoto,
    cards,
    logs,
    tables,
    tags,
)


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """Give the database of a new study, in a file or on a server."""
    with new_study(request.param, tmp_path) as made:
        yield made


@pytest.fixture(scope="module", params=KINDS)
def shared(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    """Give one database for many examples, of which each is rolled back."""
    with new_study(request.param, tmp_path_factory.mktemp("shared")) as made:
        yield made


# --- each kind of row comes back as it was given -------------------------------------------------

TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20) | (
    st.sampled_from(["🐭🌾", "O'Neil", 'say "hi"', "a;b\r\nc", "%s ?1 :x", "Ä vs A\u0308", "=1+1"])
)
NAME = TEXT.filter(bool)
OFFSETS = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
TIMES = st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29), timezones=OFFSETS)  # noqa: DTZ001
SHOWN = st.datetimes()
DECIMALS = st.decimals(allow_nan=False, allow_infinity=False)
FLOATS = st.floats(allow_nan=False)
WHOLES = st.integers(-(2**63), 2**63 - 1)
EXTRA = st.dictionaries(TEXT, TEXT, max_size=3)


Row = TypeVar("Row")


def lists(rows: st.SearchStrategy[Row], key: str) -> st.SearchStrategy[list[Row]]:
    """Give lists of rows of one log, each key once."""
    return st.lists(rows, max_size=4, unique_by=attrgetter(key))


SPECIES_ROWS = lists(
    st.builds(
        Species,
        key=TEXT,
        name=TEXT,
        role=st.sampled_from(SpeciesRole),
        scientific_name=TEXT,
        sensitive=st.booleans(),
        extra=EXTRA,
    ),
    "key",
)
PLACEMENT_ROWS = lists(
    st.builds(
        Placement,
        placement=TEXT,
        camera=TEXT,
        trays=st.lists(TEXT, max_size=3).map(tuple),
        start=st.none() | TIMES,
        end=st.none() | TIMES,
        clock=TEXT,
        working_at_pickup=st.none() | st.booleans(),
        timelapse_every_min=st.none() | WHOLES,
        quiet_s=st.none() | WHOLES,
        latitude=st.none() | FLOATS,
        longitude=st.none() | FLOATS,
        uncertainty_m=st.none() | FLOATS,
        extra=EXTRA,
    ),
    "placement",
)
CLOCK_ROWS = lists(
    st.builds(
        ClockCheck,
        placement=TEXT,
        camera_showed=st.none() | SHOWN,
        true_time=st.none() | TIMES,
        photo=TEXT,
        extra=EXTRA,
    ),
    "placement",
)
TRAY_ROWS = lists(
    st.builds(
        TrayDeployment,
        deployment=TEXT,
        tray=TEXT,
        set_out=st.none() | TIMES,
        picked_up=st.none() | TIMES,
        food_start_g=st.none() | DECIMALS,
        food_left_g=st.none() | DECIMALS,
        items_start=st.none() | WHOLES,
        items_left=st.none() | WHOLES,
        site=TEXT,
        pair=TEXT,
        microhabitat=TEXT,
        substrate_l=st.none() | DECIMALS,
        food=TEXT,
        role=st.sampled_from(TrayRole),
        condition=st.sampled_from(Condition),
        target=TEXT,
        handler=TEXT,
        notes=TEXT,
        extra=EXTRA,
    ),
    "deployment",
)


@settings(deadline=None)
@given(rows=SPECIES_ROWS)
def test_species_come_back_as_given(shared: Database, rows: list[Species]) -> None:
    """Every species, with any text in it, is fetched as it was put, in the order put."""
    with rolled_back(shared) as connection:
        assert logs.put_species(connection, rows) == Counts(new=len(rows))
        assert logs.species(connection) == rows


@settings(deadline=None)
@given(rows=PLACEMENT_ROWS)
def test_placements_come_back_as_given(shared: Database, rows: list[Placement]) -> None:
    """Every placement is fetched as it was put, its times the same instants and aware in UTC."""
    with rolled_back(shared) as connection:
        logs.put_placements(connection, rows)
        found = logs.placements(connection)
        assert found == rows
        assert all(row.start is None or row.start.tzinfo is UTC for row in found)
        assert logs.put_placements(connection, rows) == Counts(same=len(rows))


@settings(deadline=None)
@given(rows=CLOCK_ROWS)
def test_clock_checks_come_back_as_given(shared: Database, rows: list[ClockCheck]) -> None:
    """Every clock check is fetched as it was put, what the camera showed naive as it was."""
    with rolled_back(shared) as connection:
        logs.put_clock_checks(connection, rows)
        assert logs.clock_checks(connection) == rows
        assert logs.put_clock_checks(connection, rows) == Counts(same=len(rows))


@settings(deadline=None)
@given(rows=TRAY_ROWS)
def test_tray_deployments_come_back_as_given(shared: Database, rows: list[TrayDeployment]) -> None:
    """Every tray deployment is fetched as it was put, each mass with every digit written."""
    with rolled_back(shared) as connection:
        logs.put_tray_deployments(connection, rows)
        found = logs.tray_deployments(connection)
        assert found == rows
        assert [str(row.food_left_g) for row in found] == [str(row.food_left_g) for row in rows]


HEADERS = st.builds(
    Header,
    camera_time=st.none() | SHOWN,
    subsec=TEXT,
    offset=TEXT,
    time_source=st.sampled_from(TimeSource),
    make=TEXT,
    model=TEXT,
    problem=TEXT,
    is_photo=st.booleans(),
)
FILES = st.lists(
    st.builds(
        NewPhoto,
        file=NAME,
        size=st.integers(0, 2**63 - 1),
        changed_ns=WHOLES,
        fingerprint=TEXT,
        header=HEADERS,
        content_hash=st.none() | TEXT,
    ),
    max_size=4,
    unique_by=lambda row: row.file,
)


@settings(deadline=None)
@given(placement=TEXT, folder=NAME, rows=FILES)
def test_photos_come_back_as_given(
    shared: Database, placement: str, folder: str, rows: list[NewPhoto]
) -> None:
    """Every file of a card is fetched with what its header said, ordered by file."""
    with rolled_back(shared) as connection:
        card, ids = card_with(connection, placement, *rows, folder=folder)
        numbered = sorted(zip(rows, ids, strict=True), key=lambda pair: pair[0].file)
        assert cards.photos(connection, placement) == [
            Photo(
                photo_id,
                placement,
                row.file,
                row.header.camera_time,
                row.header.subsec,
                row.header.offset,
                row.header.time_source,
                row.header.problem,
                None,
                row.header.is_photo,
            )
            for row, photo_id in numbered
        ]
        assert cards.known_files(connection, card) == {
            row.file: KnownFile(
                photo_id, row.size, row.changed_ns, row.header.problem, row.fingerprint
            )
            for row, photo_id in numbered
        }


@settings(deadline=None)
@given(
    given_tags=st.lists(
        st.builds(
            Tag,
            number=st.just(0),
            placement=st.just("P1"),
            first_photo=st.just(1),
            last_photo=st.just(2),
            tagger=TEXT,
            species=TEXT,
            count=st.none() | WHOLES,
            where=st.none() | st.sampled_from(Where),
            sure=st.booleans(),
            tray=TEXT,
            ruling=st.booleans(),
            also=st.booleans(),
            comment=TEXT,
            made_at=st.none() | TIMES,
            origin=TEXT,
            taken_back=st.just(False),
        ),
        max_size=4,
    )
)
def test_tags_come_back_as_given(shared: Database, given_tags: list[Tag]) -> None:
    """Every tag is fetched as it was made, with its number, in the order made."""
    with rolled_back(shared) as connection:
        _, (first, last) = card_with(connection, "P1", "1.jpg", "2.jpg")
        made = [replace(tag, first_photo=first, last_photo=last) for tag in given_tags]
        numbers = tags.add_tags(connection, made, [None] * len(made))
        expected = [replace(tag, number=n) for tag, n in zip(made, numbers, strict=True)]
        assert tags.tags(connection, "P1") == expected
        assert numbers == sorted(set(numbers))


@pytest.mark.parametrize(
    ("table", "row", "position"),
    [
        (tables.SPECIES, Species, "position"),
        (tables.PLACEMENTS, Placement, "position"),
        (tables.CLOCK_CHECKS, ClockCheck, "position"),
        (tables.TRAY_DEPLOYMENTS, TrayDeployment, "position"),
        (tables.TAGS, Tag, "action"),
    ],
)
def test_no_field_is_forgotten(table: Table, row: type[Any], position: str) -> None:
    """A field added to a row needs a column: none is dropped without a word."""
    names = {field.name for field in fields(row)} - {"taken_back"}
    assert {column.key for column in table.c} - {position} == names


def test_times_of_the_wrong_kind_are_refused(database: Database) -> None:
    """A true time without a zone, or a camera's time with one, is a bug and never stored."""
    naive = NOON.replace(tzinfo=None)
    with pytest.raises(Exception, match="Expected a time with a zone"), rolled_back(database) as c:
        logs.put_clock_checks(c, [ClockCheck("P1", naive, naive)])
    with pytest.raises(Exception, match="without zone"), rolled_back(database) as c:
        logs.put_clock_checks(c, [ClockCheck("P1", NOON, NOON)])


def test_stored_times_sort_as_text() -> None:
    """Stored times compare as text in the order of time, fractions of a second too."""
    moments = [NOON + timedelta(microseconds=step) for step in (0, 1, 500_000, 1_000_000)]
    moments.append(moments[-1].astimezone(timezone(timedelta(hours=-9))) + timedelta(seconds=1))
    written = [tables.UtcTime().process_bind_param(one, sqlite_dialect()) for one in moments]
    assert written == sorted(written, key=str)
    assert written[0] == "2026-03-14T12:00:00+00:00"


def sqlite_dialect() -> Any:
    """Give SQLAlchemy's SQLite dialect."""
    return tables.CARDS.select().compile().dialect


# --- the logs ------------------------------------------------------------------------------------


def test_a_log_loaded_again_counts_and_keeps_its_order(database: Database) -> None:
    """A newer row takes the older one's place; new rows stand after the older ones."""
    first = [TrayDeployment("D1"), TrayDeployment("D2"), TrayDeployment("D3")]
    again = [TrayDeployment("D4"), TrayDeployment("D3"), TrayDeployment("D1", tray="T1")]
    with database.begin() as connection:
        assert logs.put_tray_deployments(connection, first) == Counts(new=3)
        assert logs.put_tray_deployments(connection, again) == Counts(new=1, changed=1, same=1)
    with database.read() as connection:
        assert logs.tray_deployments(connection) == [
            TrayDeployment("D1", tray="T1"),
            TrayDeployment("D2"),
            TrayDeployment("D3"),
            TrayDeployment("D4"),
        ]


def test_a_removed_row_goes_to_the_end_when_it_returns(database: Database) -> None:
    """A row that was removed and put again is a new row, even where it was the last."""
    with database.begin() as connection:
        logs.put_species(connection, [Species(key, key, SpeciesRole.FORAGER) for key in "abc"])
        assert logs.remove_species(connection, "c")
        assert logs.remove_species(connection, "a")
        assert not logs.remove_species(connection, "a")
        logs.put_species(connection, [Species(key, key, SpeciesRole.OTHER) for key in "ac"])
        assert [row.key for row in logs.species(connection)] == ["b", "a", "c"]


def test_the_same_key_twice_in_one_load_holds_once(database: Database) -> None:
    """Of two rows with one key in one load the later holds, and one is counted."""
    rows = [Placement("P1", camera="old"), Placement("P1", camera="new")]
    with database.begin() as connection:
        assert logs.put_placements(connection, rows) == Counts(new=1)
        assert logs.placements(connection) == [rows[1]]
        assert logs.remove_placement(connection, "P1")
        assert not logs.remove_placement(connection, "P1")


def test_clock_checks_are_told_apart_by_what_the_camera_showed(database: Database) -> None:
    """Two checks of a placement at different times shown are two; blank ones are all kept."""
    shown = NOON.replace(tzinfo=None)
    check, blank = ClockCheck("P1", shown, NOON), ClockCheck("P1", None, NOON)
    other_blank = ClockCheck("P1", None, LATER)
    with database.begin() as connection:
        assert logs.put_clock_checks(connection, [check, blank]) == Counts(new=2)
        changed = ClockCheck("P1", shown, LATER)
        counts = logs.put_clock_checks(connection, [changed, blank, other_blank])
        assert counts == Counts(new=1, changed=1, same=1)
        assert logs.clock_checks(connection) == [changed, blank, other_blank]
        assert logs.remove_clock_check(connection, "P1", None)
        assert logs.clock_checks(connection) == [changed]
        assert not logs.remove_clock_check(connection, "P2", shown)
        assert logs.remove_clock_check(connection, "P1", shown)
        assert logs.clock_checks(connection) == []
        assert not logs.remove_tray_deployment(connection, "D1")
