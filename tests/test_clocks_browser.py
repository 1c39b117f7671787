"""The Clocks page in a real browser: a watch in a photo is read, a clock is put right by keys."""

from datetime import timedelta
from typing import Literal

import pytest
from browsers import MARKS, Seat, asked, browser, context, page, seat, served, until, workspace
from playwright.sync_api import Page
from test_axe import faults
from test_clocks_page import shift_display

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS
RUNNING = "[data-testid=stStatusWidget], [data-stale=true]"


def settled(page: Page) -> None:
    """Wait until the page is drawn anew and nothing of it is faded any more."""
    until(lambda: page.locator(RUNNING).count() == 0, patience_s=60)
    page.wait_for_function(
        "() => document.getAnimations().every(one => one.playState !== 'running')", timeout=60_000
    )


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


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_clock_is_put_right_and_back_by_keys_alone(
    seat: Seat, scheme: Literal["light", "dark"]
) -> None:
    """In a browser: name, why and Accept by keys; taken back likewise; no serious fault by axe."""
    page, clocks = seat.page, seat.workspace.clocks
    made = len(clocks.history())
    shift_display(seat.served.folder, "HR-OPEN", timedelta(days=-4018))
    page.emulate_media(color_scheme=scheme)
    page.goto(f"{seat.served.address}/clocks?clock=HR-OPEN")
    page.get_by_role("heading", name="The year is wrong").wait_for(timeout=60_000)
    name = page.get_by_label("Your name")
    name.fill(seat.who)
    name.press("Enter")
    why = page.get_by_label("Why (what you saw)")
    why.fill("a phone in DUNE0001")
    why.press("Enter")
    settled(page)
    assert faults(page) == []
    accept = page.get_by_role("button", name="Accept").first
    until(accept.is_enabled)
    why.press("Tab")
    assert accept.evaluate("button => button === document.activeElement")
    page.keyboard.press("Enter")
    until(lambda: len(clocks.history()) > made, patience_s=60)
    kept = clocks.history()[-1]
    assert kept.by == seat.who
    assert kept.why.endswith(". a phone in DUNE0001")
    back = page.get_by_role("button", name="Take back").last
    back.wait_for(timeout=60_000)
    settled(page)
    assert faults(page) == []
    back.focus()
    page.keyboard.press("Enter")
    until(lambda: clocks.history()[-1].taken_back is not None, patience_s=60)
    shift_display(seat.served.folder, "HR-OPEN", timedelta(days=4018))
