"""What the text of an Exif time means."""

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.cards import exif_time

GOOD = "2024:05:06 07:08:09"
MOMENT = datetime.fromisoformat("2024-05-06T07:08:09")
FIRST, LAST = datetime.fromisoformat("1990-01-01"), datetime.fromisoformat("2100-12-31")

# Forms and their meaning: "What real files do wrong", collected from real files beside the
# standard CIPA DC-008 / JEITA CP-3451 (Exif 2.x).


@pytest.mark.parametrize(
    ("written", "shown", "subsec", "offset"),
    [
        ("2020:06:12 06:04:32", "2020-06-12 06:04:32", "", ""),  # Exif field wording
        ("2023-07-21 21:06:26", "2023-07-21 21:06:26", "", ""),
        ("2018-01-20T11:46:00Z", "2018-01-20 11:46:00", "", "+00:00"),
        ("2018-01-20T11:46:00+01:00", "2018-01-20 11:46:00", "", "+01:00"),
        ("2019-11-28 14:38:40:794", "2019-11-28 14:38:40", "794", ""),
        ("2019-11-28T14:38:40.05Z", "2019-11-28 14:38:40", "05", "+00:00"),
        ("2025:01:14 18:31:30+0000", "2025-01-14 18:31:30", "", "+00:00"),
        ("2025:04:27 19:47:08-0300", "2025-04-27 19:47:08", "", "-03:00"),
        ("2017/06/08 1:40:32 +0200", "2017-06-08 01:40:32", "", "+02:00"),
        ("2020:06:12 06:04:32 -5:00", "2020-06-12 06:04:32", "", "-05:00"),
        ("2020:06:12 06:04:32\0", "2020-06-12 06:04:32", "", ""),
        ("2020:06:12 06:04:32\0\0xyz", "2020-06-12 06:04:32", "", ""),
        (" 2020:06:12 06:04:32 ", "2020-06-12 06:04:32", "", ""),
        (b"2020:06:12 06:04:32\0\xff\xfe", "2020-06-12 06:04:32", "", ""),
        ("2024:02:29 23:59:59", "2024-02-29 23:59:59", "", ""),
    ],
)
def test_forms_of_a_time(written: str | bytes, shown: str, subsec: str, offset: str) -> None:
    """Every form that cameras are known to write is read, with its fraction and offset."""
    read = exif_time(written)
    assert (read.shown, read.subsec, read.offset) == (
        datetime.fromisoformat(shown),
        subsec,
        offset,
    )
    assert read.flag == ""


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("2019:01:01 24:04:20", "2019-01-01 00:04:20"),  # file ..._20190101_000418
        ("2015:08:22 24:08:19", "2015-08-22 00:08:19"),
    ],
)
def test_hour_24(written: str, shown: str) -> None:
    """Hour 24 is hour 00 of the same written date, and flagged."""
    read = exif_time(written)
    assert read.shown == datetime.fromisoformat(shown)
    assert "hour 24" in read.flag


@pytest.mark.parametrize(
    "written",
    ["0000:00:00 00:00:00", "    :  :     :  :  ", " " * 19, "\0" * 19, "", b"", b"\0" * 20],
)
def test_no_time_is_written(written: str | bytes) -> None:
    """Zeros, blanks and blanks with their colons are no time."""
    read = exif_time(written)
    assert read.shown is None
    assert "holds no time" in read.flag


@pytest.mark.parametrize(
    "written",
    [
        "2004:01:     :  :  ",
        "2024:13:01 10:00:00",
        "2024:04:31 10:00:00",
        "2023:02:29 10:00:00",
        "2024:01:01 25:00:00",
        "2024:01:01 10:60:00",
        "2024:01:01 10:00:60",
        "2024:01:01 10:00:00 PM",
        "24:01:01 10:00:00",
        "2024:01-01 10:00:00",
        "2024:01:01",
        "yesterday",
        "\u0662024:01:01 10:00:00",  # an Arabic digit two,
    ],
)
def test_what_is_no_time(written: str) -> None:
    """What is not in the calendar, or only part of a time, is none; the text is quoted."""
    read = exif_time(written)
    assert read.shown is None
    assert written in read.flag


@pytest.mark.parametrize(
    ("year", "flagged"), [(1980, 1), (1989, 1), (1990, 0), (2100, 0), (2101, 1)]
)
def test_odd_years(year: int, flagged: int) -> None:
    """A year before 1990 or after 2100 is a time all the same, and flagged."""
    read = exif_time(f"{year}:01:01 00:00:00")
    assert read.shown == datetime.fromisoformat(f"{year}-01-01")
    assert (f"year {year}: the clock was probably" in read.flag) == bool(flagged)


@pytest.mark.parametrize("bad", ["+9999", "+15:00", "+01:75", "+x", "-", "+01:00:00"])
def test_a_bad_offset_keeps_the_time(bad: str) -> None:
    """An offset that cannot be read is left out; the date before it is kept."""
    read = exif_time(f"{GOOD}{bad}")
    assert (read.shown, read.offset) == (MOMENT, "")
    assert bad == "-" or bad in read.flag


@given(st.datetimes(FIRST, LAST), st.sampled_from(":-/"))
def test_every_time_is_read_back(shown: datetime, mark: str) -> None:
    """Every second from 1990 to 2100 is read as it was written."""
    written = shown.strftime(f"%Y{mark}%m{mark}%d %H:%M:%S")
    assert exif_time(written).shown == shown.replace(microsecond=0)


@given(st.one_of(st.text(), st.binary(), st.from_regex(r"[0-9 :T+Z./-]{0,30}")))
def test_no_text_is_guessed_at(written: str | bytes) -> None:
    """Any text gives a naive whole second or a flag, never an error."""
    read = exif_time(written)
    assert read.shown is not None or read.flag
    assert read.shown is None or (read.shown.tzinfo is None and read.shown.microsecond == 0)
    assert read.subsec == "" or read.subsec.isdecimal()
