"""What is asked, what each tray tells, how they add up, which trays were used; the whole of it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from builders import (
    FIRST_REASONS,
    REASONS_OF,
    SETTINGS,
    SPECIES,
    Night,
    at,
    result,
    seen,
    sighting,
    stay,
    tray,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from core.analysis.choice import (
    Choice,
    Measure,
    StationBy,
    folded,
    in_order,
    measured,
    night_of,
    proposed,
    remarks,
    station_of,
)
from core.analysis.intervals import Share, Undefined, share, wald
from core.analysis.ledger import ledger
from core.analysis.pairs import Pairs
from core.analysis.ranks import SignedRank
from core.analysis.scales import Scale
from core.analysis.told import BOUNDS, NOTHING, Tells, Told, tell
from core.analysis.used import ELSEWHERE, Summary, Use, UsedTrays, summary, use_of, used_trays
from core.analysis.whole import Analysis, analyse
from core.model import UNKNOWN, Censored, Outcome, Reason, Status, TrayDeployment, Where

D = Decimal
UTC = ZoneInfo("UTC")
GERBIL, MOUSE, FOX = SPECIES["g"], SPECIES["m"], SPECIES["f"]
ANY = Choice(UTC, first="open", second="bush")
"""Grams left by whoever fed last, open minus bush."""
OF_GERBIL = replace(ANY, forager=GERBIL)


def told_of(outcome: Outcome, choice: Choice = ANY) -> Told:
    """Give what one outcome tells."""
    (one,) = tell([outcome], choice, SPECIES)
    return one


def used_of(outcomes: Sequence[Outcome], choice: Choice = ANY) -> tuple[UsedTrays, ...]:
    """Give the use of trays: all, then of each microhabitat."""
    return used_trays(tell(outcomes, choice, SPECIES), choice, SPECIES)


def whole(*outcomes: Outcome, choice: Choice = ANY) -> Analysis:
    """Give everything that is said of a few outcomes."""
    return analyse(outcomes, choice, SPECIES, SETTINGS)


def dropped(deployment: str, microhabitat: str = "open", **values: Any) -> Outcome:
    """Give a tray whose eater was never seen."""
    return result(deployment, "4.0", microhabitat, status=Status.DROP, **values)


# --- what is asked -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("set_out", "zone", "night"),
    [
        pytest.param(at("18:00"), "UTC", date(2026, 3, 14), id="evening"),
        pytest.param(at("02:59"), "UTC", date(2026, 3, 14), id="past midnight"),
        pytest.param(at("03:00"), "UTC", date(2026, 3, 15), id="at three"),
        pytest.param(at("18:00"), "Pacific/Auckland", date(2026, 3, 15), id="read in the zone"),
    ],
)
def test_the_night_of_a_tray(set_out: Any, zone: str, night: date) -> None:
    """A tray set out before three in the morning belongs to the evening before, in local time."""
    assert night_of(tray(set_out=set_out), ZoneInfo(zone)) == night


def test_a_tray_without_a_set_out_time_has_no_night() -> None:
    """What is missing is not guessed."""
    assert night_of(tray(set_out=None), UTC) is None


@pytest.mark.parametrize(
    ("site", "pair", "by", "station"),
    [
        pytest.param("Dune  A", "P1", StationBy.SITE, "dune a", id="the site"),
        pytest.param("", "P1", StationBy.SITE, "p1", id="the pair where there is no site"),
        pytest.param("Dune A", "P1", StationBy.PAIR, "dune a / p1", id="site and pair"),
        pytest.param("Dune A", "", StationBy.PAIR, "dune a", id="site without a pair"),
        pytest.param("", "", StationBy.PAIR, "", id="neither"),
    ],
)
def test_the_station_of_a_tray(site: str, pair: str, by: StationBy, station: str) -> None:
    """Capitals and blanks make no other station."""
    assert station_of(tray(site=site, pair=pair), by) == station


@pytest.mark.parametrize(
    ("values", "measure", "amount"),
    [
        pytest.param({}, Measure.GRAMS, D("4.0"), id="g"),
        pytest.param({"substrate_l": D(2)}, Measure.GRAMS_PER_LITRE, D(2), id="g/L"),
        pytest.param({}, Measure.GRAMS_PER_LITRE, None, id="g/L without a volume"),
        pytest.param({}, Measure.PROPORTION, D("0.4"), id="share"),
        pytest.param({"food_start_g": D(0)}, Measure.PROPORTION, None, id="share of nothing"),
        pytest.param({}, Measure.ITEMS, None, id="weighed food has no items"),
    ],
)
def test_an_amount_in_a_measure(
    values: dict[str, Any], measure: Measure, amount: Decimal | None
) -> None:
    """4.0 g left of 10.0 g, or nothing where the tray does not have the measure."""
    assert measured(D("4.0"), tray(**values), measure) == amount


def test_counted_food_in_each_measure() -> None:
    """20 of 50 items: a share, but neither grams nor grams a litre."""
    counted = tray(
        food_start_g=None, food_left_g=None, items_start=50, items_left=20, substrate_l=D(1)
    )
    amounts = [measured(D(20), counted, measure) for measure in Measure]
    assert dict(zip(Measure, amounts, strict=True)) == {
        Measure.GRAMS: None,
        Measure.GRAMS_PER_LITRE: None,
        Measure.ITEMS: 20,
        Measure.PROPORTION: D("0.4"),
    }


def test_the_mass_of_an_item_tells_items_as_grams_and_grams_as_items() -> None:
    """20 items of 0.005 g are 0.1 g, in 2 L 0.05 g/L; 4.0 g are 800 items (by hand)."""
    counted = tray(
        food_start_g=None, food_left_g=None, items_start=50, items_left=20, substrate_l=D(2)
    )
    mass = D("0.005")
    assert [measured(D(20), counted, measure, mass) for measure in Measure] == [
        D("0.1"), D("0.05"), 20, D("0.4"),
    ]  # fmt: skip
    assert measured(D("4.0"), tray(), Measure.ITEMS, mass) == 800
    assert measured(D("4.0"), tray(), Measure.GRAMS, mass) == D("4.0")


def test_counted_and_weighed_trays_are_told_together() -> None:
    """With the mass of an item both have grams; the pair of one of each has a difference."""
    counted = result("A", None, tray_is={"food_start_g": None, "items_start": 2000,
                                         "items_left": 800}, gud=D(800))  # fmt: skip
    weighed = result("B", "3.0", "bush")
    choice = replace(ANY, item_mass=D("0.005"))
    assert [one.value for one in tell([counted, weighed], choice, SPECIES)] == [D(4), D(3)]
    without = tell([counted, weighed], replace(choice, item_mass=None), SPECIES)
    assert [one.tells for one in without] == [Tells.NOT_IN_MEASURE, Tells.VALUE]
    assert remarks([counted, weighed], choice) == (
        "1 tray is told in grams, though food was counted: one item is taken for 0.005 g.",
    )
    items = replace(choice, measure=Measure.ITEMS)
    assert remarks([weighed, weighed], items) == (
        "2 trays are told in items, though food was weighed: one item is taken for 0.005 g.",
    )
    assert remarks([counted, weighed], replace(choice, measure=Measure.PROPORTION)) == ()


def test_names_stand_in_the_order_of_their_numbers() -> None:
    """S2 before S10, whatever the capitals; what has no number goes by its letters."""
    names = ["s10", "S2", "S2-b", "bush", "2026-10", "2026-9", ""]
    assert sorted(names, key=in_order) == ["", "2026-9", "2026-10", "bush", "S2", "S2-b", "s10"]


def test_the_seasons_of_a_choice_in_words() -> None:
    """None, one and two."""
    asked: list[tuple[str, ...]] = [(), ("dry",), ("dry", "wet")]
    assert [replace(ANY, seasons=one).when for one in asked] == [
        "", "season dry", "seasons dry and wet",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("first", "second", "sides"),
    [
        pytest.param("Open", " bush", ("open", "bush"), id="two"),
        pytest.param("open", "OPEN ", None, id="one, written in two ways"),
        pytest.param("open", "", None, id="one"),
    ],
)
def test_two_microhabitats_make_sides(
    first: str, second: str, sides: tuple[str, str] | None
) -> None:
    """A comparison needs two that differ by more than their spelling."""
    assert Choice(UTC, first=first, second=second).sides == sides


def test_the_proposed_choice_takes_the_commonest_microhabitats() -> None:
    """The two with most trays, spelt as most often, in the order of the log."""
    rows = ["rock", "Open", "open", "open", "bush", "bush"]
    outcomes = [result(f"D{at}", microhabitat=name) for at, name in enumerate(rows)]
    found = proposed(outcomes, UTC, GERBIL)
    assert (found.first, found.second) == ("open", "bush")
    assert (found.forager, found.measure, found.station_by) == (
        GERBIL,
        Measure.GRAMS,
        StationBy.SITE,
    )


@pytest.mark.parametrize(
    ("counted", "weighed", "measure"),
    [(2, 1, Measure.ITEMS), (2, 3, Measure.GRAMS), (1, 1, Measure.GRAMS)],
)
def test_the_proposed_measure_is_items_where_most_food_was_counted(
    counted: int, weighed: int, measure: Measure
) -> None:
    """More than half of the trays have to be counted."""
    items = {"food_start_g": None, "items_start": 50, "items_left": 20}
    outcomes = [result(f"C{at}", None, tray_is=items) for at in range(counted)]
    outcomes += [result(f"W{at}") for at in range(weighed)]
    assert proposed(outcomes, UTC).measure is measure


@pytest.mark.parametrize(
    ("pairs", "by"),
    [
        pytest.param([("A", 0), ("B", 0), ("A", 1), ("B", 1)], StationBy.PAIR, id="places"),
        pytest.param([("N1", 0), ("N2", 1), ("N3", 2)], StationBy.SITE, id="names of nights"),
        pytest.param([("A", 0), ("A", 1)], StationBy.SITE, id="one pair, come back"),
        pytest.param([("", 0), ("", 1)], StationBy.SITE, id="no pairs"),
    ],
)
def test_what_a_pair_names_is_read_from_the_nights(
    pairs: list[tuple[str, int]], by: StationBy
) -> None:
    """Pairs that come back beside others are places; pairs of one night each are not."""
    outcomes = [
        result(f"D{at}", night=night, tray_is={"pair": pair})
        for at, (pair, night) in enumerate(pairs)
    ]
    assert proposed(outcomes, UTC).station_by is by


def test_nothing_is_proposed_of_nothing() -> None:
    """An empty study gives an empty choice."""
    assert proposed([], UTC) == Choice(UTC)


def test_one_microhabitat_proposes_one() -> None:
    """The second stays empty."""
    found = proposed([result()], UTC)
    assert (found.first, found.second, found.sides) == ("open", "", None)


# --- remarks -------------------------------------------------------------------------------------


def test_a_microhabitat_written_in_two_ways_is_one_and_said() -> None:
    """`Open` and `open ` are one microhabitat."""
    outcomes = [result("D1", microhabitat="open"), result("D2", microhabitat=" Open")]
    (said,) = remarks(outcomes, ANY)
    assert said == ("One microhabitat is written in 2 ways, taken as one: ' Open' (1), 'open' (1).")
    assert all(one.tells is Tells.VALUE for one in tell(outcomes, ANY, SPECIES))


def test_a_misspelt_microhabitat_gets_a_suggestion() -> None:
    """`opne` is left out, and `open` is suggested; another word is a microhabitat of its own."""
    outcomes = [result("D1"), result("D2", microhabitat="opne"), result("D3", microhabitat="rock")]
    assert remarks(outcomes, ANY) == (
        "Microhabitat 'opne' (1) is left out. Did you mean 'open'? Then mend the tray log.",
        (
            "Microhabitat 'rock' (1) is neither of the two that are compared; its trays are in no "
            "density here. Ask for it and another one."
        ),
    )
    assert [one.tells for one in tell(outcomes, ANY, SPECIES)] == [
        Tells.VALUE,
        Tells.OTHER_MICROHABITAT,
        Tells.OTHER_MICROHABITAT,
    ]


def test_trays_without_a_microhabitat_are_said() -> None:
    """They are left out of a comparison."""
    assert remarks([result(microhabitat="")], ANY) == (
        "1 tray has no microhabitat and is left out. Fill in the tray log.",
    )


def test_a_site_written_in_two_ways_is_one_and_said() -> None:
    """Names that only look alike stay apart."""
    outcomes = [result(f"D{at}", site=name) for at, name in enumerate(["S1", "s1 ", "S2"])]
    assert remarks(outcomes, ANY) == ("One site is written in 2 ways, taken as one: 'S1', 's1 '.",)


@pytest.mark.parametrize(
    ("measure", "start", "litres", "said"),
    [
        pytest.param(Measure.GRAMS, "11.0", "2", (), id="alike within a tenth"),
        pytest.param(Measure.GRAMS, "11.1", "2", ("Food put in differs",), id="more food"),
        pytest.param(Measure.PROPORTION, "20.0", "2", (), id="a share evens the start out"),
        pytest.param(Measure.GRAMS, "10.0", "3", ("Substrate differs",), id="more sand"),
        pytest.param(Measure.GRAMS_PER_LITRE, "10.0", "3", (), id="a density evens the sand out"),
        pytest.param(
            Measure.GRAMS_PER_LITRE, "20.0", "3", ("Food put in differs",), id="but not the food"
        ),
        pytest.param(Measure.PROPORTION, "20.0", "3", ("Substrate differs",), id="nor a share it"),
    ],
)
def test_trays_that_did_not_start_alike(
    measure: Measure, start: str, litres: str, said: tuple[str, ...]
) -> None:
    """Grams compare trays of one start and volume only; a tenth apart is alike (a judgement)."""
    outcomes = [
        result("D1", tray_is={"substrate_l": D(2)}),
        result("D2", tray_is={"food_start_g": D(start), "substrate_l": D(litres)}),
    ]
    found = remarks(outcomes, replace(ANY, measure=measure))
    assert tuple(one.split(" between")[0] for one in found) == said


def test_a_scale_of_shares_needs_shares() -> None:
    """Grams have no logit: said, with the measure that has."""
    (said,) = remarks([result()], replace(ANY, scale=Scale.LOGIT))
    assert said.startswith("The scale logit of the share eaten compares shares")


# --- what a tray tells ---------------------------------------------------------------------------


def test_a_kept_density_is_a_value() -> None:
    """Low and high are the density."""
    one = told_of(result(left="4.0"))
    assert (one.tells, one.low, one.high, one.value, one.why) == (
        Tells.VALUE, D("4.0"), D("4.0"), D("4.0"), "",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("censored", "tells"),
    [(Censored.BELOW, Tells.BELOW), (Censored.AT_MOST, Tells.AT_MOST)],
)
def test_a_censored_density_bounds_from_above(censored: Censored, tells: Tells) -> None:
    """Emptied and interrupted trays are no values: the density lies below."""
    one = told_of(result(left="0.1", status=Status.CAUTION, censored=censored))
    assert (one.tells, one.low, one.high, one.value) == (tells, None, D("0.1"), None)
    assert one.why == str(tells)


def test_a_refused_tray_bounds_from_below() -> None:
    """Visited and not eaten: the density is above all that was put in, for whoever came."""
    stays = [stay("19:00-19:03", "g", Where.ON_TRAY)]
    outcome = Night(stays, tray={"food_left_g": D("10.0"), "microhabitat": "open"}).outcome()
    assert outcome.reason is Reason.VISITED_NOT_EATEN
    for choice in (ANY, OF_GERBIL):
        one = told_of(outcome, choice)
        assert (one.tells, one.low, one.high) == (Tells.ABOVE, D("10.0"), None)


def test_a_refused_tray_says_nothing_of_whoever_did_not_come() -> None:
    """A mouse refused it; of gerbils it tells nothing."""
    stays = [stay("19:00-19:03", "m", Where.ON_TRAY)]
    outcome = Night(stays, tray={"food_left_g": D("10.0"), "microhabitat": "open"}).outcome()
    assert told_of(outcome, OF_GERBIL).tells is Tells.NO_DENSITY


def test_a_fox_that_looks_refuses_nothing() -> None:
    """An animal that is no forager was on the tray and did not feed: no bound."""
    stays = [stay("19:00-19:03", "f", Where.ON_TRAY)]
    outcome = Night(stays, tray={"food_left_g": D("10.0"), "microhabitat": "open"}).outcome()
    assert outcome.reason is Reason.VISITED_NOT_EATEN
    assert told_of(outcome).tells is Tells.NO_DENSITY


def test_an_unvisited_tray_tells_nothing() -> None:
    """Nobody came: there is no density, and none is made up from the start mass."""
    outcome = Night([], tray={"food_left_g": D("10.0"), "microhabitat": "open"}).outcome()
    one = told_of(outcome)
    assert (one.tells, one.low, one.high) == (Tells.NO_DENSITY, None, None)
    assert one.why == str(Reason.UNUSED_SEEN)


def test_an_earlier_feeder_quit_between_left_and_start() -> None:
    """The mouse fed first, the gerbil last: the mouse's density lies between 4 g and 10 g."""
    stays = [stay("19:00-19:03", "m"), stay("21:00-21:03", "g")]
    outcome = Night(stays, tray={"microhabitat": "open"}).outcome()
    assert told_of(outcome, OF_GERBIL).tells is Tells.VALUE
    one = told_of(outcome, replace(ANY, forager=MOUSE))
    assert (one.tells, one.low, one.high) == (Tells.BETWEEN, D("4.0"), D("10.0"))


def test_an_earlier_feeder_of_an_emptied_tray_is_only_below_the_start() -> None:
    """The last feeder took the rest: how low the earlier one went nobody knows."""
    stays = [stay("19:00-19:03", "m"), stay("21:00-21:03", "g")]
    outcome = Night(stays, tray={"food_left_g": D(0), "microhabitat": "open"}).outcome()
    assert outcome.censored is Censored.BELOW
    one = told_of(outcome, replace(ANY, forager=MOUSE))
    assert (one.tells, one.low, one.high) == (Tells.BETWEEN, None, D("10.0"))


def test_another_foragers_density_is_not_taken() -> None:
    """A tray that the mouse never touched tells nothing of mice, and says whose it is."""
    one = told_of(result(), replace(ANY, forager=MOUSE))
    assert one.tells is Tells.OTHER_FORAGER
    assert one.why == "the density belongs to another forager, gerbil"


def test_a_density_that_the_measure_does_not_have() -> None:
    """No substrate volume, no grams a litre."""
    one = told_of(result(), replace(ANY, measure=Measure.GRAMS_PER_LITRE))
    assert (one.tells, one.value) == (Tells.NOT_IN_MEASURE, None)


def test_bounds_are_given_in_the_measure() -> None:
    """Of 10 g, an earlier feeder left between 40 % and all."""
    stays = [stay("19:00-19:03", "m"), stay("21:00-21:03", "g")]
    outcome = Night(stays, tray={"microhabitat": "open"}).outcome()
    one = told_of(outcome, replace(ANY, forager=MOUSE, measure=Measure.PROPORTION))
    assert (one.low, one.high) == (D("0.4"), D(1))


def test_every_way_to_tell_is_a_value_a_bound_or_nothing() -> None:
    """The three kinds part all ways to tell."""
    assert sorted([Tells.VALUE, *BOUNDS, *NOTHING]) == sorted(Tells)


# --- the ledger ----------------------------------------------------------------------------------

STATUS_AND_REASON = st.sampled_from(
    [(status, reason) for status, reasons in REASONS_OF.items() for reason in sorted(reasons)]
)
SOME_OUTCOME = st.builds(
    lambda case, microhabitat, forager, censored: result(
        "D",
        microhabitat=microhabitat,
        status=case[0],
        reason=case[1],
        **(
            {"forager": forager, "censored": censored}
            if case[0] in {Status.KEEP, Status.CAUTION}
            else {}
        ),
    ),
    STATUS_AND_REASON,
    st.sampled_from(["open", "bush", "rock", ""]),
    st.sampled_from(["gerbil", "mouse"]),
    st.sampled_from(Censored),
)


@settings(deadline=None)
@given(st.lists(SOME_OUTCOME, max_size=40), st.sampled_from([None, GERBIL, MOUSE]))
def test_the_ledger_adds_up(made: list[Outcome], wanted: Any) -> None:
    """Every tray deployment is in one line, whatever it is and whoever is asked for."""
    outcomes = [
        replace(one, deployment=replace(one.deployment, deployment=f"D{at}"))
        for at, one in enumerate(made)
    ]
    choice = replace(ANY, forager=wanted)
    found = ledger(tell(outcomes, choice, SPECIES), choice)
    listed = sorted(name for line in found.lines for name in line.deployments)
    assert listed == sorted(one.deployment.deployment for one in outcomes)
    assert found.n == len(outcomes)
    for tally in (found.by_status(), found.by_reason(), found.by_tells()):
        assert sum(tally.values()) == len(outcomes)


def test_the_ledger_says_what_became_of_each() -> None:
    """Deployed, to status and reason, to what is analysed."""
    outcomes = [
        result("D1"),
        result("D2", status=Status.CAUTION, censored=Censored.BELOW),
        result("D3", forager="mouse"),
        dropped("D4"),
        result("D5", microhabitat="rock"),
    ]
    found = ledger(tell(outcomes, OF_GERBIL, SPECIES), OF_GERBIL)
    assert [(line.status, line.tells, line.deployments) for line in found.lines] == [
        (Status.KEEP, Tells.VALUE, ("D1",)),
        (Status.KEEP, Tells.OTHER_FORAGER, ("D3",)),
        (Status.KEEP, Tells.OTHER_MICROHABITAT, ("D5",)),
        (Status.CAUTION, Tells.BELOW, ("D2",)),
        (Status.DROP, Tells.NO_DENSITY, ("D4",)),
    ]
    assert (found.n, found.analysed) == (5, 1)
    assert found.by_reason()[Status.DROP, Reason.EATER_NOT_SEEN] == 1
    assert found.by_status()[Status.PENDING] == 0


# --- shares --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "n", "low", "high"),
    [
        # Newcombe 1998, Stat Med 17:857-872, table I, method 3; from memory.
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_intervals_are_the_published_ones(
    part: int, n: int, low: float, high: float
) -> None:
    """Shares near 0 have an interval too, and it stays above 0."""
    found = share(part, n)
    assert isinstance(found, Share)
    assert (found.interval.low, found.interval.high) == pytest.approx((low, high), abs=5e-5)


def test_a_share_of_nothing_is_undefined() -> None:
    """No tray, no share."""
    assert isinstance(share(0, 0), Undefined)


def test_a_wald_interval() -> None:
    """1.959964 is the normal quantile of 97.5 % (common practice)."""
    found = wald(1.0, 0.5, "so")
    assert (found.low, found.high) == pytest.approx((1 - 0.979982, 1 + 0.979982), abs=1e-6)


# --- use -----------------------------------------------------------------------------------------

ONLY_MOUSE = (seen(sighting("m")),)


@pytest.mark.parametrize(
    ("outcome", "anybody", "gerbil"),
    [
        pytest.param(result(), Use.USED, Use.USED, id="fed last"),
        pytest.param(
            result(forager="mouse", seen=(seen(sighting("g")), seen(sighting("m", clock="22:00")))),
            Use.USED, Use.USED, id="fed earlier",
        ),
        pytest.param(
            result(forager="mouse", seen=ONLY_MOUSE), Use.USED, Use.UNUSED, id="another fed",
        ),
        pytest.param(
            result(forager="mouse", seen=ONLY_MOUSE, watched_share=0.9),
            Use.USED, Use.UNKNOWN, id="another fed, with a gap",
        ),
        pytest.param(
            result(forager="mouse", seen=(seen(sighting("m")), seen(sighting(UNKNOWN)))),
            Use.USED, Use.UNKNOWN, id="another fed, and one nobody could name",
        ),
        pytest.param(
            result(status=Status.NO_GUD, seen=(seen(sighting("g", Where.ON_TRAY)),)),
            Use.UNUSED, Use.UNUSED, id="not eaten",
        ),
        pytest.param(dropped("D1"), Use.USED, Use.UNKNOWN, id="eaten, nobody seen"),
        pytest.param(
            dropped("D1", reason=Reason.GAP_AFTER_LAST, seen=(seen(sighting("g")),)),
            Use.USED, Use.USED, id="eaten, last feeder unknown, seen feeding",
        ),
        pytest.param(
            dropped("D1", reason=Reason.KNOCKED), Use.UNKNOWN, Use.UNKNOWN, id="knocked over",
        ),
        pytest.param(
            dropped("D1", reason=Reason.PERSONS_ONLY), Use.UNKNOWN, Use.UNKNOWN, id="people",
        ),
        pytest.param(
            result(status=Status.PENDING), Use.UNKNOWN, Use.UNKNOWN, id="pending",
        ),
        pytest.param(
            result(forager="mouse", seen=(*ONLY_MOUSE, seen(sighting("g"), held=False)),
                   unanswered=1),
            Use.USED, Use.UNKNOWN, id="an unanswered visit",
        ),
    ],
)  # fmt: skip
def test_whether_a_tray_was_used(outcome: Outcome, anybody: Use, gerbil: Use) -> None:
    """Food gone is use; by whom is only known where it was seen, or where nobody was missed."""
    assert use_of(outcome, None, SPECIES) is anybody
    assert use_of(outcome, GERBIL, SPECIES) is gerbil


def test_use_and_density_come_together() -> None:
    """Three of four known trays used; the density is of two, since one was emptied."""
    outcomes = [
        result("D1", "2.0"),
        result("D2", "4.0"),
        result("D3", "0.1", status=Status.CAUTION, censored=Censored.BELOW),
        result("D4", status=Status.NO_GUD),
        dropped("D5", reason=Reason.KNOCKED),
    ]
    everything = used_of(outcomes)[0]
    assert (everything.n, everything.used, everything.unused) == (5, 3, 1)
    assert everything.unknown == ((str(Reason.KNOCKED), 1),)
    assert isinstance(everything.share, Share)
    assert (everything.share.part, everything.share.n) == (3, 4)
    assert everything.gud == Summary(2, 3.0, 2**0.5, 2.0, 2.5, 3.0, 3.5, 4.0)
    assert everything.bounded == ((Tells.BELOW, 1),)


def test_use_of_each_microhabitat() -> None:
    """All, then the first and the second."""
    outcomes = [result("D1"), result("D2", microhabitat="Bush"), result("D3", microhabitat="rock")]
    found = used_of(outcomes)
    assert [(one.microhabitat, one.n) for one in found] == [("", 3), ("open", 1), ("bush", 1)]


def test_trays_used_by_the_mass_alone_are_counted() -> None:
    """Food gone and nobody seen is use, and how many such trays there are is said."""
    everything = used_of([result("D1"), dropped("D2")])[0]
    assert (everything.used, everything.unseen) == (2, 1)


def test_food_gone_to_an_unknown_animal_is_said() -> None:
    """For one forager such a tray is not known, and left out of the share."""
    everything = used_of([dropped("D1")], OF_GERBIL)[0]
    assert everything.unknown == ((ELSEWHERE, 1),)
    assert isinstance(everything.share, Undefined)
    assert everything.unseen == 0


def test_one_tray_has_no_spread() -> None:
    """The standard deviation of one density is not 0 but missing."""
    found = summary([told_of(result())])
    assert isinstance(found, Summary)
    assert (found.n, found.sd) == (1, None)


# --- the whole, of bad input ---------------------------------------------------------------------


def emptied(deployment: str, microhabitat: str = "open", **values: Any) -> Outcome:
    """Give a tray that was emptied."""
    return result(
        deployment, "0.1", microhabitat, status=Status.CAUTION, censored=Censored.BELOW, **values
    )


def study(*lefts: tuple[str, str], nights: int = 1) -> list[Outcome]:
    """Give one pair a site and night: what was left in the open and under the bush."""
    return [
        result(f"{side}{at}-{night}", left, side, site=f"S{at}", night=night)
        for at, pair in enumerate(lefts)
        for night in range(nights)
        for side, left in zip(("open", "bush"), pair, strict=True)
    ]


def test_nothing_at_all_is_said_in_words() -> None:
    """An empty study: every part is there, and says that there is nothing."""
    found = whole()
    assert found.ledger.n == 0
    assert isinstance(found.pairs, Pairs)
    for part in (found.test, found.mixed, found.censored, found.rates.ratio, found.used[0].gud):
        assert isinstance(part, Undefined)
        assert part.why


def test_all_trays_dropped() -> None:
    """No pair, no model, no rate of a density; the ledger and the use stand."""
    found = whole(*(dropped(f"D{at}", ("open", "bush")[at % 2], site=f"S{at // 2}")
                    for at in range(12)))  # fmt: skip
    assert found.ledger.by_status()[Status.DROP] == 12
    assert isinstance(found.test, Undefined)
    assert found.test.why == "no pair has a density on both sides, 6 were lost"
    assert isinstance(found.mixed, Undefined)
    assert isinstance(found.censored, Undefined)
    assert isinstance(found.used[0].share, Share)


def test_all_trays_emptied() -> None:
    """Nothing bounds the density from below: no number is made up, and 0 is none."""
    found = whole(*(emptied(f"D{at}", ("open", "bush")[at % 2], site=f"S{at // 2}")
                    for at in range(12)))  # fmt: skip
    assert isinstance(found.censored, Undefined)
    assert found.censored.why == (
        "nothing bounds the density of open from below (6 emptied: below what can be weighed)"
    )
    assert isinstance(found.used[0].gud, Undefined)
    assert found.used[0].gud.why == (
        "no tray has a known density (12 emptied: below what can be weighed)"
    )
    assert isinstance(found.test, Undefined)


def test_one_pair() -> None:
    """One difference is shown, and no p or interval stands beside it."""
    found = whole(*study(("4.0", "2.2")))
    assert isinstance(found.test, SignedRank)
    assert (found.test.n, found.test.estimate) == (1, D("1.8"))
    assert isinstance(found.test.p, Undefined)
    assert isinstance(found.test.interval, Undefined)
    assert isinstance(found.mixed, Undefined)


def test_all_differences_zero() -> None:
    """Nothing to rank: the estimate is 0, p is words."""
    found = whole(*study(*[("4.0", "4.0")] * 8))
    assert isinstance(found.test, SignedRank)
    assert (found.test.zeros, found.test.ranked, found.test.estimate) == (8, 0, D(0))
    assert found.test.p == Undefined("all 8 differences are zero, there is nothing to rank", 8)
    assert isinstance(found.mixed, Undefined)
    assert found.mixed.why == "all trays of a microhabitat have one density, nothing varies"


def test_one_night() -> None:
    """One night: stations are told apart, nights are not, and that is said."""
    found = whole(*study(("4.0", "2.2"), ("3.1", "3.0"), ("5.2", "2.9"), ("4.4", "4.0"),
                         ("2.8", "1.9"), ("6.1", "3.3")))  # fmt: skip
    assert not isinstance(found.mixed, Undefined)
    assert "there is one night only, so no random night" in found.mixed.warnings
    assert [one.name for one in found.mixed.components] == ["station", "residual"]


def test_a_study_of_one_microhabitat() -> None:
    """There is nothing to compare with; use and ledger stand."""
    outcomes = [result(f"D{at}", site=f"S{at}") for at in range(6)]
    found = whole(*outcomes, choice=proposed(outcomes, UTC))
    for part in (found.pairs, found.test, found.mixed, found.censored, found.rates.ratio):
        assert isinstance(part, Undefined)
        assert "two microhabitats" in part.why
    assert found.ledger.analysed == 6


def test_a_whole_analysis_carries_its_choice_and_settings() -> None:
    """Nobody has to guess what a number was made of."""
    found = whole(*study(("4.0", "2.2"), ("3.1", "3.0")), choice=OF_GERBIL)
    assert found.settings is SETTINGS
    assert found.ledger.choice == found.used[0].choice == found.rates.choice == OF_GERBIL


def test_trays_that_lack_everything_do_no_harm() -> None:
    """A pending row with nothing but its id is in the ledger and nowhere else."""
    bare = Outcome(
        TrayDeployment("D9"), Status.PENDING, FIRST_REASONS[Status.PENDING], "", watched_share=None
    )
    for measure in Measure:
        found = whole(*study(("4.0", "2.2")), bare, choice=replace(ANY, measure=measure))
        assert found.ledger.by_status()[Status.PENDING] == 1


def test_folding_a_name() -> None:
    """Capitals and runs of blanks do not matter, letters do."""
    assert folded("  Open   Sand ") == folded("open sand") == "open sand"
    assert folded("openSand") != "open sand"


def test_the_longest_window_does_not_matter_to_the_night() -> None:
    """A tray left out for two nights belongs to the first."""
    assert night_of(tray(picked_up=at("06:00") + timedelta(days=1)), UTC) == date(2026, 3, 14)


def test_a_fox_may_be_asked_for() -> None:
    """A species whose role is other can own a density where it was seen feeding."""
    outcome = Night([stay("19:00-19:03", "f")], tray={"microhabitat": "open"}).outcome()
    assert told_of(outcome, replace(ANY, forager=FOX)).tells is Tells.VALUE
