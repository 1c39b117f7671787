"""A real browser, served studies and somebody who sits before them."""

import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from subprocess import Popen

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, sync_playwright
from test_server import free_port, started

from app import server
from core.model import Tag
from core.workspace import Workspace

PATIENCE_S = 20.0
CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome")
     if (found := shutil.which(name))),
    None,
)  # fmt: skip
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
MARKS = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed to drive the page with"),
]
LAPTOP = {"width": 1366, "height": 657}
"""What a browser leaves of a screen of 1366 by 768."""


@dataclass
class Served:
    """A study and the server of its pages, which can be stopped and started again."""

    folder: Path
    port: int = field(default_factory=free_port)
    process: "Popen[str] | None" = None

    @property
    def address(self) -> str:
        """Give where it is served."""
        return f"http://{server.ADDRESS}:{self.port}"

    def start(self) -> None:
        """Serve it, at the same address as before."""
        self.process = started(self.folder, self.port)

    def stop(self) -> None:
        """End the server."""
        if self.process is not None:
            self.process.terminate()
            self.process.communicate(timeout=20)
            self.process = None


@dataclass
class Seat:
    """Somebody before the Tag page."""

    page: Page
    served: Served
    workspace: Workspace
    who: str
    placement: str = "SK-OPEN"

    def sit(self, **choices: str) -> "Seat":
        """Open the Tag page, say who it is, and wait for the first picture."""
        asked = "".join(f"&{name}={value}" for name, value in choices.items())
        self.page.goto(f"{self.served.address}/tag?placement={self.placement}{asked}")
        name = self.page.get_by_label("Your name")
        name.fill(self.who)
        name.press("Enter")
        self.page.locator(f".lastbite[data-of='{self.who}|{self.placement}|here']").wait_for()
        self.shown()
        return self

    def shown(self) -> None:
        """Wait until the large picture is there."""
        picture = self.page.locator(".stage img")
        picture.wait_for()
        until(lambda: picture.evaluate("image => image.complete && image.naturalWidth > 1"))

    def press(self, *keys: str, gap_ms: float = 0) -> None:
        """Press keys one after the other."""
        for key in keys:
            self.page.keyboard.press(key)
            if gap_ms:
                self.page.wait_for_timeout(gap_ms)

    def tags(self, *, standing: bool = True) -> list[Tag]:
        """Give the tags that this person has in the study."""
        made = self.workspace.view(self.placement).tags
        return [tag for tag in made if tag.tagger == self.who and not (standing and tag.taken_back)]

    def has_tags(self, count: int) -> list[Tag]:
        """Wait until so many tags stand, and no act waits."""
        until(lambda: len(self.tags()) == count, lambda: f"{self.tags()} {self.status}")
        until(lambda: not self.waiting(), lambda: self.status)
        return self.tags()

    def waiting(self) -> list[str]:
        """Give what this browser keeps for the study until it is answered."""
        found: list[str] = self.page.evaluate(
            "() => Object.keys(localStorage).filter(name => name.includes(':act:'))"
        )
        return found

    @property
    def status(self) -> str:
        """Give what the status line says."""
        return self.page.locator(".live").inner_text()

    @property
    def run(self) -> str:
        """Give the name of the run on screen."""
        return self.page.locator(".panel h2").inner_text()

    def sees(self, words: str, of: str = ".lastbite") -> Locator:
        """Wait until words are on screen."""
        there = self.page.locator(of).get_by_text(words).first
        there.wait_for()
        return there

    def visits(self) -> list[tuple[int, int]]:
        """Give the first and last photo of each visit of the placement."""
        found = [one.visit.photos for one in self.workspace.view(self.placement).visits]
        return [(photos[0].id, photos[-1].id) for photos in found]


def until(holds: Callable[[], object], words: Callable[[], object] = lambda: "") -> None:
    """Wait until something holds."""
    end = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end, words()
        time.sleep(0.05)


def runs_of(tags: Sequence[Tag]) -> list[tuple[int, int]]:
    """Give the first and last photo of tags."""
    return [(tag.first_photo, tag.last_photo) for tag in tags]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    opened = browser.new_context(viewport={"width": 1366, "height": 657})
    opened.set_default_timeout(30_000)
    yield opened
    opened.close()


@pytest.fixture
def asked(context: BrowserContext) -> list[str]:
    """Every address that the browser asked for."""
    addresses: list[str] = []
    context.on("request", lambda request: addresses.append(request.url))
    return addresses


@pytest.fixture
def page(context: BrowserContext, asked: list[str]) -> Page:  # noqa: ARG001
    return context.new_page()
