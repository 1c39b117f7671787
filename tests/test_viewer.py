"""The viewer in a real browser: each key does its thing, and no tag is lost, doubled or misplaced."""

import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from browsers import MARKS, Seat, Served, asked, browser, context, page, runs_of, until
from builders import write_photo
from playwright.sync_api import BrowserContext, Page

from core.logs import LogKind
from core.model import Where
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page"]
pytestmark = MARKS

MANY = 220
"""Visits of placement LONG, one photo each."""


@pytest.fixture(scope="module")
def served(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo with a long card beside it, and one to be forgotten; each test has its own tagger."""
    folder = tmp_path_factory.mktemp("viewer")
    shutil.copytree(built, folder / "study")
    start = datetime(2026, 3, 14, 8, 0)  # noqa: DTZ001  what a camera showed
    for at in range(MANY):
        shown = start + timedelta(minutes=5 * at)
        write_photo(folder / "long" / f"IMG_{at:04}.JPG", shown, shade=300 + at)
    for at in range(6):
        write_photo(folder / "lent" / f"IMG_{at:04}.JPG", start + timedelta(hours=at), shade=9000 + at)
    with Workspace.open(folder / "study") as workspace:
        workspace.scan(folder / "long", "LONG")
        workspace.scan(folder / "lent", "LENT")
        named = "key,name,role\nx,<b>Bold</b> ![a](/b.png) $x$,other\n"
        workspace.load(LogKind.SPECIES, named.encode(), "species.csv")
    here = Served(folder / "study")
    here.start()
    yield here
    here.stop()


@pytest.fixture
def workspace(served: Served) -> Iterator[Workspace]:
    with Workspace.open(served.folder) as opened:
        yield opened


@pytest.fixture
def seat(page: Page, served: Served, workspace: Workspace, request: pytest.FixtureRequest) -> Seat:
    """A tagger of the test's own, not seated yet."""
    return Seat(page, served, workspace, request.node.name.removeprefix("test_")[:60])


# --- what the keys say -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        pytest.param(["ArrowDown", "m"], ("m", 1, Where.FED, True), id="fed"),
        pytest.param(["ArrowDown", "ArrowDown", "g"], ("g", 1, Where.ON_TRAY, True), id="on tray"),
        pytest.param(["ArrowUp", "s"], ("s", 1, Where.NEAR, True), id="near"),
        pytest.param(["ArrowDown", "M"], ("m", 1, Where.FED, True), id="capitals are locked"),
        pytest.param(["ArrowDown", "+", "+", "-", "p"], ("p", 2, Where.FED, True), id="two"),
        pytest.param(["ArrowDown", "Shift+U", "m"], ("m", 1, Where.FED, False), id="not sure"),
        pytest.param(["ArrowDown", "Shift+U", "Shift+U", "m"], ("m", 1, Where.FED, True), id="sure"),
        pytest.param(["Space"], ("blank", None, None, True), id="blank"),
        pytest.param(["ArrowDown", "Space"], ("blank", None, None, True), id="blank is nowhere"),
        pytest.param(["ArrowDown", "."], ("unknown", 1, Where.FED, True), id="unknown"),
        pytest.param(["Shift+H"], ("handler", None, None, True), id="handler"),
        pytest.param(["n", "3"], ("n", 1, Where.NEAR, True), id="asked where, answered by digit"),
        pytest.param(["n", "ArrowDown", "Enter"], ("n", 1, Where.ON_TRAY, True), id="asked, arrows"),
    ],
)
def test_each_key_says_what_it_is_for(
    seat: Seat, keys: list[str], said: tuple[str, int | None, Where | None, bool]
) -> None:
    """Keys alone make the tag of the visit on screen, and the next visit is shown."""
    seat.sit()
    seat.press(*keys)
    [tag] = seat.has_tags(1)
    assert (tag.species, tag.count, tag.where, tag.sure) == said
    assert runs_of([tag]) == seat.visits()[:1]
    assert (tag.ruling, tag.also, tag.comment, tag.origin) == (False, False, "", "Tag page")
    assert seat.run == "Visit 2"


def test_where_stays_and_the_count_does_not(seat: Seat) -> None:
    """Where it was holds until it is changed; how many and how sure are said of one tag only."""
    seat.sit()
    seat.press("ArrowDown", "+", "Shift+U", "m", "g")
    one, other = seat.has_tags(2)
    assert (one.count, one.sure, one.where) == (2, False, Where.FED)
    assert (other.count, other.sure, other.where) == (1, True, Where.FED)


def test_the_question_where_can_be_left(seat: Seat) -> None:
    """Esc tags nothing, and the visit is still on screen."""
    seat.sit()
    seat.press("m")
    seat.sees("where was it?")
    seat.press("g", "Escape")
    seat.sees("Nothing was tagged.")
    assert seat.run == "Visit 1"
    seat.press("Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


def test_another_species_in_the_same_photos_is_added(seat: Seat) -> None:
    """With Shift+A two species stand beside each other, and the visit stays on screen."""
    seat.sit()
    seat.press("ArrowDown", "Shift+A", "m", "g")
    one, other = seat.has_tags(2)
    assert (one.species, other.species) == ("m", "g")
    assert (one.also, other.also) == (True, True)
    assert runs_of([one, other]) == seat.visits()[:1] * 2
    assert seat.run == "Visit 1"
    seat.press("Enter")
    assert seat.run == "Visit 2"


def test_a_comment_is_typed_and_tags_nothing(seat: Seat) -> None:
    """Letters in the comment are letters; Esc leaves it, and the next key is a tag again."""
    seat.sit()
    seat.press("ArrowDown", "Shift+C")
    seat.page.keyboard.type("mmg . h 1 two gerbils")
    seat.press("Escape")
    assert seat.tags() == []
    assert seat.run == "Visit 1"
    seat.press("g")
    [tag] = seat.has_tags(1)
    assert (tag.species, tag.comment) == ("g", "mmg . h 1 two gerbils")
    assert seat.page.get_by_label("Comment on the next tag").input_value() == ""


def test_which_tray_is_asked_where_several_can_be_meant(
    seat: Seat, workspace: Workspace, served: Served
) -> None:
    """Shift with an arrow chooses the tray for this tag; the next tag says none."""
    rows = [dict(row) for row in workspace.log_rows(LogKind.CAMERAS)]
    for row in rows:
        row["trays"] = "T1; T9" if row["placement"] == "SK-OPEN" else row["trays"]
    workspace.save_rows(LogKind.CAMERAS, rows)
    try:
        seat.sit()
        seat.sees("Tray T9", ".trays")
        seat.press("ArrowDown", "Shift+ArrowDown", "Shift+ArrowDown", "m", "m")
        assert [tag.tray for tag in seat.has_tags(2)] == ["T9", ""]
    finally:
        for row in rows:
            row["trays"] = "T1" if row["placement"] == "SK-OPEN" else row["trays"]
        workspace.save_rows(LogKind.CAMERAS, rows)
    assert served.process is not None


# --- looking ---------------------------------------------------------------------------------


def test_the_arrow_keys_show_the_other_photos(seat: Seat) -> None:
    """Right, left, end and home go from photo to photo, and tag nothing."""
    seat.sit()
    for key, number in (("ArrowRight", 2), ("ArrowRight", 3), ("ArrowLeft", 2), ("End", 6), ("Home", 1)):
        seat.press(key)
        seat.page.locator(f".stage img[alt^='Photo {number} of 6 of visit 1, tray T1']").wait_for()
    assert seat.tags() == []


def test_the_original_is_fetched_only_to_be_enlarged(seat: Seat, asked: list[str]) -> None:
    """Nothing is asked of the original until Shift+Z; then it is shown, and arrows move it."""
    seat.sit()
    originals = [url for url in asked if "/photo/original/" in url]
    assert originals == []
    seat.press("Shift+Z")
    large = seat.page.locator(".stage img[src*='/photo/original/']")
    large.wait_for()
    first = seat.page.locator(".holder").get_attribute("style")
    seat.press("ArrowRight", "ArrowDown")
    assert seat.page.locator(".holder").get_attribute("style") != first
    assert seat.page.locator(".stage img").get_attribute("alt", timeout=1000) is not None
    seat.press("Escape")
    seat.page.locator(".stage img[src*='/photo/review/']").wait_for()
    assert seat.tags() == []


def test_the_wheel_enlarges_at_the_pointer(seat: Seat) -> None:
    """What is under the pointer stays under it; the wheel back shows the whole picture."""
    seat.sit()
    box = seat.page.locator(".stage").bounding_box()
    assert box
    seat.page.mouse.move(box["x"] + box["width"], box["y"] + box["height"])
    seat.page.mouse.move(box["x"] + box["width"] - 2, box["y"] + box["height"] - 2)
    seat.page.mouse.wheel(0, -400)
    until(lambda: "scale" in (seat.page.locator(".holder").get_attribute("style") or ""))
    enlarged = seat.page.locator(".holder").bounding_box()
    assert enlarged
    assert enlarged["x"] + enlarged["width"] == pytest.approx(box["x"] + box["width"], abs=8)
    seat.page.mouse.wheel(0, 4000)
    until(lambda: "scale" not in (seat.page.locator(".holder").get_attribute("style") or ""))


def test_light_is_kept_for_the_placement(seat: Seat) -> None:
    """Lighter, darker and lifted shadows change how it is shown, and hold for the next visit."""
    seat.sit()
    seat.press("Shift+L", "Shift+L", "Shift+G")
    seat.sees("shadows lifted", ".caption")
    shown = seat.page.locator(".stage img").evaluate("image => getComputedStyle(image).filter")
    assert "brightness" in shown
    assert "url" in shown
    seat.press("PageDown")
    seat.sees("shadows lifted", ".caption")
    seat.press("Shift+D", "Shift+D", "Shift+G")
    until(lambda: "lifted" not in seat.page.locator(".caption").inner_text())
    assert seat.page.locator(".stage img").evaluate("image => image.style.filter") == ""


def test_the_photos_play_as_a_loop_until_they_are_stopped(seat: Seat) -> None:
    """Shift+P shows one photo after the other, and stands still when it is pressed again."""
    seat.sit()
    seat.press("Shift+P")
    seat.sees("Photo 3 of 6", ".caption")
    seat.press("Shift+P")
    before = seat.page.locator(".caption").inner_text()
    seat.page.wait_for_timeout(1200)
    assert seat.page.locator(".caption").inner_text() == before


def test_with_less_motion_a_loop_does_not_go_on_by_itself(seat: Seat) -> None:
    """Where less motion is asked for, the next visit stands still until its own key press."""
    seat.page.emulate_media(reduced_motion="reduce")
    seat.sit()
    seat.press("Shift+P")
    seat.sees("Photo 2 of 6", ".caption")
    seat.press("PageDown")
    seat.page.wait_for_timeout(1500)
    assert "Photo 1 of 3" in seat.page.locator(".caption").inner_text()


def test_the_key_sheet_opens_and_closes(seat: Seat) -> None:
    """`?` shows every key; while it is open none of them tags, and Esc gives the keys back."""
    seat.sit()
    seat.press("ArrowDown", "?")
    seat.sees("Small letters and digits are your species.")
    seat.press("m", "Space", "Escape")
    seat.page.get_by_role("heading", name="Keys").wait_for(state="hidden")
    assert seat.tags() == []
    seat.press("m")
    assert [tag.species for tag in seat.has_tags(1)] == ["m"]


def test_keys_of_the_pages_own_program_do_nothing_here(seat: Seat) -> None:
    """R does not draw the page again, and C opens no menu."""
    seat.sit()
    sent: list[object] = []
    seat.page.on("websocket", sent.append)
    seat.press("r", "c", "Shift+R")
    seat.page.wait_for_timeout(500)
    assert sent == []
    assert seat.page.get_by_role("dialog").count() == 0
    assert seat.run == "Visit 1"


# --- going -----------------------------------------------------------------------------------


def test_page_keys_go_past_runs_and_enter_finds_the_next_untagged(seat: Seat) -> None:
    """Page Down leaves a visit untagged; Enter goes on from the last to the first untagged."""
    seat.sit()
    seat.press("PageDown", "Space", "PageUp", "PageUp")
    assert seat.run == "Visit 1"
    seat.press("Enter")
    assert seat.run == "Visit 3"
    seat.press("PageDown", "PageDown", "PageDown", "PageDown")
    assert seat.run == "Visit 6"
    seat.press("Enter")
    assert seat.run == "Visit 1"
    assert runs_of(seat.has_tags(1)) == seat.visits()[1:2]


def test_a_tag_said_again_replaces_the_one_before(seat: Seat) -> None:
    """Back at a visit, another key says something else of it, and the next untagged comes."""
    seat.sit()
    seat.press("ArrowDown", "m", "g", "PageUp", "PageUp", "s")
    seat.has_tags(3)
    assert seat.run == "Visit 3"
    seat.press("PageUp", "PageUp")
    assert seat.run == "Visit 1"
    until(lambda: seat.page.locator(".said li").count() == 1)
    seat.sees("You said: Cape spurfowl, 1, fed", ".said")


def test_the_end_of_a_list_is_said(seat: Seat) -> None:
    """After the last visit nothing is left, which is said; undo comes back."""
    seat.sit()
    seat.press(*["Space"] * 6)
    seat.sees("You have tagged every run of this list.")
    seat.press("Space")
    assert runs_of(seat.has_tags(6)) == seat.visits()
    seat.press("Backspace")
    until(lambda: seat.run == "Visit 6")
    assert len(seat.has_tags(5)) == 5


def test_the_time_that_is_left_is_said_after_five_runs(seat: Seat) -> None:
    """Nothing is said of it before; then minutes follow from one's own pace."""
    seat.placement = "LONG"
    seat.sit()
    seat.press(*["Space"] * 4, gap_ms=150)
    assert "left" not in seat.page.locator(".progress").inner_text()
    seat.press(*["Space"] * 4, gap_ms=150)
    seat.sees("minute left", ".progress")
    assert seat.page.locator(".progress").inner_text().startswith(f"9 of {MANY}, not tagged by me")


# --- where keys work -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "place", [".stage", ".panel h2", ".ring", ".caption", ".toggle >> nth=0", ".dial-words"]
)
def test_a_click_anywhere_in_the_viewer_leaves_the_keys_working(seat: Seat, place: str) -> None:
    """Picture, words, buttons: after a click Space is still blank, not another press."""
    seat.sit()
    seat.page.locator(place).click()
    seat.press("Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


@pytest.mark.parametrize("words", ["Instructor", "Order"])
def test_a_click_elsewhere_on_the_page_leaves_the_keys_working(seat: Seat, words: str) -> None:
    """The checkbox above, and a list that was chosen from: the next key is a tag again."""
    seat.sit()
    if words == "Order":
        seat.page.get_by_label("Order").click()
        seat.page.get_by_role("option", name="most changed first").click()
        seat.sees("not tagged by me", ".progress")
        until(lambda: seat.page.evaluate("() => document.activeElement.tagName") != "INPUT")
    else:
        seat.page.get_by_text(words).click()
        seat.page.get_by_text(words).click()
    seat.shown()
    seat.press("Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


def test_typing_a_name_above_never_tags(seat: Seat) -> None:
    """Letters and Enter in the name field are the name's."""
    seat.sit()
    seat.page.get_by_label("Your name").fill("mmm")
    seat.press("m", "g", "Space")
    seat.page.wait_for_timeout(500)
    assert [tag for tag in seat.workspace.view("SK-OPEN").tags if tag.tagger == seat.who] == []


def test_a_control_that_was_walked_to_is_pressed_by_space(seat: Seat) -> None:
    """With the keyboard on a button, Space presses it and tags nothing; letters still tag."""
    seat.sit()
    seat.press("ArrowDown")
    seat.page.locator(".toggle").first.focus()
    seat.press("Tab", "Shift+Tab", "Space")
    seat.page.locator(".toggle[aria-pressed=true]").wait_for()
    assert seat.tags() == []
    seat.press("m")
    assert [tag.sure for tag in seat.has_tags(1)] == [False]


def test_a_key_that_is_held_down_tags_once(seat: Seat) -> None:
    """The repeats of a key that is held are no presses."""
    seat.sit()
    for _ in range(5):
        seat.page.keyboard.down("Space")
    seat.page.keyboard.up("Space")
    assert runs_of(seat.has_tags(1)) == seat.visits()[:1]


# --- nothing lost, nothing doubled -----------------------------------------------------------


def test_two_hundred_keys_in_eight_seconds_are_two_hundred_right_tags(seat: Seat) -> None:
    """Pressed 40 ms apart, each key tags the visit that was on screen when it was pressed."""
    seat.placement = "LONG"
    seat.sit()
    seat.press("ArrowDown")
    keys = [("m", "g", "Space", "s", "n")[at % 5] for at in range(200)]
    seat.press(*keys, gap_ms=40)
    tags = seat.has_tags(200)
    said = {(tag.first_photo, tag.last_photo): tag.species for tag in tags}
    expected = ["blank" if key == "Space" else key for key in keys]
    assert [said.get(run) for run in seat.visits()[:200]] == expected
    assert len(seat.tags(standing=False)) == 200


def test_keys_pressed_while_the_server_is_away_are_kept(seat: Seat, served: Served) -> None:
    """Three tags wait, which is said; when the server is back all three are in the study."""
    seat.sit()
    seat.press("ArrowDown")
    served.stop()
    seat.press("m", "g", "Space")
    seat.sees("3 tags wait for the connection.")
    assert len(seat.waiting()) == 3
    served.start()
    tags = seat.has_tags(3)
    assert [tag.species for tag in tags] == ["m", "g", "blank"]
    assert runs_of(tags) == seat.visits()[:3]
    until(lambda: not seat.page.locator(".lost").is_visible())


def test_a_reload_in_mid_work_loses_nothing(seat: Seat) -> None:
    """Keys, then a reload at once: the tags are there, and the first untagged visit is shown."""
    seat.sit()
    seat.press("ArrowDown", "m", "g", "s")
    seat.page.on("dialog", lambda dialog: dialog.accept())
    seat.sit()
    assert [tag.species for tag in seat.has_tags(3)] == ["m", "g", "s"]
    assert seat.run == "Visit 4"


def test_a_page_that_was_closed_sends_its_tags_when_somebody_is_back(
    seat: Seat, context: BrowserContext
) -> None:
    """Tags that never reached the study wait in the browser, and go from the next page."""
    seat.sit()
    seat.page.route("**/tagging/acts", lambda route: route.abort())
    seat.press("ArrowDown", "m", "g")
    seat.sees("2 tags wait for the connection.")
    seat.page.close()
    assert seat.tags() == []
    seat.page = context.new_page()
    seat.sit()
    assert [tag.species for tag in seat.has_tags(2)] == ["m", "g"]


def test_leaving_with_tags_that_wait_is_warned_of(seat: Seat) -> None:
    """The browser asks before it leaves while a tag waits, and not when none does."""
    seat.sit()
    warned: list[str] = []

    def note(dialog: object) -> None:
        warned.append(dialog.type)  # type: ignore[attr-defined]
        dialog.dismiss()  # type: ignore[attr-defined]

    seat.page.on("dialog", note)
    seat.page.route("**/tagging/acts", lambda route: route.abort())
    seat.press("Space")
    seat.sees("1 tag waits for the connection.")
    seat.page.close(run_before_unload=True)
    until(lambda: warned or seat.page.wait_for_timeout(50))
    assert warned == ["beforeunload"]
    assert not seat.page.is_closed()
    seat.page.unroute("**/tagging/acts")
    seat.has_tags(1)
    seat.page.close(run_before_unload=True)
    until(lambda: seat.page.is_closed() or seat.page.wait_for_timeout(50))
    assert warned == ["beforeunload"]


def test_an_answer_that_is_lost_makes_no_second_tag(seat: Seat) -> None:
    """The study keeps the tag and the answer does not arrive: sent again, it is the same tag."""
    seat.sit()
    lost: list[int] = []

    def lose(route: object) -> None:
        if lost:
            route.continue_()  # type: ignore[attr-defined]
            return
        lost.append(route.fetch().status)  # type: ignore[attr-defined]
        route.abort()  # type: ignore[attr-defined]

    seat.page.route("**/tagging/acts", lose)
    seat.press("Space")
    seat.has_tags(1)
    assert lost == [200]
    assert len(seat.tags(standing=False)) == 1


def test_a_tag_that_is_refused_says_why_and_its_run_is_untagged_again(seat: Seat) -> None:
    """The card was forgotten under the page: nothing is kept, in words, and undo has nothing."""
    seat.placement = "LENT"
    seat.sit()
    card = next(one.id for one in seat.workspace.cards() if one.placement == "LENT")
    seat.workspace.forget_card(card, with_tags=True)
    seat.press("Space")
    seat.sees("Not kept: Visit 1, Blank.")
    assert seat.waiting() == []
    assert seat.page.get_by_role("button", name="Undo: nothing").is_disabled()
    seat.page.get_by_role("button", name="I have read it").click()
    seat.page.locator(".faults li").wait_for(state="detached")


# --- undo and redo ---------------------------------------------------------------------------


def test_undo_and_redo_go_through_the_whole_session(seat: Seat) -> None:
    """Three tags are taken back one by one, over a reload, and hold again one by one."""
    seat.sit()
    seat.press("ArrowDown", "m", "g", "s")
    seat.has_tags(3)
    seat.press("Backspace", "Control+z")
    assert [tag.species for tag in seat.has_tags(1)] == ["m"]
    assert seat.run == "Visit 2"
    seat.sit()
    seat.press("Backspace")
    assert seat.has_tags(0) == []
    assert seat.run == "Visit 1"
    seat.press("Control+y", "Control+Shift+z", "Control+y")
    assert [tag.species for tag in seat.has_tags(3)] == ["m", "g", "s"]
    assert len(seat.tags(standing=False)) == 3
    seat.press("Control+y")
    seat.sees("There is nothing to do again.")


def test_undo_and_redo_say_what_they_would_do(seat: Seat) -> None:
    """The button names the deed; pressed, it does it."""
    seat.sit()
    seat.press("Space")
    seat.has_tags(1)
    seat.page.get_by_role("button", name="Undo: Visit 1: Blank").click()
    assert seat.has_tags(0) == []
    seat.page.get_by_role("button", name="Redo: Visit 1: Blank").click()
    assert len(seat.has_tags(1)) == 1


def test_one_own_tag_is_taken_back_where_it_is_listed(seat: Seat) -> None:
    """Of two species one goes and the other stays; undo brings it back."""
    seat.sit()
    seat.press("ArrowDown", "Shift+A", "m", "g")
    seat.has_tags(2)
    seat.page.get_by_role("button", name="Take back: Four-striped grass mouse").click()
    assert [tag.species for tag in seat.has_tags(1)] == ["g"]
    seat.press("Backspace")
    assert [tag.species for tag in seat.has_tags(2)] == ["m", "g"]


def test_a_new_tag_ends_what_could_be_done_again(seat: Seat) -> None:
    """After an undo another tag is made: redo has nothing left."""
    seat.sit()
    seat.press("Space", "Backspace", "Shift+H", "Control+y")
    assert [tag.species for tag in seat.has_tags(1)] == ["handler"]
    assert seat.page.get_by_role("button", name="Redo: nothing").is_disabled()


# --- splitting and joining -------------------------------------------------------------------


def test_a_run_is_split_before_a_photo_and_each_part_tagged(seat: Seat) -> None:
    """Photos 1 to 3 are one tag, 4 to 6 another; both hold after a reload."""
    seat.sit()
    photos = [one.id for one in seat.workspace.view("SK-OPEN").visits[0].visit.photos]
    seat.press("ArrowRight", "ArrowRight", "ArrowRight", "Shift+S")
    until(lambda: seat.run == "Visit 1, photos 1 to 3 of 6")
    seat.press("ArrowDown", "m")
    until(lambda: seat.run == "Visit 1, photos 4 to 6 of 6")
    seat.press("g")
    tags = seat.has_tags(2)
    assert runs_of(tags) == [(photos[0], photos[2]), (photos[3], photos[5])]
    assert seat.run == "Visit 2"
    seat.sit(show="tagged+by+me")
    assert seat.run == "Visit 1, photos 1 to 3 of 6"


def test_a_split_is_undone_and_holds_over_a_reload(seat: Seat) -> None:
    """Not tagged yet, a split is the browser's own: it is there after a reload, until undone."""
    seat.sit()
    seat.press("ArrowRight", "Shift+S")
    until(lambda: seat.run == "Visit 1, photo 1 of 6")
    seat.sit()
    assert seat.run == "Visit 1, photo 1 of 6"
    seat.press("Backspace")
    until(lambda: seat.run == "Visit 1")
    seat.press("Control+y")
    until(lambda: seat.run == "Visit 1, photo 1 of 6")
    seat.press("PageDown")
    until(lambda: seat.run == "Visit 1, photos 2 to 6 of 6")
    assert seat.tags(standing=False) == []


def test_what_was_said_of_the_whole_is_taken_back_by_a_split(seat: Seat) -> None:
    """It would go on holding beside the parts; undoing the split brings it back."""
    seat.sit()
    seat.press("Space", "PageUp", "ArrowRight", "Shift+S")
    assert seat.has_tags(0) == []
    seat.press("Backspace")
    assert runs_of(seat.has_tags(1)) == seat.visits()[:1]


def test_two_runs_are_joined_and_tagged_as_one(seat: Seat) -> None:
    """One tag lies over both visits; keys that are pressed at once after Shift+J mean the whole."""
    seat.sit()
    seat.press("ArrowDown", "Shift+J", "m")
    [tag] = seat.has_tags(1)
    first, second = seat.visits()[:2]
    assert runs_of([tag]) == [(first[0], second[1])]
    assert seat.run == "Visit 3"
    seat.press("Backspace", "Backspace")
    until(lambda: seat.run == "Visit 1")
    assert seat.has_tags(0) == []


def test_runs_with_another_between_them_are_not_joined(seat: Seat) -> None:
    """Visit 2 is tagged and not in the list any more: 1 and 3 are no neighbours."""
    seat.sit()
    seat.press("PageDown", "Space")
    seat.has_tags(1)
    seat.sit()
    seat.press("Shift+J")
    seat.sees("nothing was joined")
    assert seat.run == "Visit 1"


# --- who sees what ---------------------------------------------------------------------------


def test_a_tagger_sees_no_other_opinion(seat: Seat) -> None:
    """Others tagged this visit: a student sees nothing of it."""
    seat.sit()
    assert any(tag.tagger == "Nomsa" for tag in seat.workspace.view("SK-OPEN").tags)
    assert seat.page.locator(".said li").count() == 0
    assert "Nomsa" not in seat.page.locator(".lastbite").inner_text()


def test_without_a_name_one_may_look_and_not_tag(seat: Seat) -> None:
    """The photos are there; a key tags nothing, and says why."""
    seat.page.goto(f"{seat.served.address}/tag?placement=SK-OPEN")
    seat.shown()
    seat.press("Space")
    seat.sees("Say who you are first")
    assert seat.run == "Visit 1"


def test_names_that_people_wrote_are_shown_as_they_stand(seat: Seat, asked: list[str]) -> None:
    """Markup and picture links in a species name are text, and fetch nothing."""
    seat.sit()
    seat.page.get_by_role("button", name="<b>Bold</b> ![a](/b.png) $x$").wait_for()
    assert [url for url in asked if "b.png" in url] == []


def test_every_picture_has_words(seat: Seat) -> None:
    """Large picture and strip say which photo, which visit, tray, placement and time."""
    seat.sit()
    seat.page.locator(".thumb img").nth(5).wait_for()
    alts = seat.page.locator(".lastbite img").evaluate_all("all => all.map(one => one.alt)")
    assert len(alts) == 7
    assert all("of visit 1, tray T1, placement SK-OPEN, 14 Mar 2026" in alt for alt in alts)


# --- the look --------------------------------------------------------------------------------


def test_all_that_is_needed_fits_a_small_laptop(seat: Seat) -> None:
    """On a screen of 1366 by 768 every species, the answers and undo are seen without scrolling."""
    seat.sit()
    seat.press("Space")
    seat.has_tags(1)
    for place in seat.page.locator(".who:visible, .undo, .redo, .stage, .thumb").all():
        box = place.bounding_box()
        assert box
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= 657


@pytest.mark.parametrize("width", [1024, 390])
def test_a_narrow_window_needs_no_scrolling_sideways(seat: Seat, width: int) -> None:
    """On a small screen and on a phone everything stands inside the window."""
    seat.page.set_viewport_size({"width": width, "height": 800})
    seat.sit()
    for place in seat.page.locator(".lastbite button:visible, .stage, .panel h2").all():
        box = place.bounding_box()
        assert box
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
    wide = "() => document.querySelector('[data-testid=stMain]').scrollWidth"
    assert seat.page.evaluate(wide) <= width


CONTRAST = """
() => {
  const light = (c) => { const v = c / 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const parts = (words) => words.match(/[\\d.]+/g).map(Number);
  const shine = ([r, g, b]) => 0.2126 * light(r) + 0.7152 * light(g) + 0.0722 * light(b);
  const under = (node) => {
    for (let one = node; one; one = one.parentElement ?? one.getRootNode().host) {
      const [r, g, b, a = 1] = parts(getComputedStyle(one).backgroundColor);
      if (a === 1) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const root = document.querySelector('[data-testid^=stBidi]').shadowRoot.querySelector('.lastbite');
  const found = [];
  for (const node of root.querySelectorAll('*')) {
    const words = [...node.childNodes].filter((one) => one.nodeType === 3 && one.data.trim());
    if (!words.length || !node.getClientRects().length || node.closest('svg')) continue;
    const [a, b] = [shine(parts(getComputedStyle(node).color)), shine(under(node))];
    found.push([(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), words[0].data]);
  }
  return found;
}
"""
"""Contrast of each piece of text with what is behind it, by the formula of WCAG 2.2 (from memory)."""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_words_can_be_read_in_light_and_dark(
    seat: Seat, scheme: str
) -> None:
    """Every piece of text has a contrast of at least 4.5 with its ground (WCAG AA)."""
    seat.page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    seat.sit()
    seat.press("ArrowDown", "Shift+A", "m")
    seat.has_tags(1)
    found = seat.page.evaluate(CONTRAST)
    assert len(found) > 30
    assert [(ratio, words) for ratio, words in found if ratio < 4.5] == []
