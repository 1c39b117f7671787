"""What the masses of a tray mean: corrections, tolerance, emptied, gained."""

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from builders import SETTINGS, at, tray
from hypothesis import given
from hypothesis import strategies as st

from core.food import (
    MOISTURE_OFF,
    NO_MOISTURE_CONTROL,
    OTHER_SITE,
    SIFTING_OFF,
    Controls,
    Food,
    Reading,
    classify,
    controls_of,
    in_grams,
    in_items,
    ratio,
    read_food,
    tolerance,
)
from core.model import Condition, TrayDeployment, TrayRole

D = Decimal
MOISTURE, SIFT = TrayRole.MOISTURE_CONTROL, TrayRole.SIFT_CONTROL


def weighed(start: str, left: str, **values: Any) -> TrayDeployment:
    """Give a tray with that food. [g]"""
    return replace(tray(), food_start_g=D(start), food_left_g=D(left), **values)


def counted(start: int | None, left: int | None, **values: Any) -> TrayDeployment:
    """Give a tray with counted food. [items]"""
    return replace(
        tray(),
        food_start_g=None,
        food_left_g=None,
        items_start=start,
        items_left=left,
        **values,
    )


def reading(
    one: TrayDeployment, *others: TrayDeployment, tolerance_g: Decimal | None = None
) -> Reading:
    """Read the food of one tray among others of its study; scale step 0.1 g."""
    settings = replace(SETTINGS, tolerance=tolerance_g)
    return read_food(one, controls_of([one, *others], settings.timezone), settings)


# --- classes -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "left", "kind"),
    [
        pytest.param("10.0", "10.0", Food.UNTOUCHED, id="as put in"),
        pytest.param("10.0", "9.8", Food.UNTOUCHED, id="two steps gone"),
        pytest.param("8.3", "8.1", Food.UNTOUCHED, id="two steps gone, more in binary"),
        pytest.param("10.0", "9.79", Food.PART_EATEN, id="just more than two steps gone"),
        pytest.param("10.0", "10.2", Food.UNTOUCHED, id="two steps gained"),
        pytest.param("8.1", "8.3", Food.UNTOUCHED, id="two steps gained, more in binary"),
        pytest.param("10.0", "10.21", Food.GAINED, id="just more than two steps gained"),
        pytest.param("10.0", "0.11", Food.PART_EATEN, id="just above the scale step"),
        pytest.param("10.0", "0.1", Food.EMPTIED, id="at the scale step"),
        pytest.param("10.0", "0", Food.EMPTIED, id="nothing left"),
    ],
)
def test_classes_at_their_edges(start: str, left: str, kind: Food) -> None:
    """Without controls the tolerance is two scale steps, and both limits are inside."""
    assert reading(weighed(start, left)).kind is kind


def test_binary_numbers_would_miss_the_edge() -> None:
    """Why masses are decimal: in binary 8.3 - 8.1 is more than 0.2."""
    assert 8.3 - 8.1 > 2 * 0.1
    assert D("8.3") - D("8.1") == 2 * D("0.1")


@pytest.mark.parametrize(
    ("within", "kind"), [("0.5", Food.UNTOUCHED), ("0.2", Food.GAINED)], ids=["T0", "T3"]
)
def test_more_left_than_put_in(within: str, kind: Food) -> None:
    """15 g put in, 15.4 g left: the class goes by the tolerance, the numbers stay."""
    found = reading(weighed("15", "15.4"), tolerance_g=D(within))
    assert found.kind is kind
    assert found.corrected == D("15.4")
    assert found.eaten == D("-0.4")
    assert found.proportion_left == D("15.4") / 15
    assert found.proportion_left > 1


@pytest.mark.parametrize(
    ("start", "left"), [(None, D(4)), (D(10), None), (None, None)], ids=["start", "left", "both"]
)
def test_a_missing_mass(start: Decimal | None, left: Decimal | None) -> None:
    """With a mass missing nothing is worked out, and nothing guessed."""
    found = reading(replace(tray(), food_start_g=start, food_left_g=left))
    assert found.kind is Food.MISSING
    assert (found.start, found.left) == (start, left)
    assert found.corrected is found.eaten is found.proportion_left is None


def test_nothing_put_in() -> None:
    """A start of nothing has no proportion, and does not divide by it."""
    found = reading(weighed("0", "0"))
    assert found.proportion_left is None
    assert found.eaten == 0


amounts = st.decimals(0, 20, places=2)


@given(amounts, amounts, amounts, st.decimals(0, 1, places=2), st.decimals("0.01", 1, places=2))
def test_classes_by_their_definition(
    start: Decimal, left: Decimal, corrected: Decimal, within: Decimal, smallest: Decimal
) -> None:
    """Exactly one class holds, as they are defined, worked out in fractions."""
    gone = Fraction(start) - Fraction(corrected)
    little = Fraction(left) <= Fraction(smallest) or Fraction(corrected) <= Fraction(smallest)
    holds = {
        Food.UNTOUCHED: abs(gone) <= Fraction(within),
        Food.PART_EATEN: gone > Fraction(within) and not little,
        Food.EMPTIED: gone > Fraction(within) and little,
        Food.GAINED: -gone > Fraction(within),
    }
    assert [kind for kind, true in holds.items() if true] == [
        classify(start, left, corrected, within, smallest)
    ]


# --- corrections -------------------------------------------------------------------------------


def test_moisture_then_sifting() -> None:
    """Worked by hand: k = 10.4/10 = 1.04, r = 4.0/5.0 = 0.8; 5.2 -> 5.0 -> 6.25 g."""
    found = reading(
        weighed("10.0", "5.2"),
        weighed("10.0", "10.4", role=MOISTURE),
        weighed("5.0", "4.0", role=SIFT),
    )
    assert (found.moisture, found.recovery) == (D("1.04"), D("0.8"))
    assert found.left == D("5.2")
    assert found.corrected == D("6.25")
    assert found.eaten == D("3.75")
    assert found.proportion_left == D("0.625")
    assert (found.moisture_controls, found.sift_controls) == (1, 1)
    assert found.notes == ()


def test_several_controls_are_a_ratio_of_means() -> None:
    """k = mean(12, 8) / mean(10, 6) = 1.25, not the mean of 1.2 and 1.333."""
    found = reading(
        weighed("10.0", "5.0"),
        weighed("10.0", "12.0", role=MOISTURE),
        weighed("6.0", "8.0", role=MOISTURE),
    )
    assert found.moisture == D("1.25")
    assert found.corrected == D("4.0")


def test_corrections_come_before_the_class() -> None:
    """9.7 of 10.0 g is part eaten as weighed, and untouched once a loss of 3 % is put back."""
    alone = reading(weighed("10.0", "9.7"))
    assert alone.kind is Food.PART_EATEN
    corrected = reading(weighed("10.0", "9.7"), weighed("10.0", "9.7", role=SIFT))
    assert corrected.kind is Food.UNTOUCHED
    assert corrected.corrected == D(10)


def test_emptied_as_weighed_or_as_corrected() -> None:
    """At or below the scale step either way is emptied: 0.1 / 0.8 = 0.125; 0.12 / 1.25 = 0.096."""
    lost = reading(weighed("10.0", "0.1"), weighed("5.0", "4.0", role=SIFT))
    assert (lost.kind, lost.corrected) == (Food.EMPTIED, D("0.125"))
    wet = reading(weighed("10.0", "0.12"), weighed("10.0", "12.5", role=MOISTURE))
    assert (wet.kind, wet.corrected) == (Food.EMPTIED, D("0.096"))


def test_controls_that_say_nothing() -> None:
    """No control, nothing put in, or nothing left again: the correction is 1, never 0."""
    assert ratio([]) == 1
    assert ratio([weighed("0", "5")]) == 1
    assert ratio([weighed("5", "0")]) == 1


# --- which moisture controls -------------------------------------------------------------------

NEXT_DAY = {"set_out": at("18:00", 1), "picked_up": at("06:00", 1)}


@pytest.mark.parametrize(
    ("controls", "moisture", "notes"),
    [
        pytest.param(
            [
                weighed("10", "11", site="dune"),
                weighed("10", "15", site="rock"),
                weighed("10", "18", site="dune", **NEXT_DAY),
            ],
            "1.1",
            (),
            id="same site and day",
        ),
        pytest.param([weighed("10", "11", site=" DUNE ")], "1.1", (), id="a site as people write"),
        pytest.param(
            [weighed("10", "15", site="rock"), weighed("10", "18", site="dune", **NEXT_DAY)],
            "1.5",
            (OTHER_SITE,),
            id="same day, another site",
        ),
        pytest.param(
            [weighed("10", "18", site="dune", **NEXT_DAY)],
            "1",
            (NO_MOISTURE_CONTROL,),
            id="another day only",
        ),
        pytest.param(
            [weighed("10", "11", site="dune", condition=Condition.KNOCKED)], "1", (), id="spoilt"
        ),
    ],
)
def test_moisture_controls(
    controls: list[TrayDeployment], moisture: str, notes: tuple[str, ...]
) -> None:
    """Same site and pick-up day, else same day, else none, and it is said."""
    rows = [replace(one, role=MOISTURE) for one in controls]
    found = reading(weighed("10.0", "5.0", site="dune"), *rows)
    assert found.moisture == D(moisture)
    assert found.notes == notes


def test_the_pick_up_day_is_the_study_zones() -> None:
    """10:30Z and 13:30Z are one day in London and two in Auckland (UTC+13 in March)."""
    one = weighed("10.0", "5.0", picked_up=datetime(2026, 3, 15, 10, 30, tzinfo=UTC))
    control = weighed(
        "10", "12", role=MOISTURE, picked_up=datetime(2026, 3, 15, 13, 30, tzinfo=UTC)
    )
    for zone, moisture in (("Europe/London", D("1.2")), ("Pacific/Auckland", D(1))):
        found = read_food(one, controls_of([control], ZoneInfo(zone)), SETTINGS)
        assert found.moisture == moisture


def test_which_rows_are_controls() -> None:
    """Study and pre-bait trays are none, nor one with a blank mass or spoilt food."""
    moisture = weighed("10", "11", role=MOISTURE)
    sift = weighed("10", "9", role=SIFT)
    rows = [
        tray(),
        moisture,
        sift,
        counted(100, 99, role=SIFT),
        weighed("10", "9", role=TrayRole.PREBAIT),
        replace(sift, food_left_g=None),
        *(
            weighed("10", "9", role=SIFT, condition=spoilt)
            for spoilt in (
                Condition.KNOCKED,
                Condition.FLOODED,
                Condition.SPILLED,
                Condition.ANTS,
            )
        ),
    ]
    assert controls_of(rows, SETTINGS.timezone) == Controls(
        (moisture,), (sift, rows[3]), SETTINGS.timezone
    )


# --- tolerance ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("left", "fixed", "expected"),
    [
        pytest.param([], None, "0.2", id="no controls: two scale steps"),
        pytest.param(["9.9", "9.6"], None, "0.2", id="two controls are too few"),
        pytest.param(
            ["9.9", "9.8", "9.7"],
            None,
            "0.4",
            id="mean 0.2 + 2 x sample SD 0.1 (of the population it would be 0.363)",
        ),
        pytest.param(["9.9", "9.9", "9.9"], None, "0.1", id="no spread"),
        pytest.param(["10.3", "10.3", "10.3"], None, "0", id="controls that gain"),
        pytest.param(["9.9", "9.8", "9.7"], "0.15", "0.15", id="the study's own goes first"),
        pytest.param([], "0", "0", id="the study's own may be nothing"),
    ],
)
def test_tolerance(left: list[str], fixed: str | None, expected: str) -> None:
    """The study's own; else mean loss + 2 SD of three controls or more; else two steps."""
    controls = [weighed("10.0", one, role=SIFT) for one in left]
    own = None if fixed is None else D(fixed)
    assert tolerance(controls, D("0.1"), own) == D(expected)
    assert reading(weighed("10", "5"), *controls, tolerance_g=own).tolerance == D(expected)


def test_the_tolerance_of_controls_decides() -> None:
    """Losses of 0.1, 0.2, 0.3 g: r = 29.4/30 = 0.98; 9.408 g -> 9.6 g, just within 0.4 g."""
    controls = [weighed("10.0", left, role=SIFT) for left in ("9.9", "9.8", "9.7")]
    assert reading(weighed("10.0", "9.408"), *controls).kind is Food.UNTOUCHED
    assert reading(weighed("10.0", "9.407"), *controls).kind is Food.PART_EATEN


# --- counted food ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("left", "kind"),
    [
        (100, Food.UNTOUCHED),
        (98, Food.UNTOUCHED),
        (97, Food.PART_EATEN),
        (2, Food.PART_EATEN),
        (0, Food.EMPTIED),
        (103, Food.GAINED),
    ],
)
def test_counted_seeds(left: int, kind: Food) -> None:
    """Of 100 counted seeds (common practice) all left means that nobody foraged."""
    found = reading(counted(100, left))
    assert found.kind is kind
    assert found.corrected == left
    assert found.eaten == 100 - left


def test_counted_food_knows_no_grams() -> None:
    """Moisture and a tolerance in grams say nothing of seeds; sift controls that count do."""
    controls = [counted(100, left, role=SIFT) for left in (99, 98, 97)]
    found = reading(
        counted(100, 49),
        weighed("10", "15", role=MOISTURE),
        counted(100, 150, role=MOISTURE),
        weighed("10", "5", role=SIFT),
        *controls,
        tolerance_g=D("0.3"),
    )
    assert found.moisture == 1
    assert found.recovery == D("0.98")
    assert found.corrected == 50
    assert found.tolerance == 4  # losses 1, 2, 3: mean 2 + 2 x SD 1
    assert found.notes == ()


def test_weighed_food_knows_no_counts() -> None:
    """Counted sift controls say nothing of grams."""
    found = reading(weighed("10", "5"), counted(100, 50, role=SIFT))
    assert found.recovery == 1
    assert found.sift_controls == 0


@pytest.mark.parametrize(("start", "left"), [(None, 5), (100, None)])
def test_a_missing_count(start: int | None, left: int | None) -> None:
    """A count that is missing is a mass that is missing."""
    assert reading(counted(start, left)).kind is Food.MISSING


# --- corrections on and off ----------------------------------------------------------------------

CONTROLLED = (
    weighed("10.0", "10.5", role=MOISTURE),
    weighed("10.0", "10.3", role=MOISTURE),
    *(weighed("10.0", left, role=SIFT) for left in ("9.9", "9.8", "9.7")),
)


def switched(**values: Any) -> Reading:
    """Read 5.0 g left of 10.0 g among two moisture and three sift controls."""
    one = weighed("10.0", "5.0")
    settings = replace(SETTINGS, **values)
    return read_food(one, controls_of([one, *CONTROLLED], settings.timezone), settings)


def test_each_correction_can_be_switched_off() -> None:
    """k = 1.04, r = 0.98 (by hand): 5.0 / k / r, 5.0 / r, 5.0 / k, 5.0; raw stays beside it."""
    assert switched().corrected == D("5.0") / D("1.04") / D("0.98")
    dry = switched(moisture_corrected=False)
    assert (dry.corrected, dry.moisture, dry.moisture_controls) == (D("5.0") / D("0.98"), D(1), 0)
    unsieved = switched(sifting_corrected=False)
    assert (unsieved.corrected, unsieved.recovery) == (D("5.0") / D("1.04"), D(1))
    neither = switched(moisture_corrected=False, sifting_corrected=False)
    assert neither.corrected == neither.left == D("5.0")


def test_what_is_switched_off_is_said() -> None:
    """Only where there are controls that are not used."""
    off = switched(moisture_corrected=False, sifting_corrected=False)
    assert off.notes == (MOISTURE_OFF, SIFTING_OFF)
    alone = weighed("10.0", "5.0")
    settings = replace(SETTINGS, moisture_corrected=False, sifting_corrected=False)
    assert read_food(alone, controls_of([alone], settings.timezone), settings).notes == ()


def test_the_spread_of_the_controls() -> None:
    """SD of 1.05 and 1.03 is 0.014142; of 0.99, 0.98 and 0.97 it is 0.01 (by hand)."""
    found = switched()
    assert found.moisture_sd == pytest.approx(0.0141421356, abs=1e-9)
    assert found.recovery_sd == pytest.approx(0.01, abs=1e-12)
    one = reading(weighed("10.0", "5.0"), weighed("10.0", "9.9", role=SIFT))
    assert one.recovery_sd is None


def test_where_the_tolerance_is_from() -> None:
    """Set, from at least three sift controls, else two steps of the scale."""
    assert switched(tolerance=D("0.3")).tolerance_how == "set in the study's settings"
    assert switched().tolerance_how == "mean loss + 2 SD of 3 sift controls"
    few = reading(weighed("10.0", "5.0"), weighed("10.0", "9.9", role=SIFT))
    assert few.tolerance_how == "two steps of the scale, 1 of the 3 sift controls needed"
    assert reading(weighed("10.0", "5.0")).tolerance == 2 * SETTINGS.scale_step


def test_items_and_grams() -> None:
    """4.0 g of seeds of 0.005 g are 800 seeds, and back (by hand); unknown stays unknown."""
    assert in_items(D("4.0"), D("0.005")) == 800
    assert in_grams(D(800), D("0.005")) == D("4.000")
    assert in_items(None, D("0.005")) is in_items(D(4), None) is None
    assert in_grams(None, D("0.005")) is in_grams(D(4), None) is None
