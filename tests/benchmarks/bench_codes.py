"""Print how small, tilted, blurred and badly lit a clock code is still read, and what it costs.

Photos of a drawn scene (tests/code_photos.py), each with a code of another second at another place,
rolled and tilted another way, noise and JPEG on top. A cell says how many of the photos were read;
a text that is not the one shown would be counted as a false read. Fixed seeds: the same photos at
every run.

    python tests/benchmarks/bench_codes.py [PHOTOS A CELL] [WIDTH ...]
"""

import contextlib
import io
import math
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import segno
from numpy.typing import NDArray
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import code_photos
from code_photos import Light, Shot

from core.codes import CLOCK_MODULES, QUIET, ClockCode, Reading, modules_of, read_codes, text_of

START = datetime(2026, 3, 4, 6, 12, 45, tzinfo=UTC)
A_CELL = 5
WIDTHS = (1920, 4000)
SIZES = (1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 9.0)
TILTS = (0.0, 20.0, 40.0, 50.0, 60.0)
BLURS = (0.5, 1.0, 1.5, 2.0, 3.0)
PHONE_CM = 7.0
"""Width of a phone whose screen shows a code with its quiet zone from edge to edge. [cm]"""


@dataclass(slots=True)
class Tally:
    """What came out of all photos."""

    a_cell: int
    """Photos for one cell of a table."""
    photos: int = 0
    read: int = 0
    plain: int = 0
    """Read by OpenCV's own two readers alone."""
    false: int = 0
    with_code_s: list[float] = field(default_factory=list)
    without_code_s: list[float] = field(default_factory=list)


def read_shot(shot: Shot, number: int, tally: Tally) -> bool:
    """Take a photo of the code of one second and say whether that second was read."""
    rng = np.random.default_rng(number)
    code = ClockCode(START + timedelta(seconds=int(rng.integers(0, 10**8))))
    shot = replace(
        shot,
        axis=float(rng.uniform(0, 180)),
        roll=float(rng.uniform(-25, 25)),
        at=(float(rng.uniform(0.3, 0.7)), float(rng.uniform(0.3, 0.6))),
        seed=number,
    )
    taken = code_photos.photo(modules_of(code), shot)
    reading = read_jpeg(taken)
    tally.photos += 1
    tally.plain += text_of(code) in plainly(taken)
    tally.false += sum(one.code != code for one in reading.found)
    right = any(one.code == code for one in reading.found)
    tally.read += right
    tally.with_code_s.append(reading.seconds)
    return right


def read_jpeg(photo: bytes) -> Reading:
    """Read a photo as a study does, without a time limit."""
    return read_codes(opened(photo), budget_s=math.inf)


def plainly(photo: bytes) -> list[str]:
    """Give what OpenCV's own readers read in a photo as it is."""
    grey = opened(photo)
    texts: list[str] = []
    for reader in (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco()):
        with contextlib.suppress(cv2.error, UnicodeDecodeError):
            texts += reader.detectAndDecodeMulti(grey)[1]
    return texts


def opened(photo: bytes) -> NDArray[np.uint8]:
    """Give the grey levels of a photo."""
    with Image.open(io.BytesIO(photo)) as picture:
        return np.array(picture.convert("L"), dtype=np.uint8)


def table(title: str, heads: Sequence[str], shots: Sequence[Sequence[Shot]], tally: Tally) -> None:
    """Print how many of the photos of each cell were read; a row for each size."""
    say(f"\n{title}")
    say("| px a module | share of width | " + " | ".join(heads) + " |")
    say("| --- | --- |" + " --- |" * len(heads))
    for row in shots:
        share = row[0].module_px * CLOCK_MODULES / row[0].width
        cells: list[str] = []
        for shot in row:
            began = 1000 * len(cells) + int(10 * shot.module_px)
            read = sum(read_shot(shot, began + at, tally) for at in range(tally.a_cell))
            cells.append(f"{read}/{tally.a_cell}")
        say(f"| {row[0].module_px:g} | {share:.1%} | " + " | ".join(cells) + " |")


def empty_photos(width: int, tally: Tally) -> None:
    """Look at photos without a code of ours: scenes by day and night, and foreign codes."""
    plain = np.zeros((CLOCK_MODULES, CLOCK_MODULES), np.uint8)
    foreign = ("https://example.org/", "LB1T2603040612450000", "LB1DSKO-N10000", "5901234123457")
    for number in range(3 * tally.a_cell):
        light = list(Light)[number % len(Light)]
        shot = Shot(6.0, tilt=20, light=light, width=width, seed=number)
        code = np.array(segno.make_qr(foreign[number % 4]).matrix, dtype=np.uint8)
        for modules in (plain, code):
            reading = read_jpeg(code_photos.photo(modules, shot))
            tally.photos += 1
            tally.false += len(reading.found)
            tally.without_code_s.append(reading.seconds)


def distances() -> None:
    """Print how large a phone's code is at some distances: a pinhole camera, by the formula."""
    say(f"\nA phone {PHONE_CM:g} cm wide, a lens of {code_photos.ANGLE_OF_VIEW:g} degrees")
    say("| distance | " + " | ".join(f"px a module at {width} px" for width in WIDTHS) + " |")
    say("| --- |" + " --- |" * len(WIDTHS))
    for metres in (0.5, 1.0, 1.5, 2.0, 3.0, 4.0):
        cells = [f"{pixels_at(metres, width):.1f}" for width in WIDTHS]
        say(f"| {metres:g} m | " + " | ".join(cells) + " |")


def pixels_at(metres: float, width: int) -> float:
    """Give the width of a module of a phone's code at a distance. [px]"""
    module_m = PHONE_CM / 100 / (CLOCK_MODULES + 2 * QUIET)
    seen_m = 2 * metres * math.tan(math.radians(code_photos.ANGLE_OF_VIEW / 2))
    return module_m / seen_m * width


def main(a_cell: int, widths: Sequence[int]) -> None:
    """Print the tables."""
    for width in widths:
        tally = Tally(a_cell)
        grid = [Shot(size, width=width) for size in SIZES]
        tilts = [[replace(shot, tilt=tilt) for tilt in TILTS] for shot in grid]
        blurs = [[replace(shot, tilt=15, blur=blur) for blur in BLURS] for shot in grid]
        lights = [[replace(shot, tilt=15, light=light) for light in Light] for shot in grid]
        degrees, pixels = [f"{tilt:g} degrees" for tilt in TILTS], [f"{b:g} px" for b in BLURS]
        table(f"{width} px wide, by day, blur 0.8 px: tilt", degrees, tilts, tally)
        table(f"{width} px wide, by day, tilt 15 degrees: blur", pixels, blurs, tally)
        table(f"{width} px wide, tilt 15 degrees, blur 0.8 px: light", list(Light), lights, tally)
        empty_photos(width, tally)
        say(f"\n{tally.photos} photos of {width} px: {tally.read} codes read, {tally.false} false")
        say(f"OpenCV's own two readers alone, on the photos as they are: {tally.plain} read")
        for name, took in (("with", tally.with_code_s), ("without", tally.without_code_s)):
            median, most = np.median(took), max(took)
            say(f"photos {name} a code: {median:.2f} s each (median), {most:.2f} s at the most")
    distances()


def say(line: str) -> None:
    """Print one line at once."""
    print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    began = time.monotonic()
    asked = [int(number) for number in sys.argv[1:]]
    main(asked[0] if asked else A_CELL, asked[1:] or WIDTHS)
    say(f"\n{time.monotonic() - began:.0f} s in all")
