"""Print how fast a card is read, beside a bare read and beside one batch of exiftool.

2,000 names of 20 twelve-megapixel JPEGs of 2-4 MB, with full Exif and a maker note of 2-30 KB,
made anew in a temporary folder. The names of one picture are hard links, so everything is read
from memory, by every reader alike. Compare the ratios of one run, not the seconds of two machines.

    python tests/benchmarks/bench_reading.py [FILES]
"""

import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from PIL import Image

from core.cards import find_files, read_files

DISTINCT, FILES = 20, 2000
TAGS = ("DateTimeOriginal", "CreateDate", "ModifyDate", "SubSecTimeOriginal", "OffsetTimeOriginal")


def exif_of(number: int) -> Image.Exif:
    """Give the header of an ordinary camera: 40 tags and a maker note."""
    shown = f"2024:05:{number + 1:02} 07:08:09"
    tags = Image.Exif()
    first: dict[int, object] = {
        0x010E: "trail",
        0x010F: "MAKER",
        0x0110: "CAM 12",
        0x0112: 1,
        0x011A: 72.0,
    }
    first |= {0x011B: 72.0, 0x0128: 2, 0x0131: "1.0", 0x0132: shown, 0x0213: 2}
    below: dict[int, object] = {
        0x829A: 1 / 60,
        0x829D: 2.8,
        0x8822: 2,
        0x8827: 400,
        0x9000: b"0231",
    }
    below |= {0x9003: shown, 0x9004: shown, 0x9010: "+02:00", 0x9011: "+02:00", 0x9012: "+02:00"}
    below |= {0x9101: b"\1\2\3\0", 0x9201: 6.0, 0x9202: 3.0, 0x9204: 0.0, 0x9205: 3.0, 0x9207: 5}
    below |= {0x9208: 0, 0x9209: 0, 0x920A: 4.0, 0x9290: "12", 0x9291: "12", 0x9292: "12"}
    below |= {0x927C: random.Random(number).randbytes(2048 + number * 1400), 0xA000: b"0100"}
    below |= {0xA001: 1, 0xA002: 4000, 0xA003: 3000, 0xA217: 2, 0xA300: b"\3", 0xA301: b"\1"}
    below |= {0xA401: 0, 0xA402: 0, 0xA403: 0, 0xA404: 1.0, 0xA406: 0, 0xA431: "SN123456"}
    tags.update(first)
    tags.get_ifd(0x8769).update(below)
    return tags


def make_card(folder: Path, files: int) -> None:
    """Draw the pictures and give each its many names."""
    for number in range(DISTINCT):
        drawn = Image.effect_noise((4000, 3000), 9 + number // 3).convert("RGB")
        first = folder / f"IMG_{number:05}.JPG"
        drawn.save(first, quality=80, exif=exif_of(number))
        for copy in range(number + DISTINCT, files, DISTINCT):
            os.link(first, folder / f"IMG_{copy:05}.JPG")


def bare(folder: Path) -> int:
    """Read 64 KiB of each file, the least that any reader must."""
    read = 0
    for entry in os.scandir(folder):
        with open(entry.path, "rb", buffering=0) as handle:  # noqa: PTH123  (the least)
            read += len(handle.read(65_536)) > 0
    return read


def ours(folder: Path, workers: int) -> int:
    """Find and read the card; the start of the workers is in the time."""
    return sum(one.header.problem == "" for one in read_files(find_files(folder), workers=workers))


def exiftool(folder: Path) -> int:
    """Read the card with one batch of exiftool."""
    asked = ["exiftool", "-fast2", "-csv", *(f"-{tag}" for tag in TAGS), "-r", str(folder)]
    return len(subprocess.run(asked, capture_output=True, check=True).stdout.splitlines()) - 1


def best_of(times: int, read: Callable[[], int], files: int) -> float:
    """Give the files a second of the best of some runs."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        assert read() == files
        took.append(time.perf_counter() - began)
    return files / min(took)


def main() -> None:
    """Print the table."""
    files = int(sys.argv[1]) if len(sys.argv) > 1 else FILES
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        make_card(folder, files)
        sizes = sorted(path.stat().st_size for path in folder.iterdir())
        mega = f"{sizes[0] / 1e6:.1f}-{sizes[-1] / 1e6:.1f} MB"
        say(f"{files} files of {mega}, {os.cpu_count()} cores")
        limit = best_of(3, lambda: bare(folder), files)
        beside = best_of(1, lambda: exiftool(folder), files) if shutil.which("exiftool") else None
        say("reader                   files/s   bare read is   times exiftool")
        tell("bare read of 64 KiB", limit, limit, beside)
        for workers in (1, 2):
            speed = best_of(3, lambda many=workers: ours(folder, many), files)  # type: ignore[misc]
            tell(f"read_files, {workers} worker{'s' * (workers > 1)}", speed, limit, beside)
        if beside:
            tell("exiftool -fast2 -csv", beside, limit, beside)


def tell(name: str, speed: float, limit: float, beside: float | None) -> None:
    """Print one row."""
    times = f"{speed / beside:8.1f} x" if beside else "no exiftool"
    say(f"{name:<22}{speed:>10,.0f}{limit / speed:>10.1f} x {times:>18}")


def say(line: str) -> None:
    """Print one line at once."""
    print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
