"""The Trays page in a real browser: what is suspected is answered and taken back by keys."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from browsers import MARKS, Served, asked, browser, context, page, until
from playwright.sync_api import Page
from test_watchbook import measured, outcome, study

from core.model import Reason
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page"]
pytestmark = MARKS
PATIENCE_MS = 60_000


@pytest.fixture
def here(tmp_path: Path) -> Iterator[tuple[Workspace, Served]]:
    """A night of which more than three hours are black, served."""
    with measured(study(tmp_path, range(9, 20))) as workspace:
        served = Served(workspace.folder)
        served.start()
        yield workspace, served
        served.stop()


def test_a_blocked_lens_is_answered_and_taken_back(
    here: tuple[Workspace, Served], page: Page
) -> None:
    """The photos to look at are there; yes by Enter, then taken back; the drawing has words."""
    workspace, served = here
    page.goto(f"{served.address}/trays")
    page.get_by_text("was it so that the lens was blocked?").wait_for(timeout=PATIENCE_MS)
    for name in ("IMG_0009.JPG", "IMG_0019.JPG"):
        picture = page.get_by_alt_text(f"{name}, camera showed").first
        until(partial(picture.evaluate, "image => image.naturalWidth > 1"))
    drawn = page.locator("[aria-label*='not trusted 4.1 h'], [alt*='not trusted 4.1 h']")
    drawn.first.wait_for(state="attached", timeout=PATIENCE_MS)
    page.get_by_label("What you saw").fill("a leaf")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text("Yes: not watched, says").wait_for(timeout=PATIENCE_MS)
    [ruling] = workspace.watching.history("P1")
    assert (ruling.accepted, ruling.because) == (True, "a leaf")
    assert outcome(workspace).reason is Reason.GAP_AFTER_LAST
    page.get_by_role("button", name="Take this back").press("Enter")
    page.get_by_role("button", name="No, it was not").wait_for(timeout=PATIENCE_MS)
    assert outcome(workspace).reason is Reason.WATCH_IN_DOUBT
