"""How much a photo differs from its quiet scene: what is ranked last, and the tray's outline."""

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
import scenes
from benchmarks.bench_triage import behind, mog2, ours, previous, runs_of
from hypothesis import given
from hypothesis import strategies as st
from scenes import Scene, Weather

from core import motion
from core.model import Outline

SAND = scenes.drawn_ground(3)
MICE = [scenes.drawn_animal(at) for at in (1, 2, 3)]


def frames(count: int, seed: int = 1, **light: float) -> list[motion.Picture]:
    """Give photos of the same sand, each with noise of its own."""
    rng = np.random.default_rng(seed)
    ground = scenes.with_tray(SAND, scenes.TRAY) * light.get("gain", 1.0)
    shots = [np.clip(ground + rng.normal(0, 3, ground.shape), 0, 255) for _ in range(count)]
    return [cv2.resize(one.astype(np.uint8), (320, 240)) for one in shots]


def with_square(picture: motion.Picture, x: int, y: int, size: int) -> motion.Picture:
    changed = picture.copy()
    changed[y : y + size, x : x + size] = (40, 50, 60)
    return changed


def scored(
    picture: motion.Picture, neighbours: list[motion.Picture], *trays: Outline
) -> motion.Change:
    return run_scored([picture], neighbours, *trays)[0]


def run_scored(
    run: list[motion.Picture], neighbours: list[motion.Picture], *trays: Outline
) -> list[motion.Change]:
    """Score the photos of a run against a scene made of others."""
    frames = [motion.frame_of(one) for one in run]
    quiet = motion.quiet_scene(frames[0], [motion.frame_of(one) for one in neighbours])
    return [motion.change(one, quiet, trays) for one in frames]


# --- scores --------------------------------------------------------------------------------------


def test_a_photo_like_its_neighbours_scores_next_to_nothing() -> None:
    """Noise alone is no change."""
    quiet = frames(10)
    assert scored(quiet[0], quiet[1:]).whole < 0.02


def test_a_still_animal_of_half_a_percent_is_a_change() -> None:
    """A square of 20 by 20 of 320 by 240 pixels is 0.52 % of the picture."""
    quiet = frames(10)
    change = scored(with_square(quiet[0], 200, 60, 20), quiet[1:])
    assert change.whole > 0.4


def test_a_change_is_told_on_the_tray_or_off_it() -> None:
    """The same square in the tray's middle, and in a corner."""
    quiet = frames(10)
    there = scored(with_square(quiet[0], 150, 130, 20), quiet[1:], scenes.TRAY)
    assert there.on_tray == pytest.approx(there.whole)
    assert there.off_tray is not None
    assert there.off_tray < 0.02
    away = scored(with_square(quiet[0], 10, 10, 20), quiet[1:], scenes.TRAY)
    assert away.on_tray is not None
    assert away.on_tray < 0.02
    assert away.off_tray == pytest.approx(away.whole)


def test_without_a_trays_outline_nothing_is_said_of_it() -> None:
    """None, not zero."""
    quiet = frames(6)
    change = scored(quiet[0], quiet[1:])
    assert (change.on_tray, change.off_tray) == (None, None)


def test_the_outline_runs_round_what_changed() -> None:
    """In picture widths: the square lies from 0.625 to 0.6875 across, and 0.1875 to 0.25 down."""
    quiet = frames(10)
    outline = scored(with_square(quiet[0], 200, 60, 20), quiet[1:]).outline
    assert len(outline) == 1
    across, down = zip(*outline[0], strict=True)
    assert 0.59 < min(across) < 0.63
    assert 0.68 < max(across) < 0.72
    assert 0.15 < min(down) < 0.19
    assert 0.245 < max(down) < 0.285


def test_an_exposure_step_is_no_change() -> None:
    """The camera makes the whole picture a fifth darker; an animal in it is one all the same."""
    darker = frames(1, 9, gain=0.8)[0]
    assert scored(darker, frames(9)).whole < 0.02
    assert scored(with_square(darker, 200, 60, 20), frames(9)).whole > 0.4


def test_a_cloud_over_half_of_the_picture_is_no_change() -> None:
    """Light that falls off softly from one side to the other, to a half."""
    quiet = frames(10)
    cloud = np.linspace(0.5, 1, 320, dtype=np.float32)[None, :, None]
    assert scored((quiet[0] * cloud).astype(np.uint8), quiet[1:]).whole < 0.02


def test_an_animal_as_bright_as_the_ground_is_seen_by_its_colour() -> None:
    """A plain blue-grey square, its grey value that of the sand under it."""
    quiet = frames(10)
    bird = quiet[0].copy()
    grey = cv2.cvtColor(bird, cv2.COLOR_BGR2GRAY)[60:80, 200:220].mean()
    bird[60:80, 200:220] = np.array([40, 0, -15]) + grey
    after = cv2.cvtColor(bird, cv2.COLOR_BGR2GRAY)[60:80, 200:220].mean()
    assert after == pytest.approx(grey, abs=1)
    assert scored(bird, quiet[1:]).whole > 0.3


def test_a_nudge_of_the_camera_is_no_change() -> None:
    """The camera was pushed by 5 of 320 pixels after the neighbours; an animal is one all the same.

    Compared where it stood before, the tray alone would be a change; so would what comes into view
    at the edge, here from the other side of the picture, where the neighbours show nothing.
    """
    quiet = frames(10)
    pushed = np.roll(quiet[0], (3, 5), axis=(0, 1))
    assert scored(pushed, quiet[1:]).whole < 0.1
    assert scored(with_square(pushed, 200, 60, 20), quiet[1:]).whole > 0.4


def test_comparing_changes_nothing_in_what_is_compared() -> None:
    """A frame serves in the scenes of many runs: the second score equals the first."""
    quiet = frames(10)
    made = [motion.frame_of(one) for one in quiet]
    edges = [one.edges.copy() for one in made]
    first, second = (
        motion.change(made[0], motion.quiet_scene(made[0], made[1:]), ()) for _ in range(2)
    )
    assert first == second
    assert all(np.array_equal(one.edges, old) for one, old in zip(made, edges, strict=True))


def test_what_nothing_can_be_compared_with_stands_first() -> None:
    """No neighbour, or none in the same light: never last."""
    quiet = frames(3)
    assert scored(quiet[0], []).whole == motion.UNKNOWN
    grey = cv2.cvtColor(cv2.cvtColor(quiet[0], cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
    assert motion.frame_of(grey).infrared
    assert scored(grey, quiet[1:]).whole == motion.UNKNOWN


def test_an_animal_in_all_photos_of_its_run_is_seen() -> None:
    """Its own run makes no part of the quiet scene, however long it is."""
    quiet = frames(12)
    run = [with_square(one, 200, 60, 20) for one in quiet[:6]]
    assert min(one.whole for one in run_scored(run, quiet[6:])) > 0.4


def test_an_animal_on_the_same_spot_in_a_third_of_the_runs_around_is_seen() -> None:
    """Five of fifteen neighbours show it too: their middle is still the sand."""
    quiet = frames(16)
    here = [with_square(one, 200, 60, 20) for one in quiet]
    assert scored(here[0], here[1:6] + quiet[6:]).whole > 0.4


def test_a_shadow_on_the_ground_is_no_animal() -> None:
    """A quarter of the picture at half of the light, its edge hard: the grain is the ground's own.

    A body as dark and of the same size is a change: it covers the grain.
    """
    quiet = frames(16)
    shaded, covered = quiet[0].copy(), quiet[0].copy()
    shaded[60:180, 40:200] = shaded[60:180, 40:200] // 2
    covered[60:180, 40:200] = cv2.blur(shaded[60:180, 40:200], (31, 31))
    shadow, body = scored(shaded, quiet[1:]), scored(covered, quiet[1:])
    assert body.whole > 0.8
    assert shadow.whole < 0.7 * body.whole


def test_a_photo_of_another_size_is_compared_all_the_same() -> None:
    """A camera that was set from 4:3 to 16:9 on the way."""
    quiet = frames(6)
    assert 0 <= scored(quiet[0][:180], quiet[1:]).whole <= 1


def test_the_nearest_runs_in_the_same_light_make_the_scene() -> None:
    """Fifteen of them; never the run itself, never the other light."""
    near = {at: 20 <= at < 30 for at in range(60)}
    assert motion.around(33, near, infrared=False) == [
        32, 34, 31, 35, 30, 36, 37, 38, 39, 40, 41, 42, 43, 44, 45
    ]  # fmt: skip
    assert motion.around(33, near, infrared=True) == [29, 28, 27, 26, 25, 24, 23, 22, 21, 20]


def test_one_other_run_makes_no_scene() -> None:
    """An animal may be in it as well; two are enough to compare."""
    assert motion.around(1, {0: False, 2: True}, infrared=False) == []
    assert motion.around(1, {0: False, 2: False}, infrared=False) == [0, 2]


@given(st.integers(2, 40), st.integers(0, 2**31))
def test_the_network_sorts_pictures_as_a_sort_does(count: int, seed: int) -> None:
    """Against numpy's own sort, on pictures of one row."""
    stack = np.random.default_rng(seed).integers(0, 256, (count, 1, 9), dtype=np.uint8)
    ranked = np.sort(stack, axis=0)
    assert np.array_equal(np.stack(motion._ranked(list(stack))), ranked)


def test_the_spread_of_a_pixel_is_that_of_most_neighbours() -> None:
    """By hand: 15 pixels, middle 100; off by 0 0 0 1 1 1 2 2 2 3 3 90 90 90 90, the tenth is 3."""
    values = [100, 100, 100, 99, 101, 101, 98, 102, 102, 97, 103, 10, 190, 190, 10]
    middle, spread = motion._quiet([np.full((1, 1), one, np.uint8) for one in values])
    assert (float(middle[0, 0]), float(spread[0, 0])) == (100.0, 3.0)


# --- ranks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "weather"),
    [
        ("wind", Weather(wind_px=3)),
        ("exposure", Weather(exposure=0.35, wind_px=1)),
        ("dusk", Weather(dusk=0.75, wind_px=1)),
        ("infrared", Weather(infrared=True, noise=6, wind_px=2)),
    ],
)
def test_empty_runs_stand_behind_every_run_with_an_animal(name: str, weather: Weather) -> None:
    """At least nine of ten, and no fewer than by the plain ways (a judgement)."""
    runs, animal = runs_of(Scene(name, SAND, MICE, weather, 77, runs=40))
    share = behind(ours(runs), animal)
    assert share >= 0.9
    assert share >= behind(previous(runs), animal)
    assert share >= behind(mog2(runs), animal)


def test_the_plain_difference_fails_when_the_exposure_steps() -> None:
    """That is why there is a quiet scene: a darker picture differs more than an animal does."""
    weather = Weather(exposure=0.35, wind_px=1)
    runs, animal = runs_of(Scene("steps", SAND, MICE, weather, 78, runs=40))
    assert behind(previous(runs), animal) < 0.5
    assert behind(ours(runs), animal) > 0.9


@pytest.mark.skipif("LASTBITE_SHARED" not in os.environ, reason="no real frames at hand")
def test_a_real_heron_at_night_ranks_before_every_empty_frame() -> None:
    """Ten real infrared frames of one burst, emptied; the heron put back into a fifth of the runs.

    Source: the Camtrap DP example's own burst, CC BY 4.0, Research Institute for Nature and
    Forest (INBO).
    """
    folder = Path(os.environ["LASTBITE_SHARED"]) / "corpora" / "night_burst"
    weather = Weather(infrared=True, noise=2, exposure=0.12, nudge_px=2)
    scene = Scene("night", SAND, scenes.herons(folder), weather, 11, runs=40, tray=None,
                  frames=scenes.emptied_night_frames(folder))  # fmt: skip
    runs, animal = runs_of(scene)
    assert behind(ours(runs), animal) >= 0.95


# --- the tray ------------------------------------------------------------------------------------


@pytest.mark.parametrize("tray", [scenes.TRAY, Outline("T1", 0.42, 0.4, 0.16, 0.1, 0.0)])
def test_a_tray_is_found_within_a_tenth_of_its_size(tray: Outline) -> None:
    """A drawn tray of known place on sand, through the noise of nine photos."""
    rng = np.random.default_rng(4)
    ground = scenes.with_tray(SAND, tray)
    shots = [np.clip(ground + rng.normal(0, 4, ground.shape), 0, 255) for _ in range(9)]
    picture = motion.quiet_picture([cv2.resize(one.astype(np.uint8), (320, 240)) for one in shots])
    (found,) = motion.trays_in(picture, 1)
    assert found.cx == pytest.approx(tray.cx, abs=0.1 * tray.rx)
    assert found.cy == pytest.approx(tray.cy, abs=0.1 * tray.ry)
    assert found.rx == pytest.approx(tray.rx, rel=0.1)
    assert found.ry == pytest.approx(tray.ry, rel=0.1)
    assert found.by == ""


def test_two_trays_are_found_from_left_to_right() -> None:
    """Each once, in the order in which a person names them."""
    left, right = Outline("", 0.27, 0.4, 0.13, 0.08, 0.0), Outline("", 0.72, 0.38, 0.13, 0.08, 0.0)
    ground = scenes.with_tray(scenes.with_tray(SAND, left), right)
    found = motion.trays_in(cv2.resize(ground.clip(0, 255).astype(np.uint8), (320, 240)), 2)
    assert [round(one.cx, 1) for one in found] == [0.3, 0.7]


def test_no_tray_is_found_on_bare_sand() -> None:
    """Nothing round: none, not a guess."""
    assert motion.trays_in(cv2.resize(SAND.clip(0, 255).astype(np.uint8), (320, 240)), 1) == []
