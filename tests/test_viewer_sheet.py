"""The quiet sheet in a real browser: blank is said by a person who had all of it on screen."""

import pytest
from browsers import (
    MANY,
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

from core.store import Raises
from core.store.tables import SCORES
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS

# --- the quiet sheet -------------------------------------------------------------------------


@pytest.fixture
def sheet(seat: Seat) -> Seat:
    """A tagger before the quiet sheet of the long card, all pictures there."""
    seat.placement = "LONG"
    seat.sit(mode="quiet+sheet")
    return seat


def looked_through(seat: Seat) -> None:
    """Go down the page row by row, and wait until it may be confirmed."""
    until(lambda: "still to come" not in seat.page.locator(".why").inner_text())
    seat.press("Home", *["ArrowDown"] * 6, gap_ms=120)
    seat.page.locator(".confirm:not([aria-disabled])").wait_for()


def least_changed(seat: Seat, first: int, last: int) -> list[tuple[int, int]]:
    """Give the runs that stand at these places of the sheet: the later, the less they changed."""
    return seat.visits()[:-5][::-1][first:last]


def test_the_least_changed_runs_are_confirmed_blank_together(sheet: Seat) -> None:
    """24 tags, blank, from the sheet and by its tagger: one deed, taken back by one undo."""
    seat = sheet
    seat.sees("A still or small animal can be among them: look at each.")
    seat.sees("5 runs are not scored yet")
    looked_through(seat)
    seat.press("Shift+B")
    tags = seat.has_tags(24)
    assert runs_of(tags) == least_changed(seat, 0, 24)
    assert {(tag.species, tag.origin, tag.tagger) for tag in tags} == {
        ("blank", "Quiet sheet", seat.who)
    }
    seat.sees("Page 2 of 9")
    seat.press("PageUp")
    said = seat.page.locator(".tile-box.tagged").first
    until(lambda: said.locator(".pick").inner_text().startswith("kept: blank"))
    label = said.locator(".pick").bounding_box()
    words = said.locator(".tile-words").evaluate(
        "node => { const r = document.createRange(); r.selectNodeContents(node);"
        " return r.getBoundingClientRect().right; }"
    )
    assert label is not None
    assert words <= label["x"]  # the label leaves the time to be read
    seat.press("PageDown")
    seat.sees(f"{MANY - 5 - 24} of {MANY - 5} runs left, not tagged by me", ".progress")
    looked_through(seat)
    seat.press("Shift+B")
    seat.has_tags(48)
    seat.sees("left, not tagged by me, ", ".progress")
    assert "minute left" in seat.page.locator(".progress").inner_text()
    seat.press("Backspace")
    assert len(seat.has_tags(24)) == 24
    seat.sees("Page 2 of 9")
    seat.press("Backspace")
    assert seat.has_tags(0) == []
    seat.sees("Page 1 of 9")
    seat.press("Control+y")
    assert len(seat.has_tags(24)) == 24


def test_the_sheet_is_not_confirmed_before_it_was_looked_at(sheet: Seat) -> None:
    """At once, and before the last row was on screen, nothing is kept, and why is said."""
    seat = sheet
    seat.press("Shift+B")
    seat.page.wait_for_timeout(4_000)
    assert seat.page.locator(".confirm").is_disabled()
    seat.sees("not on screen yet", ".why")
    seat.press("End", "Shift+B")
    seat.page.wait_for_timeout(4_000)
    assert seat.page.locator(".confirm").is_disabled()  # the rows between were never on screen
    looked_through(seat)
    assert seat.tags(standing=False) == []


def test_a_picture_that_does_not_come_holds_the_sheet_back(seat: Seat) -> None:
    """While one of 24 pictures is missing nobody can call the page blank."""
    seat.placement = "LONG"
    [(missing, _)] = least_changed(seat, 7, 8)
    seat.page.route(f"**/photo/review/{missing}?*", lambda route: route.abort())
    seat.sit(mode="quiet+sheet")
    seat.sees("1 picture still to come.", ".why")
    seat.press("End")
    seat.page.wait_for_timeout(4_000)
    assert seat.page.locator(".confirm").is_disabled()
    seat.page.unroute(f"**/photo/review/{missing}?*")
    looked_through(seat)


def test_a_photo_that_cannot_be_shown_is_left_out_of_the_sheet(
    seat: Seat, workspace: Workspace
) -> None:
    """A picture of words is no picture: 23 are confirmed, and the one that nobody saw is not."""
    seat.placement = "LONG"
    [(gone, _)] = least_changed(seat, 3, 4)
    files = {photo.id: photo.file for photo in workspace.view("LONG").photos}
    original = workspace.folder.parent / "long" / files[gone]
    away = original.with_suffix(".away")
    original.rename(away)
    for copy in (workspace.folder / "previews").rglob(f"{gone}-*"):
        copy.unlink()
    try:
        seat.sit(mode="quiet+sheet")
        seat.sees("cannot be shown")
        looked_through(seat)
        seat.page.get_by_role("button", name="These 23 are blank").click()
        assert (gone, gone) not in runs_of(seat.has_tags(23))
    finally:
        away.rename(original)


def test_a_run_is_left_out_of_the_sheet_even_after_a_reload(sheet: Seat) -> None:
    """Space takes the second run out; it stays out over a reload and is not called blank."""
    seat = sheet
    seat.press("ArrowRight", "Space")
    seat.sees("left out", ".grid")
    seat.sit(mode="quiet+sheet")
    seat.sees("left out", ".grid")
    looked_through(seat)
    seat.page.get_by_role("button", name="These 23 are blank").click()
    left_out = least_changed(seat, 1, 2)[0]
    assert left_out not in runs_of(seat.has_tags(23))


def test_a_run_of_the_sheet_is_looked_at_alone(sheet: Seat) -> None:
    """Enter opens it, Esc comes back to its place; tagged there, it is no blank of the sheet."""
    seat = sheet
    seat.press("ArrowRight", "ArrowRight", "Enter")
    seat.shown()
    seat.press("Escape")
    seat.page.locator(".tile:focus").wait_for()
    seat.press("Enter")
    seat.shown()
    seat.press("ArrowDown", "m")
    [tag] = seat.has_tags(1)
    assert runs_of([tag]) == least_changed(seat, 2, 3)
    assert (tag.species, tag.origin) == ("m", "Tag page")
    seat.page.locator(".tile").first.wait_for()
    seat.sees("kept: Four-striped grass mouse, 1, fed", ".grid")
    looked_through(seat)
    seat.page.get_by_role("button", name="These 23 are blank").click()
    assert len(seat.has_tags(24)) == 24


def test_letters_say_nothing_on_the_sheet(sheet: Seat) -> None:
    """A species key, unknown and handler tag nothing there."""
    sheet.press("m", "g", ".", "Shift+H")
    sheet.page.wait_for_timeout(500)
    assert sheet.tags(standing=False) == []


def test_a_tile_says_where_its_photo_changed(seat: Seat) -> None:
    """On the tray or beside it; the sheet says where it ends and how many changed more."""
    first, second = seat.visits()[2:4]
    with seat.workspace._database.begin(Raises.NOTHING) as connection:
        for ends, on_tray, off_tray, whole in ((first, 0.3, 0.1, 0.3), (second, 0.1, 0.6, 0.6)):
            rows = [
                {
                    "photo_id": photo, "method": 1, "basis": "copy", "infrared": False,
                    "whole": whole, "on_tray": on_tray, "off_tray": off_tray, "outline": "[]",
                }
                for photo in range(ends[0], ends[1] + 1)
            ]  # fmt: skip
            connection.execute(SCORES.insert(), rows)
    seat.sit(mode="quiet+sheet")
    seat.sees("changed most on the tray", ".grid")
    assert seat.page.locator(".tile").count() == 1
    seat.sees("1 run changed more and is not here: look one by one.")
    seat.sees("up to 0.4 % of the picture in one place")
    seat.sees("of each run its most different photo is shown")
