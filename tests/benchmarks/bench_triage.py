"""Print how many empty runs rank behind every run with an animal, by several ways of scoring.

Ours, from strip copies and from small pictures as cameras embed them; the plain difference to the
previous photo; OpenCV's MOG2. On the demo and on made-up scenes with drawn animals, real birds and
a real heron cut in. The first set of scenes was looked at while the score was made, and the two
plain ways are set as they do best on it. The held-out set has other birds and herons, other sand,
bricks in place of gravel and other dice; nothing was set by it.
Real pieces come from the folder that LASTBITE_SHARED names; without it animals are drawn.

    python tests/benchmarks/bench_triage.py
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import cv2
import numpy as np
import scenes
from numpy.typing import NDArray
from scenes import Piece, Scene, Weather

from app.demo import build_demo
from core import motion
from core.model import BLANK, Outline
from core.workspace import PlacementView, Workspace
from demo_images import draw_demo

RUNS = 60
Runs = list[list[motion.Picture]]
Way = Callable[[Runs], list[float]]


def ours(runs: Runs, trays: Sequence[Outline] = ()) -> list[float]:
    """Score runs as `core.triage` does, from pictures in memory."""
    frames = [[motion.frame_of(picture) for picture in run] for run in runs]
    near = {at: run[len(run) // 2].infrared for at, run in enumerate(frames)}
    found = []
    for at, run in enumerate(frames):
        around = [frames[one] for one in motion.around(at, near, infrared=near[at])]
        quiet = motion.quiet_scene(run[0], [one[len(one) // 2] for one in around])
        found.append(max(motion.change(one, quiet, trays).whole for one in run))
    return found


def ours_small(runs: Runs) -> list[float]:
    """Score runs from pictures of 160 by 120, as most cameras put them into a photo's header."""
    size = 160, 120
    return ours([[cv2.resize(one, size, interpolation=cv2.INTER_AREA) for one in r] for r in runs])


def previous(runs: Runs) -> list[float]:
    """Score runs by the share of pixels that differ from the photo before by more than 30."""
    small = [[_smooth(one) for one in run] for run in runs]
    flat = [one for run in small for one in run]
    before, found = flat[1], []
    for run in small:
        most = 0.0
        for one in run:
            most, before = max(most, float((np.abs(one - before) > 30).mean())), one
        found.append(most)
    return found


def mog2(runs: Runs) -> list[float]:
    """Score runs by the share of foreground that OpenCV's MOG2 finds, after ten runs to learn."""
    model = cv2.createBackgroundSubtractorMOG2(history=100, varThreshold=25, detectShadows=False)
    for run in runs[:10]:
        for one in run:
            model.apply(_grey(one))
    return [
        max(float((cv2.medianBlur(_foreground(model, one), 5) == 255).mean()) for one in run)
        for run in runs
    ]


def _foreground(model: cv2.BackgroundSubtractorMOG2, picture: motion.Picture) -> motion.Plane:
    return model.apply(_grey(picture), learningRate=0.01)


def _smooth(picture: motion.Picture) -> NDArray[np.float32]:
    return cv2.GaussianBlur(_grey(picture), (5, 5), 0).astype(np.float32)


def _grey(picture: motion.Picture) -> NDArray[np.uint8]:
    high, wide = picture.shape[:2]
    size = motion.WIDTH, round(high * motion.WIDTH / wide)
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return cv2.cvtColor(small, cv2.COLOR_BGR2GRAY)  # type: ignore[return-value]


def behind(scores: Sequence[float], animal: Sequence[bool]) -> float:
    """Give the share of empty runs that rank behind every run with an animal."""
    lowest = min(one for one, held in zip(scores, animal, strict=True) if held)
    empty = [one for one, held in zip(scores, animal, strict=True) if not held]
    return sum(one < lowest for one in empty) / len(empty)


# --- what is scored ------------------------------------------------------------------------------


def made_up(*, held_out: bool) -> Iterator[Scene]:
    """Give the scenes of a set: two of each kind."""
    seed = 900 if held_out else 100
    shared = os.environ.get("LASTBITE_SHARED")
    drawn = [scenes.drawn_animal(seed + at) for at in range(3)]
    night: list[scenes.Floats] = []
    herons: list[Piece] = []
    sand, grass = scenes.drawn_ground(seed + 2), scenes.drawn_ground(seed + 1)
    gravel, animals = grass, drawn
    if shared:
        corpora = Path(shared) / "corpora"
        textures = corpora / "picture_pieces" / "textures_cc0"
        gravel = scenes.textured_ground(
            textures / ("brick.png" if held_out else "gravel.png"), seed
        )
        grass = scenes.textured_ground(textures / "grass.png", seed + 1)
        names = list(scenes.OUTLINES)
        birds = names[6:] if held_out else names[:6]
        animals = scenes.birds(corpora / "picture_pieces" / "birds", birds) + drawn
        night = scenes.emptied_night_frames(corpora / "night_burst")
        herons = scenes.herons(corpora / "night_burst")[5 if held_out else 0 :][:5]
    kinds: list[tuple[str, scenes.Floats, Weather, dict[str, Any]]] = [
        ("calm", sand, Weather(), {}),
        ("wind", sand, Weather(wind_px=3), {}),
        ("wind in grass", grass, Weather(wind_px=3), {}),
        ("storm", grass, Weather(wind_px=8), {}),
        ("cloud", gravel, Weather(cloud=0.5, wind_px=1), {}),
        ("exposure steps", sand, Weather(exposure=0.35, wind_px=1), {}),
        ("dusk", grass, Weather(dusk=0.75, wind_px=1, exposure=0.1), {}),
        ("camera nudged", gravel, Weather(nudge_px=6, wind_px=1), {}),
        ("infrared", sand, Weather(infrared=True, noise=6, wind_px=2, exposure=0.15), {}),
        ("most runs with an animal", sand, Weather(wind_px=2), {"share": 0.6}),
        ("coloured like the ground", sand, Weather(wind_px=2, exposure=0.1), {"likeness": 1.0}),
        ("large animals", grass, Weather(wind_px=2, exposure=0.1), {"sizes": (0.05, 0.25)}),
        ("still, same spot for runs", sand, Weather(wind_px=2), {"lingers": True}),
        ("wandering shadow", sand, Weather(sun=0.5, wind_px=1), {}),
        ("all at once", grass, Weather(wind_px=3, cloud=0.4, exposure=0.2, nudge_px=4), {}),
    ]
    for at, (name, ground, weather, more) in enumerate(kinds, start=1):
        for again in range(2):
            scene = Scene(name, ground, animals, weather, seed + 10 * at + again, runs=RUNS)
            yield scenes.with_fields(scene, more)
    for again in range(2 if night else 0):
        weather = Weather(infrared=True, noise=2, exposure=0.12, nudge_px=2)
        yield Scene("real night frames", sand, herons + animals, weather, seed + 300 + again,
                    runs=RUNS, tray=None, frames=night)  # fmt: skip


def runs_of(scene: Scene) -> tuple[Runs, list[bool]]:
    """Draw a scene; give its photos by run, and whether each run holds an animal."""
    runs: Runs = [[] for _ in range(scene.runs)]
    animal = [False] * scene.runs
    for shot in scenes.photos_of(scene):
        picture = cv2.imdecode(np.frombuffer(shot.jpeg, np.uint8), cv2.IMREAD_COLOR)
        assert picture is not None
        runs[shot.run].append(picture)
        animal[shot.run] |= shot.animal > 0
    return runs, animal


def demo_runs() -> Iterator[tuple[str, list[list[float]], Runs, list[bool]]]:
    """Give the visits of the demo, with our scores as the study keeps them: by copies, by headers.

    An animal is where people named one, or a person. Photos of our staff and time-lapse photos are
    in no visit.
    """
    with tempfile.TemporaryDirectory() as folder, build_demo(Path(folder) / "demo") as workspace:
        for placement in workspace.placements():
            name = placement.placement
            view = workspace.view(name)
            by_headers = _kept_scores(workspace, view)
            list(workspace.previews.make(workspace.previews.stock(name).missing))
            scores = [_kept_scores(workspace, view), by_headers]
            runs: Runs = []
            for one in view.visits:
                paths = [workspace.previews.original(p.id).path for p in one.visit.photos]
                runs.append([_strip(path) for path in paths])
            yield name, scores, runs, [one.answer.species != (BLANK,) for one in view.visits]


def _kept_scores(workspace: Workspace, view: PlacementView) -> list[float]:
    workspace.score(view.placement.placement)
    changed = workspace.changes([photo.id for photo in view.ordered])
    return [max(changed[photo.id].whole for photo in one.visit.photos) for one in view.visits]


def _strip(path: Path) -> motion.Picture:
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    assert picture is not None
    return cv2.resize(picture, (320, 240), interpolation=cv2.INTER_AREA)


def demo_tray(placement: str, *, wall: bool) -> Outline:
    """Give the outline of the demo's tray, its rim or all of it, as it is drawn."""
    (drawn,) = [one for one in draw_demo.PLACEMENTS if one.name == placement]
    heights = (0.0, draw_demo.RIM) if wall else (draw_demo.RIM,)
    rings = [draw_demo.ring(0, 0, z, draw_demo.RADIUS) for z in heights]
    across, down, _ = draw_demo.eye_of(drawn).project(np.concatenate(rings))
    points = np.stack([across, down], axis=1) / (draw_demo.WIDTH * draw_demo.FINER)
    (cx, cy), sizes, _ = cv2.fitEllipse(cv2.convexHull(points.astype(np.float32)))
    return Outline("", cx, cy, max(sizes) / 2, min(sizes) / 2, 0.0)


def found(tray: Outline, runs: Runs) -> bool:
    """Say whether the tray's outline is found within a tenth of its size."""
    picture = motion.quiet_picture([run[len(run) // 2] for run in runs[:15]])
    near = [abs(one.cx - tray.cx) + abs(one.cy - tray.cy) < 0.1 * tray.rx
            and abs(one.rx - tray.rx) < 0.1 * tray.rx and abs(one.ry - tray.ry) < 0.1 * tray.ry
            for one in motion.trays_in(picture, 1)]  # fmt: skip
    return any(near)


def main() -> None:
    """Print the table."""
    ways: dict[str, Way] = {
        "ours": ours,
        "ours, 160 px": ours_small,
        "previous photo": previous,
        "MOG2": mog2,
    }
    say(f"{'scene':38}" + "".join(f"{name:>16}" for name in ways))
    photos, seconds, trays, demo_trays = 0, 0.0, list[bool](), list[bool]()
    for label, held_out in (("", False), ("held out: ", True)):
        totals: dict[str, list[float]] = {name: [] for name in ways}
        kinds: dict[str, dict[str, list[float]]] = {}
        for scene in made_up(held_out=held_out):
            runs, animal = runs_of(scene)
            trays += [found(scene.tray, runs)] if scene.tray and not scene.weather.infrared else []
            for name, way in ways.items():
                began = time.process_time()
                share = behind(way(runs), animal)
                if name == "ours":
                    photos += sum(map(len, runs))
                    seconds += time.process_time() - began
                kinds.setdefault(scene.name, {}).setdefault(name, []).append(share)
                totals[name].append(share)
        for kind, shares in kinds.items():
            say(f"{label + kind:38}" + "".join(f"{np.mean(one):16.2f}" for one in shares.values()))
        say(f"{label + 'mean':38}" + "".join(f"{np.mean(one):16.2f}" for one in totals.values()))
    for placement, scores, runs, animal in demo_runs():
        all_scores = [*scores, previous(runs), mog2(runs)]
        shares_here = [behind(one, animal) for one in all_scores]
        say(f"{'demo ' + placement:38}" + "".join(f"{one:16.2f}" for one in shares_here))
        by_day = [run for run in runs if not motion.frame_of(run[0]).infrared]
        outlines = [demo_tray(placement, wall=wall) for wall in (False, True)]
        demo_trays.append(any(found(one, by_day) for one in outlines))
    say(f"ours: {1000 * seconds / photos:.1f} ms of processor a photo")
    say(f"trays found: {sum(trays)} of {len(trays)} by day, {sum(demo_trays)} of 4 on the demo")


def say(line: str) -> None:
    """Print one line at once."""
    print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
