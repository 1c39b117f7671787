"""The pages in a real browser: a visit is tagged by clicking and found in the outcomes."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, sync_playwright
from test_server import free_port, started

from app import server
from app.demo import build_demo
from core.model import Status
from core.workspace import Workspace

BROWSER = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome")
     if (found := shutil.which(name))),
    None,
)  # fmt: skip
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium is installed to drive the page with"),
]


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    with build_demo(tmp_path / "demo") as workspace:
        yield workspace


@pytest.fixture
def address(study: Workspace) -> Iterator[str]:
    port = free_port()
    process = started(study.folder, port)
    yield f"http://{server.ADDRESS}:{port}"
    process.terminate()
    process.communicate(timeout=20)


@pytest.fixture
def asked() -> list[str]:
    """Every address that the browser asked for."""
    return []


@pytest.fixture
def page(asked: list[str]) -> Iterator[Page]:
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=FLAGS)
        context = browser.new_context(viewport={"width": 1366, "height": 657})
        context.on("request", lambda request: asked.append(request.url))
        context.set_default_timeout(30_000)
        yield context.new_page()
        browser.close()


def to_page(page: Page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).click()


def sit_down(page: Page, address: str, name: str, placement: str) -> None:
    """Open the Tag page as somebody, at a placement."""
    page.goto(address)
    to_page(page, "Tag")
    page.get_by_label("Your name").fill(name)
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Blank").wait_for()
    page.get_by_label("Placement").click()
    page.get_by_role("option", name=placement, exact=True).click()
    page.get_by_alt_text(f"placement {placement},").first.wait_for()


def test_the_disputed_visit_is_ruled_by_clicking_and_its_tray_gets_a_density(
    page: Page, address: str, study: Workspace
) -> None:
    """The instructor looks, says where and who; the outcome table turns from pending to keep."""
    assert study.outcome("SKO-D2").status is Status.PENDING
    sit_down(page, address, "Dr Botha", "SK-OPEN")
    page.get_by_text("Instructor").click()
    page.get_by_text("State: agreed").wait_for()
    page.get_by_role("button", name="Next unanswered").click()
    page.get_by_text("State: disputed").wait_for()
    page.get_by_text("Nomsa said: Hairy-footed gerbil").wait_for()
    page.get_by_role("radio", name="fed", exact=True).click()
    page.get_by_role("button", name="Hairy-footed gerbil").click()
    page.get_by_text("State: disputed").wait_for(state="detached")
    after = study.outcome("SKO-D2")
    assert (after.status, after.forager) == (Status.KEEP, "Hairy-footed gerbil")
    to_page(page, "Results")
    page.get_by_role("heading", name="One line a tray").wait_for()
    # The table is drawn; what a screen reader hears of it is a table inside the drawing.
    line = page.locator("canvas tr", has_text="SKO-D2")
    line.filter(has_text="keep").filter(has_text="Hairy-footed gerbil").wait_for(state="attached")


def test_the_pictures_are_shown_and_nothing_is_asked_of_the_internet(
    page: Page, address: str, asked: list[str]
) -> None:
    """Large picture and strip arrive, and every page asks this computer alone."""
    sit_down(page, address, "Thandi", "SK-OPEN")
    page.wait_for_function(
        "() => [...document.querySelectorAll('img[src^=\"/photo/\"]')].length > 5 &&"
        " [...document.querySelectorAll('img[src^=\"/photo/\"]')].every(i => i.naturalWidth > 1)"
    )
    large = page.get_by_alt_text("Photo 1 of 6 of visit 1, tray T1").first
    assert large.evaluate("image => image.naturalWidth") == 1280
    for name in ("Trays", "Results", "Cards"):
        to_page(page, name)
        page.get_by_role("heading", name=name, exact=True).wait_for()
    page.wait_for_timeout(1_000)
    elsewhere = [
        url for url in asked if not url.startswith((address, "data:", "blob:", "ws://127"))
    ]
    assert elsewhere == []


def test_a_double_click_tags_one_visit(page: Page, address: str, study: Workspace) -> None:
    """Two quick clicks on one button are one tag: the next visit is not tagged unseen."""
    sit_down(page, address, "Thandi", "SK-OPEN")
    page.get_by_role("button", name="Blank").dblclick()
    page.get_by_text("1 of 5").wait_for()
    page.wait_for_timeout(1_500)
    tags = [tag for tag in study.view("SK-OPEN").tags if tag.tagger == "Thandi"]
    first = study.view("SK-OPEN").visits[0].visit.photos[0].id
    assert [(tag.species, tag.first_photo) for tag in tags] == [("blank", first)]


def test_the_arrow_keys_show_the_other_photos_of_a_visit(page: Page, address: str) -> None:
    """Right and left go from photo to photo without tagging."""
    sit_down(page, address, "Thandi", "SK-OPEN")
    page.mouse.click(5, 400)
    page.keyboard.press("ArrowRight")
    page.locator("img[src^='/photo/review/'][alt^='Photo 2 of 6']").wait_for()
    page.keyboard.press("ArrowLeft")
    page.locator("img[src^='/photo/review/'][alt^='Photo 1 of 6']").wait_for()
