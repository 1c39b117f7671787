"""Print what previews cost, beside reading and unpacking the same photos and nothing else.

Twelve-megapixel JPEGs of 2-4 MB with full Exif and a maker note, drawn anew in a temporary folder:
light and dark at every size as in a photo (a spectrum of 1/f), and the grain of a small sensor.
The names of one picture are hard links, so everything is read from memory by both alike. A photo's
cost is the processor time of one core; the runs of both take turns. With two workers the clock
counts, so it needs two free cores. Compare the ratios of one run, not the numbers of two machines.

    python tests/benchmarks/bench_previews.py [FILES]
"""

import io
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
from benchmarks.bench_reading import exif_of
from PIL import Image

from core import pictures, workers

DISTINCT, FILES, TURNS = 8, 160, 5
HIGH, WIDE = 3000, 4000


def scene(seed: int) -> Image.Image:
    """Draw ground that looks like none in particular, in colour or (every other) as at night."""
    chance = np.random.default_rng(seed)
    far = np.hypot(np.fft.fftfreq(HIGH)[:, None], np.fft.rfftfreq(WIDE)[None, :])
    far[0, 0] = 1 / WIDE
    waves = chance.standard_normal(far.shape) + 1j * chance.standard_normal(far.shape)
    ground = np.fft.irfft2(waves / far**1.2, s=(HIGH, WIDE))
    ground = (ground / ground.std() * 40 + 110).astype(np.float32)
    grain = 4 + seed % 3
    night = seed % 2
    planes = [ground + chance.normal(0, grain, ground.shape) for _ in range(1 if night else 3)]
    tint = (1.0, 1.0, 1.0) if night else (1.08, 1.0, 0.8)
    picture = np.stack([planes[at % len(planes)] * tint[at] for at in range(3)], axis=-1)
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))


def make_card(folder: Path, files: int) -> list[Path]:
    """Draw the pictures and give each its many names."""
    for number in range(DISTINCT):
        first = folder / f"IMG_{number:05}.JPG"
        scene(number).save(first, quality=88 if number % 2 else 86, exif=exif_of(number))
        for copy in range(number + DISTINCT, files, DISTINCT):
            os.link(first, folder / f"IMG_{copy:05}.JPG")
    return sorted(folder.iterdir())


def alone(photo: Path) -> None:
    """Read a photo and unpack it at a quarter: the least that any small copy needs."""
    with Image.open(io.BytesIO(photo.read_bytes())) as opened:
        opened.draft("RGB", (WIDE // 4, HIGH // 4))
        opened.load()


def whole(photo: Path, target: Path) -> None:
    """Make both previews and the hash of a photo, as the workers do."""
    pictures.write_copies(photo, target / f"{photo.stem}-r.jpg", target / f"{photo.stem}-s.jpg")


def cost(work: Callable[[Path], object], photos: list[Path]) -> float:
    """Give the processor time of one photo. [ms]"""
    began = time.process_time()
    for photo in photos:
        work(photo)
    return (time.process_time() - began) / len(photos) * 1000


def speed(count: int, photos: list[Path], target: Path) -> float:
    """Give the photos a second of so many workers, which are started before; by the clock."""
    with workers.pool(count) as pool:
        reviews = [target / f"{photo.stem}-r.jpg" for photo in photos]
        strips = [target / f"{photo.stem}-s.jpg" for photo in photos]
        list(
            pool.map(
                pictures.write_copies, *(few[: 4 * count] for few in (photos, reviews, strips))
            )
        )
        began = time.perf_counter()
        list(pool.map(pictures.write_copies, photos, reviews, strips))
        return len(photos) / (time.perf_counter() - began)


def main() -> None:
    """Print the table."""
    files = int(sys.argv[1]) if len(sys.argv) > 1 else FILES
    with tempfile.TemporaryDirectory() as made:
        card, target = Path(made, "card"), Path(made, "previews")
        card.mkdir()
        photos = make_card(card, files)
        few = photos[: 2 * DISTINCT]
        sizes = sorted(path.stat().st_size / 1e6 for path in photos)
        say(f"{files} photos of {sizes[0]:.1f}-{sizes[-1]:.1f} MB, {os.cpu_count()} cores")
        turns = [(cost(alone, few), cost(lambda p: whole(p, target), few)) for _ in range(TURNS)]
        least, ours = (min(column) for column in zip(*turns, strict=True))
        ratios = [mine / bare for bare, mine in turns]
        say(f"read, unpacked at 1/4          {least:6.1f} ms a photo of one core")
        say(f"read, hashed, both previews    {ours:6.1f} ms a photo of one core")
        say(f"  that is {ours / least:.2f} x ({min(ratios):.2f} to {max(ratios):.2f} in turns)")
        pairs = [(speed(1, photos, target), speed(2, photos, target)) for _ in range(3)]
        gains = [two / one for one, two in pairs]
        one, two = max(one for one, _ in pairs), max(two for _, two in pairs)
        say(f"one worker {one:.1f} photos/s, two {two:.1f}: {statistics.median(gains):.2f} x")
        kept = [path.stat().st_size / 1000 for path in target.iterdir()]
        say(f"on disk {sum(kept) / len(photos):.0f} kB a photo, both previews")


def say(line: str) -> None:
    """Print one line at once."""
    print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
