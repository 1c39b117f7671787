"""Which visits are settled first, and what becomes of a tray under each answer."""

from dataclasses import replace

import pytest
from builders import SETTINGS, SPECIES, Stay, at, camera, judge, record, stay, tray
from hypothesis import given
from hypothesis import strategies as st

from core.model import HANDLER, Condition, Status, TrayDeployment, Where
from core.settling import (
    Study,
    ToSettle,
    Weight,
    Why,
    outcome_if,
    possible_answers,
    ruled,
    to_settle,
)
from core.windows import Record

TWO = replace(SETTINGS, taggers_needed=2)
EVENING, MORNING = "19:00-19:02", "05:00-05:02"


def night(*stays: Stay) -> Record:
    """Give what a camera saw; people at set-up and pick-up are ruled to be handlers."""
    people = [stay(clock, HANDLER, ruling=True) for clock in ("17:35", "06:05")]
    return record(camera(), *people, *stays, alive=(), settings=TWO)


def study(*stays: Stay, trays: list[TrayDeployment] | None = None) -> tuple[Study, list[ToSettle]]:
    """Give a night at one tray, and what is to settle of it."""
    records = [night(*stays)]
    whole = Study(trays or [tray()], records, SPECIES, TWO)
    return whole, to_settle(whole, judge(whole.deployments, records, TWO))


def both(clock: str, species: str, other: str | None = None) -> list[Stay]:
    """Give a visit that two taggers read."""
    return [stay(clock, species, tagger="ann"), stay(clock, other or species, tagger="ben")]


def test_a_tray_that_waits_for_one_visit_says_what_each_answer_makes_of_it() -> None:
    """Two species are said: each would own the density; blank or unknown, and the tray is lost."""
    _, [one] = study(*both(EVENING, "g", "m"))
    assert (one.why, one.weight) == (Why.DISPUTED, Weight.DECIDES)
    [its] = one.trays
    found = [(u.outcome.status, u.outcome.forager) for u in its.under]
    assert found[:2] == [(Status.KEEP, "gerbil"), (Status.KEEP, "mouse")]
    assert {status for status, _ in found[2:]} == {Status.DROP}
    assert [u.answer.readers for u in its.under] == [("ann",), ("ben",), (), ()]


def test_what_would_be_is_what_comes_once_it_is_ruled() -> None:
    """The outcome under an answer is the outcome of the study in which it was ruled so."""
    _, [one] = study(*both(EVENING, "g", "m"))
    for under in one.trays[0].under:
        said = under.answer.said[0]
        ruling = stay(EVENING, said.species, said.where, tagger="Ike", ruling=True)
        records = [night(*both(EVENING, "g", "m"), ruling)]
        [after] = judge([tray()], records, TWO)
        assert (after.status, after.reason, after.forager, after.gud) == (
            under.outcome.status,
            under.outcome.reason,
            under.outcome.forager,
            under.outcome.gud,
        )


def test_a_visit_that_changes_nothing_for_its_tray_comes_after_one_that_does() -> None:
    """An untouched tray has no density whoever came; a spoilt one waits for nobody."""
    untouched = tray(food_left_g=tray().food_start_g)
    _, [same] = study(*both(EVENING, "g", "m"), trays=[untouched])
    assert same.weight is Weight.CLOSES
    assert {u.outcome.status for u in same.trays[0].under} == {Status.NO_GUD}
    _, [spoilt] = study(*both(EVENING, "g", "m"), trays=[tray(condition=Condition.KNOCKED)])
    assert spoilt.weight is Weight.NO_MATTER
    assert spoilt.trays[0].under == ()


def test_a_tray_that_waits_for_two_visits_comes_later() -> None:
    """Neither of two disputed visits decides alone."""
    _, found = study(*both(EVENING, "g", "m"), *both(MORNING, "g", "m"))
    assert [one.weight for one in found] == [Weight.ONE_OF_SEVERAL] * 2
    assert [tray.now.unanswered for one in found for tray in one.trays] == [2, 2]


def test_a_tray_that_waits_for_fewest_comes_first_with_its_visits_together() -> None:
    """Early waits for three visits, late for two: late's two come first, in time, then early's."""
    noon = at("23:00")
    early = tray("early", picked_up=noon)
    late = tray("late", set_out=noon)
    stays = [
        one
        for clock in ("19:00-19:02", "20:00-20:02", "21:00-21:02", "01:00-01:02", "05:00-05:02")
        for one in both(clock, "g", "m")
    ]
    _, found = study(*stays, trays=[early, late])
    assert [one.trays[0].now.deployment.deployment for one in found] == ["late"] * 2 + ["early"] * 3
    starts = [one.answered.visit.start for one in found]
    assert starts == [*sorted(starts[:2]), *sorted(starts[2:])]


def test_a_visit_in_no_window_comes_last() -> None:
    """What no tray waits for is settled when all else is."""
    late = tray(set_out=tray().picked_up, picked_up=None)
    _, [one] = study(*both(EVENING, "g", "m"), trays=[late])
    assert (one.weight, one.trays) == (Weight.NO_TRAY, ())


def test_why_a_visit_is_to_be_settled() -> None:
    """Taggers who differ, one who is not sure, and one reader only; what all agree on is not."""
    cases = {
        Why.DISPUTED: both(EVENING, "g", "m"),
        Why.UNSURE: [stay(EVENING, "g", tagger=who, sure=False) for who in ("ann", "ben")],
        Why.ONE_READER: [stay(EVENING, "g", tagger="ann")],
    }
    for why, stays in cases.items():
        _, [one] = study(*stays)
        assert one.why is why
    assert study(*both(EVENING, "g"))[1] == []
    assert study(stay(EVENING, ""))[1] == []


def test_the_same_said_by_two_is_one_answer() -> None:
    """Answers stand side by side once each, with who said so; where they were counts."""
    stays = [
        stay(EVENING, "g", tagger="ann"),
        stay(EVENING, "m", tagger="ben"),
        stay(EVENING, "g", tagger="cas"),
        stay(EVENING, "g", Where.NEAR, tagger="dee"),
    ]
    _, [one] = study(*stays)
    said = [(answer.readers, answer.said[0].species) for answer in one.answers]
    assert said == [
        (("ann", "cas"), "g"), (("ben",), "m"), (("dee",), "g"), ((), "blank"), ((), "unknown"),
    ]  # fmt: skip


answers = st.lists(
    st.tuples(st.sampled_from("gmf"), st.sampled_from(list(Where))), min_size=1, max_size=3
)


@given(answers, answers)
def test_a_ruling_always_settles_the_visit(
    first: list[tuple[str, Where]], second: list[tuple[str, Where]]
) -> None:
    """Whatever two readers said, ruling it as either did answers the visit."""
    stays = [
        stay(EVENING, species, where, tagger=who, also=True)
        for who, said in (("ann", first), ("ben", second))
        for species, where in dict(said).items()
    ]
    whole, _ = study(*stays)
    [answered] = whole.records[0].visits
    for one in possible_answers(answered):
        assert ruled(answered, one.said, whole).answer.held


def test_other_trays_are_windows_and_nothing_else() -> None:
    """What would become of a tray does not hang on which others are asked for."""
    stays = both(EVENING, "g", "m")
    before = tray("D0", set_out=tray().set_out.replace(day=1), picked_up=tray().set_out)  # type: ignore[union-attr]
    whole, [one] = study(*stays, trays=[before, tray()])
    alone, _ = study(*stays)
    instead = ruled(one.answered, one.answers[0].said, whole)
    [its] = [each for each in one.trays if each.now.deployment.deployment == "D1"]
    assert its.under[0].outcome == outcome_if(alone, tray(), instead)


@pytest.mark.parametrize("where", list(Where))
def test_a_ruling_keeps_where_it_was_said(where: Where) -> None:
    """An animal that was only near the tray does not come onto it by a ruling."""
    whole, [one] = study(stay(EVENING, "g", where, tagger="ann"))
    [sighting] = ruled(one.answered, one.answers[0].said, whole).answer.sightings
    assert sighting.where is where
