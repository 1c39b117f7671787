"""Decide which columns the study's tables have and how each kind of value is written in them.

Times are ISO text, which sorts rightly and is read quickest: UTC with its offset, or naive for
what a camera showed. Masses are text, so that no digit is lost. The tables themselves are made
by `migrations`; a test holds the two together.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Dialect,
    Double,
    ForeignKey,
    MetaData,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

from core.clockfaults.rows import ClockFault
from core.coverage.rows import Why
from core.handout import Unit
from core.model import Condition, SpeciesRole, TimeSource, TrayRole, Where
from core.people import Role, State

METADATA = MetaData()


class UtcTime(TypeDecorator[datetime]):
    """An aware time, kept as ISO text in UTC."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Write the time in UTC; ValueError for one without a zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"Expected a time with a zone, got {value.isoformat()}.")
        return value.astimezone(UTC).isoformat()

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Read the time back, aware, in UTC."""
        return None if value is None else datetime.fromisoformat(value)


class CameraTime(TypeDecorator[datetime]):
    """What a camera showed, kept as ISO text without a zone."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Write the time as shown; ValueError for one with a zone."""
        if value is None:
            return None
        if value.tzinfo is not None:
            raise ValueError(f"Expected a camera's own time without zone, got {value.isoformat()}.")
        return value.isoformat()

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Read the time back, naive."""
        return None if value is None else datetime.fromisoformat(value)


class DecimalText(TypeDecorator[Decimal]):
    """A decimal number with every digit that was written."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Write the digits."""
        return None if value is None else str(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:  # noqa: ARG002
        """Read the digits back."""
        return None if value is None else Decimal(value)


class Word(TypeDecorator[StrEnum]):
    """One of the words of an enum."""

    impl = Text
    cache_ok = True

    def __init__(self, words: type[StrEnum]) -> None:
        super().__init__()
        self.words = words

    def process_bind_param(self, value: StrEnum | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Write the word; ValueError for one that the enum does not have."""
        return None if value is None else self.words(value).value

    def process_result_value(self, value: str | None, dialect: Dialect) -> StrEnum | None:  # noqa: ARG002
        """Read the word back as the enum's member."""
        return None if value is None else self.words(value)


class Cells(TypeDecorator[Mapping[str, str]]):
    """Further columns of a log, kept as JSON in their order."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Mapping[str, str] | None, dialect: Dialect) -> str:  # noqa: ARG002
        """Write the cells."""
        return json.dumps(dict(value or {}), ensure_ascii=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> dict[str, str]:  # noqa: ARG002
        """Read the cells back."""
        cells: dict[str, str] = json.loads(value or "{}")
        return cells


class Names(TypeDecorator[tuple[str, ...]]):
    """Several names in their order, kept as JSON."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Sequence[str] | None, dialect: Dialect) -> str:  # noqa: ARG002
        """Write the names."""
        return json.dumps(list(value or ()), ensure_ascii=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[str, ...]:  # noqa: ARG002
        """Read the names back."""
        return tuple(json.loads(value or "[]"))


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


SCHEMA_STEPS = Table(
    "schema_steps",
    METADATA,
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    _text("name"),
    Column("ran_at", UtcTime, nullable=False),
)

CHANGES = Table(
    # One row for each counter of changes; which is which is decided in `database`.
    "changes",
    METADATA,
    Column("id", BigInteger, primary_key=True, autoincrement=False),
    Column("number", BigInteger, nullable=False),
)

# --- the logs: `position` is the place in the log, kept from the first insertion ---------------

SPECIES = Table(
    "species",
    METADATA,
    Column("position", BigInteger, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    _text("name"),
    Column("role", Word(SpeciesRole), nullable=False),
    _text("scientific_name"),
    Column("sensitive", Boolean, nullable=False),
    Column("extra", Cells, nullable=False),
)

PLACEMENTS = Table(
    "placements",
    METADATA,
    Column("position", BigInteger, primary_key=True),
    Column("placement", Text, nullable=False, unique=True),
    _text("camera"),
    Column("trays", Names, nullable=False),
    Column("start", UtcTime),
    Column("end", UtcTime),
    _text("clock"),
    Column("working_at_pickup", Boolean),
    Column("timelapse_every_min", BigInteger),
    Column("quiet_s", BigInteger),
    Column("latitude", Double),
    Column("longitude", Double),
    Column("uncertainty_m", Double),
    Column("extra", Cells, nullable=False),
)

CLOCK_CHECKS = Table(
    "clock_checks",
    METADATA,
    Column("position", BigInteger, primary_key=True),
    _text("placement"),
    Column("camera_showed", CameraTime),
    Column("true_time", UtcTime),
    _text("photo"),
    Column("extra", Cells, nullable=False),
    UniqueConstraint("placement", "camera_showed"),
)

TRAY_DEPLOYMENTS = Table(
    "tray_deployments",
    METADATA,
    Column("position", BigInteger, primary_key=True),
    Column("deployment", Text, nullable=False, unique=True),
    _text("tray"),
    Column("set_out", UtcTime),
    Column("picked_up", UtcTime),
    Column("food_start_g", DecimalText),
    Column("food_left_g", DecimalText),
    Column("items_start", BigInteger),
    Column("items_left", BigInteger),
    _text("site"),
    _text("pair"),
    _text("microhabitat"),
    Column("substrate_l", DecimalText),
    _text("food"),
    Column("role", Word(TrayRole), nullable=False),
    Column("condition", Word(Condition), nullable=False),
    _text("target"),
    _text("handler"),
    _text("notes"),
    Column("extra", Cells, nullable=False),
)

# --- cards, photos, tags -----------------------------------------------------------------------

CARDS = Table(
    "cards",
    METADATA,
    Column("id", BigInteger, primary_key=True),
    _text("placement"),
    _text("folder"),
    Column("scanned_at", UtcTime, nullable=False),
    UniqueConstraint("placement", "folder"),
)

PHOTOS = Table(
    "photos",
    METADATA,
    Column("id", BigInteger, primary_key=True),
    Column("card_id", BigInteger, ForeignKey("cards.id"), nullable=False),
    _text("placement"),
    _text("file"),
    Column("size", BigInteger, nullable=False),
    Column("changed_ns", BigInteger, nullable=False),
    _text("fingerprint"),
    Column("content_hash", Text),
    Column("camera_time", CameraTime),
    _text("subsec"),
    _text("offset"),
    Column("time_source", Word(TimeSource), nullable=False),
    _text("make"),
    _text("model"),
    _text("problem"),
    Column("is_photo", Boolean, nullable=False),
    Column("copy_of", BigInteger, ForeignKey("photos.id")),
    UniqueConstraint("card_id", "file"),
)

TAGS = Table(
    "tags",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    _text("placement"),
    Column("first_photo", BigInteger, ForeignKey("photos.id"), nullable=False),
    Column("last_photo", BigInteger, ForeignKey("photos.id"), nullable=False),
    _text("tagger"),
    _text("species"),
    Column("count", BigInteger),
    Column("where_", Word(Where), key="where"),
    Column("sure", Boolean, nullable=False),
    _text("tray"),
    Column("ruling", Boolean, nullable=False),
    Column("also", Boolean, nullable=False),
    _text("comment"),
    Column("made_at", UtcTime),
    _text("origin"),
    Column("action", Text, unique=True),
)

TAG_EVENTS = Table(
    "tag_events",
    METADATA,
    Column("id", BigInteger, primary_key=True),
    Column("number", BigInteger, ForeignKey("tags.number"), nullable=False),
    Column("taken_back", Boolean, nullable=False),
    Column("done_at", UtcTime, nullable=False),
    _text("done_by"),
    Column("action", Text),
)

FORGOTTEN_TAGS = Table(
    "forgotten_tags",
    METADATA,
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    _text("tag"),
    Column("forgotten_at", UtcTime, nullable=False),
)

# --- what can be worked out again from the photos, and what people said of the trays' outlines ---

SCORES = Table(
    "scores",
    METADATA,
    Column("photo_id", BigInteger, ForeignKey("photos.id"), primary_key=True, autoincrement=False),
    # How it was worked out: the method's number and the picture it looked at.
    Column("method", BigInteger, nullable=False),
    _text("basis"),
    Column("infrared", Boolean, nullable=False),
    Column("whole", Double, nullable=False),
    Column("on_tray", Double),
    Column("off_tray", Double),
    # JSON: polygons round what changed, lengths in picture widths.
    _text("outline"),
    Column("grey", Double),
    Column("contrast", Double),
)

TRAY_OUTLINES = Table(
    "tray_outlines",
    METADATA,
    Column("id", BigInteger, primary_key=True),
    _text("placement"),
    _text("tray"),
    Column("cx", Double, nullable=False),
    Column("cy", Double, nullable=False),
    Column("rx", Double, nullable=False),
    Column("ry", Double, nullable=False),
    Column("angle", Double, nullable=False),
    _text("made_by"),
    Column("made_at", UtcTime, nullable=False),
)

CLOCK_CORRECTIONS = Table(
    "clock_corrections",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    _text("placement"),
    Column("kind", Word(ClockFault), nullable=False),
    Column("shift_s", BigInteger, nullable=False),
    # No foreign keys: a correction outlives the card that its piece was on.
    Column("first_photo", BigInteger),
    Column("last_photo", BigInteger),
    _text("why"),
    Column("made_by", Text, nullable=False, key="by"),
    Column("made_at", UtcTime, nullable=False),
    Column("taken_back", UtcTime),
    Column("taken_back_by", Text),
)

STRETCH_RULINGS = Table(
    "stretch_rulings",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    _text("placement"),
    Column("why", Word(Why), nullable=False),
    Column("start", UtcTime, nullable=False),
    Column("end", UtcTime, nullable=False),
    Column("accepted", Boolean, nullable=False),
    _text("because"),
    Column("made_by", Text, nullable=False, key="by"),
    Column("made_at", UtcTime, nullable=False),
    Column("taken_back", UtcTime),
    Column("taken_back_by", Text),
    Column("look_at", Text),
)

# Raised as photos are measured at a placement where some show nothing: there alone it matters.
MEASURE_MARKS = Table(
    "measure_marks",
    METADATA,
    Column("placement", Text, primary_key=True),
    Column("number", BigInteger, nullable=False),
)

CODES_READ = Table(
    "codes_read",
    METADATA,
    Column("photo_id", BigInteger, ForeignKey("photos.id"), primary_key=True, autoincrement=False),
    Column("method", BigInteger, nullable=False),
    # JSON: text, corners in picture widths, and the way of looking, of each code.
    _text("found"),
    Column("hurried", Boolean, nullable=False),
    Column("unreadable", Boolean, nullable=False),
)

CODE_DECISIONS = Table(
    "code_decisions",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    _text("placement"),
    _text("proposal"),
    Column("accepted", Boolean, nullable=False),
    _text("words"),
    # JSON: cells by name, as they stood and as they became.
    _text("before"),
    _text("after"),
    Column("made_by", Text, nullable=False, key="by"),
    Column("made_at", UtcTime, nullable=False),
    Column("taken_back", UtcTime),
    Column("taken_back_by", Text),
)

SECRETS = Table(
    "secrets",
    METADATA,
    Column("name", Text, primary_key=True),
    _text("value"),
)

# --- a class -----------------------------------------------------------------------------------

PEOPLE = Table(
    "people",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    _text("name"),
    Column("same", Text, nullable=False, unique=True),
    Column("role", Word(Role), nullable=False),
    Column("state", Word(State), nullable=False),
    _text("account"),
    Column("since", UtcTime, nullable=False),
)

# No foreign keys in these two: a share or a reference outlives the card that its photo was on.
SHARES = Table(
    "shares",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    _text("placement"),
    Column("photo_id", BigInteger, nullable=False),
    _text("tagger"),
    Column("training", Boolean, nullable=False),
    UniqueConstraint("placement", "photo_id", "tagger"),
)

REFERENCE_PHOTOS = Table(
    "reference_photos",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    Column("photo_id", BigInteger, nullable=False),
    _text("species"),
    _text("made_by"),
    Column("made_at", UtcTime, nullable=False),
    UniqueConstraint("photo_id", "species"),
)

HANDOUTS = Table(
    "handouts",
    METADATA,
    Column("number", BigInteger, primary_key=True),
    Column("unit", Word(Unit), nullable=False),
    Column("training", Double, nullable=False),
    _text("made_by"),
    Column("made_at", UtcTime, nullable=False),
)
