"""Which visits touch which tray window: the join against a slow obvious one."""

from collections.abc import Sequence
from datetime import timedelta
from itertools import combinations, pairwise

import numpy as np
import pytest
from builders import SETTINGS, Stay, at, camera, record, stay, tray
from hypothesis import given
from hypothesis import strategies as st

from core.model import Span, TrayDeployment, TrayRole
from core.units import Times
from core.windows import (
    array_of,
    merged,
    overlapping,
    runs_in_windows,
    window_of,
    windows_of_visits,
)

START = np.datetime64("2026-03-14T18:00:00", "s")

Row = tuple[int, int, int]
"""Tray number, start and end in seconds after the first evening."""


def join(visits: Sequence[Row], windows: Sequence[Row]) -> set[tuple[int, int]]:
    """Join as the study does, and check that every pair is given once, visits rising."""
    at_visit, at_window = windows_of_visits(*columns(visits), *columns(windows))
    assert at_visit.tolist() == sorted(at_visit.tolist())
    pairs = list(zip(at_visit.tolist(), at_window.tolist(), strict=True))
    assert len(pairs) == len(set(pairs))
    return set(pairs)


def columns(rows: Sequence[Row]) -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], Times, Times]:
    """Turn rows into the arrays that are joined."""
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return table[:, 0], START + table[:, 1], START + table[:, 2]


def slowly(visits: Sequence[Row], windows: Sequence[Row]) -> set[tuple[int, int]]:
    """Look at every visit and every window: closed visits, half-open windows."""
    return {
        (visit, window)
        for visit, (tray_, start, end) in enumerate(visits)
        for window, (its_tray, set_out, picked_up) in enumerate(windows)
        if tray_ == its_tray and start < picked_up and end >= set_out
    }


@pytest.mark.parametrize(
    ("visit", "touched"),
    [
        pytest.param((0, 0, 9), set(), id="before all"),
        pytest.param((0, 0, 10), {0}, id="up to set-out, which is inside"),
        pytest.param((0, 19, 19), {0}, id="the last second"),
        pytest.param((0, 20, 25), {1}, id="from pick-up, which is the next set-out"),
        pytest.param((0, 15, 20), {0, 1}, id="across touching windows"),
        pytest.param((0, 5, 99), {0, 1, 2}, id="across all"),
        pytest.param((0, 30, 39), set(), id="between two windows"),
        pytest.param((1, 0, 99), {3}, id="another tray"),
        pytest.param((7, 0, 99), set(), id="a tray without windows"),
    ],
)
def test_windows_that_a_visit_touches(visit: Row, touched: set[int]) -> None:
    """Windows are half-open, visits closed on both ends; the order of windows is free."""
    windows: list[Row] = [(0, 10, 20), (0, 20, 30), (0, 40, 50), (1, 0, 100)]
    assert join([visit], windows) == {(0, window) for window in touched}
    turned = {(0, len(windows) - 1 - window) for window in touched}
    assert join([visit], windows[::-1]) == turned


seconds = st.integers(0, 60)
visits_of_trays = st.lists(
    st.tuples(st.integers(0, 2), seconds, st.integers(0, 20)).map(
        lambda row: (row[0], row[1], row[1] + row[2])
    ),
    max_size=12,
)


@st.composite
def windows_of_trays(draw: st.DrawFn) -> list[Row]:
    """Give windows in any order, those of one tray apart or touching."""
    rows = []
    for number in range(3):
        edges = sorted(draw(st.sets(seconds, max_size=8)))
        pairs = list(pairwise(edges))
        rows += [(number, *pair) for pair in pairs if draw(st.booleans())]
    return draw(st.permutations(rows))


@given(visits_of_trays, windows_of_trays())
def test_the_join_against_a_double_loop(visits: list[Row], windows: list[Row]) -> None:
    """The join finds exactly the pairs that looking at all of them finds."""
    assert join(visits, windows) == slowly(visits, windows)


def test_the_join_of_nothing() -> None:
    """Without visits or without windows there are no pairs."""
    assert join([], []) == join([(0, 1, 2)], []) == join([], [(0, 1, 2)]) == set()


def test_the_join_over_many_years() -> None:
    """A tray of 1990 and one of 2026 are told apart, whatever their numbers."""
    long_ago = -36 * 366 * 86_400
    windows: list[Row] = [(50_000, 0, 100), (0, long_ago, long_ago + 100), (0, 0, 100)]
    visits: list[Row] = [(0, long_ago + 5, long_ago + 6), (50_000, 5, 6), (0, 5, 6)]
    assert join(visits, windows) == {(0, 1), (1, 0), (2, 2)}


# --- overlaps ----------------------------------------------------------------------------------


def deployments(rows: Sequence[Row]) -> list[TrayDeployment]:
    """Give a deployment for each window."""
    return [
        tray(
            f"D{number}",
            tray=f"T{which}",
            set_out=at("18:00") + timedelta(seconds=start),
            picked_up=at("18:00") + timedelta(seconds=end),
        )
        for number, (which, start, end) in enumerate(rows)
    ]


any_windows = st.lists(
    st.tuples(st.integers(0, 1), seconds, st.integers(1, 15)).map(
        lambda row: (row[0], row[1], row[1] + row[2])
    ),
    max_size=9,
)


@given(any_windows)
def test_overlaps_against_every_pair(rows: list[Row]) -> None:
    """Two windows of one tray overlap when each begins before the other ends."""
    expected = set()
    for (one, mine), (other, theirs) in combinations(enumerate(rows), 2):
        if mine[0] == theirs[0] and mine[1] < theirs[2] and theirs[1] < mine[2]:
            expected |= {f"D{one}", f"D{other}"}
    assert overlapping(deployments(rows)) == expected


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        pytest.param(tray("D2"), {"D1", "D2"}, id="the same window twice"),
        pytest.param(tray("D2", tray="T2"), set(), id="another tray"),
        pytest.param(tray("D2", set_out=at("06:00"), picked_up=at("07:00")), set(), id="touching"),
        pytest.param(
            tray("D2", set_out=at("05:59:59"), picked_up=at("07:00")), {"D1", "D2"}, id="a second"
        ),
        pytest.param(tray("D2", set_out=None), set(), id="a time is missing"),
        pytest.param(tray("D2", role=TrayRole.PREBAIT), {"D1", "D2"}, id="pre-bait"),
        pytest.param(tray("D2", role=TrayRole.SIFT_CONTROL), set(), id="a control"),
    ],
)
def test_windows_that_overlap(second: TrayDeployment, expected: set[str]) -> None:
    """Touching is fine; only trays that animals can reach are looked at."""
    assert overlapping([tray("D1"), second]) == expected
    assert overlapping([second, tray("D1")]) == expected


def test_trays_without_a_name_do_not_overlap() -> None:
    """Two rows that name no tray are not known to be one tray."""
    assert overlapping([tray("D1", tray=""), tray("D2", tray="")]) == set()


def test_the_window_of_a_deployment() -> None:
    """A window has both its times, or there is none."""
    assert window_of(tray()) == Span(at("18:00"), at("06:00"))
    assert window_of(tray(set_out=None)) is None
    assert window_of(tray(picked_up=None)) is None


# --- merged cameras ----------------------------------------------------------------------------

clocks = st.lists(st.integers(0, 40), max_size=6, unique=True)


def clock(number: int) -> str:
    """Give a time of the evening in half minutes."""
    return (at("19:00") + timedelta(seconds=30 * number)).strftime("%H:%M:%S")


def stays(numbers: Sequence[int]) -> list[Stay]:
    """Give single photos."""
    return [stay(clock(number)) for number in numbers]


@given(clocks, clocks, clocks)
def test_merged_visits_are_the_visits_of_all_photos(
    one: list[int], two: list[int], three: list[int]
) -> None:
    """Cameras merged give the same runs as one camera that had taken all their photos."""
    cards = [
        record(camera(name), *stays(taken), alive=())
        for name, taken in (("P1", one), ("P2", two), ("P3", three))
    ]
    together = record(camera(), *stays(sorted({*one, *two, *three})), alive=())
    runs = merged(cards, SETTINGS.gap)
    assert [(run.start, run.end) for run in runs] == [
        (answered.visit.start, answered.visit.end) for answered in together.visits
    ]
    parts = [part.visit for run in runs for part, _ in run.parts]
    visits = [answered.visit for card in cards for answered in card.visits]
    assert sorted(parts, key=lambda visit: (visit.placement, visit.number)) == visits


def test_runs_are_given_to_their_deployments() -> None:
    """A run goes to each window it touches; overlapping and unwatched trays get none."""
    rows = [
        tray("D1"),
        tray("D2", set_out=at("06:00"), picked_up=at("12:00", 1)),
        tray("D3", tray="T3"),
        tray("D4", set_out=None),
    ]
    card = record(camera(), stay("19:00"), stay("05:59-06:01"), alive=())
    found = runs_in_windows(rows, {"T1": [card]}, set(), SETTINGS.gap)
    assert [[run.start for run in runs] for runs in found] == [
        [at("19:00"), at("05:59")],
        [at("05:59")],
        [],
        [],
    ]
    none = runs_in_windows(rows, {"T1": [card]}, {"D1", "D2"}, SETTINGS.gap)
    assert none == [[], [], [], []]


def test_times_as_an_array() -> None:
    """Aware times become UTC seconds; none make an empty array that still is one of times."""
    assert array_of([at("18:00")]).tolist() == [at("18:00").replace(tzinfo=None)]
    assert array_of([]).dtype == np.dtype("datetime64[s]")
