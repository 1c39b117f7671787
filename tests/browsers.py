"""A real browser, served studies and somebody who sits before them."""

import contextlib
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from builders import write_photo
from playwright.sync_api import Browser, BrowserContext, Locator, Page, sync_playwright
from test_server import ask, free_port

from app import server
from core.logs import LogKind
from core.model import Tag
from core.store import Raises
from core.store.tables import SCORES
from core.workspace import Workspace

PATIENCE_S = 20.0
UNSCORED = """
from app.cli import main
from app.making import Maker
Maker._score = Maker._survey_next = lambda *_: None
main()
"""
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
CONNECTED = (
    "[data-testid=stApp][data-test-connection-state=CONNECTED][data-test-script-state=notRunning]"
)
NO_DIALOG = """() => [...document.querySelectorAll('[role="dialog"], dialog[open]')]
  .every(one => !one.getClientRects().length)"""
KEPT_NAME = """() => {
  const kept = Object.entries(sessionStorage).find(([name]) => name.endsWith(":who"));
  return kept ? JSON.parse(kept[1])[0] : "";
}"""
WIDE, HIGH = 1366, 657
"""What a browser leaves of a screen of 1366 by 768."""


@dataclass
class Served:
    """A study and the server of its pages, which can be stopped and started again."""

    folder: Path
    port: int = field(default_factory=free_port)
    process: "subprocess.Popen[str] | None" = None

    @property
    def address(self) -> str:
        """Give where it is served."""
        return f"http://{server.ADDRESS}:{self.port}"

    def start(self) -> None:
        """Serve it, at the same address as before; no photo is scored or surveyed beside."""
        said = ["page", str(self.folder), "--no-browser", "--port", str(self.port)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", UNSCORED, *said],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=Path(server.__file__).parent.parent,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )
        until(self.answers, lambda: "the server did not start", patience_s=60)

    def answers(self) -> bool:
        """Say whether the server is there."""
        try:
            return ask(self.port, "/_stcore/health").status == 200
        except OSError:
            return False

    def crash(self) -> None:
        """End the server at once, as when its computer goes off.

        After three seconds without it Streamlit shows a dialog, which has the keys.
        """
        assert self.process is not None
        self.process.kill()
        self.process.communicate(timeout=20)
        self.process = None

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
        name.wait_for()
        kept = self.page.evaluate(KEPT_NAME)
        if kept:  # this tab gives it again by itself, unless it is of another study
            with contextlib.suppress(AssertionError):
                until(lambda: name.input_value() == kept, patience_s=4)
        if name.input_value() != self.who:
            name.fill(self.who)
            name.press("Enter")
        self.page.locator(f".lastbite[data-of='{self.who}|{self.placement}|here']").wait_for()
        if choices.get("mode") == "quiet+sheet":
            self.page.locator(".tile").first.wait_for()
        else:
            self.shown()
        return self

    def reconnected(self) -> None:
        """Wait until the page has its server again, and the dialog that says so is gone."""
        self.page.locator(CONNECTED).wait_for(timeout=60_000)
        self.page.wait_for_function(NO_DIALOG)
        self.page.locator(f".lastbite[data-of='{self.who}|{self.placement}|here']").wait_for()

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


def until(
    holds: Callable[[], object],
    words: Callable[[], object] = lambda: "",
    patience_s: float = PATIENCE_S,
) -> None:
    """Wait until something holds."""
    end = time.monotonic() + patience_s
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
    opened = browser.new_context(viewport={"width": WIDE, "height": HIGH})
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


# --- a study that each test has a tagger of its own in -------------------------------------------

MANY = 220
"""Visits of placement LONG, one photo each."""


@pytest.fixture(scope="module")
def served(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo, a long card, and one to be forgotten; each test has a tagger of its own."""
    folder = tmp_path_factory.mktemp("viewer")
    shutil.copytree(built, folder / "study")
    start = datetime(2026, 3, 14, 8, 0)  # noqa: DTZ001  what a camera showed
    for at in range(MANY):
        shown = start + timedelta(minutes=5 * at)
        write_photo(folder / "long" / f"IMG_{at:04}.JPG", shown, shade=300 + at)
    for at in range(6):
        write_photo(
            folder / "lent" / f"IMG_{at:04}.JPG", start + timedelta(hours=at), shade=9000 + at
        )
    with Workspace.open(folder / "study") as workspace:
        workspace.scan(folder / "long", "LONG")
        workspace.scan(folder / "lent", "LENT")
        named = "key,name,role\nx,<b>Bold</b> ![a](/b.png) $x$,other\n"
        workspace.load(LogKind.SPECIES, named.encode(), "species.csv")
        long = [one.visit.photos[0].id for one in workspace.view("LONG").visits]
        # The later a visit, the less it changed; the last five are not scored.
        scored(workspace, {photo: (MANY - at) / 1000 for at, photo in enumerate(long[:-5])})
        first, second = workspace.view("SK-OPEN").visits[0].visit.photos[:2]
        scored(workspace, {first.id: 0.4}, [[[0.3, 0.2], [0.6, 0.2], [0.6, 0.5]]])
        scored(workspace, {second.id: 0.0}, infrared=True)
    here = Served(folder / "study")
    here.start()
    yield here
    here.stop()


def scored(
    workspace: Workspace,
    wholes: Mapping[int, float],
    outline: object = (),
    *,
    infrared: bool = False,
) -> None:
    """Say how much photos differ from their quiet scene."""
    rows = [
        {
            "photo_id": photo,
            "method": 1,
            "basis": "copy",
            "infrared": infrared,
            "whole": whole,
            "outline": json.dumps(outline),
        }
        for photo, whole in wholes.items()
    ]
    with workspace._database.begin(Raises.NOTHING) as connection:
        connection.execute(SCORES.insert(), rows)


@pytest.fixture
def workspace(served: Served) -> Iterator[Workspace]:
    with Workspace.open(served.folder) as opened:
        yield opened


@pytest.fixture
def seat(page: Page, served: Served, workspace: Workspace, request: pytest.FixtureRequest) -> Seat:
    """A tagger of the test's own, and of each time that it is run, not seated yet."""
    again = " again" * (getattr(request.node, "execution_count", 1) - 1)
    who = request.node.name.removeprefix("test_")[:60] + again
    return Seat(page, served, workspace, who)
