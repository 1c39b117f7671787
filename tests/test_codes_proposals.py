"""Where codes are looked for, and what is proposed from them: nothing silently, nothing twice."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from builders import at, tray
from hypothesis import given
from hypothesis import strategies as st

from core import codes
from core.codes import ClockCode, Code, Contradiction, Edge, Proposals, TrayCode, looking
from core.model import ClockCheck, Photo, PhotoKind, Placement, TrayDeployment

GAP = timedelta(minutes=2)
SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)


def shown(
    number: int, true: datetime | None, *, behind: timedelta = timedelta(0), kind: str = "trigger"
) -> Photo:
    """Give photo `number`, taken at a true time by a clock that lags."""
    camera = None if true is None else (true - behind).replace(tzinfo=None)
    name = f"IMG_{number:04}.JPG"
    return Photo(number, "P1", name, camera, true_time=true, kind=PhotoKind(kind))


# --- where to look -------------------------------------------------------------------------------


def card(count: int, step: timedelta, start: datetime) -> list[Photo]:
    """Give a card of photos at equal steps, numbered from 1."""
    return [shown(number, start + (number - 1) * step) for number in range(1, count + 1)]


def test_a_long_card_is_looked_at_around_its_ends_and_windows_only() -> None:
    """Of 5,000 photos a minute apart, the ends and the nearest to each edge, no others."""
    photos = card(5000, MINUTE, at("12:00"))
    chosen = codes.photos_to_look_at(photos, [(at("18:00"), at("06:00"))], [])
    ends = [*range(1, 16), *range(4986, 5001)]
    # 18:00 is photo 361, 06:00 photo 1081; twelve photos are the nearest: 6 before, 5 after, itself
    edges = [*range(361 - 6, 361 + 6), *range(1081 - 6, 1081 + 6)]
    assert chosen == sorted([*ends, *edges])


def test_exactly_fifteen_minutes_from_an_edge_is_near() -> None:
    """The stretch around an edge is closed on both sides."""
    far = [shown(n, at("12:00") + n * SECOND) for n in range(100)]
    edge = at("18:00")
    near = [shown(200, edge - 15 * MINUTE), shown(201, edge + 15 * MINUTE)]
    beyond = [shown(300, edge - 15 * MINUTE - SECOND), shown(301, edge + 15 * MINUTE + SECOND)]
    late = [shown(n, at("23:00") + n * SECOND) for n in range(400, 500)]
    photos = sorted([*far, *near, *beyond, *late], key=lambda one: one.true_time or edge)
    chosen = codes.photos_to_look_at(photos, [(edge, None)], [])
    assert {200, 201} <= set(chosen)
    assert not {300, 301} & set(chosen)


def test_the_ends_are_those_of_the_files_too() -> None:
    """A clock reset in mid-card puts the last files first in time; both ends are looked at."""
    late = [shown(n, at("12:00") + n * MINUTE) for n in range(1, 101)]
    reset = [shown(n, datetime(2015, 1, 1, tzinfo=UTC) + n * MINUTE) for n in range(101, 201)]
    chosen = codes.photos_to_look_at([*reset, *late], [], [])
    assert {1, 15, 100, 101, 200, 186} <= set(chosen)
    assert len(chosen) <= 60


def test_visits_of_people_are_looked_at_all_along() -> None:
    """Eight photos spread over a long visit, first and last among them; a short one whole."""
    photos = card(2000, MINUTE, at("12:00"))
    chosen = set(codes.photos_to_look_at(photos, [], [(500, 570), (900, 903)]))
    inside = sorted(one for one in chosen if 500 <= one <= 570)
    assert (inside[0], inside[-1], len(inside)) == (500, 570, 8)
    assert max(later - one for one, later in pairwise(inside)) == 10
    assert {900, 901, 902, 903} <= chosen


def test_a_run_that_is_not_among_the_photos_is_left_out() -> None:
    """A run of photos that do not count leads nowhere."""
    assert codes.photos_to_look_at(card(3, MINUTE, at("12:00")), [], [(7, 9)]) == [1, 2, 3]


def test_photos_without_a_time_are_looked_at_at_the_ends_of_the_files() -> None:
    """No time keeps a photo from no place but those that go by time."""
    photos = [*card(100, MINUTE, at("12:00")), shown(101, None), shown(102, None)]
    assert {101, 102} <= set(codes.photos_to_look_at(photos, [], []))


@given(
    st.integers(0, 400),
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), max_size=40),
    st.integers(1, 80),
)
def test_never_more_than_asked_each_once_and_in_order(
    count: int, edges: Sequence[tuple[int, int]], most: int
) -> None:
    """However many windows there are, the number is bounded and every place has its share."""
    photos = card(count, MINUTE, at("12:00"))
    windows = [(at("12:00") + one * MINUTE, at("12:00") + two * MINUTE) for one, two in edges]
    chosen = codes.photos_to_look_at(photos, windows, [], most=most)
    assert len(chosen) <= most
    assert chosen == sorted(set(chosen))
    assert set(chosen) <= {one.id for one in photos}
    if count and most >= 2:
        assert {1, count} <= set(chosen)


def test_a_hundred_windows_share_the_photos() -> None:
    """With more edges than photos are looked at, each edge within reach still has about one."""
    photos = card(30_000, MINUTE, at("12:00"))
    windows = [(at("18:00") + n * 4 * HOUR, at("18:00") + (n * 4 + 2) * HOUR) for n in range(100)]
    chosen = set(codes.photos_to_look_at(photos, windows, []))
    assert len(chosen) == looking.MOST
    place = {one.true_time: one.id for one in photos}
    assert all(place[edge] in chosen for window in windows for edge in window)


# --- what is proposed ----------------------------------------------------------------------------

P1 = Placement("P1", "cam", ("T1",))


def proposed(
    photos: Sequence[Photo],
    read: dict[int, list[Code]],
    *,
    trays: Sequence[TrayDeployment] = (),
    placement: Placement = P1,
) -> Proposals:
    return codes.proposals(placement, photos, read, trays, GAP)


def clock(true: datetime) -> list[Code]:
    return [ClockCode(true)]


def words(found: Sequence[Contradiction]) -> list[str]:
    return [one.message for one in found]


def test_one_clock_code_is_one_clock_check() -> None:
    """What the camera showed, what was true, and in which photo: ready for the clock log."""
    photos = [shown(1, at("17:50"), behind=HOUR), shown(2, at("20:00"), behind=HOUR)]
    found = proposed(photos, {1: clock(at("17:50"))})
    [one] = found.clocks
    assert (one.photo, one.photos) == (1, 1)
    camera = datetime(2026, 3, 14, 16, 50)  # noqa: DTZ001  what the camera showed
    assert one.as_check() == ClockCheck("P1", camera, at("17:50"), "IMG_0001.JPG")
    assert found.contradictions == ()


def test_the_codes_of_one_stay_make_one_check() -> None:
    """Seconds of jitter between photos in a row would look like a drift: the middle one stands."""
    behind = [10, 11, 12, 12, 13]
    true = [at("17:50") + n * 5 * SECOND for n in range(5)]
    photos = [shown(n, true[n], behind=behind[n] * SECOND) for n in range(5)]
    found = proposed(photos, {n: clock(true[n]) for n in range(5)})
    [one] = found.clocks
    assert (one.true_time - one.camera_showed.replace(tzinfo=UTC), one.photos) == (12 * SECOND, 5)
    assert found.contradictions == ()


def test_set_out_and_pick_up_make_two_checks() -> None:
    """Twelve hours later the clock lost two seconds: drift, and no contradiction."""
    out, up = at("17:50"), at("06:05")
    photos = [shown(1, out, behind=HOUR), shown(2, up, behind=HOUR + 2 * SECOND)]
    found = proposed(photos, {1: clock(out), 2: clock(up)})
    assert [one.photo for one in found.clocks] == [1, 2]
    assert found.contradictions == ()


@pytest.mark.parametrize(
    ("apart", "drift", "said"),
    [
        pytest.param(timedelta(days=1), 63, False, id="a minute a day and the slack"),
        pytest.param(timedelta(days=1), 64, True, id="a second more"),
        pytest.param(timedelta(days=10), 603, False, id="ten minutes in ten days"),
        pytest.param(timedelta(days=10), -3600, True, id="an hour put forward"),
        pytest.param(10 * SECOND, 4, True, id="seconds apart"),
    ],
)
def test_codes_that_drift_cannot_explain_contradict_each_other(
    apart: timedelta, drift: int, said: bool
) -> None:
    """More than 60 s a day (a judgement) and 3 s: the clock was set, or a phone was wrong."""
    first, last = at("17:50"), at("17:50") + apart
    photos = [shown(1, first, behind=HOUR), shown(2, last, behind=HOUR + drift * SECOND)]
    found = proposed(photos, {1: clock(first), 2: clock(last)})
    assert bool(found.contradictions) is said
    assert len(found.clocks) == (1 if apart < HOUR and not said else 2)
    if said:
        [one] = found.contradictions
        assert one.photos == (1, 2)
        assert "more than drift can do" in one.message
        assert ("went back" in one.message) is (drift > 0)


def test_two_phones_that_differ_in_one_photo_are_not_believed() -> None:
    """Neither becomes a check; both times are named."""
    photos = [shown(1, at("17:50"))]
    found = proposed(photos, {1: [ClockCode(at("17:50")), ClockCode(at("18:50"))]})
    assert found.clocks == ()
    [one] = found.contradictions
    assert "2026-03-14 17:50:00 UTC and 2026-03-14 18:50:00 UTC" in one.message


def test_a_photo_without_a_camera_time_makes_no_check() -> None:
    """There is nothing to compare the code with."""
    assert proposed([shown(1, None)], {1: clock(at("17:50"))}).clocks == ()


def test_a_card_proposes_the_tray_once() -> None:
    """The tray of the deployment on the card, and whether the camera log has it."""
    photos = [shown(n, at("17:50") + n * SECOND) for n in range(3)]
    read: dict[int, list[Code]] = {n: [TrayCode("D1")] for n in range(3)}
    [one] = proposed(photos, read, trays=[tray("D1")]).trays
    assert (one.tray, one.deployment, one.photo, one.listed) == ("T1", "D1", 0, True)
    [one] = proposed(photos, read, trays=[tray("D1")], placement=Placement("P1")).trays
    assert not one.listed


@pytest.mark.parametrize(
    ("trays", "said"),
    [
        pytest.param([], "'D1', which the tray log does not have", id="not in the log"),
        pytest.param([tray("d1")], "'D1', which the tray log does not have", id="another id"),
        pytest.param([tray("D1", tray="T9")], "'P1' watches T1", id="another camera's tray"),
        pytest.param([tray("D1", tray="")], "leaves blank", id="tray blank"),
    ],
)
def test_a_card_that_the_logs_do_not_know_is_said(trays: list[TrayDeployment], said: str) -> None:
    """With its photo, the value, and the way out; a deployment that is unknown has no edges."""
    found = proposed([shown(1, at("17:50"))], {1: [TrayCode("D1")]}, trays=trays)
    [one] = found.contradictions
    assert said in one.message
    assert "IMG_0001.JPG" in one.message
    assert one.photos == (1,)
    if not trays or trays[0].deployment != "D1":
        assert (found.trays, found.edges) == ((), ())


def edges(
    showings: Sequence[datetime], one: TrayDeployment, behind: timedelta = timedelta(0)
) -> dict[Edge, datetime]:
    """Give what is proposed when the card of D1 is shown at these true times, 3 photos each."""
    photos, number = [], 0
    for moment in showings:
        for second in (0, 10, 20):
            photos.append(shown(number, moment + second * SECOND, behind=behind))
            number += 1
    read: dict[int, list[Code]] = {photo.id: [TrayCode("D1")] for photo in photos}
    return {found.edge: found.at for found in proposed(photos, read, trays=[one]).edges}


OUT, UP = at("18:03"), at("05:55")
BLANK = {"set_out": None, "picked_up": None}


@pytest.mark.parametrize(
    ("showings", "log", "expected"),
    [
        pytest.param([OUT, UP], {}, {Edge.SET_OUT: OUT + 20 * SECOND, Edge.PICKED_UP: UP},
                     id="both as in the log"),
        pytest.param([OUT, UP], BLANK, {Edge.SET_OUT: OUT + 20 * SECOND, Edge.PICKED_UP: UP},
                     id="both, the log is blank"),
        pytest.param([OUT], {}, {Edge.SET_OUT: OUT + 20 * SECOND}, id="set-out only"),
        pytest.param([UP], {}, {Edge.PICKED_UP: UP}, id="pick-up only"),
        pytest.param([OUT], {"picked_up": None}, {Edge.SET_OUT: OUT + 20 * SECOND},
                     id="set-out, pick-up is blank"),
        pytest.param([UP], {"picked_up": None}, {Edge.PICKED_UP: UP},
                     id="pick-up, which is blank"),
        pytest.param([OUT], {"set_out": None}, {Edge.SET_OUT: OUT + 20 * SECOND},
                     id="set-out, which is blank"),
        pytest.param([UP], {"set_out": None}, {Edge.PICKED_UP: UP}, id="pick-up, set-out blank"),
        pytest.param([OUT - 30 * HOUR, UP - 30 * HOUR], {},
                     {Edge.SET_OUT: OUT - 30 * HOUR + 20 * SECOND, Edge.PICKED_UP: UP - 30 * HOUR},
                     id="a clock thirty hours off still has both edges"),
        pytest.param([OUT - 2 * HOUR, OUT], {}, {Edge.SET_OUT: OUT + 20 * SECOND},
                     id="shown twice at set-out: the later"),
    ],
)  # fmt: skip
def test_the_edges_of_a_window_come_from_its_card(
    showings: list[datetime], log: dict[str, None], expected: dict[Edge, datetime]
) -> None:
    """Last photo of the first stay, first photo of the last: the handlers stay outside."""
    assert edges(showings, tray("D1", **log)) == expected


def test_shown_once_with_nothing_in_the_log_it_is_asked() -> None:
    """Whether it was set-out or pick-up cannot be told, and is said."""
    found = proposed(
        [shown(1, OUT)], {1: [TrayCode("D1")]}, trays=[tray("D1", set_out=None, picked_up=None)]
    )
    assert found.edges == ()
    assert "neither its set-out nor its pick-up" in words(found.contradictions)[0]


def test_a_clock_code_beside_the_card_gives_the_true_edge() -> None:
    """The camera lags by three hours and the study does not know: the code of the stay does."""
    behind = 3 * HOUR
    photos = [
        replace(shown(n, OUT + n * 20 * SECOND, behind=behind), true_time=OUT - behind)
        for n in range(3)
    ]
    read: dict[int, list[Code]] = {0: clock(OUT), 1: [TrayCode("D1")]}
    [edge] = proposed(photos, read, trays=[tray("D1")]).edges
    assert (edge.at, edge.by_code, edge.photo) == (OUT + 20 * SECOND, True, 1)
    assert (edge.edge, edge.logged) == (Edge.SET_OUT, at("18:00"))


def test_a_clock_code_of_another_stay_is_not_stretched() -> None:
    """More than an hour away it says nothing of an edge; the study's own time holds."""
    photos = [shown(1, OUT - 61 * MINUTE, behind=HOUR), shown(2, OUT, behind=HOUR)]
    read: dict[int, list[Code]] = {1: clock(OUT - 61 * MINUTE), 2: [TrayCode("D1")]}
    [edge] = proposed(photos, read, trays=[tray("D1")]).edges
    assert (edge.at, edge.by_code) == (OUT, False)


def test_people_are_proposed_where_a_code_is_and_nowhere_else() -> None:
    """Neighbours with codes are one run; what stands between two runs may be an animal."""
    times = [0, 30, 60, 90, 120, 400, 430]
    photos = [shown(n, OUT + second * SECOND) for n, second in enumerate(times)]
    read: dict[int, list[Code]] = {1: clock(OUT), 2: [TrayCode("D1")], 4: [TrayCode("D1")]}
    [one] = proposed(photos, read, trays=[tray("D1")]).handlers
    assert (one.first_photo, one.last_photo) == (1, 4)
    assert (one.runs, one.photos) == (((1, 2), (4, 4)), 3)


def test_photos_of_people_that_are_held_so_already_are_left_out() -> None:
    """The first is tagged: the others are proposed; the name of the visit's stay is the same."""
    photos = [shown(n, OUT + n * SECOND, kind="handler" if n == 1 else "trigger") for n in range(4)]
    read: dict[int, list[Code]] = {n: [TrayCode("D1")] for n in (1, 2, 3)}
    [one] = proposed(photos, read, trays=[tray("D1")]).handlers
    assert (one.first_photo, one.last_photo, one.runs, one.photos) == (1, 3, ((2, 3),), 2)


def test_people_who_are_tagged_already_are_not_proposed() -> None:
    """Photos that are held as handler photos need no proposal."""
    photos = [shown(1, OUT, kind="handler")]
    assert proposed(photos, {1: clock(OUT)}).handlers == ()


def test_no_code_no_proposal() -> None:
    """A card on which nothing was read proposes nothing."""
    assert proposed(card(100, MINUTE, at("12:00")), {}, trays=[tray("D1")]) == Proposals()
