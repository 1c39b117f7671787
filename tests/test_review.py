"""Which runs of photos a tagger is led through: visits, parts of them, several as one, in order."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from builders import at, camera, laid_out, photos_at, tag_of, tray
from hypothesis import given
from hypothesis import strategies as st

from app import review
from app.review import Asked, Order, Rows, Show
from core.model import BLANK, HANDLER, Tag, TrayRole, Where
from core.views import Layout

# Four visits: photos 1 to 4, 5 and 6, 7, 8 and 9.
CARD = photos_at(0, 1, 2, 3, 300, 301, 600, 900, 901)
VISITS = [(1, 4), (5, 6), (7, 7), (8, 9)]


def said(first: int, last: int, species: str = "g", **values: Any) -> Tag:
    """Give a tag of ann's."""
    where = None if species in {BLANK, HANDLER} else Where.FED
    return tag_of(first, last, species=species, **({"where": where} | values))


def layout_of(*tags: Tag, **values: Any) -> Layout:
    """Lay the card out under tags, numbered in the order given."""
    numbered = [said_again(tag, number) for number, tag in enumerate(tags, start=1)]
    return laid_out(values.pop("photos", CARD), numbered, **values)


def said_again(tag: Tag, number: int) -> Tag:
    """Give a tag its number."""
    return tag_of(
        tag.first_photo, tag.last_photo, number=number, tagger=tag.tagger, species=tag.species,
        where=tag.where, sure=tag.sure, ruling=tag.ruling, also=tag.also,
    )  # fmt: skip


def ends(layout: Layout, found: Rows) -> list[tuple[int, int]]:
    """Give the ids of the first and last photo of each run."""
    ids = layout.base.ids
    return list(zip(ids[found.firsts].tolist(), ids[found.lasts].tolist(), strict=True))


def listed(layout: Layout, show: Show, tagger: str = "ann", **values: Any) -> list[tuple[int, int]]:
    """Give the runs of a list in the order of time."""
    asked = Asked(tagger, values.pop("instructor", False), show, **values)
    unscored = np.full(len(layout.base.ordered), np.nan)
    found = review.in_order(review.rows(layout, asked, unscored), Order.TIME)
    return ends(layout, found)


# --- whole visits ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("show", "expected"),
    [
        (Show.ALL, VISITS),
        (Show.MINE, [(5, 6), (8, 9)]),
        (Show.DONE, [(1, 4), (7, 7)]),
        (Show.OPEN, [(5, 6), (8, 9)]),
        (Show.OTHER, []),
        (Show.UNTIMED, []),
    ],
)
def test_what_each_list_holds(show: Show, expected: list[tuple[int, int]]) -> None:
    """Ann has tagged the first and the third visit."""
    assert listed(layout_of(said(1, 4), said(7, 7)), show) == expected


def test_another_taggers_work_is_not_mine() -> None:
    """What Bob tagged is still to be tagged by Ann, and is answered for both."""
    layout = layout_of(said(1, 4, tagger="bob"))
    assert listed(layout, Show.MINE) == VISITS
    assert listed(layout, Show.DONE) == []
    assert listed(layout, Show.DONE, "bob") == [(1, 4)]
    assert listed(layout, Show.OPEN) == VISITS[1:]


def test_nobody_has_tagged_nothing() -> None:
    """Before a name is given every visit is still to be tagged."""
    assert listed(layout_of(said(1, 4)), Show.MINE, "") == VISITS


@pytest.mark.parametrize("show", Show)
def test_a_placement_without_photos_has_empty_lists(show: Show) -> None:
    """No list breaks on it."""
    layout = laid_out([], [])
    assert listed(layout, show, species="g") == []
    assert review.tagged_visits(layout, "ann") == 0


# --- parts and joins ---------------------------------------------------------------------------


def test_a_visit_that_i_tagged_in_part_comes_as_its_parts() -> None:
    """Ann split the first visit after its second photo and tagged the beginning."""
    layout = layout_of(said(1, 2))
    assert listed(layout, Show.ALL) == [(1, 2), (3, 4), *VISITS[1:]]
    assert listed(layout, Show.MINE) == [(3, 4), *VISITS[1:]]
    assert listed(layout, Show.DONE) == [(1, 2)]
    assert listed(layout, Show.OPEN) == [(1, 2), (3, 4), *VISITS[1:]]
    assert listed(layout, Show.ALL, "bob") == VISITS


def test_a_part_in_the_middle_leaves_two_others() -> None:
    """The parts before and behind it are still to be tagged."""
    layout = layout_of(said(2, 3))
    assert listed(layout, Show.ALL) == [(1, 1), (2, 3), (4, 4), *VISITS[1:]]
    assert listed(layout, Show.MINE) == [(1, 1), (4, 4), *VISITS[1:]]


def test_visits_that_i_tagged_as_one_come_as_one() -> None:
    """One tag over the first two visits and the third one: one run, for her alone."""
    layout = layout_of(said(1, 7))
    assert listed(layout, Show.ALL) == [(1, 7), (8, 9)]
    assert listed(layout, Show.DONE) == [(1, 7)]
    assert listed(layout, Show.MINE) == [(8, 9)]
    assert listed(layout, Show.ALL, "bob") == VISITS


def test_a_join_that_ends_inside_a_visit_parts_it() -> None:
    """The rest of the second visit is a run of its own."""
    layout = layout_of(said(1, 5))
    assert listed(layout, Show.ALL) == [(1, 5), (6, 6), *VISITS[2:]]
    assert listed(layout, Show.MINE) == [(6, 6), *VISITS[2:]]


def test_two_species_in_the_same_photos_make_no_parts() -> None:
    """Two tags over the same run have the same edges."""
    layout = layout_of(said(1, 4), said(1, 4, "m", also=True))
    assert listed(layout, Show.DONE) == [(1, 4)]


def test_a_tag_taken_back_parts_nothing() -> None:
    """Only tags that stand have edges."""
    layout = laid_out(CARD, [tag_of(1, 2, number=1, taken_back=True)])
    assert listed(layout, Show.ALL) == VISITS


RUNS = st.lists(
    st.tuples(st.integers(1, 9), st.integers(1, 9), st.sampled_from(["g", BLANK, HANDLER])),
    max_size=5,
)


@given(RUNS, RUNS)
def test_runs_part_the_photos_and_each_is_tagged_whole_or_not_at_all(
    mine: Sequence[tuple[int, int, str]], theirs: Sequence[tuple[int, int, str]]
) -> None:
    """Every photo of a visit is in one run; what is mine and what is not are all of them."""
    made = [said(min(run[:2]), max(run[:2]), run[2]) for run in mine]
    made += [said(min(run[:2]), max(run[:2]), run[2], tagger="bob") for run in theirs]
    layout = layout_of(*made)
    asked = Asked("ann", instructor=False, show=Show.ALL)
    whole = review.rows(layout, asked, np.zeros(len(CARD)))
    cells = zip(whole.starts.tolist(), whole.ends.tolist(), strict=True)
    assert [at for start, end in cells for at in range(start, end)] == [*range(len(layout.places))]
    over = review.covered(layout, review.made_by(layout, "ann"))[layout.places]
    for start, end, covered in zip(whole.starts, whole.ends, whole.covered, strict=True):
        assert over[start:end].tolist() == [bool(covered)] * int(end - start)
    visited = set(listed(layout, Show.ALL))
    assert set(listed(layout, Show.MINE)) | set(listed(layout, Show.DONE)) >= visited
    assert not set(listed(layout, Show.MINE)) & set(listed(layout, Show.DONE))


# --- our staff, time-lapse ---------------------------------------------------------------------


def test_what_i_tagged_as_our_staff_leaves_the_visits_and_stays_mine() -> None:
    """Handler photos are listed with the others, and among what Ann tagged."""
    layout = layout_of(said(1, 4, HANDLER), said(5, 6))
    assert listed(layout, Show.ALL) == VISITS[1:]
    assert listed(layout, Show.OTHER) == [(1, 4)]
    assert listed(layout, Show.DONE) == [(1, 4), (5, 6)]


def test_handler_photos_taken_in_one_go_are_one_run() -> None:
    """They are grouped by the gap; another tagger's edges are none of Ann's."""
    made = [said(*pair, HANDLER, tagger="bob") for pair in ((1, 2), (3, 4), (5, 6))]
    layout = layout_of(*made)
    assert listed(layout, Show.OTHER) == [(1, 4), (5, 6)]
    assert listed(layout, Show.OTHER, "bob") == [(1, 2), (3, 4), (5, 6)]


def test_time_lapse_photos_stand_singly_until_they_are_tagged() -> None:
    """Hourly photos from noon on make no visit; a tag makes one of its photo."""
    photos = photos_at(0, 1800, 1801, 3600, 7200)
    placement = camera(timelapse_every_min=60)
    layout = layout_of(photos=photos, placement=placement)
    assert listed(layout, Show.OTHER) == [(1, 1), (4, 4), (5, 5)]
    assert listed(layout, Show.ALL) == [(2, 3)]
    seen = layout_of(said(4, 4), photos=photos, placement=placement)
    assert listed(seen, Show.OTHER) == [(1, 1), (5, 5)]
    assert listed(seen, Show.DONE) == [(4, 4)]


def test_a_heartbeat_beside_a_tagged_animal_asks_for_no_tag() -> None:
    """The noon photo came a minute before the animal: when the animal is tagged all is."""
    photos, placement = photos_at(0, 60, 61, 62), camera(timelapse_every_min=60)
    layout = layout_of(said(2, 4), photos=photos, placement=placement)
    assert listed(layout, Show.ALL) == [(1, 1), (2, 4)]
    assert listed(layout, Show.MINE) == []
    assert review.tagged_visits(layout, "ann") == 1
    untouched = layout_of(photos=photos, placement=placement)
    assert listed(untouched, Show.MINE) == [(1, 4)]


# --- unsure, species ---------------------------------------------------------------------------

DOUBTS = (
    said(1, 2, "m", sure=False),
    said(3, 4, "g"),
    said(5, 6, "m", tagger="bob", sure=False),
    said(8, 9, HANDLER),
)


def test_a_student_looks_for_their_own_doubts_and_species() -> None:
    """What others were unsure of, or called a mouse, is not theirs to see."""
    layout = layout_of(*DOUBTS)
    assert listed(layout, Show.UNSURE) == [(1, 2)]
    assert listed(layout, Show.SPECIES, species="m") == [(1, 2)]
    assert listed(layout, Show.SPECIES, species="g") == [(3, 4)]
    assert listed(layout, Show.SPECIES, species=HANDLER) == [(8, 9)]
    assert listed(layout, Show.SPECIES, "bob", species="g") == []
    assert listed(layout, Show.SPECIES, "", species="g") == []


def test_the_instructor_looks_at_everybodys() -> None:
    """Whole visits, since none of the edges is the instructor's."""
    layout = layout_of(*DOUBTS)
    assert listed(layout, Show.UNSURE, "Ike", instructor=True) == [(1, 4), (5, 6)]
    assert listed(layout, Show.SPECIES, "Ike", instructor=True, species="m") == [(1, 4), (5, 6)]
    assert listed(layout, Show.SPECIES, "Ike", instructor=True, species=HANDLER) == [(8, 9)]


# --- how far somebody is -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        pytest.param([], 0, id="nothing"),
        pytest.param([said(1, 2)], 0, id="a part"),
        pytest.param([said(1, 2), said(3, 4)], 1, id="both parts"),
        pytest.param([said(1, 7)], 3, id="three as one"),
        pytest.param([said(1, 4, tagger="bob")], 0, id="another's"),
        pytest.param([said(1, 4, HANDLER), said(5, 6)], 1, id="our staff make no visit"),
    ],
)
def test_how_many_visits_somebody_has_tagged_whole(tags: list[Tag], expected: int) -> None:
    """A visit is tagged when each of its photos is."""
    assert review.tagged_visits(layout_of(*tags), "ann") == expected


# --- order -------------------------------------------------------------------------------------

SCORES = np.array([0.1, 0.2, 0.9, 0.2, 0.5, np.nan, 0.3, 0.3, 0.1])


def rows_in(order: Order, *tags: Tag) -> tuple[Layout, Rows]:
    """Give all visits of the scored card in an order."""
    layout = layout_of(*tags)
    asked = Asked("ann", instructor=False, show=Show.ALL)
    return layout, review.in_order(review.rows(layout, asked, SCORES), order)


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        (Order.TIME, VISITS),
        # Most different photos: 0.9, not known, 0.3, 0.3; of equal ones the earlier goes first.
        (Order.CHANGED, [(1, 4), (7, 7), (8, 9), (5, 6)]),
        (Order.QUIET, [(7, 7), (8, 9), (1, 4)]),
    ],
)
def test_runs_stand_by_their_most_different_photo(
    order: Order, expected: list[tuple[int, int]]
) -> None:
    """A run of which a photo is not scored is last, and not among the quiet ones."""
    assert ends(*rows_in(order)) == expected


def test_the_peak_of_a_run_is_its_most_different_photo() -> None:
    """The first of those that differ most; none where one is not scored."""
    _, found = rows_in(Order.TIME)
    assert found.peaks.tolist() == [2, -1, 6, 7]
    assert [None if np.isnan(one) else one for one in found.scores] == [0.9, None, 0.3, 0.3]


def test_parts_have_peaks_of_their_own() -> None:
    """A split leaves the quiet part quiet."""
    layout, found = rows_in(Order.QUIET, said(1, 2))
    assert ends(layout, found) == [(1, 2), (7, 7), (8, 9), (3, 4)]
    assert found.scores.tolist() == [0.2, 0.3, 0.3, 0.9]


# --- trays -------------------------------------------------------------------------------------

EVENING = (at("20:00"), at("20:05"))


@pytest.mark.parametrize(
    ("values", "found"),
    [
        pytest.param({}, True, id="out"),
        pytest.param({"role": TrayRole.PREBAIT}, True, id="prebait"),
        pytest.param({"role": TrayRole.SIFT_CONTROL}, False, id="a control stands elsewhere"),
        pytest.param({"tray": "T9"}, False, id="another tray"),
        pytest.param({"set_out": None}, False, id="time missing"),
        pytest.param({"set_out": at("20:05")}, True, id="set out at the last photo"),
        pytest.param({"set_out": at("20:06")}, False, id="set out later"),
        pytest.param({"picked_up": at("20:00")}, False, id="picked up at the first photo"),
        pytest.param({"picked_up": at("20:01")}, True, id="picked up in between"),
    ],
)
def test_into_which_windows_a_run_falls(values: dict[str, Any], found: bool) -> None:
    """Windows hold their beginning and not their end; only trays before this camera count."""
    one = tray(**values)
    assert review.deployments_at([one], camera(), *EVENING) == ([one] if found else [])


@pytest.mark.parametrize(
    ("logged", "out", "expected"),
    [
        pytest.param(["T1", "T2"], ["T1", "T2"], ["T1", "T2"], id="both out"),
        pytest.param(["T1", "T2"], ["T1"], [], id="one out"),
        pytest.param(["T1"], ["T1"], ["T1", "T2"], id="the other in no log"),
        pytest.param(["T1", "T2"], [], [], id="none out"),
        pytest.param([], [], ["T1", "T2"], id="no log yet"),
    ],
)
def test_which_trays_there_are_to_choose_from(
    logged: list[str], out: list[str], expected: list[str]
) -> None:
    """A choice is offered only where more than one tray can be meant."""
    trays = {name: tray(f"D-{name}", tray=name) for name in logged}
    placement = camera(trays=("T1", "T2"))
    there = [trays[name] for name in out]
    assert review.trays_to_choose(list(trays.values()), placement, there) == expected


def test_the_gap_of_the_study_parts_handler_photos_too() -> None:
    """With a gap of ten minutes the six handler photos are one run."""
    made = [said(1, 6, HANDLER, tagger="bob")]
    wide = layout_of(*made, gap=timedelta(minutes=10))
    assert listed(wide, Show.OTHER) == [(1, 6)]
