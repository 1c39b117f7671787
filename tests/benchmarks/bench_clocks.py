"""Print how long the clocks of a study of 100,000 photos take: looked at, shown, decided.

200 placements of about 500 photos, each with a camera and a tray of its own, made by
`tests/seasons.py`; at every tenth of them the clock was set an hour off. Rows of the store, no
pictures. The second table looks at one placement of 100,000 photos.

    python tests/benchmarks/bench_clocks.py [PLACEMENTS]
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import seasons
from builders import NOON, new_photo
from seasons import Card, Habits
from streamlit.testing.v1 import AppTest

from app import session
from core.clockfaults import find_faults
from core.model import Header, TimeSource
from core.store import Database, cards
from core.store import logs as log_store
from core.workspace import Workspace

PLACEMENTS = 200
ONE_IN = 10
NIGHTS, BY_NIGHT = 12, 8
MANY_A_NIGHT = 1400
"""Triggers a night that make 100,000 photos in so many nights."""


def season(placements: int) -> list[Card]:
    """Make the cards; every tenth clock is an hour off."""
    habits = Habits(nights=NIGHTS, by_night=BY_NIGHT, dies=0, trips=0)
    found = []
    for at in range(placements):
        random = Random(at)
        card = seasons.clean(random, date(2026, 3, 2), habits, name=f"P{at:03}", tray=f"T{at:03}")
        found.append(seasons.one_hour(card, random) if at % ONE_IN == 0 else card)
    return found


def make(folder: Path, held: Sequence[Card]) -> None:
    """Make a study of the cards."""
    Workspace.create(folder, held[0].place.zone.key).close()
    database = Database.open(folder / "lastbite.db")
    with database.begin() as connection:
        log_store.put_placements(connection, [card.placement for card in held])
        log_store.put_tray_deployments(connection, [row for card in held for row in card.trays])
        for card in held:
            name = card.placement.placement
            row = cards.put_card(connection, name, f"/cards/{name}", NOON)
            photos = [
                new_photo(one.file, fingerprint=f"{name}-{one.file}",
                          header=Header(one.camera_time, time_source=TimeSource.ORIGINAL))
                for one in card.photos
            ]  # fmt: skip
            cards.add_photos(connection, row, photos)
    database.dispose()


def tell(line: str) -> None:
    """Print a line."""
    print(line, flush=True)  # noqa: T201


def timed(words: str, work: Callable[[], Any]) -> Any:
    """Print how long something took, and give what it gave."""
    began, worked = time.perf_counter(), time.process_time()
    found = work()
    wall, processor = time.perf_counter() - began, time.process_time() - worked
    tell(f"{words:<64}{wall:8.2f} s {processor:8.2f} s of a processor")
    return found


def whole_study(folder: Path, placements: int) -> None:
    """Look at all clocks, show the page, decide one."""
    held = season(placements)
    make(folder, held)
    tell(f"{placements} placements, {sum(len(card.photos) for card in held)} photos")
    names = [card.placement.placement for card in held]
    with Workspace.open(folder) as study:
        timed("photos, times, visits of every placement, which check needs",
              lambda: [study.view(name) for name in names])  # fmt: skip
        found = timed("every clock looked at", lambda: [study.clocks.findings(n) for n in names])
        tell(f"  {sum(map(bool, found))} clocks with a finding")
        timed("the rest of check, with what each proposal would change", study.check)
    os.environ[session.STUDY_VARIABLE] = str(folder)
    page = AppTest.from_file(str(Path(session.__file__).with_name("main.py")), default_timeout=600)
    page.session_state["own_tagger"] = "Ann"
    timed("the first page opens", page.run)
    timed("the Clocks page opens", lambda: page.switch_page("screens/clocks.py").run())
    timed("the Clocks page again", page.run)
    other = next(one for one in page.selectbox if one.key == "clock")
    timed("another placement is chosen", lambda: other.select_index(1).run())
    [accept, *_] = [one for one in page.button if str(one.key).startswith("accept-")]
    timed("a proposal is accepted, and the page shown again", lambda: accept.click().run())


def one_placement() -> None:
    """Look at the clock of one placement of many photos."""
    habits = Habits(nights=20, by_night=MANY_A_NIGHT, by_day=MANY_A_NIGHT / 4, dies=0, trips=0)
    card = seasons.clean(Random(1), date(2026, 3, 2), habits)
    tell(f"one placement, {len(card.photos)} photos")
    timed("its clock looked at, nothing wrong", lambda: find_faults(card.timeline(light=True)))
    wrong = seasons.one_hour(card, Random(2))
    timed("its clock looked at, an hour off", lambda: find_faults(wrong.timeline(light=True)))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        whole_study(Path(folder) / "study", int(sys.argv[1]) if len(sys.argv) > 1 else PLACEMENTS)
    one_placement()
