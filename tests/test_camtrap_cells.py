"""Cells of a package: what is written is read back, and what is doubtful is refused in words."""

import json
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from packages import NEEDS_SHARED, standards

from core.camtrap.cells import LONGEST_NUMBER, CellError, Value, read, time_of, write
from core.camtrap.fields import MISSING, TABLES, VERSION, Field, Kind, TableOf

TEXT, NUMBER, WHOLE, YES_NO, TIME = (Field("it", kind) for kind in Kind)
COUNT = Field("count", Kind.WHOLE, least=1)
LEVEL = Field("observationLevel", required=True, words=("media", "event"))
SEX = Field("sex", words=("female", "male"))
FIELDS = [*(field for table in TABLES for field in table.fields), TEXT, NUMBER, WHOLE, YES_NO, TIME]
SUMMER = timezone(timedelta(hours=2))

offsets = st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
moments = st.datetimes(
    datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=offsets  # noqa: DTZ001 (the zone follows)
).map(lambda moment: moment.replace(microsecond=0))  # fmt: skip


@given(moments)
def test_a_time_is_read_back_with_its_offset(moment: datetime) -> None:
    """A time keeps its moment and its offset, strictly and loosely read."""
    text = write(moment, TIME)
    for strict in (True, False):
        back = time_of(text, strict=strict)
        assert back == moment
        assert back.utcoffset() == moment.utcoffset()


@given(st.floats(-1e12, 1e12).filter(lambda number: number == 0 or abs(number) > 1e-20))
def test_a_number_is_read_back_exactly(number: float) -> None:
    """A number comes back bit by bit."""
    assert read(write(number, NUMBER), NUMBER) == number


@given(st.decimals(-1000, 1000, places=4))
def test_a_mass_keeps_its_digits(mass: Decimal) -> None:
    """A decimal number is written as it is, never with an exponent."""
    text = write(mass, NUMBER)
    assert Decimal(text) == mass
    assert "e" not in text.casefold()


@given(st.integers(-(10**20), 10**20))
def test_a_whole_number_never_has_a_point(number: int) -> None:
    """A whole number is its digits, also where it was held as a decimal."""
    for told in (number, Decimal(number)):
        assert write(told, WHOLE) == str(number)
    assert read(str(number), WHOLE) == number


@given(st.text().filter(lambda text: text not in MISSING))
def test_a_text_is_read_back_as_it_was(text: str) -> None:
    """A text is not trimmed and not changed."""
    assert read(write(text, TEXT), TEXT) == text


@given(st.booleans())
def test_true_and_false_are_words(told: bool) -> None:
    """True and false are written as the small words, and come back."""
    assert write(told, YES_NO) in {"true", "false"}
    assert read(write(told, YES_NO), YES_NO) is told


@given(st.sampled_from(FIELDS), st.booleans(), st.one_of(
    st.text(),
    st.text("0123456789+-.:TZeE "),
    st.from_regex(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}T[0-9]{2}:[0-9]{2}:[0-9]{2}[+-][0-9]{2}:[0-9]{2}"),
))  # fmt: skip
def test_no_cell_breaks_the_reading(field: Field, strict: bool, text: str) -> None:
    """Whatever stands in a cell, it is read, or refused in a sentence with a way out."""
    said = ""
    try:
        value = read(text, field, strict=strict)
    except CellError as fault:
        said = str(fault)
    assert said.endswith(".") if said else (value is None) == (text in MISSING)


@given(st.sampled_from(FIELDS), st.one_of(
    st.none(), st.text(), st.integers(), st.floats(), st.booleans(), st.decimals(), st.datetimes(),
    moments,
))  # fmt: skip
def test_what_can_be_written_can_be_read(field: Field, value: Value | Decimal) -> None:
    """Any value is written so that it is read again, or refused with the column's name."""
    try:
        text = write(value, field)
    except CellError:
        return
    assert (read(text, field) is None) == (value is None)


@given(st.sampled_from(FIELDS), st.text())
def test_what_is_read_strictly_is_read_loosely_too(field: Field, text: str) -> None:
    """Reading loosely never refuses what is right, and makes the same of it."""
    try:
        value = read(text, field)
    except CellError:
        return
    assert read(text, field, strict=False) == value


@pytest.mark.parametrize(
    "text",
    ["2026-05-30T04:57:37+0200", "2026-5-30T4:57:37+02:00", "2026-05-30 04:57:37+02:00",
     "2026-05-30T04:57:37.500+02:00", " 2026-05-30T04:57:37+02:00", "2026-05-30T02:57:37z"],
)  # fmt: skip
def test_times_of_others_are_read_where_no_doubt_is_left(text: str) -> None:
    """Forms that the standard does not have are read loosely, and refused strictly."""
    assert time_of(text, strict=False) == datetime(2026, 5, 30, 2, 57, 37, tzinfo=UTC)
    with pytest.raises(CellError, match=r"2026-05-30T04:57:37\+02:00"):
        time_of(text)


@pytest.mark.parametrize(
    "text", ["2026-05-30T04:57:37", "2026-05-30 04:57:37", "2026:05:30 04:57:37"]
)
def test_a_time_without_an_offset_is_refused_for_that(text: str) -> None:
    """A naive time is no moment; the reason is told, strictly and loosely."""
    for strict in (True, False):
        with pytest.raises(CellError, match="no offset"):
            time_of(text, strict=strict)


@pytest.mark.parametrize(
    "text",
    ["2026-02-30T04:57:37Z", "2026-05-30T24:00:00Z", "2026-05-30T04:57:60Z",
     "2026-05-30T04:57:37+25:00", "0001-01-01T00:00:00+02:00", "9999-12-31T23:00:00-02:00"],
)  # fmt: skip
def test_a_time_that_no_calendar_has_is_refused(text: str) -> None:
    """A day or second that does not exist, or has no UTC, is told as that."""
    for strict in (True, False):
        with pytest.raises(CellError, match="no such time"):
            time_of(text, strict=strict)


def test_times_are_written_whole_and_zero_as_z() -> None:
    """Fractions are dropped, the offset has a colon, and UTC is Z."""
    moment = datetime(2026, 5, 30, 4, 57, 37, 999_999, tzinfo=SUMMER)
    assert write(moment, TIME) == "2026-05-30T04:57:37+02:00"
    assert write(moment.astimezone(UTC), TIME) == "2026-05-30T02:57:37Z"


@pytest.mark.parametrize(
    ("value", "field"),
    [(datetime(2026, 5, 30), TIME),  # noqa: DTZ001 (naive is what is refused)
     (datetime(1880, 1, 1, tzinfo=timezone(-timedelta(hours=4, minutes=56, seconds=2))), TIME),
     (1.5, WHOLE), (True, WHOLE), (True, NUMBER), (float("nan"), NUMBER), (float("inf"), WHOLE),
     (1, YES_NO), (3, TEXT), (0, COUNT), ("both", LEVEL), (None, LEVEL), ("NA", TEXT), ("", TEXT),
     ("3", NUMBER), (Decimal("sNaN"), NUMBER), (Decimal("1E+99999"), WHOLE)],
)  # fmt: skip
def test_values_that_a_column_cannot_hold_are_refused(value: Value | Decimal, field: Field) -> None:
    """A value of another type, out of bounds, naive or blank is never written."""
    with pytest.raises(CellError):
        write(value, field)


def test_a_whole_number_held_as_a_float_has_no_point() -> None:
    """What a table of numbers with gaps makes of a count is still written as one."""
    assert write(3.0, COUNT) == "3"
    assert write(None, COUNT) == ""


@pytest.mark.parametrize("text", ["51,496", "1_000", "INF", "NaNs", "0x10", "٣", " 1", "1e999"])
def test_what_looks_like_a_number_to_some_is_refused(text: str) -> None:
    """Decimal commas, infinity, underscores, blanks and other digits are no numbers."""
    with pytest.raises(CellError, match="no number"):
        read(text, NUMBER)


def test_too_many_digits_are_no_measure() -> None:
    """A number of very many digits is refused before it costs time."""
    with pytest.raises(CellError, match="no whole number"):
        read("9" * (LONGEST_NUMBER + 1), WHOLE)


def test_loosely_words_and_limits_count_where_a_cell_is_required() -> None:
    """Of others' packages an odd sex or a count of none is read, an odd level is not."""
    assert read("unknown", SEX, strict=False) == "unknown"
    assert read("0", COUNT, strict=False) == 0
    assert read("1.0", COUNT, strict=False) == 1
    with pytest.raises(CellError, match="media, event"):
        read("both", LEVEL, strict=False)


@pytest.mark.parametrize("text", MISSING)
def test_nothing_is_nothing_in_each_of_its_forms(text: str) -> None:
    """The standard's words for a missing value are one, and refused where one has to be there."""
    assert read(text, SEX) is None
    with pytest.raises(CellError, match="Nothing is there"):
        read(text, LEVEL)


@NEEDS_SHARED
@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_the_columns_are_those_of_the_published_schemas(table: TableOf) -> None:
    """Names, order, types and limits are the standard's; Exif data of any type count as text."""
    path = standards() / f"camtrap-dp-{VERSION}" / f"{table.name}-table-schema.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    published = []
    for told in schema["fields"]:
        limits = told.get("constraints", {})
        published.append(
            Field(
                told["name"],
                Kind.TEXT if told["type"] == "any" else Kind(told["type"]),
                required=limits.get("required", False),
                least=limits.get("minimum"),
                most=limits.get("maximum"),
                words=tuple(limits.get("enum", ())),
                pattern=limits.get("pattern", ""),
                unique=limits.get("unique", False),
            )
        )
    assert list(table.fields) == published
    assert tuple(schema["missingValues"]) == MISSING
    keys = {key["fields"]: key["reference"]["resource"] for key in schema.get("foreignKeys", ())}
    assert table.refers == keys
