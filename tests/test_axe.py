"""No page has a serious fault of accessibility, by axe-core's rules, in light and dark."""

from typing import Any, Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from browsers import MARKS, Seat, Served, browser, served, until, workspace
from playwright.sync_api import Browser, Page, Route

from core.workspace import Workspace

__all__ = ["browser", "served", "workspace"]
pytestmark = MARKS
SERIOUS = {"serious", "critical"}
Scheme = Literal["light", "dark"]


def faults(page: Page) -> list[str]:
    """Give the serious faults that axe-core finds, each with the first place."""
    found: list[dict[str, Any]] = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found if one["impact"] in SERIOUS
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_tag_page_has_no_serious_fault(
    browser: Browser, served: Served, workspace: Workspace, scheme: Scheme
) -> None:
    """The viewer, its question, key sheet, tray editor and faults, and the quiet sheet."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1366, "height": 657})
    seat = Seat(context.new_page(), served, workspace, f"Axe {scheme}").sit()
    assert faults(seat.page) == []
    seat.press("m")
    assert faults(seat.page) == []
    seat.press("Escape", "?")
    seat.page.get_by_role("dialog").wait_for()
    assert faults(seat.page) == []
    seat.press("Escape")
    seat.press("Shift+T")
    seat.page.get_by_role("button", name="Turn left").wait_for()
    assert faults(seat.page) == []
    seat.press("Escape")
    seat.page.route("**/tagging/acts", refuse)
    seat.press("Space")
    seat.sees("Not kept: Visit 1, Blank. No.")
    assert faults(seat.page) == []
    seat.page.get_by_role("button", name="I have read it").click()
    seat.page.unroute("**/tagging/acts")
    seat.placement = "LONG"
    seat.sit(mode="quiet+sheet")
    assert faults(seat.page) == []
    context.close()


def refuse(route: Route) -> None:
    """Refuse all acts that are sent."""
    sent = (route.request.post_data_json or {})["acts"]
    route.fulfill(json={"done": {}, "refused": {one["id"]: "No." for one in sent}})


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_instructor_s_view_has_no_serious_fault(
    browser: Browser, served: Served, workspace: Workspace, scheme: Scheme
) -> None:
    """What others said is listed there, with its state, and can be taken back."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1366, "height": 657})
    seat = Seat(context.new_page(), served, workspace, f"Dr Axe {scheme}").sit(instructor="yes")
    seat.page.locator(".said li").first.wait_for()
    seat.sees("State: ")
    assert faults(seat.page) == []
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["cards", "clocks", "trays", "results"])
def test_the_other_pages_have_no_serious_fault(
    browser: Browser, served: Served, name: str, scheme: Scheme
) -> None:
    """Cards, clocks, trays and results of the demo."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1366, "height": 657})
    page = context.new_page()
    page.goto(f"{served.address}/{'' if name == 'cards' else name}")
    page.get_by_role("heading").first.wait_for(timeout=30_000)
    until(lambda: page.locator("[data-testid=stStatusWidget]").count() == 0, patience_s=40)
    page.wait_for_timeout(1500)
    assert faults(page) == []
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_of_a_class_have_no_serious_fault(
    browser: Browser, served: Served, scheme: Scheme
) -> None:
    """Settle with a visit, a reference, its keys and lists, then each tab of the Class page."""
    context = browser.new_context(color_scheme=scheme, viewport={"width": 1366, "height": 657})
    page = context.new_page()
    page.goto(f"{served.address}/settle?instructor=yes")
    page.get_by_label("Your name").fill("Dr Botha")
    page.get_by_label("Your name").press("Enter")
    page.locator(".lastbite.settle[data-of='ready']").wait_for(timeout=30_000)
    page.locator(".side").first.wait_for()
    page.wait_for_timeout(1000)
    assert faults(page) == []
    page.keyboard.press("Shift+R")
    page.keyboard.press("g")
    page.locator(".ref-one").first.wait_for()
    assert faults(page) == []
    for key, words in (("?", "Keys"), ("Shift+L", "No ruling stands."), ("Shift+G", "here")):
        page.keyboard.press(key)
        page.get_by_role("dialog").get_by_text(words).first.wait_for()
        assert faults(page) == []
        page.keyboard.press("Escape")
    page.locator(".ref-one button").first.click()
    page.get_by_role("link", name="Class").click()
    for tab in ("Agreement", "Sheets", "People", "Handing out"):
        page.get_by_role("tab", name=tab).click(timeout=30_000)
        page.wait_for_timeout(500)
        until(lambda: page.locator("[data-testid=stStatusWidget]").count() == 0, patience_s=40)
        page.wait_for_timeout(1000)
        assert faults(page) == []
    context.close()
