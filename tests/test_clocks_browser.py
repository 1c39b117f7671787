"""The Clocks page in a real browser: a photo is a button, and its watch is read."""

from datetime import timedelta

from browsers import MARKS, Seat, asked, browser, context, page, seat, served, workspace

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS


def test_a_photo_is_clicked_and_its_watch_read(seat: Seat) -> None:
    """In a browser: Tab reaches the pictures, one is pressed, the time typed, the check kept."""
    workspace, page = seat.workspace, seat.page
    was = workspace.clocks.checks("SK-OPEN")
    photo = min(workspace.view("SK-OPEN").photos, key=lambda one: one.file)
    assert photo.camera_time is not None
    page.goto(f"{seat.served.address}/clocks?clock=SK-OPEN")
    group = page.get_by_role("group", name="Photos in which a watch is likely")
    first = group.get_by_role("button").first
    first.wait_for(timeout=60_000)
    first.focus()
    page.keyboard.press("Enter")
    box = page.get_by_label("The true time that the watch shows")
    box.wait_for(timeout=60_000)
    box.fill(f"{photo.camera_time + timedelta(seconds=30):%H:%M:%S}")
    box.press("Enter")
    page.get_by_role("button", name="Keep this clock check").click(timeout=60_000)
    page.get_by_text("The camera showed").first.wait_for(timeout=60_000)
    page.wait_for_function("() => document.body.innerText.includes('Remove')", timeout=60_000)
    kept = [one for one in workspace.clocks.checks("SK-OPEN") if one not in was]
    assert [one.photo for one in kept] == [photo.file]
