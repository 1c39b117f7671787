"""One outcome a tray deployment: several windows, trays and cameras at once."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

import pytest
from builders import Stay, at, camera, judge, record, stay, tray

from core.model import Censored, Outcome, Reason, Status, TrayRole, Where

R = Reason
ON_TRAY, NEAR = Where.ON_TRAY, Where.NEAR
KEEP, CAUTION, NO_GUD = Status.KEEP, Status.CAUTION, Status.NO_GUD
DROP, ERROR, PENDING = Status.DROP, Status.ERROR, Status.PENDING

Short = tuple[Status, Reason, str, int]
"""Status, reason, forager, the owner's visits."""


def short(outcome: Outcome) -> Short:
    """Give what the tables below compare."""
    return outcome.status, outcome.reason, outcome.forager, outcome.visits


# --- windows of one tray -----------------------------------------------------------------------

DAY = {"set_out": at("06:00"), "picked_up": at("18:00", 1)}


def two_windows(*stays: Stay, **second: datetime) -> list[Outcome]:
    """Judge tray T1 at night (D1) and by day (D2, touching unless told), one camera throughout."""
    place = camera(end=at("18:30", 1), working_at_pickup=True)
    return judge(
        [tray("D1"), tray("D2", **(DAY | second))], [record(place, *stays, alive=("17:35",))]
    )


def test_a_visit_across_touching_windows() -> None:
    """It counts once in each for its own part: at most in the first, cut in the second."""
    first, second = two_windows(stay("05:55-06:05"))
    assert short(first) == (CAUTION, R.RUNNING_AT_PICKUP, "gerbil", 1)
    assert first.censored is Censored.AT_MOST
    assert first.last_fed_at == at("05:59")
    assert first.minutes_on_tray == 4
    assert short(second) == (CAUTION, R.CUT_AT_SET_OUT, "gerbil", 1)
    assert second.censored is Censored.NO
    assert second.first_visit_min == 0
    assert second.minutes_on_tray == 5


def test_a_crossing_visit_mostly_in_the_window_before() -> None:
    """More than half of it before set-out is no error where the tray was out before."""
    _, second = two_windows(stay("05:40-06:02"))
    assert short(second) == (CAUTION, R.CUT_AT_SET_OUT, "gerbil", 1)


def test_a_visit_mostly_between_two_windows() -> None:
    """05:58-06:12, set out again at 06:10: twelve minutes, ten of them without a tray."""
    _, second = two_windows(stay("05:58-06:12"), set_out=at("06:10"))
    assert short(second)[:2] == (ERROR, R.BEFORE_SET_OUT)


def test_a_stay_that_ends_at_the_edge_is_not_in_the_next_window() -> None:
    """Only a photo inside a window counts in it; its start is inside, its end is not."""
    first, second = two_windows(stay("05:55-06:00"))
    assert short(first)[:2] == (CAUTION, R.RUNNING_AT_PICKUP)
    assert second.visits == 1
    first, second = two_windows(stay("06:00-06:05"))
    assert short(first) == (DROP, R.EATER_NOT_SEEN, "", 0)
    assert short(second) == (KEEP, R.CLEAN, "gerbil", 1)


def test_in_a_crossing_visit_each_window_has_its_own_species() -> None:
    """A gerbil before the edge and a mouse after it: tags are cut to the window as well."""
    first, second = two_windows(stay("05:50-05:58"), stay("06:00-06:10", "m"))
    assert (first.forager, second.forager) == ("gerbil", "mouse")
    assert (first.visits_all, second.visits_all) == (1, 1)


def test_overlapping_windows_are_both_at_fault() -> None:
    """Visits in the overlap belong to neither; another tray at the same time is fine."""
    both = [tray("D1"), tray("D2", set_out=at("05:00"), picked_up=at("18:00", 1))]
    found = judge([*both, tray("D3", tray="T2")], [record(camera(), stay("05:10-05:12"))])
    assert [one.reason for one in found[:2]] == [R.WINDOWS_OVERLAP] * 2
    assert [one.visits_all for one in found] == [0, 0, 0]
    assert found[2].reason is R.EATEN_UNWATCHED


@pytest.mark.parametrize(
    ("role", "status"),
    [
        (TrayRole.PREBAIT, ERROR),
        (TrayRole.MOISTURE_CONTROL, KEEP),
        (TrayRole.SIFT_CONTROL, KEEP),
    ],
)
def test_which_rows_can_overlap(role: TrayRole, status: Status) -> None:
    """Pre-bait shares the tray with the study; a control of that name is out of reach."""
    rows = [tray(), tray("X1", role=role, food_left_g=Decimal(10))]
    (found,) = judge(rows, [record(camera(), stay("19:00-19:03"))])
    assert found.status is status


def test_only_study_rows_have_an_outcome_in_the_logs_order() -> None:
    """Pre-bait and control trays are read, and give no row."""
    rows = [
        tray("D3", tray="T3"),
        tray("B1", tray="T2", role=TrayRole.PREBAIT),
        tray("D1"),
        tray("K1", tray="K1", role=TrayRole.MOISTURE_CONTROL),
        tray("D2", tray="T2", set_out=at("06:00"), picked_up=at("18:00", 1)),
        tray("S1", tray="S1", role=TrayRole.SIFT_CONTROL),
    ]
    found = judge(rows, [record(camera(), stay("19:00-19:03"))])
    assert [one.deployment for one in found] == [rows[0], rows[2], rows[4]]
    assert judge([], []) == []


# --- several trays in view ---------------------------------------------------------------------

NOBODY: Short = (DROP, R.EATER_NOT_SEEN, "", 0)
CLEAN: Short = (KEEP, R.CLEAN, "gerbil", 1)
WHICH: Short = (PENDING, R.WHICH_TRAY, "", 0)
UNTAGGED: Short = (PENDING, R.UNTAGGED, "", 0)
DISPUTED: Short = (PENDING, R.DISPUTED, "", 0)


@pytest.mark.parametrize(
    ("stays", "first", "second"),
    [
        pytest.param([stay("19:00-19:03", tray="T1")], CLEAN, NOBODY, id="a tray is named"),
        pytest.param([stay("19:00-19:03")], WHICH, WHICH, id="no tray is named"),
        pytest.param(
            [stay("19:00-19:03", tray="T1"), stay("20:00-20:03", "p", ON_TRAY)],
            WHICH,
            WHICH,
            id="a person on no named tray",
        ),
        pytest.param([stay("19:00-19:03", "")], UNTAGGED, UNTAGGED, id="untagged"),
        pytest.param([stay("19:00-19:03", "blank")], NOBODY, NOBODY, id="blank needs no tray"),
        pytest.param(
            [stay("19:00-19:03", "g", NEAR)], NOBODY, NOBODY, id="near is on neither tray"
        ),
        pytest.param(
            [stay("19:00-19:03", tray="T1"), stay("19:01-19:02", "m", tray="T2")],
            CLEAN,
            (KEEP, R.CLEAN, "mouse", 1),
            id="one visit, an animal on each",
        ),
        pytest.param(
            [stay("19:00-19:03", tray="T2"), stay("19:00-19:03", "m", tray="T2", tagger="bob")],
            NOBODY,
            DISPUTED,
            id="disputed, but all say T2",
        ),
        pytest.param(
            [stay("19:00-19:03", tray="T1"), stay("19:00-19:03", "m", tray="T2", tagger="bob")],
            DISPUTED,
            DISPUTED,
            id="disputed, and the tray too",
        ),
        pytest.param(
            [stay("19:00-19:03", tray="T2", sure=False)],
            NOBODY,
            (PENDING, R.UNSURE, "", 0),
            id="unsure, but of T2",
        ),
        pytest.param([stay("17:59-18:05")], WHICH, WHICH, id="from before both were set out"),
    ],
)
def test_two_trays_in_view(stays: list[Stay], first: Short, second: Short) -> None:
    """A visit counts for the tray that was named; for neither while nobody says."""
    both = [tray("D1"), tray("D2", tray="T2")]
    found = judge(both, [record(camera(trays=("T1", "T2")), *stays)])
    assert [short(one) for one in found] == [first, second]


def test_unanswered_counts_what_holds_a_tray_back() -> None:
    """A pending tray has unanswered visits, and one that is not held back has none."""
    both = [tray("D1"), tray("D2", tray="T2")]
    said = [stay("19:00", tray="T2"), stay("19:00", "m", tray="T2", tagger="bob")]
    found = judge(both, [record(camera(trays=("T1", "T2")), *said)])
    assert [one.unanswered for one in found] == [0, 1]


@pytest.mark.parametrize(
    ("clock", "first", "second"),
    [
        pytest.param("19:00-19:03", CLEAN, NOBODY, id="before the other was set out"),
        pytest.param("20:00-20:03", WHICH, WHICH, id="as it is set out"),
        pytest.param("19:58-20:04", WHICH, WHICH, id="while it is set out"),
        pytest.param("03:59-04:00", WHICH, WHICH, id="up to its pick-up"),
        pytest.param("04:00-04:03", CLEAN, NOBODY, id="after its pick-up"),
    ],
)
def test_a_second_tray_for_part_of_the_night(clock: str, first: Short, second: Short) -> None:
    """The tray has to be named only while both are out."""
    both = [tray("D1"), tray("D2", tray="T2", set_out=at("20:00"), picked_up=at("04:00"))]
    found = judge(both, [record(camera(trays=("T1", "T2")), stay(clock))])
    assert [short(one) for one in found] == [first, second]


def test_one_tray_is_followed_by_another() -> None:
    """T1 is taken away as T2 is set out: a crossing visit is T1's before, T2's after."""
    place = camera(trays=("T1", "T2"), end=at("18:30", 1), working_at_pickup=True)
    rows = [tray("D1"), tray("D2", tray="T2", **DAY)]
    found = judge(rows, [record(place, stay("05:56-06:05"), alive=("17:35",))])
    assert short(found[0]) == (CAUTION, R.RUNNING_AT_PICKUP, "gerbil", 1)
    assert short(found[1]) == (CAUTION, R.CUT_AT_SET_OUT, "gerbil", 1)


def test_a_tray_that_is_in_no_row_of_the_log() -> None:
    """The camera log says that a second tray is in view; it may have been out."""
    (found,) = judge([tray()], [record(camera(trays=("T1", "T7")), stay("19:00-19:03"))])
    assert short(found) == WHICH


# --- several cameras on one tray ---------------------------------------------------------------


@dataclass(frozen=True)
class Pair:
    """What two cameras on T1 saw."""

    one: list[Stay]
    other: list[Stay]
    alive: tuple[tuple[str, ...], tuple[str, ...]] = (("17:35", "06:05"), ("17:35", "06:05"))

    def outcome(self) -> Outcome:
        """Give the outcome of the tray, the same whichever camera comes first."""
        cards = [
            record(camera(name), *stays, alive=alive)
            for name, stays, alive in zip(
                ("P1", "P2"), (self.one, self.other), self.alive, strict=True
            )
        ]
        (found,) = judge([tray()], cards)
        (turned,) = judge([tray()], cards[::-1])
        assert short(turned) == short(found)
        return found


@pytest.mark.parametrize(
    ("pair", "expected"),
    [
        pytest.param(Pair([stay("19:00-19:03")], [stay("19:01-19:04")]), CLEAN, id="both saw it"),
        pytest.param(
            Pair([stay("19:00-19:03")], [stay("19:05-19:06")]), CLEAN, id="one after the other"
        ),
        pytest.param(
            Pair([stay("19:00-19:03")], [stay("19:05:01-19:06")]),
            (KEEP, R.CLEAN, "gerbil", 2),
            id="more than the gap apart",
        ),
        pytest.param(
            Pair([stay("19:00-19:20")], [stay("19:02"), stay("19:10")]),
            CLEAN,
            id="two of one inside one of the other",
        ),
        pytest.param(
            Pair([stay("19:00-19:03")], [stay("19:01-19:04", "m")]),
            (CAUTION, R.SEVERAL_LAST_FED, "mouse", 1),
            id="each saw another species",
        ),
        pytest.param(
            Pair([stay("19:00-19:03")], [stay("19:01-19:04", "")]), UNTAGGED, id="one is untagged"
        ),
        pytest.param(
            Pair([stay("19:00-19:03")], [stay("19:01-19:04", "blank")]),
            CLEAN,
            id="one saw nothing of it",
        ),
        pytest.param(
            Pair([stay("19:00-19:03")], [], (("17:35",), ("18:30", "06:05"))),
            CLEAN,
            id="one died, the other watched on",
        ),
        pytest.param(
            Pair([stay("23:00-23:03")], [], (("20:00", "06:05"), ("17:35", "19:00"))),
            (CAUTION, R.COUNT_IS_MINIMUM, "gerbil", 1),
            id="an hour between them",
        ),
        pytest.param(
            Pair([stay("18:00-18:03")], [stay("17:58-17:59", "")]),
            (CAUTION, R.CUT_AT_SET_OUT, "gerbil", 1),
            id="untagged photos of the other before set-out",
        ),
    ],
)
def test_two_cameras_on_one_tray(pair: Pair, expected: Short) -> None:
    """Visits merge by true time and gap and count once; the cameras watch together."""
    assert short(pair.outcome()) == expected


def test_merged_visits_count_once_for_everybody() -> None:
    """One merged visit is one of everyone's visits, says so, and is timed once."""
    found = Pair([stay("19:00-19:03")], [stay("19:01-19:04")]).outcome()
    assert (found.visits, found.visits_all, found.minutes_on_tray) == (1, 1, 4)
    assert found.notes == ("visits of several cameras were merged",)
    assert [len(visit.parts) for visit in found.seen] == [2]


def test_cameras_of_another_season_say_nothing() -> None:
    """A camera long gone from the tray neither cautions nor holds back this window."""
    old = {"start": at("17:30", -40), "end": at("06:30", -39)}
    cards = [
        record(camera(), stay("19:00-19:03")),
        record(camera("P0", quiet_s=900, **old), alive=()),
        record(camera("P9", camera="", **old), alive=()),
    ]
    (found,) = judge([tray()], cards)
    assert short(found) == CLEAN
    (quiet,) = judge([tray()], [*cards, record(camera("P2", quiet_s=900))])
    assert quiet.reason is R.SHORT_VISITS_MISSED
    (blank,) = judge([tray()], [*cards, record(camera("P2", end=None))])
    assert blank.reason is R.PLACEMENT_INCOMPLETE


def test_untouched_and_used_trays_side_by_side() -> None:
    """Two trays, two cameras: each is decided by what its own camera saw."""
    rows = [tray("D1", food_left_g=Decimal(10)), tray("D2", tray="T2")]
    cards = [record(camera()), record(camera("P2", trays=("T2",)), stay("19:00-19:03"))]
    found = judge(rows, cards)
    assert short(found[0]) == (NO_GUD, R.UNUSED_SEEN, "", 0)
    assert short(found[1]) == CLEAN
