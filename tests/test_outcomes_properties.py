"""What holds of the outcomes of any study, however odd its logs and visits."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from random import Random
from typing import Any

from builders import REASONS_OF, SETTINGS, SPECIES, Stay, at, camera, judge, record, tray
from hypothesis import given, settings
from hypothesis import strategies as st

from core.exports.tables import ledger, outcome_row
from core.model import Censored, Condition, Outcome, Status, Tag, TrayDeployment, TrayRole, Where
from core.windows import Record

VALUED = {Status.KEEP, Status.CAUTION}


@dataclass(frozen=True)
class Study:
    """Logs and what the cameras saw."""

    deployments: list[TrayDeployment]
    records: list[Record]

    def outcomes(self) -> list[Outcome]:
        """Give its outcomes."""
        return judge(self.deployments, self.records)


GRAMS = [Decimal(mass) for mass in ["4.0"] * 12 + ["0", "0.1", "9.8", "10.0", "10.4"]]
MASSES = [*GRAMS, None]
WINDOWS = [
    (at("18:00"), at("06:00")),
    (at("18:00"), at("21:00")),
    (at("21:00"), at("06:00")),
    (at("06:00"), at("18:00", 1)),
    (at("18:00"), at("06:00")),
    (at("18:00"), at("06:00")),
    (at("20:00"), at("22:00")),
]
CONDITIONS = [*[Condition.OK] * 24, *Condition]
ROLES = [*[TrayRole.STUDY] * 20, *TrayRole]


def one_of(*values: object) -> st.SearchStrategy[Any]:
    """Give one of some values, all as likely; the first is the dullest."""
    return st.sampled_from(values)


@st.composite
def rows(draw: st.DrawFn) -> list[TrayDeployment]:
    """Give a tray log: windows alone, touching or overlapping, some cells blank."""
    made = []
    for number in range(draw(one_of(1, 2, 3, 4, 0))):
        start, end = draw(one_of(*WINDOWS))
        blank = draw(one_of(*[False] * 25, True))
        made.append(
            tray(
                f"D{number}",
                tray=draw(one_of(*[f"T{number + 1}"] * 5, "T1", "T2", "T9", "")),
                set_out=None if blank else start,
                picked_up=end,
                food_left_g=draw(one_of(*MASSES)),
                condition=draw(one_of(*CONDITIONS)),
                role=draw(one_of(*ROLES)),
                target=draw(one_of("", "gerbil")),
            )
        )
    return made


@st.composite
def stays(draw: st.DrawFn) -> Stay:
    """Give a run of up to ten minutes, with or without what somebody said of it."""
    edge = draw(one_of("19:00", "21:30", "00:00", "05:00", "21:00", "18:00", "06:00", "17:00"))
    first = at(edge) + timedelta(minutes=draw(st.integers(-6, 20)))
    last = first + timedelta(minutes=draw(one_of(2, 0, 1, 5, 10)))
    key = draw(one_of(*"gggggggmmf", "p", "unknown", "blank", "blank", "", "z"))
    if not key:
        return Stay(first, last, None)
    tag = Tag(
        0,
        "",
        0,
        0,
        tagger=draw(one_of("ann", "ann", "ann", "bob")),
        species=key,
        where=None if key == "blank" else draw(one_of(*[Where.FED] * 4, *Where)),
        sure=draw(one_of(*[True] * 9, False)),
        tray=draw(one_of("", "", "", "T1", "T2")),
        ruling=draw(one_of(*[False] * 6, True)),
    )
    return Stay(first, last, tag)


@st.composite
def cameras(draw: st.DrawFn, name: str, trays: tuple[str, ...]) -> Record:
    """Give one camera's record."""
    place = camera(
        name,
        trays=trays,
        start=draw(one_of(*[at("16:00")] * 5, at("20:30"))),
        end=draw(one_of(*[at("18:30", 1)] * 9, at("06:30"), at("23:00"), None)),
        working_at_pickup=draw(one_of(True, True, None, False)),
        timelapse_every_min=draw(one_of(None, None, None, None, 60)),
        quiet_s=draw(one_of(None, None, None, 300)),
    )
    alive = draw(one_of(("16:05", "06:25"), ("17:00",), ("20:35",), ()))
    return record(place, *draw(st.lists(stays(), min_size=1, max_size=4)), alive=alive)


@st.composite
def studies(draw: st.DrawFn) -> Study:
    """Give a small study."""
    views = draw(
        one_of(
            [("T1",), ("T2",), ("T3",)],
            [("T1",), ("T2",), ("T1", "T3")],
            [("T1",), ("T1",), ("T2",)],
            [("T1", "T2", "T3")],
            [],
        )
    )
    return Study(draw(rows()), [draw(cameras(f"P{at_}", trays)) for at_, trays in enumerate(views)])


def table(found: Sequence[Outcome]) -> list[tuple[object, ...]]:
    """Give what people see of the outcomes; notes in any order."""
    rows_ = [outcome_row(one, SETTINGS.timezone) for one in found]
    return [
        (row | {"notes": ""}, set(one.notes), one.cell, one.watched)
        for row, one in zip(rows_, found, strict=True)
    ]


@settings(max_examples=100)
@given(studies())
def test_every_study_deployment_has_one_outcome(study: Study) -> None:
    """None is left out or doubled, the log's order stays, and the statuses add up."""
    found = study.outcomes()
    asked = [one for one in study.deployments if one.role is TrayRole.STUDY]
    assert [one.deployment for one in found] == asked
    counted = Counter(one.status for one in found)
    assert sum(counted.values()) == len(asked)
    lines = ledger(found)
    assert sum(many for _, _, many in lines) == len(asked)
    assert {status: counted[status] for status, _, _ in lines} == dict(counted)


@settings(max_examples=100)
@given(studies())
def test_what_every_outcome_keeps_to(study: Study) -> None:
    """Density and owner only where they are held, counts and times that fit each other."""
    for one in study.outcomes():
        assert one.reason in REASONS_OF[one.status]
        assert (one.gud is not None) == (one.status in VALUED)
        assert bool(one.forager) == (one.status in VALUED)
        assert (one.visits > 0) == (one.status in VALUED)
        assert one.visits <= one.visits_all <= len(one.seen)
        assert one.unanswered <= len(one.seen)
        if one.status not in VALUED:
            assert one.censored is Censored.NO
        if one.censored is Censored.BELOW:
            assert one.gud == SETTINGS.scale_step
        if one.status is Status.KEEP:
            assert one.watched_share == 1
            assert one.censored is Censored.NO
            assert one.unanswered == 0
        if one.watched_share is not None:
            assert 0 <= one.watched_share <= 1


@settings(max_examples=100)
@given(studies())
def test_what_is_seen_lies_inside_the_window(study: Study) -> None:
    """Visits, sightings and watched stretches are cut to [set_out, picked_up)."""
    for one in study.outcomes():
        out, up = one.deployment.set_out, one.deployment.picked_up
        for visit in one.seen:
            assert out is not None
            assert up is not None
            assert out <= visit.start <= visit.end < up
            for sighting in visit.sightings:
                assert out <= sighting.first <= sighting.last < up
        for span in one.watched:
            assert out is not None
            assert up is not None
            assert out <= span.start <= span.end <= up
        if one.last_fed_at is not None:
            assert out is not None
            assert up is not None
            assert out <= one.last_fed_at < up


@settings(max_examples=100)
@given(studies(), st.randoms(use_true_random=False))
def test_order_does_not_matter(study: Study, chance: Random) -> None:
    """The order of cameras, of their visits, and of the tray log's rows changes no outcome."""
    shuffled = [
        replace(one, visits=tuple(chance.sample(one.visits, len(one.visits))))
        for one in chance.sample(study.records, len(study.records))
    ]
    assert table(judge(study.deployments, shuffled)) == table(study.outcomes())
    turned = judge(study.deployments[::-1], study.records)
    assert table(turned[::-1]) == table(study.outcomes())


@settings(max_examples=100)
@given(studies(), cameras("P9", ("T8",)))
def test_a_camera_elsewhere_changes_nothing(study: Study, other: Record) -> None:
    """A placement that names none of the trays is not looked at."""
    together = judge(study.deployments, [*study.records, other])
    assert table(together) == table(study.outcomes())


@settings(max_examples=100)
@given(studies())
def test_a_tray_changes_no_other_tray(study: Study) -> None:
    """What is written of the last study tray, but its window, changes no other's outcome."""
    if not study.deployments or study.deployments[-1].role is not TrayRole.STUDY:
        return
    *rest, last = study.deployments
    knocked = replace(last, condition=Condition.KNOCKED, food_left_g=None, target="mouse")
    changed = judge([*rest, knocked], study.records)
    assert table(changed)[:-1] == table(study.outcomes())[:-1]


@settings(max_examples=100)
@given(studies())
def test_owners_are_animals_of_the_list(study: Study) -> None:
    """Nobody owns a density but a species of the list that is no person."""
    animals = {one.name for key, one in SPECIES.items() if key != "p"}
    assert {one.forager for one in study.outcomes()} <= {"", *animals}
