"""How far the answer hangs on the settings: the same outcomes as the plain chain, and compared."""

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import product
from typing import Any

import pytest
from builders import SETTINGS, SPECIES, at, camera, result, tray
from grounds import study

from core import coverage, standing, views
from core.analysis.choice import Choice, proposed
from core.analysis.intervals import Undefined
from core.analysis.pairs import pair_up
from core.analysis.ranks import rank_test
from core.analysis.told import tell
from core.chain import Chain, PlacementGround, Study
from core.clockfaults import ClockCorrection, ClockFault
from core.model import ClockCheck, Outcome, Photo, Reason, Status, Tag, Where
from core.outcomes import outcomes
from core.sensitivity import Axis, Says, Setting, grid_of, says, sensitivity
from core.settings import FeederRule, Settings
from core.windows import Record

GAPS = tuple(timedelta(seconds=one) for one in (20, 120, 300))


def plainly(given: Study, settings: Settings, *, clocks: bool) -> list[Outcome]:
    """Give the outcomes by the whole chain, nothing shared: as the study itself does."""
    records = []
    for place in given.placements:
        base = place.base if clocks else place.uncorrected
        bare = standing.nothing(len(base.ordered))
        stands = standing.renewed(bare, place.tags, base.place, settings.taggers_needed)
        view = views.view_of(views.layout_of(base, stands, settings.taggers_needed, settings.gap))
        doubted = place.clock_doubted or (not clocks and bool(place.base.corrections))
        watched = coverage.without_accepted(view.watched, place.stretches)
        records.append(
            Record(view.placement, view.visits, tuple(watched), (), clock_doubted=doubted)
        )
    return outcomes(given.deployments, records, given.species, settings)


def bare(outcome: Outcome) -> Outcome:
    """Leave out what the chain leaves out: notes, and the tags behind the visits."""
    return replace(outcome, notes=(), seen=())


@pytest.mark.parametrize("seed", range(3))
def test_every_setting_gives_what_the_study_itself_would(seed: int) -> None:
    """Nothing that is shared between settings changes an outcome, in any of 72 settings."""
    given = study(2, 2, seed=seed, messy=True, checked=seed > 0)
    chain = Chain(given)
    asked = product(GAPS, (1, 2), (True, False), (None, Decimal("0.5")), FeederRule)
    for gap, needed, clocks, within, rule in asked:
        settings = replace(SETTINGS, gap=gap, taggers_needed=needed, tolerance=within, feeder=rule)
        expected = [bare(one) for one in plainly(given, settings, clocks=clocks)]
        found = [bare(one) for one in chain.outcomes(settings, clocks=clocks)]
        assert found == expected, (gap, needed, clocks, within, rule)


def test_the_messy_studies_hold_every_status() -> None:
    """What is compared above is no row of equal trays."""
    there = {
        one.status for seed in range(6)
        for one in Chain(study(2, 3, seed=seed, messy=True)).outcomes(SETTINGS)
    }  # fmt: skip
    assert there == set(Status)


# --- one tray at a time ---------------------------------------------------------------------------


def night(
    *stays: tuple[str, str, str, Where | None],
    corrected: bool = False,
    checked: timedelta | None = None,
    **values: Any,
) -> Study:
    """Give a study of one tray: stays are tagger, `19:00-19:03` (a photo a minute), species."""
    minutes: list[tuple[str, datetime, datetime, str, Where | None]] = []
    for who, clock, species, where in stays:
        opens, closes = map(at, clock.split("-"))
        minutes.append((who, opens, closes, species, where))
    moments = sorted(
        {
            first + timedelta(minutes=step)
            for _, first, last, _, _ in minutes
            for step in range(int((last - first) / timedelta(minutes=1)) + 1)
        }
        | {at("17:35"), at("06:05")}
    )
    behind = timedelta(hours=1) if corrected else checked or timedelta(0)
    photos = [
        Photo(id_, "P1", f"IMG_{id_:04}.JPG", (moment - behind).replace(tzinfo=None))
        for id_, moment in enumerate(moments, start=1)
    ]
    ids = dict(zip(moments, range(1, len(moments) + 1), strict=True))
    handled: list[tuple[str, datetime, datetime, str, Where | None]] = [
        (who, at(clock), at(clock), "handler", None)
        for who in ("ann", "ben")
        for clock in ("17:35", "06:05")
    ]
    tags = tuple(
        Tag(number, "P1", ids[first], ids[last], who, species, where=where)
        for number, (who, first, last, species, where) in enumerate([*handled, *minutes], start=1)
    )
    trays = [tray(**values)]
    made = (ClockCorrection("P1", ClockFault.ONE_HOUR, 3600, number=1),) if corrected else ()
    showed = None if checked is None else ClockCheck(
        "P1", (at("17:35") - checked).replace(tzinfo=None), at("17:35")
    )  # fmt: skip
    checks = [showed] if showed else []
    base, shown = (
        views.base_of("P1", camera(), known, photos, SETTINGS.timezone, SPECIES, trays, some)
        for known, some in ((checks, made), ((), ()))
    )
    place = PlacementGround(base, shown if corrected or checks else base, tags)
    return Study(trays, SPECIES, SETTINGS, [place])


FED = Where.FED
NOBODY_ELSE = Choice(SETTINGS.timezone, None, first="open", second="bush")


def changed(given: Study) -> dict[tuple[Axis, str], tuple[Status, str, Reason]]:
    """Give what one other choice on each axis makes of the only tray, where it changes."""
    found = sensitivity(given, grid_of(given.settings, corrected=given.corrected), NOBODY_ELSE)
    return {
        (step.axis, step.value): (one.other.status, one.other.forager, one.other.reason)
        for step in found.steps
        for one in step.trays
    }


def test_a_tray_that_no_choice_changes() -> None:
    """One species, agreed by two taggers, a clean mass: nothing to choose."""
    assert changed(night(("ann", "20:00-20:03", "g", FED), ("ben", "20:00-20:03", "g", FED))) == {}


def test_the_tolerance_alone() -> None:
    """0.3 g gone: eaten at a tolerance of 0.2 g (two scale steps), untouched from 0.5 g on."""
    stays = [(who, "20:00-20:03", "g", FED) for who in ("ann", "ben")]
    given = night(*stays, food_left_g=Decimal("9.7"))
    assert changed(given) == {
        (Axis.TOLERANCE, "0.5 g"): (Status.NO_GUD, "", Reason.VISITED_NOT_EATEN)
    }


def test_the_feeder_rule_alone() -> None:
    """The mouse was there for ten minutes, then the gerbil for three: last, nobody, longest."""
    given = night(
        *((who, "20:00-20:10", "m", FED) for who in ("ann", "ben")),
        *((who, "23:00-23:03", "g", FED) for who in ("ann", "ben")),
    )
    [own] = Chain(given).outcomes(SETTINGS)
    assert (own.status, own.forager) == (Status.CAUTION, "gerbil")
    assert changed(given) == {
        (Axis.FEEDER, "one species only"): (Status.DROP, "", Reason.SEVERAL_FED),
        (Axis.FEEDER, "longest owns it"): (Status.CAUTION, "mouse", Reason.SEVERAL_MOST_TIME),
    }


def test_the_taggers_alone() -> None:
    """One tagger is enough for the study; were two needed, the tray would wait."""
    assert changed(night(("ann", "20:00-20:03", "g", FED))) == {
        (Axis.TAGGERS, "2"): (Status.PENDING, "", Reason.MORE_TAGGERS)
    }


def test_the_gap_alone() -> None:
    """A photo that nobody tagged, four minutes after a visit: its own visit, or part of it."""
    given = night(*((who, "20:00-20:03", "g", FED) for who in ("ann", "ben")))
    assert changed(given) == {}
    untagged = night(
        *((who, "20:00-20:03", "g", FED) for who in ("ann", "ben")),
        ("cy", "05:59-05:59", "handler", None),
    )
    assert {axis for axis, _ in changed(untagged)} == {Axis.TAGGERS}


def test_the_clock_corrections_alone() -> None:
    """Without the hour that somebody added, the only visit lies before the tray was set out."""
    given = night(*((who, "18:30-18:33", "g", FED) for who in ("ann", "ben")), corrected=True)
    [own] = Chain(given).outcomes(SETTINGS)
    assert own.status is Status.KEEP
    assert changed(given) == {(Axis.CLOCKS, "left out"): (Status.DROP, "", Reason.EATER_NOT_SEEN)}


def test_the_clock_checks_alone() -> None:
    """Without the check of a clock an hour behind, the visit lies before the tray was set out."""
    stays = [(who, "18:30-18:33", "g", FED) for who in ("ann", "ben")]
    given = night(*stays, checked=timedelta(hours=1))
    assert given.corrected
    [own] = Chain(given).outcomes(SETTINGS)
    assert own.status is Status.KEEP
    assert changed(given) == {(Axis.CLOCKS, "left out"): (Status.DROP, "", Reason.EATER_NOT_SEEN)}


@pytest.mark.parametrize("behind", [timedelta(0), timedelta(seconds=7)])
def test_a_check_of_a_clock_that_is_right_changes_nothing_when_left_out(behind: timedelta) -> None:
    """Some seconds, or none: the axis is there, and no tray changes for a doubt nobody had."""
    stays = [(who, "20:00-20:03", "g", FED) for who in ("ann", "ben")]
    given = night(*stays, checked=behind)
    assert grid_of(SETTINGS, corrected=given.corrected).clocks == (True, False)
    assert changed(given) == {}


def test_counted_food_has_no_tolerance_to_try() -> None:
    """Grams touch no count: the axis goes where no tray was weighed, and stays where one was."""
    counted: dict[str, Any] = {"food_start_g": None, "food_left_g": None, "items_start": 100,
                               "items_left": 40}  # fmt: skip
    stays = [(who, "20:00-20:03", "g", FED) for who in ("ann", "ben")]
    assert night(*stays).weighed
    given = night(*stays, **counted)
    assert not given.weighed
    grid = grid_of(replace(SETTINGS, tolerance=Decimal("0.05")), corrected=False, weighed=False)
    assert grid.tolerances == (None,)
    assert grid.own.value(Axis.TOLERANCE) == "from controls"
    settings = replace(SETTINGS, tolerance=Decimal("0.05"))
    fixed = replace(given, settings=settings)
    found = sensitivity(fixed, grid, NOBODY_ELSE)
    assert [one.outcome for one in found.trays] == Chain(fixed).outcomes(settings)


def test_pairs_of_two_foragers_are_no_answer() -> None:
    """Whoever fed last: gerbil against mouse says nothing of either; of one of them it does."""
    trays = [
        result(f"{side}{at}", f"{left + at / 10:.1f}", side, site=f"S{at}",
               forager="mouse" if at == 0 and side == "open" else "gerbil")
        for at in range(8)
        for side, left in (("open", 5), ("bush", 3))
    ]  # fmt: skip
    of_gerbil = replace(NOBODY_ELSE, forager=SPECIES["g"])
    said = [
        says(rank_test(pair_up(tell(trays, choice, SPECIES), choice)))
        for choice in (NOBODY_ELSE, of_gerbil)
    ]
    assert said == [Says.MIXED, Says.FIRST]


# --- the answer ---------------------------------------------------------------------------------


def test_the_answer_over_the_whole_grid() -> None:
    """More is left in the open (as the study was made); with every tray waiting nobody can say."""
    given = study(6, 10)
    grid = grid_of(SETTINGS, corrected=given.corrected)
    own = Chain(given).outcomes(SETTINGS)
    choice = proposed(own, SETTINGS.timezone, SPECIES["g"])
    found = sensitivity(given, grid, replace(choice, first="open", second="bush"))
    assert len(found.found) == len(grid.settings()) == len(set(grid.settings()))
    assert found.own == found.at(grid.own)
    assert found.own.says is Says.FIRST
    assert {one.says for one in found.found} >= {Says.FIRST, Says.TOO_FEW}
    assert 0 < found.same < len(found.found)
    own_steps = [step for step in found.steps if step.is_own]
    assert {step.axis for step in own_steps} == {step.axis for step in found.steps}
    assert all(step.trays == () for step in own_steps)
    assert [one.outcome for one in found.trays] == own
    untouched = [one for one in found.trays if one.same == len(found.found)]
    assert all(one.axes == () for one in untouched)


def test_what_differences_say() -> None:
    """Undefined says too few; a p is held against 0.05 (common practice)."""
    assert says(Undefined("there are no pairs")) is Says.TOO_FEW


def test_the_grid_holds_the_study_itself() -> None:
    """A gap, tolerance and number of taggers of the study's own are in it, each once."""
    own = replace(SETTINGS, gap=timedelta(seconds=90), tolerance=Decimal("0.2"), taggers_needed=3)
    grid = grid_of(own, corrected=False)
    assert [one.total_seconds() for one in grid.gaps] == [30, 60, 90, 120, 300, 600]
    assert grid.tolerances == (Decimal("0.2"), Decimal("0.1"), Decimal("0.5"))
    assert grid.taggers == (1, 2, 3)
    assert grid.clocks == (True,)
    assert grid.own in grid.settings()
    assert isinstance(grid.own, Setting)
