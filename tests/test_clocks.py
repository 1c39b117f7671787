"""The true time of a photo from what its camera showed."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import photo_showing
from hypothesis import given
from hypothesis import strategies as st

from core.clocks import Clock, clock_of, correct, parse_clock, with_true_times
from core.errors import ClockError
from core.model import ClockCheck, ClockFlag, Photo, Placement

BRUSSELS = ZoneInfo("Europe/Brussels")
NEW_YORK = ZoneInfo("America/New_York")
MAY = "2026-05-01T00:00:00+02:00"
DAY_S = 86_400


def utc(text: str) -> datetime:
    """Give an aware time from its ISO text."""
    return datetime.fromisoformat(text).astimezone(UTC)


def placed(clock: str = "", start: str = MAY) -> Placement:
    """Give a placement of the camera log."""
    return Placement("P1", "cam", ("T1",), utc(start) if start else None, clock=clock)


def check(showed: str, true: str) -> ClockCheck:
    """Give one line of the clock log."""
    return ClockCheck(
        "P1",
        datetime.fromisoformat(showed) if showed else None,
        utc(true) if true else None,
    )


def timed(
    photos: Sequence[Photo | str],
    placement: Placement | None,
    *checks: ClockCheck,
    zone: ZoneInfo = BRUSSELS,
) -> list[Photo]:
    """Give photos their true times as a study in `zone` does; texts are photos 1, 2, …."""
    made = [
        photo_showing(one, number) if isinstance(one, str) else one
        for number, one in enumerate(photos, start=1)
    ]
    shown = [photo.camera_time for photo in made if photo.camera_time is not None]
    return with_true_times(made, clock_of(placement, checks, zone, min(shown, default=None)))


def times(photos: Sequence[Photo]) -> list[datetime | None]:
    """Give the true times."""
    return [photo.true_time for photo in photos]


def flags(photos: Sequence[Photo]) -> list[ClockFlag]:
    """Give what makes the true times unsure."""
    return [photo.clock_flag for photo in photos]


# --- zones and offsets -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("clock", "offset"),
    [
        pytest.param("+02:00", timedelta(hours=2), id="fixed"),
        pytest.param("-03:30", -timedelta(hours=3, minutes=30), id="fixed, behind and a half"),
        pytest.param("-00:30", -timedelta(minutes=30), id="the sign counts for the minutes"),
        pytest.param("Z", timedelta(0), id="Z"),
        pytest.param("UTC", timedelta(0), id="UTC"),
        # Source of these three: standards/time.md
        pytest.param("Asia/Kathmandu", timedelta(hours=5, minutes=45), id="Kathmandu"),
        pytest.param("Etc/GMT+5", -timedelta(hours=5), id="Etc/GMT+5 is five hours behind"),
        pytest.param("EST", -timedelta(hours=5), id="EST is fixed"),
    ],
)
def test_what_a_clock_cell_means(clock: str, offset: timedelta) -> None:
    """A clock cell is a fixed offset or a zone; a July noon on it is noon less its offset."""
    (photo,) = timed(["2026-07-01 12:00:00"], placed(clock))
    assert photo.true_time == utc("2026-07-01T12:00:00Z") - offset
    assert datetime(2026, 7, 1, tzinfo=parse_clock(clock)).utcoffset() == offset
    assert photo.clock_flag is ClockFlag.NONE


def test_a_camera_left_on_winter_time_keeps_its_offset_through_the_change() -> None:
    """A blank clock cell is the offset in force at the start, not the zone with its changes.

    Source: Camtrap DP 1.0.2 example, photo RCNX0031 of deployment 62c200a9, set up
    on 27 March 2021, the eve of summer time.
    """
    kept = placed(start="2021-03-27T21:38:18+01:00")
    switched = placed("Europe/Brussels", "2021-03-27T21:38:18+01:00")
    assert times(timed(["2021-04-11 20:43:09"], kept)) == [utc("2021-04-11T19:43:09Z")]
    assert times(timed(["2021-04-11 20:43:09"], switched)) == [utc("2021-04-11T18:43:09Z")]


def test_a_camera_set_up_in_summer_keeps_summer_time_in_winter() -> None:
    """The offset in force at the start holds the other way round too."""
    (photo,) = timed(["2026-12-01 12:00:00"], placed(start="2026-10-24T12:00:00Z"))
    assert photo.true_time == utc("2026-12-01T10:00:00Z")


def test_the_start_decides_in_the_studys_zone_not_in_the_offset_it_is_written_with() -> None:
    """The same start written in another offset means the same clock."""
    written = [placed(start=text) for text in ("2026-05-01T06:00:00+02:00", "2026-05-01T00:00-04")]
    assert len({times(timed(["2026-05-02 12:00:00"], one))[0] for one in written}) == 1


@pytest.mark.parametrize("placement", [None, placed(start="")], ids=["unlogged", "blank start"])
def test_without_a_start_the_first_time_shown_stands_in(placement: Placement | None) -> None:
    """Before there is a start, the offset of the study's zone when the card begins is kept."""
    photos = timed(["2026-11-01 12:00:00", "2026-10-24 12:00:00"], placement)
    assert times(photos) == [utc("2026-11-01T10:00:00Z"), utc("2026-10-24T10:00:00Z")]


def test_equal_instants_written_with_two_offsets_are_equal() -> None:
    """A photo at +02:00 is the published event's start in UTC.

    Source: Camtrap DP 1.0.2 example, one duck in media.csv and observations.csv.
    """
    (photo,) = timed(["2020-05-30 04:57:37"], placed("+02:00"))
    assert photo.true_time == utc("2020-05-30T02:57:37Z")
    assert str(photo.true_time) == "2020-05-30 02:57:37+00:00"


def test_a_night_through_the_change_is_an_hour_longer_than_it_looks() -> None:
    """True times are subtracted as instants.

    Source: IANA zone data: 13 h, not the naive 12 h.
    """
    here = placed("America/Los_Angeles")
    evening, morning = times(timed(["2025-11-01 18:00:00", "2025-11-02 06:00:00"], here))
    assert evening
    assert morning
    assert morning - evening == timedelta(hours=13)


# --- the hour shown twice, and the hour never shown ---------------------------------------------


@pytest.mark.parametrize(
    ("zone", "shown", "first", "second"),
    [
        pytest.param(  # Source: IANA zone data
            "America/Los_Angeles",
            "2025-11-02 01:30:00",
            "2025-11-02T08:30:00Z",
            "2025-11-02T09:30:00Z",
            id="Los Angeles",
        ),
        pytest.param(  # Source: standards/time.md, table
            "America/New_York",
            "2024-11-03 01:30:00",
            "2024-11-03T05:30:00Z",
            "2024-11-03T06:30:00Z",
            id="New York",
        ),
        pytest.param(  # Source: standards/time.md for the 30 min; the instants: IANA zone data
            "Australia/Lord_Howe",
            "2024-04-07 01:45:00",
            "2024-04-06T14:45:00Z",
            "2024-04-06T15:15:00Z",
            id="Lord Howe, half an hour",
        ),
    ],
)
def test_the_repeated_hour_goes_by_the_order_of_the_files(
    zone: str, shown: str, first: str, second: str
) -> None:
    """Where the display steps back while file numbers go on, the clock was put back there."""
    minute = datetime.fromisoformat(shown) + timedelta(minutes=1)
    photos = timed([f"{minute}", shown, f"{minute}"], placed(zone))
    assert times(photos) == [
        utc(first) + timedelta(minutes=1),
        utc(second),
        utc(second) + timedelta(minutes=1),
    ]
    assert flags(photos) == [ClockFlag.NONE] * 3


@pytest.mark.parametrize(
    "shown",
    [
        pytest.param(["01:30:00"], id="one photo"),
        pytest.param(["01:10:00", "01:10:00", "01:50:00"], id="no step back"),
        pytest.param(["01:50:00", "01:10:00", "01:40:00", "01:05:00"], id="two steps back"),
    ],
)
def test_a_repeated_hour_that_stays_unsure_is_flagged(shown: list[str]) -> None:
    """Without exactly one step back nobody can say which of the two hours it was."""
    photos = timed([f"2024-11-03 {one}" for one in shown], placed("America/New_York"))
    assert flags(photos) == [ClockFlag.TWICE] * len(shown)
    assert times(photos)[0] in {
        utc(f"2024-11-03T{shown[0]}-04:00"),
        utc(f"2024-11-03T{shown[0]}-05:00"),
    }


def test_the_repeated_hour_ends_where_the_zone_says() -> None:
    """Only the hour itself is unsure; its neighbours by a second are not."""
    shown = ["00:59:59", "01:00:00", "01:59:59", "02:00:00"]
    photos = timed([f"2024-11-03 {one}" for one in shown], placed("America/New_York"))
    assert flags(photos) == [ClockFlag.NONE, ClockFlag.TWICE, ClockFlag.TWICE, ClockFlag.NONE]
    assert times(photos)[0] == utc("2024-11-03T04:59:59Z")
    assert times(photos)[3] == utc("2024-11-03T07:00:00Z")


def test_two_changes_on_one_card_are_two_nights() -> None:
    """A step back in one autumn says nothing of the other."""
    shown = ["2024-11-03 01:50:00", "2024-11-03 01:10:00", "2025-11-02 01:05:00"]
    assert flags(timed(shown, placed("America/New_York"))) == [
        ClockFlag.NONE,
        ClockFlag.NONE,
        ClockFlag.TWICE,
    ]


def test_the_hour_that_does_not_exist_is_flagged() -> None:
    """A display that a switching clock cannot show is not believed, and nothing fails.

    Source: IANA zone data (10 March 2024, New York; 9 March 2025).
    """
    shown = ["2024-03-10 01:59:59", "2024-03-10 02:30:00", "2024-03-10 03:00:00"]
    photos = timed([*shown, "2025-03-09 02:30:00"], placed("America/New_York"))
    assert flags(photos) == [ClockFlag.NONE, ClockFlag.NEVER, ClockFlag.NONE, ClockFlag.NEVER]
    assert times(photos)[0] == utc("2024-03-10T06:59:59Z")
    assert times(photos)[2] == utc("2024-03-10T07:00:00Z")


@pytest.mark.parametrize("shown", ["2024-11-03 01:30:00", "2024-03-10 02:30:00"])
def test_on_a_fixed_clock_no_hour_is_special(shown: str) -> None:
    """A clock that never switches shows every hour once, in the two odd hours of its zone too."""
    photos = timed([shown], placed("-05:00"), zone=NEW_YORK)
    assert flags(photos) == [ClockFlag.NONE]
    assert times(photos) == [utc(shown.replace(" ", "T") + "-05:00")]


def test_a_copy_does_not_hide_where_the_clock_was_put_back() -> None:
    """A folder copied on the card repeats the step back; copies go with what they repeat."""
    photos = [
        photo_showing("2024-11-03 01:50:00", 1, file="A/1.JPG"),
        photo_showing("2024-11-03 01:10:00", 2, file="A/2.JPG"),
        photo_showing("2024-11-03 01:50:00", 3, file="B/1.JPG", copy_of=1),
        photo_showing("2024-11-03 01:10:00", 4, file="B/2.JPG", copy_of=2),
    ]
    before, after = utc("2024-11-03T05:50:00Z"), utc("2024-11-03T06:10:00Z")
    corrected = timed(photos, placed("America/New_York"))
    assert times(corrected) == [before, after, before, after]
    assert flags(corrected) == [ClockFlag.NONE] * 4
    alone = timed([photos[0], photos[2]], placed("America/New_York"))
    assert flags(alone) == [ClockFlag.TWICE] * 2


NIGHT = st.lists(st.integers(0, 3 * 3600), min_size=1, max_size=12).map(sorted)


@given(NIGHT, st.randoms(use_true_random=False))
def test_a_switching_camera_is_read_back_or_flagged(seconds: list[int], chance: Random) -> None:
    """What a right, switching camera showed gives its true time back, or says that it cannot.

    The photos are made forwards, from true times through the zone, so this is no copy of the
    rule. They come in any order; the file names tell.
    """
    true = [utc("2024-11-03T04:30:00Z") + timedelta(seconds=second) for second in seconds]
    photos = [
        photo_showing(str(moment.astimezone(NEW_YORK).replace(tzinfo=None)), number)
        for number, moment in enumerate(true, start=1)
    ]
    chance.shuffle(photos)
    for photo in timed(photos, placed("America/New_York"), zone=NEW_YORK):
        moment = true[photo.id - 1]
        repeated = utc("2024-11-03T05:00:00Z") <= moment < utc("2024-11-03T07:00:00Z")
        assert photo.clock_flag in ({ClockFlag.NONE, ClockFlag.TWICE} if repeated else {""})
        assert photo.true_time == moment or photo.clock_flag is ClockFlag.TWICE


# --- clock checks ------------------------------------------------------------------------------


@pytest.mark.parametrize("clock", ["", "Z", "-11:00", "Europe/Brussels"])
def test_one_check_is_a_shift_whatever_the_clock_is_called(clock: str) -> None:
    """With one check the same shift holds near and far, and is flagged nowhere.

    By the shift, true = shown + (true0 - shown0): 12:00:00 is 10:04:30Z, so 07:00:00 is 05:04:30Z.
    """
    shift = check("2026-05-02 12:00:00", "2026-05-02T10:04:30Z")
    photos = timed(["2026-05-02 07:00:00", "2026-07-02 07:00:00"], placed(clock), shift)
    assert times(photos) == [utc("2026-05-02T05:04:30Z"), utc("2026-07-02T05:04:30Z")]
    assert flags(photos) == [ClockFlag.NONE] * 2


DRIFT = (
    check("2026-05-01 12:00:00", "2026-05-01T12:00:30Z"),
    check("2026-05-11 12:00:00", "2026-05-11T12:01:00Z"),
)


def test_drift_runs_along_a_line() -> None:
    """Between two checks the error grows evenly. Worked by hand: half of 30 s and 60 s."""
    (photo,) = timed(["2026-05-06 12:00:00"], placed("Z"), *DRIFT)
    assert photo.true_time == utc("2026-05-06T12:00:45Z")
    assert photo.clock_flag is ClockFlag.NONE


@pytest.mark.parametrize(
    ("shown", "true", "flag"),
    [
        # The error is 30 s on 1 May and grows by 3 s a day.
        pytest.param("2026-04-30 12:00:00", "2026-04-30T12:00:27Z", "", id="exactly a day before"),
        pytest.param(
            "2026-04-30 11:59:59",
            "2026-04-30T12:00:26Z",
            ClockFlag.BEYOND_CHECKS,
            id="a day and a second before",
        ),
        pytest.param("2026-05-12 12:00:00", "2026-05-12T12:01:03Z", "", id="exactly a day after"),
        pytest.param(
            "2026-05-21 12:00:00",
            "2026-05-21T12:01:30Z",
            ClockFlag.BEYOND_CHECKS,
            id="ten days after",
        ),
    ],
)
def test_outside_the_checks_the_nearest_line_goes_on(shown: str, true: str, flag: str) -> None:
    """The line goes on on both sides; more than a day out it is flagged, exactly a day is not."""
    (photo,) = timed([shown], placed("Z"), *DRIFT)
    assert photo.true_time == utc(true)
    assert photo.clock_flag == flag


def test_three_checks_are_two_lines_in_any_order_of_the_log() -> None:
    """Each stretch has its own drift, each check is met exactly, each end goes on by its own.

    Errors of 0, 60 and 70 s at 0, 60 and 160 h: 1 s/h, then 0.1 s/h.
    """
    checks = (
        check("2026-05-07 16:00:00", "2026-05-07T16:01:10Z"),
        check("2026-05-01 00:00:00", "2026-05-01T00:00:00Z"),
        check("2026-05-03 12:00:00", "2026-05-03T12:01:00Z"),
    )
    shown = ["04-30 20:00", "05-01 00:00", "05-02 06:00", "05-03 12:00", "05-05 14:00"]
    photos = timed([f"2026-{one}:00" for one in [*shown, "05-08 02:00"]], placed("Z"), *checks)
    errors = [
        (photo.true_time - photo.camera_time.replace(tzinfo=UTC)).total_seconds()
        for photo in photos
        if photo.true_time and photo.camera_time
    ]
    assert errors == [-4, 0, 30, 60, 65, 71]


def test_a_check_with_a_blank_cell_says_nothing() -> None:
    """A line of the clock log that is not filled in yet changes no time."""
    blanks = (check("", "2026-05-02T10:00:00Z"), check("2026-05-02 12:00:00", ""))
    assert times(timed(["2026-05-02 12:00:00"], placed("Z"), *blanks)) == [
        utc("2026-05-02T12:00:00Z")
    ]


@pytest.mark.parametrize(
    "checks",
    [
        pytest.param(
            (
                check("2026-05-02 12:00:00", "2026-05-02T12:00:00Z"),
                check("2026-05-03 12:00:00", "2026-05-01T12:00:00Z"),
            ),
            id="the true time runs back",
        ),
        pytest.param(
            (
                check("2026-05-02 12:00:00", "2026-05-02T12:00:00Z"),
                check("2026-05-03 12:00:00", "2026-05-02T12:00:00Z"),
            ),
            id="the true time stands still",
        ),
        pytest.param(
            (
                check("2026-05-02 12:00:00", "2026-05-02T12:00:00Z"),
                check("2026-05-02 12:00:00", "2026-05-03T12:00:00Z"),
            ),
            id="the camera stands still",
        ),
        pytest.param(
            (check("2026-05-02 12:00:00", "2026-05-02T12:00:00Z"),) * 2, id="the same line twice"
        ),
        pytest.param(
            (
                check("2026-05-02 12:00:00", "2026-05-02T12:00:00Z"),
                check("2000-01-01 00:10:00", "2026-05-03T12:00:00Z"),
            ),
            id="the clock fell back to its first year",
        ),
    ],
)
def test_checks_that_run_backwards_are_refused_in_words(checks: tuple[ClockCheck, ...]) -> None:
    """A reset between two checks has no line; the error names placement, times and way out."""
    with pytest.raises(ClockError, match="'P1'") as refused:
        clock_of(placed("Z"), checks, BRUSSELS, None)
    words = str(refused.value)
    assert "2026-05-02 12:00:00" in words
    assert "2026-05-02T12:00:00+00:00" in words
    assert "each its own placement" in words


def test_two_displays_of_one_instant_are_refused_too() -> None:
    """02:30 does not exist on 10 March 2024 in New York and would be the same moment as 03:30."""
    checks = (
        check("2024-03-10 02:30:00", "2024-03-10T07:30:00Z"),
        check("2024-03-10 03:30:00", "2024-03-10T07:31:00Z"),
    )
    with pytest.raises(ClockError, match="run backwards"):
        clock_of(placed("America/New_York"), checks, NEW_YORK, None)


def test_a_check_in_the_repeated_hour_is_the_one_nearer_the_true_time() -> None:
    """A right camera checked in the second 01:30 is right all night, not an hour off."""
    here = placed("America/New_York")
    second = check("2024-11-03 01:30:00", "2024-11-03T06:30:10Z")
    assert times(timed(["2024-11-03 12:00:00"], here, second)) == [utc("2024-11-03T17:00:10Z")]
    first = check("2024-11-03 01:30:00", "2024-11-03T05:30:10Z")
    assert times(timed(["2024-11-03 12:00:00"], here, first)) == [utc("2024-11-03T17:00:10Z")]
    both = (
        check("2024-11-03 01:50:00", "2024-11-03T05:50:00Z"),
        check("2024-11-03 01:10:00", "2024-11-03T06:10:00Z"),
    )
    assert times(timed(["2024-11-03 02:00:00"], here, *both)) == [utc("2024-11-03T07:00:00Z")]


# --- a file's own offset -------------------------------------------------------------------------


def with_offset(offset: str) -> Photo:
    """Give a photo at noon that names its own offset."""
    return photo_showing("2026-05-02 12:00:00", offset=offset)


def test_a_files_own_offset_is_believed_until_the_camera_log_has_the_placement() -> None:
    """Cameras write offsets that nobody set, so the log holds once it is there."""
    photos = [with_offset("+05:45"), with_offset("")]
    assert times(timed(photos, None)) == [utc("2026-05-02T06:15:00Z"), utc("2026-05-02T10:00:00Z")]
    assert times(timed(photos, placed("-03:00"))) == [utc("2026-05-02T15:00:00Z")] * 2
    assert times(timed(photos, placed())) == [utc("2026-05-02T10:00:00Z")] * 2


def test_a_believed_offset_tells_the_two_hours_apart() -> None:
    """A file that names its offset leaves nothing unsure on a switching clock."""
    photo = photo_showing("2024-11-03 01:30:00", offset="-05:00")
    (timed_by_itself,) = with_true_times([photo], Clock(NEW_YORK, believes_files=True))
    assert timed_by_itself.true_time == utc("2024-11-03T06:30:00Z")
    assert timed_by_itself.clock_flag is ClockFlag.NONE


def test_a_check_goes_before_a_files_own_offset() -> None:
    """Whoever read the display at a known time has said what the display means.

    The shift: true = cam + (ref0 - cam0), no zone in it.
    """
    noon = check("2026-05-02 12:00:00", "2026-05-02T09:00:00Z")
    assert times(timed([with_offset("+05:45")], None, noon)) == [utc("2026-05-02T09:00:00Z")]


# --- photos without a time -----------------------------------------------------------------------


def test_a_photo_without_a_time_stays_without_and_blocks_nothing() -> None:
    """It is kept in its place; the others get their times as if it were not there."""
    photos = timed(["2026-05-02 12:00:00", "", "2026-05-02 11:00:00"], placed("Z"), *DRIFT)
    assert [photo.id for photo in photos] == [1, 2, 3]
    assert times(photos)[1] is None
    assert photos[1] == photo_showing("", 2)
    alone = timed(["2026-05-02 12:00:00", "2026-05-02 11:00:00"], placed("Z"), *DRIFT)
    assert [times(photos)[0], times(photos)[2]] == times(alone)


@pytest.mark.parametrize("clock", ["+02:00", "Europe/Brussels"])
def test_photos_without_any_time_are_no_fault(clock: str) -> None:
    """A card without a single time, or without a photo, goes through."""
    assert timed([], placed(clock)) == []
    assert times(timed(["", ""], placed(clock))) == [None, None]
    assert times(timed([""], None)) == [None]


@pytest.mark.parametrize(
    ("shown", "clock"),
    [
        ("0001-01-01 00:00:00", "+02:00"),
        ("0001-01-01 00:00:00", "Europe/Brussels"),
        ("9999-12-31 23:59:59", "-05:00"),
    ],
)
def test_a_time_beyond_the_calendar_blocks_nothing_but_itself(shown: str, clock: str) -> None:
    """A reset camera at the edge of the calendar leaves one photo without, and the rest right."""
    photos = timed([shown, "2026-05-02 12:00:00"], placed(clock))
    right = timed(["2026-05-02 12:00:00"], placed(clock))
    assert times(photos) == [None, *times(right)]


# --- what holds for all clocks -------------------------------------------------------------------

RISING = st.lists(
    st.tuples(st.integers(1, 40 * DAY_S), st.integers(1, 40 * DAY_S)), min_size=0, max_size=5
)
MOMENTS = st.lists(st.integers(-100 * DAY_S, 200 * DAY_S), max_size=30).map(sorted)


def clock_with(steps: Sequence[tuple[int, int]]) -> Clock:
    """Give a clock with checks that rise by these steps of (display, true time)."""
    shown = np.cumsum([step[0] for step in steps], dtype=np.int64).tolist()
    true = np.cumsum([step[1] for step in steps], dtype=np.int64).tolist()
    return Clock(UTC, nominal=tuple(shown), true=tuple(true))


@given(RISING, MOMENTS)
def test_corrected_times_keep_the_order_of_the_display(
    steps: list[tuple[int, int]], shown: list[int]
) -> None:
    """However bad the drift, a later display is never an earlier time."""
    moved, _ = correct(np.array(shown, dtype=np.int64), clock_with(steps))
    assert all(one <= following for one, following in pairwise(moved.tolist()))


@given(RISING, MOMENTS)
def test_corrected_times_are_the_line_to_the_second(
    steps: list[tuple[int, int]], shown: list[int]
) -> None:
    """Each time is within half a second of the line worked out in whole fractions."""
    clock = clock_with(steps)
    moved, beyond = correct(np.array(shown, dtype=np.int64), clock)
    for one, to, far in zip(shown, moved.tolist(), beyond.tolist(), strict=True):
        assert abs(to - exact(one, clock)) <= Fraction(501, 1000)
        outside = len(steps) > 1 and not (
            clock.nominal[0] - DAY_S <= one <= clock.nominal[-1] + DAY_S
        )
        assert far is outside


def exact(shown: int, clock: Clock) -> Fraction:
    """Work the correction out slowly, without rounding."""
    points = list(zip(clock.nominal, clock.true, strict=True))
    if len(points) < 2:
        return Fraction(shown + sum(true - cam for cam, true in points))
    lines = list(pairwise(points))
    (cam0, ref0), (cam1, ref1) = next((one for one in lines if shown < one[1][0]), lines[-1])
    return ref0 + (shown - cam0) * Fraction(ref1 - ref0, cam1 - cam0)


@given(RISING)
def test_every_check_is_met_exactly(steps: list[tuple[int, int]]) -> None:
    """At the moment of a check the corrected time is the time that was noted."""
    clock = clock_with(steps)
    moved, _ = correct(np.array(clock.nominal, dtype=np.int64), clock)
    assert tuple(moved.tolist()) == clock.true


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=8), st.integers(-14 * 4, 14 * 4))
def test_photos_may_come_in_any_order(seconds: list[int], quarters: int) -> None:
    """The result keeps the order it was given, whatever the offset; each photo is its own."""
    clock = Clock(timezone(timedelta(minutes=15 * quarters)), nominal=(0, 5), true=(0, 6))
    photos = [
        photo_showing(str(datetime(2026, 5, 1) + timedelta(seconds=second)), number)  # noqa: DTZ001
        for number, second in enumerate(seconds, start=1)
    ]
    forwards, backwards = with_true_times(photos, clock), with_true_times(photos[::-1], clock)
    assert forwards == backwards[::-1]
    assert [replace(one, true_time=None, clock_flag=ClockFlag.NONE) for one in forwards] == photos
