"""Corrections of clocks: which photos they are for, what they change, and how they are undone."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from builders import NOON, photo_showing
from hypothesis import given
from hypothesis import strategies as st

from core.clockfaults import (
    ClockCorrection,
    ClockFault,
    corrected,
    corrected_checks,
    file_order,
    inverse,
    true_times,
)
from core.errors import ClockError
from core.model import ClockCheck, Photo, Placement

ZONE = ZoneInfo("Europe/Brussels")
HOUR_S = 3600
PLACED = Placement("P1", "cam", ("T1",), NOON, NOON + timedelta(days=9), clock="Z")


def shift(seconds: int, first: int | None = None, last: int | None = None) -> ClockCorrection:
    """Give a correction by so many seconds of the photos from one id to another."""
    return ClockCorrection("P1", ClockFault.ONE_HOUR, seconds, first, last)


EACH = ClockCorrection("P1", ClockFault.DAY_MONTH_EACH)


def card(*shown: str) -> list[Photo]:
    """Give photos 1, 2, … by what their camera showed."""
    return [photo_showing(text, number) for number, text in enumerate(shown, start=1)]


def displays(photos: list[Photo]) -> list[str]:
    """Give what the camera showed, as text."""
    return [f"{photo.camera_time or ''}" for photo in photos]


# --- the order of files --------------------------------------------------------------------------


def ordered(*files: str) -> list[str]:
    """Give file names in the order in which they were written."""
    photos = [photo_showing("", number, file=file) for number, file in enumerate(files, start=1)]
    return [photos[at].file for at in file_order(photos).places]


@pytest.mark.parametrize(
    "files",
    [
        pytest.param(["IMG_0001.JPG", "IMG_0002.JPG", "IMG_0010.JPG"], id="plain numbers"),
        pytest.param(["IMG_9998.JPG", "IMG_9999.JPG", "IMG_0001.JPG"], id="past 9999"),
        pytest.param(["100M/A9999.JPG", "101M/A0001.JPG", "101M/A0002.JPG"], id="two folders"),
        pytest.param(["IMG_0001.JPG", "MOV_0002.AVI", "IMG_0003.JPG"], id="one counter, two names"),
        pytest.param(["20190506_235959.JPG", "20190507_000001.JPG"], id="dates for names"),
    ],
)
def test_files_stand_in_the_order_in_which_they_were_written(files: list[str]) -> None:
    """Numbers count, through folders and past 9999; the order in which rows come does not."""
    assert ordered(*files) == files
    assert ordered(*reversed(files)) == files


def test_two_cards_with_like_names_are_told_apart_by_their_scans() -> None:
    """A name that comes again in a later scan is on the next card, and stands behind it."""
    photos = [photo_showing("", n, file=f"IMG_{at:04}.JPG") for n, at in enumerate([1, 2, 1, 2])]
    assert [photos[at].id for at in file_order(photos).places] == [0, 1, 2, 3]


def test_names_without_a_counter_say_nothing_of_the_order() -> None:
    """A date and time in one number, or no number, is no counter."""
    photos = [photo_showing("", n, file=name) for n, name in enumerate(["05060001.JPG", "x.JPG"])]
    assert set(file_order(photos).sequences) == {-1}


def test_species_folders_are_counters_of_their_own() -> None:
    """Files that people sorted into folders step back at each folder: no counter goes through."""
    photos = [photo_showing("", n, file=f) for n, f in enumerate(["a/I_001.JPG", "b/I_001.JPG"])]
    assert len(set(file_order(photos).sequences)) == 2


# --- what a correction does ----------------------------------------------------------------------


def test_a_correction_of_a_card_shifts_every_photo() -> None:
    """What the camera showed moves; a photo without a time has none to move."""
    photos = card("2026-03-14 12:00:00", "", "2026-03-14 12:00:05")
    assert displays(corrected(photos, [shift(HOUR_S)])) == [
        "2026-03-14 13:00:00",
        "",
        "2026-03-14 13:00:05",
    ]


def test_a_correction_of_a_piece_goes_by_the_order_of_the_files() -> None:
    """From the first to the last photo of the piece, both in it, however the rows come."""
    photos = card(*["2026-03-14 12:00:00"] * 4)
    moved = corrected(photos[::-1], [shift(60, 2, 3)])
    assert [photo.id for photo in moved if f"{photo.camera_time}".endswith("12:01:00")] == [3, 2]


def test_a_piece_whose_photo_is_gone_corrects_nothing() -> None:
    """A card that was forgotten takes its pieces along; nothing else is shifted by mistake."""
    photos = card("2026-03-14 12:00:00")
    assert corrected(photos, [shift(60, 1, 99)]) == photos


def test_several_corrections_follow_each_other() -> None:
    """The order is that of making: an exchange, then an hour, is not an hour, then an exchange."""
    photos = card("2026-03-12 23:30:00")
    first, second = replace(EACH, number=1), replace(shift(HOUR_S), number=2)
    assert displays(corrected(photos, [second, first])) == ["2026-12-04 00:30:00"]


def test_a_correction_that_was_taken_back_counts_no_longer() -> None:
    """It is kept, and changes nothing."""
    photos = card("2026-03-14 12:00:00")
    assert corrected(photos, [replace(shift(60), taken_back=NOON)]) == photos


@pytest.mark.parametrize(
    ("shown", "expected"),
    [
        ("2026-03-04 10:00:00", "2026-04-03 10:00:00"),
        ("2026-03-12 10:00:00", "2026-12-03 10:00:00"),
        ("2026-03-13 10:00:00", "2026-03-13 10:00:00"),
        ("2024-02-29 10:00:00", "2024-02-29 10:00:00"),
    ],
)
def test_an_exchange_of_day_and_month(shown: str, expected: str) -> None:
    """Day and month change places where the day can be a month; else the date was never exchanged.

    Two days of one month are a month apart after it: it is no constant shift.
    """
    assert displays(corrected(card(shown), [EACH])) == [expected]


def test_a_time_that_leaves_the_calendar_is_left_out() -> None:
    """A correction cannot make a time that no calendar has."""
    photos = card("9999-12-31 23:00:00")
    assert displays(corrected(photos, [shift(2 * HOUR_S)])) == [""]


DISPLAYS = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1))  # noqa: DTZ001


@given(
    st.lists(DISPLAYS, max_size=8),
    st.one_of(st.integers(-(10**8), 10**8).map(shift), st.just(EACH)),
)
def test_a_correction_and_its_inverse_restore_the_card(
    shown: list[datetime], one: ClockCorrection
) -> None:
    """Whatever a correction does, its inverse undoes, photo by photo."""
    photos = [photo_showing(f"{at:%Y-%m-%d %H:%M:%S}", n) for n, at in enumerate(shown, start=1)]
    there = corrected(photos, [replace(one, number=1)])
    both = [replace(one, number=1), replace(inverse(one), number=2)]
    assert corrected(photos, both) == photos
    assert corrected(there, [inverse(one)]) == photos


# --- clock checks --------------------------------------------------------------------------------


def check(shown: str, true: str, photo: str = "") -> ClockCheck:
    """Give a clock check; the true time is UTC."""
    moment = datetime.fromisoformat(true).replace(tzinfo=UTC)
    return ClockCheck("P1", datetime.fromisoformat(shown), moment, photo)


def test_a_check_moves_with_the_photos_around_it() -> None:
    """What the camera showed at a check is corrected like the photo it names, or the nearest."""
    photos = card("2026-03-14 12:00:00", "2015-01-01 00:05:00")
    piece = shift(100, 2, 2)
    named = check("2026-03-14 12:00:00", "2026-03-14 12:00", "IMG_0002.JPG")
    close = check("2015-01-01 00:06:00", "2026-03-15 12:00")
    other = check("2026-03-14 12:10:00", "2026-03-14 12:10")
    moved = corrected_checks([named, close, other], photos, [piece])
    assert [f"{one.camera_showed:%H:%M:%S}" for one in moved] == [
        "12:01:40",
        "00:07:40",
        "12:10:00",
    ]


def times(
    photos: list[Photo], checks: list[ClockCheck], corrections: list[ClockCorrection]
) -> list[str]:
    """Give true times as text."""
    timed, _ = true_times(photos, PLACED, checks, ZONE, corrections)
    return [f"{photo.true_time:%Y-%m-%d %H:%M:%S}" for photo in timed]


def test_corrections_come_before_the_clock_checks() -> None:
    """A check says what the display was at a true time; it corrects what a correction left."""
    photos = card("2025-03-14 12:00:00", "2025-03-14 18:00:00")
    year = shift(365 * 86_400)
    late = check("2025-03-14 12:00:00", "2026-03-14 12:00:30")
    assert times(photos, [], [year]) == ["2026-03-14 12:00:00", "2026-03-14 18:00:00"]
    assert times(photos, [late], [year]) == ["2026-03-14 12:00:30", "2026-03-14 18:00:30"]


def test_what_the_camera_showed_stays_as_it_was() -> None:
    """A photo keeps its display beside the corrected instant."""
    photos = card("2025-03-14 12:00:00")
    timed, _ = true_times(photos, PLACED, [], ZONE, [shift(HOUR_S)])
    assert timed[0].camera_time == photos[0].camera_time
    assert timed[0].true_time == datetime(2025, 3, 14, 13, tzinfo=UTC)


def test_without_corrections_times_are_those_of_the_clock() -> None:
    """Nothing is changed until something is accepted."""
    photos = card("2026-03-14 12:00:00", "")
    timed, clock = true_times(photos, PLACED, [], ZONE, [])
    assert [photo.true_time for photo in timed] == [NOON, None]
    assert clock.zone == UTC


def test_a_clock_that_began_anew_has_checks_of_its_own() -> None:
    """A check before a reset says nothing after it, and the other way round.

    By hand: the first piece is 30 s slow; the second, laid at 14:00 by the correction, shows
    14:10:00 at 14:10:45.
    """
    photos = card("2026-03-14 12:00:00", "2015-01-01 00:00:00", "2015-01-01 00:20:00")
    begun = (datetime(2026, 3, 14, 14) - datetime(2015, 1, 1)).total_seconds()  # noqa: DTZ001
    piece = ClockCorrection("P1", ClockFault.DEFAULT_DATE, int(begun), 2, 3)
    before = check("2026-03-14 12:00:00", "2026-03-14 12:00:30")
    after = check("2015-01-01 00:10:00", "2026-03-14 14:10:45")
    assert times(photos, [before], [piece]) == [
        "2026-03-14 12:00:30",
        "2026-03-14 14:00:00",
        "2026-03-14 14:20:00",
    ]
    assert times(photos, [before, after], [piece]) == [
        "2026-03-14 12:00:30",
        "2026-03-14 14:00:45",
        "2026-03-14 14:20:45",
    ]


def test_checks_on_both_sides_of_a_reset_run_backwards_until_it_is_accepted() -> None:
    """The clock cannot be corrected by checks of two clocks; the correction parts them."""
    photos = card("2026-03-14 12:00:00", "2015-01-01 00:10:00")
    checks = [
        check("2026-03-14 12:00:00", "2026-03-14 12:00"),
        check("2015-01-01 00:10:00", "2026-03-14 14:10"),
    ]
    with pytest.raises(ClockError, match="run backwards"):
        times(photos, checks, [])
    piece = ClockCorrection("P1", ClockFault.DEFAULT_DATE, 1, 2, 2)
    assert times(photos, checks, [piece]) == ["2026-03-14 12:00:00", "2026-03-14 14:10:00"]
