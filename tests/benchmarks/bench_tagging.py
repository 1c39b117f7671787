"""Print how long a tagger waits at the Tag page, in a study of 100,000 photos and 10,000 visits.

The photos are a few distinct files of twelve megapixels under 100,000 names, all on one
placement, each with the small picture in its header that most cameras write; the page is the
served one, in headless Chromium, with copies made behind it.
"Shown" is from the key to the next run's picture, unpacked, and two frames of the browser: those
two alone take 33 ms.
Goals: key to next picture 60 ms at the middle and 100 ms at 95 of 100; 200 keys 40 ms apart make
200 tags, each on the right visit; the Tag page opens in 1.5 s of server time; memory stays flat
over 500 visits.

    python tests/benchmarks/bench_tagging.py [PHOTOS]
"""

import io
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from asking import Page as Asked
from benchmarks.bench_previews import make_card
from benchmarks.bench_queue import BEGIN, BIG, CAMERA, PHOTOS, SPECIES, TRAY, log_of
from browsers import CHROMIUM, FLAGS, HIGH, WIDE, Seat, Served, until
from builders import new_photo
from PIL import Image
from playwright.sync_api import CDPSession, Page, sync_playwright
from streamlit.testing.v1 import AppTest
from test_cards_thumbnails import exif_block

from app import session
from app.demo import build_demo
from core.logs import LogKind
from core.model import Header, TimeSource
from core.store import Database, cards
from core.workspace import Workspace

FILES, PHOTOS_A_VISIT = 12, 10
CALM_KEYS, CALM_GAP_MS = 100, 250
FAST_KEYS, FAST_GAP_MS = 200, 40
LONG_RUN = 500
WATCH = """
window.waits = [];
window.addEventListener("keydown", (event) => {
  if (!["m", "g", " "].includes(event.key)) return;
  const pressed = performance.now();
  const root = document.querySelector("[data-testid^=stBidi]").shadowRoot;
  const before = root.querySelector(".stage img")?.src;
  const look = async () => {
    const image = root.querySelector(".stage img");
    if (!image || image.src === before) return requestAnimationFrame(look);
    await image.decode().catch(() => {});
    requestAnimationFrame(() => requestAnimationFrame(() => {
      window.waits.push(performance.now() - pressed);
    }));
  };
  queueMicrotask(look);
}, true);
"""


class Lastbite(Served):
    """The page as people start it: copies and scores are made behind it."""

    def start(self) -> None:
        """Serve it."""
        said = ["page", str(self.folder), "--no-browser", "--port", str(self.port)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "app.cli", *said],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=Path(__file__).resolve().parents[2],
        )
        until(self.answers, lambda: "the server did not start", patience_s=60)


def make(folder: Path, photos: int) -> Path:
    """Make the study; every photo has a name of its own for one of a few files."""
    (folder / "files").mkdir()
    files = make_card(folder / "files", FILES)
    for file in files:
        _put_small_picture_into_header(file)
    names = {BIG: photos}
    for at in range(photos):
        link = folder / "card" / _name(at)
        link.parent.mkdir(parents=True, exist_ok=True)
        os.link(files[at % FILES], link)
    with Workspace.create(folder / "study", "Africa/Johannesburg") as workspace:
        workspace.load(LogKind.SPECIES, SPECIES, "species.csv")
        workspace.load(LogKind.CAMERAS, log_of(CAMERA, names), "cameras.csv")
        workspace.load(LogKind.TRAYS, log_of(TRAY, names), "trays.csv")
    database = Database.open(folder / "study" / "lastbite.db")
    with database.begin() as connection:
        card = cards.put_card(connection, BIG, str(folder / "card"), BEGIN)
        cards.add_photos(connection, card, [_photo(at) for at in range(photos)])
    database.dispose()
    return folder / "study"


def _put_small_picture_into_header(file: Path) -> None:
    """Do as most cameras do."""
    with Image.open(file) as whole:
        small, buffer = whole.resize((160, 120)), io.BytesIO()
        small.save(buffer, "JPEG", quality=75)
        whole.load()
        picture = whole.copy()
    picture.save(file, quality=88, exif=b"Exif\0\0" + exif_block(buffer.getvalue()))


def _name(at: int) -> str:
    return f"{at // 1000:03}DUNE/IMG_{at % 1000:04}.JPG"


def _photo(at: int) -> cards.NewPhoto:
    visit, within = divmod(at, PHOTOS_A_VISIT)
    shown = BEGIN.replace(tzinfo=None) + timedelta(hours=2, minutes=5 * visit, seconds=2 * within)
    header = Header(shown, time_source=TimeSource.ORIGINAL)
    return new_photo(_name(at), fingerprint=f"{at:x}", header=header)


def opening_s(study: Path) -> tuple[float, float, float]:
    """Give the server's time for the page's script, the queue and the first runs. [s]"""
    os.environ[session.STUDY_VARIABLE] = str(study)
    main = Path(session.__file__).with_name("main.py")
    page = AppTest.from_file(str(main), default_timeout=60)
    page.session_state["own_tagger"] = "ben"
    page.run()
    began = time.perf_counter()
    page.switch_page("screens/tag.py").run()
    script = time.perf_counter() - began
    assert not page.exception
    with Workspace.open(study) as workspace:
        ben = Asked(workspace, "ben", placement=BIG)
        began = time.perf_counter()
        queue = ben.queue()
        queued = time.perf_counter()
        ben.runs(*[(first, last) for first, last, *_ in queue["runs"][:24]])
        return script, queued - began, time.perf_counter() - queued


@contextmanager
def serving(study: Path) -> Iterator[Served]:
    """Serve a study, and end the server whatever comes."""
    served = Lastbite(study)
    served.start()
    try:
        yield served
    finally:
        served.stop()


@contextmanager
def opened() -> Iterator[tuple[Page, CDPSession]]:
    """Give a page of a browser."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
        page = context.new_page()
        page.add_init_script(WATCH)
        yield page, context.new_cdp_session(page)
        browser.close()


def calm(seat: Seat) -> list[float]:
    """Press a key, see the next picture, look at it a moment; give each time to see it. [ms]"""
    waits: list[float] = []
    for at in range(CALM_KEYS):
        seat.page.evaluate("() => { window.waits.length = 0 }")
        seat.press("mg"[at % 2])
        seat.page.wait_for_function("window.waits.length > 0", timeout=10_000)
        waits += seat.page.evaluate("window.waits")[:1]
        seat.page.wait_for_timeout(CALM_GAP_MS)
    seat.has_tags(CALM_KEYS)
    return sorted(waits)


def fast(seat: Seat) -> int:
    """Press keys 40 ms apart; give how many made the right tag on the right visit."""
    before = len(seat.tags())
    keys = random.Random(1).choices("mg", k=FAST_KEYS)
    runs = seat.visits()[before : before + FAST_KEYS]
    seat.press(*keys, gap_ms=FAST_GAP_MS)
    made = seat.has_tags(before + FAST_KEYS)[before:]
    said = [((tag.first_photo, tag.last_photo), tag.species) for tag in made]
    return sum(one == other for one, other in zip(said, zip(runs, keys, strict=True), strict=True))


class Memory(NamedTuple):
    """What a long sitting has taken after so many visits. [MB]"""

    visits: int
    nodes: int
    script: float
    chromium: float
    server: float


def memory(seat: Seat, cdp: CDPSession) -> list[Memory]:
    """Go through 500 visits; say after every hundred what script, Chromium and server hold."""
    cdp.send("Performance.enable")
    found = []
    for at in range(LONG_RUN + 1):
        if at % 100 == 0:
            cdp.send("HeapProfiler.collectGarbage")
            now = {
                one["name"]: one["value"] for one in cdp.send("Performance.getMetrics")["metrics"]
            }
            script, nodes = now["JSHeapUsedSize"] / 1e6, int(now["Nodes"])
            found.append(Memory(at, nodes, script, _held_mb("chromium"), _held_mb("app.cli page")))
        seat.press("PageDown", gap_ms=60)
    return found


def _held_mb(command: str) -> float:
    """Give the memory of the processes of a command, shared pages shared out."""
    held = 0.0
    for process in Path("/proc").iterdir():
        with suppress(OSError, ValueError):
            words = (process / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            if command in words:
                rollup = (process / "smaps_rollup").read_text()
                held += int(rollup.split("Pss:")[1].split()[0]) / 1e3
    return held


def whole_card(folder: Path) -> tuple[int, int, float]:
    """Tag a demo card; give its visits, the keys, and the seconds from first to last.

    The tagger knows the answers beforehand and looks at the first picture of each run only, so
    the seconds are what the page takes, not what looking takes.
    """
    with build_demo(folder) as workspace:
        answers = {
            (tag.first_photo, tag.last_photo): (tag.species, tag.where)
            for tag in workspace.view("SK-OPEN").tags
            if tag.tagger == "Nomsa"
        }
        with serving(folder) as served, opened() as (page, _):
            seat = Seat(page, served, workspace, "Quick").sit()
            places, keys, where = ["fed", "on_tray", "near"], 0, None
            began, runs = time.perf_counter(), seat.visits()
            for number, run in enumerate(runs):
                species, at = answers.get(run, ("blank", None))
                if at is not None and at != where:
                    aim = places.index(at)
                    steps = aim + 1 if where is None else aim - places.index(where)
                    seat.press(*(["ArrowDown" if steps > 0 else "ArrowUp"] * abs(steps)))
                    keys, where = keys + abs(steps), at
                seat.press(
                    {"blank": " ", "unknown": ".", "handler": "Shift+H"}.get(species, species)
                )
                keys += 1
                if number < len(runs) - 1:
                    seat.shown()
            took = time.perf_counter() - began
            seat.has_tags(len(runs))
    return len(runs), keys, took


def main() -> int:
    """Print the numbers; 1 when a goal is missed."""
    photos = int(sys.argv[1]) if len(sys.argv) > 1 else PHOTOS
    with tempfile.TemporaryDirectory() as made:
        study = make(Path(made), photos)
        say(f"{photos:,} photos in {photos // PHOTOS_A_VISIT:,} visits, {FILES} files of 12 MP")
        script, queue, runs = opening_s(study)
        say(f"opening: script {script:.2f} s, queue {queue:.2f} s, first runs {runs:.3f} s")
        with (
            serving(study) as served,
            Workspace.open(study) as workspace,
            opened() as (page, cdp),
        ):
            seat = Seat(page, served, workspace, "Ben", BIG).sit()
            seat.press("ArrowDown")
            page.wait_for_timeout(3000)
            waits = calm(seat)
            middle, most = statistics.median(waits), waits[int(0.95 * len(waits)) - 1]
            say(f"shown: median {middle:.0f} ms, 95 % {most:.0f} ms, most {waits[-1]:.0f} ms")
            right = fast(seat)
            say(f"{FAST_KEYS} keys {FAST_GAP_MS} ms apart: {right} right tags")
            for then in memory(seat, cdp):
                say(
                    f"after {then.visits:3} visits: {then.nodes} nodes, "
                    f"script {then.script:.1f} MB, Chromium {then.chromium:.0f} MB, "
                    f"server {then.server:.0f} MB"
                )
        visits, keys, took = whole_card(Path(made) / "demo")
        say(
            f"a demo card: {visits} visits, {keys / visits:.2f} keys and {took / visits:.2f} s each"
        )
    met = middle < 60 and most < 100 and right == FAST_KEYS and script + queue + runs < 1.5
    say("goals met" if met else "goal missed")
    return 0 if met else 1


def say(line: str) -> None:
    """Print one line at once."""
    print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    sys.exit(main())
