"""Which photos make one visit, and which were taken for another cause than an animal."""

import csv
import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path
from random import Random

import numpy as np
import pytest
from builders import NOON, photo_showing, photos_at
from hypothesis import given
from hypothesis import strategies as st

from core.clocks import Clock, with_true_times
from core.model import Photo, PhotoKind, TimeSource, Visit
from core.visits import (
    due,
    in_order,
    is_due,
    number_visits,
    numbers_within,
    of_kinds,
    seconds_of,
    visits_of,
)
from core.visits import kinds as kinds_of

GAP = timedelta(seconds=120)


def files(visits: Sequence[Visit]) -> list[list[int]]:
    """Give the photos of each visit by their numbers."""
    return [[photo.id for photo in visit.photos] for visit in visits]


# --- the standard's own example ------------------------------------------------------------------

EXAMPLE = Path(os.environ.get("LASTBITE_SHARED", "")) / "standards/camtrap-dp-1.0.2/example"
needs_example = pytest.mark.skipif(
    "LASTBITE_SHARED" not in os.environ,
    reason="LASTBITE_SHARED names no folder with the Camtrap DP example",
)
Event = tuple[str, datetime, datetime]


def rows(table: str) -> list[dict[str, str]]:
    """Read a table of the example; one without rows would make every check empty."""
    with (EXAMPLE / table).open(encoding="utf-8", newline="") as lines:
        found = list(csv.DictReader(lines))
    assert found
    return found


def example_cards() -> dict[str, list[Photo]]:
    """Give each deployment's photos, timed by its fixed clock; time-lapse ones are marked.

    The naive camera time and the deployment's offset stand in for a card and its camera log.
    """
    cards: dict[str, list[Photo]] = {}
    for number, row in enumerate(rows("media.csv"), start=1):
        moment = datetime.fromisoformat(row["timestamp"])
        triggered = row["captureMethod"] == "activityDetection"
        photo = Photo(
            number,
            row["deploymentID"],
            row["fileName"],
            moment.replace(tzinfo=None),
            time_source=TimeSource.ORIGINAL,
            kind=PhotoKind.TRIGGER if triggered else PhotoKind.TIMELAPSE,
        )
        cards.setdefault(row["deploymentID"], []).append(photo)
    starts = {row["deploymentID"]: row["deploymentStart"] for row in rows("deployments.csv")}
    return {
        name: with_true_times(photos, Clock(_offset(starts[name])))
        for name, photos in cards.items()
    }


def _offset(text: str) -> timezone:
    offset = datetime.fromisoformat(text).utcoffset()
    assert offset is not None
    return timezone(offset)


def group(photos: Sequence[Photo], gap: timedelta) -> list[Visit]:
    """Group the photos that were triggered and have a time, as a placement's are."""
    ordered = in_order([photo for photo in photos if photo.kind is PhotoKind.TRIGGER])
    return visits_of(ordered, numbers_within(seconds_of(ordered), gap))


def example_visits(gap_s: float) -> list[Visit]:
    """Group every deployment of the example."""
    gap = timedelta(seconds=gap_s)
    return [visit for photos in example_cards().values() for visit in group(photos, gap)]


@needs_example
def test_visits_of_the_example_are_its_published_events() -> None:
    """At a gap of 120 s the visits are the standard's 31 events, start and end to the second.

    Source: Camtrap DP 1.0.2 example, media.csv and observations.csv.
    """
    published = {
        (
            row["deploymentID"],
            datetime.fromisoformat(row["eventStart"]),
            datetime.fromisoformat(row["eventEnd"]),
        )
        for row in rows("observations.csv")
        if row["observationLevel"] == "event"
    }
    visits = example_visits(120)
    found: list[Event] = [(visit.placement, visit.start, visit.end) for visit in visits]
    assert len(published) == 31
    assert len(found) == 31
    assert set(found) == published
    assert Counter(name for name, _, _ in found) == {
        "00a2c20d": 10,
        "29b7d356": 10,
        "577b543a": 6,
        "62c200a9": 5,
    }
    assert sum(len(visit.photos) for visit in visits) == 420


@needs_example
@pytest.mark.parametrize(
    ("gap_s", "visits"),
    [(5, 36), (30, 32), (33, 31), (120, 31), (400, 31), (600, 29), (1800, 28), (3600, 28)],
)
def test_the_gap_decides_how_many_visits_the_example_has(gap_s: int, visits: int) -> None:
    """Longer gaps make fewer visits. Source: Camtrap DP 1.0.2 example."""
    assert len(example_visits(gap_s)) == visits


@needs_example
def test_the_example_holds_a_pause_of_exactly_the_gap() -> None:
    """Two photos 33 s apart are one visit at a gap of 33 s, two at anything less.

    Source: Camtrap DP 1.0.2 example, a gap of exactly 33 s.
    """
    assert len(example_visits(33)) == 31
    assert len(example_visits(32.999)) == 32


@needs_example
def test_the_examples_time_lapse_photos_would_be_visits_if_they_were_not_known() -> None:
    """Without their kind three hourly photos make 34 groups. Source: Camtrap DP 1.0.2 example."""
    cards = example_cards().values()
    blind = [[replace(photo, kind=PhotoKind.TRIGGER) for photo in photos] for photos in cards]
    assert sum(len(group(photos, GAP)) for photos in blind) == 34


@needs_example
def test_the_hourly_photos_of_the_example_are_found_by_the_clock() -> None:
    """The time-lapse rule marks exactly the photos that the publisher marked.

    Source: Camtrap DP 1.0.2 example, captureMethod; hourly as their times of day tell.
    """
    for photos in example_cards().values():
        marked = kinds(in_order(photos), every_min=60)
        assert marked == [photo.kind for photo in in_order(photos)]


# --- the gap and the order -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "visits"),
    [
        pytest.param([0, 120], [[1, 2]], id="exactly the gap stays"),
        pytest.param([0, 121], [[1], [2]], id="a second more does not"),
        pytest.param([0, 100, 200, 300], [[1, 2, 3, 4]], id="from the previous, not the first"),
        pytest.param([0, 0, 0], [[1, 2, 3]], id="one second"),
        pytest.param([0], [[1]], id="one photo"),
        pytest.param([], [], id="none"),
    ],
)
def test_more_than_the_gap_starts_a_new_visit(seconds: list[int], visits: list[list[int]]) -> None:
    """The gap is measured from photo to photo; exactly the gap stays inside."""
    assert files(group(photos_at(*seconds), GAP)) == visits


def test_visits_are_numbered_from_one_and_know_their_ends() -> None:
    """A visit has its placement, its number in time, its first and its last moment."""
    first, second = group(photos_at(500, 0, 7), GAP)
    assert (first.placement, first.number, second.number) == ("P1", 1, 2)
    assert (first.start, first.end) == (NOON, NOON + timedelta(seconds=7))
    assert second.start == second.end == NOON + timedelta(seconds=500)


def test_the_gap_is_measured_in_true_time() -> None:
    """Photos an hour apart on the display can be a second apart: the clock was put back."""
    shown = ["2024-11-03 01:59:59", "2024-11-03 01:00:00"]
    true = [datetime(2024, 11, 3, 5, 59, 59, tzinfo=UTC), datetime(2024, 11, 3, 6, tzinfo=UTC)]
    photos = [
        photo_showing(text, number, true_time=moment)
        for number, (text, moment) in enumerate(zip(shown, true, strict=True), start=1)
    ]
    assert files(group(photos, GAP)) == [[1, 2]]


def test_order_is_true_time_then_sub_second_then_file_name() -> None:
    """Each of the three decides only where those before it are equal."""
    late, early = NOON + timedelta(seconds=1), NOON
    photos = [
        Photo(1, "P1", "A.JPG", subsec="0", true_time=late),
        Photo(2, "P1", "B.JPG", subsec="9", true_time=early),
        Photo(3, "P1", "Z.JPG", subsec="10", true_time=early),
        Photo(4, "P1", "Y.JPG", subsec="1", true_time=early),
        Photo(5, "P1", "X.JPG", subsec="05", true_time=early),
        Photo(6, "P1", "W.JPG", subsec="", true_time=early),
    ]
    assert [photo.id for photo in in_order(photos)] == [6, 5, 4, 3, 2, 1]
    assert files(group(photos, GAP)) == [[6, 5, 4, 3, 2, 1]]


def test_a_photo_without_a_true_time_is_in_no_visit_and_parts_none() -> None:
    """It is left out of the order; its neighbours are neighbours."""
    photos = [*photos_at(0, 60), Photo(3, "P1", "A.JPG")]
    assert [photo.id for photo in in_order(photos)] == [1, 2]
    assert files(group(photos, GAP)) == [[1, 2]]
    assert group([photos[2]], GAP) == []


@pytest.mark.parametrize("kind", [PhotoKind.TIMELAPSE, PhotoKind.HANDLER])
def test_time_lapse_and_handler_photos_make_no_visit_and_join_none(kind: PhotoKind) -> None:
    """Neither stands in a visit, nor does it bridge two that are more than the gap apart."""
    photos = photos_at(0, 100, 200)
    photos[1] = replace(photos[1], kind=kind)
    assert files(group(photos, GAP)) == [[1], [3]]
    assert group([photos[1]], GAP) == []


# --- time-lapse ----------------------------------------------------------------------------------


def kinds(
    ordered: Sequence[Photo],
    *,
    every_min: int | None,
    tagged: Sequence[int] = (),
    handler: Sequence[int] = (),
) -> list[PhotoKind]:
    """Say why each photo was taken; tagged and handler photos by their place."""
    places = range(len(ordered))
    found = kinds_of(
        seconds_of(ordered),
        due(ordered, every_min),
        gap=GAP,
        tagged=np.array([at in tagged for at in places], dtype=np.bool_),
        handler=np.array([at in handler for at in places], dtype=np.bool_),
    )
    marked = of_kinds(ordered, found)
    assert [replace(one, kind=PhotoKind.TRIGGER) for one in marked] == [
        replace(one, kind=PhotoKind.TRIGGER) for one in ordered
    ]
    return [photo.kind for photo in marked]


@pytest.mark.parametrize(
    ("clock", "every_min", "due"),
    [
        pytest.param("13:00:00", 60, True, id="on the hour"),
        pytest.param("13:00:02", 60, True, id="2 s late"),
        pytest.param("13:00:03", 60, False, id="3 s late"),
        pytest.param("12:59:58", 60, True, id="2 s early"),
        pytest.param("12:59:57", 60, False, id="3 s early"),
        pytest.param("13:30:00", 60, False, id="half past is not hourly"),
        pytest.param("13:30:00", 15, True, id="half past is quarterly"),
        pytest.param("00:00:00", 60, True, id="midnight"),
        pytest.param("23:59:58", 60, True, id="2 s before midnight"),
        # 7 minutes do not divide the day: 205 * 7 min is 23:55, then the count begins anew.
        pytest.param("23:55:00", 7, True, id="the day's last multiple of 7"),
        pytest.param("23:59:58", 7, True, id="2 s before midnight, minutes not dividing"),
        pytest.param("23:59:57", 7, False, id="3 s before midnight, minutes not dividing"),
        pytest.param("00:00:02", 7, True, id="2 s after midnight"),
        pytest.param("00:02:00", 7, False, id="the old count does not run past midnight"),
        pytest.param("00:07:00", 7, True, id="the new count does"),
        pytest.param("00:00:00", 1440, True, id="once a day"),
        pytest.param("12:00:00", 1440, False, id="once a day is at midnight"),
    ],
)
def test_when_a_time_lapse_photo_is_due(clock: str, every_min: int, due: bool) -> None:
    """Due are the multiples of the minutes since the camera's midnight, 2 s either way."""
    assert is_due(datetime.fromisoformat(f"2026-03-14 {clock}"), every_min) is due


def test_due_goes_by_the_cameras_own_clock() -> None:
    """The camera counts from its own midnight, however wrong its clock is."""
    moment = datetime(2026, 3, 14, 12, 17, 31, tzinfo=UTC)
    photo = photo_showing("2026-03-14 14:00:00", true_time=moment)
    assert kinds([photo], every_min=60) == [PhotoKind.TIMELAPSE]
    wrong = photo_showing("2026-03-14 14:17:31", true_time=moment.replace(minute=0, second=0))
    assert kinds([wrong], every_min=60) == [PhotoKind.TRIGGER]


def test_nothing_is_due_without_a_camera_time() -> None:
    """A photo whose camera showed nothing cannot be a time-lapse photo."""
    assert not is_due(None, 60)


@pytest.mark.parametrize(
    ("seconds", "place", "kind"),
    [
        pytest.param([0], 0, PhotoKind.TIMELAPSE, id="alone"),
        pytest.param([-121, 0, 121], 1, PhotoKind.TIMELAPSE, id="more than the gap on both sides"),
        pytest.param([-120, 0], 1, PhotoKind.TRIGGER, id="exactly the gap after another"),
        pytest.param([0, 120], 0, PhotoKind.TRIGGER, id="exactly the gap before another"),
        pytest.param([0, 0], 0, PhotoKind.TRIGGER, id="two in one second"),
    ],
)
def test_a_time_lapse_photo_stands_alone_by_more_than_the_gap(
    seconds: list[int], place: int, kind: PhotoKind
) -> None:
    """A due photo in the middle of a visit is part of it."""
    assert kinds(photos_at(*seconds), every_min=60)[place] is kind


def test_a_tagged_photo_was_triggered() -> None:
    """What people looked at and tagged is a visit, even when it was due."""
    assert kinds(photos_at(0), every_min=60, tagged=[0]) == [PhotoKind.TRIGGER]


@pytest.mark.parametrize("every_min", [None, 0])
def test_a_camera_without_time_lapse_has_only_triggers(every_min: int | None) -> None:
    """Without minutes in the camera log every photo was triggered, whatever it said before."""
    before = [replace(photo, kind=PhotoKind.TIMELAPSE) for photo in photos_at(0, 3600)]
    assert kinds(before, every_min=every_min) == [PhotoKind.TRIGGER] * 2


def test_handler_photos_are_those_that_people_held_so() -> None:
    """Handler goes before everything else."""
    assert kinds(photos_at(0, 30, 3600), every_min=60, tagged=[0, 1], handler=[0, 2]) == [
        PhotoKind.HANDLER,
        PhotoKind.TRIGGER,
        PhotoKind.HANDLER,
    ]


# --- what holds for all cards --------------------------------------------------------------------

GAPS = st.integers(1, 400)
KINDS = st.sampled_from([PhotoKind.TRIGGER] * 4 + [PhotoKind.TIMELAPSE, PhotoKind.HANDLER])
CARDS = st.lists(
    st.tuples(st.integers(0, 3000), st.sampled_from(["", "0", "5", "50"]), KINDS, st.booleans()),
    max_size=30,
).map(
    lambda cells: [
        replace(photo, subsec=subsec, kind=kind, true_time=photo.true_time if known else None)
        for photo, (_, subsec, kind, known) in zip(
            photos_at(*(second for second, *_ in cells)), cells, strict=True
        )
    ]
)


@given(CARDS, GAPS)
def test_visits_part_the_trigger_photos(card: list[Photo], gap_s: int) -> None:
    """Each trigger photo with a time is in exactly one visit, no other photo in any.

    Inside a visit no two neighbours are more than the gap apart, between two visits they are.
    """
    gap = timedelta(seconds=gap_s)
    visits = group(card, gap)
    inside = [photo for visit in visits for photo in visit.photos]
    triggers = [p for p in card if p.kind is PhotoKind.TRIGGER and p.true_time is not None]
    assert sorted(photo.id for photo in inside) == sorted(photo.id for photo in triggers)
    assert [visit.number for visit in visits] == list(range(1, len(visits) + 1))
    for visit in visits:
        moments = [photo.true_time for photo in visit.photos if photo.true_time]
        assert all(timedelta(0) <= then - now <= gap for now, then in pairwise(moments))
    assert all(then.start - now.end > gap for now, then in pairwise(visits))


@given(CARDS, GAPS, st.randoms(use_true_random=False))
def test_any_order_of_the_photos_gives_the_same_visits(
    card: list[Photo], gap_s: int, chance: Random
) -> None:
    """Visits hang on the photos, not on the order of a folder or of two cards."""
    gap = timedelta(seconds=gap_s)
    shuffled = list(card)
    chance.shuffle(shuffled)
    assert group(shuffled, gap) == group(card, gap)


@given(CARDS, GAPS, GAPS)
def test_a_longer_gap_only_joins_visits(card: list[Photo], one: int, other: int) -> None:
    """Every visit at the shorter gap lies whole in one visit at the longer gap."""
    short, long = (timedelta(seconds=gap) for gap in sorted((one, other)))
    home = {photo.id: v.number for v in group(card, long) for photo in v.photos}
    assert all(len({home[p.id] for p in v.photos}) == 1 for v in group(card, short))


MANY = st.lists(st.tuples(st.integers(0, 3), st.integers(-2000, 2000)), max_size=40)


def slow_numbers(cells: Sequence[tuple[int, int]], gap_s: int) -> list[int]:
    """Number visits by walking through each placement, photo by photo."""
    numbers = [-1] * len(cells)
    number, before = -1, (-1, 0)
    for at in sorted(range(len(cells)), key=lambda at: cells[at]):
        placement, second = cells[at]
        if placement != before[0] or second - before[1] > gap_s:
            number += 1
        numbers[at], before = number, (placement, second)
    return numbers


def numbers(cells: Sequence[tuple[int, int]], gap: timedelta) -> list[int]:
    """Number the visits of (placement, seconds since 1970) the fast way."""
    placements = np.array([placement for placement, _ in cells], dtype=np.int32)
    seconds = np.array([second for _, second in cells], dtype=np.int64)
    found: list[int] = number_visits(placements, seconds.astype("datetime64[s]"), gap).tolist()
    return found


@given(MANY, GAPS)
def test_the_fast_numbers_are_those_of_a_slow_walk(
    cells: list[tuple[int, int]], gap_s: int
) -> None:
    """Placements never share a visit, numbers rise with placement and time, before 1970 too."""
    assert numbers(cells, timedelta(seconds=gap_s)) == slow_numbers(cells, gap_s)


@pytest.mark.parametrize(
    ("gap_s", "expected"), [(2.5, [0, 0, 1]), (2.0, [0, 0, 1]), (1.9, [0, 1, 2]), (3.0, [0, 0, 0])]
)
def test_a_gap_may_hold_a_fraction_of_a_second(gap_s: float, expected: list[int]) -> None:
    """Times are whole seconds; 2 s lie within a gap of 2.5 s, 3 s do not."""
    assert numbers([(0, 0), (0, 2), (0, 5)], timedelta(seconds=gap_s)) == expected


def test_placements_a_thousand_years_wide_stay_apart() -> None:
    """The last photo of one placement and the first of the next are never neighbours."""
    century = 100 * 365 * 86_400
    cells = [(0, 0), (0, 10 * century), (1, 0), (1, 10 * century)]
    assert numbers(cells, timedelta(days=365)) == [0, 1, 2, 3]


@given(CARDS, GAPS)
def test_one_placement_is_grouped_as_many_are_numbered(card: list[Photo], gap_s: int) -> None:
    """`group` and `number_visits` are the same rule."""
    gap = timedelta(seconds=gap_s)
    photos = [p for p in card if p.kind is PhotoKind.TRIGGER and p.true_time is not None]
    cells = [(7, int(p.true_time.timestamp())) for p in photos if p.true_time]
    fast = dict(zip((photo.id for photo in photos), numbers(cells, gap), strict=True))
    slow = {photo.id: visit.number - 1 for visit in group(card, gap) for photo in visit.photos}
    assert fast == slow
