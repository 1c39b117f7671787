"""What is held true of a visit after all tags and the instructor's ruling."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest
from builders import NOON, laid_out, photos_at, tag_of
from hypothesis import given
from hypothesis import strategies as st

from core.model import (
    BLANK,
    HANDLER,
    UNKNOWN,
    Answer,
    AnsweredVisit,
    Photo,
    PhotoKind,
    Placement,
    Reason,
    Sighting,
    Tag,
    VisitState,
    Where,
)
from core.tags import LONGER, PARTLY, SHORTER, in_force
from core.views import view_of
from core.visits import in_order

FED, ON_TRAY, NEAR = Where.FED, Where.ON_TRAY, Where.NEAR
FIVE = (0, 10, 20, 30, 40)
"""Seconds of five photos that are one visit."""


def said(
    first: int, last: int, species: str = "g", where: Where | None = FED, **values: object
) -> Tag:
    """Give a tag of ann's; nothing is fed by a blank or a handler."""
    place = None if species in {BLANK, HANDLER} else where
    return tag_of(first, last, species=species, where=place, **values)


def numbered(tags: Sequence[Tag]) -> list[Tag]:
    """Number tags in the order they were made."""
    return [replace(tag, number=number) for number, tag in enumerate(tags, start=1)]


def answered(
    photos: Sequence[Photo], tags: Sequence[Tag], *, needed: int = 1, gap_s: int = 120
) -> list[AnsweredVisit]:
    """Answer the visits of a card the way a study does."""
    layout = laid_out(photos, numbered(tags), needed=needed, gap=timedelta(seconds=gap_s))
    return list(view_of(layout).visits)


def of_five(*tags: Tag, needed: int = 1) -> Answer:
    """Answer one visit of the five photos 1 to 5."""
    (one,) = answered(photos_at(*FIVE), tags, needed=needed)
    return one.answer


def seen(answer: Answer) -> list[tuple[str, Where]]:
    """Give who was where."""
    return [(sighting.species, sighting.where) for sighting in answer.sightings]


def ann(*args: object, **values: object) -> Tag:
    """Give a tag of ann's."""
    return said(*args, tagger="ann", **values)  # type: ignore[arg-type]


def bob(*args: object, **values: object) -> Tag:
    """Give a tag of bob's."""
    return said(*args, tagger="bob", **values)  # type: ignore[arg-type]


def ruled(*args: object, **values: object) -> Tag:
    """Give a ruling by the instructor."""
    return said(*args, **({"tagger": "prof", "ruling": True} | values))  # type: ignore[arg-type]


# --- which tags are in force ---------------------------------------------------------------------


def test_a_later_tag_on_the_same_run_replaces_the_earlier() -> None:
    """A tagger who thinks again is heard once, with what they said last."""
    answer = of_five(ann(1, 5, "m"), ann(1, 5, "g"))
    assert answer.species == ("g",)
    assert [tag.species for tag in answer.tags] == ["g"]


def test_the_number_of_a_tag_tells_which_is_later() -> None:
    """Tags may come in any order; the order they were made in counts."""
    later, earlier = replace(ann(1, 5, "g"), number=2), replace(ann(1, 5, "m"), number=1)
    assert in_force([later, earlier]) == [later]


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(bob(1, 5, "m"), id="another tagger"),
        pytest.param(ann(1, 4, "m"), id="a shorter run"),
        pytest.param(ann(2, 5, "m"), id="a run that begins later"),
        pytest.param(replace(ann(1, 5, "m"), placement="P2"), id="another placement"),
        pytest.param(ruled(1, 5, "m", tagger="ann"), id="their own ruling"),
    ],
)
def test_only_the_same_run_by_the_same_tagger_is_replaced(other: Tag) -> None:
    """Every other tag stays in force beside it."""
    tags = numbered([ann(1, 5, "g"), other])
    assert in_force(tags) == tags


def test_the_same_two_photos_are_the_same_run_turned_round() -> None:
    """A corrected clock can turn a run round; tagged again, the earlier tag is replaced."""
    assert of_five(ann(5, 1, "m"), ann(1, 5, "g")).species == ("g",)


def test_also_adds_a_species_and_takes_none_away() -> None:
    """With `also` two species stand in one run; a later plain tag replaces both."""
    both = (ann(1, 5, "g"), ann(1, 5, "m", also=True))
    assert set(of_five(*both).species) == {"g", "m"}
    assert of_five(*both, ann(1, 5, "f")).species == ("f",)


def test_also_with_the_same_species_corrects_it() -> None:
    """Saying `also` of a species that was named already replaces only what was said of that one."""
    answer = of_five(
        ann(1, 5, "g", FED), ann(1, 5, "m", NEAR, also=True), ann(1, 5, "g", NEAR, also=True)
    )
    assert sorted(seen(answer)) == [("g", NEAR), ("m", NEAR)]


def test_an_undone_tag_says_nothing_and_brings_back_what_it_replaced() -> None:
    """Undo takes one tag back; the tagger's earlier tag on the run is in force again."""
    assert of_five(ann(1, 5, "m"), ann(1, 5, "g", taken_back=True)).species == ("m",)
    only = of_five(ann(1, 5, taken_back=True))
    assert (only.state, only.waits_for) == (VisitState.UNTAGGED, Reason.UNTAGGED)
    assert (only.taggers, only.tags) == ((), ())


def test_undoing_the_first_leaves_the_also() -> None:
    """An `also` stands by itself when the tag that it was added to is undone."""
    assert of_five(ann(1, 5, "g", taken_back=True), ann(1, 5, "m", also=True)).species == ("m",)


def test_a_later_ruling_replaces_an_earlier_one_whoever_ruled() -> None:
    """There is one ruling on a run: the last."""
    answer = of_five(ruled(1, 5, "m"), ruled(1, 5, "g", tagger="dean"))
    assert (answer.species, answer.state) == (("g",), VisitState.RULED)


# --- one tagger, several taggers, a ruling -------------------------------------------------------


def test_an_untagged_visit_waits() -> None:
    """Nobody has looked: untagged is no answer, and not blank either."""
    answer = of_five()
    assert (answer.state, answer.waits_for) == (VisitState.UNTAGGED, Reason.UNTAGGED)
    assert not answer.held
    assert (answer.species, answer.remarks) == ((), ())


@pytest.mark.parametrize(
    ("tags", "needed", "state", "waits_for"),
    [
        pytest.param([ann(1, 5)], 1, VisitState.SINGLE, None, id="one of one"),
        pytest.param([ann(1, 5)], 2, VisitState.SINGLE, Reason.MORE_TAGGERS, id="one of two"),
        pytest.param([ann(1, 5), bob(1, 5)], 2, VisitState.AGREED, None, id="two of two"),
        pytest.param([ann(1, 5), bob(1, 5)], 1, VisitState.AGREED, None, id="two of one"),
        pytest.param(
            [ann(1, 5), bob(1, 5)], 3, VisitState.AGREED, Reason.MORE_TAGGERS, id="two of three"
        ),
        pytest.param(
            [ann(1, 5), ann(1, 5)], 2, VisitState.SINGLE, Reason.MORE_TAGGERS, id="one, twice"
        ),
        pytest.param(
            [ann(1, 5), ann(1, 4)], 2, VisitState.SINGLE, Reason.MORE_TAGGERS, id="one, two runs"
        ),
        pytest.param(
            [ann(1, 5), bob(1, 5, sure=False)],
            2,
            VisitState.AGREED,
            Reason.MORE_TAGGERS,
            id="an unsure one does not count",
        ),
        pytest.param([ruled(1, 5)], 3, VisitState.RULED, None, id="a ruling is enough"),
    ],
)
def test_how_many_taggers_have_to_agree(
    tags: list[Tag], needed: int, state: VisitState, waits_for: Reason | None
) -> None:
    """An answer is held when the needed taggers, each sure and of the whole visit, agree."""
    answer = of_five(*tags, needed=needed)
    assert (answer.state, answer.waits_for) == (state, waits_for)
    assert answer.held is (waits_for is None)
    assert answer.species == (("g",) if waits_for is None else ())


@pytest.mark.parametrize(
    "tags", [[ann(1, 5, sure=False)], [ann(1, 5, sure=False), bob(1, 5, sure=False)]]
)
def test_only_unsure_tags_wait_for_a_ruling(tags: list[Tag]) -> None:
    """Unsure tags confirm nothing, however many; a ruling does, and may be unknown."""
    assert of_five(*tags).waits_for is Reason.UNSURE
    answer = of_five(*tags, ruled(1, 5, UNKNOWN))
    assert answer.held
    assert answer.species == (UNKNOWN,)
    assert all(sighting.species == UNKNOWN for sighting in answer.sightings)


DISPUTES = [
    pytest.param(ann(1, 5, "g"), bob(1, 5, "m"), id="species"),
    pytest.param(ann(1, 5, "g", NEAR), bob(1, 5, "g", ON_TRAY), id="near against on the tray"),
    pytest.param(ann(1, 5, "g", NEAR), bob(1, 5, "g", FED), id="near against fed"),
    pytest.param(ann(1, 5, BLANK), bob(1, 5, "g"), id="blank against an animal"),
    pytest.param(ann(1, 5, BLANK), bob(1, 5, "g", NEAR), id="blank against an animal near it"),
    pytest.param(ann(1, 5, UNKNOWN), bob(1, 5, "g"), id="unknown against a species"),
    pytest.param(ann(1, 5, HANDLER), bob(1, 5, "g"), id="our staff against an animal"),
    pytest.param(ann(1, 5, HANDLER), bob(1, 5, BLANK), id="our staff against nothing"),
    pytest.param(ann(1, 5, tray="T1"), bob(1, 5, tray="T2"), id="trays"),
    pytest.param(ann(1, 5, "g"), bob(1, 5, "m", sure=False), id="an unsure tagger differs too"),
    pytest.param(ann(1, 5, "g"), bob(1, 2, "m"), id="an unfinished tagger names another species"),
]


@pytest.mark.parametrize(("one", "other"), DISPUTES)
def test_taggers_who_differ_are_disputed_until_somebody_rules(one: Tag, other: Tag) -> None:
    """A dispute has no answer, whoever came first, until the instructor rules."""
    for tags in ((one, other), (other, one)):
        answer = of_five(*tags)
        assert (answer.state, answer.waits_for) == (VisitState.DISPUTED, Reason.DISPUTED)
        assert (answer.species, answer.sightings) == ((), ())
        settled = of_five(*tags, ruled(1, 5, "f", ON_TRAY))
        assert (settled.state, settled.waits_for) == (VisitState.RULED, None)
        assert seen(settled) == [("f", ON_TRAY)]


def test_a_ruling_comes_first_and_holds_against_later_tags() -> None:
    """Tags made after the ruling change nothing, however many agree."""
    answer = of_five(ruled(1, 5, "f"), ann(1, 5, "g"), bob(1, 5, "g"), needed=2)
    assert (answer.state, answer.species) == (VisitState.RULED, ("f",))


def test_a_majority_is_no_agreement() -> None:
    """One of three who differs is enough for a dispute."""
    eve = said(1, 5, "m", tagger="eve")
    assert of_five(ann(1, 5), bob(1, 5), eve, needed=2).waits_for is Reason.DISPUTED


@pytest.mark.parametrize(
    ("one", "other", "held"),
    [
        pytest.param(ann(1, 5, "g", FED), bob(1, 5, "g", ON_TRAY), ON_TRAY, id="fed, on it"),
        pytest.param(ann(1, 5, "g", ON_TRAY), bob(1, 5, "g", FED), ON_TRAY, id="on it, fed"),
        pytest.param(ann(1, 5, "g", FED), bob(1, 5, "g", FED), FED, id="both fed"),
        pytest.param(ann(1, 5, "g", NEAR), bob(1, 5, "g", NEAR), NEAR, id="both near"),
    ],
)
def test_fed_against_on_the_tray_is_held_as_on_the_tray(one: Tag, other: Tag, held: Where) -> None:
    """What both saw is held; feeding has to be seen by everyone who named the species."""
    assert seen(of_five(one, other, needed=2)) == [("g", held)]


def test_a_tray_that_only_one_of_them_named_is_held() -> None:
    """Who names no tray does not contradict who does."""
    (sighting,) = of_five(ann(1, 5, tray="T2"), bob(1, 5), needed=2).sightings
    assert sighting.tray == "T2"


def test_two_species_on_each_others_tray_are_disputed() -> None:
    """The trays belong to the species: the same two trays the other way round are a difference."""
    anns = [ann(1, 5, "g", tray="T1"), ann(1, 5, "m", tray="T2", also=True)]
    bobs = [bob(1, 5, "g", tray="T2"), bob(1, 5, "m", tray="T1", also=True)]
    assert of_five(*anns, *bobs, needed=2).waits_for is Reason.DISPUTED
    same = [replace(tag, tagger="bob") for tag in anns]
    answer = of_five(*anns, *same, needed=2)
    assert {(one.species, one.tray) for one in answer.sightings} == {("g", "T1"), ("m", "T2")}


def test_taggers_who_cut_the_same_visit_differently_agree_on_its_species() -> None:
    """The answer is the visit's: both saw both, ann changed over one photo earlier."""
    anns, bobs = [ann(1, 3, "g"), ann(4, 5, "m")], [bob(1, 2, "g"), bob(3, 5, "m")]
    answer = of_five(*anns, *bobs, needed=2)
    assert (answer.state, answer.species) == (VisitState.AGREED, ("g", "m"))


def test_people_who_tagged_are_named_once_each() -> None:
    """An answer says who tagged, the ruling's author too."""
    answer = of_five(ann(1, 2, "g"), bob(1, 5, "g"), ann(3, 5, "g"), ruled(1, 5, "g"))
    assert sorted(answer.taggers) == ["ann", "bob", "prof"]


# --- what an answer holds ------------------------------------------------------------------------


def test_two_species_in_one_visit_stand_in_the_order_they_left() -> None:
    """Each sighting has its own run; the species whose tag ends later stands last."""
    answer = of_five(ann(3, 5, "m", ON_TRAY, count=2), ann(1, 4, "g", FED, count=1))
    assert answer.species == ("g", "m")
    gerbil, mouse = answer.sightings
    assert (gerbil.first, gerbil.last) == (NOON, NOON + timedelta(seconds=30))
    assert (mouse.first, mouse.last) == (NOON + timedelta(seconds=20), NOON + timedelta(seconds=40))
    assert (gerbil.where, gerbil.count, mouse.where, mouse.count) == (FED, 1, ON_TRAY, 2)
    assert gerbil.last_rank < mouse.last_rank


def test_two_species_that_end_on_one_photo_have_equal_ends() -> None:
    """Nothing makes up which of them left last."""
    gerbil, mouse = of_five(ann(1, 5, "g"), ann(2, 5, "m")).sightings
    assert gerbil.last_rank == mouse.last_rank


def test_two_photos_in_one_second_still_have_an_order() -> None:
    """Whole-second stamps: the file name tells which photo came later."""
    (one,) = answered(photos_at(0, 0), [ann(2, 2, "m"), ann(1, 1, "g")])
    assert one.answer.species == ("g", "m")


def test_a_species_that_fed_and_then_only_sat_there_is_told_apart() -> None:
    """Feeding ends where it was seen to end; the rest of the stay is on the tray."""
    answer = of_five(ann(1, 3, "g", FED), ann(4, 5, "g", ON_TRAY))
    assert [(s.where, s.last) for s in answer.sightings] == [
        (FED, NOON + timedelta(seconds=20)),
        (ON_TRAY, NOON + timedelta(seconds=40)),
    ]
    assert answer.species == ("g",)


def test_a_ruling_on_a_part_does_not_unsay_what_was_seen_in_the_rest() -> None:
    """Ruled on the tray at first, seen feeding after it: both are held, each for its photos."""
    answer = of_five(ruled(1, 3, "g", ON_TRAY), ann(1, 5, "g", FED))
    assert [(s.where, s.first, s.last) for s in answer.sightings] == [
        (ON_TRAY, NOON, NOON + timedelta(seconds=20)),
        (FED, NOON + timedelta(seconds=30), NOON + timedelta(seconds=40)),
    ]


def test_a_stay_tagged_in_pieces_is_one_sighting_with_the_most_seen_at_once() -> None:
    """From its first to its last photo, with the larger of the two counts."""
    (sighting,) = of_five(ann(3, 5, count=1), ann(1, 2, count=2)).sightings
    assert (sighting.first, sighting.last) == (NOON, NOON + timedelta(seconds=40))
    assert sighting.count == 2


def test_an_animal_that_changes_trays_is_seen_on_each_in_its_own_time() -> None:
    """Each tray has its own sighting, from its own photos."""
    answer = of_five(ann(1, 2, tray="T2"), ann(3, 5, tray="T1"))
    assert [(s.tray, s.first, s.last) for s in answer.sightings] == [
        ("T2", NOON, NOON + timedelta(seconds=10)),
        ("T1", NOON + timedelta(seconds=20), NOON + timedelta(seconds=40)),
    ]


def test_on_the_tray_and_then_near_it_is_no_dispute_with_on_the_tray() -> None:
    """The visit is on the tray for both; one of them also saw the animal leave."""
    answer = of_five(ann(1, 2, "g", ON_TRAY), ann(3, 5, "g", NEAR), bob(1, 5, "g", ON_TRAY))
    assert (answer.held, seen(answer)) == (True, [("g", ON_TRAY)])


def test_blank_is_an_answer() -> None:
    """Looked at and nothing there: held, without a sighting."""
    answer = of_five(ann(1, 5, BLANK), bob(1, 5, BLANK), needed=2)
    assert (answer.held, answer.species, answer.sightings) == (True, (BLANK,), ())


def test_blank_photos_around_an_animal_are_the_animals_visit() -> None:
    """Whoever tags the empty photos apart says the same as who tags the run as one."""
    answer = of_five(ann(1, 2, BLANK), ann(3, 5, "g"), bob(1, 5, "g"), needed=2)
    assert (answer.state, answer.species) == (VisitState.AGREED, ("g",))


def test_a_species_that_left_the_list_holds_the_visit_back() -> None:
    """Nobody can say what role it has; the other answers of a tag need no list."""
    assert of_five(ann(1, 5, "z")).waits_for is Reason.SPECIES_UNLISTED
    assert of_five(ruled(1, 5, "z")).waits_for is Reason.SPECIES_UNLISTED
    assert of_five(ann(1, 5, "z"), bob(1, 5, "g")).waits_for is Reason.DISPUTED
    overruled = of_five(ann(1, 5, "z"), ruled(1, 5, "g"))
    assert (overruled.held, overruled.species) == (True, ("g",))


# --- runs and visits that do not match -----------------------------------------------------------


def test_a_visit_with_photos_that_nobody_tagged_is_not_finished() -> None:
    """One frame at the end can hold another feeder, so the visit waits, and says so."""
    answer = of_five(ann(1, 4))
    assert answer.waits_for is Reason.UNTAGGED
    assert answer.remarks == (SHORTER, PARTLY)
    assert of_five(ann(1, 4), ann(5, 5, BLANK)).held


def test_a_hole_in_the_middle_is_not_finished_either() -> None:
    """Both ends tagged are not the whole."""
    assert of_five(ann(1, 2), ann(4, 5)).waits_for is Reason.UNTAGGED


def test_a_ruling_holds_for_the_photos_it_covers() -> None:
    """The others go by their taggers, and wait for them."""
    half = of_five(ruled(1, 3, "m"))
    assert half.waits_for is Reason.UNTAGGED
    whole = of_five(ruled(1, 3, "m"), ann(1, 5, "g"))
    assert (whole.state, whole.held) == (VisitState.RULED, True)
    assert whole.species == ("m", "g")
    assert half.remarks == (SHORTER, PARTLY)
    rest = of_five(ruled(1, 3, "m"), ann(1, 5, "g"), bob(1, 5, "f"))
    assert rest.waits_for is Reason.DISPUTED


def test_a_run_longer_than_the_visit_says_so_on_each() -> None:
    """A shorter gap parts a tagged run: both visits keep the tag, cut to themselves."""
    first, second = answered(photos_at(0, 10, 300, 310), [ann(1, 4)])
    for one, start in ((first, 0), (second, 300)):
        assert one.answer.held
        assert one.answer.remarks == (LONGER,)
        (sighting,) = one.answer.sightings
        assert sighting.first == NOON + timedelta(seconds=start)
        assert sighting.last == NOON + timedelta(seconds=start + 10)


def test_a_run_that_is_the_visit_says_nothing() -> None:
    """Nothing to say where run and visit are the same."""
    assert of_five(ann(1, 5), bob(1, 5)).remarks == ()


def test_one_tagger_who_stopped_early_is_said() -> None:
    """The visit is answered by the other, and the answer says that somebody tagged less."""
    answer = of_five(ann(1, 3), bob(1, 5))
    assert (answer.held, answer.remarks) == (True, (SHORTER,))


def test_a_longer_run_over_part_of_another_visit_leaves_that_one_unfinished() -> None:
    """A run that ends in the middle of the next visit reaches only so far."""
    first, second = answered(photos_at(0, 10, 300, 310), [ann(1, 3)])
    assert first.answer.held
    assert second.answer.waits_for is Reason.UNTAGGED
    assert second.answer.remarks == (LONGER, SHORTER, PARTLY)


TWO_VISITS = (0, 10, 300, 310, 320)


@pytest.mark.parametrize(
    ("unfinished", "finished"),
    [
        pytest.param([ann(1, 2, BLANK)], [bob(1, 2, BLANK), bob(3, 5, "g")], id="blank"),
        pytest.param([ann(1, 2, "g", NEAR)], [bob(1, 2, "g", NEAR), bob(3, 5, "g")], id="near"),
        pytest.param([ann(1, 2, "g", ON_TRAY)], [bob(1, 2, "g", ON_TRAY), bob(3, 5)], id="on it"),
        pytest.param(
            [ann(1, 2, tray="T1")], [bob(1, 2, tray="T1"), bob(3, 5, tray="T2")], id="tray"
        ),
    ],
)
def test_two_visits_that_nobody_disputes_are_not_disputed_as_one(
    unfinished: list[Tag], finished: list[Tag]
) -> None:
    """A tagger who has done only the first says nothing of the second, nor of its feeding."""
    photos = photos_at(*TWO_VISITS)
    assert all(one.answer.held for one in answered(photos, [*unfinished, *finished]))
    (joined,) = answered(photos, [*unfinished, *finished], gap_s=600)
    assert joined.answer.state is VisitState.SINGLE
    assert joined.answer.held
    assert ("g", FED) in seen(joined.answer)


@pytest.mark.parametrize(
    "finished",
    [
        pytest.param([bob(1, 2, UNKNOWN), bob(3, 5, "g")], id="another species at the time"),
        pytest.param([bob(1, 2, "g", ON_TRAY), bob(3, 5, "g", NEAR)], id="near at the time"),
    ],
)
def test_a_dispute_stays_one_when_visits_are_joined(finished: list[Tag]) -> None:
    """An unfinished tagger differs from what the other said of the same photos."""
    photos = photos_at(*TWO_VISITS)
    tags = [ann(1, 2, "g", NEAR), *finished]
    assert answered(photos, tags)[0].answer.waits_for is Reason.DISPUTED
    (joined,) = answered(photos, tags, gap_s=600)
    assert joined.answer.waits_for is Reason.DISPUTED


def test_an_unfinished_tagger_who_saw_no_feeding_in_the_same_photos_counts() -> None:
    """Fed against on the tray is on the tray, also where one of them tagged a part only."""
    assert seen(of_five(ann(2, 4, "g", ON_TRAY), bob(1, 5, "g", FED))) == [("g", ON_TRAY)]


def test_a_run_turned_round_by_a_corrected_clock_is_the_same_run() -> None:
    """Its earlier photo is its first."""
    assert of_five(ann(5, 1)).held
    (run,) = laid_out(photos_at(*FIVE), [ann(5, 1)]).standing.runs
    assert (run.first, run.last) == (0, 4)


def test_tags_on_photos_without_a_time_are_left_out() -> None:
    """They are kept, and reach a visit by the end that has a time."""
    photos = [*photos_at(0, 10), Photo(3, "P1", "X.JPG")]
    assert laid_out(photos, [ann(3, 3)]).standing.runs.tolist() == []
    (one,) = answered(photos, [ann(3, 3), ann(1, 2)])
    assert one.answer.held
    assert [tag.last_photo for tag in one.answer.tags] == [2]
    (half,) = answered(photos, [ann(2, 3)])
    assert half.answer.waits_for is Reason.UNTAGGED
    assert half.answer.remarks == (LONGER, SHORTER, PARTLY)


def test_which_photos_are_tagged() -> None:
    """Each tag lies over its run, ends included."""
    layout = laid_out(photos_at(*FIVE), numbered([ann(2, 3), bob(3, 4)]))
    assert layout.standing.over.tolist() == [0, 1, 2, 1, 0]
    assert laid_out(photos_at(0, 1), []).standing.over.tolist() == [0, 0]
    assert laid_out([], []).standing.over.tolist() == []


# --- our own staff -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tags", "needed", "held"),
    [
        pytest.param([ann(1, 5, HANDLER)], 1, True, id="one of one"),
        pytest.param([ann(1, 5, HANDLER)], 2, False, id="one of two"),
        pytest.param([ann(1, 5, HANDLER), bob(1, 5, HANDLER)], 2, True, id="two of two"),
        pytest.param([ann(1, 5, HANDLER)] * 2, 2, False, id="one, twice"),
        pytest.param([ann(1, 5, HANDLER, sure=False)], 1, False, id="unsure"),
        pytest.param(
            [ann(1, 5, HANDLER), bob(1, 5, HANDLER, sure=False)], 2, False, id="one of two unsure"
        ),
        pytest.param([ann(1, 5, HANDLER), bob(1, 5, "g")], 1, False, id="disputed"),
        pytest.param([ruled(1, 5, HANDLER), bob(1, 5, "g")], 2, True, id="ruled so"),
        pytest.param(
            [ann(1, 5, HANDLER), bob(1, 5, HANDLER), ruled(1, 5, "g")], 2, False, id="ruled not so"
        ),
        pytest.param([ann(1, 5, "g")], 1, False, id="an animal"),
        pytest.param([], 1, False, id="untagged"),
    ],
)
def test_handler_is_held_as_every_other_answer(tags: list[Tag], needed: int, held: bool) -> None:
    """Photos of our staff leave the visits only when the needed taggers agree, or by ruling."""
    layout = laid_out(photos_at(*FIVE), numbered(tags), needed=needed)
    assert layout.standing.handler.tolist() == [held] * 5
    visits = answered(photos_at(*FIVE), tags, needed=needed)
    assert (visits == []) is held


def test_handler_photos_leave_the_visit_and_the_rest_stays() -> None:
    """The picked-up tray in the last two photos does not make the gerbil's visit longer."""
    (one,) = answered(photos_at(*FIVE), [ann(1, 3, "g"), ann(4, 5, HANDLER)])
    assert [photo.id for photo in one.visit.photos] == [1, 2, 3]
    assert all(photo.kind is PhotoKind.TRIGGER for photo in one.visit.photos)
    assert (one.answer.held, one.answer.species) == (True, ("g",))


def test_a_handler_in_the_middle_leaves_a_visit_that_can_be_answered() -> None:
    """The visit goes on around the photos of our staff, and needs no tag on them."""
    (one,) = answered(photos_at(*FIVE), [ann(1, 2, "g"), ann(3, 3, HANDLER), ann(4, 5, "g")])
    assert [photo.id for photo in one.visit.photos] == [1, 2, 4, 5]
    assert (one.answer.held, one.answer.species) == (True, ("g",))


def test_our_staff_beside_an_animal_is_the_animals_visit() -> None:
    """Both in one run: the photos stay in the visit, and staff are no sighting of it."""
    answer = of_five(ann(1, 5, HANDLER), ann(1, 5, "g", also=True))
    assert (answer.held, answer.species, seen(answer)) == (True, ("g",), [("g", FED)])


def test_a_handler_that_is_not_held_keeps_its_visit_waiting() -> None:
    """One of two needed taggers said handler: still a visit, and it waits for the other."""
    assert of_five(ann(1, 5, HANDLER), needed=2).waits_for is Reason.MORE_TAGGERS


# --- what holds for all tags ---------------------------------------------------------------------

SECONDS = st.lists(st.integers(0, 2000), min_size=1, max_size=12)


@st.composite
def tagged_cards(draw: st.DrawFn, *, rulings: bool = True) -> tuple[list[Photo], list[Tag]]:
    """Give a card and tags of three people on any runs of it."""
    photos = photos_at(*draw(SECONDS))
    ids = st.integers(1, len(photos))
    tags = []
    for _ in range(draw(st.integers(0, 8))):
        tag = said(
            draw(ids),
            draw(ids),
            draw(st.sampled_from(["g", "m", "z", BLANK, UNKNOWN, HANDLER])),
            draw(st.sampled_from([FED, ON_TRAY, NEAR])),
            tagger=draw(st.sampled_from(["ann", "bob", "eve"])),
            sure=draw(st.sampled_from([True, True, False])),
            tray=draw(st.sampled_from(["", "", "T1", "T2"])),
            also=draw(st.booleans()),
            taken_back=draw(st.sampled_from([False, False, False, True])),
            ruling=rulings and draw(st.sampled_from([False, False, False, True])),
        )
        tags.append(tag)
    return photos, numbered(tags)


def covered(tag: Tag, photos: Sequence[Photo]) -> set[int]:
    """Walk from the first to the last photo of a tag's run, in the order of the card."""
    ids = [photo.id for photo in in_order(photos)]
    one, other = ids.index(tag.first_photo), ids.index(tag.last_photo)
    return set(ids[min(one, other) : max(one, other) + 1])


@given(tagged_cards(), st.integers(1, 700), st.integers(1, 3))
def test_any_gap_keeps_every_tag(
    card: tuple[list[Photo], list[Tag]], gap_s: int, needed: int
) -> None:
    """Each tag in force reaches every visit that holds a photo of its run, and no other visit."""
    photos, tags = card
    kept = in_force(tags)
    for one in answered(photos, tags, needed=needed, gap_s=gap_s):
        ids = {photo.id for photo in one.visit.photos}
        reaching = {tag.number for tag in kept if covered(tag, photos) & ids}
        assert {tag.number for tag in one.answer.tags} == reaching
        assert set(one.answer.taggers) == {tag.tagger for tag in kept if tag.number in reaching}


@given(tagged_cards(), st.integers(1, 700), st.integers(1, 3))
def test_an_answer_that_is_held_is_whole(
    card: tuple[list[Photo], list[Tag]], gap_s: int, needed: int
) -> None:
    """A held answer names something, lies inside its visit, and every photo of it was tagged."""
    photos, tags = card
    kept = in_force(tags)
    for one in answered(photos, tags, needed=needed, gap_s=gap_s):
        answer = one.answer
        assert bool(answer.species) is answer.held
        assert {s.species for s in answer.sightings} == set(answer.species) - {BLANK}
        if not answer.held:
            continue
        assert all(
            any(photo.id in covered(tag, photos) for tag in kept) for photo in one.visit.photos
        )
        assert all(
            one.visit.start <= sighting.first <= sighting.last <= one.visit.end
            for sighting in answer.sightings
        )
        assert all(seen_by_people(sighting, kept) for sighting in answer.sightings)


def seen_by_people(sighting: Sighting, tags: Sequence[Tag]) -> bool:
    """Say whether some tag in force says what a sighting says; fed may be held as on the tray."""
    wheres = {FED: {FED}, ON_TRAY: {FED, ON_TRAY}, NEAR: {NEAR}}[sighting.where]
    return any(
        tag.species == sighting.species and tag.where in wheres and sighting.tray in {tag.tray, ""}
        for tag in tags
    )


@given(tagged_cards(rulings=False), st.permutations(["ann", "bob", "eve"]), st.integers(1, 3))
def test_who_tagged_first_does_not_change_the_answer(
    card: tuple[list[Photo], list[Tag]], people: list[str], needed: int
) -> None:
    """Each tagger's own tags keep their order; whose came before whose does not matter."""
    photos, tags = card
    turned = sorted(tags, key=lambda tag: people.index(tag.tagger))
    first, second = (answered(photos, one, needed=needed) for one in (tags, turned))
    assert [told(one.answer) for one in first] == [told(one.answer) for one in second]


def told(answer: Answer) -> tuple[object, ...]:
    """Give what an answer says, without the order in which people came."""
    people = frozenset(answer.taggers)
    return (
        answer.state,
        answer.waits_for,
        answer.species,
        answer.sightings,
        answer.remarks,
        people,
    )


@given(tagged_cards(), st.sampled_from(["g", "m", UNKNOWN, BLANK]), st.integers(1, 3))
def test_a_ruling_on_the_whole_card_settles_every_visit(
    card: tuple[list[Photo], list[Tag]], species: str, needed: int
) -> None:
    """Whatever people said before, the ruling is held and nothing else."""
    photos, tags = card
    ends = [in_order(photos)[at].id for at in (0, -1)]
    earlier = [tag for tag in tags if not tag.ruling]
    for one in answered(photos, [*earlier, ruled(*ends, species)], needed=needed):
        assert one.answer.state is VisitState.RULED
        assert one.answer.held
        assert one.answer.species == (species,)


def test_runs_need_not_be_equal_to_the_photo() -> None:
    """Bob's run is a photo shorter at both ends, and he names the same species: two agree."""
    (visit,) = answered(photos_at(0, 1, 2, 3), [ann(1, 4), bob(2, 3)], needed=2)
    assert visit.answer.held
    assert visit.answer.state is VisitState.AGREED


def test_a_glance_at_one_photo_is_no_second_tagger() -> None:
    """Most photos had one tagger: the visit waits for another."""
    (visit,) = answered(photos_at(0, 1, 2, 3, 4), [ann(1, 5), bob(3, 3)], needed=2)
    assert visit.answer.waits_for is Reason.MORE_TAGGERS
    (halves,) = answered(photos_at(0, 1, 2, 3), [ann(1, 2), bob(3, 4)], needed=2)
    assert halves.answer.waits_for is Reason.MORE_TAGGERS


def test_a_heartbeat_beside_a_visit_needs_no_tag() -> None:
    """An hourly photo at 12:00:00, a minute before the animal, is in the visit and untagged."""
    photos = photos_at(0, 60, 61, 62)  # from 12:00:00 on
    for every_min, waits in ((60, None), (None, Reason.UNTAGGED)):
        placement = Placement("P1", timelapse_every_min=every_min)
        (answer,) = laid_out(photos, [ann(2, 4)], placement).answers()
        assert answer.waits_for is waits
