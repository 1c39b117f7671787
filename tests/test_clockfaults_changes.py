"""Clocks changed on the way, clock checks, cameras, logs, and what would change: small cards."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

import numpy as np
import pytest
from builders import camera as camera_row
from builders import judge, photo_showing, record, stay, tray
from hypothesis import given, settings
from hypothesis import strategies as st
from onenight import (
    BRUSSELS,
    HOUR_S,
    KEPT,
    LOST,
    NIGHT,
    PLACED,
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
    Neighbour,
    changed_outcomes,
    corrected,
)
from core.coverage.rows import Confidence
from core.model import Photo, Placement, TimeSource, TrayDeployment, Where

DUNES = partial(sun.height, latitude=-33.9, longitude=19.0)

# --- a clock that was changed on the way ---------------------------------------------------------


def test_a_step_back_is_said_where_nothing_tells_which_side_is_right() -> None:
    """Ten minutes back between two animals: somebody changed the clock; a person has to look."""
    slow = timedelta(minutes=10)
    photos = shots([*KEPT, 398]) + shots([401, *LOST], first=len(KEPT) + 2, by=slow)
    found = only(photos)
    assert (found.kind, found.proposals) == (ClockFault.STEP, ())
    assert "steps back by 7 min" in found.saw


def test_checks_on_both_sides_of_a_step_tell_which_side_is_wrong() -> None:
    """The side that is further from the true time is shifted by what the checks differ."""
    early, late = [*KEPT[:-1], 330], [KEPT[-1], *LOST]
    photos = shots(early, by=timedelta(minutes=-65)) + shots(late, first=len(early) + 1)
    checks = (
        at_check(photos[1], START + timedelta(minutes=early[1])),
        at_check(photos[-1], START + timedelta(minutes=late[-1])),
    )
    found = only(photos, checks=checks)
    assert (found.kind, found.confidence) == (ClockFault.STEP, Confidence.CLEAR)
    assert found.chosen is not None
    assert found.chosen.shift_s == -65 * 60
    assert (found.first_photo, found.last_photo) == (1, len(early))


def test_a_clock_set_back_by_an_hour_too_much() -> None:
    """Photos after the step are an hour early; the pick-up tells that they are the wrong ones."""
    photos = shots([*KEPT, 430]) + shots(LOST, first=len(KEPT) + 2, by=timedelta(hours=1))
    found = only(photos)
    assert found.kind is ClockFault.ONE_HOUR
    assert found.chosen is not None
    assert (found.chosen.shift_s, found.first_photo) == (HOUR_S, 9)


def test_a_burst_written_out_of_order_is_no_step() -> None:
    """Files within a minute of each other may be numbered the other way round."""
    assert find(shots([0, 2, 1.2, *WHOLE[2:]])) == []


def test_numbers_that_do_not_follow_the_time_say_nothing() -> None:
    """Where a program numbered the files anew by another order, no step is a fault."""
    photos = shots([minute for at in range(30) for minute in (at * 24, 745 - at * 24)])
    assert find(photos) == []


SPRING = Placement(
    "P1", "cam", ("T1",), datetime(2026, 3, 27, 17, tzinfo=UTC),
    datetime(2026, 3, 31, 6, tzinfo=UTC), clock="+01:00",
)  # fmt: skip


def spring(*, switches: bool) -> list[Photo]:
    """Give four nights over 29 March 2026, 01:00 UTC; people come each evening and morning."""
    true = [
        SPRING.start + timedelta(days=day, hours=hour, minutes=minute)
        for day in range(4)
        for hour, minute in ((0, 0), (0, 2), (0, 30), (3, 11), (7, 40), (11, 5), (12, 58), (13, 0))
        if SPRING.start
    ]
    turn = datetime(2026, 3, 29, 1, tzinfo=UTC)
    return [
        Photo(
            at,
            "P1",
            f"I_{at:04}.JPG",
            (one + timedelta(hours=2 if switches and one >= turn else 1)).replace(tzinfo=None),
        )
        for at, one in enumerate(true, start=1)
    ]


NIGHTS = tuple(
    TrayDeployment(
        f"D{day}", "T1", SPRING.start + timedelta(days=day, minutes=30),
        SPRING.start + timedelta(days=day, hours=13),
    )
    for day in range(4)
    if SPRING.start
)  # fmt: skip


def test_a_camera_that_changes_to_summer_time_by_itself() -> None:
    """From the turn on an hour is taken off; the photos before it stay."""
    line = {"placement": SPRING, "trays": NIGHTS, "zone": BRUSSELS}
    assert find(spring(switches=False), **line) == []
    found = only(spring(switches=True), **line)
    assert found.kind is ClockFault.SUMMER_TIME
    assert found.chosen is not None
    assert found.chosen.shift_s == -HOUR_S
    moved = corrected(spring(switches=True), found.chosen.corrections)
    assert moved == spring(switches=False)


def test_a_camera_logged_to_change_that_did_not() -> None:
    """A clock said to follow the zone, and kept on winter time, is an hour slow after the turn."""
    placed = replace(SPRING, clock="Europe/Brussels")
    assert find(spring(switches=True), placement=placed, trays=NIGHTS, zone=BRUSSELS) == []
    found = only(spring(switches=False), placement=placed, trays=NIGHTS, zone=BRUSSELS)
    assert found.kind is ClockFault.SUMMER_TIME
    assert found.chosen is not None
    assert found.chosen.shift_s == HOUR_S


def test_two_checks_and_a_turn_between_them_prove_summer_time() -> None:
    """An hour between two checks is no drift where a turn lies between them."""
    photos = spring(switches=True)
    checks = (
        at_check(photos[0], datetime(2026, 3, 27, 17, 0, tzinfo=UTC)),
        at_check(photos[-1], datetime(2026, 3, 31, 6, 0, tzinfo=UTC)),
    )
    found = only(photos, placement=SPRING, trays=(), zone=BRUSSELS, checks=checks)
    assert (found.kind, found.confidence) == (ClockFault.SUMMER_TIME, Confidence.CLEAR)


def test_the_hour_that_a_changing_clock_shows_twice_is_no_step() -> None:
    """On 25 October 2026 a clock in Brussels goes from 03:00 back to 02:00, and files go on."""
    shown = ["01:30", "02:10", "02:50", "02:05", "02:40", "03:20"]
    photos = [
        photo_showing(f"2026-10-25 {text}:00", at, file=f"I_{at:04}.JPG")
        for at, text in enumerate(shown, start=1)
    ]
    placed = Placement("P1", "cam", ("T1",), datetime(2026, 10, 24, 17, tzinfo=UTC),
                       datetime(2026, 10, 25, 8, tzinfo=UTC), clock="Europe/Brussels")  # fmt: skip
    assert find(photos, placement=placed, trays=(), zone=BRUSSELS) == []


# --- clock checks, cameras, logs -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("apart_s", "found"),
    [
        # Over 10 days: 3 s a day is an ordinary clock, 60 s a day the limit (a judgement).
        pytest.param(30, 0, id="3 s a day"),
        pytest.param(600, 0, id="60 s a day"),
        pytest.param(610, 1, id="61 s a day"),
        pytest.param(-610, 1, id="61 s a day the other way"),
    ],
)
def test_drift_beyond_a_plausible_rate(apart_s: int, found: int) -> None:
    """More than 60 s a day between two checks is a change or a slip, not drift."""
    placed = replace(PLACED, end=START + timedelta(days=10))
    photos = shots([0, 2, 14_398, 14_400])
    checks = (
        at_check(photos[0], START),
        at_check(photos[-1], START + timedelta(days=10, seconds=apart_s)),
    )
    assert [one.kind for one in find(photos, placement=placed, trays=(), checks=checks)] == [
        ClockFault.DRIFT
    ] * found


def seconds(photos: Sequence[Photo], offset_s: int = 0) -> "np.ndarray[tuple[int], Any]":
    """Give true times of a clock in UTC."""
    shown = [p.camera_time.replace(tzinfo=UTC) for p in photos if p.camera_time]
    return np.array([int(one.timestamp()) + offset_s for one in shown], dtype=np.int64)


VISITS = [31, 58, 95, 143, 210, 262, 335, 391, 488, 610]


def test_two_cameras_that_disagree_show_both_ways() -> None:
    """Where neither has a check either may be wrong; where one has, the other is."""
    photos = shots(sorted([*VISITS, 400]), by=timedelta(minutes=-4))
    other = replace(PLACED, placement="P2", camera="b")
    theirs = seconds(shots(VISITS))
    neither = only(photos, others=(Neighbour(other, theirs),))
    assert neither.kind is ClockFault.CAMERAS_DISAGREE
    assert [one.shift_s for one in neither.proposals] == [-240, 240]
    assert [one.corrections[0].placement for one in neither.proposals] == ["P1", "P2"]
    checked = only(photos, others=(Neighbour(other, theirs, checked=True),))
    assert checked.chosen is not None
    assert checked.chosen.shift_s == -240
    assert find(shots(VISITS), others=(Neighbour(other, theirs),)) == []


def test_a_tray_row_that_repeats_the_window_before() -> None:
    """Two rows of a tray have one window, and photos lie a day later in none: the log is wrong."""
    night = [1440 + one for one in WHOLE]
    again = replace(WINDOW, deployment="D2")
    placed = replace(PLACED, end=START + timedelta(days=1) + NIGHT)
    found = only(shots([*WHOLE, *night]), placement=placed, trays=(WINDOW, again))
    assert (found.kind, found.proposals) == (ClockFault.REPEATED_ROW, ())
    assert "tray deployment D2 has the time of D1" in found.saw


def test_a_camera_row_that_repeats_the_one_before() -> None:
    """One camera cannot stand twice at once; the photos of the second row lie after both."""
    before = Neighbour(replace(PLACED, placement="P0"), seconds(shots(WHOLE)))
    photos = shots([1440 + one for one in WHOLE])
    assert only(photos, others=(before,)).kind is ClockFault.REPEATED_ROW
    assert only(photos).kind is ClockFault.DAYS
    beside = Neighbour(replace(PLACED, placement="P0", camera="b"), seconds(shots(WHOLE)))
    assert only(photos, others=(beside,)).kind is ClockFault.DAYS


def test_a_card_that_fits_another_placement_as_it_is() -> None:
    """Photos that lie in a placement without any of its own are on the wrong row."""
    there = replace(PLACED, placement="P7", start=START + timedelta(days=3),
                    end=START + timedelta(days=3) + NIGHT)  # fmt: skip
    photos = shots([3 * 1440 + one for one in WHOLE])
    found = only(photos, others=(Neighbour(there, np.array([], dtype=np.int64)),))
    assert found.kind is ClockFault.ELSEWHERE
    assert "P7" in found.saw
    own = Neighbour(there, seconds(photos))
    assert only(photos, others=(own,)).kind is ClockFault.DAYS


def test_copies_and_files_dated_by_the_computer_say_nothing_of_the_clock() -> None:
    """Only what a camera wrote speaks of its clock."""
    stray = shots([-900_000, -899_000], first=50)
    copies = [replace(photo, copy_of=1) for photo in stray]
    by_file = [replace(photo, time_source=TimeSource.FILE) for photo in stray]
    assert find([*shots(WHOLE), *copies]) == []
    assert find([*shots(WHOLE), *by_file]) == []


def test_a_placement_that_is_not_logged_has_only_its_steps() -> None:
    """Without a stretch or a window nothing is outside; a clock that falls back is seen still."""
    bare = Placement("P1")
    assert find(shots(WHOLE, by=timedelta(days=365)), placement=bare, trays=()) == []
    found = only(after_reset(KEPT, LOST, "2012-01-01 00:00"), placement=bare, trays=())
    assert (found.kind, found.first_photo) == (ClockFault.DEFAULT_DATE, len(KEPT) + 1)


# --- what would change ---------------------------------------------------------------------------


def test_the_trays_that_would_change_are_listed_in_words() -> None:
    """A visit that comes into the window names a forager; a tray that stays is not listed."""
    rows = [tray("D1"), tray("D2", tray="T2")]
    placed = camera_row(trays=("T1",))
    other = record(camera_row("P2", trays=("T2",)))
    before = judge(rows, [record(placed), other])
    seen = record(placed, stay("19:00-19:03", "g", Where.FED))
    (changed,) = changed_outcomes(before, judge(rows, [seen, other]))
    assert changed.deployment == "D1"
    assert str(changed) == (
        "D1: drop becomes keep (one species fed and every minute was watched), "
        "forager none becomes gerbil, visits 0 become 1, visits of all animals 0 become 1"
    )
    assert changed_outcomes(before, before) == []
    assert [str(one) for one in changed_outcomes(before, before[:1])] == ["D2: is gone"]


# --- whatever comes ------------------------------------------------------------------------------

MOMENTS = st.one_of(
    st.datetimes(datetime(2026, 5, 1), datetime(2026, 5, 9)),  # noqa: DTZ001
    st.datetimes(datetime(1, 1, 1), datetime(9999, 12, 31)),  # noqa: DTZ001
    st.sampled_from([datetime(2000, 1, 1), datetime(2026, 1, 1, 12), None]),  # noqa: DTZ001
)
FILES = st.sampled_from(["100M/I_{:04}.JPG", "a/{}.JPG", "{}b.JPG", "101M/X_{:04}.JPG"])


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(MOMENTS, FILES, st.booleans()), max_size=12),
    st.sampled_from(["", "Z", "+05:30", "Europe/Brussels"]),
    st.booleans(),
    st.randoms(use_true_random=False),
)
def test_whatever_a_card_holds_the_rules_hold_in_any_order(
    rows: list[tuple[datetime | None, str, bool]], clock: str, checked: bool, random: Any
) -> None:
    """No display, name or clock stops the rules, and the order of rows changes nothing."""
    photos = [
        Photo(at, "P1", name.format(at), shown.replace(microsecond=0) if shown else None)
        for at, (shown, name, _) in enumerate(rows, start=1)
    ]
    infrared = {at: flag for at, (_, _, flag) in enumerate(rows, start=1)}
    timed = [photo for photo in photos if photo.camera_time]
    checks = (at_check(timed[0], START),) if checked and timed else ()
    line = {
        "placement": replace(PLACED, clock=clock),
        "checks": checks,
        "infrared": infrared,
        "sun_height": DUNES,
        "zone": BRUSSELS,
    }
    found = find(photos, **line)
    mixed = list(photos)
    random.shuffle(mixed)
    assert find(mixed, **line) == found
    for one in found:
        assert one.saw
        assert one.look_at
        for proposal in one.proposals:
            assert corrected(photos, proposal.corrections) != []
