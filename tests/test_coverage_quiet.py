"""When a camera was blind because it was set to stay quiet after a trigger."""

from datetime import timedelta
from itertools import pairwise

import pytest
from builders import NOON, photos_at
from hypothesis import given, settings
from hypothesis import strategies as st

from core.coverage import quiet_of
from core.model import Photo, PhotoKind, Span


def seconds(spans: tuple[Span, ...]) -> list[tuple[int, int]]:
    """Give stretches as seconds after noon."""
    return [
        (int((one.start - NOON).total_seconds()), int((one.end - NOON).total_seconds()))
        for one in spans
    ]


@pytest.mark.parametrize(
    ("taken", "setting", "blind"),
    [
        pytest.param([], 60, [], id="no photo"),
        pytest.param([0, 500], None, [], id="none was set"),
        pytest.param([0, 500], 0, [], id="set to nothing"),
        pytest.param([0], 60, [(0, 60)], id="one photo"),
        pytest.param([0, 500], 60, [(0, 60), (500, 560)], id="two triggers"),
        pytest.param([0, 1, 2, 500], 60, [(2, 62), (500, 560)], id="after the last of a burst"),
        pytest.param([0, 1, 2, 60], 60, [(2, 60), (60, 120)], id="from the first of the burst"),
        pytest.param([0, 10, 500], 60, [(10, 70), (500, 560)], id="10 s apart is a burst"),
        pytest.param(
            [0, 11, 500], 60, [(0, 11), (11, 71), (500, 560)], id="11 s apart are two triggers"
        ),
        pytest.param([0, 62], 60, [(0, 60), (62, 122)], id="2 s awake in between"),
        pytest.param([0, 6], 5, [(0, 5), (6, 11)], id="shorter than a burst may be"),
        pytest.param([0, 5], 5, [(5, 10)], id="exactly a short quiet time is a burst"),
    ],
)
def test_blind_after_each_trigger(
    taken: list[int], setting: int | None, blind: list[tuple[int, int]]
) -> None:
    """From the last photo of a burst for the quiet time, or up to the next trigger."""
    assert seconds(quiet_of(photos_at(*taken), setting).blind) == blind


def test_a_visit_shorter_than_the_longest_blind_time_could_be_missed() -> None:
    """Two triggers 300 s apart on a camera that is quiet for five minutes, then a free evening."""
    found = quiet_of(photos_at(0, 1, 2, 300, 301, 302), 300)
    assert found.after == ("IMG_0003.JPG", "IMG_0006.JPG")
    assert found.longest == timedelta(seconds=300)
    assert quiet_of([], 300).longest == timedelta(0)


def test_time_lapse_photos_are_taken_by_the_clock() -> None:
    """They begin no quiet time and end none: the sensor stays blind."""
    trigger, frame = photos_at(0, 30)
    frame = Photo(frame.id, "P1", "B.JPG", frame.camera_time, true_time=frame.true_time,
                  kind=PhotoKind.TIMELAPSE)  # fmt: skip
    assert seconds(quiet_of([trigger, frame], 60).blind) == [(0, 60)]
    assert quiet_of([frame], 60).blind == ()


@pytest.mark.parametrize(
    ("taken", "too_soon"),
    [
        pytest.param([0, 1, 2, 60], (), id="on time"),
        pytest.param([0, 58], (), id="2 s early, whole seconds"),
        pytest.param([0, 57], (2,), id="3 s early"),
        pytest.param([0, 30, 60], (2, 3), id="twice as fast as it was set"),
        pytest.param([0, 1, 2, 3], (), id="a burst"),
    ],
)
def test_a_log_that_the_photos_speak_against(taken: list[int], too_soon: tuple[int, ...]) -> None:
    """Photos that come while the camera should be quiet are named: the setting may be wrong."""
    assert quiet_of(photos_at(*taken), 60).too_soon == too_soon


@settings(deadline=None)
@given(st.lists(st.integers(0, 5000), max_size=30), st.integers(1, 600))
def test_no_photo_is_taken_while_blind(taken: list[int], setting: int) -> None:
    """Blind stretches are in order, apart, no longer than the setting, and hold no photo inside."""
    found = seconds(quiet_of(photos_at(*sorted(taken)), setting).blind)
    assert all(0 <= end - start <= setting for start, end in found)
    assert all(end <= start for (_, end), (start, _) in pairwise(found))
    assert not any(start < second < end for second in taken for start, end in found)
    assert {start for start, _ in found} <= set(taken)
