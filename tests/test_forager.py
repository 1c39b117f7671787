"""Whom a tray's density belongs to: the checks before the table, special cases, the company."""

from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest
from builders import REASONS_OF, SPECIES, at, case, there
from hypothesis import given
from hypothesis import strategies as st

from core.coverage import Cover
from core.food import Food
from core.forager import (
    Circumstances,
    Company,
    Decision,
    Seen,
    company,
    decide,
)
from core.model import Censored, Condition, Reason, Sighting, Status, Where
from core.settings import FeederRule

FED, ON_TRAY, NEAR = Where.FED, Where.ON_TRAY, Where.NEAR

# --- the order of the checks -------------------------------------------------------------------

ALL_WRONG: dict[str, object] = {
    "missing": (Reason.MASS_MISSING, Reason.TIME_MISSING),
    "overlaps": True,
    "condition": Condition.KNOCKED,
    "waits_for": (Reason.DISPUTED, Reason.UNTAGGED),
    "outside_placement": True,
    "cover": Cover.NONE,
    "mostly_before": True,
    "food": Food.GAINED,
}
MENDED: list[tuple[dict[str, object], Status, Reason]] = [
    ({}, Status.PENDING, Reason.MASS_MISSING),
    ({"missing": ()}, Status.ERROR, Reason.WINDOWS_OVERLAP),
    ({"overlaps": False}, Status.DROP, Reason.KNOCKED),
    ({"condition": Condition.OK}, Status.PENDING, Reason.UNTAGGED),
    ({"waits_for": (Reason.DISPUTED,)}, Status.PENDING, Reason.DISPUTED),
    ({"waits_for": ()}, Status.ERROR, Reason.OUTSIDE_PLACEMENT),
    ({"outside_placement": False}, Status.ERROR, Reason.NOT_COVERED),
    ({"cover": Cover.WHOLE}, Status.ERROR, Reason.BEFORE_SET_OUT),
    ({"mostly_before": False}, Status.DROP, Reason.GAINED),
    ({"food": Food.PART_EATEN}, Status.KEEP, Reason.CLEAN),
]


def test_the_order_of_the_checks() -> None:
    """Everything is wrong with a tray; each fault mended shows the next."""
    wrong = dict(ALL_WRONG)
    for mended, status, reason in MENDED:
        wrong |= mended
        decision = decide(replace(case(), **wrong))  # type: ignore[arg-type]
        assert (decision.status, decision.reason) == (status, reason), mended


@pytest.mark.parametrize(
    ("condition", "controls", "status", "reason"),
    [
        pytest.param(Condition.OK, 0, Status.KEEP, Reason.CLEAN, id="ok"),
        pytest.param(Condition.KNOCKED, 9, Status.DROP, Reason.KNOCKED, id="knocked"),
        pytest.param(Condition.FLOODED, 9, Status.DROP, Reason.FLOODED, id="flooded"),
        pytest.param(Condition.SPILLED, 9, Status.DROP, Reason.SPILLED, id="spilled"),
        pytest.param(Condition.ANTS, 9, Status.DROP, Reason.ANTS, id="ants"),
        pytest.param(Condition.WET, 0, Status.DROP, Reason.WET_UNCORRECTED, id="wet, no controls"),
        pytest.param(Condition.WET, 1, Status.CAUTION, Reason.WET_CORRECTED, id="wet, controls"),
        pytest.param(Condition.OTHER, 0, Status.CAUTION, Reason.CONDITION_OTHER, id="other"),
    ],
)
def test_conditions(condition: Condition, controls: int, status: Status, reason: Reason) -> None:
    """What had happened to a tray drops it, cautions or means nothing."""
    decision = decide(case(condition=condition, moisture_controls=controls))
    assert (decision.status, decision.reason) == (status, reason)


def test_a_missing_mass_is_pending_even_without_coverage() -> None:
    """The design puts a missing mass before coverage, where the bare table says error."""
    decision = decide(case(Food.MISSING, cover=Cover.NONE, missing=(Reason.MASS_MISSING,)))
    assert (decision.status, decision.reason) == (Status.PENDING, Reason.MASS_MISSING)


# --- special cases -----------------------------------------------------------------------------

SPECIAL: list[tuple[dict[str, object], Reason]] = [
    ({"cut_at_set_out": True}, Reason.CUT_AT_SET_OUT),
    ({"running_at_pickup": True}, Reason.RUNNING_AT_PICKUP),
    ({"who": there(Seen.ONE)}, Reason.FEEDING_NOT_SEEN),
    ({"who": there(Seen.ONE, feeding_seen=True, came_after=True)}, Reason.FEEDING_UNCERTAIN),
    ({"who": there(Seen.ONE, feeding_seen=True, persons=True)}, Reason.PERSON_ON_TRAY),
    ({"condition": Condition.WET, "moisture_controls": 2}, Reason.WET_CORRECTED),
    ({"condition": Condition.OTHER}, Reason.CONDITION_OTHER),
    ({"quiet_too_long": True}, Reason.SHORT_VISITS_MISSED),
    ({"watch_doubted": True}, Reason.WATCH_IN_DOUBT),
    ({"clock_doubted": True}, Reason.CLOCK_IN_DOUBT),
    ({"nights": 2}, Reason.BLEND_OF_NIGHTS),
]


@pytest.mark.parametrize(("given_", "reason"), SPECIAL, ids=[one.name for _, one in SPECIAL])
def test_a_special_case_lowers_a_keep(given_: dict[str, object], reason: Reason) -> None:
    """Each special case alone turns the keep into a caution that says so."""
    decision = decide(case(**given_))  # type: ignore[arg-type]
    assert decision == Decision(Status.CAUTION, reason, "T1 V1 C1", owner="g", special=(reason,))


def test_one_night_is_no_blend() -> None:
    """A window over one midnight, or none, holds no more than one night."""
    assert decide(case(nights=1)).status is Status.KEEP
    assert decide(case(nights=0)).status is Status.KEEP


def test_a_caution_keeps_its_own_reason() -> None:
    """Special cases beside a cautious cell are listed and do not replace its reason."""
    decision = decide(case(cover=Cover.GAP_BEFORE, nights=3, quiet_too_long=True))
    assert decision.reason is Reason.COUNT_IS_MINIMUM
    assert decision.special == (Reason.SHORT_VISITS_MISSED, Reason.BLEND_OF_NIGHTS)


def test_a_running_owner_bounds_the_density_from_above() -> None:
    """Running at pick-up: at most what is left; emptied: below; another animal running: no."""
    running = case(running_at_pickup=True, owner_running=True)
    assert decide(running).censored is Censored.AT_MOST
    emptied = replace(running, food=Food.EMPTIED)
    assert decide(emptied).censored is Censored.BELOW
    assert decide(replace(running, owner_running=False)).censored is Censored.NO


@pytest.mark.parametrize("food", [Food.PART_EATEN, Food.EMPTIED])
def test_two_species_on_the_last_photo(food: Food) -> None:
    """If both end on the same photo the last feeder is unknown, and the density is dropped."""
    tied = there(Seen.SEVERAL, owner=None, last_feeder_tied=True, feeding_seen=True)
    decision = decide(case(food, Seen.SEVERAL, who=tied))
    assert decision.status is Status.DROP
    assert decision.owner is None
    if food is Food.PART_EATEN:
        assert decision.reason is Reason.LAST_FEEDER_UNKNOWN


def test_only_bystanders() -> None:
    """Food gone with only a fox that looked: its eater was not seen, and the reason names it."""
    fox = Company(Seen.NOBODY, bystanders=True)
    gone = decide(case(Food.PART_EATEN, who=fox))
    assert (gone.status, gone.reason) == (Status.DROP, Reason.NOT_A_FORAGER)
    left = decide(case(Food.UNTOUCHED, who=fox))
    assert (left.status, left.reason) == (Status.NO_GUD, Reason.VISITED_NOT_EATEN)


# --- what holds of every case ------------------------------------------------------------------

flags = st.booleans()


@st.composite
def companies(draw: st.DrawFn) -> Company:
    """Give a company as sightings can make it: only an unknown or a tie hides the owner."""
    seen = draw(st.sampled_from([seen for seen in Seen if seen is not Seen.UNFINISHED]))
    dull = there(seen)
    tied = seen in {Seen.SEVERAL, Seen.SOME_UNKNOWN} and draw(flags)
    hidden = tied or (seen is Seen.SOME_UNKNOWN and draw(flags))
    fed = bool(dull.feeders) and draw(flags)
    return replace(
        dull,
        owner=None if hidden else dull.owner,
        last_feeder_tied=tied,
        feeding_seen=fed,
        came_after=fed and len(dull.feeders) > 1 and draw(flags),
        bystanders=draw(flags),
        persons=seen is Seen.PERSONS or draw(flags),
    )


circumstances = st.builds(
    Circumstances,
    food=st.sampled_from(Food),
    cover=st.sampled_from(Cover),
    company=companies(),
    missing=st.sampled_from([(), (), (), (Reason.TIME_MISSING,)]),
    overlaps=st.sampled_from([False, False, False, True]),
    condition=st.sampled_from([*[Condition.OK] * 7, *Condition]),
    moisture_controls=st.integers(0, 2),
    waits_for=st.sampled_from([(), (), (), (Reason.UNSURE,)]),
    visits_on_tray=st.integers(0, 3),
    outside_placement=flags,
    mostly_before=flags,
    cut_at_set_out=flags,
    running_at_pickup=flags,
    owner_running=flags,
    fed_after_gap=flags,
    quiet_too_long=flags,
    nights=st.integers(0, 3),
)
GOOD = {Status.KEEP: 2, Status.CAUTION: 1}


@given(circumstances)
def test_a_special_case_never_raises_a_status(some: Circumstances) -> None:
    """Whatever else is true of a tray, its special cases leave its status or lower it."""
    plain = replace(
        some,
        cut_at_set_out=False,
        running_at_pickup=False,
        owner_running=False,
        quiet_too_long=False,
        nights=0,
        condition=Condition.OK,
        company=replace(some.company, came_after=False),
    )
    before, after = decide(plain), decide(some)
    assert GOOD.get(after.status, 0) <= GOOD.get(before.status, 0)
    if before.status in {Status.ERROR, Status.PENDING} and some.condition is Condition.OK:
        assert after.status is before.status


@given(circumstances)
def test_what_every_decision_keeps_to(some: Circumstances) -> None:
    """Reasons stand under their status; only a kept density has an owner and a bound."""
    decision = decide(some)
    assert decision.reason in REASONS_OF[decision.status]
    assert decision.special == tuple(dict.fromkeys(decision.special))
    assert set(decision.special) <= REASONS_OF[Status.CAUTION]
    if decision.status in GOOD:
        assert decision.owner == "g"
        assert some.food in {Food.PART_EATEN, Food.EMPTIED}
        assert not some.company.last_feeder_tied
    else:
        assert decision.owner is None
        assert decision.censored is Censored.NO
    if decision.status is Status.KEEP:
        assert decision.special == ()
        assert decision.cell == "T1 V1 C1"


# --- the company -------------------------------------------------------------------------------


def sighting(clock: str, species: str, where: Where = FED, **values: object) -> Sighting:
    """Give a sighting of two minutes that ends at the clock time."""
    last = at(clock)
    rank = (last, values.pop("subsec", 0.0), values.pop("file", f"{clock}.JPG"))
    return Sighting(species, where, "", 1, last - timedelta(minutes=2), last, rank)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("sightings", "seen", "owner"),
    [
        pytest.param([], Seen.NOBODY, None, id="nobody"),
        pytest.param([sighting("19:00", "g", NEAR)], Seen.NOBODY, None, id="only near"),
        pytest.param([sighting("19:00", "g")], Seen.ONE, "g", id="one fed"),
        pytest.param([sighting("19:00", "g", ON_TRAY)], Seen.ONE, "g", id="one on the tray"),
        pytest.param(
            [sighting("19:00", "g"), sighting("20:00", "g", ON_TRAY)],
            Seen.ONE,
            "g",
            id="the same twice",
        ),
        pytest.param(
            [sighting("20:00", "m"), sighting("19:00", "g")], Seen.SEVERAL, "m", id="the later owns"
        ),
        pytest.param(
            [sighting("19:00", "g"), sighting("20:00", "m", ON_TRAY)],
            Seen.SEVERAL,
            "g",
            id="the last that fed, not the last that came",
        ),
        pytest.param(
            [sighting("19:00", "g", ON_TRAY), sighting("20:00", "m", ON_TRAY)],
            Seen.SEVERAL,
            "m",
            id="nobody seen feeding: the last on the tray",
        ),
        pytest.param(
            [sighting("20:00", "g", file="A"), sighting("20:00", "m", file="B")],
            Seen.SEVERAL,
            "m",
            id="the same second, the later file",
        ),
        pytest.param(
            [sighting("20:00", "g", subsec=0.7, file="A"), sighting("20:00", "m", file="B")],
            Seen.SEVERAL,
            "g",
            id="the same second, the later fraction",
        ),
        pytest.param(
            [sighting("20:00", "g"), sighting("20:00", "m")],
            Seen.SEVERAL,
            None,
            id="both end on the same photo",
        ),
        pytest.param(
            [sighting("20:00", "g"), sighting("20:00", "m", ON_TRAY)],
            Seen.SEVERAL,
            "g",
            id="the same photo, only one of them fed",
        ),
        pytest.param([sighting("19:00", "unknown")], Seen.ONLY_UNKNOWN, None, id="unknown"),
        pytest.param(
            [sighting("19:00", "unknown"), sighting("20:00", "g")],
            Seen.SOME_UNKNOWN,
            "g",
            id="unknown first",
        ),
        pytest.param(
            [sighting("20:00", "unknown"), sighting("19:00", "g")],
            Seen.SOME_UNKNOWN,
            None,
            id="unknown fed last",
        ),
        pytest.param([sighting("19:00", "f", ON_TRAY)], Seen.NOBODY, None, id="a fox that looks"),
        pytest.param([sighting("19:00", "f")], Seen.ONE, "f", id="a fox that feeds"),
        pytest.param(
            [sighting("19:00", "g"), sighting("20:00", "f", ON_TRAY)],
            Seen.ONE,
            "g",
            id="a fox that looks is no second species",
        ),
        pytest.param([sighting("19:00", "p", ON_TRAY)], Seen.PERSONS, None, id="a person"),
        pytest.param(
            [sighting("19:00", "g"), sighting("20:00", "p", ON_TRAY)],
            Seen.ONE,
            "g",
            id="a person beside an animal",
        ),
    ],
)
def test_who_was_on_the_tray(sightings: list[Sighting], seen: Seen, owner: str | None) -> None:
    """Feeders are counted by kind, and the last that fed owns."""
    found = company(sightings, SPECIES)
    assert (found.seen, found.owner) == (seen, owner)
    assert company(sightings[::-1], SPECIES) == found


def test_what_the_company_remembers() -> None:
    """Times of feeding and of the last on the tray; feeders in the order of their last."""
    found = company(
        [
            sighting("19:00", "g"),
            sighting("20:00", "m"),
            sighting("21:00", "g", ON_TRAY),
            sighting("22:00", "p", ON_TRAY),
            sighting("23:00", "f", ON_TRAY),
            sighting("23:30", "m", NEAR),
        ],
        SPECIES,
    )
    assert found == Company(
        Seen.SEVERAL,
        owner="m",
        feeding_seen=True,
        came_after=True,
        last_fed_at=at("20:00"),
        last_on_tray=at("22:00"),
        bystanders=True,
        persons=True,
        feeders=("m", "g"),
        earlier=("g",),
    )


def test_a_later_animal_is_no_earlier_feeder() -> None:
    """Who first came after the last feeder had quit bounds nothing for it."""
    found = company([sighting("19:00", "g"), sighting("20:00", "m", ON_TRAY)], SPECIES)
    assert found.feeders == ("g", "m")
    assert found.earlier == ()


sightings_of_a_night = st.lists(
    st.builds(
        lambda minute, species, where: sighting(f"20:{minute:02}", species, where),
        st.integers(0, 9),
        st.sampled_from(["g", "m", "f", "p", "unknown"]),
        st.sampled_from(Where),
    ),
    max_size=6,
)


@given(sightings_of_a_night, st.randoms(use_true_random=False))
def test_what_every_company_keeps_to(some: list[Sighting], chance: Random) -> None:
    """Only an unknown or a tie hides the owner, who is the last feeder; order plays no part."""
    found = company(some, SPECIES)
    feeders = [one for one in some if one.where is FED and one.species != "p"]
    assert found.feeding_seen == bool(feeders)
    if feeders:
        last = max(one.last for one in feeders)
        there_last = {one.species for one in feeders if one.last == last}
        assert found.last_fed_at == last
        assert found.last_feeder_tied == (len(there_last) > 1)
        if len(there_last) == 1:
            (owner,) = there_last
            assert found.owner == (None if owner == "unknown" else owner)
    if found.seen in {Seen.ONE, Seen.SEVERAL}:
        assert (found.owner is None) == found.last_feeder_tied
    if found.owner is not None:
        assert found.owner in found.feeders
        assert set(found.earlier) <= set(found.feeders) - {found.owner}
    assert company(chance.sample(some, len(some)), SPECIES) == found


# --- other rules than the last feeder ------------------------------------------------------------


def stay(first: str, last: str, species: str, where: Where = FED) -> Sighting:
    """Give a stay on the only tray."""
    end = at(last)
    return Sighting(species, where, "", 1, at(first), end, (end, 0.0, f"{last}.JPG"))


LONG_MOUSE = [stay("19:00", "19:20", "m"), stay("21:00", "21:05", "g")]


@pytest.mark.parametrize(
    ("sightings", "owner"),
    [
        pytest.param(LONG_MOUSE, "m", id="twenty minutes against five"),
        pytest.param(
            [*LONG_MOUSE, stay("22:00", "22:16", "g")], "g", id="stays of one species add up"
        ),
        pytest.param([*LONG_MOUSE, stay("21:01", "21:05", "g")], "m", id="a minute counts once"),
        pytest.param([*LONG_MOUSE, stay("22:00", "23:30", "g", NEAR)], "m", id="near is not on it"),
        pytest.param(
            [*LONG_MOUSE, stay("22:00", "23:30", "unknown", ON_TRAY)],
            "m",
            id="only those seen feeding, where any was",
        ),
        pytest.param(
            [stay("19:00", "19:20", "m"), stay("20:00", "21:00", "unknown")],
            None,
            id="nobody can name the longest",
        ),
        pytest.param(
            [stay("19:00", "19:05", "m"), stay("21:00", "21:05", "g")],
            None,
            id="as long as another",
        ),
        pytest.param(LONG_MOUSE[1:], "g", id="one species"),
        pytest.param([], None, id="nobody"),
    ],
)
def test_the_longest_on_the_tray_owns_the_density(
    sightings: list[Sighting], owner: str | None
) -> None:
    """By the rule `time`; two that were there as long leave the owner unknown."""
    assert company(sightings, SPECIES, FeederRule.TIME).owner == owner


def test_what_another_rule_makes_of_several_species() -> None:
    """Last: a caution; single: dropped; time: a caution with a reason of its own."""
    found = {rule: decide(case(who=company(LONG_MOUSE, SPECIES, rule))) for rule in FeederRule}
    assert {rule: (one.status, one.reason, one.owner) for rule, one in found.items()} == {
        FeederRule.LAST: (Status.CAUTION, Reason.SEVERAL_LAST_FED, "g"),
        FeederRule.SINGLE: (Status.DROP, Reason.SEVERAL_FED, None),
        FeederRule.TIME: (Status.CAUTION, Reason.SEVERAL_MOST_TIME, "m"),
    }


@pytest.mark.parametrize("rule", FeederRule)
def test_one_species_is_the_same_by_every_rule(rule: FeederRule) -> None:
    """A tray of one species is kept, whichever rule a study has."""
    decision = decide(case(who=company(LONG_MOUSE[1:], SPECIES, rule)))
    assert (decision.status, decision.owner) == (Status.KEEP, "g")
