"""When a battery may have died though the camera log says that the camera was working."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest
from builders import at, camera

from core.coverage import Confidence, Suspicion, Why, battery_dead, rhythm_of
from core.model import Photo, Span

GAP = timedelta(seconds=120)
HOURS = [*range(24)]


def shots(hours: Sequence[float]) -> list[Photo]:
    """Give photos so many hours after six in the evening."""
    moments = [at("18:00") + timedelta(hours=one) for one in hours]
    return [
        Photo(number, "P1", f"{number}.JPG", one.replace(tzinfo=None), true_time=one)
        for number, one in enumerate(moments, start=1)
    ]


def suspected(hours: Sequence[float], until: float, **values: object) -> Suspicion | None:
    """Look at a camera that took photos at these hours and was taken down at another."""
    there: dict[str, Any] = {"working_at_pickup": True, "end": at("18:00") + timedelta(hours=until)}
    place = camera(**there | values)
    taken = shots(hours)
    return battery_dead(taken, place, rhythm_of(taken, place, GAP))


def test_hourly_photos_that_break_off() -> None:
    """Ten hourly photos, then eight hours of nothing though the log says it was working."""
    found = suspected(HOURS[:10], 17.5)
    assert found is not None
    assert (found.why, found.confidence) == (Why.BATTERY_DEAD, Confidence.POSSIBLE)
    assert found.span == Span(at("03:00"), at("11:30"))
    assert found.look_at == (10,)
    assert found.evidence == (
        "no photo in the last 8 h 30 min, nor at the end",
        "8 photos of a rhythm of 60 min are missing there, at most 0 before",
        "the camera log says that the camera was working at pick-up",
    )


@pytest.mark.parametrize(
    ("hours", "until", "values"),
    [
        pytest.param(HOURS[:10], 12.5, {}, id="three missing: no more than a rhythm bears"),
        pytest.param(HOURS[:10], 9.2, {}, id="a photo within a quarter of an hour of the end"),
        pytest.param(HOURS[:10], 17.5, {"working_at_pickup": False}, id="known to be dead"),
        pytest.param(HOURS[:10], 17.5, {"working_at_pickup": None}, id="nobody says it worked"),
        pytest.param(HOURS[:10], 17.5, {"end": None}, id="nobody knows when it was taken down"),
        pytest.param(HOURS[:10], 17.5, {"timelapse_every_min": 60}, id="the log has the rhythm"),
        pytest.param([0.1, 0.7, 2.3, 4.4, 5.9, 7.2, 8.8], 17.5, {}, id="no rhythm"),
        pytest.param([], 17.5, {}, id="no photo"),
        pytest.param(
            [*HOURS[:10], *range(24, 34)], 48, {}, id="by day alone: as many missing every night"
        ),
    ],
)  # fmt: skip
def test_no_sign_of_a_dead_battery(
    hours: list[float], until: float, values: dict[str, object]
) -> None:
    """Silence that a rhythm bears, that was there before, or that is unwatched anyway."""
    assert suspected(hours, until, **values) is None


def test_a_longer_silence_than_any_before() -> None:
    """By day alone, and on the last day it never began again: one night more than before."""
    assert suspected([*HOURS[:10], *range(24, 34)], 49, working_at_pickup=True) is not None


def test_four_missing_are_more_than_a_rhythm_bears() -> None:
    """Three missing due times end no run of a rhythm (a judgement); the fourth does."""
    assert suspected(HOURS[:10], 13) is None
    assert suspected(HOURS[:10], 13.1) is not None
