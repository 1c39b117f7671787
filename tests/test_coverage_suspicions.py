"""What may have kept a camera from watching: a full card, a blocked lens."""

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import NOON, camera, photos_at
from PIL import Image, ImageFilter, ImageStat

from core.coverage import Confidence, Suspicion, Why, card_full, lens_blocked
from core.model import ALSO_ON, Photo, PhotoKind, Placement, Span

HOUR = 3600
MEGA = 1_000_000


def moment(seconds: int) -> datetime:
    """Give a time so many seconds after noon."""
    return NOON + timedelta(seconds=seconds)


def stay(hours: float = 18, **values: Any) -> Placement:
    """Give a camera that stood there from noon, for 18 hours by default."""
    return camera(**({"start": NOON, "end": NOON + timedelta(hours=hours)} | values))


def bursts(*starts: int, photos: int = 3) -> list[int]:
    """Give the seconds of bursts of three photos, a second apart."""
    return [start + at for start in starts for at in range(photos)]


EVENING = [0, *range(7 * HOUR, 9 * HOUR, 600)]
"""Twelve visits at dusk and one photo as people leave."""
BROKEN = [*bursts(*EVENING), 9 * HOUR]
"""The same, and at nine o'clock one photo of a burst of three."""


def evidence(found: Suspicion | None) -> str:
    """Give what speaks for a suspicion, in one line."""
    return "none" if found is None else " | ".join(found.evidence)


# --- full card -----------------------------------------------------------------------------------


def test_a_burst_that_broke_off() -> None:
    """Thirteen bursts of three and a last one of one photo: the card may have been full."""
    found = card_full(photos_at(*BROKEN), stay())
    assert found == Suspicion(
        "P1",
        Why.CARD_FULL,
        Span(moment(9 * HOUR), moment(18 * HOUR)),
        Confidence.POSSIBLE,
        (
            "no photo in the last 9 h, nor at the end",
            "the last burst broke off after 1 of 3 photos",
        ),
        (len(BROKEN),),
    )


@pytest.mark.parametrize(
    ("seconds", "values"),
    [
        pytest.param([], {}, id="no photo"),
        pytest.param(bursts(*EVENING), {}, id="the last burst is whole"),
        pytest.param([*bursts(*EVENING), 18 * HOUR - 60], {}, id="a photo at pick-up"),
        pytest.param(
            [*bursts(*EVENING), 18 * HOUR - 900], {}, id="a photo a quarter of an hour before"
        ),
        pytest.param([*bursts(*EVENING), 18 * HOUR + 60], {}, id="a photo after pick-up"),
        pytest.param(BROKEN, {"end": None}, id="pick-up is not in the log"),
        pytest.param(
            [*bursts(*EVENING[-8:]), 9 * HOUR], {}, id="too few bursts to know their size"
        ),
        pytest.param(
            [*bursts(*EVENING[:6]), *bursts(*EVENING[6:], photos=2), 9 * HOUR],
            {},
            id="bursts of any size",
        ),
        pytest.param([*EVENING, 9 * HOUR], {}, id="single photos"),
    ],
)
def test_no_sign_of_a_full_card(seconds: list[int], values: dict[str, Any]) -> None:
    """Silence before pick-up alone is no sign, nor anything where there is a pick-up photo."""
    assert card_full(photos_at(*seconds), stay(**values)) is None


def test_a_whole_burst_may_be_of_several_triggers() -> None:
    """Six photos in a row are two triggers of three; seven are not."""
    again = [*bursts(*EVENING, 8 * HOUR + 5), *bursts(9 * HOUR, 9 * HOUR + 5)]
    again.sort()
    assert card_full(photos_at(*again), stay()) is None
    found = card_full(photos_at(*again, 9 * HOUR + 10), stay())
    assert "broke off after 1 of 3" in evidence(found)


def test_time_lapse_photos_are_no_broken_bursts() -> None:
    """Single photos by the clock say nothing of a burst, neither among the others nor last."""
    taken = photos_at(*sorted([*BROKEN, *range(1800, 8 * HOUR, HOUR)]))
    hourly = [
        replace(one, kind=PhotoKind.TIMELAPSE) if one.camera_time.minute == 30 else one
        for one in taken
        if one.camera_time
    ]
    assert "broke off after 1 of 3" in evidence(card_full(hourly, stay()))
    still_alive = [*hourly, replace(photos_at(9 * HOUR + 1800)[0], id=99, kind=PhotoKind.TIMELAPSE)]
    assert card_full(still_alive, stay()) is None


@pytest.mark.parametrize(
    ("working", "words"),
    [
        (None, ""),
        (True, "the camera was working at pick-up, yet took no photo of it"),
        (False, "the camera was not working at pick-up: it may have been the battery"),
    ],
)
def test_the_state_at_pick_up_is_said(working: bool | None, words: str) -> None:
    """A camera that still worked and took no photo, or a dead battery: both are named."""
    found = card_full(photos_at(*BROKEN), stay(working_at_pickup=working))
    assert found is not None
    assert (found.evidence[-1] == words) == bool(words)


@pytest.mark.parametrize(
    ("card_bytes", "expected"),
    [
        pytest.param(None, Confidence.POSSIBLE, id="size of the card not known"),
        pytest.param(40 * MEGA, Confidence.CLEAR, id="all of it taken"),
        pytest.param(41 * MEGA, Confidence.CLEAR, id="98 % taken"),
        pytest.param(int(40 * MEGA / 0.95), Confidence.CLEAR, id="95 % taken"),
        pytest.param(43 * MEGA, None, id="93 % taken"),
        pytest.param(16_000 * MEGA, None, id="much room"),
    ],
)
def test_the_size_of_the_card_decides(card_bytes: int | None, expected: Confidence | None) -> None:
    """Forty photos of a megabyte: clear on a card of that size, ruled out on a larger one."""
    assert len(BROKEN) == 40
    sizes = dict.fromkeys(range(1, 41), MEGA)
    found = card_full(photos_at(*BROKEN), stay(), sizes=sizes, card_bytes=card_bytes)
    assert (found and found.confidence) is expected


def test_exactly_the_part_that_counts_as_full() -> None:
    """A card of 100 bytes with 95 in files is full (a judgement)."""
    taken = photos_at(*bursts(*EVENING))
    sizes = dict.fromkeys(range(1, 39), 2) | {39: 19}
    found = card_full(taken, stay(), sizes=sizes, card_bytes=100)
    assert "the files take 95% of the card" in evidence(found)
    assert card_full(taken, stay(), sizes=sizes | {39: 18}, card_bytes=100) is None


@pytest.mark.parametrize(
    ("odd", "suspected"), [(1, True), (2, False)], ids=["49 of 50 whole", "48 of 50 whole"]
)
def test_bursts_that_are_not_all_whole(odd: int, suspected: bool) -> None:
    """A deleted photo or two: with 98 % of the bursts whole, a broken last one still counts."""
    seconds = bursts(*range(0, 50 * 600, 600))
    for _ in range(odd):
        seconds.remove(max(second for second in seconds if second % 600 == 2))
    found = card_full(photos_at(*seconds, 50 * 600), stay())
    assert (found is not None) is suspected


def test_bursts_of_two_and_just_enough_of_them() -> None:
    """Ten bursts of two photos show what a trigger takes; nine do not (a judgement)."""
    for many, suspected in ((10, True), (9, False)):
        taken = photos_at(*bursts(*range(0, many * 600, 600), photos=2), many * 600)
        assert (card_full(taken, stay()) is not None) is suspected


def test_photos_eleven_seconds_apart_are_two_bursts() -> None:
    """Nine bursts and one more 11 s after the last of another are ten; at 10 s they are nine."""
    nine = [*range(0, 9 * 600, 600)]
    for apart, suspected in ((11, True), (10, False)):
        taken = photos_at(*bursts(*sorted([*nine, 600 + 2 + apart])), 10 * 600)
        assert (card_full(taken, stay()) is not None) is suspected


def test_a_full_card_without_any_other_sign() -> None:
    """The files fill the card and no photo was taken at pick-up: clear, whatever the last burst."""
    taken = photos_at(*bursts(*EVENING))
    sizes = {photo.id: MEGA for photo in taken} | {999: 500 * MEGA}
    found = card_full(taken, stay(), sizes=sizes, card_bytes=40 * MEGA)
    assert evidence(found) == (
        "no photo in the last 9 h 9 min, nor at the end | the files take 98% of the card"
    )


def test_the_last_file_number() -> None:
    """After number 9999 many cameras write nothing more (from memory: the numbers of DCF)."""
    taken = photos_at(*bursts(*EVENING))
    last = replace(taken[-1], file="DCIM/100X/IMG_9999.JPG")
    assert "the last photo is DCIM/100X/IMG_9999.JPG" in evidence(
        card_full([*taken[:-1], last], stay())
    )
    next_folder = [
        replace(one, id=100 + one.id, file=f"DCIM/101X/{one.file}")
        for one in photos_at(*bursts(10 * HOUR))
    ]
    assert card_full([*taken[:-1], last, *next_folder], stay()) is None


def test_a_last_file_that_was_cut() -> None:
    """A file that the card had no room for: cut short, empty, or far smaller than all others."""
    taken = photos_at(*bursts(*EVENING))
    cut = [*taken[:-1], replace(taken[-1], problem="the picture is cut short")]
    assert "IMG_0039.JPG, is at fault: the picture is cut short" in evidence(card_full(cut, stay()))
    empty = Photo(40, "P1", "IMG_0040.JPG", problem="empty file", is_photo=False)
    assert "IMG_0040.JPG, is at fault: empty file" in evidence(card_full([*taken, empty], stay()))
    sizes = {photo.id: MEGA for photo in taken} | {39: MEGA // 3}
    small = card_full(taken, stay(), sizes=sizes)
    assert "IMG_0039.JPG, is less than half as large" in evidence(small)


def test_faults_that_say_nothing_of_a_full_card() -> None:
    """A fault of every file, a file of another kind, a picture that is on two cards."""
    taken = photos_at(*bursts(*EVENING))
    everywhere = [replace(one, problem="time is from the file") for one in taken]
    assert card_full(everywhere, stay()) is None
    system = Photo(40, "P1", "INDEX.DB", problem="no picture", is_photo=False)
    assert card_full([*taken, system], stay()) is None
    twice = [*taken[:-1], replace(taken[-1], problem=f"{ALSO_ON} P2")]
    assert card_full(twice, stay()) is None
    half = {photo.id: MEGA for photo in taken} | {39: MEGA // 2}
    assert card_full(taken, stay(), sizes=half) is None


def test_a_busy_card_that_falls_silent() -> None:
    """Grass in the wind, a photo every 20 s; then nothing, for over three times any pause."""
    windy = [*range(0, 4 * HOUR, 20), *range(4 * HOUR + 600, 5 * HOUR, 20)]
    found = card_full(photos_at(*windy), stay(6))
    assert evidence(found) == (
        "no photo in the last 1 h, nor at the end | "
        "31 photos in the last 10 min, then silence; the longest before was 10 min 20 s"
    )
    assert card_full(photos_at(*windy), stay(5.5)) is None, "not three times as long"
    assert card_full(photos_at(*windy[-99:]), stay(6)) is None, "too few photos"
    slow = [*range(0, 5 * HOUR, 70)]
    assert card_full(photos_at(*slow), stay(6)) is None, "not busy at its end"


@pytest.mark.parametrize(
    ("earlier", "late", "silence_s", "suspected"),
    [
        pytest.param(90, 10, 3 * 1000 + 1, True, id="just enough of everything"),
        pytest.param(90, 10, 3 * 1000, False, id="exactly three times the longest pause"),
        pytest.param(89, 10, 3 * 1000 + 1, False, id="99 photos"),
        pytest.param(91, 9, 3 * 1000 + 1, False, id="nine in the last ten minutes"),
    ],
)
def test_the_edges_of_a_busy_end(earlier: int, late: int, silence_s: int, suspected: bool) -> None:
    """100 photos, ten of them in the last ten minutes, over three times the longest pause."""
    before = [20 * at for at in range(earlier)]
    last = [before[-1] + 1000 + (600 * at) // (late - 1) for at in range(late)]
    place = stay(end=moment(last[-1] + silence_s))
    assert (card_full(photos_at(*before, *last), place) is not None) is suspected


def test_a_card_that_was_changed_before_the_end() -> None:
    """The first of two cards is judged up to when it was taken out, not to the placement's end."""
    taken = photos_at(*BROKEN)
    assert card_full(taken, stay(), taken_out=moment(9 * HOUR + 600)) is None
    found = card_full(taken, stay(), taken_out=moment(12 * HOUR))
    assert found is not None
    assert found.span == Span(moment(9 * HOUR), moment(12 * HOUR))


def test_a_copy_is_not_the_last_photo() -> None:
    """A copy counts nowhere; what it repeats is where the card ends."""
    taken = photos_at(*bursts(*EVENING), 9 * HOUR)
    repeated = [*taken[:-1], replace(taken[-1], copy_of=1)]
    assert card_full(repeated, stay()) is None


def clean_card(rng: np.random.Generator) -> tuple[list[int], float]:
    """Give the seconds of a card whose camera simply worked, and its stay [h]; no pick-up photo."""
    nights, rate, burst = rng.integers(1, 6), rng.uniform(0.2, 3), int(rng.integers(1, 4))
    starts = [0]
    for night in range(nights):
        dusk = night * 24 * HOUR + 6 * HOUR
        starts += (dusk + rng.uniform(0, 12 * HOUR, rng.poisson(12 * rate))).astype(int).tolist()
    again = [start + 11 * at for start in starts for at in range(int(rng.integers(1, 5)))]
    free: list[int] = []
    for start in sorted(again):  # a trigger while a burst is running gives nothing
        if not free or start >= free[-1] + burst:
            free.append(start)
    taken = bursts(*free, photos=burst)
    return taken, max(int(nights) * 24.0 - 5, taken[-1] / HOUR)


def test_few_false_alarms_on_clean_cards() -> None:
    """200 cards of working cameras at which nobody was photographed at pick-up: at most one."""
    rng = np.random.default_rng(9)
    cards = [clean_card(rng) for _ in range(200)]
    found = [card_full(photos_at(*seconds), stay(hours)) for seconds, hours in cards]
    alarms = [evidence(one) for one in found if one]
    assert len(alarms) <= 1, alarms
    at_pickup = [
        card_full(photos_at(*seconds, int(hours * HOUR)), stay(hours)) for seconds, hours in cards
    ]
    assert at_pickup == [None] * 200


def test_cards_that_filled_up_are_found() -> None:
    """The same cards with bursts, filled up in mid-burst after 150 photos: all are suspected."""
    rng = np.random.default_rng(10)
    missed, tried = 0, 0
    while tried < 100:
        seconds, hours = clean_card(rng)
        breaks = [at for at in range(150, len(seconds)) if seconds[at] - seconds[at - 1] == 1]
        if len(breaks) < 20:
            continue
        cut = seconds[: int(rng.choice(breaks))]
        tried += 1
        missed += card_full(photos_at(*cut), stay(hours)) is None
    assert missed == 0


# --- blocked lens --------------------------------------------------------------------------------


def blocked(
    looks: str, minutes: Sequence[int] | None = None, **values: Any
) -> list[tuple[int, int]]:
    """Give the blocked stretches in minutes after noon.

    Each photo is a letter: `c` clear, `d` dark, `f` featureless, `?` not measured; one each five
    minutes from 12:05 where no minutes are given.
    """
    numbers = {"c": (0.3, 0.2), "d": (0.01, 0.01), "f": (0.6, 0.01), "?": (np.nan, np.nan)}
    minutes = minutes or [5 * at for at in range(1, len(looks) + 1)]
    taken = photos_at(*(60 * minute for minute in minutes))
    series = np.array([numbers[look] for look in looks]).reshape(-1, 2)
    found = lens_blocked(taken, stay(**values), series[:, 0], series[:, 1])
    return [
        tuple(int((edge - NOON) / timedelta(minutes=1)) for edge in (one.span.start, one.span.end))  # type: ignore[misc]
        for one in found
    ]


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        pytest.param("", [], id="no photo"),
        pytest.param("cccccccc", [], id="all clear"),
        pytest.param("cddddc", [], id="four dark ones are too few"),
        pytest.param("cdddddc", [(5, 35)], id="five, from the last clear one to the next"),
        pytest.param("cfffffc", [(5, 35)], id="featureless"),
        pytest.param("cdfdfdc", [(5, 35)], id="dark and featureless"),
        pytest.param("cdd?d?ddc", [(5, 45)], id="what was not measured is passed over"),
        pytest.param("cddcdddc", [], id="a clear one in between"),
        pytest.param("cdddddcfffffc", [(5, 35), (35, 65)], id="two runs"),
        pytest.param("dddddc", [(0, 30)], id="from the placement's start"),
        pytest.param("cddddd", [(5, 18 * 60)], id="to the placement's end"),
        pytest.param("??????", [], id="nothing was measured"),
    ],
)
def test_a_long_run_of_frames_that_show_nothing(
    looks: str, expected: list[tuple[int, int]]
) -> None:
    """At least five photos over at least ten minutes (a judgement), with the silence around."""
    assert blocked(looks) == expected


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        pytest.param([1, 2, 4, 6, 9, 11, 12], [], id="nine minutes from first to last"),
        pytest.param([1, 2, 4, 6, 9, 12, 20], [(1, 20)], id="ten minutes"),
    ],
)
def test_a_run_lasts_ten_minutes(minutes: list[int], expected: list[tuple[int, int]]) -> None:
    """One burst into the dark is no blocked lens."""
    assert blocked("cdddddc", minutes) == expected


def test_where_the_log_lacks_its_edges() -> None:
    """Without a start or an end the stretch reaches as far as its own photos do."""
    assert blocked("ddddd", start=None) == [(5, 18 * 60)]
    assert blocked("ddddd", end=None) == [(0, 25)]


def test_dark_photos_in_the_bag_are_no_blocked_lens() -> None:
    """Photos taken more than a quarter of an hour outside the placement are passed over."""
    assert blocked("ddddddcc", [-60, -50, -40, -30, -20, -16, 0, 60]) == []
    assert blocked("ccdddddd", [0, 60, 1096, 1100, 1110, 1120, 1130, 1140]) == []
    assert blocked("dddddc", [-15, -10, -5, 0, 5, 60]) == [(0, 60)], "exactly a quarter of an hour"
    assert blocked("cddddd", [1000, 1066, 1070, 1075, 1085, 1095]) == [(1000, 1080)]


@pytest.mark.parametrize(
    ("grey", "contrast", "blank"),
    [
        (0.03, 0.2, True),
        (0.031, 0.2, False),
        (0.5, 0.03, True),
        (0.5, 0.031, False),
        (1.0, 0.0, True),
    ],
    ids=["dark", "not quite dark", "featureless", "not quite featureless", "white"],
)
def test_the_edges_of_dark_and_featureless(grey: float, contrast: float, blank: bool) -> None:
    """A mean grey or a contrast up to 0.03 shows nothing (a judgement)."""
    taken = photos_at(*range(0, 3000, 500))
    found = lens_blocked(taken, stay(), np.full(6, grey), np.full(6, contrast))
    assert bool(found) is blank


def test_the_evidence_names_what_to_look_at() -> None:
    """How many photos, how long, how many of each kind, and the first and the last of them."""
    taken = photos_at(*range(0, 4200, 600))
    grey = np.array([0.3, 0.01, 0.01, 0.6, 0.6, 0.6, 0.3])
    found = lens_blocked(taken, stay(), grey, np.full(7, 0.01) + 0.2 * (grey == 0.3))
    assert found == [
        Suspicion(
            "P1",
            Why.LENS_BLOCKED,
            Span(moment(0), moment(3600)),
            Confidence.POSSIBLE,
            (
                "5 photos in a row over 40 min show nothing",
                "2 of them are dark, 3 featureless",
            ),
            (2, 6),
        )
    ]


@pytest.mark.parametrize(
    ("grey", "contrast", "words"),
    [
        ([0.5, 0.5], [0.1], "2 photos need as many values of contrast"),
        ([0.5], [0.1, 0.1], "2 photos need as many values of mean grey"),
        ([0.5, 128.0], [0.1, 0.1], "mean grey of 128.0 is not from 0 to 1"),
        ([0.5, 0.5], [-0.1, 0.1], "contrast of -0.1 is not from 0 to 1"),
    ],
)
def test_numbers_that_are_none_of_these_photos(
    grey: list[float], contrast: list[float], words: str
) -> None:
    """A series of another length or on another scale is refused, with the number."""
    with pytest.raises(ValueError, match=words):
        lens_blocked(photos_at(0, 60), stay(), np.array(grey), np.array(contrast))


def test_real_night_photos_are_clear_and_the_same_behind_fog_are_not() -> None:
    """Infrared photos of a heron show something; behind thick fog or a failed flash they do not.

    Source: the example of the Camtrap DP standard (INBO, CC BY 4.0).
    """
    shared = os.environ.get("LASTBITE_SHARED")
    if not shared:
        pytest.skip("LASTBITE_SHARED names no folder with corpora/night_burst")
    pictures = [
        Image.open(path).convert("L").resize((320, 240))
        for path in sorted(Path(shared, "corpora", "night_burst").glob("*.JPG"))
    ]
    assert len(pictures) == 10
    fog = [Image.blend(one, Image.new("L", one.size, 150), 0.9) for one in pictures]
    unlit = [one.point(lambda value: value * 0.05) for one in pictures]
    soft = [one.filter(ImageFilter.GaussianBlur(8)) for one in pictures]
    for looks, runs in ((pictures, 0), (soft, 0), (fog, 1), (unlit, 1)):
        stats = [ImageStat.Stat(one) for one in looks]
        grey = np.array([one.mean[0] / 255 for one in stats])
        contrast = np.array([one.stddev[0] / 255 for one in stats])
        taken = photos_at(*range(0, 6000, 600))
        assert len(lens_blocked(taken, stay(), grey, contrast)) == runs
