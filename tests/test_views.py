"""A placement in two layers: photos and clock, and on top of them tags, visits and answers."""

import gc
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from builders import SPECIES, camera, laid_out, photos_at, tag_of
from hypothesis import given
from hypothesis import strategies as st

from app.demo import SOURCE
from core import standing, views
from core.clocks import Timed
from core.logs import LogKind
from core.model import BLANK, HANDLER, ClockFlag, Photo, PhotoKind, Reason, Tag, VisitState, Where
from core.views import layout_of, view_of
from core.workspace import NewTag, Workspace

GAP = timedelta(seconds=120)


def new_tag(view: views.PlacementView, visit: int, species: str = BLANK) -> NewTag:
    """Give Thandi's tag of a visit of the demo, by its number."""
    photos = view.visits[visit - 1].visit.photos
    where = None if species in {BLANK, HANDLER} else Where.FED
    name = view.placement.placement
    return NewTag(name, photos[0].id, photos[-1].id, "Thandi", species, where=where)


# --- what is worked out anew, and what is not ----------------------------------------------------


def test_a_tag_leaves_photos_and_clock_as_they_were(demo: Workspace) -> None:
    """What no tag changes is not worked out again after a tag; what follows from it is."""
    base, before = demo.base("SK-OPEN"), demo.view("SK-OPEN")
    demo.tag(new_tag(before, 1))
    assert demo.base("SK-OPEN") is base
    after = demo.view("SK-OPEN")
    assert after is not before
    assert [tag.species for tag in after.visits[0].answer.tags][-1] == BLANK
    assert demo.view("SK-OPEN") is after


def test_requests_that_come_at_once_read_a_placement_once(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page asks for several things as it opens; they wait for the first, and share its work."""
    read, begun = views.base_of, []

    def slow(*args: Any) -> views.PlacementBase:
        begun.append(args[0])
        time.sleep(0.2)
        return read(*args)

    monkeypatch.setattr(views, "base_of", slow)
    found: list[views.PlacementBase] = []
    asking = [
        threading.Thread(target=lambda: found.append(demo.layout("SK-OPEN")[0].base))
        for _ in range(4)
    ]
    for one in asking:
        one.start()
    for one in asking:
        one.join()
    assert begun == ["SK-OPEN"]
    assert all(base is found[0] for base in found)


def test_a_log_makes_photos_and_clock_anew(demo: Workspace) -> None:
    """A camera log with another clock moves every photo."""
    base = demo.base("SK-OPEN")
    rows = demo.log_rows(LogKind.CAMERAS)
    demo.save_rows(LogKind.CAMERAS, [row | {"clock": "+03:00"} for row in rows])
    moved = demo.base("SK-OPEN")
    assert {int(step) for step in moved.seconds - base.seconds} == {-3600}  # +02:00 before


def test_a_species_that_left_the_list_makes_its_answers_anew(demo: Workspace) -> None:
    """The tags are the same; what was answered with another list of species is forgotten."""
    before = [one.answer.waits_for for one in demo.view("SK-OPEN").visits]
    assert Reason.SPECIES_UNLISTED not in before
    rows = demo.log_rows(LogKind.SPECIES)
    demo.save_rows(LogKind.SPECIES, [row for row in rows if row["key"] != "m"])
    after = [one.answer.waits_for for one in demo.view("SK-OPEN").visits]
    assert after.count(Reason.SPECIES_UNLISTED) == 3  # a mouse thrice, tags.csv


def test_a_placement_that_nobody_knows_is_not_kept(demo: Workspace) -> None:
    """It is empty, and asking for it by any name fills no memory."""
    for number in range(3):
        assert not demo.layout(f"nowhere {number}")[0].base.known
        assert demo.view(f"nowhere {number}").visits == ()
    assert not any("nowhere" in name for name in demo._kept._bases)
    assert not any("nowhere" in name for name, _ in [*demo._kept._layouts, *demo._kept._views])
    assert not any("nowhere" in name for name in demo._kept._standings)


def test_two_windows_on_one_study_see_each_others_tags(demo: Workspace) -> None:
    """What another process said since is taken in, what it took back too."""
    with Workspace.open(demo.folder) as other:
        first = other.view("SK-OPEN")
        number = demo.tag(new_tag(first, 1))
        assert other.view("SK-OPEN").tags[-1].number == number
        demo.turn([number], "Thandi", taken_back=True)
        assert other.view("SK-OPEN").tags[-1].taken_back
        assert other.view("SK-OPEN").visits == first.visits


def test_a_card_that_was_forgotten_takes_its_tags_along(demo: Workspace) -> None:
    """Tags known from before are not held against a study that has lost them."""
    assert demo.view("SK-OPEN").tags
    [card] = [card for card in demo.cards() if card.placement == "SK-OPEN"]
    demo.forget_card(card.id, with_tags=True)
    assert demo.view("SK-OPEN").tags == ()
    demo.scan(SOURCE / "cards" / "SK-OPEN", "SK-OPEN")
    assert {one.answer.state for one in demo.view("SK-OPEN").visits} == {VisitState.UNTAGGED}


def test_garbage_is_looked_for_again_after_a_placement_was_read(demo: Workspace) -> None:
    """The pause while rows are built ends with it, after a fault too."""
    assert gc.isenabled()
    demo.view("SK-OPEN")
    assert gc.isenabled()
    with pytest.raises(AttributeError):
        demo._kept.base(None, "SK-BUSH")  # type: ignore[arg-type]
    assert gc.isenabled()


@pytest.mark.parametrize(
    ("name", "spelled"),
    [
        ("nomsa", "Nomsa"),
        ("  NOMSA ", "Nomsa"),
        ("Nomsa", "Nomsa"),
        (" Nomsa  Dlamini", "Nomsa Dlamini"),
        ("", ""),
    ],
)
def test_a_taggers_name_is_spelled_as_it_is_known(demo: Workspace, name: str, spelled: str) -> None:
    """Capitals and blanks make no second tagger."""
    assert demo.tagger(name) == spelled


def test_a_new_tagger_is_known_from_the_first_tag_on(demo: Workspace) -> None:
    """The first spelling that tagged is the one that stays."""
    assert demo.tagger("thandi") == "thandi"
    demo.tag(new_tag(demo.view("SK-OPEN"), 1))
    assert demo.tagger("thandi") == "Thandi"


# --- where visits lie ----------------------------------------------------------------------------


def test_where_the_visits_lie() -> None:
    """Three runs of photos, the second tagged as our staff: two visits, by place and number."""
    photos = photos_at(0, 10, 500, 510, 1000)
    layout = laid_out(photos, [tag_of(3, 4, number=1, species=HANDLER, where=None)])
    assert layout.visits == 2
    assert [layout.photos_of(number) for number in (1, 2)] == [[0, 1], [4]]
    assert layout.visit_of.tolist() == [1, 1, 0, 0, 2]
    assert [layout.photo(place).kind for place in (0, 2)] == [PhotoKind.TRIGGER, PhotoKind.HANDLER]
    assert layout.visit(2).photos == (photos[4],)


def test_a_placement_without_photos_has_no_visits() -> None:
    """Nothing is known, and nothing breaks."""
    layout = laid_out([], [])
    assert (layout.visits, layout.answers(), view_of(layout).visits) == (0, [], ())


def test_photos_that_count_stand_in_order_the_others_are_listed() -> None:
    """Copies, files that are no pictures and photos without a time have no place."""
    first, copy, notes, undated = photos_at(10, 10, 20, 30)
    photos = [
        replace(first),
        replace(copy, copy_of=1),
        replace(notes, is_photo=False, true_time=None),
        replace(undated, true_time=None),
    ]
    base = laid_out(photos, []).base
    assert base.place == {1: 0}
    assert base.ids.tolist() == [1]
    assert [photo.id for photo in base.untimed] == [4]
    assert len(base.timed) == 4


# --- answers are worked out once -----------------------------------------------------------------

SAID = st.lists(
    st.builds(
        lambda ends, tagger, species, turned: (ends, tagger, species, turned),
        st.tuples(st.integers(1, 9), st.integers(1, 9)),
        st.sampled_from(["ann", "bob", "instructor"]),
        st.sampled_from(["g", "m", BLANK, HANDLER]),
        st.integers(0, 3),
    ),
    max_size=12,
)
NINE = photos_at(0, 10, 20, 300, 310, 320, 3600, 7201, 7300)
"""Three visits; photo 7 lies an hour after the first and stands alone."""


def tags_of(said: Sequence[tuple[tuple[int, int], str, str, int]]) -> list[Tag]:
    """Give the tags that were said, in their order."""
    return [
        tag_of(
            *ends,
            number=number,
            tagger=tagger,
            species=species,
            ruling=tagger == "instructor",
            where=None if species in {BLANK, HANDLER} else Where.FED,
        )
        for number, (ends, tagger, species, _) in enumerate(said, start=1)
    ]


@given(SAID, st.integers(1, 2))
def test_answers_known_from_before_are_those_worked_out_anew(
    said: list[tuple[tuple[int, int], str, str, int]], needed: int
) -> None:
    """Tag after tag, some taken back again: each time all is as if nothing had been known."""
    placement = camera(timelapse_every_min=60)
    base = views.in_order(Timed.of(NINE), placement, logged=True, species=SPECIES)
    stands, layout = standing.nothing(len(NINE)), None
    made = tags_of(said)
    for at, (tag, (*_, turned)) in enumerate(zip(made, said, strict=True)):
        news = [tag]
        if turned == 0 and at > 0:
            made[at - 1] = replace(made[at - 1], taken_back=not made[at - 1].taken_back)
            news.append(made[at - 1])
        stands = standing.renewed(stands, news, base.place, needed)
        layout = layout_of(base, stands, needed, GAP, layout)
        fresh = laid_out(NINE, made[: at + 1], placement, needed=needed)
        assert view_of(layout) == view_of(fresh)
        assert layout.answers() == [fresh.answer(n) for n in range(1, fresh.visits + 1)]


def test_an_untagged_visit_waits_for_people() -> None:
    """A visit under no tag is untagged, whichever way its answer is asked for."""
    layout = laid_out(photos_at(0, 10, 500), [tag_of(1, 2, number=1, where=Where.FED)])
    assert [answer.waits_for for answer in layout.answers()] == [None, Reason.UNTAGGED]
    assert layout.answer(2) == layout.answers()[1] == views.NOBODY


def test_a_photo_with_its_time_is_otherwise_the_same() -> None:
    """Every other field is kept."""
    shown = photos_at(0)[0]
    photo = Photo(
        9, "P9", "A/9.JPG", shown.camera_time, "25", "+02:00", shown.time_source, "cut short",
        8, False, None, ClockFlag.NONE, PhotoKind.HANDLER,
    )  # fmt: skip
    moment = shown.true_time
    assert moment is not None
    expected = replace(photo, true_time=moment, clock_flag=ClockFlag.TWICE)
    assert photo.timed(moment, ClockFlag.TWICE) == expected


def test_a_study_opened_anew_tells_the_same(demo: Workspace) -> None:
    """After tags, undo and a ruling, what is kept in memory is what the study holds."""
    view = demo.view("SK-OPEN")
    one = demo.tag(new_tag(view, 1))
    demo.tag(new_tag(demo.view("SK-OPEN"), 2, HANDLER))
    demo.turn([one], "Thandi", taken_back=True)
    demo.tag(replace(new_tag(demo.view("SK-OPEN"), 1, HANDLER), ruling=True))
    with Workspace.open(demo.folder) as again:
        assert again.view("SK-OPEN") == demo.view("SK-OPEN")
        assert len(again.view("SK-OPEN").visits) == len(view.visits) - 1
