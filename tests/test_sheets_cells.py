"""What a time, number, name or clock in a cell means."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import Problem
from core.model import Condition, SpeciesRole, Where
from core.sheets import (
    camera_time_cell,
    choice_cell,
    clock_cell,
    degrees_cell,
    key_cell,
    local_text,
    mass_cell,
    name_cell,
    number_cell,
    positive_cell,
    time_cell,
    whole_cell,
    yes_no_cell,
)

NEW_YORK = ZoneInfo("America/New_York")
CAPE = ZoneInfo("Africa/Johannesburg")


def fault_of(value: object) -> str:
    """Give the message of a parser that refused."""
    assert isinstance(value, Problem)
    return value.message


def naive(text: str) -> datetime:
    """Give a time without a zone, as workbooks and cameras hold it."""
    return datetime.fromisoformat(text)


# --- times -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-03-14 07:05", "2026-03-14 05:05:00"),
        ("2026-03-14 07:05:09", "2026-03-14 05:05:09"),
        ("2026-03-14T07:05:09", "2026-03-14 05:05:09"),
        ("2026-03-14t07:05", "2026-03-14 05:05:00"),
        ("2026-3-4 7:05", "2026-03-04 05:05:00"),
        ("2026/03/14 07:05", "2026-03-14 05:05:00"),
        ("2026-03-14  07:05", "2026-03-14 05:05:00"),
        ("20260314T070509", "2026-03-14 05:05:09"),
        ("2026-03-14 07:05:09.999", "2026-03-14 05:05:09"),
        ("2026-03-14 07:05+05:30", "2026-03-14 01:35:00"),
        ("2026-03-14 07:05 +0530", "2026-03-14 01:35:00"),
        ("2026-03-14 07:05\u221204:00", "2026-03-14 11:05:00"),
        ("2026-03-14T07:05Z", "2026-03-14 07:05:00"),
        ("2026-03-14T07:05:09z", "2026-03-14 07:05:09"),
        ("2026-03-14 07:05-00:00", "2026-03-14 07:05:00"),
    ],
)
def test_a_time_that_can_be_read_in_one_way(text: str, utc: str) -> None:
    """The study's zone (here two hours ahead of UTC) holds where no offset is written."""
    assert time_cell(text, CAPE) == datetime.fromisoformat(utc).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("03/04/2026 07:05", "can mean 2026-04-03 or 2026-03-04"),
        ("3.4.2026", "can mean 2026-04-03 or 2026-03-04"),
        ("3-4-26", "can mean 2026-04-03 or 2026-03-04 or 2003-04-26"),
        ("25/04/2026 7:05", "Write 2026-04-25 7:05."),
        ("25/04/2026", "Write 2026-04-25 HH:MM."),
        ("25/04/2026 7:05 PM", "Write 2026-04-25 HH:MM."),
        ("03/03/2026 07:05", "Write 2026-03-03 07:05."),
        ("31/31/2026", "no date of the calendar"),
        ("2026-02-30 07:05", "names day 30, which 2026-02 does not have"),
        ("2026-14-03 07:05", "names month 14"),
        ("1899-12-30 07:05", "lies in the year 1899"),
        ("2101-01-01 00:00", "lies in the year 2101"),
        ("2026-03-14 24:00", "Write 2026-03-15 00:00."),
        ("2026-03-14 24:01", "no time of day"),
        ("2026-03-14 07:60", "no time of day"),
        ("2026-03-14", "has no time of day"),
        ("07:05", "has no date"),
        ("2026-03-14 7:05 PM", "uses AM or PM"),
        ("46095.295", "spreadsheet's number"),
        ("2026-03-14 07:05+15:00", "has the offset +15:00"),
        ("2026-03-14 07:05+02:75", "has the offset +02:75"),
        ("14 March 2026 07:05", "no time that can be read in one way only"),
        ("yesterday", "Write YYYY-MM-DD HH:MM"),
    ],
)
def test_a_time_that_is_refused_says_what_to_write(text: str, expected: str) -> None:
    """Day/month forms show their readings in ISO; the other refusals name what is wrong."""
    assert expected in fault_of(time_cell(text, CAPE))


def test_the_hour_that_summer_time_skips() -> None:
    """New York went from 02:00 to 03:00 on 10 March 2024 (standards/time.md, measured there)."""
    message = fault_of(time_cell("2024-03-10 02:30", NEW_YORK))
    assert "does not exist in America/New_York" in message
    assert "Write 2024-03-10 01:30 or 2024-03-10 03:30" in message
    assert time_cell("2024-03-10 03:00", NEW_YORK) == datetime(2024, 3, 10, 7, 0, tzinfo=UTC)
    assert time_cell("2024-03-10 02:30-05:00", NEW_YORK) == datetime(2024, 3, 10, 7, 30, tzinfo=UTC)


def test_the_hour_that_comes_twice() -> None:
    """New York had 01:30 twice on 3 November 2024, at 05:30Z and 06:30Z (standards/time.md)."""
    message = fault_of(time_cell("2024-11-03 01:30", NEW_YORK))
    first, second = "2024-11-03 01:30-04:00", "2024-11-03 01:30-05:00"
    assert f"{first} (the first time) or {second} (the second)" in message
    assert time_cell(first, NEW_YORK) == datetime(2024, 11, 3, 5, 30, tzinfo=UTC)
    assert time_cell(second, NEW_YORK) == datetime(2024, 11, 3, 6, 30, tzinfo=UTC)
    assert time_cell("2024-11-03 02:00", NEW_YORK) == datetime(2024, 11, 3, 7, 0, tzinfo=UTC)


def test_a_half_hour_of_summer_time() -> None:
    """Lord Howe puts its clocks back by 30 min: 01:45 on 7 April 2024 is double (time.md)."""
    message = fault_of(time_cell("2024-04-07 01:45", ZoneInfo("Australia/Lord_Howe")))
    assert "2024-04-07 01:45+11:00" in message
    assert "2024-04-07 01:45+10:30" in message


@given(
    st.datetimes(naive("1990-01-02"), naive("2100-12-30"), timezones=st.just(UTC)),
    st.sampled_from(["America/New_York", "Australia/Lord_Howe", "Africa/Johannesburg", "UTC"]),
)
def test_a_time_that_is_written_reads_back_the_same(moment: datetime, name: str) -> None:
    """Any moment, written local to a zone, is read as that moment."""
    zone, whole = ZoneInfo(name), moment.replace(microsecond=0)
    assert time_cell(local_text(whole, zone), zone) == whole


@given(st.integers(0, 4 * 3600))
def test_a_time_around_the_end_of_summer_reads_back_the_same(seconds: int) -> None:
    """Both rounds of the double hour keep their place: the offset is written there alone."""
    moment = datetime(2024, 11, 3, 4, 0, tzinfo=UTC) + timedelta(seconds=seconds)
    text = local_text(moment, NEW_YORK)
    assert time_cell(text, NEW_YORK) == moment
    double = 3600 <= seconds < 3 * 3600
    assert text.endswith(("-04:00", "-05:00")) == double


def test_what_a_camera_showed_has_no_offset() -> None:
    """A camera's display is naive, also in an hour that local clocks skipped."""
    assert camera_time_cell("2024-03-10 02:30:05") == naive("2024-03-10 02:30:05")
    assert camera_time_cell("2024:03:10 02:30:05") == naive("2024-03-10 02:30:05")
    assert "2024-03-10 02:30." in fault_of(camera_time_cell("2024-03-10 02:30+02:00"))
    assert "can mean" in fault_of(camera_time_cell("03/04/2026 02:30"))


# --- other cells -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "delimiter", "expected"),
    [
        ("3.42", ",", "3.42"),
        ("3.40", ",", "3.40"),
        (".5", ",", "0.5"),
        ("+3", ",", "3"),
        ("-0", ",", "0"),
        ("10000", ",", "10000"),
        ("3,42", ";", "3.42"),
        ("1,234", ";", "1.234"),
        ("3,42", "\t", "3.42"),
        ("0,125", "", "0.125"),
    ],
)
def test_a_mass_keeps_every_digit(text: str, delimiter: str, expected: str) -> None:
    """A decimal comma is taken where the file's delimiter leaves no other reading."""
    assert str(mass_cell(text, delimiter)) == expected


@pytest.mark.parametrize(
    ("text", "delimiter", "expected"),
    [
        ("3,42", ",", "Write 3.42"),
        ("1,234", "\t", "can mean 1.234 or 1234"),
        ("1,234", "", "can mean 1.234 or 1234"),
        ("1,234.5", ";", "no plain number"),
        ("1e3", ",", "no plain number"),
        ("3.42 g", ",", "without a unit"),
        ("nan", ",", "no plain number"),
        ("inf", ",", "no plain number"),
        ("\u0663", ",", "no plain number"),
        ("-0.1", ",", "is negative"),
        ("\u22121", ",", "is negative"),
        ("12000", ",", "12000 g of food, more than 10000 g; did you mean milligrams?"),
        ("10000.01", ",", "milligrams"),
    ],
)
def test_a_mass_that_is_refused(text: str, delimiter: str, expected: str) -> None:
    """Thousands, exponents, units, negative and absurd masses are refused in words."""
    assert expected in fault_of(mass_cell(text, delimiter))


def test_whole_numbers() -> None:
    """Both bounds are allowed, 10.0 is whole, and half an item is not."""
    found = [whole_cell(text, 1, 10, "items") for text in ("1", "10", "10.0", "010")]
    assert found == [1, 10, 10, 10]
    assert "no whole number" in fault_of(whole_cell("2.5", 1, 10, "items"))
    assert "no whole number" in fault_of(whole_cell("two", 1, 10, "items"))
    assert "outside 1 to 10" in fault_of(whole_cell("11", 1, 10, "items"))
    assert "outside 1 to 10" in fault_of(whole_cell("0", 1, 10, "items"))


def test_yes_and_no() -> None:
    """The usual ways to say yes and no are taken in any letter case, others are not guessed."""
    assert [yes_no_cell(word) for word in ("YES", "y", "True", "1")] == [True] * 4
    assert [yes_no_cell(word) for word in ("No", "n", "FALSE", "0")] == [False] * 4
    assert "neither yes nor no" in fault_of(yes_no_cell("maybe"))


def test_a_choice_in_any_letter_case_or_a_suggestion() -> None:
    """The likely word is named, and all words where none is likely."""
    assert choice_cell("Forager", SpeciesRole) is SpeciesRole.FORAGER
    assert 'Did you mean "on_tray"?' in fault_of(choice_cell("on tray", Where))
    assert 'Did you mean "flooded"?' in fault_of(choice_cell("floded", Condition))
    message = fault_of(choice_cell("eaten by goat", Where))
    assert "Did you mean" not in message
    assert "fed, on_tray, near" in message


def test_coordinates_and_other_measures() -> None:
    """Degrees are decimal and in range, other measures above zero."""
    assert degrees_cell("-33.918", 90) == -33.918
    assert degrees_cell("18,5", 180, ";") == 18.5
    assert "outside -90 to 90" in fault_of(degrees_cell("118.3", 90))
    assert "south and west with a minus" in fault_of(degrees_cell("33.9 S", 90))
    assert positive_cell("2.0", 1000) == Decimal("2.0")
    assert "not above 0" in fault_of(positive_cell("0", 1000))
    assert "at most 1000" in fault_of(positive_cell("1000.1", 1000))
    assert "no plain number" in fault_of(positive_cell("2 L", 1000))
    assert number_cell("-2.50") == Decimal("-2.50")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("+02:00", "+02:00"),
        ("-0930", "-09:30"),
        ("+2", "+02:00"),
        ("+14:00", "+14:00"),
        ("\u221205:00", "-05:00"),
        ("z", "Z"),
        ("utc", "UTC"),
        ("Africa/Johannesburg", "Africa/Johannesburg"),
    ],
)
def test_what_a_clock_is_set_to(text: str, expected: str) -> None:
    """A fixed offset, UTC or a zone, written in one way."""
    assert clock_cell(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("africa/johannesburg", 'Did you mean "Africa/Johannesburg"?'),
        ("Europe/Brussel", 'Did you mean "Europe/Brussels"?'),
        ("+14:30", "from -14:00 to +14:00"),
        ("+02:60", "from -14:00 to +14:00"),
        ("02:00:00", "has no sign"),
        ("2", "has no sign"),
        ("UTC+2", "mixes a zone and an offset"),
        ("localtime", "no time zone that is known"),
        ("summer", "no time zone that is known"),
    ],
)
def test_a_clock_that_is_refused(text: str, expected: str) -> None:
    """Never this computer's own zone, never an offset without its sign."""
    assert expected in fault_of(clock_cell(text))


def test_names_and_keys() -> None:
    """A name stands on one line, a key is one character however it is composed."""
    assert name_cell("Cape spurfowl") == "Cape spurfowl"
    assert "line break" in fault_of(name_cell("T1\nT2"))
    assert key_cell("e\u0301") == "\u00e9"
    assert "has 2 characters" in fault_of(key_cell("mm"))
    assert "cannot be typed" in fault_of(key_cell("\u200e"))
    for key in ".+-=?":
        assert "means something else on the Tag page" in fault_of(key_cell(key))
