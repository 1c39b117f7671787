"""The clock sheet: the code on a phone's screen is the time it shows, and no old code stays."""

import hashlib
import re
import time
from base64 import b64encode
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browsers import CHROMIUM, FLAGS, MARKS, until
from PIL import Image
from playwright.sync_api import Browser, Page, ViewportSize, sync_playwright
from test_server import ask, free_port, started

from app import cli, codesheet, server
from core import codes
from core.codes import ClockCode
from core.workspace import Workspace

PHONE: ViewportSize = {"width": 360, "height": 740}
"""What a browser leaves of an ordinary phone's screen (common practice)."""
MOMENT = datetime(2026, 3, 4, 6, 12, 45, tzinfo=UTC)

LOCK = "Object.defineProperty(navigator, 'wakeLock', {{value: {{request: () => {}}}}})"
"""A browser that answers a page which asks to keep the screen on."""

Opened = Callable[..., Page]


def times_on(page: Page) -> list[datetime]:
    """Read a picture of the screen as the study reads a photo; gives the times of its codes."""
    with Image.open(BytesIO(page.screenshot())) as picture:
        found = codes.read_codes(np.array(picture.convert("L"))).found
    return [one.code.true_time for one in found if isinstance(one.code, ClockCode)]


def drawn(page: Page) -> Any:
    """Give the modules that are dark on the page, without the quiet zone."""
    path = page.locator("#dark").get_attribute("d") or ""
    modules = np.zeros((codes.CLOCK_MODULES, codes.CLOCK_MODULES), np.uint8)
    for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", path):
        modules[int(y) - codes.QUIET, int(x) - codes.QUIET] = 1
    return modules


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file as the command writes it."""
    file = tmp_path_factory.mktemp("phone") / "clock.html"
    cli.main(["clock", str(file)])
    return file


@pytest.fixture
def opened(chromium: Browser, sheet: Path) -> Iterator[Opened]:
    """Open the file on a phone without a network, at a time of its clock that stands still."""
    contexts = []

    def opened(at: datetime | None = MOMENT, file: Path = sheet, **phone: Any) -> Page:
        context = chromium.new_context(**({"viewport": PHONE} | phone))
        contexts.append(context)
        context.set_offline(offline=True)
        page = context.new_page()
        if at is not None:
            page.clock.set_fixed_time(at)
        page.goto(file.as_uri())
        return page

    yield opened
    for context in contexts:
        context.close()


# --- the file ------------------------------------------------------------------------------------


def test_the_file_asks_nothing_of_anybody() -> None:
    """One file: no address, no other file, and only its own script and style may run."""
    page = codesheet.page()
    assert not re.search(r"https?://|\bsrc=|@import|url\(", page)
    for kind in ("style", "script"):
        [text] = re.findall(rf"<{kind}>(.*?)</{kind}>", page, re.DOTALL)
        digest = b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in page
    assert not re.search(r"@[A-Z]+@", page)


def test_the_command_writes_the_page_or_prints_it(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    """A file and standard output get the same bytes; the file is said on standard error."""
    cli.main(["clock", str(tmp_path / "clock.html")])
    assert (tmp_path / "clock.html").read_bytes() == codesheet.page().encode()
    cli.main(["clock", "-"])
    printed = capfdbinary.readouterr()
    assert printed.out == codesheet.page().encode()
    assert b"Wrote" in printed.err


def test_a_file_that_cannot_be_written_is_said_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 1 and one message; nothing half written is left."""
    with pytest.raises(SystemExit) as ended:
        cli.main(["clock", str(tmp_path / "away" / "clock.html")])
    assert ended.value.code == 1
    assert "cannot be written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


# --- on the phone --------------------------------------------------------------------------------


def marked(test: Callable[..., None]) -> Callable[..., None]:
    """Mark a test that drives the page."""
    for mark in MARKS:
        test = mark(test)
    return test


@marked
def test_the_code_of_each_second_is_read_back_from_the_screen(opened: Opened) -> None:
    """Six pictures of the running page, each read as a photo: the second that was on the screen."""
    page = opened(at=None)
    met = set()
    for _ in range(6):
        before = datetime.now(UTC)
        [read] = times_on(page)
        after = datetime.now(UTC)
        assert before.replace(microsecond=0) - timedelta(seconds=1) <= read <= after
        met.add(read)
        time.sleep(1.1)
    assert len(met) == 6


@marked
@pytest.mark.parametrize(
    ("moment", "zone", "here"),
    [
        pytest.param(MOMENT, "Africa/Johannesburg", "4 March 2026, 08:12:45 (UTC+02:00)",
                     id="south"),
        pytest.param(datetime(2026, 12, 31, 23, 59, 59, tzinfo=UTC), "Asia/Kathmandu",
                     "1 January 2027, 05:44:59 (UTC+05:45)", id="another year here"),
        pytest.param(datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Europe/Brussels",
                     "25 October 2026, 02:30:00 (UTC+01:00)", id="the hour shown twice"),
        pytest.param(datetime(2028, 2, 29, 0, 0, tzinfo=UTC), "America/New_York",
                     "28 February 2028, 19:00:00 (UTC-05:00)", id="leap day"),
    ],
)  # fmt: skip
def test_the_words_say_what_the_code_says(
    opened: Opened, moment: datetime, zone: str, here: str
) -> None:
    """UTC and this place's time stand in words beside a code of the same second."""
    page = opened(at=moment, timezone_id=zone)
    assert times_on(page) == [moment]
    assert page.locator("#utc").text_content() == f"{moment:%H:%M:%S}"
    assert f"{moment.day} {moment:%B} {moment.year} (UTC)" in page.locator("#date").inner_text()
    assert here in page.locator("#here").inner_text()
    assert page.get_by_role("heading", name="This phone's clock").is_visible()


@marked
def test_every_code_is_the_one_that_the_library_draws(opened: Opened) -> None:
    """The page lays segno's drawings over each other: module by module the same, 300 times."""
    page = opened()
    rng = np.random.default_rng(4)
    seconds = int((datetime(2099, 12, 31, tzinfo=UTC) - MOMENT).total_seconds())
    for number in [0, *rng.integers(0, seconds, 300).tolist()]:
        moment = MOMENT + timedelta(seconds=number)
        page.clock.set_fixed_time(moment)
        page.evaluate("window.dispatchEvent(new Event('pageshow'))")
        assert np.array_equal(drawn(page), codes.modules_of(ClockCode(moment))), moment


@marked
def test_a_code_that_is_not_renewed_goes_by_itself(opened: Opened) -> None:
    """When the page's own timer stands still, the code is gone two seconds later."""
    page = opened()
    assert times_on(page) == [MOMENT]
    page.evaluate("window.setTimeout = () => 0")
    box = page.locator("#code")
    until(lambda: box.evaluate("one => getComputedStyle(one).opacity") == "0")
    assert times_on(page) == []


@marked
def test_a_page_that_was_away_shows_no_old_code(opened: Opened) -> None:
    """Hidden, it clears the code; shown again, the code is of the new second."""
    page = opened()
    show = (
        "hidden => { Object.defineProperty(document, 'hidden',"
        " {value: hidden, configurable: true});"
        " document.dispatchEvent(new Event('visibilitychange')); }"
    )
    page.evaluate(show, True)
    assert page.locator("#dark").get_attribute("d") == ""
    page.clock.set_fixed_time(MOMENT + timedelta(hours=3))
    page.evaluate(show, False)
    assert times_on(page) == [MOMENT + timedelta(hours=3)]


@marked
@pytest.mark.parametrize("year", [1970, 2019, 2100])
def test_a_phone_whose_clock_cannot_be_right_shows_no_code(opened: Opened, year: int) -> None:
    """A phone that was reset shows words in place of a wrong time."""
    page = opened(at=datetime(year, 3, 4, 6, tzinfo=UTC))
    assert times_on(page) == []
    assert f"cannot be right: it says the year {year}" in page.locator("#warning").inner_text()


@marked
def test_a_browser_that_draws_wrong_shows_no_code(
    opened: Opened, sheet: Path, tmp_path: Path
) -> None:
    """The page tries itself on a known code first; with a table that is broken it says so."""
    text = sheet.read_text(encoding="utf-8")
    sample = codes.clock_table().sample
    broken = tmp_path / "broken.html"
    assert text.count(sample) == 1
    broken.write_text(text.replace(sample, sample[::-1]), encoding="utf-8")
    assert sample[::-1] != sample
    page = opened(file=broken)
    assert times_on(page) == []
    assert "draws the code wrong" in page.locator("#warning").inner_text()


@marked
def test_where_scripts_do_not_run_the_page_says_so(opened: Opened) -> None:
    """A file viewer without scripts shows no code and says what to do."""
    page = opened(java_script_enabled=False)
    assert "Open the file in a browser" in page.locator("main").inner_text()
    assert times_on(page) == []


@marked
@pytest.mark.parametrize(
    "phone",
    [
        pytest.param({}, id="upright"),
        pytest.param({"viewport": {"width": 740, "height": 360}}, id="lying"),
        pytest.param({"viewport": {"width": 320, "height": 560}}, id="small"),
        pytest.param({"device_scale_factor": 2.625}, id="sharp"),
        pytest.param({"color_scheme": "dark"}, id="dark"),
        pytest.param({"color_scheme": "dark", "forced_colors": "active"}, id="own colours"),
    ],
)
def test_the_code_is_as_big_as_the_screen_and_black_on_white(
    opened: Opened, phone: dict[str, Any]
) -> None:
    """On every screen and in every theme: nine tenths of the shorter side, and it reads."""
    page = opened(**phone)
    assert times_on(page) == [MOMENT]
    box = page.locator("#drawing").bounding_box()
    screen = page.viewport_size
    assert box is not None
    assert screen is not None
    assert box["width"] >= 0.9 * min(screen["width"], screen["height"])
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= screen["width"]
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert background == "rgb(255, 255, 255)"


@marked
@pytest.mark.parametrize(
    ("browser", "words"),
    [
        pytest.param(LOCK.format("Promise.resolve({released: false})"), "The screen stays on",
                     id="granted"),
        pytest.param(LOCK.format("Promise.reject(new Error('battery'))"), "set it to stay on",
                     id="refused"),
        pytest.param("delete Navigator.prototype.wakeLock", "Set the screen to stay on",
                     id="unknown to the browser"),
    ],
)  # fmt: skip
def test_the_page_keeps_the_screen_on_or_says_that_it_cannot(
    chromium: Browser, sheet: Path, browser: str, words: str
) -> None:
    """A screen that goes dark before the camera has seen it is no clock."""
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    page.add_init_script(browser)
    page.goto(sheet.as_uri())
    until(lambda: len(times_on(page)) == 1)
    assert words in page.locator("#awake").inner_text()
    context.close()


@marked
def test_the_file_works_without_a_network_and_asks_for_none(chromium: Browser, sheet: Path) -> None:
    """From the phone's own files, with no network: it asks for itself and nothing else."""
    context = chromium.new_context(viewport=PHONE)
    context.set_offline(offline=True)
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(sheet.as_uri())
    page.wait_for_timeout(2_500)
    assert len(times_on(page)) == 1
    assert [one for one in asked if not one.startswith("data:")] == [sheet.as_uri()]
    assert said == []
    context.close()


# --- from the computer ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    folder = tmp_path_factory.mktemp("served") / "study"
    Workspace.create(folder, "Africa/Johannesburg").close()
    chosen = free_port()
    process = started(folder, chosen)
    yield chosen
    process.terminate()
    process.communicate(timeout=20)


def test_the_page_and_the_computers_time_are_served_to_its_own_pages_alone(port: int) -> None:
    """The sheet under its policy, the time to the millisecond, and nothing for another site."""
    page = ask(port, "/clock")
    headers = {name.lower(): value for name, value in page.headers.items()}
    assert (page.status, page.body.decode()) == (200, codesheet.page())
    assert headers["content-security-policy"] == codesheet.policy()
    assert headers["cache-control"] == "no-store"
    before = time.time() * 1000
    now = int(re.findall(rb"\d{13}", ask(port, "/clock/now").body)[0])
    assert before - 1 <= now <= time.time() * 1000 + 1
    for path in ("/clock", "/clock/now"):
        assert ask(port, path, Sec_Fetch_Site="cross-site").status == 403
        assert ask(port, path, Host="elsewhere.example").status == 400


@marked
@pytest.mark.parametrize(
    ("ahead", "words", "wrong"),
    [
        pytest.param(timedelta(0), r"This clock is 0\.\d s (ahead of|behind) the clock", False,
                     id="alike"),
        pytest.param(timedelta(hours=1), r"This clock is 3(599|600|601)\.\d s ahead of", True,
                     id="an hour ahead"),
        pytest.param(-timedelta(minutes=2), r"This clock is 1(19|20|21)\.\d s behind", True,
                     id="behind"),
    ],
)  # fmt: skip
def test_served_it_says_how_far_the_two_clocks_are_apart(
    chromium: Browser, port: int, ahead: timedelta, words: str, wrong: bool
) -> None:
    """A phone that reads another time than the computer is told, and that one of them is wrong."""
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    if ahead:
        milliseconds = int(ahead.total_seconds() * 1000)
        page.add_init_script(f"const now = Date.now; Date.now = () => now() + {milliseconds};")
    page.goto(f"http://{server.ADDRESS}:{port}/clock")
    said = page.locator("#computer")
    until(lambda: said.inner_text() != "")
    assert re.search(words, said.inner_text()), said.inner_text()
    assert ("One of the two is wrong" in said.inner_text()) is wrong
    context.close()
