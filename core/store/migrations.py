"""Decide by which numbered steps a study's database has grown; a step once released stays as it is.

Each step runs whole or not at all, in one transaction with the note that it ran.
"""

from collections.abc import Callable
from datetime import UTC, datetime

from sqlalchemy import Connection, inspect, select

from core.store import dialects
from core.store.tables import METADATA, SCHEMA_STEPS

Step = Callable[[Connection], None]
STEPS: list[Step] = []
"""In order; the first has number 1. Append only."""


def steps_run(connection: Connection) -> list[int] | None:
    """Give the numbers of the steps that ran, rising; None where the database has no such list."""
    if not inspect(connection).has_table(SCHEMA_STEPS.name):
        return None
    return list(connection.scalars(select(SCHEMA_STEPS.c.number).order_by(SCHEMA_STEPS.c.number)))


def run_step(connection: Connection, number: int) -> None:
    """Run a step and note it, unless it ran before; the caller's transaction holds both."""
    SCHEMA_STEPS.create(connection, checkfirst=True)
    if number in (steps_run(connection) or ()):
        return
    step = STEPS[number - 1]
    note = {"number": number, "name": step.__name__, "ran_at": datetime.now(UTC)}
    connection.execute(SCHEMA_STEPS.insert(), note)
    step(connection)


def drop(connection: Connection) -> None:
    """Drop all that the steps made on a server: of a study that was made in vain."""
    METADATA.drop_all(connection)
    connection.exec_driver_sql("DROP FUNCTION IF EXISTS tags_are_kept()")


def _step(step: Step) -> Step:
    STEPS.append(step)
    return step


# `{key}` is the dialect's own way of saying: a number that is never given twice.
FIRST_TABLES = (
    """CREATE TABLE changes (
        id BIGINT NOT NULL PRIMARY KEY,
        number BIGINT NOT NULL
    )""",
    "INSERT INTO changes (id, number) VALUES (1, 0)",
    """CREATE TABLE species (
        position {key},
        key TEXT NOT NULL UNIQUE,
        name TEXT NOT NULL,
        role TEXT NOT NULL,
        scientific_name TEXT NOT NULL,
        sensitive BOOLEAN NOT NULL,
        extra TEXT NOT NULL
    )""",
    """CREATE TABLE placements (
        position {key},
        placement TEXT NOT NULL UNIQUE,
        camera TEXT NOT NULL,
        trays TEXT NOT NULL,
        start TEXT,
        "end" TEXT,
        clock TEXT NOT NULL,
        working_at_pickup BOOLEAN,
        timelapse_every_min BIGINT,
        quiet_s BIGINT,
        latitude DOUBLE PRECISION,
        longitude DOUBLE PRECISION,
        uncertainty_m DOUBLE PRECISION,
        extra TEXT NOT NULL
    )""",
    """CREATE TABLE clock_checks (
        position {key},
        placement TEXT NOT NULL,
        camera_showed TEXT,
        true_time TEXT,
        photo TEXT NOT NULL,
        extra TEXT NOT NULL,
        UNIQUE (placement, camera_showed)
    )""",
    """CREATE TABLE tray_deployments (
        position {key},
        deployment TEXT NOT NULL UNIQUE,
        tray TEXT NOT NULL,
        set_out TEXT,
        picked_up TEXT,
        food_start_g TEXT,
        food_left_g TEXT,
        items_start BIGINT,
        items_left BIGINT,
        site TEXT NOT NULL,
        pair TEXT NOT NULL,
        microhabitat TEXT NOT NULL,
        substrate_l TEXT,
        food TEXT NOT NULL,
        role TEXT NOT NULL,
        condition TEXT NOT NULL,
        target TEXT NOT NULL,
        handler TEXT NOT NULL,
        notes TEXT NOT NULL,
        extra TEXT NOT NULL
    )""",
    """CREATE TABLE cards (
        id {key},
        placement TEXT NOT NULL,
        folder TEXT NOT NULL,
        scanned_at TEXT NOT NULL,
        UNIQUE (placement, folder)
    )""",
    """CREATE TABLE photos (
        id {key},
        card_id BIGINT NOT NULL REFERENCES cards (id),
        placement TEXT NOT NULL,
        file TEXT NOT NULL,
        size BIGINT NOT NULL,
        changed_ns BIGINT NOT NULL,
        fingerprint TEXT NOT NULL,
        content_hash TEXT,
        camera_time TEXT,
        subsec TEXT NOT NULL,
        "offset" TEXT NOT NULL,
        time_source TEXT NOT NULL,
        make TEXT NOT NULL,
        model TEXT NOT NULL,
        problem TEXT NOT NULL,
        is_photo BOOLEAN NOT NULL,
        copy_of BIGINT REFERENCES photos (id),
        UNIQUE (card_id, file)
    )""",
    "CREATE INDEX photos_of_placement ON photos (placement)",
    "CREATE INDEX photos_by_content ON photos (fingerprint, size)",
    "CREATE INDEX copies_of_photo ON photos (copy_of) WHERE copy_of IS NOT NULL",
    """CREATE TABLE tags (
        number {key},
        placement TEXT NOT NULL,
        first_photo BIGINT NOT NULL REFERENCES photos (id),
        last_photo BIGINT NOT NULL REFERENCES photos (id),
        tagger TEXT NOT NULL,
        species TEXT NOT NULL,
        count BIGINT,
        where_ TEXT,
        sure BOOLEAN NOT NULL,
        tray TEXT NOT NULL,
        ruling BOOLEAN NOT NULL,
        also BOOLEAN NOT NULL,
        comment TEXT NOT NULL,
        made_at TEXT,
        origin TEXT NOT NULL,
        action TEXT UNIQUE
    )""",
    "CREATE INDEX tags_of_placement ON tags (placement)",
    "CREATE INDEX tags_by_first_photo ON tags (first_photo)",
    "CREATE INDEX tags_by_last_photo ON tags (last_photo)",
    """CREATE TABLE tag_events (
        id {key},
        number BIGINT NOT NULL REFERENCES tags (number),
        taken_back BOOLEAN NOT NULL,
        done_at TEXT NOT NULL,
        done_by TEXT NOT NULL
    )""",
    "CREATE INDEX events_of_tag ON tag_events (number)",
    """CREATE TABLE forgotten_tags (
        number BIGINT NOT NULL PRIMARY KEY,
        tag TEXT NOT NULL,
        forgotten_at TEXT NOT NULL
    )""",
)

# SQLite refuses at its own door what no function here does: changing what a tag says, or deleting
# one that is not kept among the forgotten. (Its placement follows its photos when a card moves.)
TAGS_ARE_KEPT = (
    """CREATE TRIGGER tags_are_not_changed
    BEFORE UPDATE OF number, first_photo, last_photo, tagger, species, count, where_, sure, tray,
        ruling, also, comment, made_at, origin, action ON tags
    BEGIN SELECT RAISE(ABORT, 'tags are append-only'); END""",
    """CREATE TRIGGER tags_are_not_deleted BEFORE DELETE ON tags
    WHEN NOT EXISTS (SELECT 1 FROM forgotten_tags WHERE number = OLD.number)
    BEGIN SELECT RAISE(ABORT, 'tags are append-only'); END""",
    """CREATE TRIGGER tag_events_are_not_changed BEFORE UPDATE ON tag_events
    BEGIN SELECT RAISE(ABORT, 'tags are append-only'); END""",
    """CREATE TRIGGER tag_events_are_not_deleted BEFORE DELETE ON tag_events
    WHEN NOT EXISTS (SELECT 1 FROM forgotten_tags WHERE number = OLD.number)
    BEGIN SELECT RAISE(ABORT, 'tags are append-only'); END""",
)


@_step
def s01_logs_cards_photos_tags(connection: Connection) -> None:
    """Hold the four logs, the cards with their photos, and the tags that people made."""
    for statement in FIRST_TABLES:
        connection.exec_driver_sql(statement.replace("{key}", dialects.key(connection)))
    if dialects.is_sqlite(connection):
        for statement in TAGS_ARE_KEPT:
            connection.exec_driver_sql(statement)


SCORES_AND_OUTLINES = (
    # A second counter, of changes to tags alone: what does not hang on tags is not made anew.
    "INSERT INTO changes (id, number) VALUES (2, 0)",
    """CREATE TABLE scores (
        photo_id BIGINT NOT NULL PRIMARY KEY REFERENCES photos (id),
        method BIGINT NOT NULL,
        basis TEXT NOT NULL,
        infrared BOOLEAN NOT NULL,
        whole DOUBLE PRECISION NOT NULL,
        on_tray DOUBLE PRECISION,
        off_tray DOUBLE PRECISION,
        outline TEXT NOT NULL
    )""",
    """CREATE TABLE tray_outlines (
        id {key},
        placement TEXT NOT NULL,
        tray TEXT NOT NULL,
        cx DOUBLE PRECISION NOT NULL,
        cy DOUBLE PRECISION NOT NULL,
        rx DOUBLE PRECISION NOT NULL,
        ry DOUBLE PRECISION NOT NULL,
        angle DOUBLE PRECISION NOT NULL,
        made_by TEXT NOT NULL,
        made_at TEXT NOT NULL
    )""",
    "CREATE INDEX outlines_of_placement ON tray_outlines (placement)",
    """CREATE TABLE secrets (
        name TEXT NOT NULL PRIMARY KEY,
        value TEXT NOT NULL
    )""",
)


@_step
def s02_scores_outlines_secrets(connection: Connection) -> None:
    """Hold how much each photo differs from its quiet scene, the trays' outlines, and secrets."""
    for statement in SCORES_AND_OUTLINES:
        connection.exec_driver_sql(statement.replace("{key}", dialects.key(connection)))


@_step
def s03_acts_of_tag_events(connection: Connection) -> None:
    """Hold by which act a tag was taken back or restored, so that a repeated one counts once."""
    connection.exec_driver_sql("ALTER TABLE tag_events ADD COLUMN action TEXT")
    connection.exec_driver_sql(
        "CREATE INDEX events_by_action ON tag_events (action) WHERE action IS NOT NULL"
    )


CORRECTIONS = (
    """CREATE TABLE clock_corrections (
        number {key},
        placement TEXT NOT NULL,
        kind TEXT NOT NULL,
        shift_s BIGINT NOT NULL,
        first_photo BIGINT,
        last_photo BIGINT,
        why TEXT NOT NULL,
        made_by TEXT NOT NULL,
        made_at TEXT NOT NULL,
        taken_back TEXT,
        taken_back_by TEXT
    )""",
    "CREATE INDEX corrections_of_placement ON clock_corrections (placement)",
)


@_step
def s04_clock_corrections(connection: Connection) -> None:
    """Hold the corrections of clocks that people accepted, with who, when and why."""
    for statement in CORRECTIONS:
        connection.exec_driver_sql(statement.replace("{key}", dialects.key(connection)))


PEOPLE = (
    # `same` is the name as names are compared, so that two of one name cannot be made at once.
    """CREATE TABLE people (
        number {key},
        name TEXT NOT NULL,
        same TEXT NOT NULL UNIQUE,
        role TEXT NOT NULL,
        state TEXT NOT NULL,
        account TEXT NOT NULL,
        since TEXT NOT NULL
    )""",
    """CREATE TABLE shares (
        number {key},
        placement TEXT NOT NULL,
        photo_id BIGINT NOT NULL,
        tagger TEXT NOT NULL,
        training BOOLEAN NOT NULL,
        UNIQUE (placement, photo_id, tagger)
    )""",
    """CREATE TABLE handouts (
        number {key},
        unit TEXT NOT NULL,
        training DOUBLE PRECISION NOT NULL,
        made_by TEXT NOT NULL,
        made_at TEXT NOT NULL
    )""",
    """CREATE TABLE reference_photos (
        number {key},
        photo_id BIGINT NOT NULL,
        species TEXT NOT NULL,
        made_by TEXT NOT NULL,
        made_at TEXT NOT NULL,
        UNIQUE (photo_id, species)
    )""",
)


@_step
def s05_people_shares_references(connection: Connection) -> None:
    """Hold who takes part, which visits are whose to tag, and photos that show a species well."""
    for statement in PEOPLE:
        connection.exec_driver_sql(statement.replace("{key}", dialects.key(connection)))


WATCHING = (
    # Mean grey and contrast of a photo, 0 to 1; none where it was scored before they were asked.
    "ALTER TABLE scores ADD COLUMN grey DOUBLE PRECISION",
    "ALTER TABLE scores ADD COLUMN contrast DOUBLE PRECISION",
    """CREATE TABLE stretch_rulings (
        number {key},
        placement TEXT NOT NULL,
        why TEXT NOT NULL,
        start TEXT NOT NULL,
        "end" TEXT NOT NULL,
        accepted BOOLEAN NOT NULL,
        because TEXT NOT NULL,
        made_by TEXT NOT NULL,
        made_at TEXT NOT NULL,
        taken_back TEXT,
        taken_back_by TEXT
    )""",
    "CREATE INDEX stretch_rulings_of_placement ON stretch_rulings (placement)",
)


@_step
def s06_stretch_rulings_and_measures(connection: Connection) -> None:
    """Hold what people said of suspected stretches, and how dark and how plain each photo is."""
    for statement in WATCHING:
        connection.exec_driver_sql(statement.replace("{key}", dialects.key(connection)))


# The same promise as TAGS_ARE_KEPT, in a server's words; there a table can be emptied whole, too.
TAGS_ARE_KEPT_BY_A_SERVER = (
    """CREATE FUNCTION tags_are_kept() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF TG_OP = 'DELETE' THEN
            IF EXISTS (SELECT 1 FROM forgotten_tags WHERE number = OLD.number) THEN
                RETURN OLD;
            END IF;
        END IF;
        RAISE EXCEPTION 'tags are append-only' USING ERRCODE = 'integrity_constraint_violation';
    END $$""",
    """CREATE TRIGGER tags_are_not_changed
    BEFORE UPDATE OF number, first_photo, last_photo, tagger, species, count, where_, sure, tray,
        ruling, also, comment, made_at, origin, action ON tags
    FOR EACH ROW EXECUTE FUNCTION tags_are_kept()""",
    """CREATE TRIGGER tags_are_not_deleted BEFORE DELETE ON tags
    FOR EACH ROW EXECUTE FUNCTION tags_are_kept()""",
    """CREATE TRIGGER tags_are_not_emptied BEFORE TRUNCATE ON tags
    FOR EACH STATEMENT EXECUTE FUNCTION tags_are_kept()""",
    """CREATE TRIGGER tag_events_are_not_changed BEFORE UPDATE OR DELETE ON tag_events
    FOR EACH ROW EXECUTE FUNCTION tags_are_kept()""",
    """CREATE TRIGGER tag_events_are_not_emptied BEFORE TRUNCATE ON tag_events
    FOR EACH STATEMENT EXECUTE FUNCTION tags_are_kept()""",
)


@_step
def s07_a_server_keeps_tags_too(connection: Connection) -> None:
    """Have a database server refuse to change or delete a tag, as SQLite does since s01."""
    if not dialects.is_sqlite(connection):
        for statement in TAGS_ARE_KEPT_BY_A_SERVER:
            connection.exec_driver_sql(statement)


CODES = (
    """CREATE TABLE codes_read (
        photo_id BIGINT NOT NULL PRIMARY KEY REFERENCES photos (id),
        method BIGINT NOT NULL,
        found TEXT NOT NULL,
        hurried BOOLEAN NOT NULL,
        unreadable BOOLEAN NOT NULL
    )""",
    """CREATE TABLE code_decisions (
        number {key},
        placement TEXT NOT NULL,
        proposal TEXT NOT NULL,
        accepted BOOLEAN NOT NULL,
        words TEXT NOT NULL,
        before TEXT NOT NULL,
        after TEXT NOT NULL,
        made_by TEXT NOT NULL,
        made_at TEXT NOT NULL,
        taken_back TEXT,
        taken_back_by TEXT
    )""",
    "CREATE INDEX code_decisions_of_placement ON code_decisions (placement)",
)


@_step
def s08_codes_read_and_decided(connection: Connection) -> None:
    """Hold what codes photos showed, and what people said of what they lead to."""
    for statement in CODES:
        connection.exec_driver_sql(statement.replace("{key}", dialects.key(connection)))


LOOKED_AT = (
    # Ids of the photos that somebody looked at; none where the ruling is from before they were.
    "ALTER TABLE stretch_rulings ADD COLUMN look_at TEXT",
    # Raised as photos of a placement are measured of which some show nothing.
    """CREATE TABLE measure_marks (
        placement TEXT NOT NULL PRIMARY KEY,
        number BIGINT NOT NULL
    )""",
)


@_step
def s09_rulings_name_their_photos(connection: Connection) -> None:
    """Hold which photos a ruling is of, and a number that rises as dark photos are measured."""
    for statement in LOOKED_AT:
        connection.exec_driver_sql(statement)
