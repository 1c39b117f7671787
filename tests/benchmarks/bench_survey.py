"""Print whether a scan, and keeping a tag, are slower while codes are looked for behind them.

A card of small JPEGs is scanned into a new study, time and again, while a worker as the page starts
it looks for codes in another study's twelve-megapixel photos: for every other scan it is halted. So
what else the computer does falls on both alike. Compare the ratios, not the seconds; where others
are at work on the computer, that of the processor time is the one to go by.

    python tests/benchmarks/bench_survey.py [PAIRS] [FILES]
"""

import os
import signal
import statistics
import sys
import tempfile
import time
from datetime import datetime, timedelta
from multiprocessing.context import SpawnProcess
from pathlib import Path

from PIL import Image

from app.making import start_survey
from core.logs import LogKind
from core.workspace import NewTag, Workspace

PAIRS, FILES, LARGE, TAGS = 30, 6000, 240, 40


def write(file: Path, picture: Image.Image, shown: datetime) -> None:
    """Write a photo whose header says what the camera showed."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "MAKER", "CAM 12"
    exif.get_ifd(0x8769).update({0x9003: f"{shown:%Y:%m:%d %H:%M:%S}", 0x927C: bytes(2000)})
    picture.save(file, quality=60, exif=exif)


def small_card(folder: Path, files: int) -> None:
    """Write photos that are all different."""
    folder.mkdir()
    for number in range(files):
        shown = datetime(2026, 3, 14, 18, 0) + timedelta(minutes=number)  # noqa: DTZ001
        drawn = Image.new("RGB", (64, 48), (number % 256, number // 256, 90))
        write(folder / f"IMG_{number:05}.JPG", drawn, shown)


def large_study(folder: Path) -> Path:
    """Make a study whose photos take the longest to look at: large ones without any code."""
    (folder / "large").mkdir()
    drawn = Image.effect_noise((4000, 3000), 12)
    for number in range(LARGE):
        drawn.putpixel((number, 0), 0)
        shown = datetime(2024, 5, 2, 0, 0) + timedelta(minutes=2 * number)  # noqa: DTZ001
        write(folder / f"large/IMG_{number:05}.JPG", drawn, shown)
    log = "deployment,tray,set_out,picked_up,food_start_g,food_left_g\n" + "".join(
        f"D{at},T1,2024-05-02 0{at}:00,2024-05-02 0{at}:50,10,4\n" for at in range(9)
    )
    with Workspace.create(folder / "surveyed", "Africa/Johannesburg") as workspace:
        workspace.load(LogKind.TRAYS, log.encode(), "trays.csv")
        workspace.scan(folder / "large", "P1")
    return folder / "surveyed"


def processor() -> float:
    """Give the processor time of this program and of its workers that have ended. [s]"""
    return sum(os.times()[:4])


def timed(card: Path, folder: Path) -> tuple[float, float, float]:
    """Scan a card into a new study and tag: time and processor time of the scan, and of a tag.

    [s, s, ms]
    """
    with Workspace.create(folder, "Africa/Johannesburg") as workspace:
        began, used = time.perf_counter(), processor()
        workspace.scan(card, "P1")
        scan, scan_used = time.perf_counter() - began, processor() - used
        took = []
        for photo in [photo.id for photo in workspace.base("P1").timed.photos[:TAGS]]:
            began = time.perf_counter()
            workspace.tag(NewTag("P1", photo, photo, "ann", "blank"))
            took.append(time.perf_counter() - began)
    return scan, scan_used, statistics.median(took) * 1000


def say(line: str) -> None:
    """Print a line at once."""
    print(line, flush=True)  # noqa: T201


def main(pairs: int, files: int) -> None:
    """Take turns, and print the middle of each and of their ratios."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        small_card(folder / "card", files)
        study = large_study(folder)
        job = start_survey(study, "")
        assert isinstance(job, SpawnProcess)
        assert job.pid is not None
        rows = []
        for at in range(pairs):
            pair = {}
            for halted in (at % 2 == 0, at % 2 == 1):  # each goes first in every other pair
                os.kill(job.pid, signal.SIGSTOP if halted else signal.SIGCONT)
                pair[halted] = timed(folder / "card", folder / f"{at}-{halted}")
            assert job.is_alive(), "the survey was over before the scans were; take fewer pairs"
            rows.append((pair[True], pair[False]))
        os.kill(job.pid, signal.SIGCONT)
        job.terminate()
        for name, which, unit in (
            ("scan", 0, "s"),
            ("its processor time", 1, "s"),
            ("tag", 2, "ms"),
        ):
            alone_, beside_ = ([pair[side][which] for pair in rows] for side in (0, 1))
            ratios = [b / a for a, b in zip(alone_, beside_, strict=True)]
            low, middle, high = statistics.quantiles(ratios, n=4)
            say(
                f"{name}: {statistics.median(alone_):.2f} {unit} alone, "
                f"{statistics.median(beside_):.2f} {unit} beside a survey; of each pair "
                f"{middle:.2f} x (half of them {low:.2f} to {high:.2f})"
            )
        with Workspace.open(study) as workspace:
            say(f"looked at meanwhile: {workspace.codes.state('P1').looked_at} photos")


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    main(*(given + [PAIRS, FILES][len(given) :]))
