"""A shift for the whole card, the light, and clocks that fell back: rules on small cards."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest
from onenight import (
    DAY_S,
    HOUR_S,
    KEPT,
    LOST,
    NIGHT,
    PLACED,
    RESET,
    START,
    WHOLE,
    WINDOW,
    after_reset,
    at_check,
    find,
    only,
    shots,
)

from core import sun
from core.clockfaults import (
    ClockFault,
    corrected,
)
from core.coverage.rows import Confidence

# --- one shift for the whole card ----------------------------------------------------------------


def test_a_clock_that_is_right_has_no_finding() -> None:
    """The plain night, on its own time."""
    assert find(shots(WHOLE)) == []


@pytest.mark.parametrize(
    ("by", "kind"),
    [
        pytest.param(timedelta(hours=1), ClockFault.ONE_HOUR, id="an hour slow"),
        pytest.param(timedelta(hours=-1), ClockFault.ONE_HOUR, id="an hour fast"),
        pytest.param(timedelta(hours=12), ClockFault.TWELVE_HOURS, id="twelve hours slow"),
        pytest.param(timedelta(hours=-12), ClockFault.TWELVE_HOURS, id="twelve hours fast"),
        pytest.param(timedelta(days=2), ClockFault.DAYS, id="two days slow"),
        pytest.param(timedelta(days=365), ClockFault.YEARS, id="last year"),
        # Set on 4 May as 5 April.
        pytest.param(timedelta(days=29), ClockFault.DAY_MONTH, id="day and month"),
    ],
)
def test_one_shift_that_puts_the_card_right(by: timedelta, kind: ClockFault) -> None:
    """The shift is named, chosen, exact, and brings every photo in.

    Whole days would bring in the card of another night as well, so they are never clear.
    """
    found = only(shots(WHOLE, by=by))
    sure = Confidence.POSSIBLE if kind is ClockFault.DAYS else Confidence.CLEAR
    assert (found.kind, found.confidence, found.photos) == (kind, sure, len(WHOLE))
    assert found.chosen is not None
    assert found.chosen.shift_s == by.total_seconds()
    (row,) = found.chosen.corrections
    assert (row.placement, row.kind, row.first_photo, row.last_photo) == ("P1", kind, None, None)
    assert f"{len(WHOLE)} photos" in found.saw
    assert find(shots(WHOLE, by=by), corrections=(row,)) == []


def test_a_free_shift_is_found_to_the_minute() -> None:
    """People on nine evenings and mornings tell that the clock is 37 minutes slow."""
    nights = range(9)
    minutes = [night * 1440 + one for night in nights for one in WHOLE]
    photos = shots(minutes, by=timedelta(minutes=37))
    rows = tuple(
        replace(
            WINDOW,
            deployment=f"D{night}",
            set_out=START + timedelta(days=night, minutes=15),
            picked_up=START + timedelta(days=night) + NIGHT - timedelta(minutes=15),
        )
        for night in nights
    )
    found = only(
        photos, trays=rows, placement=replace(PLACED, end=START + timedelta(days=8) + NIGHT)
    )
    assert found.kind is ClockFault.MINUTES
    assert found.chosen is not None
    assert found.chosen.shift_s == pytest.approx(37 * 60, abs=300)
    assert (found.chosen.edges, found.chosen.edges_all) == (18, 18)


@pytest.mark.parametrize(
    ("start", "days"),
    [
        # By the calendar: from 3 March 2023 to 3 March 2024 there are 366 days, to 2023 365.
        (datetime(2024, 3, 3, 17, 45, tzinfo=UTC), 366),
        (datetime(2023, 3, 3, 17, 45, tzinfo=UTC), 365),
        (datetime(2024, 2, 27, 17, 45, tzinfo=UTC), 365),
    ],
)
def test_a_year_goes_by_the_calendar(start: datetime, days: int) -> None:
    """A wrong year is 365 or 366 days, as the day on which the clock was set has it.

    A clock set to 2023 on 27 February 2024 runs on into 1 March while it is 29 February; the
    shift stays that of the day on which it was set.
    """
    later = (START - start, timedelta(days=3))
    minutes = [night * 1440 + one for night in range(4) for one in WHOLE]
    photos = shots(minutes, by=later[0] + timedelta(days=days))
    placed = replace(PLACED, start=start, end=start + later[1] + NIGHT)
    found = only(photos, placement=placed, trays=())
    assert found.kind is ClockFault.YEARS
    assert found.chosen is not None
    assert found.chosen.shift_s == days * DAY_S


def test_day_and_month_exchanged_in_each_photo_are_no_constant_shift() -> None:
    """Photos of 4 to 8 May lie a month apart from day to day; each is exchanged by itself."""
    placed = replace(PLACED, end=START + timedelta(days=4) + NIGHT)
    minutes = [night * 1440 + one for night in range(5) for one in WHOLE]
    true = shots(minutes)
    photos = [
        replace(p, camera_time=p.camera_time.replace(month=p.camera_time.day, day=5))
        for p in true
        if p.camera_time
    ]
    found = only(photos, placement=placed, trays=())
    assert found.kind is ClockFault.DAY_MONTH_EACH
    assert found.chosen is not None
    assert found.chosen.shift_s is None
    assert corrected(photos, found.chosen.corrections) == true


def test_a_clock_check_that_holds_is_not_overruled() -> None:
    """A card that lies elsewhere by its own check is a matter of check or logs; none is chosen."""
    photos = shots(WHOLE, by=timedelta(days=365))
    check = at_check(photos[0], START - timedelta(days=365))
    found = only(photos, checks=(check,))
    assert (found.kind, found.proposals) == (ClockFault.YEARS, ())
    assert "clock check" in found.look_at
    right = at_check(photos[0], START)
    assert find(photos, checks=(right,)) == []


def test_photos_that_no_shift_brings_in_are_said() -> None:
    """A fortnight of photos fits no placement of one night."""
    minutes = [-60_000 + 700 * step for step in range(30)]
    found = only(shots(minutes))
    assert (found.kind, found.proposals) == (ClockFault.OUTSIDE, ())


@pytest.mark.parametrize(
    "more",
    [
        pytest.param([-40, -31, -12], id="on the way there"),
        pytest.param([-8000, -7999, -7998], id="at home, days before"),
        pytest.param([760, 790, 850], id="in the car"),
        pytest.param([-20_000 + one for one in WHOLE], id="another trip before"),
        pytest.param([20_000 + one for one in WHOLE], id="another trip after"),
    ],
)
def test_what_else_is_on_a_card_is_no_fault(more: list[float]) -> None:
    """Photos out of place, in the order of the files, belong to something else."""
    assert find(shots(sorted([*WHOLE, *more]))) == []


def test_three_photos_on_the_way_say_nothing() -> None:
    """A camera that failed at once shows nobody at the tray; that is no matter of its clock."""
    assert find(shots([-50, -42, -20])) == []


# --- the light -----------------------------------------------------------------------------------

DUNES = partial(sun.height, latitude=-33.9, longitude=19.0)
WEEK = replace(PLACED, end=START + timedelta(days=7))
NOONS = [3900 + one for one in (0, 7, 25, 61, 140, 160)]
"""Minutes around noon of the third day: 10:45 to 13:25 in UTC."""


def test_infrared_at_high_sun_suspects_twelve_hours_either_way() -> None:
    """Both signs explain a card in the middle of its placement: both are shown, none is chosen."""
    photos = shots(NOONS)
    line = {"placement": WEEK, "trays": (), "infrared": dict.fromkeys(range(1, 7), True)}
    found = only(photos, **line, sun_height=DUNES)
    assert found.kind is ClockFault.TWELVE_HOURS
    assert found.chosen is None
    assert {one.shift_s for one in found.proposals} == {12 * HOUR_S, -12 * HOUR_S}
    assert "6 bursts are infrared at high sun" in found.saw
    assert find(photos, **line) == []


def test_a_white_flash_by_night_is_no_fault() -> None:
    """A camera that never takes infrared takes colour in the deepest night."""
    photos = shots([one + 720 for one in NOONS])
    colour = dict.fromkeys(range(1, 7), False)
    assert find(photos, placement=WEEK, trays=(), infrared=colour, sun_height=DUNES) == []


def test_a_filter_that_sticks_is_no_fault_of_the_clock() -> None:
    """Infrared by day and by night fits no clock; nothing is proposed."""
    photos = shots(sorted([*NOONS, *(one + 720 for one in NOONS)]))
    frames = dict.fromkeys(range(1, 13), True)
    found = find(photos, placement=WEEK, trays=(), infrared=frames, sun_height=DUNES)
    assert [one.proposals for one in found] in ([], [()])


# --- a clock that fell back ----------------------------------------------------------------------


@pytest.mark.parametrize("default", ["2012-01-01 00:00", "2000-01-01 12:00", "2019-06-15 00:00"])
def test_a_default_date_parts_the_card_there(default: str) -> None:
    """The piece after it has its own shift, between the last good photo and the pick-up."""
    found = only(after_reset(KEPT, LOST, default))
    assert (found.kind, found.photos) == (ClockFault.DEFAULT_DATE, len(LOST))
    assert (found.first_photo, found.last_photo) == (len(KEPT) + 1, len(WHOLE))
    true = (
        START + timedelta(minutes=RESET) - datetime.fromisoformat(default).replace(tzinfo=UTC)
    ).total_seconds()
    assert found.chosen is not None
    assert found.chosen.bounded
    assert found.chosen.low_s is not None
    assert found.chosen.high_s is not None
    assert found.chosen.low_s <= true <= found.chosen.high_s
    assert found.chosen.shift_s == pytest.approx(true, abs=900)
    assert "Its photos were taken between 2026-05-04 23:25 and 2026-05-05 06:15." in found.saw


def test_a_clock_check_in_the_piece_tells_its_shift() -> None:
    """With a watch held up after the reset the shift is known to the second."""
    photos = after_reset(KEPT, LOST, "2012-01-01 00:00")
    watch = START + timedelta(minutes=LOST[-1], seconds=7)
    found = only(photos, checks=(at_check(photos[-1], watch),))
    assert found.confidence is Confidence.CLEAR
    assert found.chosen is not None
    assert not found.chosen.bounded
    moved = corrected(photos, found.chosen.corrections)
    assert moved[-1].camera_time == watch.replace(tzinfo=None)
    assert moved[: len(KEPT)] == photos[: len(KEPT)]


def test_photos_before_the_clock_was_set_are_bounded_by_the_first_good_one() -> None:
    """A camera that starts on its default date and is set in the field leaves a piece before."""
    begun = datetime(2015, 1, 1, tzinfo=UTC)
    early = shots([0, 2, 5], by=START - begun)
    found = only([*early, *shots([15, *WHOLE[4:]], first=4)])
    assert (found.kind, found.photos, found.last_photo) == (ClockFault.DEFAULT_DATE, 3, 3)
    assert found.chosen is not None
    moved = corrected(early, [replace(row, first_photo=1) for row in found.chosen.corrections])
    assert moved[-1].camera_time is not None
    assert moved[-1].camera_time.replace(tzinfo=UTC) <= START + timedelta(minutes=15)


def test_a_card_that_was_never_set_is_bounded_by_the_placement() -> None:
    """Nothing on the card is right: start and end bound it, and people's times tell."""
    found = only(shots(WHOLE, by=START - datetime(2000, 1, 1, 0, 4, tzinfo=UTC)))
    true = (START - datetime(2000, 1, 1, 0, 4, tzinfo=UTC)).total_seconds()
    assert found.kind is ClockFault.DEFAULT_DATE
    assert found.chosen is not None
    assert found.chosen.shift_s == pytest.approx(true, abs=1200)
    assert found.first_photo is None


def test_new_year_on_the_card_is_no_default_date() -> None:
    """A placement over 1 January has photos at its midnight, and that is their time."""
    start = datetime(2025, 12, 31, 17, 45, tzinfo=UTC)
    photos = shots([*WHOLE, 375.5, 376], by=START - start)
    photos.sort(key=lambda photo: photo.camera_time or START)
    photos = [replace(p, file=f"I_{at:04}.JPG", id=at) for at, p in enumerate(photos, start=1)]
    assert find(photos, placement=replace(PLACED, start=start, end=start + NIGHT), trays=()) == []
