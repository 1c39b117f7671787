"""When a placement was watching, and how far a tray's window was watched."""

from datetime import datetime, timedelta
from itertools import pairwise, product
from typing import Any

import pytest
from builders import at, camera
from hypothesis import given
from hypothesis import strategies as st

from core.coverage import Cover, clip, cover, gaps, share, union, watched
from core.model import ClockFlag, Photo, PhotoKind, Placement, Span

GAP = timedelta(seconds=120)
NIGHT = Span(at("18:00"), at("06:00"))


def shot(clock: str, *, behind_min: int = 0, **values: Any) -> Photo:
    """Give a photo by its true time; its camera may be some minutes behind."""
    moment = at(clock)
    shown = (moment - timedelta(minutes=behind_min)).replace(tzinfo=None)
    row = {"camera_time": shown, "true_time": moment} | values
    return Photo(1, "P1", f"{clock}.JPG", **row)


def spans(text: str) -> list[Span]:
    """Give stretches written as `18:00-20:00 22:00-06:00`."""
    ends = [part.split("-") for part in text.split()]
    return [Span(at(start), at(end)) for start, end in ends]


# --- when a placement was watching -------------------------------------------------------------


@pytest.mark.parametrize(
    ("photos", "values", "expected"),
    [
        pytest.param("", {}, "", id="no photo, no proof"),
        pytest.param("", {"working_at_pickup": True}, "", id="working, yet not one photo"),
        pytest.param("19:00", {}, "19:00-19:00", id="one photo proves its moment"),
        pytest.param("17:35 22:00 05:00", {}, "17:35-05:00", id="silence between two proofs"),
        pytest.param(
            "17:35 05:00", {"working_at_pickup": True}, "17:35-06:30", id="working at pick-up"
        ),
        pytest.param(
            "17:35 05:00", {"working_at_pickup": False}, "17:35-05:00", id="not working at pick-up"
        ),
        pytest.param("17:35 06:30", {}, "17:35-06:30", id="a photo at the end"),
        pytest.param("17:20 06:40", {}, "17:30-06:30", id="photos just outside start and end"),
        pytest.param("17:15 06:45", {}, "17:30-06:30", id="a quarter of an hour outside"),
        pytest.param("17:14 19:00 06:46", {}, "19:00-19:00", id="photos far outside prove nothing"),
        pytest.param(
            "17:00 19:00 07:00", {"start": None, "end": None}, "17:00-07:00", id="no start or end"
        ),
        pytest.param(
            "19:00", {"end": None, "working_at_pickup": True}, "19:00-19:00", id="working, no end"
        ),
    ],
)
def test_proofs_of_life(photos: str, values: dict[str, Any], expected: str) -> None:
    """From the first to the last photo; to the end when it still worked."""
    taken = [shot(clock) for clock in photos.split()]
    assert watched(taken, camera(**values), GAP) == spans(expected)


@pytest.mark.parametrize("kind", PhotoKind)
def test_any_kind_of_photo_is_a_proof(kind: PhotoKind) -> None:
    """Trigger, time-lapse and handler photos all show that the camera works."""
    taken = [shot("17:35", kind=kind), shot("05:00", kind=kind)]
    assert watched(taken, camera(), GAP) == spans("17:35-05:00")


@pytest.mark.parametrize(
    ("flag", "expected"),
    [
        (ClockFlag.NONE, "17:35-05:00"),
        (ClockFlag.BEYOND_CHECKS, "17:35-05:00"),
        (ClockFlag.TWICE, "17:35-19:00"),
        (ClockFlag.NEVER, "17:35-19:00"),
    ],
    ids=["trusted", "beyond the checks", "an hour shown twice", "an hour that never was"],
)
def test_only_a_trusted_clock_proves(flag: ClockFlag, expected: str) -> None:
    """A photo whose hour is not sure proves nothing."""
    taken = [shot("17:35"), shot("19:00"), shot("05:00", clock_flag=flag)]
    assert watched(taken, camera(), GAP) == spans(expected)


HOURLY: dict[str, Any] = {"timelapse_every_min": 60}


@pytest.mark.parametrize(
    ("photos", "values", "expected"),
    [
        pytest.param("18:00 19:00 20:00", HOURLY, "18:00-20:00", id="none missing"),
        pytest.param(
            "18:00 19:00 21:00 22:00", HOURLY, "18:00-19:00 21:00-22:00", id="one missing"
        ),
        pytest.param(
            "18:00 19:00 19:30 20:30 21:00",
            HOURLY,
            "18:00-19:30 20:30-21:00",
            id="missing between two trigger photos",
        ),
        pytest.param("18:00 18:20 18:40", HOURLY, "18:00-18:40", id="none due yet"),
        pytest.param(
            "18:00 18:59 19:01 20:00", HOURLY, "18:00-20:00", id="due inside a visit, gap and all"
        ),
        pytest.param(
            "18:00 18:59 19:01:01 20:00",
            HOURLY,
            "18:00-18:59 19:01:01-20:00",
            id="due in a silence longer than the gap",
        ),
        pytest.param("18:00 18:59:58 20:00", HOURLY, "18:00-20:00", id="2 s early"),
        pytest.param("18:00 19:00:02 20:00", HOURLY, "18:00-20:00", id="2 s late"),
        pytest.param(
            "18:00 18:59:57 20:00", HOURLY, "18:00-18:59:57 20:00-20:00", id="3 s early is another"
        ),
        pytest.param(
            "18:00 19:00:03 20:00", HOURLY, "18:00-18:00 19:00:03-20:00", id="3 s late is another"
        ),
        pytest.param(
            "18:00 19:00",
            HOURLY | {"working_at_pickup": True},
            "18:00-19:00 06:30-06:30",
            id="due and missing before pick-up",
        ),
        pytest.param(
            "18:00 19:00",
            HOURLY | {"working_at_pickup": True, "end": at("19:50")},
            "18:00-19:50",
            id="none due before pick-up",
        ),
        pytest.param(
            "21:00 00:00 06:00",
            {"timelapse_every_min": 420},
            "21:00-06:00",
            id="every 7 hours counts anew from midnight",
        ),
        pytest.param(
            "21:00 01:00 06:00",
            {"timelapse_every_min": 420},
            "21:00-21:00 01:00-06:00",
            id="midnight missing",
        ),
    ],
)
def test_timelapse_photos_due(photos: str, values: dict[str, Any], expected: str) -> None:
    """A time-lapse photo due and missing: unwatched between its neighbours."""
    taken = [shot(clock) for clock in photos.split()]
    assert watched(taken, camera(**values), GAP) == spans(expected)


def test_timelapse_goes_by_the_cameras_clock() -> None:
    """A camera 10 minutes behind takes its hourly photos at 10 past; none of them is missing."""
    behind = [shot(clock, behind_min=10) for clock in ("18:10", "19:10", "20:10")]
    assert watched(behind, camera(**HOURLY), GAP) == spans("18:10-20:10")
    right = [shot(clock) for clock in ("18:10", "19:10", "20:10")]
    assert watched(right, camera(**HOURLY), GAP) == spans("18:10-18:10 19:10-19:10 20:10-20:10")


# --- stretches ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_", "expected"),
    [
        pytest.param("", "", id="none"),
        pytest.param("18:00-22:00 21:00-06:00", "18:00-06:00", id="overlapping"),
        pytest.param("18:00-22:00 22:00-06:00", "18:00-06:00", id="touching"),
        pytest.param("18:00-06:00 20:00-21:00", "18:00-06:00", id="one inside the other"),
        pytest.param(
            "22:00-23:00 18:00-19:00", "18:00-19:00 22:00-23:00", id="apart, put in order"
        ),
    ],
)
def test_two_cameras_watch_together(given_: str, expected: str) -> None:
    """The union of stretches, in order."""
    assert union(spans(given_)) == spans(expected)
    assert union(spans(given_)[::-1]) == spans(expected)


@pytest.mark.parametrize(
    ("given_", "expected"),
    [
        ("17:00-19:00 05:00-07:00", "18:00-19:00 05:00-06:00"),
        ("17:00-07:00", "18:00-06:00"),
        ("17:00-17:59 06:01-07:00", ""),
        ("17:00-18:00 06:00-07:00", "18:00-18:00 06:00-06:00"),
    ],
    ids=["across the edges", "around", "outside", "touching only"],
)
def test_cut_to_a_window(given_: str, expected: str) -> None:
    """Stretches are closed, so one that touches the window keeps that moment."""
    assert clip(spans(given_), NIGHT) == spans(expected)


@pytest.mark.parametrize(
    ("given_", "unwatched", "part"),
    [
        ("", "18:00-06:00", 0),
        ("18:00-06:00", "", 1),
        ("18:00-21:00", "21:00-06:00", 0.25),
        ("19:00-21:00 00:00-04:00", "18:00-19:00 21:00-00:00 04:00-06:00", 0.5),
        ("20:00-20:00", "18:00-20:00 20:00-06:00", 0),
    ],
    ids=["never", "always", "first quarter", "two stretches", "one moment"],
)
def test_gaps_and_share(given_: str, unwatched: str, part: float) -> None:
    """What of twelve hours was not watched, and the share that was."""
    assert gaps(NIGHT, spans(given_)) == spans(unwatched)
    assert share(NIGHT, spans(given_)) == part


# --- how far a window was watched --------------------------------------------------------------


@pytest.mark.parametrize(
    ("given_", "last", "expected"),
    [
        pytest.param("18:00-06:00", "21:00", Cover.WHOLE, id="throughout"),
        pytest.param("18:00-06:00", None, Cover.WHOLE, id="throughout, nobody came"),
        pytest.param("", "21:00", Cover.NONE, id="never"),
        pytest.param("", None, Cover.NONE, id="never, nobody came"),
        pytest.param("20:00-06:00", "21:00", Cover.GAP_BEFORE, id="gap at the start"),
        pytest.param("20:00-06:00", "20:00", Cover.GAP_BEFORE, id="last photo as the gap ends"),
        pytest.param("20:00-06:00", "19:59:59", Cover.GAP_AFTER, id="a second before it ends"),
        pytest.param("18:00-20:00 22:00-06:00", "23:00", Cover.GAP_BEFORE, id="gap, then a visit"),
        pytest.param("18:00-20:00 22:00-06:00", "19:00", Cover.GAP_AFTER, id="a visit, then a gap"),
        pytest.param("18:00-20:00 22:00-06:00", "20:00", Cover.GAP_AFTER, id="as the gap begins"),
        pytest.param("18:00-20:00 22:00-06:00", None, Cover.GAP_AFTER, id="a gap, nobody came"),
        pytest.param("18:00-05:59:59", "21:00", Cover.GAP_AFTER, id="the last second"),
        pytest.param(
            "19:00-20:00 21:00-05:00", "22:00", Cover.GAP_AFTER, id="gaps before and after"
        ),
    ],
)
def test_cover_from_the_last_visit(given_: str, last: str | None, expected: Cover) -> None:
    """A gap before the last on-tray visit costs the count, one after it the owner (4.1)."""
    assert cover(NIGHT, spans(given_), None if last is None else at(last)) is expected


# --- what holds of all stretches ---------------------------------------------------------------


def minute(number: int) -> datetime:
    """Give a minute of the night."""
    return at("18:00") + timedelta(minutes=number)


some_spans = st.lists(
    st.tuples(st.integers(-10, 40), st.integers(0, 20)).map(
        lambda pair: Span(minute(pair[0]), minute(pair[0] + pair[1]))
    ),
    max_size=6,
)
windows = st.tuples(st.integers(0, 20), st.integers(1, 20)).map(
    lambda pair: Span(minute(pair[0]), minute(pair[0] + pair[1]))
)


def halves(window: Span) -> list[datetime]:
    """Give the middle of each minute of a window: no stretch begins or ends there."""
    many = int((window.end - window.start) / timedelta(minutes=1))
    return [window.start + timedelta(minutes=step, seconds=30) for step in range(many)]


def covers(stretches: list[Span], moment: datetime) -> bool:
    """Say whether any stretch holds the moment."""
    return any(span.start <= moment <= span.end for span in stretches)


@given(windows, some_spans)
def test_watched_and_gaps_make_the_window(window: Span, some: list[Span]) -> None:
    """Every minute is watched or a gap, never both; the share follows, from 0 to 1."""
    inside = clip(union(some), window)
    unwatched = gaps(window, inside)
    moments = halves(window)
    for moment in moments:
        assert covers(inside, moment) == covers(some, moment)
        assert covers(unwatched, moment) != covers(some, moment)
    total = sum((span.end - span.start for span in [*inside, *unwatched]), timedelta(0))
    assert total == window.end - window.start
    part = share(window, inside)
    assert 0 <= part <= 1
    assert part == sum(covers(some, moment) for moment in moments) / len(moments)


@given(windows, some_spans, st.none() | st.integers(0, 40))
def test_cover_by_its_definition(window: Span, some: list[Span], last: int | None) -> None:
    """C1, C2, C3 as they are defined, minute by minute."""
    inside = clip(union(some), window)
    seen = None if last is None else minute(last)
    missed = [moment for moment in halves(window) if not covers(some, moment)]
    if not inside:
        expected = Cover.NONE
    elif not missed:
        expected = Cover.WHOLE
    elif seen is not None and all(moment < seen for moment in missed):
        expected = Cover.GAP_BEFORE
    else:
        expected = Cover.GAP_AFTER
    assert cover(window, inside, seen) is expected


@given(
    st.lists(st.integers(-30, 800), max_size=12),
    st.sampled_from([None, 5, 60]),
    st.sampled_from([None, True, False]),
)
def test_watched_stays_inside_the_placement(
    minutes: list[int], every: int | None, working: bool | None
) -> None:
    """Stretches are in order, apart, inside [start, end], and begin and end at proofs."""
    place: Placement = camera(timelapse_every_min=every, working_at_pickup=working)
    assert place.start is not None
    assert place.end is not None
    moments = [minute(number) for number in sorted(minutes)]
    taken = [Photo(1, "P1", "A.JPG", one.replace(tzinfo=None), true_time=one) for one in moments]
    found = watched(taken, place, GAP)
    assert all(one.end < following.start for one, following in pairwise(found))
    edges = {place.start, place.end, *moments}
    for span in found:
        assert place.start <= span.start <= span.end <= place.end
        assert {span.start, span.end} <= edges


def test_a_gap_lies_between_neighbours_only() -> None:
    """A missing time-lapse photo never takes away time beyond the photos around it."""
    clocks = ["18:00", "19:00", "20:10", "22:05", "23:00"]
    for left_out in product([True, False], repeat=len(clocks)):
        taken = [shot(one) for one, out in zip(clocks, left_out, strict=True) if not out]
        found = watched(taken, camera(**HOURLY), GAP)
        assert all(covers(found, photo.true_time) for photo in taken if photo.true_time)
