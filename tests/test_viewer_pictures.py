"""The pictures in a real browser: of the study and the file that are served, none kept on."""

import shutil
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from browsers import MARKS, Seat, Served, asked, browser, context, page, seat, served, workspace
from PIL import Image
from playwright.sync_api import BrowserContext, Page, Route
from test_server import free_port

from app import viewer
from core.logs import LogKind
from core.store import Raises
from core.store.tables import SPECIES
from core.workspace import Workspace

__all__ = ["asked", "browser", "context", "page", "seat", "served", "workspace"]
pytestmark = MARKS

RED, BLUE = (200, 30, 30), (30, 30, 200)
COLOUR = """
image => {
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = 1;
  const pen = canvas.getContext('2d');
  pen.drawImage(image, 0, 0, 1, 1);
  const [red, , blue] = pen.getImageData(0, 0, 1, 1).data;
  return red > blue ? 'red' : 'blue';
}
"""


def coloured(file: Path, colour: tuple[int, int, int], second: int) -> None:
    """Write a photo of one colour, with its time in its header."""
    file.parent.mkdir(parents=True, exist_ok=True)
    exif = Image.Exif()
    shown = datetime(2026, 3, 14, 9, 0, second)  # noqa: DTZ001  what a camera showed
    exif.get_ifd(0x8769)[0x9003] = f"{shown:%Y:%m:%d %H:%M:%S}"
    Image.new("RGB", (640, 480), colour).save(file, exif=exif, quality=85)


def study_of(folder: Path, colour: tuple[int, int, int]) -> Path:
    """Make a study with one visit of three photos of one colour, and a score for each."""
    for second in range(3):
        coloured(folder / "card" / f"IMG_{second}.JPG", colour, second)
    with Workspace.create(folder / "study", "UTC") as made:
        made.load(LogKind.SPECIES, b"key,name,role\nm,Mouse,forager\n", "species.csv")
        made.scan(folder / "card", "P1")
    return folder / "study"


@pytest.fixture
def two(tmp_path: Path) -> Iterator[list[Served]]:
    """Two studies that are served at one address, one after the other."""
    port = free_port()
    made = [
        Served(study_of(tmp_path / name, colour), port)
        for name, colour in (("red", RED), ("blue", BLUE))
    ]
    yield made
    for one in made:
        one.stop()


def colours(page: Page) -> tuple[str, str]:
    """Give the colour of the large picture and of the first small one."""
    large, small = page.locator(".stage img"), page.locator(".thumb img").first
    for one in (large, small):
        one.wait_for()
        there = "image => image.complete && image.naturalWidth > 1"
        page.wait_for_function(there, arg=one.element_handle())
    return large.evaluate(COLOUR), small.evaluate(COLOUR)


def before(served: Served, page: Page, opened: Workspace) -> Seat:
    """Sit before the one placement of a study."""
    return Seat(page, served, opened, "Thandi", "P1").sit()


def test_no_photo_of_another_study_is_shown_at_the_same_address(
    two: list[Served], context: BrowserContext
) -> None:
    """Photo 1 of the first study is kept by the browser; the second has a photo 1 of its own."""
    page = context.new_page()
    for one, colour in zip(two, ("red", "blue"), strict=True):
        one.start()
        with Workspace.open(one.folder) as opened:
            assert min(photo.id for photo in opened.view("P1").photos) == 1
            before(one, page, opened)
        assert colours(page) == (colour, colour)
        one.stop()


def test_a_page_that_stays_open_shows_no_photo_of_the_study_before(
    two: list[Served], context: BrowserContext
) -> None:
    """The other study is served under the open page: drawn anew, it has that one's photos alone."""
    page = context.new_page()
    first, second = two
    first.start()
    with Workspace.open(first.folder) as opened:
        before(first, page, opened)
    assert colours(page) == ("red", "red")
    first.stop()
    second.start()
    page.locator("[data-testid=stConnectionStatus]").wait_for(state="detached")
    page.get_by_text("Instructor").click()  # whatever is done next: the page is drawn anew
    page.wait_for_function(
        """study => {
          const shown = document.querySelector('[data-testid^=stBidi]')?.shadowRoot;
          const images = [...shown?.querySelectorAll('.stage img, .thumb img') ?? []];
          return images.length > 1 && images.every(one => one.src.includes(study));
        }""",
        arg=study_name(second),
        timeout=60_000,
    )
    assert colours(page) == ("blue", "blue")


def study_name(served: Served) -> str:
    """Give the name by which a browser knows a study."""
    with Workspace.open(served.folder) as opened:
        return viewer.study_name(opened.ticket_secret())


def test_a_photo_whose_file_was_replaced_is_shown_as_it_is(
    two: list[Served], context: BrowserContext
) -> None:
    """The card is scanned again; the same number is asked for at another address."""
    page = context.new_page()
    served = two[0]
    served.start()
    with Workspace.open(served.folder) as opened:
        before(served, page, opened)
        assert colours(page) == ("red", "red")
        for second in range(3):
            coloured(served.folder.parent / "card" / f"IMG_{second}.JPG", BLUE, second)
        opened.scan(served.folder.parent / "card", "P1")
        before(served, page, opened)
    assert colours(page) == ("blue", "blue")


def slowly(route: Route) -> None:
    """Let a picture come a little later."""
    time.sleep(0.01)
    route.continue_()


def test_pages_that_are_turned_quickly_keep_no_picture(seat: Seat) -> None:
    """Of pictures that come after their page was left, none stays in the browser's memory."""
    seat.page.add_init_script(
        """
        window.kept = new Set();
        const [make, drop] = [URL.createObjectURL, URL.revokeObjectURL];
        URL.createObjectURL = (one) => {
          const address = make.call(URL, one);
          if (one.type.startsWith('image/')) window.kept.add(address);
          return address;
        };
        URL.revokeObjectURL = (address) => {
          window.kept.delete(address);
          drop.call(URL, address);
        };
        """
    )
    seat.placement = "LONG"
    seat.page.route("**/photo/review/**", slowly)
    seat.sit(mode="quiet+sheet")
    seat.press(*["PageDown"] * 6, gap_ms=250)
    seat.page.locator(".tile").first.wait_for()
    seat.page.wait_for_function(
        """() => {
          const shown = document.querySelector('[data-testid^=stBidi]').shadowRoot;
          const images = [...shown.querySelectorAll('.tile img')];
          return images.every(one => one.complete && one.naturalWidth > 1);
        }"""
    )
    shown = seat.page.locator(".tile").count()
    seat.page.wait_for_function("shown => window.kept.size === shown", arg=shown)
    seat.page.wait_for_timeout(1_000)  # none that comes late stays either
    assert seat.page.evaluate("() => window.kept.size") == shown


# --- a tag whose place is asked for -----------------------------------------------------------

ASKED = """
(script) => {
  const desks = new Function(`${script}
    const outbox = { add: (act) => sent.push(act), waiting: new Map() };
    const sent = [];
    const species = [{ key: "m", name: "Mouse" }];
    const person = new Person("s:tagger:Thandi", "Thandi", outbox);
    const data = { who: "Thandi", placement: "P1", show: MINE, order: "time", mode: "one",
      species, where: [["fed", "fed"]], trays: [], ticket: "" };
    const desk = new Desk(data, person, () => {});
    const run = (first) => ({ first, last: first, count: 1, peak: 0, open: true,
      row: { kind: "visit", name: "Visit", photos: [{ id: first }], said: [], trays: [] } });
    desk.queue.runs = [run(1), run(2), run(3)];
    desk.queue.loaded = true;
    screen = { desk, view: { root: document.createElement("div"), draw: () => {} } };
    tag(desk, "m");
    desk.at = 2;              // the list was read anew under the question
    desk.queue.runs[0].row = null;
    answerWhere(desk, "fed");
    return { sent, at: desk.at };
  `);
  return desks();
}
"""


def test_a_tag_is_of_the_run_its_key_was_pressed_for(page: Page) -> None:
    """Another run came on screen while it was asked where: the tag stays that of the first."""
    page.route("**/*", lambda route: route.fulfill(body="<p>", content_type="text/html"))
    page.goto("http://localhost/")
    script = viewer.script().replace("export default function", "function")
    found = page.evaluate(ASKED, script)
    assert [(act["first"], act["species"], act["where"]) for act in found["sent"]] == [
        (1, "m", "fed")
    ]
    assert found["at"] == 2


# --- keys of an older study -------------------------------------------------------------------


def test_a_study_whose_species_has_a_key_of_the_viewer_still_works(
    seat: Seat, built: Path, tmp_path: Path
) -> None:
    """The key is the species', as it always was; unknown is reached by its button and says so."""
    folder = tmp_path / "older"
    shutil.copytree(built, folder)
    with Workspace.open(folder) as older:
        older.load(LogKind.SPECIES, b"key,name,role\nx,Dot mouse,other\n", "species.csv")
        with older._database.begin(Raises.ALL) as connection:
            connection.execute(SPECIES.update().where(SPECIES.c.key == "x").values(key="."))
        served = Served(folder)
        served.start()
        try:
            before = Seat(seat.page, served, older, "Thandi").sit()
            before.press("ArrowDown", ".")
            assert [tag.species for tag in before.has_tags(1)] == ["."]
            unknown = before.page.get_by_role("button", name="Unknown")
            assert unknown.get_attribute("title") == "Unknown: cannot tell (its button)"
            unknown.click()
            assert [tag.species for tag in before.has_tags(2)] == [".", "unknown"]
        finally:
            served.stop()
