"""Proposals from codes in a real browser: the code is outlined, accepted, refused, taken back."""

from collections.abc import Iterator

import pytest
from browsers import MARKS, Served, asked, browser, context, page, until
from code_study import of_kind, read, study
from playwright.sync_api import Page, expect

from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page", "read", "study"]
pytestmark = MARKS


@pytest.fixture
def served(read: Workspace) -> Iterator[Served]:
    """The study whose photos were looked at, on its page."""
    here = Served(read.folder)
    here.start()
    yield here
    here.stop()


def test_a_proposal_is_accepted_refused_and_taken_back(
    page: Page, asked: list[str], served: Served, read: Workspace
) -> None:
    """Beside its photo, with the code in an outline; nothing is asked of any other computer."""
    page.goto(f"{served.address}/clocks")
    name = page.get_by_label("Your name")
    name.fill("Nomsa")
    name.press("Enter")
    first = page.get_by_text("The camera showed 2026-03-14 17:02:40 when it was")
    first.wait_for()
    assert_outlined(page, read)

    page.locator(".st-key-code-yes-P1-0 button").click()
    expect(page.get_by_text("accepted, Nomsa")).to_be_visible(timeout=30_000)
    until(lambda: len(read.clocks.checks("P1")) == 1)
    page.locator(".st-key-code-no-P1-0 button").click()
    expect(page.get_by_text("not this, Nomsa")).to_be_visible(timeout=30_000)
    until(lambda: of_kind(read, "clock") == [])
    for left in (1, 0):
        page.get_by_role("button", name="Take back").first.click()
        taken = page.get_by_text("Taken back by Nomsa")
        expect(taken).to_have_count(2 - left, timeout=30_000)
        assert len(standing(read)) == left
    assert read.clocks.checks("P1") == []
    assert len(of_kind(read, "clock")) == 2
    others = [one for one in asked if not one.startswith((served.address, "data:", "blob:"))]
    assert others == []


def standing(workspace: Workspace) -> list[int]:
    """Give the numbers of the decisions that hold."""
    return [one.number for one in workspace.codes.history() if one.taken_back is None]


def assert_outlined(page: Page, workspace: Workspace) -> None:
    """Look where the outline of the first photo is drawn: over the code, in any size of window."""
    waiting = workspace.codes.waiting("P1")
    offer = waiting.offers[0]
    link = page.locator(f"a[href='/photo/original/{offer.photo}']").first
    photo, outline = link.locator("img").nth(0), link.locator("img").nth(1)
    photo.scroll_into_view_if_needed()
    until(lambda: photo.evaluate("image => image.complete && image.naturalWidth > 1"))
    until(lambda: outline.evaluate("image => image.complete && image.naturalWidth > 0"))
    under, over = photo.bounding_box(), outline.bounding_box()
    assert under is not None
    assert over is not None
    assert (over["x"], over["y"], over["width"]) == pytest.approx(
        (under["x"], under["y"], under["width"]), abs=1
    )
    # It is twice as high as wide, so that a length of 1 is one width of the picture both ways.
    assert over["height"] == pytest.approx(2 * over["width"], abs=2)
    [corners] = waiting.outlines(offer.photo)
    drawn = outline.get_attribute("src") or ""
    assert all(f"{x:.4f}%2C{y:.4f}" in drawn for x, y in corners)
