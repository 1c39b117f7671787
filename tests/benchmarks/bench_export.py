"""Print how long a package of a study of 100,000 photos takes to write, and what memory.

100 placements of 1,000 photos, a visit of five photos every ten minutes, each tagged by one
person; rows of the store, no pictures. It is written in a process of its own, once without and
once with the tags of each photo; the memory is the most that it held, once the study was open and
at the end. Goal: under 30 s.

    python tests/benchmarks/bench_export.py [PHOTOS]
"""

import os
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from builders import new_photo

from core.model import Header, Placement, Species, SpeciesRole, Tag, TimeSource, Where
from core.settings import FILE_NAME
from core.store import Database, cards, tags
from core.store import logs as log_store
from core.workspace import Workspace

PHOTOS, BY_PLACEMENT, BY_VISIT = 100_000, 1_000, 5
APART = timedelta(minutes=10)
START = datetime(2026, 3, 14, 18, tzinfo=UTC)
GOAL_S = 30
FACTS = """
[export]
sampling_design = "experimental"
contributors = [{ name = "A. Example", role = "contact" }]
"""
WRITE = """
import resource, sys, time
from pathlib import Path
from core import keeping
from core.workspace import Workspace
def held(): return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
with Workspace.open(Path(sys.argv[1])) as study:
    opened, began = held(), time.perf_counter()
    wanted = keeping.Wanted(tags=sys.argv[3] == "tags")
    done = keeping.export(study, Path(sys.argv[2]), wanted)
    took = time.perf_counter() - began
print(f"{took:.1f} s, {held():.0f} MB ({opened:.0f} MB when the study was open)", done.counts)
"""


def make(folder: Path, photos: int) -> None:
    """Make the study."""
    Workspace.create(folder, "UTC").close()
    file = folder / FILE_NAME
    text = file.read_text(encoding="utf-8").partition("[export]")[0]
    file.write_text(text + FACTS, encoding="utf-8")
    names = [f"P{at:03}" for at in range(photos // BY_PLACEMENT)]
    end = START + APART * (BY_PLACEMENT // BY_VISIT)
    database = Database.open(folder / "lastbite.db")
    with database.begin() as connection:
        mouse = Species("m", "mouse", SpeciesRole.FORAGER, "Mus inventus")
        log_store.put_species(connection, [mouse])
        placements = [
            Placement(name, "cam", (f"T-{name}",), START, end, latitude=-32.1, longitude=18.3)
            for name in names
        ]
        log_store.put_placements(connection, placements)
        for name in names:
            card = cards.put_card(connection, name, f"/cards/{name}", START)
            ids = cards.add_photos(
                connection, card, [_photo(name, at) for at in range(BY_PLACEMENT)]
            )
            made = [
                Tag(
                    0,
                    name,
                    ids[at],
                    ids[at + BY_VISIT - 1],
                    "ann",
                    "m",
                    1,
                    Where.FED,
                    made_at=START,
                )
                for at in range(0, BY_PLACEMENT, BY_VISIT)
            ]
            tags.add_tags(connection, made, [None] * len(made))
    database.dispose()


def _photo(name: str, at: int) -> cards.NewPhoto:
    shown = START.replace(tzinfo=None) + at // BY_VISIT * APART + timedelta(seconds=at % BY_VISIT)
    header = Header(shown, time_source=TimeSource.ORIGINAL, make="Invented", model="One")
    return new_photo(f"IMG_{at:04}.JPG", fingerprint=f"{name}-{at}", header=header)


def main() -> None:
    """Make the study and write it twice."""
    photos = int(sys.argv[1]) if len(sys.argv) > 1 else PHOTOS
    with tempfile.TemporaryDirectory() as inside:
        folder = Path(inside)
        make(folder / "study", photos)
        print(f"{photos:,} photos; goal {GOAL_S} s; load {os.getloadavg()[0]:.1f}")  # noqa: T201
        for what in ("answers", "tags"):
            told = subprocess.run(
                [sys.executable, "-c", WRITE, folder / "study", folder / what, what],
                check=True, capture_output=True, text=True,
            ).stdout  # fmt: skip
            print(f"  {what}: {told.strip()}")  # noqa: T201


if __name__ == "__main__":
    main()
