"""The pages without a browser: each opens on an empty study and on the demo, and does its job."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import streamlit as st
from builders import write_burst, write_photo
from streamlit.testing.v1 import AppTest
from test_cli import DAY

from app import review, session, timeline
from app.demo import SOURCE, build_demo
from app.review import Show
from core.logs import LogKind
from core.model import Status
from core.workspace import Workspace

MAIN = Path(session.__file__).with_name("main.py")
PAGES = ("cards", "tag", "trays", "results")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("studies") / "demo"
    build_demo(folder).close()
    return folder


@pytest.fixture
def demo(built: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    """A demo study of the test's own, which the pages show."""
    folder = tmp_path / "demo"
    shutil.copytree(built, folder)
    monkeypatch.setenv(session.STUDY_VARIABLE, str(folder))
    with Workspace.open(folder) as workspace:
        yield workspace


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    """A new study, which the pages show."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(tmp_path / "new"))
    with Workspace.create(tmp_path / "new", "Africa/Johannesburg") as workspace:
        yield workspace


def opened(page: str, **state: object) -> AppTest:
    at = AppTest.from_file(str(MAIN), default_timeout=60)
    for name, value in state.items():
        at.session_state[name] = value
    at.run()
    if page != "cards":
        at.switch_page(f"screens/{page}.py").run()
    assert not at.exception, [one.value for one in at.exception]
    return at


def words(at: AppTest) -> str:
    """Give all that is said on a page, as people read it: escapes taken away."""
    said = [*at.text, *at.markdown, *at.info, *at.warning, *at.error, *at.success, *at.subheader]
    return re.sub(r"\\(.)", r"\1", "\n".join(str(one.value) for one in said))


def frames(at: AppTest) -> list[pd.DataFrame]:
    return [pd.DataFrame(one.value) for one in at.dataframe]


def press(at: AppTest, start: str) -> AppTest:
    """Press the button whose key begins so."""
    [button] = [one for one in at.button if str(one.key).startswith(start)]
    button.click().run()
    assert not at.exception, [one.value for one in at.exception]
    return at


def tag_button(at: AppTest, species: str) -> str:
    [key] = [
        str(b.key) for b in at.button if re.fullmatch(rf"tag-\d+-\d+-\d+-{species}", str(b.key))
    ]
    return key


def say_where(at: AppTest, where: str) -> None:
    [control] = [one for one in at.segmented_control if str(one.key).startswith("where-")]
    control.set_value(where).run()


# --- opening ---------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_on_an_empty_study_and_says_what_comes_next(
    empty: Workspace, page: str
) -> None:
    """A new study is led to its species list, whichever page is opened first."""
    assert "Next: Species list" in words(opened(page))
    assert empty.cards() == []


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_on_the_demo_without_a_fault(demo: Workspace, page: str) -> None:
    """No page of a whole study shows an error or asks for a next step."""
    at = opened(page)
    assert not at.error
    assert "Next: " not in words(at)
    assert demo.species()


@pytest.mark.parametrize("page", PAGES)
def test_a_study_that_is_not_there_is_said_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: str
) -> None:
    """A folder that is no study gives its own message, and no traceback."""
    monkeypatch.setenv(session.STUDY_VARIABLE, str(tmp_path / "gone"))
    assert "is no study" in words(opened(page))


def test_a_page_started_without_a_study_says_how_to_start_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without the environment's study the page names the command."""
    monkeypatch.delenv(session.STUDY_VARIABLE, raising=False)
    assert "lastbite page STUDY" in words(opened("cards"))


# --- cards -----------------------------------------------------------------------------------


def load(at: AppTest, kind: str, content: bytes, name: str | None = None) -> AppTest:
    at.file_uploader(key=f"file-{kind}").set_value((name or f"{kind}.csv", content, "text/csv"))
    return press(at, f"load-it-{kind}")


def to_tab(at: AppTest, name: str, key: str = "cards-tabs") -> AppTest:
    at.session_state[key] = name
    return at.run()


def test_logs_are_loaded_one_after_the_other_and_the_guide_goes_on(empty: Workspace) -> None:
    """After the species list comes the camera log, then the tray log on its own page."""
    at = load(to_tab(opened("cards"), "Species list"), "species", file("species"))
    assert "species.csv: 5 new, 0 changed, 0 as before." in words(at)
    assert "Next: Camera log" in words(at)
    at = load(to_tab(at, "Camera log"), "cameras", file("cameras"))
    assert "Next: Tray log" in words(at)
    assert [one.placement for one in empty.placements()][:1] == ["SK-OPEN"]
    at.switch_page("screens/trays.py").run()
    at = load(to_tab(at, "Tray log", "trays-tabs"), "trays", file("trays"))
    assert len(empty.trays()) == 17
    assert len(empty.species()) == 5


def file(kind: str) -> bytes:
    return (SOURCE / f"{kind}.csv").read_bytes()


def test_a_log_with_faults_changes_nothing_and_lists_each_with_its_line(empty: Workspace) -> None:
    """Two faults in two lines are both shown; the species list stays empty."""
    at = to_tab(opened("cards"), "Species list")
    bad = b"key,name,role\nm,Mouse,forager\nmm,Fox,other\nq,Quail,bird\n"
    at = load(at, "species", bad)
    assert "species.csv was not loaded: 2 faults, nothing was changed." in words(at)
    [faults] = [frame for frame in frames(at) if "fault" in frame]
    assert list(faults["line"]) == ["3", "4"]
    assert empty.species() == {}


def test_a_file_that_is_no_log_is_refused_in_words(empty: Workspace) -> None:
    """A picture named as a CSV is refused; loading nothing asks for a file."""
    at = to_tab(opened("cards"), "Species list")
    at = load(at, "species", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01", "photo.csv")
    assert "was not loaded" in words(at)
    assert "No file was chosen" in words(press(at, "load-it-species"))
    assert empty.species() == {}


def test_a_card_is_scanned_and_what_was_found_is_said(empty: Workspace, tmp_path: Path) -> None:
    """Photos, what the camera showed, and a file that is no photo are said; the card is listed."""
    empty.load(LogKind.CAMERAS, SOURCE / "cameras.csv")
    card = tmp_path / "card"
    write_burst(card, DAY, 3)
    write_photo(card / "undated.JPG", None, shade=99)
    at = to_tab(opened("cards"), "Cards")
    at.text_input(key="scan-folder").set_value(str(card))
    at.selectbox(key="scan-placement").set_value("SK-OPEN")
    at = press(at, "scan")
    assert "SK-OPEN: 4 files, 4 new (4 photos, 0 copies, 0 no pictures), 0 known." in words(at)
    assert "The camera showed 2026-03-14 08:30:00 to 2026-03-14 08:30:02." in words(at)
    [listed] = [frame for frame in frames(at) if "at hand" in frame]
    [card_line] = listed[["placement", "files", "at hand"]].to_numpy().tolist()
    assert card_line == ["SK-OPEN", 4, "yes"]
    assert len(empty.view("SK-OPEN").photos) == 4
    at = to_tab(at, "Files with a problem")
    [problems] = [frame for frame in frames(at) if "problem" in frame]
    assert problems["file"].tolist() == ["undated.JPG"]


@pytest.mark.parametrize(
    ("folder", "placement", "said"),
    [
        ("", "SK-OPEN", "No folder is named"),
        ("/no/such/folder", "SK-OPEN", "is not there"),
        (str(SOURCE / "cards" / "SK-OPEN"), None, "No placement is named"),
    ],
)
def test_a_card_that_cannot_be_scanned_is_refused_in_words(
    empty: Workspace, folder: str, placement: str | None, said: str
) -> None:
    """No folder, a folder that is not there and no placement each have their own words."""
    empty.load(LogKind.CAMERAS, SOURCE / "cameras.csv")
    at = to_tab(opened("cards"), "Cards")
    at.text_input(key="scan-folder").set_value(folder)
    if placement:
        at.selectbox(key="scan-placement").set_value(placement)
    assert said in words(press(at, "scan"))
    assert empty.cards() == []


def test_a_card_is_moved_with_its_tags(demo: Workspace) -> None:
    """Scanned under the wrong placement, a whole card goes to another one."""
    demo.forget_card(card_of(demo, "SK-BUSH"), with_tags=True)
    tags = len(demo.view("SK-OPEN").tags)
    card = card_of(demo, "SK-OPEN")
    at = opened("cards")
    at.selectbox(key="card").set_value(card).run()
    at.selectbox(key=f"move-to-{card}").set_value("SK-BUSH")
    at.checkbox(key=f"move-sure-{card}").check().run()
    at = press(at, f"move-{card}")
    assert "The card is under placement SK-BUSH now." in words(at)
    assert len(demo.view("SK-BUSH").tags) == tags > 0
    assert demo.view("SK-OPEN").photos == ()


def card_of(workspace: Workspace, placement: str) -> int:
    return next(card.id for card in workspace.cards() if card.placement == placement)


def test_forgetting_a_card_tells_how_many_tags_go_and_asks_again(demo: Workspace) -> None:
    """The first press is refused with the number of tags; only the second sets them aside."""
    card, tags = card_of(demo, "SK-OPEN"), len(demo.view("SK-OPEN").tags)
    at = opened("cards")
    at.selectbox(key="card").set_value(card).run()
    assert at.button(key=f"forget-{card}").disabled
    at.checkbox(key=f"forget-sure-{card}").check().run()
    at = press(at, f"forget-{card}")
    assert f"has {tags} tags on its photos. Nothing was removed" in words(at)
    assert demo.view("SK-OPEN").photos
    at = press(at, f"forget-tags-{card}")
    assert f"The card was forgotten; {tags} tags were set aside." in words(at)
    assert demo.view("SK-OPEN").photos == ()


def test_pictures_that_are_not_at_hand_are_said(empty: Workspace, tmp_path: Path) -> None:
    """When the card was taken out, the page says whose pictures are away and what is kept."""
    write_burst(tmp_path / "card", DAY, 3)
    empty.scan(tmp_path / "card", "P1")
    (tmp_path / "card").rename(tmp_path / "elsewhere")
    assert "3 pictures of P1 are not at hand" in words(to_tab(opened("cards"), "Cards"))


# --- tag -------------------------------------------------------------------------------------


def tagging(placement: str = "SK-OPEN", **state: object) -> AppTest:
    return opened("tag", own_tagger="Thandi", own_placement=placement, **state)


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


# --- trays -----------------------------------------------------------------------------------


def test_a_tray_log_edited_with_a_fault_is_refused_with_its_line(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pick-up before the set-out, typed into the third row, names line 4 and changes nothing."""
    before = demo.log_rows(LogKind.TRAYS)
    as_edited(monkeypatch, row=2, picked_up="2026-03-13 06:00")
    at = press(to_tab(opened("trays"), "Tray log", "trays-tabs"), "save-trays")
    [faults] = [frame for frame in frames(at) if "fault" in frame]
    assert faults["line"].tolist() == ["4"]
    assert demo.log_rows(LogKind.TRAYS) == before


def as_edited(monkeypatch: pytest.MonkeyPatch, row: int, **cells: str) -> None:
    """Let the table on the page come back with other cells, as if somebody had typed them."""
    drawn = st.data_editor

    def editor(data: pd.DataFrame, **options: object) -> pd.DataFrame:
        drawn(data, **options)  # type: ignore[call-overload]
        typed = data.copy()
        for name, value in cells.items():
            typed.iloc[row, typed.columns.get_loc(name)] = value  # type: ignore[index]
        return typed

    monkeypatch.setattr(st, "data_editor", editor)


def test_a_tray_log_edited_without_a_fault_is_saved(
    demo: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another mass typed into the first row is kept, and the outcome follows."""
    as_edited(monkeypatch, row=0, food_left_g="3.0")
    at = press(to_tab(opened("trays"), "Tray log", "trays-tabs"), "save-trays")
    assert "The trays log was saved: 0 new, 1 changed, 16 as before." in words(at)
    assert str(demo.trays()[0].food_left_g) == "3.0"


def test_a_tray_is_walked_down_to_its_photos(demo: Workspace) -> None:
    """Rule cell, notes, food numbers, tags with names, and the photos of a chosen deployment."""
    at = opened("trays")
    at.selectbox(key="deployment-0").set_value("SKO-N1").run()
    outcome = demo.outcome("SKO-N1")
    said = words(at)
    assert f"Rule cell: {outcome.cell}" in said
    for note in outcome.notes:
        assert f"Note: {note}" in said
    assert "Nomsa: Hairy-footed gerbil, 1, fed [" in said
    [food] = [frame for frame in frames(at) if "how" in frame]
    numbers = dict(zip(food["what"], food["number"], strict=True))
    # k and r as worked out in demo_images/ABOUT.md
    assert (numbers["moisture k"], numbers["sifting r"]) == ("1.0125", "0.98333")
    photos = [p for seen in outcome.seen for part in seen.parts for p in part.visit.photos]
    pictures = "\n".join(one.value for one in at.html)
    assert all(f"/photo/strip/{photo.id}" in pictures for photo in photos)
    assert all(photo.file.rsplit("/", 1)[-1] in said for photo in photos)


def test_the_trays_are_narrowed_by_site_and_status(demo: Workspace) -> None:
    """Only the pending tray of one site is left in the table."""
    at = opened("trays")
    at.selectbox(key="site").set_value("Skulpkom").run()
    at.multiselect(key="status").set_value([Status.PENDING]).run()
    [table] = [frame for frame in frames(at) if "forager" in frame]
    assert table["deployment"].tolist() == ["SKO-D2"]
    assert len(demo.outcomes()) == 12


# --- results ---------------------------------------------------------------------------------


def test_the_results_are_the_outcomes(demo: Workspace) -> None:
    """The table holds each outcome with its numbers; the ledger counts the same trays."""
    at = opened("results")
    [table] = [frame for frame in frames(at) if "gud_g" in frame]
    rows = table.fillna("").astype(str).to_dict("records")
    assert [{k: r[k] for k in e} for r, e in zip(rows, demo.outcome_rows(), strict=True)] == list(
        demo.outcome_rows()
    )
    [ledger] = [frame for frame in frames(at) if "trays" in frame]
    assert ledger["trays"].tolist()[0] == 12
    assert ledger["trays"].tolist()[1:-1] == [4, 1, 1, 1, 1, 1, 1, 1, 1]


def test_the_results_follow_a_ruling(demo: Workspace) -> None:
    """A tag that was made after the page was opened is in the next look at it."""
    at = opened("results")
    visit = next(one for one in demo.outcome("SKO-D2").seen if not one.held).parts[0].visit
    tagger = tagging(own_show=str(Show.OPEN), own_instructor="yes")
    say_where(tagger, "fed")
    press(tagger, tag_button(tagger, "g"))
    at.run()
    [table] = [frame for frame in frames(at) if "gud_g" in frame]
    [status] = table.loc[table["deployment"] == "SKO-D2", "status"]
    assert status == Status.KEEP
    assert visit.photos


def test_what_is_to_be_put_right_and_the_cautions_are_on_the_results_page(
    demo: Workspace,
) -> None:
    """A tray that no camera watches is found; the cautions begin with who decides."""
    rows = [row for row in demo.log_rows(LogKind.CAMERAS) if row["placement"] != "HR-BUSH"]
    demo.save_rows(LogKind.CAMERAS, rows)
    at = opened("results")
    [found] = [frame for frame in frames(at) if "about" in frame]
    assert "tray T4" in found["about"].tolist()
    assert "Your local rules" in words(at)


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


# --- the chart of the trays ------------------------------------------------------------------


def rows_of(chart: dict[str, Any], layer: int) -> list[dict[str, Any]]:
    name = chart["layer"][layer]["data"]["name"]
    rows: list[dict[str, Any]] = chart["datasets"][name]
    return rows


def test_the_chart_holds_windows_watched_time_and_visits(demo: Workspace) -> None:
    """Twelve windows in local time; the camera that died leaves its window partly unwatched."""
    chart = timeline.chart(demo.outcomes(), demo.species(), demo.zone).to_dict()
    windows = {row["line"]: row for row in rows_of(chart, 0)}
    assert len(windows) == 12
    assert windows["SKO-D1 ● keep"]["from"].startswith("2026-03-14T07:00:00")  # trays.csv, local
    died = [row for row in rows_of(chart, 1) if row["line"].startswith("SKB-D2")]
    assert [row["to"][:16] for row in died] == ["2026-03-15T12:38"]  # demo_images/ABOUT.md
    marks = rows_of(chart, 2)
    waiting = [row["line"] for row in marks if row["who"] == timeline.UNANSWERED]
    assert waiting == ["SKO-D2 … pending"]
    assert {row["where"] for row in marks if row["who"] == "Cape spurfowl"} == {"near", "fed"}


def test_species_are_told_apart_by_shape_as_well_as_colour() -> None:
    """No two of 24 species look alike, and six neighbours never share a shape."""
    for dark in (False, True):
        looks = [timeline.look(at, dark=dark) for at in range(24)]
        assert len(set(looks)) == 24
        assert len({shape for _, shape in looks[:6]}) == 6


def test_a_chart_of_trays_without_visits_or_times_is_drawn(empty: Workspace) -> None:
    """A tray that has no time yet, and no photos, still has its line."""
    log = b"deployment,tray,set_out,picked_up,food_start_g,food_left_g\nD1,T1,,,8,8\n"
    empty.load(LogKind.TRAYS, log, "trays.csv")
    assert "D1" in timeline.label(empty.outcomes()[0])
    at = opened("trays")
    assert "D1: pending: the set-out or pick-up time is missing" in words(at)
