"""One outcome a tray deployment: its numbers, bounds and notes."""

from decimal import Decimal

import pytest
from builders import Night, at, stay

from core.model import Censored, Condition, Reason, Span, Status, Where

D = Decimal
R = Reason
ON_TRAY, NEAR = Where.ON_TRAY, Where.NEAR
GERBIL = stay("19:00-19:03")


def test_an_outcome_in_full() -> None:
    """Every field of a night, worked by hand.

    Gerbil 19:00-19:03 and 21:00-21:05:30 is 8.5 min; a fox looks at 18:30, an unknown and a
    person are only near. Watched from 18:00 to 06:00.
    """
    found = Night(
        [
            stay("18:30", "f", ON_TRAY),
            GERBIL,
            stay("21:00-21:05:30"),
            stay("22:00", "unknown", NEAR),
            stay("23:00", "p", NEAR),
            stay("23:30-23:40", "blank"),
        ],
        {"target": "Gerbil"},
    ).outcome()
    assert found.hours_out == 12
    assert found.corrected == found.gud == D("4.0")
    assert found.eaten == D("6.0")
    assert found.proportion_left == D("0.4")
    assert found.censored is Censored.NO
    assert (found.visits, found.visits_all) == (2, 3)
    assert found.minutes_on_tray == 8.5
    assert found.first_visit_min == 30
    assert found.last_fed_at == at("21:05:30")
    assert found.watched_share == 1
    assert found.watched == (Span(at("18:00"), at("06:00")),)
    assert found.unanswered == 0
    assert found.notes == ("an animal that is no forager was on the tray and not seen feeding",)
    assert found.cell == "T1 V1 C1"


def test_what_a_dropped_tray_still_tells() -> None:
    """Without an owner there is no density and no owner's visit; what was seen stays told."""
    found = Night([GERBIL, stay("20:00", "unknown")], alive=("17:35", "00:00")).outcome()
    assert (found.status, found.reason) == (Status.DROP, R.GAP_AFTER_LAST)
    assert found.gud is None
    assert found.minutes_on_tray is None
    assert found.last_fed_at is None
    assert (found.visits, found.visits_all) == (0, 2)
    assert found.first_visit_min == 60
    assert found.watched_share == 0.5
    assert found.corrected == D("4.0")


@pytest.mark.parametrize(
    ("night", "censored", "gud"),
    [
        pytest.param(Night([GERBIL]), Censored.NO, "4.0", id="quit by itself"),
        pytest.param(Night([stay("05:50-06:01")]), Censored.AT_MOST, "4.0", id="running"),
        pytest.param(Night([GERBIL], {"food_left_g": D(0)}), Censored.BELOW, "0.1", id="emptied"),
        pytest.param(
            Night([GERBIL], {"food_left_g": D("0.1")}), Censored.BELOW, "0.1", id="at the step"
        ),
        pytest.param(
            Night([GERBIL], {"food_left_g": D(0)}, settings={"scale_step": D("0.01")}),
            Censored.BELOW,
            "0.01",
            id="a finer scale",
        ),
    ],
)
def test_the_bounds_of_a_density(night: Night, censored: Censored, gud: str) -> None:
    """Emptied holds the limit, `below`; running at pick-up holds the mass, `at_most`."""
    found = night.outcome()
    assert found.censored is censored
    assert found.gud == D(gud)


def test_more_left_than_put_in_is_shown_raw() -> None:
    """10.4 of 10.0 g is dropped, never cut to 10.0."""
    found = Night([GERBIL], {"food_left_g": D("10.4")}).outcome()
    assert (found.corrected, found.eaten) == (D("10.4"), D("-0.4"))
    assert found.proportion_left == D("1.04")


def test_two_taggers_of_one_visit_are_one_stay() -> None:
    """Time on the tray is the union of the runs, and one visit is counted."""
    found = Night(
        [GERBIL, stay("19:00-19:03", tagger="bob")], settings={"taggers_needed": 2}
    ).outcome()
    assert found.status is Status.KEEP
    assert (found.visits, found.minutes_on_tray) == (1, 3)


@pytest.mark.parametrize(
    ("night", "note"),
    [
        pytest.param(
            Night([GERBIL], {"target": "mouse"}),
            "the last feeder is not the target mouse",
            id="not the target",
        ),
        pytest.param(
            Night([stay("19:00", "m"), stay("20:00")]),
            "earlier feeder mouse: left 4 <= theirs <= start 10",
            id="an earlier feeder is bounded",
        ),
        pytest.param(
            Night([GERBIL, stay("19:00-19:03", tagger="eve", ruling=True)]),
            "ruled by the instructor: 1 of 1 visits",
            id="ruled",
        ),
        pytest.param(
            Night([GERBIL], {"condition": Condition.OTHER, "notes": "lid moved"}),
            "lid moved",
            id="what else happened",
        ),
        pytest.param(Night([stay("19:00", "g", NEAR)]), "near the tray: gerbil", id="only near"),
        pytest.param(
            Night([GERBIL, stay("20:00", "m", ON_TRAY)]),
            str(R.FEEDING_UNCERTAIN),
            id="another came after the last that fed",
        ),
        pytest.param(
            Night([stay("17:59-18:03"), stay("05:50-06:01")], camera={"quiet_s": 300}),
            str(R.SHORT_VISITS_MISSED),
            id="every special case is listed",
        ),
    ],
)
def test_notes(night: Night, note: str) -> None:
    """What else is true of a tray stands in its notes."""
    assert note in night.outcome().notes


@pytest.mark.parametrize("target", ["gerbil", "GERBIL ", "g", "Gerbillus sp."])
def test_the_target_by_any_of_its_names(target: str) -> None:
    """Key, name or scientific name, in any case, name the target."""
    assert Night([GERBIL], {"target": target}).outcome().notes == ()


def test_a_later_looker_is_no_earlier_feeder() -> None:
    """Who came only after the last feeder is not given an earlier feeder's bound."""
    notes = Night([GERBIL, stay("20:00", "m", ON_TRAY)]).outcome().notes
    assert not [note for note in notes if note.startswith("earlier")]


def test_unanswered_visits_are_counted() -> None:
    """Two of three visits in the window wait; the one before set-out is nobody's."""
    found = Night(
        [stay("17:50", ""), GERBIL, stay("20:00", ""), stay("21:00", "g", sure=False)]
    ).outcome()
    assert found.unanswered == 2
    assert found.reason is R.UNTAGGED
