"""Who has the keys, in a real browser: Space on a control is no tag, whatever becomes of it."""

from datetime import datetime, timedelta

import pytest
from browsers import (
    MARKS,
    Seat,
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
from builders import write_photo
from playwright.sync_api import Locator, Route

from core.logs import LogKind

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS

AT = """
() => {
  let here = document.activeElement;
  while (here?.shadowRoot?.activeElement) here = here.shadowRoot.activeElement;
  return here === document.body ? '' : here.getAttribute('aria-label') ?? here.innerText;
}
"""
"""Words on whatever has the focus; none where nothing has."""


def walked_to(seat: Seat, control: Locator) -> None:
    """Put the focus on a control as somebody does who walks there with Tab."""
    seat.press("Tab")
    control.focus()


def at(seat: Seat) -> str:
    """Give the words on what has the focus."""
    words: str = seat.page.evaluate(AT)
    return words


def species(seat: Seat) -> list[str]:
    """Give what this person ever tagged, taken back or not."""
    return [tag.species for tag in seat.tags(standing=False)]


def test_undo_pressed_to_its_end_keeps_the_focus_and_never_tags(seat: Seat) -> None:
    """Two deeds, six presses: the button is off then, says so, and is still where the focus is."""
    seat.sit()
    seat.press("ArrowDown", "m", "g")
    seat.has_tags(2)
    undo = seat.page.locator(".undo")
    walked_to(seat, undo)
    seat.press(*["Space"] * 6, gap_ms=60)
    seat.has_tags(0)
    assert undo.get_attribute("aria-disabled") == "true"
    assert at(seat) == "Undo: nothing"
    assert species(seat) == ["m", "g"]
    seat.press("Escape", "Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


def test_next_run_pressed_past_the_last_keeps_the_focus_and_never_tags(seat: Seat) -> None:
    """Six runs, nine presses; a letter then gives the keys to the photos."""
    seat.sit()
    seat.press("ArrowDown")
    walked_to(seat, seat.page.get_by_role("button", name="Next run"))
    seat.press(*["Space"] * 9, gap_ms=60)
    assert (seat.run, at(seat)) == ("Visit 6", "Next run")
    assert species(seat) == []
    seat.press("g", "Space")
    assert [tag.species for tag in seat.has_tags(2)] == ["g", "blank"]


def test_a_button_that_hides_itself_leaves_its_keys_to_nobody(seat: Seat) -> None:
    """Take back takes its own line away: Space and Enter say so until the photos have the keys."""
    seat.sit()
    seat.press("ArrowDown", "m")
    seat.has_tags(1)
    seat.press("PageUp")
    walked_to(seat, seat.page.get_by_role("button", name="Take back").first)
    seat.press("Space")
    seat.has_tags(0)
    seat.press("Space", "Enter", "ArrowRight", "PageDown", "Space", gap_ms=60)
    seat.sees("The button you were at is gone, so Space did nothing.")
    assert species(seat) == ["m"]
    seat.page.locator(".stage").click()
    seat.press("Space")
    assert [tag.species for tag in seat.has_tags(1)] == ["blank"]


@pytest.mark.parametrize("waits", [False, True])
def test_a_slow_press_on_take_back_is_not_lost(seat: Seat, waits: bool) -> None:
    """The loop plays and the tag is answered while the pointer is down: it is one button still."""
    held: list[Route] = []
    seat.sit()
    if waits:
        seat.page.route("**/tagging/acts", lambda route: held.append(route))  # noqa: PLW0108
    seat.press("ArrowDown", "m", "PageUp", "Shift+P")
    back = seat.page.get_by_role("button", name="Take back").first
    box = back.bounding_box()
    assert box
    seat.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    seat.page.mouse.down()
    if waits:
        seat.sees("waiting", ".said")
        for route in held:
            route.continue_()
        seat.page.unroute("**/tagging/acts")
        seat.sees("kept", ".said")
    seat.page.wait_for_timeout(1_500)
    seat.page.mouse.up()
    seat.has_tags(0)
    assert species(seat) == ["m"]


def test_the_strip_keeps_the_focus_where_its_pictures_shift(seat: Seat) -> None:
    """Fourteen photos, eight in the strip: whoever is in it stays in it, in the next run too."""
    seat.placement = "STRIP"
    source = seat.served.folder.parent / "strip"
    for number in range(28):
        shown = datetime(2026, 3, 17, 8) + timedelta(seconds=number, hours=number // 14)  # noqa: DTZ001
        write_photo(source / f"IMG_{number:04}.JPG", shown, shade=7000 + number)
    seat.workspace.scan(source, "STRIP")
    seat.sit()
    walked_to(seat, seat.page.locator(".thumb").nth(1))
    seat.press(*["ArrowRight"] * 10, gap_ms=40)
    assert "Photo 11 of 14" in seat.page.locator(".caption").inner_text()
    assert at(seat) == "7"  # the one on screen when the second left the strip
    seat.press("Space", "Space", gap_ms=40)
    assert "Photo 7 of 14" in seat.page.locator(".caption").inner_text()
    seat.press("PageDown")
    until(lambda: seat.run == "Visit 2")
    seat.press("Space", "Space", gap_ms=40)
    assert at(seat).startswith("1")
    assert species(seat) == []


def test_what_was_refused_is_read_with_space_and_tags_nothing(seat: Seat) -> None:
    """The line goes away under the press; the next Space is nobody's."""
    seat.sit()
    seat.page.route(
        "**/tagging/acts",
        lambda route: route.fulfill(
            json={
                "done": {},
                "refused": {
                    one["id"]: "No." for one in (route.request.post_data_json or {})["acts"]
                },
            }
        ),
    )
    seat.press("Space")
    seat.sees("Not kept: Visit 1, Blank. No.")
    seat.page.unroute("**/tagging/acts")
    walked_to(seat, seat.page.get_by_role("button", name="I have read it"))
    seat.press("Space", "Space", "Space", gap_ms=60)
    seat.page.locator(".faults p").wait_for(state="detached")
    assert species(seat) == []


def test_a_control_keeps_the_focus_while_a_run_is_fetched(seat: Seat) -> None:
    """Nothing can be tagged meanwhile, and what is off keeps the focus: Space stays its own."""
    seat.placement = "LONG"
    seat.sit()
    seat.page.route("**/tagging/runs", lambda route: route.abort())
    walked_to(seat, seat.page.get_by_role("button", name="One animal more"))
    seat.press(*["PageDown"] * 80)
    seat.sees("…", ".panel h2")
    seat.press("Space", "Space", gap_ms=60)
    assert at(seat) == "One animal more"
    seat.page.unroute("**/tagging/runs")
    until(lambda: seat.run.startswith("Visit"))
    seat.press("Space", "Space", gap_ms=60)
    assert seat.page.locator(".count").inner_text() == "3"
    assert species(seat) == []


# --- the question where it was ----------------------------------------------------------------


def test_enter_answers_nothing_before_a_place_is_chosen(seat: Seat) -> None:
    """It says what is missing; left and right wait as every other key does."""
    seat.sit()
    seat.press("m", "Enter", "ArrowRight")
    seat.sees("1 key waiting.")
    seat.press("Enter", "?")
    seat.sees("First say where: Up or Down.")
    assert species(seat) == []
    seat.press("ArrowDown", "Enter")
    assert runs_of(seat.has_tags(1)) == seat.visits()[:1]
    assert "Photo 2 of 3" in seat.page.locator(".caption").inner_text()


def test_a_comment_that_was_begun_meanwhile_is_no_row_of_tags(seat: Seat) -> None:
    """After Shift+C letters are text, also while it is asked where the animal was."""
    seat.sit()
    seat.press("m", "Shift+C", "g", "Space", "m")
    seat.sees("4 keys waiting.")
    seat.press("ArrowDown", "Enter")
    [tag] = seat.has_tags(1)
    assert (tag.species, tag.comment) == ("m", "")
    assert seat.page.get_by_label("Comment on the next tag").input_value() == "g m"
    seat.page.keyboard.type("!")
    seat.press("Escape", "g")
    assert [one.comment for one in seat.has_tags(2)] == ["", "g m!"]


def test_a_species_that_is_a_digit_stays_one_while_it_is_asked_where(seat: Seat) -> None:
    """Digits answer nothing: the second tag is of the species 1."""
    seat.workspace.load(LogKind.SPECIES, b"key,name,role\n1,One,other\n", "species.csv")
    seat.sit()
    seat.press("m", "1", "2", "ArrowDown", "ArrowDown", "ArrowDown", "Enter", gap_ms=40)
    tags = seat.has_tags(2)
    assert [(tag.species, str(tag.where)) for tag in tags] == [("m", "near"), ("1", "near")]
