"""The viewer in a real browser: each key does its thing, by the tags that it makes."""

import pytest
from browsers import (
    MANY,
    MARKS,
    Seat,
    Served,
    asked,
    browser,
    context,
    page,
    runs_of,
    seat,
    served,
    until,
    workspace,
)

from core.logs import LogKind
from core.model import Where
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS

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
        pytest.param(
            ["ArrowDown", "Shift+U", "Shift+U", "m"], ("m", 1, Where.FED, True), id="sure"
        ),
        pytest.param(["Space"], ("blank", None, None, True), id="blank"),
        pytest.param(["ArrowDown", "Space"], ("blank", None, None, True), id="blank is nowhere"),
        pytest.param(["ArrowDown", "."], ("unknown", 1, Where.FED, True), id="unknown"),
        pytest.param(["Shift+H"], ("handler", None, None, True), id="handler"),
        pytest.param(["n", "ArrowUp", "Enter"], ("n", 1, Where.NEAR, True), id="asked, up"),
        pytest.param(
            ["n", "ArrowDown", "ArrowDown", "Enter"],
            ("n", 1, Where.ON_TRAY, True),
            id="asked, down",
        ),
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


def test_keys_that_come_while_it_is_asked_where_wait_for_the_answer(seat: Seat) -> None:
    """Pressed 40 ms apart: Space answers nothing; once it is said where, all are done in order."""
    seat.sit()
    seat.press("m", "Space", "g", gap_ms=40)
    seat.sees("2 keys waiting.")
    assert seat.tags() == []
    seat.press("ArrowDown", "ArrowDown", "Enter")
    tags = seat.has_tags(3)
    assert [tag.species for tag in tags] == ["m", "blank", "g"]
    assert [tag.where for tag in tags] == [Where.ON_TRAY, None, Where.ON_TRAY]
    assert runs_of(tags) == seat.visits()[:3]


def test_keys_that_waited_for_an_answer_that_never_came_are_said(seat: Seat) -> None:
    """Esc: nothing is tagged, and how many keys did nothing is told."""
    seat.sit()
    seat.press("m", "Space", "g", "Escape")
    seat.sees("Nothing was tagged. 2 keys pressed since did nothing.")
    assert seat.tags(standing=False) == []


@pytest.mark.parametrize("name", ["Take back", "Undo", "Next run"])
def test_space_on_a_button_that_went_away_never_tags(seat: Seat, name: str) -> None:
    """Walked to with Tab and pressed until it is gone or off: Space says so, and tags nothing."""
    seat.sit()
    seat.press("ArrowDown", "m")
    seat.has_tags(1)
    seat.press("PageUp")
    control = seat.page.get_by_role("button", name=name).first
    seat.press("Tab")
    control.focus()
    for _ in range(12):
        seat.press("Space", gap_ms=30)
    seat.page.wait_for_timeout(2_500)  # the page has drawn itself anew by now
    seat.press("Space")
    assert {tag.species for tag in seat.tags(standing=False)} == {"m"}
    seat.press("Escape", "g")
    until(lambda: any(tag.species == "g" for tag in seat.tags()))


def test_take_back_keeps_the_focus_while_the_page_draws_itself(seat: Seat) -> None:
    """Two seconds later, the loop playing: it is the same button, and it takes the tag back."""
    seat.sit()
    seat.press("ArrowDown", "m")
    seat.has_tags(1)
    seat.press("PageUp", "Shift+P", "Tab")
    seat.page.get_by_role("button", name="Take back").first.focus()
    seat.page.wait_for_timeout(4_500)
    seat.press("Space")
    seat.has_tags(0)
    assert [tag.species for tag in seat.tags(standing=False)] == ["m"]


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
    for key, number in (
        ("ArrowRight", 2),
        ("ArrowRight", 3),
        ("ArrowLeft", 2),
        ("End", 6),
        ("Home", 1),
    ):
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
    seat.page.mouse.move(box["x"] + box["width"] - 2, box["y"] + box["height"] / 2)
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
    seat.page.on("websocket", lambda socket: sent.append(socket))  # noqa: PLW0108  a plain function
    seat.press("r", "c", "Shift+R")
    seat.page.wait_for_timeout(500)
    assert sent == []
    assert seat.page.get_by_role("dialog").count() == 0
    assert seat.run == "Visit 1"


def test_what_changed_is_outlined_when_it_is_asked_for(seat: Seat) -> None:
    """Shift+O marks it on a photo that was compared; of others it says how it is with them."""
    seat.sit()
    assert seat.page.locator(".marks .change").count() == 0
    seat.press("Shift+O")
    seat.page.locator(".marks .change").wait_for(state="attached")
    mark = seat.page.locator(".marks .change").bounding_box()
    picture = seat.page.locator(".stage img").bounding_box()
    assert mark
    assert picture
    # The picture is 4 to 3 and as high as the stage: 0.3 of its width from its left edge.
    wide = picture["height"] / 3 * 4
    left = picture["x"] + (picture["width"] - wide) / 2
    assert mark["x"] == pytest.approx(left + 0.3 * wide, abs=4)
    assert mark["width"] == pytest.approx(0.3 * wide, abs=8)
    seat.press("Shift+O", "ArrowRight", "Shift+O")
    seat.sees("Nothing stands out")
    seat.press("Shift+O", "ArrowRight", "Shift+O")
    seat.sees("not compared with its quiet scene yet")


def test_night_photos_keep_a_light_of_their_own(seat: Seat) -> None:
    """What was lifted on an infrared photo is not lifted on one by daylight."""
    seat.sit()
    seat.press("ArrowRight", "Shift+G")
    seat.sees("infrared, DUNE0005.JPG (shown shadows lifted)", ".caption")
    seat.press("ArrowLeft")
    seat.sees("daylight, DUNE0004.JPG", ".caption")
    assert "lifted" not in seat.page.locator(".caption").inner_text()
    seat.press("ArrowRight")
    seat.sees("shadows lifted", ".caption")


def test_the_outline_of_the_tray_is_put_right_with_keys(seat: Seat) -> None:
    """Arrows move it, + makes it larger, Enter keeps it; Esc keeps nothing."""
    seat.sit()
    seat.press("Shift+T", "ArrowRight", "ArrowDown", "+", "]", "Escape")
    seat.sees("left as it was")
    assert seat.workspace.outlines("SK-OPEN") == []
    seat.press("Shift+T", "ArrowRight", "ArrowRight", "ArrowDown", "Shift+ArrowRight", "]", "m")
    seat.press("Enter")
    seat.sees("The outline is kept for this placement.")
    [drawn] = seat.workspace.outlines("SK-OPEN")
    # It begins at 0.5, 0.38 with radii 0.2 and 0.14; a press is 0.004 of the width, or a degree.
    assert (drawn.tray, drawn.by) == ("T1", seat.who)
    assert (drawn.cx, drawn.cy) == pytest.approx((0.508, 0.384))
    assert (drawn.rx, drawn.ry, drawn.angle) == pytest.approx((0.204, 0.14, 1))
    assert seat.tags() == []


def test_the_outline_of_the_tray_is_dragged(seat: Seat) -> None:
    """Its middle follows the pointer, in parts of the picture's width."""
    seat.placement = "HR-BUSH"
    seat.sit()
    seat.press("Shift+T")
    middle = seat.page.locator(".handle.centre").bounding_box()
    picture = seat.page.locator(".stage").bounding_box()
    assert middle
    assert picture
    wide = picture["height"] / 3 * 4
    x, y = middle["x"] + middle["width"] / 2, middle["y"] + middle["height"] / 2
    seat.page.mouse.move(x, y)
    seat.page.mouse.down()
    seat.page.mouse.move(x + 0.1 * wide, y + 0.05 * wide, steps=4)
    seat.page.mouse.up()
    seat.page.get_by_role("button", name="Save").click()
    seat.sees("The outline is kept for this placement.")
    [drawn] = seat.workspace.outlines("HR-BUSH")
    assert (drawn.cx, drawn.cy) == pytest.approx((0.6, 0.43), abs=0.01)


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
