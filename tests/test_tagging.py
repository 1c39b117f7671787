"""The Tag page without a browser: who may see what, what a press keeps, and how it is undone."""

from pathlib import Path

import pytest
from builders import write_burst, write_photo
from pages import opened, press, say_where, tag_button, tagging, words
from test_cli import DAY

from app import review
from app.demo import SOURCE
from app.review import Show
from core.logs import LogKind
from core.model import Status
from core.workspace import Workspace


def test_nobody_tags_without_a_name(demo: Workspace) -> None:
    """Without a name there are no buttons that tag, and the page says why."""
    at = opened("tag")
    assert "Say who you are first" in words(at)
    assert not [one for one in at.button if str(one.key).startswith("tag-")]
    assert demo.view("SK-OPEN").tags


def test_a_tag_is_kept_the_page_goes_on_and_undo_comes_back(demo: Workspace) -> None:
    """Where, then who: the tag stands, the next visit is shown; undo and redo do what they say."""
    at = tagging()
    before = demo.view("SK-OPEN")
    assert "Visit 1, 6 photos" in words(at)
    say_where(at, "fed")
    at = press(at, tag_button(at, "m"))
    tag = demo.view("SK-OPEN").tags[-1]
    visit = before.visits[0].visit
    assert (tag.tagger, tag.species, tag.where, tag.count, tag.sure, tag.ruling) == (
        "Thandi", "m", "fed", 1, True, False,
    )  # fmt: skip
    assert (tag.first_photo, tag.last_photo) == (visit.photos[0].id, visit.photos[-1].id)
    assert "Visit 2, 3 photos" in words(at)
    at = press(at, "undo")
    assert demo.view("SK-OPEN").tags[-1].taken_back
    assert "Visit 1, 6 photos" in words(at)
    at = press(at, "redo")
    assert not demo.view("SK-OPEN").tags[-1].taken_back
    assert "You said: Four-striped grass mouse, 1, fed" in words(at)


def test_an_animal_without_a_place_is_not_kept(demo: Workspace) -> None:
    """A species pressed before saying where keeps nothing and says what is missing."""
    at = tagging()
    before = len(demo.view("SK-OPEN").tags)
    at = press(at, tag_button(at, "m"))
    assert "Say first where it was" in words(at)
    assert len(demo.view("SK-OPEN").tags) == before


def test_blank_needs_no_place(demo: Workspace) -> None:
    """Nothing there: one press, even when a place was said by mistake."""
    at = tagging()
    say_where(at, "near")
    press(at, tag_button(at, "blank"))
    tag = demo.view("SK-OPEN").tags[-1]
    assert (tag.species, tag.where, tag.count) == ("blank", None, None)


def test_a_press_means_the_visit_it_was_drawn_for(demo: Workspace) -> None:
    """A second press of a button that was drawn for the first visit does not tag the second."""
    at = tagging()
    [button] = [one for one in at.button if str(one.key) == tag_button(at, "blank")]
    button.click()
    at.run()
    first = demo.view("SK-OPEN").tags[-1]
    button.click()
    at.run()
    tags = [tag for tag in demo.view("SK-OPEN").tags if tag.tagger == "Thandi"]
    assert [tag.number for tag in tags] == [first.number]


def test_controls_of_another_visit_say_nothing_of_this_one(demo: Workspace) -> None:
    """What was set for a short visit of one placement does not cut a longer one of another."""
    at = tagging("HR-BUSH")  # its first visit has three photos, that of SK-OPEN has six
    say_where(at, "near")
    at.selectbox(key="placement").set_value("SK-OPEN").run()
    at = press(at, tag_button(at, "m"))
    assert "Say first where it was" in words(at)
    press(at, tag_button(at, "blank"))
    tag, visit = demo.view("SK-OPEN").tags[-1], demo.view("SK-OPEN").visits[0].visit
    assert (tag.first_photo, tag.last_photo) == (visit.photos[0].id, visit.photos[-1].id)


def test_a_tagger_sees_no_other_opinion_and_the_instructor_sees_all(demo: Workspace) -> None:
    """What others said of a visit is shown to the instructor alone."""
    at = tagging()
    assert "Nomsa" not in words(at)
    at.checkbox(key="instructor").check().run()
    assert "Nomsa said: Four-striped grass mouse, 1, fed" in words(at)
    assert "State: agreed" in words(at)
    assert demo.view("SK-OPEN").tags


def test_the_instructor_rules_the_disputed_visit_and_its_tray_gets_a_density(
    demo: Workspace,
) -> None:
    """The one unanswered visit of the demo is ruled: pending turns into a density."""
    assert demo.outcome("SKO-D2").status is Status.PENDING
    at = tagging(own_show=str(Show.OPEN), own_instructor="yes")
    assert "State: disputed: taggers differ on a visit" in words(at)
    say_where(at, "fed")
    at = press(at, tag_button(at, "g"))
    assert demo.view("SK-OPEN").tags[-1].ruling
    after = demo.outcome("SKO-D2")
    assert (after.status, after.forager) == (Status.KEEP, "Hairy-footed gerbil")
    assert "No visit of this placement waits for anybody." in words(at)


def test_two_species_in_one_visit_are_said_of_parts_of_it(demo: Workspace) -> None:
    """The first photos are one animal's, the last another's; the page stays until both are said."""
    at = tagging()
    photos = demo.view("SK-OPEN").visits[0].visit.photos
    for species, part in (("m", (1, 4)), ("g", (5, 6))):
        say_where(at, "fed")
        [run] = [one for one in at.select_slider if str(one.key).startswith("part-")]
        run.set_range(*part).run()
        at = press(at, tag_button(at, species))
        assert "Visit 1, 6 photos" in words(at)
    said = [tag for tag in demo.view("SK-OPEN").tags if tag.tagger == "Thandi"]
    ids = [(tag.species, tag.first_photo, tag.last_photo) for tag in said]
    assert ids == [("m", photos[0].id, photos[3].id), ("g", photos[4].id, photos[5].id)]
    assert "Hairy-footed gerbil, 1, fed, photos 5 to 6" in words(at)


def test_another_species_in_the_same_photos_does_not_replace_the_first(demo: Workspace) -> None:
    """Two species at once: both tags hold, and the page stays."""
    at = tagging()
    [many] = [one for one in at.checkbox if str(one.key).startswith("many-")]
    many.check().run()
    for species in ("m", "g"):
        say_where(at, "fed")
        at = press(at, tag_button(at, species))
    answered = demo.view("SK-OPEN").visits[0].answer
    assert [tag.species for tag in answered.tags if tag.tagger == "Thandi"] == ["m", "g"]


def test_an_unsure_tag_with_comment_and_count_is_kept_as_said(demo: Workspace) -> None:
    """Doubt, number and comment are the tag's own."""
    at = tagging()
    say_where(at, "on_tray")
    at.number_input[0].set_value(3)
    [unsure] = [one for one in at.checkbox if str(one.key).startswith("unsure-")]
    unsure.check()
    [comment] = [one for one in at.text_input if str(one.key).startswith("comment-")]
    comment.set_value("half ![x](http://elsewhere/x.png) dark").run()
    press(at, tag_button(at, "unknown"))
    tag = demo.view("SK-OPEN").tags[-1]
    assert (tag.species, tag.count, tag.sure) == ("unknown", 3, False)
    assert tag.comment == "half ![x](http://elsewhere/x.png) dark"


def test_which_tray_is_asked_only_where_several_were_out(demo: Workspace) -> None:
    """A camera that watches two trays that are out asks; a tag that names one keeps it."""
    assert not [c for c in tagging().segmented_control if str(c.key).startswith("tray-")]
    rows = demo.log_rows(LogKind.CAMERAS)
    demo.save_rows(LogKind.CAMERAS, [row | {"trays": "T1; T2"} if row["placement"] == "SK-OPEN"
                                     else row for row in rows])  # fmt: skip
    at = tagging()
    [tray] = [one for one in at.segmented_control if str(one.key).startswith("tray-")]
    assert list(tray.options) == ["T1", "T2"]
    tray.set_value("T2")
    say_where(at, "fed")
    press(at, tag_button(at, "m"))
    assert demo.view("SK-OPEN").tags[-1].tray == "T2"


def test_next_previous_and_next_unanswered_lead_through_the_visits(demo: Workspace) -> None:
    """The arrows go by one; the jump goes to the visit that waits."""
    at = tagging(own_show=str(Show.ALL))
    at = press(at, "go-The next one")
    assert "Visit 2, 3 photos" in words(at)
    at = press(at, "go-The one before")
    assert "Visit 1, 6 photos" in words(at)
    at = press(at, "go-The next visit")
    [waiting] = [one for one in demo.view("SK-OPEN").visits if not one.answer.held]
    assert f"Visit {waiting.visit.number}, " in words(at)
    assert "In the window of SKO-D2 (tray T1)." in words(at)


def test_another_photo_of_the_visit_is_shown_large(demo: Workspace) -> None:
    """The numbered buttons change the large picture; its text says which photo it is."""
    at = tagging()
    photos = demo.view("SK-OPEN").visits[0].visit.photos
    assert f"/photo/review/{photos[0].id}" in at.html[0].value
    at = press(at, "photo-4")
    assert (
        f'/photo/review/{photos[4].id}" alt="Photo 5 of 6 of visit 1, tray T1' in at.html[0].value
    )


def test_photos_without_a_time_are_listed_and_shown_but_not_tagged(
    empty: Workspace, tmp_path: Path
) -> None:
    """An undated photo has its picture and no tag buttons."""
    empty.load(LogKind.SPECIES, SOURCE / "species.csv")
    write_burst(tmp_path / "card", DAY, 2)
    write_photo(tmp_path / "card" / "undated.JPG", None, shade=99)
    empty.scan(tmp_path / "card", "P1")
    at = tagging("P1", own_show=str(Show.UNTIMED))
    [undated] = empty.view("P1").untimed
    assert f"/photo/review/{undated.id}" in at.html[0].value
    assert "cannot be tagged" in words(at)
    assert not [one for one in at.button if str(one.key).startswith("tag-")]


def test_names_that_differ_in_capitals_are_one_tagger(demo: Workspace) -> None:
    """nomsa tags as Nomsa, who is known."""
    at = opened("tag", own_tagger="nomsa", own_placement="SK-OPEN", own_show=str(Show.ALL))
    press(at, tag_button(at, "blank"))
    assert demo.view("SK-OPEN").tags[-1].tagger == "Nomsa"


@pytest.mark.parametrize(
    ("show", "expected"),
    [(Show.ALL, 6), (Show.OPEN, 1), (Show.OTHER, 4), (Show.UNTIMED, 0), (Show.MINE, 6)],
)
def test_what_each_list_holds(demo: Workspace, show: Show, expected: int) -> None:
    """SK-OPEN has six visits (tags.csv), one of them disputed, and four handler runs."""
    view = demo.view("SK-OPEN")
    assert len(review.turns(view, show, "Thandi", demo.settings.gap)) == expected


def test_own_visits_leave_the_list_of_those_not_tagged_by_me(demo: Workspace) -> None:
    """Nomsa has tagged every visit of SK-OPEN."""
    assert review.turns(demo.view("SK-OPEN"), Show.MINE, "Nomsa", demo.settings.gap) == []


# --- what people wrote -----------------------------------------------------------------------


def test_names_that_people_wrote_are_never_read_as_markdown(empty: Workspace) -> None:
    """A picture written into a species name is escaped on its button and fetches nothing."""
    name = "![x](http://elsewhere/x.png)"
    empty.load(LogKind.SPECIES, f"key,name,role\nm,{name},forager\n".encode(), "species.csv")
    empty.scan(SOURCE / "cards" / "SK-OPEN", "SK-OPEN")
    at = tagging()
    [button] = [one for one in at.button if str(one.key) == tag_button(at, "m")]
    assert r"\!\[x\]\(http\:\/\/elsewhere\/x\.png\)" in button.label


def test_the_text_beside_a_picture_cannot_break_out_of_it(empty: Workspace) -> None:
    """A placement named like HTML stays text inside the picture's description."""
    empty.load(LogKind.SPECIES, SOURCE / "species.csv")
    empty.scan(SOURCE / "cards" / "SK-OPEN", '"><img src=x onerror=alert(1)>')
    at = tagging('"><img src=x onerror=alert(1)>')
    assert "<img src=x" not in at.html[0].value
    assert "&lt;img src=x" in at.html[0].value
