"""Which photos are scored next, from which pictures; what was done is kept."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image

from core import motion, triage
from core.model import Outline
from core.store import Raises, rulings
from core.store.tables import SCORES
from core.workspace import Workspace

START = datetime(2026, 3, 14, 8, 0)  # noqa: DTZ001  what a camera showed
RUNS = 12
ANIMAL_IN = 7
"""The run in whose photos something stands."""


def write(path: Path, shown: datetime, seed: int, *, animal: bool, high: int = 480) -> None:
    """Write a photo 640 px wide, with grain of its own and no small picture in its header."""
    grain = Image.effect_noise((640, high), 20)
    picture = Image.merge("RGB", (grain.point(lambda v: min(255, v + 60)), grain, grain))
    picture.putpixel((seed % 640, 0), (seed % 256, 0, 0))
    if animal:
        picture.paste((40, 30, 20), (400, 120, 460, 170))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = shown.strftime("%Y:%m:%d %H:%M:%S")
    path.parent.mkdir(parents=True, exist_ok=True)
    picture.save(path, quality=85, exif=exif)


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Workspace]:
    for run in range(RUNS):
        for shot in range(2):
            name = f"IMG_{10 * run + shot:04}.JPG"
            shown = START + timedelta(minutes=10 * run, seconds=shot)
            write(tmp_path / "card" / name, shown, 20 * run + shot, animal=run == ANIMAL_IN)
    with Workspace.create(tmp_path / "study", "Africa/Johannesburg") as workspace:
        workspace.scan(tmp_path / "card", "P1")
        yield workspace


def with_copies(study: Workspace) -> None:
    list(study.previews.make(study.previews.stock("P1").missing, workers=1))


def test_the_run_with_an_animal_stands_first(study: Workspace) -> None:
    """Of twelve runs of two photos, by their copies."""
    with_copies(study)
    assert study.score("P1") == triage.Scored(done=2 * RUNS, left=0)
    wholes = study.wholes(study.base("P1")).tolist()
    ranked = sorted(range(2 * RUNS), key=lambda at: -wholes[at])
    assert set(ranked[:2]) == {2 * ANIMAL_IN, 2 * ANIMAL_IN + 1}
    assert wholes[ranked[1]] > 2 * wholes[ranked[2]]


def test_without_any_picture_nothing_is_scored(study: Workspace) -> None:
    """These photos have none in their header, and no copies yet: they stay unscored, not low."""
    assert study.score("P1").done == 0
    assert study.changes([one.id for one in study.base("P1").ordered]) == {}


def test_photos_scored_before_they_were_measured(study: Workspace) -> None:
    """They keep their score; how dark and how plain they are is added."""
    with_copies(study)
    study.score("P1")
    with study._database.begin(Raises.NOTHING) as connection:
        before = rulings.measures(connection, "P1")
        marked = SCORES.update().values(grey=None, contrast=None, whole=0.25)
        connection.execute(marked)
        assert len(rulings.unmeasured(connection, "P1")) == 2 * RUNS
    assert study.score("P1") == triage.Scored(0, 0)
    with study._database.read() as connection:
        assert rulings.measures(connection, "P1") == before
    assert set(study.wholes(study.base("P1")).tolist()) == {0.25}


def test_a_run_of_photos_of_two_shapes_is_scored(study: Workspace, tmp_path: Path) -> None:
    """A third photo of the first run is 16:9: a camera that was set otherwise on the way."""
    shown = START + timedelta(seconds=3)
    write(tmp_path / "card" / "IMG_0002.JPG", shown, 3, animal=False, high=360)
    study.scan(tmp_path / "card", "P1")
    with_copies(study)
    assert study.score("P1").done == 2 * RUNS + 1


def test_what_is_scored_is_not_scored_again(study: Workspace) -> None:
    """The second call has nothing to do; after a new outline of the tray all is done anew."""
    with_copies(study)
    study.score("P1")
    assert study.score("P1") == triage.Scored(0, 0)
    study.set_outline("P1", Outline("", 0.7, 0.25, 0.15, 0.12, 0.0, "Nomsa"))
    assert study.score("P1").done == 2 * RUNS


def test_scoring_goes_on_where_it_was_stopped(study: Workspace) -> None:
    """Lot by lot, and each photo once."""
    with_copies(study)
    first = study.score("P1", most=6)
    assert (first.done, first.left) == (6, 2 * RUNS - 6)
    rest = study.score("P1")
    assert (rest.done, rest.left) == (2 * RUNS - 6, 0)


def test_progress_is_told_up_to_the_end(study: Workspace) -> None:
    """Photos looked at, of all that are to be looked at."""
    with_copies(study)
    told: list[tuple[int, int]] = []
    study.score("P1", progress=lambda done, total: told.append((done, total)))
    assert told[0] == (2, 2 * RUNS)
    assert told[-1] == (2 * RUNS, 2 * RUNS)


def test_frames_are_held_within_bounds(study: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    """With few frames held at a time the scores are the same."""
    with_copies(study)
    study.score("P1")
    photos = [one.id for one in study.base("P1").ordered]
    before = study.changes(photos)
    study.set_outline("P1", Outline("", 0.5, 0.4, 0.2, 0.1, 0.0, "Nomsa"))
    monkeypatch.setattr(triage, "FRAMES_KEPT", 3)
    study.score("P1")
    after = study.changes(photos)
    assert [after[photo].whole for photo in photos] == pytest.approx(
        [before[photo].whole for photo in photos], abs=0.001
    )


def test_a_better_method_scores_all_anew(study: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    """Scores say by which method they were made."""
    with_copies(study)
    study.score("P1")
    monkeypatch.setattr(motion, "METHOD", motion.METHOD + 1)
    assert study.score("P1").done == 2 * RUNS


def test_the_demos_trays_are_found_and_its_blank_visits_rank_last(demo: Workspace) -> None:
    """The demo's own truth: each placement's blank visit changed least, each tray is in the middle.

    The outlines are machine-made: nobody's name stands on them.
    """
    for name in ("SK-OPEN", "SK-BUSH", "HR-OPEN", "HR-BUSH"):
        list(demo.previews.make(demo.previews.stock(name).missing))
        demo.score(name)
        view = demo.view(name)
        changed = demo.changes([photo.id for photo in view.ordered])
        peaks = {
            one.visit.number: max(changed[photo.id].whole for photo in one.visit.photos)
            for one in view.visits
        }
        least = min(peaks, key=lambda number: peaks[number])
        assert view.visits[least - 1].answer.species == ("blank",)
        (tray,) = demo.outlines(name)
        assert (round(tray.cx, 1), round(tray.cy, 1), tray.by) == (0.5, 0.4, "")
