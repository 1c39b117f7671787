"""The drawing of clocks: what is on its axis, what is told of what lies beyond, and in words."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import at, tray

from app import clockline
from app.clockline import Drawn
from core.clockbook import Lanes
from core.clockfaults.rows import Seconds
from core.model import Placement

CAPE = ZoneInfo("Africa/Johannesburg")
HOUR = timedelta(hours=1)


def seconds(*moments: datetime) -> Seconds:
    return np.array([one.timestamp() for one in moments], dtype=np.int64)


def drawn(shift: timedelta = timedelta(0)) -> Drawn:
    """Give a placement whose window is 18:00 to 06:00; its camera's four photos are shifted."""
    place = Placement("P1", "C1", ("T1",), at("18:00"), at("06:00"))
    true = seconds(*(at("18:00") + hour * HOUR for hour in (0, 4, 8, 12)))
    held = true + int(shift.total_seconds())
    return Drawn(Lanes(place, held, held), [tray()])


def rows(chart: Any, kind: str) -> list[dict[str, Any]]:
    """Give the rows behind the marks of a kind."""
    laid_out = chart.to_dict()
    sets = laid_out["datasets"]
    return [
        row
        for layer in laid_out["layer"]
        if layer["mark"]["type"] == kind
        for row in sets[layer["data"]["name"]]
    ]


@pytest.mark.parametrize("hours", [0, 1, -1, 12, -12])
def test_photos_near_the_windows_are_on_the_axis(hours: int) -> None:
    """An hour or twelve to either side: every photo is a mark, none is beyond."""
    one = drawn(hours * HOUR)
    span = clockline.axis_of([one])
    first, last = (datetime.fromtimestamp(int(end), UTC) for end in one.lanes.held[[0, -1]])
    assert span.start < min(first, at("18:00"))
    assert span.end > max(last, at("06:00"))
    chart = clockline.chart([one], CAPE)
    assert sum(row["photos"] for row in rows(chart, "tick")) == 8
    assert rows(chart, "text") == []


@pytest.mark.parametrize(("years", "arrow"), [(-11, "←"), (3, "→")])
def test_photos_of_another_year_are_counted_at_the_end_of_the_axis(years: int, arrow: str) -> None:
    """The window keeps its room, and how many lie beyond is written where it has some."""
    one = drawn(years * timedelta(days=365))
    span = clockline.axis_of([one])
    assert span.end - span.start < timedelta(hours=16)
    said = [row["words"] for row in rows(clockline.chart([one], CAPE), "text")]
    assert len(said) == 2
    assert clockline.legend([one]).endswith("Arrows: photos beyond the axis.")
    assert all("4 photos, " in words and arrow in words for words in said)


def test_a_placement_without_a_log_is_drawn_by_its_photos() -> None:
    """No stretch, no window: the axis is that of what it has."""
    there = seconds(at("18:00"), at("20:00"), at("23:00"))
    one = Drawn(Lanes(Placement("P1"), there, there), [])
    span = clockline.axis_of([one])
    assert span.start < at("18:00")
    assert span.end > at("23:00")
    nothing = Drawn(Lanes(Placement("P1"), there[:0], there[:0]), [])
    assert clockline.chart([nothing], CAPE).to_dict()["layer"]


def test_each_proposal_has_a_row_and_what_was_found_is_underlined() -> None:
    """Two as good: two numbered rows; the line spans the photos that the finding is about."""
    one = drawn(-HOUR)
    two = [one.lanes.held + 3600, one.lanes.held + 7200]
    about = {"the clock is one hour off": one.lanes.held[1:3]}
    full = Drawn(one.lanes, one.trays, two, about)
    assert [label for _, label, _ in full.rows()] == [
        "P1 camera showed", "P1 held true", "P1 as proposed 1", "P1 as proposed 2",
    ]  # fmt: skip
    chart = clockline.chart([full], CAPE, dark=True)
    [line] = [row for row in rows(chart, "bar") if row["what"] == "the clock is one hour off"]
    assert (line["row"], line["photos"]) == ("P1 held true", 2)
    assert (line["from"], line["to"]) == ("2026-03-14T23:00:00", "2026-03-15T03:00:00")
    assert clockline.legend([full]).endswith("Underlined: what a finding is about.")
    words = clockline.in_words([full], CAPE)
    assert "as proposed 1: 3 of 4 photos in a window" in words
    assert "the clock is one hour off: 2 photos" in words


def test_many_photos_are_few_marks() -> None:
    """A hundred thousand photos are drawn as no more marks than a row has room for."""
    start = int(at("18:00").timestamp())
    many = np.linspace(start, start + 43_000, 100_000).astype(np.int64)
    one = Drawn(Lanes(Placement("P1", "C1", ("T1",)), many, many), [tray()])
    marks = rows(clockline.chart([one], CAPE), "tick")
    assert len(marks) <= 2 * clockline.BINS
    assert sum(row["photos"] for row in marks) == 2 * len(many)
