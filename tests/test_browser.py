"""The pages in a real browser: a visit is ruled by keys and found in the outcomes."""

from collections.abc import Iterator

import pytest
from browsers import MARKS, Seat, Served, asked, browser, context, page, until
from playwright.sync_api import Page

from core.model import Status
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page"]
pytestmark = MARKS


@pytest.fixture
def seat(page: Page, demo: Workspace) -> Iterator[Seat]:
    """Thandi before the demo."""
    served = Served(demo.folder)
    served.start()
    yield Seat(page, served, demo, "Thandi")
    served.stop()


def to_page(page: Page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).click()


def test_the_disputed_visit_is_ruled_by_keys_and_its_tray_gets_a_density(
    seat: Seat, demo: Workspace
) -> None:
    """The instructor sees what was said, says where and who; pending turns to keep."""
    assert demo.outcome("SKO-D2").status is Status.PENDING
    seat.who = "Dr Botha"
    seat.sit(show="unanswered", instructor="yes")
    seat.sees("State: disputed")
    seat.sees("Nomsa said: Hairy-footed gerbil", ".said")
    seat.press("ArrowDown", "g")
    [tag] = seat.has_tags(1)
    assert tag.ruling
    after = demo.outcome("SKO-D2")
    assert (after.status, after.forager) == (Status.KEEP, "Hairy-footed gerbil")
    seat.sees("State: ruled")
    to_page(seat.page, "Results")
    seat.page.get_by_role("heading", name="One line a tray").wait_for()
    # The table is drawn; what a screen reader hears of it is a table inside the drawing.
    line = seat.page.locator("canvas tr", has_text="SKO-D2")
    line.filter(has_text="keep").filter(has_text="Hairy-footed gerbil").wait_for(state="attached")


def test_the_pictures_are_shown_and_nothing_is_asked_of_the_internet(
    seat: Seat, asked: list[str]
) -> None:
    """Large picture and strip arrive, and every page asks this computer alone."""
    seat.sit()
    arrived = "all => all.length === 7 && all.every(image => image.naturalWidth > 1)"
    until(lambda: seat.page.locator(".lastbite img").evaluate_all(arrived))
    large = seat.page.get_by_alt_text("Photo 1 of 6 of visit 1, tray T1").first
    assert large.evaluate("image => Math.max(image.naturalWidth, image.naturalHeight)") >= 1000
    for name in ("Trays", "Results", "Cards"):
        to_page(seat.page, name)
        seat.page.get_by_role("heading", name=name, exact=True).wait_for()
    seat.page.wait_for_timeout(1_000)
    here = (seat.served.address, "data:", "blob:", "ws://127")
    assert [url for url in asked if not url.startswith(here)] == []


def test_a_double_click_tags_one_visit(seat: Seat) -> None:
    """Two quick clicks on one button are one tag: the next visit is not tagged unseen."""
    seat.sit()
    seat.page.get_by_role("button", name="Blank").dblclick()
    seat.sees("it counts once")
    assert [(tag.first_photo, tag.last_photo) for tag in seat.has_tags(1)] == seat.visits()[:1]
    assert seat.run == "Visit 2"


def test_another_page_and_back_loses_neither_place_nor_undo(seat: Seat) -> None:
    """Results and back: the same visit is on screen, and the last tag can be undone."""
    seat.sit()
    seat.press("Space", "PageDown")
    seat.has_tags(1)
    assert seat.run == "Visit 3"
    to_page(seat.page, "Results")
    seat.page.get_by_role("heading", name="Results", exact=True).wait_for()
    to_page(seat.page, "Tag")
    seat.shown()
    assert seat.run == "Visit 3"
    seat.press("Backspace")
    assert seat.has_tags(0) == []
    assert seat.run == "Visit 1"


def drawn(page: Page) -> None:
    """Wait until a page is whole: what is pressed while it is drawn may be lost."""
    page.locator("canvas").first.wait_for()
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    page.wait_for_timeout(300)


def test_a_tray_leads_to_its_visit(seat: Seat, demo: Workspace) -> None:
    """From the Trays page one visit is looked at; the Tag page shows that one, among all."""
    seat.sit()
    outcome = demo.outcome("SKO-N1")
    to_page(seat.page, "Trays")
    seat.page.get_by_role("heading", name="Trays", exact=True).wait_for()
    drawn(seat.page)
    chosen = seat.page.get_by_role("combobox", name="Walk down deployment")
    chosen.scroll_into_view_if_needed()
    seat.page.wait_for_timeout(500)  # a list that is open closes when the page scrolls
    chosen.fill("SKO-N1")
    seat.page.get_by_role("option", name="SKO-N1").wait_for()
    chosen.press("Enter")
    seat.page.get_by_text(f"SKO-N1: {outcome.status}").wait_for()
    drawn(seat.page)
    look = seat.page.get_by_role("button", name="Look at this visit on the Tag page").last
    look.click()
    seat.shown()
    last = outcome.seen[-1].parts[0].visit
    until(lambda: seat.run == f"Visit {last.number}", lambda: seat.run)
    seat.sees("all visits", ".progress")
