"""Time-lapse photos recognised by their rhythm, where the camera log has none."""

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from builders import NOON, camera, photos_at
from hypothesis import given, settings
from hypothesis import strategies as st

from core.coverage import rhythm_of, watched
from core.model import Photo, PhotoKind

GAP = timedelta(seconds=120)
HOUR = 3600


def hourly(*hours: int, step: int = HOUR) -> list[int]:
    """Give the seconds after noon of photos at these steps."""
    return [hour * step for hour in hours]


def step_of(photos: Sequence[Photo], gap: timedelta = GAP, **values: Any) -> int | None:
    """Give the step that is proposed for photos in the order of time."""
    found = rhythm_of(photos, camera(**values), gap)
    return None if found is None else found.timelapse_every_min


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        pytest.param([], None, id="no photo"),
        pytest.param([0], None, id="one photo"),
        pytest.param(hourly(0, 1, 2, 3, 4), None, id="five frames are too few"),
        pytest.param(hourly(0, 1, 2, 3, 4, 5), 60, id="six frames"),
        pytest.param(hourly(*range(12), step=900), 15, id="every quarter of an hour"),
        pytest.param(hourly(*range(8), step=12 * HOUR), 720, id="noon and midnight"),
        pytest.param(hourly(*range(1, 15, 2), step=12 * HOUR), 1440, id="each midnight"),
        pytest.param(hourly(0, 2, 4, 5, 7, 8), 60, id="six of nine due, two thirds"),
        pytest.param(hourly(0, 2, 4, 6, 7, 9), None, id="six of ten due"),
        pytest.param(
            [*hourly(0, 1, 2, 4, 5, 6), 3 * HOUR, 3 * HOUR + 60],
            60,
            id="a due time inside a visit counts neither way",
        ),
        pytest.param(
            [s + 2 * (-1) ** at for at, s in enumerate(hourly(*range(1, 7)))], 60, id="2 s off"
        ),
        pytest.param(hourly(*range(6), *range(20, 25)), 60, id="dead for a time, then too few"),
        pytest.param(
            hourly(*range(6), *range(24, 30), *range(48, 54)), 60, id="only six hours a day"
        ),
        pytest.param(hourly(0, 1, 2, 6, 7, 8), 60, id="three missing in a row, six of nine"),
        pytest.param(hourly(0, 1, 2, 7, 8, 9), None, id="four missing in a row"),
        pytest.param(hourly(*range(6), *range(10, 12)), 60, id="they end a run"),
        pytest.param(hourly(*range(5), *range(9, 14)), None, id="two runs of five"),
        pytest.param([s + 3 for s in hourly(*range(8))], None, id="3 s off is another"),
        pytest.param([s + 1020 for s in hourly(*range(9))], None, id="17 past, no due time at all"),
        pytest.param(hourly(*range(40), step=120), None, id="a step that the gap bridges"),
        pytest.param(hourly(*range(40), step=180), 3, id="a step just longer than the gap"),
    ],
)
def test_the_rhythm_of_photos(seconds: list[int], expected: int | None) -> None:
    """At least six lone photos at two thirds of the due times (a judgement), else no rhythm."""
    assert step_of(photos_at(*sorted(seconds))) == expected


def test_visits_in_between_do_not_hide_it() -> None:
    """Bursts at any other time are not part of the rhythm, and the evidence names its frames."""
    visits = [7 * 60 + at for start in range(0, 10 * HOUR, 2700) for at in (start, start + 1)]
    taken = photos_at(*sorted([*visits, *hourly(*range(10))]))
    found = rhythm_of(taken, camera(), GAP)
    assert found is not None
    assert found.timelapse_every_min == 60
    assert found.placement == "P1"
    lone = [photo for photo in taken if photo.id in found.frames]
    assert [photo.camera_time.minute for photo in lone if photo.camera_time] == [0] * len(lone)
    assert len(lone) == len(found.frames) == found.due == 10
    assert found.sentence == (
        "10 of 10 times that are due every 60 min have a photo that stands alone: P1 seems to take "
        "time-lapse photos. If it was set so, write 60 under timelapse_every_min in the camera log."
    )


@pytest.mark.parametrize(
    ("visit", "due"),
    [
        pytest.param([3 * HOUR - 62, 3 * HOUR - 2], 6, id="a visit to 2 s before it"),
        pytest.param([3 * HOUR - 63, 3 * HOUR - 3], 7, id="a visit to 3 s before it"),
        pytest.param([3 * HOUR + 2, 3 * HOUR + 62], 6, id="a visit from 2 s after it"),
        pytest.param([3 * HOUR + 3, 3 * HOUR + 63], 7, id="a visit from 3 s after it"),
    ],
)
def test_a_due_time_at_the_edge_of_a_visit(visit: list[int], due: int) -> None:
    """A due time is not missing where a visit has a photo within 2 s of it."""
    found = rhythm_of(photos_at(*sorted([*hourly(0, 1, 2, 4, 5, 6), *visit])), camera(), GAP)
    assert found is not None
    assert (len(found.frames), found.due) == (6, due)


@pytest.mark.parametrize(("others", "expected"), [(8, 5), (9, None)])
def test_cameras_that_write_no_seconds(others: int, expected: int | None) -> None:
    """Six photos every 5 min are no rhythm where whole minutes are just how a camera writes.

    Eight lone photos at the four other minutes are two each: six is three times that. Nine are
    more (a judgement).
    """
    by_chance = [2 * HOUR + 420 * at - 60 * (at % 5 == 0) for at in range(1, others + 4)]
    lone = [second for second in by_chance if second % 300][:others]
    assert len(lone) == others
    assert min(after - before for before, after in pairwise(lone)) > 120
    assert step_of(photos_at(*range(0, 1800, 300), *lone)) == expected


def test_the_rhythm_is_on_the_cameras_clock() -> None:
    """A camera seven minutes slow takes its hourly photos at seven past; the rhythm is hourly."""
    slow = [
        Photo(at, "P1", f"{at}.JPG", shown.replace(tzinfo=None), true_time=shown + 7 * GAP / 2)
        for at in range(8)
        for shown in [NOON + at * timedelta(hours=1)]
    ]
    assert step_of(slow) == 60


def test_where_the_log_speaks_nothing_is_proposed() -> None:
    """The log says every half hour, the photos come hourly: the log holds."""
    assert step_of(photos_at(*hourly(*range(12))), timelapse_every_min=30) is None


def test_handler_photos_are_no_rhythm() -> None:
    """People who come on the hour and are tagged as handlers prove no time-lapse."""
    assert step_of(photos_at(*hourly(*range(12)), kind=PhotoKind.HANDLER)) is None


def test_it_is_proposed_and_never_used() -> None:
    """Watched time is the same with a rhythm in the photos as without, until the log has it."""
    taken = photos_at(*hourly(0, 1, 2, 3, 5, 6, 7, 8))
    place = camera(start=NOON, end=NOON + timedelta(hours=9))
    assert rhythm_of(taken, place, GAP) is not None
    assert len(watched(taken, place, GAP)) == 1
    logged = camera(start=place.start, end=place.end, timelapse_every_min=60)
    assert len(watched(taken, logged, GAP)) == 2


@settings(deadline=None)
@given(
    st.sampled_from([3, 5, 10, 15, 20, 30, 60, 120, 240]),
    st.integers(8, 60),
    st.lists(st.integers(0, 240 * 60 * 60), max_size=40),
    st.data(),
)
def test_a_rhythm_shows_through_anything(
    step: int, many: int, others: list[int], data: st.DataObject
) -> None:
    """With up to a fifth of the frames lost and visits at any time, the step is still found.

    It may not be where visits hide too many frames: then nothing is proposed, never another step.
    """
    lost = data.draw(st.sets(st.integers(1, many - 2), max_size=many // 5))
    due = [at * step * 60 for at in range(many) if at not in lost]
    found = step_of(photos_at(*sorted({*due, *others})))
    if not any(abs(second - other) <= 130 for second in due for other in others):
        assert found == step
    assert found in {step, None}


def clean_card(rng: np.random.Generator) -> list[Photo]:
    """Give a card of one to ten nights on which animals alone set the camera off."""
    nights, rate, burst = rng.integers(1, 11), rng.uniform(0.3, 3), rng.integers(1, 6)
    whole_minutes = rng.random() < 0.2
    seconds: list[int] = []
    for night in range(nights):
        for start in rng.uniform(0, 12 * HOUR, rng.poisson(12 * rate)).astype(int).tolist():
            stay = range(0, int(rng.integers(1, 4)) * 40, 40)
            seconds += [night * 24 * HOUR + start + go + at for go in stay for at in range(burst)]
    if whole_minutes:  # cheap cameras write no seconds
        seconds = [second - second % 60 for second in seconds]
    return photos_at(*sorted(seconds))


def test_no_false_alarm_on_clean_cards() -> None:
    """200 cards of animals alone, sparse and dense, some without seconds: not one rhythm."""
    rng = np.random.default_rng(4)
    cards = [clean_card(rng) for _ in range(200)]
    assert max(len(card) for card in cards) > 1500
    assert [step_of(card) for card in cards] == [None] * 200
