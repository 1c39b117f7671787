"""Draw the demo study: card folders of invented trail-camera photos, the logs, and the truth.

EVERYTHING HERE IS INVENTED: the reserve, its places, its people, the camera's maker and every
number. No photo was taken; each is drawn by this script. The animals are real kinds of a South
African dune, drawn as well as ellipses allow, and no study of them is quoted.

`python demo_images/draw_demo.py` rewrites `cards/`, `species.csv`, `cameras.csv`, `clocks.csv`,
`trays.csv`, `tags.csv` and `truth.csv` beside it, byte for byte on the same library versions.
The facts stand first (THE STUDY); after them come the logs, the picture, and the Exif block.

Lengths are metres in a space whose x goes right, y away from the camera and z up, with the tray's
middle on the ground at the origin. Colours are RGB; light is added up in linear values.
"""

import csv
import math
import shutil
import struct
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

HERE = Path(__file__).resolve().parent
Array = npt.NDArray[np.float32]
Rng = np.random.Generator

# === THE STUDY ===============================================================================
# Kalkgans Dune Reserve, two days in March. Sites Skulpkom (SK) and Heuningrug (HR), each with
# one tray in the open and one under a bush. 8.0 g of millet in 2 L of sand. A day window, a
# night window, a day window. All times are true local time (+02:00) unless "showed" is said.

TAGGERS = ("Nomsa", "Piet")
MAKE, MODEL = "Invented Camera Works", "Dune 2"

SPECIES = [  # key, name, scientific name, role
    ("m", "Four-striped grass mouse", "Rhabdomys pumilio", "forager"),
    ("g", "Hairy-footed gerbil", "Gerbillurus paeba", "forager"),
    ("s", "Cape spurfowl", "Pternistis capensis", "forager"),
    ("n", "Small-spotted genet", "Genetta genetta", "other"),
    ("p", "Person", "Homo sapiens", "person"),
]
MOUSE, GERBIL, SPURFOWL = "Four-striped grass mouse", "Hairy-footed gerbil", "Cape spurfowl"


@dataclass(frozen=True, slots=True)
class Placement:
    """One camera before one tray, and what its scene looks like."""

    name: str
    camera: str
    tray: str
    start: str
    end: str
    working_at_pickup: str
    timelapse_every_min: int
    hours_behind: int
    """How far the camera's own clock lags the true time. [h]"""
    seed: int
    bush: bool
    turn: float
    """How far the camera is turned from south, clockwise. [degrees]"""
    stamp: str
    """What the info strip calls the camera."""
    tray_rgb: tuple[int, int, int]


PLACEMENTS = [
    Placement("SK-OPEN", "cam01", "T1", "2026-03-14 06:40", "2026-03-15 17:50", "yes", 0, 0,
              11, bush=False, turn=0, stamp="SKULPKOM T1", tray_rgb=(92, 100, 88)),
    Placement("SK-BUSH", "cam02", "T2", "2026-03-14 06:40", "2026-03-15 17:50", "no", 0, 0,
              22, bush=True, turn=20, stamp="SKULPKOM T2", tray_rgb=(70, 72, 74)),
    Placement("HR-OPEN", "cam03", "T3", "2026-03-14 07:00", "2026-03-15 17:56", "yes", 120, 0,
              33, bush=False, turn=-25, stamp="HEUNINGRUG T3", tray_rgb=(104, 84, 62)),
    Placement("HR-BUSH", "cam04", "T4", "2026-03-14 07:00", "2026-03-15 18:10", "yes", 0, 1,
              44, bush=True, turn=-10, stamp="HEUNINGRUG T4", tray_rgb=(66, 78, 92)),
]  # fmt: skip

# The handler held a phone before camera cam04: it showed 07:14:32, the camera 06:14:32.
CLOCK_CHECKS = [("HR-BUSH", "2026-03-14 06:14:32", "2026-03-14 07:14:32", "DUNE0002.JPG")]


@dataclass(frozen=True, slots=True)
class Truth:
    """What must come out for one study tray, worked out by hand in the comment above it."""

    situation: str
    status: str
    forager: str
    visits: int
    visits_all: int
    gud_g: str
    censored: str
    watched_share: str


@dataclass(frozen=True, slots=True)
class Tray:
    """One line of the tray log, and for a study tray what is true of it."""

    deployment: str
    tray: str
    set_out: str
    picked_up: str
    left_g: str
    pair: str = ""
    role: str = "study"
    condition: str = "ok"
    truth: Truth | None = None
    notes: str = ""


# Worked by hand:
#   sifting   added 8.0 + 8.0 + 8.0, recovered 7.9 + 7.9 + 7.8: r = 23.6 / 24 = 0.98333
#   tolerance losses 0.1, 0.1, 0.2: mean 0.1333, sample SD 0.0577, mean + 2 SD = 0.249 g
#   moisture  none picked up on 14 March: k = 1. On 15 March Skulpkom 8.1 / 8.0 = 1.0125 and
#             Heuningrug 8.2 / 8.0 = 1.025
#   corrected = left / k / r; the scale step is 0.1 g
TRAYS = [
    # Mouse fed at 08:14 and at 15:47. 3.4 / 0.98333 = 3.458.
    Tray("SKO-D1", "T1", "2026-03-14 07:00", "2026-03-14 18:10", "3.4", "SK-D1",
         truth=Truth("clean forager", "keep", MOUSE, 2, 2, "3.46", "no", "1.00")),
    # Mouse fed at 09:22; a spurfowl only walked past at 16:10. 2.1 / 0.98333 = 2.136.
    Tray("SKB-D1", "T2", "2026-03-14 07:04", "2026-03-14 18:14", "2.1", "SK-D1",
         truth=Truth("clean, one only near", "keep", MOUSE, 1, 1, "2.14", "no", "1.00")),
    # 8 - 5.1 / 0.98333 = 2.81 g went, every time-lapse photo is there, no animal on any photo.
    Tray("HRO-D1", "T3", "2026-03-14 07:20", "2026-03-14 18:32", "5.1", "HR-D1",
         truth=Truth("nobody seen", "drop", "", 0, 0, "", "no", "1.00")),
    # 7.9 / 0.98333 = 8.034: within 0.249 g of 8.0, and only grass moved.
    Tray("HRB-D1", "T4", "2026-03-14 07:26", "2026-03-14 18:36", "7.9", "HR-D1",
         truth=Truth("untouched", "no_gud", "", 0, 0, "", "no", "1.00")),
    # Mouse fed at 18:41 before sunset, gerbil fed last at 21:32. 2.6 / 1.0125 / 0.98333 = 2.611.
    Tray("SKO-N1", "T1", "2026-03-14 18:20", "2026-03-15 06:00", "2.6", "SK-N1",
         truth=Truth("two species", "caution", GERBIL, 1, 2, "2.61", "no", "1.00")),
    # Gerbil fed at 20:15 and 23:48 and left nothing: below the scale step.
    Tray("SKB-N1", "T2", "2026-03-14 18:24", "2026-03-15 06:04", "0.0", "SK-N1",
         truth=Truth("emptied", "caution", GERBIL, 2, 2, "0.10", "below", "1.00")),
    # 8.0 / 1.025 / 0.98333 = 7.937: within 0.249 g of 8.0. A genet stood on the tray at 01:17.
    Tray("HRO-N1", "T3", "2026-03-14 18:42", "2026-03-15 06:24", "8.0", "HR-N1",
         truth=Truth("untouched, genet looked", "no_gud", "", 0, 1, "", "no", "1.00")),
    # Gerbil fed at 19:24. The camera showed 18:24, which would be HRB-D1's window.
    # 1.7 / 1.025 / 0.98333 = 1.687.
    Tray("HRB-N1", "T4", "2026-03-14 18:44", "2026-03-15 06:28", "1.7", "HR-N1",
         truth=Truth("clock an hour off", "keep", GERBIL, 1, 1, "1.69", "no", "1.00")),
    # At 06:24 Nomsa says gerbil, Piet says mouse. No other visit, no ruling.
    Tray("SKO-D2", "T1", "2026-03-15 06:10", "2026-03-15 17:30", "5.6", "SK-D2",
         truth=Truth("waiting for the instructor", "pending", "", 0, 0, "", "no", "1.00")),
    # Mouse fed at 08:36. Last photo of the camera 12:38:03: 06:16 to then is 382.05 of 680 min.
    Tray("SKB-D2", "T2", "2026-03-15 06:16", "2026-03-15 17:36", "4.2", "SK-D2",
         truth=Truth("camera died", "drop", "", 0, 1, "", "no", "0.56")),
    # 8.7 / 1.025 / 0.98333 = 8.632: 0.63 g more than was put in.
    Tray("HRO-D2", "T3", "2026-03-15 06:34", "2026-03-15 17:52", "8.7", "HR-D2", condition="",
         truth=Truth("wet seed", "drop", "", 0, 0, "", "no", "1.00"),
         notes="drizzle after noon"),
    # Spurfowl fed at 09:05, a walker passed at 14:20. 4.8 / 1.025 / 0.98333 = 4.762.
    Tray("HRB-D2", "T4", "2026-03-15 06:38", "2026-03-15 17:58", "4.8", "HR-D2",
         truth=Truth("clean, another forager", "keep", SPURFOWL, 1, 1, "4.76", "no", "1.00")),
    Tray("MC-SK", "M1", "2026-03-14 18:22", "2026-03-15 06:02", "8.1", role="moisture_control"),
    Tray("MC-HR", "M2", "2026-03-14 18:43", "2026-03-15 06:26", "8.2", role="moisture_control"),
    Tray("SIFT-1", "S1", "2026-03-13 15:00", "2026-03-13 15:10", "7.9", role="sift_control"),
    Tray("SIFT-2", "S1", "2026-03-13 15:20", "2026-03-13 15:30", "7.9", role="sift_control"),
    Tray("SIFT-3", "S1", "2026-03-13 15:40", "2026-03-13 15:50", "7.8", role="sift_control"),
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Burst:
    """Three photos of one trigger: true time, where the animal is and what it does in each."""

    at: str
    x_cm: float = 0.0
    y_cm: float = 0.0
    heading: float = 0.0
    """Which way it faces: 0 right, 90 away from the camera. [degrees]"""
    poses: str = "fff"
    """A letter a photo: f feeds, a looks up, w walks; c clock, b bucket, l clipboard."""


@dataclass(frozen=True, slots=True)
class Event:
    """One visit, false trigger or handling: a run of photos and what the taggers said of it."""

    placement: str
    kind: str
    """What is drawn: a species key, `blank` or `handler`."""
    where: str
    bursts: tuple[Burst, ...]
    said: tuple[str, str] | None = None
    """The species each tagger gives, where they differ."""
    comment: str = ""


EVENTS = [
    # --- SK-OPEN
    Event("SK-OPEN", "handler", "", (Burst("2026-03-14 06:52:20", -2, 42, -90, "bbb"),)),
    Event("SK-OPEN", "m", "fed", (Burst("2026-03-14 08:14:07", -7, 1, 20, "aff"),
                                  Burst("2026-03-14 08:14:41", 5, -4, 155, "faf"))),
    Event("SK-OPEN", "blank", "", (Burst("2026-03-14 13:05:12"),)),
    Event("SK-OPEN", "m", "fed", (Burst("2026-03-14 15:47:30", 4, 5, 205, "ffa"),)),
    Event("SK-OPEN", "handler", "", (Burst("2026-03-14 18:13:40", 4, 41, -95, "lbb"),)),
    Event("SK-OPEN", "m", "fed", (Burst("2026-03-14 18:41:18", -3, -5, -20, "faf"),)),
    Event("SK-OPEN", "g", "fed", (Burst("2026-03-14 21:32:05", 24, -8, 155, "faa"),
                                  Burst("2026-03-14 21:32:47", -5, -2, -25, "ffa"))),
    Event("SK-OPEN", "handler", "", (Burst("2026-03-15 06:03:30", -5, 42, -85, "bbl"),)),
    Event("SK-OPEN", "g", "fed", (Burst("2026-03-15 06:24:16", -6, 7, 100, "ffa"),),
          said=("g", "m"), comment="back to the camera, half dark"),
    Event("SK-OPEN", "handler", "", (Burst("2026-03-15 17:31:15", 0, 43, -90, "bll"),)),
    # --- SK-BUSH; the camera stops after the grass at 12:38
    Event("SK-BUSH", "handler", "", (Burst("2026-03-14 06:57:10", 6, 42, -95, "bbl"),)),
    Event("SK-BUSH", "m", "fed", (Burst("2026-03-14 09:22:44", -17, 3, 85, "aaf"),
                                  Burst("2026-03-14 09:23:19", 3, 3, -140, "ffa"))),
    Event("SK-BUSH", "s", "near", (Burst("2026-03-14 16:10:02", 29, 28, 176, "www"),)),
    Event("SK-BUSH", "handler", "", (Burst("2026-03-14 18:18:25", -3, 41, -90, "bbb"),)),
    Event("SK-BUSH", "g", "fed", (Burst("2026-03-14 20:15:33", -7, -3, 15, "aff"),
                                  Burst("2026-03-14 20:16:12", 2, 6, -60, "ffa"))),
    Event("SK-BUSH", "g", "fed", (Burst("2026-03-14 23:48:51", 6, -1, 165, "faf"),)),
    Event("SK-BUSH", "handler", "", (Burst("2026-03-15 06:09:40", 3, 42, -90, "lbb"),)),
    Event("SK-BUSH", "m", "fed", (Burst("2026-03-15 08:36:20", -2, 2, 40, "faf"),)),
    Event("SK-BUSH", "blank", "", (Burst("2026-03-15 12:38:00"),)),
    # --- HR-OPEN; time-lapse photos every two hours besides
    Event("HR-OPEN", "handler", "", (Burst("2026-03-14 07:13:50", 0, 42, -90, "lbb"),)),
    Event("HR-OPEN", "blank", "", (Burst("2026-03-14 13:31:22"),)),
    Event("HR-OPEN", "handler", "", (Burst("2026-03-14 18:35:05", -6, 41, -80, "bbl"),)),
    Event("HR-OPEN", "n", "on_tray", (Burst("2026-03-15 01:17:38", -6, 19, -52, "aaf"),)),
    Event("HR-OPEN", "handler", "", (Burst("2026-03-15 06:27:45", 5, 43, -90, "bbb"),)),
    Event("HR-OPEN", "handler", "", (Burst("2026-03-15 17:53:20", -2, 42, -90, "bll"),)),
    # --- HR-BUSH; the camera's clock is one hour behind
    Event("HR-BUSH", "handler", "", (Burst("2026-03-14 07:14:31", 0, 0, 0, "ccc"),)),
    Event("HR-BUSH", "blank", "", (Burst("2026-03-14 11:15:09"),)),
    Event("HR-BUSH", "handler", "", (Burst("2026-03-14 18:39:30", 2, 42, -90, "bbl"),)),
    Event("HR-BUSH", "g", "fed", (Burst("2026-03-14 19:24:11", 16, -7, 115, "aaf"),
                                  Burst("2026-03-14 19:24:58", -4, 3, 20, "faf"))),
    Event("HR-BUSH", "handler", "", (Burst("2026-03-15 06:32:15", -4, 42, -90, "lbb"),)),
    Event("HR-BUSH", "s", "fed", (Burst("2026-03-15 09:05:26", 26, 6, 190, "waf"),
                                  Burst("2026-03-15 09:06:02", 22, 2, 175, "ffa"))),
    Event("HR-BUSH", "p", "near", (Burst("2026-03-15 14:20:40", 28, 40, 180, "www"),),
          comment="walker on the footpath"),
    Event("HR-BUSH", "handler", "", (Burst("2026-03-15 17:59:10", 4, 42, -90, "bbl"),)),
]  # fmt: skip

BURST_SECONDS = (0, 1, 3)
DULL_FROM, DULL_TO = "2026-03-15 11:00", "2026-03-15 18:30"
"""When cloud and drizzle hide the sun."""

# === THE PHOTOS AND THE LOGS =================================================================


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo to draw: when, before which camera, and what is on it."""

    placement: Placement
    true_time: datetime
    kind: str
    where: str = ""
    x: float = 0.0
    y: float = 0.0
    heading: float = 0.0
    pose: str = ""
    place_in_burst: int = 0
    eaten: float = 0.0
    """Share of the seed that is gone, for the look of the sand."""
    number: int = 0

    @property
    def shown(self) -> datetime:
        """Give the time that the camera showed."""
        return self.true_time - timedelta(hours=self.placement.hours_behind)

    @property
    def file(self) -> str:
        """Name the photo as the card does."""
        return f"DUNE{self.number:04d}.JPG"

    @property
    def rng(self) -> Rng:
        """Give this photo's own dice."""
        return np.random.default_rng([self.placement.seed, self.number])


def moment(text: str) -> datetime:
    """Read a time of the tables above."""
    return datetime.fromisoformat(text)


def shots_of(event: Event, placement: Placement) -> list[Shot]:
    """Lay out the photos of one event."""
    shots = []
    for burst in event.bursts:
        for place, (seconds, pose) in enumerate(zip(BURST_SECONDS, burst.poses, strict=True)):
            when = moment(burst.at) + timedelta(seconds=seconds)
            shots.append(Shot(placement, when, event.kind, event.where, burst.x_cm / 100,
                              burst.y_cm / 100, burst.heading, pose, place + 1))  # fmt: skip
    return shots


def timelapse_shots(placement: Placement, first: datetime, last: datetime) -> list[Shot]:
    """Lay out the photos taken by the clock between the first and the last other photo."""
    if not placement.timelapse_every_min:
        return []
    step = timedelta(minutes=placement.timelapse_every_min)
    due = first.replace(hour=0, minute=0, second=0)
    shots = []
    while (due := due + step) < last:
        if due > first:
            shots.append(Shot(placement, due, "timelapse"))
    return shots


def share_eaten(shot: Shot) -> float:
    """Give how much seed is gone at a photo: falls evenly over its tray's window."""
    for tray in TRAYS:
        begin, end = moment(tray.set_out), moment(tray.picked_up)
        if tray.tray == shot.placement.tray and begin <= shot.true_time <= end:
            gone = max(0.0, 1 - float(tray.left_g) / 8)
            return gone * math.sqrt((shot.true_time - begin) / (end - begin))
    return 0.0


def photos_of(placement: Placement) -> list[Shot]:
    """List a card's photos in the order they were taken, numbered."""
    shots = [shot for event in EVENTS if event.placement == placement.name
             for shot in shots_of(event, placement)]  # fmt: skip
    times = [shot.true_time for shot in shots]
    shots += timelapse_shots(placement, min(times), max(times))
    shots.sort(key=lambda shot: shot.true_time)
    return [replace(shot, number=number, eaten=share_eaten(shot))
            for number, shot in enumerate(shots, start=1)]  # fmt: skip


def write_table(name: str, header: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Write one log."""
    with (HERE / name).open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def camera_row(placement: Placement) -> list[object]:
    """Give a placement's line of the camera log."""
    return [placement.name, placement.camera, placement.tray, placement.start, placement.end,
            "+02:00", placement.working_at_pickup, placement.timelapse_every_min or "", 5,
            -32.1, 18.3, 10000]  # fmt: skip


def tray_row(tray: Tray) -> list[object]:
    """Give a line of the tray log."""
    study = tray.role == "study"
    site = "Heuningrug" if tray.deployment.startswith(("HR", "MC-HR")) else "Skulpkom"
    microhabitat = {"T1": "open", "T2": "bush", "T3": "open", "T4": "bush"}.get(tray.tray, "")
    return [tray.deployment, tray.tray, tray.set_out, tray.picked_up, "8.0", tray.left_g, site,
            tray.pair, microhabitat, "2.0", "millet", tray.role, tray.condition, "",
            "Piet" if study else "Nomsa", tray.notes]  # fmt: skip


def tag_rows(event: Event, photos: Sequence[Shot]) -> list[list[object]]:
    """Give what each tagger said of one event's run of photos."""
    begin, last = moment(event.bursts[0].at), moment(event.bursts[-1].at)
    until = last + timedelta(seconds=BURST_SECONDS[-1])
    names = [shot.file for shot in photos if begin <= shot.true_time <= until]
    counted = 1 if event.where else ""
    said = event.said or (event.kind, event.kind)
    return [[event.placement, names[0], names[-1], tagger, species, counted, event.where, "yes",
             "", "", event.comment]
            for tagger, species in zip(TAGGERS, said, strict=True)]  # fmt: skip


def write_logs(cards: dict[str, list[Shot]]) -> None:
    """Write all logs and the truth."""
    write_table("species.csv", ("key", "name", "scientific_name", "role", "sensitive"),
                [(*row, "") for row in SPECIES])  # fmt: skip
    write_table("cameras.csv",
                ("placement", "camera", "trays", "start", "end", "clock", "working_at_pickup",
                 "timelapse_every_min", "quiet_s", "latitude", "longitude", "uncertainty_m"),
                [camera_row(placement) for placement in PLACEMENTS])  # fmt: skip
    write_table("clocks.csv", ("placement", "camera_showed", "true_time", "photo"), CLOCK_CHECKS)
    write_table("trays.csv",
                ("deployment", "tray", "set_out", "picked_up", "food_start_g", "food_left_g",
                 "site", "pair", "microhabitat", "substrate_l", "food", "role", "condition",
                 "target", "handler", "notes"), [tray_row(tray) for tray in TRAYS])  # fmt: skip
    write_table("tags.csv",
                ("placement", "first_photo", "last_photo", "tagger", "species", "count", "where",
                 "sure", "tray", "ruling", "comment"),
                [row for event in EVENTS
                 for row in tag_rows(event, cards[event.placement])])  # fmt: skip
    write_table("truth.csv",
                ("deployment", "situation", "status", "forager", "visits", "visits_all", "gud_g",
                 "censored", "watched_share"),
                [(tray.deployment, said.situation, said.status, said.forager, said.visits,
                  said.visits_all, said.gud_g, said.censored, said.watched_share)
                 for tray in TRAYS if (said := tray.truth)])  # fmt: skip


# === THE PICTURE: camera, light, noise =======================================================

WIDTH, HEIGHT, STRIP = 1280, 960, 40
FINER = 2
"""Everything is drawn this many times larger and averaged down."""
QUALITY = 66

RADIUS, RIM, SAND = 0.175, 0.042, 0.026
"""The tray's outer radius, the height of its rim and of the sand in it."""
WALL = 0.006
GROUND_MM, SAND_MM, SHADE_MM = 0.7, 0.35, 2.0
"""How large a texture's pixel is."""
LEFT, RIGHT, NEAR, FAR = -1.0, 1.0, -0.5, 1.1
"""The stretch of ground that has a texture."""


def f32(values: npt.ArrayLike) -> Array:
    """Hold numbers as this script does."""
    return np.asarray(values, np.float32)


def linear(rgb: Sequence[float]) -> Array:
    """Turn a colour as one writes it, 0-255, into light."""
    return np.asarray((np.asarray(rgb, np.float32) / 255) ** 2.2, np.float32)


def blurred(image: Array, sigma: float) -> Array:
    """Soften an image."""
    return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma), np.float32)


def resized(image: Array, width: int, height: int, how: int = cv2.INTER_CUBIC) -> Array:
    """Give an image another size."""
    return np.asarray(cv2.resize(image, (width, height), interpolation=how), np.float32)


def looked_up(texture: Array, columns: Array, rows: Array) -> Array:
    """Read a texture at given places; beyond its edge it is mirrored."""
    return np.asarray(cv2.remap(texture, columns, rows, cv2.INTER_LINEAR,
                                borderMode=cv2.BORDER_REFLECT), np.float32)  # fmt: skip


def looked_up_each(texture: Array, columns: Array, rows: Array) -> Array:
    """Read a texture at a list of places, however long (OpenCV's own limit is 32,767)."""
    wide = 4096
    spare = -len(columns) % wide
    u, v = (np.pad(part, (0, spare)).reshape(-1, wide) for part in (columns, rows))
    found = looked_up(texture, u.astype(np.float32), v.astype(np.float32))
    return found.reshape(-1)[: len(columns)]


def clouds(rng: Rng, width: int, height: int, *, coarse: int, octaves: int, fade: float) -> Array:
    """Make noise with large and small lumps, mean 0, about 1 high."""
    total = np.zeros((height, width), np.float32)
    weight = 1.0
    for octave in range(octaves):
        cells = coarse * 2**octave
        rows = max(2, cells * height // width)
        grid = rng.standard_normal((rows, max(2, cells))).astype(np.float32)
        total += weight * resized(grid, width, height)
        weight *= fade
    return np.asarray(total / total.std(), np.float32)


@dataclass(frozen=True, slots=True)
class Eye:
    """The camera: where it is, where it looks, and how long its lens is in fine pixels."""

    at: Array
    right: Array
    down: Array
    ahead: Array
    focal: float

    def project(self, points: Array) -> tuple[Array, Array, Array]:
        """Give the fine pixel column and row of points (n, 3), and their depth."""
        seen = points - self.at
        depth = seen @ self.ahead
        columns = WIDTH * FINER / 2 + self.focal * (seen @ self.right) / depth
        rows = HEIGHT * FINER / 2 + self.focal * (seen @ self.down) / depth
        return f32(columns), f32(rows), f32(depth)


def unit(vector: Array) -> Array:
    """Scale vectors (..., 3) to length 1."""
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.asarray(vector / np.maximum(length, 1e-9), np.float32)


@lru_cache(maxsize=4)
def eye_of(placement: Placement) -> Eye:
    """Place a camera: 75 cm up, 85 cm before the tray, a little different each time."""
    rng = np.random.default_rng([placement.seed, 7001])
    at = np.array([rng.uniform(-0.1, 0.1), -0.84, 0.74 + rng.uniform(-0.03, 0.03)], np.float32)
    aim = np.array([rng.uniform(-0.03, 0.03), 0.035, 0.0], np.float32)
    ahead = unit(aim - at)
    tilt = rng.uniform(-0.04, 0.04)
    level = unit(np.cross(ahead, np.array([0, 0, 1], np.float32)))
    right = unit(level + tilt * np.cross(ahead, level))
    return Eye(at, right, unit(np.cross(ahead, right)), ahead, 1640.0 * FINER)


@dataclass(frozen=True, slots=True)
class Light:
    """What lights a photo."""

    infrared: bool
    towards: Array
    """Unit vector to the sun; by night where the lamp is."""
    sun: Array
    sky: Array
    exposure: float
    soft: float
    """How blurred shadows are. [m]"""


def sun_height(when: datetime, turn: float) -> Array:
    """Give the unit vector to the sun, for a camera that looks south.

    Latitude -32.1, longitude 18.3, mid-March: declination -2.5 degrees, noon at 12:56.
    """
    hour = when.hour + when.minute / 60 + when.second / 3600
    angle, latitude, declination = math.radians((hour - 12.93) * 15), -0.560, -0.0436
    east = -math.cos(declination) * math.sin(angle)
    north = (math.sin(declination) * math.cos(latitude)
             - math.cos(declination) * math.sin(latitude) * math.cos(angle))  # fmt: skip
    up = (math.sin(declination) * math.sin(latitude)
          + math.cos(declination) * math.cos(latitude) * math.cos(angle))  # fmt: skip
    facing = math.radians(turn)
    x = -east * math.cos(facing) - -north * math.sin(facing)
    y = -east * math.sin(facing) + -north * math.cos(facing)
    return np.array([x, y, up], np.float32)


def light_of(shot: Shot) -> Light:
    """Give the light of a photo from its true time and the weather."""
    sun = sun_height(shot.true_time, shot.placement.turn)
    step = float(shot.rng.integers(-1, 2)) * 0.06
    if sun[2] < -0.035:
        lamp = eye_of(shot.placement).at + np.array([0.02, -0.01, 0.07], np.float32)
        grey = np.ones(3, np.float32)
        return Light(True, lamp, grey, grey * 0.035, 1.0 + step, 0.003)
    height = float(np.clip(sun[2] / 0.5, 0, 1))
    warm = linear((255, 176, 108)) * (1 - height) + linear((255, 247, 232)) * height
    low = unit(np.array([sun[0], sun[1], max(float(sun[2]), 0.16)], np.float32))
    if moment(DULL_FROM) <= shot.true_time <= moment(DULL_TO):
        return Light(
            False, low, f32(warm * 0.12), f32(linear((214, 222, 232)) * 0.95), 1.0 + step, 0.05
        )
    strength = 0.30 + 0.85 * height if sun[2] > 0.02 else 0.06
    sky = linear((150, 178, 215)) * (0.62 + 0.25 * height) + 0.06
    return Light(False, low, f32(warm * strength * 1.5), f32(sky), 1.0 + step, 0.004)


# === THE PICTURE: ground, tray, shadow =======================================================


@dataclass(frozen=True, slots=True)
class Surface:
    """What every fine pixel of an empty scene shows: place, slope, colour, kind."""

    x: Array
    y: Array
    z: Array
    depth: Array
    normal: Array
    colour: Array
    sandy: npt.NDArray[np.bool_]
    inside: npt.NDArray[np.bool_]
    """Inside the tray: on the sand or the inner wall."""
    ground: npt.NDArray[np.bool_]


def litter(rng: Rng, texture: Array) -> None:
    """Scatter straws, twigs, shell grit and droppings over the ground, in place."""
    height, width = texture.shape[:2]
    kinds = [(420, (188, 168, 122), 5, 60, 1), (110, (172, 150, 110), 30, 150, 1),
             (90, (126, 104, 76), 5, 30, 2), (12, (96, 80, 60), 40, 240, 3)]  # fmt: skip
    for count, rgb, short, long, thick in kinds:
        for _ in range(count):
            x, y, angle = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(0, 3.15)
            size = rng.uniform(short, long)
            bend = rng.uniform(-0.5, 0.5)
            steps = np.linspace(-0.5, 0.5, 6)
            turns = angle + bend * steps
            points = np.stack([x + size * steps * np.cos(turns), y + size * steps * np.sin(turns)])
            colour = linear(rgb) * rng.uniform(0.6, 1.3)
            shade = (points + 2).T.astype(np.int32)
            cv2.polylines(texture, [shade], False, (colour * 0.45).tolist(), thick)
            cv2.polylines(texture, [points.T.astype(np.int32)], False, colour.tolist(), thick)
    for _ in range(420):
        centre = (int(rng.uniform(0, width)), int(rng.uniform(0, height)))
        tone = float(rng.choice([0.35, 0.5, 1.35, 1.6]))
        axes = (int(rng.uniform(1, 5)), int(rng.uniform(1, 4)))
        colour = linear((190, 178, 156)) * tone
        cv2.ellipse(texture, (centre[0] + 1, centre[1] + 2), axes, 0, 0, 360,
                    (0.08, 0.07, 0.06), -1)  # fmt: skip
        cv2.ellipse(texture, centre, axes, float(rng.uniform(0, 180)), 0, 360,
                    colour.tolist(), -1)  # fmt: skip


def fallen_leaves(rng: Rng, texture: Array) -> None:
    """Scatter the shrub's dead leaves over the ground, in place."""
    height, width = texture.shape[:2]
    for _ in range(520):
        x, y, turn = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(0, 6.3)
        long, wide = rng.uniform(9, 17), rng.uniform(2.5, 5.5)
        along = np.array([math.cos(turn), math.sin(turn)])
        across = np.array([-along[1], along[0]])
        outline = [(-1, 0), (-0.5, 0.8), (0.1, 1), (0.7, 0.5), (1, 0), (0.7, -0.5), (0.1, -1),
                   (-0.5, -0.8)]  # fmt: skip
        shape = np.array([[x, y] + along * a * long + across * b * wide for a, b in outline])
        rgb = [(142, 118, 84), (116, 96, 68), (160, 142, 106)][int(rng.integers(3))]
        tone = linear(rgb) * rng.uniform(0.7, 1.15)
        cv2.fillConvexPoly(texture, (shape + 3).astype(np.int32), (tone * 0.4).tolist())
        cv2.fillConvexPoly(texture, shape.astype(np.int32), tone.tolist())
        rib = np.array([shape[0], shape[4]]).astype(np.int32)
        cv2.line(texture, rib[0].tolist(), rib[1].tolist(), (tone * 0.7).tolist(), 1)


def ground_texture(placement: Placement) -> tuple[Array, Array]:
    """Make the ground's colour and its height [m]."""
    rng = np.random.default_rng([placement.seed, 7002])
    width = int((RIGHT - LEFT) * 1000 / GROUND_MM)
    height = int((FAR - NEAR) * 1000 / GROUND_MM)
    lumps = clouds(rng, width, height, coarse=5, octaves=5, fade=0.5)
    fine = clouds(rng, width, height, coarse=200, octaves=3, fade=0.8)
    grain = rng.standard_normal((height, width)).astype(np.float32)
    relief = 0.0062 * lumps + 0.00022 * fine
    dirty = np.clip(
        clouds(rng, width, height, coarse=4, octaves=6, fade=0.7)
        - (0.1 if placement.bush else 0.7),
        0,
        1,
    )
    base = linear((198, 176, 142)) * (1 + 0.08 * lumps[..., None] + 0.022 * fine[..., None])
    base = base * (1 + 0.05 * blurred(grain, 0.8)[..., None])
    humus = linear((112, 94, 72)) * (1 + 0.12 * fine[..., None])
    mix = (dirty * (0.85 if placement.bush else 0.55))[..., None]
    colour = np.asarray(base * (1 - mix) + humus * mix, np.float32)
    litter(rng, colour)
    if placement.bush:
        fallen_leaves(rng, colour)
    return np.ascontiguousarray(colour), np.asarray(relief, np.float32)


def slopes(height: Array, millimetres: float) -> tuple[Array, Array]:
    """Give how steep a height map [m] is along its columns and its rows."""
    down, across = np.gradient(height, millimetres / 1000)
    return np.asarray(across, np.float32), np.asarray(down, np.float32)


def sand_texture(shot: Shot) -> tuple[Array, Array]:
    """Make the colour and the height [m] of the tray's sand, dug over as the seed goes."""
    rng = np.random.default_rng([shot.placement.seed, 7003])
    size = int(2 * RADIUS * 1000 / SAND_MM)
    lumps = clouds(rng, size, size, coarse=6, octaves=5, fade=0.55)
    fine = clouds(rng, size, size, coarse=110, octaves=2, fade=1.0)
    grain = blurred(rng.standard_normal((size, size)).astype(np.float32), 1.0)
    height = 0.0010 * lumps + 0.00013 * fine
    colour = linear((200, 180, 148)) * (1 + 0.035 * lumps + 0.03 * fine + 0.16 * grain)[..., None]
    dig(rng, height, shot.eaten)
    colour = np.ascontiguousarray(colour, np.float32)
    sow(rng, colour, 1 - shot.eaten)
    return colour, np.asarray(height, np.float32)


def dig(rng: Rng, height: Array, eaten: float) -> None:
    """Press foraging pits with a little wall into the sand, in place."""
    size = height.shape[0]
    grid = np.mgrid[0:size, 0:size].astype(np.float32)
    places = rng.uniform(0.22, 0.78, (16, 2)) * size
    for row, column in places[: round(eaten * 16)]:
        wide = rng.uniform(24, 52)
        away = ((grid[0] - row) ** 2 + (grid[1] - column) ** 2) / wide**2
        height += (0.006 * (1.1 * away - 1) * np.exp(-away)).astype(np.float32)


def sow(rng: Rng, colour: Array, left: float) -> None:
    """Lay the seed that shows on the sand, and husks, in place."""
    size = colour.shape[0]
    for index in range(170):
        radius, angle = size * 0.45 * rng.uniform() ** 0.5, rng.uniform(0, 6.3)
        centre = (
            int(size / 2 + radius * math.cos(angle)),
            int(size / 2 + radius * math.sin(angle)),
        )
        whole = index < 170 * left
        rgb = (226, 186, 98) if whole else (206, 196, 172)
        axes = (4, 3) if whole else (3, 1)
        turn = float(rng.uniform(0, 180))
        tone = linear(rgb) * rng.uniform(0.8, 1.15)
        cv2.ellipse(
            colour, (centre[0] + 2, centre[1] + 2), axes, turn, 0, 360, (0.2, 0.17, 0.12), -1
        )
        cv2.ellipse(colour, centre, axes, turn, 0, 360, tone.tolist(), -1)


def rays_of(eye: Eye) -> Array:
    """Give the direction of every fine pixel, one metre deep."""
    rows, columns = np.mgrid[0 : HEIGHT * FINER, 0 : WIDTH * FINER].astype(np.float32)
    across = (columns + 0.5 - WIDTH * FINER / 2) / eye.focal
    down = (rows + 0.5 - HEIGHT * FINER / 2) / eye.focal
    rays = eye.ahead + across[..., None] * eye.right + down[..., None] * eye.down
    return np.asarray(rays, np.float32)


def wall_depth(eye: Eye, rays: Array, radius: float, near: bool) -> Array:
    """Give how deep each ray meets an upright round wall; infinite where it does not."""
    a = rays[..., 0] ** 2 + rays[..., 1] ** 2
    b = rays[..., 0] * eye.at[0] + rays[..., 1] * eye.at[1]
    c = eye.at[0] ** 2 + eye.at[1] ** 2 - radius**2
    root = b * b - a * c
    depth = (-b + (-1 if near else 1) * np.sqrt(np.maximum(root, 0))) / a
    return np.asarray(np.where(root > 0, depth, np.inf), np.float32)


@lru_cache(maxsize=1)
def surface_of(placement: Placement) -> Surface:
    """Find what every pixel of an empty scene shows: ground, tray wall, rim; sand is left blank."""
    eye = eye_of(placement)
    rays = rays_of(eye)
    depth = -eye.at[2] / rays[..., 2]
    inner = RADIUS - WALL
    flat = np.zeros((*depth.shape, 3), np.float32)
    flat[..., 2] = 1
    found = {}
    for kind, plane in (("sand", SAND), ("rim", RIM)):
        at = (plane - eye.at[2]) / rays[..., 2]
        away = np.hypot(eye.at[0] + at * rays[..., 0], eye.at[1] + at * rays[..., 1])
        found[kind] = (at, away)
    on_rim = (found["rim"][1] <= RADIUS) & (found["rim"][1] >= inner)
    in_mouth = found["rim"][1] < inner
    outer = wall_depth(eye, rays, RADIUS, near=True)
    outer_z = eye.at[2] + outer * rays[..., 2]
    on_outer = (outer_z >= 0) & (outer_z <= RIM) & ~on_rim & ~in_mouth
    sandy = in_mouth & (found["sand"][1] < inner)
    on_inner = in_mouth & ~sandy
    depth = np.where(on_outer, outer, depth)
    depth = np.where(on_rim, found["rim"][0], depth)
    depth = np.where(sandy, found["sand"][0], depth)
    depth = np.where(on_inner, wall_depth(eye, rays, inner, near=False), depth)
    place = eye.at + depth[..., None] * rays
    outward = unit(f32(place * np.array([1, 1, 0], np.float32)))
    colour, relief = ground_texture(placement)
    columns = np.asarray((place[..., 0] - LEFT) * 1000 / GROUND_MM, np.float32)
    rows = np.asarray((place[..., 1] - NEAR) * 1000 / GROUND_MM, np.float32)
    across, down = (looked_up(part, columns, rows) for part in slopes(relief, GROUND_MM))
    flat[..., 0], flat[..., 1] = -across, -down
    painted = looked_up(colour, columns, rows)
    plastic = linear(placement.tray_rgb)
    up = np.array([0, 0, 1], np.float32)
    flat[on_outer], flat[on_inner] = outward[on_outer], -outward[on_inner]
    bevel = np.clip((found["rim"][1] - RADIUS + WALL / 2) / (WALL / 2), -1, 1)[..., None]
    flat[on_rim] = (up + 0.8 * bevel * outward)[on_rim]
    flat[sandy] = up
    painted[on_outer | on_inner] = plastic
    painted[on_rim] = plastic * 1.25
    dust = np.exp(-np.maximum(place[..., 2] - SAND, 0) / 0.005)[..., None] * 0.6
    painted[on_inner] = (painted * (1 - dust) + linear((205, 188, 158)) * dust)[on_inner]
    foot = np.exp(-np.maximum(place[..., 2], 0) / 0.006)[..., None] * 0.7
    painted[on_outer] = (painted * (1 - foot) + linear((196, 176, 146)) * foot)[on_outer]
    ground = ~(on_outer | on_inner | on_rim | sandy)
    return Surface(f32(place[..., 0]), f32(place[..., 1]), f32(place[..., 2]), f32(depth),
                   unit(flat), painted, sandy, on_inner | sandy, ground)  # fmt: skip


def to_light(light: Light, x: Array, y: Array, z: Array) -> tuple[Array, Array, Array]:
    """Give the unit vector from places to the light."""
    if not light.infrared:
        one = np.ones_like(x)
        return one * light.towards[0], one * light.towards[1], one * light.towards[2]
    dx, dy, dz = light.towards[0] - x, light.towards[1] - y, light.towards[2] - z
    far = np.sqrt(dx * dx + dy * dy + dz * dz)
    return dx / far, dy / far, dz / far


def tray_shadow(surface: Surface, direction: tuple[Array, Array, Array]) -> Array:
    """Say where the tray keeps the light away: 1 in its shadow."""
    lx, ly, lz = direction
    lz = np.maximum(lz, 0.05)
    rise = np.maximum(RIM - surface.z, 0) / lz
    x, y = surface.x + lx * rise, surface.y + ly * rise
    under_rim = surface.inside & (np.hypot(x, y) > RADIUS - WALL)
    flat = lx * lx + ly * ly + 1e-9
    nearest = np.clip(-(surface.x * lx + surface.y * ly) / flat, 0, rise)
    away = np.hypot(surface.x + lx * nearest, surface.y + ly * nearest)
    behind = surface.ground & (away < RADIUS)
    return np.asarray(under_rim | behind, np.float32)


class Shade:
    """Shadows cast on the ground: a map from above, looked up along the light."""

    def __init__(self, light: Light) -> None:
        self.light = light
        width = int((RIGHT - LEFT) * 1000 / SHADE_MM)
        height = int((FAR - NEAR) * 1000 / SHADE_MM)
        self.mask: Array = np.zeros((height, width), np.float32)

    def dropped(self, points: Array) -> Array:
        """Give where the light through points (n, 3) meets the ground, in map pixels (n, 2)."""
        lx, ly, lz = to_light(self.light, points[:, 0], points[:, 1], points[:, 2])
        fall = points[:, 2] / np.maximum(lz, 0.05)
        x, y = points[:, 0] - lx * fall, points[:, 1] - ly * fall
        pixels = np.stack([x - LEFT, y - NEAR], axis=1) * 1000 / SHADE_MM
        return np.asarray(np.clip(pixels, -3000, 6000), np.float32)

    def line(self, points: Array, width: float) -> None:
        """Cast the shadow of a stalk."""
        path = [self.dropped(points).astype(np.int32)]
        cv2.polylines(self.mask, path, False, 1.0, max(1, round(width * 1000 / SHADE_MM)))

    def patch(self, points: Array) -> None:
        """Cast the shadow of a leaf or a board, given its corners."""
        cv2.fillConvexPoly(self.mask, self.dropped(points).astype(np.int32), 1.0)

    def balls(self, centres: Array, radii: Array) -> None:
        """Cast the shadow of a body made of balls."""
        lx, ly, lz = to_light(self.light, centres[:, 0], centres[:, 1], centres[:, 2])
        turn = np.degrees(np.arctan2(ly, lx))
        long = radii / np.maximum(lz, 0.15)
        for (x, y), r, far, angle in zip(self.dropped(centres), radii, long, turn, strict=True):
            axes = (max(1, round(far * 1000 / SHADE_MM)), max(1, round(r * 1000 / SHADE_MM)))
            cv2.ellipse(self.mask, (round(x), round(y)), axes, float(angle), 0, 360, 1.0, -1)

    def at(self, x: Array, y: Array, z: Array) -> Array:
        """Say how much of the light is kept from places, 0 to 1."""
        lx, ly, lz = to_light(self.light, x, y, z)
        fall = z / np.maximum(lz, 0.05)
        columns = np.asarray((x - lx * fall - LEFT) * 1000 / SHADE_MM, np.float32)
        rows = np.asarray((y - ly * fall - NEAR) * 1000 / SHADE_MM, np.float32)
        soft = blurred(self.mask, self.light.soft * 1000 / SHADE_MM)
        if x.ndim == 1:
            return looked_up_each(soft, columns, rows)
        return looked_up(soft, columns, rows)


# === THE PICTURE: plants =====================================================================


@dataclass(frozen=True, slots=True)
class Sprig:
    """A blade, a stalk or a leaf, as drawn: points in space, colours, width."""

    points: Array
    colour: Array
    width: float
    """How thick a line it is [m]; 0 for a leaf, which is filled."""
    top: float
    """How much lighter its tip is than its foot."""


def tuft(rng: Rng, x: float, y: float, size: float, gust: Array) -> list[Sprig]:
    """Grow a grass tuft that bends in the wind."""
    blades = []
    steps = np.linspace(0, 1, 7)[:, None]
    for _ in range(int(rng.integers(26, 60))):
        foot = np.array([x, y, 0]) + np.array([*rng.normal(0, 0.022, 2), 0])
        turn, lean, tall = rng.uniform(0, 6.3), rng.uniform(0.1, 0.95), size * rng.uniform(0.5, 1.1)
        side = np.array([math.cos(turn), math.sin(turn), 0]) * lean * tall
        blow = np.array([*gust, 0]) * tall * rng.uniform(0.6, 1.4)
        rise = np.array([0, 0, tall * (1 - 0.35 * lean)])
        points = foot + steps * rise + steps**2 * (side + blow) - steps**3 * rise * 0.35 * lean
        rgb = (150, 152, 92) if rng.uniform() < 0.45 else (188, 170, 118)
        colour = linear(rgb) * rng.uniform(0.65, 1.15)
        blades.append(Sprig(np.asarray(points, np.float32), np.asarray(colour, np.float32),
                            float(rng.uniform(0.0014, 0.003)), 1.35))  # fmt: skip
    return blades


def leaf(rng: Rng, at: Array, size: float) -> Sprig:
    """Grow one small leathery leaf."""
    along = unit(rng.normal(0, 1, 3).astype(np.float32) + np.array([0, 0, 0.5], np.float32))
    across = unit(np.cross(along, rng.normal(0, 1, 3).astype(np.float32))) * size * 0.27
    along = along * size
    corners = [(0, 0), (0.25, 0.8), (0.55, 1), (0.85, 0.6), (1, 0), (0.85, -0.6), (0.55, -1),
               (0.25, -0.8)]  # fmt: skip
    points = np.stack([at + a * along + b * across for a, b in corners])
    facing = abs(float(np.cross(along, across)[2])) / (size * size * 0.27)
    rgb = (106, 122, 78) if rng.uniform() < 0.75 else (134, 138, 92)
    colour = linear(rgb) * (0.35 + 0.85 * facing) * rng.uniform(0.75, 1.2)
    return Sprig(np.asarray(points, np.float32), np.asarray(colour, np.float32), 0.0, 1.0)


def branch(rng: Rng, foot: Array, tip: Array, gust: Array, leaves: int) -> list[Sprig]:
    """Grow a shrub's branch with its leaves."""
    steps = np.linspace(0, 1, 9)[:, None]
    sag = np.array([*rng.normal(0, 0.05, 2), rng.uniform(0.02, 0.12)])
    blow = np.array([*gust, 0]) * 0.12
    points = foot + steps * (tip - foot) + steps * (1 - steps) * sag * 2 + steps**2 * blow
    stalk = np.asarray(points, np.float32)
    sprigs = [Sprig(stalk, linear((98, 84, 66)), float(rng.uniform(0.003, 0.006)), 0.9)]
    for _ in range(leaves):
        place = rng.uniform(0.2, 1.0) * 8
        low = int(min(place, 7))
        at = stalk[low] + (stalk[low + 1] - stalk[low]) * (place - low)
        at = at + rng.normal(0, 0.016, 3)
        sprigs.append(leaf(rng, np.asarray(at, np.float32), float(rng.uniform(0.012, 0.024))))
    return sprigs


def shrub(rng: Rng, x: float, y: float, gust: Array) -> list[Sprig]:
    """Grow a shrub that hangs over the tray."""
    sprigs = []
    for _ in range(30):
        foot = np.array([x, y, 0.0]) + np.array([*rng.normal(0, 0.05, 2), 0])
        turn, reach = rng.uniform(0, 6.3), rng.uniform(0.15, 0.42)
        tip = foot + np.array([reach * math.cos(turn), reach * math.sin(turn),
                               rng.uniform(0.08, 0.5)])  # fmt: skip
        sprigs += branch(rng, foot, tip, gust, 44)
    return sprigs


def plants_of(shot: Shot) -> list[Sprig]:
    """Grow a placement's plants, bent as the wind of this photo has them."""
    rng = np.random.default_rng([shot.placement.seed, 7004])
    hard = 0.75 if shot.kind == "blank" else 0.22
    turn = shot.rng.normal(0, 1, 2)
    gust = np.asarray(hard * 0.45 * turn, np.float32)
    sprigs: list[Sprig] = []
    if shot.placement.bush:
        sprigs += shrub(rng, -0.43, 0.36, gust)
        sprigs += shrub(rng, 0.34, 0.66, gust)
        sprigs += shrub(rng, -0.10, 0.80, gust)
        for _ in range(6):  # out of the picture, for the dappled shade
            foot = np.array([-0.7, -0.15, 0.5])
            tip = np.array([rng.uniform(-0.35, 0.15), rng.uniform(-0.5, 0.3), 0.78])
            sprigs += branch(rng, foot, tip, gust, 40)
    places = [(-0.47, 0.52), (0.43, 0.44), (0.52, 0.05), (-0.42, -0.02), (0.08, 0.78),
              (-0.16, 0.6), (0.36, -0.24)]  # fmt: skip
    for x, y in places[: 4 if shot.placement.bush else 7]:
        at = (x + rng.normal(0, 0.05), y + rng.normal(0, 0.05))
        sprigs += tuft(rng, *at, float(rng.uniform(0.12, 0.3)), gust)
    for _ in range(14):
        x, y = rng.uniform(-0.8, 0.8), rng.uniform(-0.4, 1.0)
        if math.hypot(x, y) > 0.26:
            sprigs += tuft(rng, float(x), float(y), 0.05, gust)[:7]
    return sprigs


def seen_sprigs(eye: Eye, sprigs: Sequence[Sprig]) -> list[tuple[float, Sprig]]:
    """Order plants from far to near, leaving out what hangs before the lens."""
    found = []
    for sprig in sprigs:
        depth = (sprig.points - eye.at) @ eye.ahead
        if depth.min() > 0.45:
            found.append((float(depth.mean()), sprig))
    return sorted(found, key=lambda pair: -pair[0])


def paint_sprig(image: Array, eye: Eye, light: Light, sprig: Sprig, depth: float) -> None:
    """Draw a blade, stalk or leaf into the picture, in place."""
    columns, rows, _ = eye.project(sprig.points)
    pixels = np.stack([columns, rows], axis=1)
    if pixels[:, 0].max() < 0 or pixels[:, 0].min() > image.shape[1]:
        return
    if light.infrared:
        tone = float(sprig.colour.mean()) * 2.6 / max(depth, 0.5) ** 2 + 0.01
        colour = np.full(3, tone, np.float32)
    else:
        colour = sprig.colour * (light.sky + light.sun * 0.62)
    corners = np.asarray(np.clip(pixels, -9000, 9000) * 16, np.int32)
    if not sprig.width:
        cv2.fillConvexPoly(image, corners, colour.tolist(), cv2.LINE_8, 4)
        return
    wide = sprig.width * eye.focal / depth
    last = len(corners) - 2
    for index in range(last + 1):
        share = index / (last + 1)
        tone_here = colour * (0.55 + (sprig.top - 0.55) * share)
        thick = max(1, round(wide * (1 - 0.65 * share)))
        cv2.line(image, corners[index].tolist(), corners[index + 1].tolist(),
                 tone_here.tolist(), thick, cv2.LINE_8, 4)  # fmt: skip


def shade_sprigs(shade: Shade, sprigs: Sequence[Sprig]) -> None:
    """Cast the shadows of all plants."""
    for sprig in sprigs:
        if sprig.width:
            shade.line(sprig.points, sprig.width)
        else:
            shade.patch(sprig.points)


# === THE PICTURE: bodies made of tubes =======================================================

Paint = Callable[[Array, Array, Array], Array]
"""From place along a tube (0-1), angle from its back [rad] and coat noise to light colours."""


@dataclass(frozen=True, slots=True)
class Tube:
    """A rounded part of a body: a bent line with a thickness at each of its points."""

    points: Array
    radii: Array
    paint: Paint
    hair: float = 0.0
    """How long its hairs are. [m]"""
    gloss: float = 0.0


@dataclass(frozen=True, slots=True)
class Eyeball:
    """An eye: dark by day, shining back the lamp by night."""

    at: Array
    radius: float


@dataclass(slots=True)
class Body:
    """What an animal, a person or a thing is made of."""

    tubes: list[Tube] = field(default_factory=list)
    eyes: list[Eyeball] = field(default_factory=list)
    whiskers: list[Array] = field(default_factory=list)


def plain(rgb: Sequence[float], rough: float = 0.12) -> Paint:
    """Give a paint of one colour."""
    base = linear(rgb)

    def paint(_t: Array, _phi: Array, coat: Array) -> Array:
        return np.asarray(base * (1 + rough * coat[:, None]), np.float32)

    return paint


def bent(points: Sequence[Sequence[float]], count: int = 40) -> Array:
    """Run a smooth line (Catmull-Rom) through points (n, 3) or (n, 4)."""
    knots = np.asarray(points, np.float32)
    padded = np.concatenate([2 * knots[:1] - knots[1:2], knots, 2 * knots[-1:] - knots[-2:-1]])
    place = np.linspace(0, len(knots) - 1 - 1e-6, count)
    low = place.astype(int)
    s = (place - low)[:, None]
    a, b, c, d = (padded[low + step] for step in range(4))
    curve = 0.5 * (2 * b + (c - a) * s + (2 * a - 5 * b + 4 * c - d) * s**2
                   + (3 * b - a - 3 * c + d) * s**3)  # fmt: skip
    return np.asarray(curve, np.float32)


def tube(points: Sequence[Sequence[float]], paint: Paint, hair: float = 0.0,
         gloss: float = 0.0) -> Tube:  # fmt: skip
    """Make a tube of points (x, y, z, radius)."""
    curve = bent(points)
    return Tube(curve[:, :3], np.maximum(curve[:, 3], 0.0006), paint, hair, gloss)


def mixed(first: Array, second: Array, share: Array) -> Array:
    """Blend two sets of colours (n, 3) or one colour (3,)."""
    part = np.clip(share, 0, 1)[:, None]
    return np.asarray(first * (1 - part) + second * part, np.float32)


def step(value: Array, low: float, high: float) -> Array:
    """Rise smoothly from 0 at `low` to 1 at `high`."""
    s = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(s * s * (3 - 2 * s), np.float32)


def mouse_coat(t: Array, phi: Array, coat: Array) -> Array:
    """Paint four dark stripes along a grizzled back."""
    away = np.abs(phi)
    base = linear((142, 116, 84)) * (1 + 0.28 * coat[:, None])
    pale = linear((182, 154, 112)) * (1 + 0.2 * coat[:, None])
    dark = linear((50, 40, 32)) * (1 + 0.3 * coat[:, None])
    wobble = away + 0.03 * coat
    inner = 1 - step(np.abs(wobble - 0.20), 0.07, 0.15)
    outer = 1 - step(np.abs(wobble - 0.70), 0.09, 0.18)
    stripe, back = np.maximum(inner, outer), 1 - step(wobble, 0.84, 0.98)
    reach = step(t, 0.02, 0.14) * (1 - step(t, 0.66, 0.80))
    colour = mixed(base, pale, f32(back * reach * 0.9))
    colour = mixed(colour, dark, stripe * reach)
    colour = mixed(colour, linear((205, 195, 176)), step(away, 1.75, 2.2))
    return mixed(colour, linear((170, 120, 78)), step(t, 0.86, 0.95) * 0.6)


def gerbil_coat(t: Array, phi: Array, coat: Array) -> Array:
    """Paint a tawny back and a clean white belly."""
    away = np.abs(phi) + 0.05 * coat
    back = linear((202, 150, 98)) * (1 + 0.20 * coat[:, None])
    ridge = mixed(back, linear((150, 108, 70)), (1 - step(away, 0.2, 0.9)) * 0.55)
    white = linear((240, 236, 228)) * (1 + 0.05 * coat[:, None])
    cheek = step(t, 0.72, 0.86) * step(away, 0.9, 1.2)
    return mixed(ridge, white, f32(np.maximum(step(away, 1.45, 1.75), cheek)))


def tail_coat(top: Sequence[float], under: Sequence[float], tuft_rgb: Sequence[float]) -> Paint:
    """Give a tail's paint: two colours and a tip."""

    def paint(t: Array, phi: Array, coat: Array) -> Array:
        colour = mixed(linear(top) * (1 + 0.2 * coat[:, None]), linear(under),
                       step(np.abs(phi), 1.1, 1.7))  # fmt: skip
        return mixed(colour, linear(tuft_rgb), step(t, 0.6, 0.9))

    return paint


@dataclass(frozen=True, slots=True)
class Rodent:
    """The measures of a small rodent, in metres."""

    length: float
    girth: float
    head: float
    skull: float
    ear: float
    eye: float
    foot: float
    tail: tuple[tuple[float, float], ...]
    """How thick the tail is at shares of its length."""
    tail_length: float
    coat: Paint
    tail_paint: Paint
    ear_rgb: tuple[int, int, int]
    foot_rgb: tuple[int, int, int]
    hair: float


MOUSE_SHAPE = Rodent(0.078, 0.0225, 0.034, 0.0128, 0.0075, 0.0024, 0.021,
                     ((0, 0.0034), (0.5, 0.0024), (1, 0.0012)), 0.098, mouse_coat,
                     tail_coat((92, 76, 58), (178, 160, 128), (60, 50, 42)), (168, 112, 72),
                     (176, 150, 118), 0.0042)  # fmt: skip
GERBIL_SHAPE = Rodent(0.074, 0.0230, 0.037, 0.0145, 0.0120, 0.0042, 0.029,
                      ((0, 0.0036), (0.6, 0.0026), (0.8, 0.0040), (1, 0.0022)), 0.125,
                      gerbil_coat, tail_coat((186, 138, 92), (236, 230, 220), (84, 66, 52)),
                      (196, 150, 122), (240, 226, 210), 0.0045)  # fmt: skip


def rodent(shape: Rodent, pose: str, rng: Rng) -> Body:
    """Build a mouse or gerbil that feeds, looks up or walks, facing along x."""
    length, girth = shape.length, shape.girth
    pitch, neck_z = {"f": (-0.72, 0.86), "a": (0.05, 1.35)}.get(pose, (-0.25, 1.05))
    pitch += rng.normal(0, 0.08)
    sway = rng.normal(0, 0.007)
    hump = 1.12 if pose == "f" else 1.02
    neck = np.array([length * 0.40, sway, girth * neck_z])
    turn = rng.normal(0, 0.22)
    ahead = np.array([math.cos(pitch) * math.cos(turn), math.cos(pitch) * math.sin(turn),
                      math.sin(pitch)])  # fmt: skip
    side = unit(np.cross(np.array([0, 0, 1.0]), ahead).astype(np.float32))
    up = np.cross(ahead, side)

    def on_head(along: float, out: float, high: float) -> Array:
        at = neck + ahead * along * shape.head + side * out * shape.skull + up * high * shape.skull
        return np.asarray(at, np.float32)

    head = [(*on_head(s, 0, h), r * shape.skull)
            for s, h, r in ((0.1, 0.05, 1.08), (0.42, 0.0, 1.0), (0.72, -0.12, 0.66),
                            (0.95, -0.22, 0.3))]  # fmt: skip
    spine = [(-length * 0.54, 0, girth * 0.62, girth * 0.36),
             (-length * 0.43, 0, girth * 0.88, girth * 0.80),
             (-length * 0.18, sway * 0.3, girth * hump, girth * 1.02),
             (length * 0.10, sway * 0.6, girth * hump * 0.98, girth * 0.92),
             (length * 0.30, sway, girth * (neck_z + 0.9) / 2, girth * 0.70), *head]  # fmt: skip
    body = Body([tube(spine, shape.coat, shape.hair, 0.05)])
    body.tubes += rodent_limbs(shape, pose, neck, on_head(0.9, 0, -0.6))
    body.tubes.append(rodent_tail(shape, rng))
    for hand in (-1, 1):
        base, tip = on_head(0.16, 0.62 * hand, 0.62), on_head(0.0, 1.0 * hand, 0.95)
        out = unit(tip - base) * shape.ear
        ear = [(*(base + out * s), shape.ear * r)
               for s, r in ((0, 0.34), (0.5, 0.52), (1.0, 0.46), (1.25, 0.26))]  # fmt: skip
        body.tubes.append(tube(ear, plain(shape.ear_rgb, 0.05), 0.001))
        body.eyes.append(Eyeball(on_head(0.50, 0.80 * hand, 0.36), shape.eye))
        for _ in range(5):
            start = on_head(0.86, 0.3 * hand, -0.15)
            reach = on_head(0.86 + rng.normal(0, 0.25), 1.9 * hand, rng.normal(-0.1, 0.5))
            body.whiskers.append(np.stack([start, reach]))
    body.tubes.append(tube([(*on_head(0.96, 0, -0.2), 0.002), (*on_head(1.03, 0, -0.22), 0.0017)],
                           plain((150, 104, 96))))  # fmt: skip
    return body


def rodent_limbs(
    shape: Rodent, pose: str, neck: npt.NDArray[np.float64], mouth: Array
) -> list[Tube]:
    """Build thighs, hind feet and arms."""
    length, girth = shape.length, shape.girth
    tubes = []
    for hand in (-1, 1):
        thigh = [(-length * 0.34, 0.55 * hand * girth, girth * 0.72, girth * 0.52),
                 (-length * 0.20, 0.80 * hand * girth, girth * 0.42, girth * 0.40),
                 (-length * 0.28, 0.84 * hand * girth, girth * 0.18, girth * 0.20)]  # fmt: skip
        tubes.append(tube(thigh, shape.coat, shape.hair * 0.8))
        heel = -length * 0.32
        foot = [(heel, 0.86 * hand * girth, 0.0035, 0.0032),
                (heel + shape.foot * 0.6, 0.92 * hand * girth, 0.0030, 0.0034),
                (heel + shape.foot, 0.98 * hand * girth, 0.0022, 0.0022)]  # fmt: skip
        tubes.append(tube(foot, plain(shape.foot_rgb)))
        shoulder = (length * 0.24, 0.55 * hand * girth, girth * 0.62, girth * 0.30)
        if pose == "a":
            paw = (mouth[0] - 0.004, 0.18 * hand * girth, mouth[2] - 0.003, 0.0026)
        else:
            paw = (neck[0] + 0.006, 0.42 * hand * girth, 0.003, 0.0026)
        elbow = (
            (shoulder[0] + paw[0]) / 2,
            0.62 * hand * girth,
            (shoulder[2] + paw[2]) / 2 - 0.002,
            girth * 0.17,
        )
        tubes.append(tube([shoulder, elbow, paw], plain(shape.foot_rgb), shape.hair * 0.3))
    return tubes


def rodent_tail(shape: Rodent, rng: Rng) -> Tube:
    """Build a tail that lies on the ground in a bend."""
    marks = f32(shape.tail)
    bend = rng.choice([-1.0, 1.0]) * rng.uniform(0.3, 1.1)
    knots: list[tuple[float, float, float, float]] = []
    for share in np.linspace(0, 1, 8):
        angle = math.pi + bend * share
        x = -shape.length * 0.52 + shape.tail_length * share * math.cos(angle * 0.5 + math.pi / 2)
        y = shape.tail_length * share * math.sin(bend * share) * 0.8
        z = max(0.0035, shape.girth * 0.55 * (1 - share * 4))
        thick = float(np.interp(share, marks[:, 0], marks[:, 1]))
        knots.append((x, y, z, thick))
    return tube(knots, shape.tail_paint, 0.003 if shape.ear > 0.01 else 0.0012)


def fowl_coat(t: Array, phi: Array, coat: Array) -> Array:
    """Paint dark brown feathers, each with pale edges."""
    rows = t * 17 + 0.06 * coat
    shift = np.floor(rows) % 2 * 0.5
    across = phi * 3.6 + shift + 0.05 * coat
    u, v = rows % 1.0, (across % 1.0) - 0.5
    rim = np.sqrt((1 - u) ** 2 * 0.9 + (v * 2) ** 2 * 0.8)
    edge = step(rim, 0.62, 0.78) * (1 - step(rim, 0.92, 1.08))
    inner = (1 - step(np.abs(rim - 0.38), 0.04, 0.10)) * 0.75
    quill = 1 - step(np.abs(v), 0.02, 0.06)
    dark = linear((86, 68, 52)) * (1 + 0.32 * coat[:, None])
    pale = linear((162, 140, 110)) * (1 + 0.25 * coat[:, None])
    colour = mixed(dark, pale, np.maximum(edge, inner) * 0.66 * (1 - 0.25 * step(t, 0.8, 1)))
    return mixed(colour, linear((50, 38, 30)), quill * 0.5)


def fowl_head(t: Array, phi: Array, coat: Array) -> Array:
    """Paint a finely streaked neck and a dark crown."""
    streak = step(np.sin(phi * 15 + 3 * np.sin(t * 21)) * 0.7 + coat * 0.6, 0.1, 0.9)
    colour = mixed(linear((92, 76, 60)), linear((202, 186, 160)), streak * 0.7)
    return mixed(colour, linear((74, 58, 46)), step(t, 0.72, 0.85) * 0.6)


def spurfowl(pose: str, rng: Rng) -> Body:
    """Build a spurfowl that feeds, looks up or walks, facing along x."""
    low = pose == "f"
    tilt = -0.05 if low else 0.02
    trunk = [(-0.185, 0, 0.150 - tilt, 0.014), (-0.140, 0, 0.158 - tilt, 0.038),
             (-0.075, 0, 0.165 - tilt * 0.6, 0.068), (0.0, 0, 0.160, 0.080),
             (0.065, 0, 0.160 + tilt * 0.7, 0.068), (0.105, 0, 0.172 + tilt, 0.045)]  # fmt: skip
    if low:
        neck = [(0.085, 0, 0.150, 0.046), (0.135, 0, 0.128, 0.030), (0.165, 0, 0.090, 0.021),
                (0.178, 0, 0.062, 0.0205), (0.190, 0, 0.046, 0.016)]  # fmt: skip
        bill = [(0.192, 0, 0.044, 0.010), (0.203, 0, 0.028, 0.0066), (0.206, 0, 0.014, 0.0025)]
        ball = (0.183, 0.0158, 0.056)
    elif pose == "w":
        neck = [(0.085, 0, 0.172, 0.046), (0.135, 0, 0.196, 0.028), (0.160, 0, 0.220, 0.021),
                (0.176, 0, 0.234, 0.0215), (0.190, 0, 0.234, 0.017)]  # fmt: skip
        bill = [(0.194, 0, 0.232, 0.0105), (0.212, 0, 0.226, 0.007), (0.219, 0, 0.218, 0.0025)]
        ball = (0.183, 0.0160, 0.239)
    else:
        neck = [(0.085, 0, 0.180, 0.046), (0.125, 0, 0.225, 0.028), (0.138, 0, 0.262, 0.021),
                (0.146, 0, 0.288, 0.0225), (0.160, 0, 0.292, 0.017)]  # fmt: skip
        bill = [(0.164, 0, 0.290, 0.0105), (0.182, 0, 0.286, 0.007), (0.190, 0, 0.279, 0.0025)]
        ball = (0.153, 0.0165, 0.295)
    body = Body([tube(trunk, fowl_coat, 0.004), tube(neck, fowl_head, 0.003),
                 tube(bill, plain((196, 66, 44), 0.04), 0, 0.3)])  # fmt: skip
    for hand in (-1, 1):
        wing = [(0.070, 0.052 * hand, 0.168, 0.030), (0.0, 0.066 * hand, 0.168, 0.036),
                (-0.075, 0.050 * hand, 0.168 - tilt * 0.5, 0.030),
                (-0.140, 0.020 * hand, 0.160 - tilt, 0.012)]  # fmt: skip
        body.tubes.append(tube(wing[::-1], fowl_coat, 0.004))
        stride = (0.045 * hand if pose == "w" else 0.012 * hand) + rng.normal(0, 0.006)
        body.tubes += fowl_leg(hand, stride)
        body.eyes.append(Eyeball(np.array([ball[0], ball[1] * hand, ball[2]], np.float32), 0.0042))
    return body


def fowl_leg(hand: int, stride: float) -> list[Tube]:
    """Build a red leg with its toes."""
    red = plain((156, 62, 44), 0.14)
    x, y = 0.02 + stride, 0.036 * hand
    leg = [(0.0, y, 0.105, 0.026), (0.005, y, 0.075, 0.013), (x - 0.012, y, 0.045, 0.0062),
           (x, y, 0.008, 0.0052)]  # fmt: skip
    tubes = [tube(leg, red, 0, 0.2)]
    for turn, long in ((-0.5, 0.042), (0.0, 0.048), (0.5, 0.042), (3.1, 0.016)):
        dx, dy = long * math.cos(turn), long * math.sin(turn)
        tubes.append(tube([(x, y, 0.006, 0.0048), (x + dx * 0.6, y + dy * 0.6, 0.005, 0.0040),
                           (x + dx, y + dy, 0.003, 0.0022)], red))  # fmt: skip
    return tubes


def genet_coat(t: Array, phi: Array, coat: Array) -> Array:
    """Paint rows of dark spots and a black line along the back."""
    away = np.abs(phi)
    base = linear((160, 146, 120)) * (1 + 0.32 * coat[:, None])
    dark = linear((38, 32, 28))
    row = np.round((away - 0.35) / 0.36)
    centre = 0.35 + row * 0.36
    along = t * 17 + row * 0.37
    spot = ((along % 1.0) - 0.5) ** 2 / 0.085 + (away - centre) ** 2 / 0.014
    spots = (1 - step(spot + 0.35 * coat, 0.55, 1.15)) * step(away, 0.24, 0.34)
    spots = spots * (1 - step(away, 1.7, 2.0)) * (1 - step(t, 0.90, 0.97))
    colour = mixed(base, linear((205, 196, 178)), step(away, 1.6, 2.2))
    line = (1 - step(away, 0.06, 0.15)) * (1 - step(t, 0.78, 0.9))
    return mixed(colour, dark, np.maximum(spots, line) * 0.93)


def genet_leg(t: Array, phi: Array, coat: Array) -> Array:
    """Paint a leg that is spotted above and dusky below."""
    base = mixed(linear((164, 150, 126)) * (1 + 0.25 * coat[:, None]), linear((92, 80, 68)),
                 step(t, 0.45, 0.8))  # fmt: skip
    spot = ((t * 9 % 1.0) - 0.5) ** 2 / 0.09 + ((phi * 1.4 % 1.0) - 0.5) ** 2 / 0.07
    return mixed(base, linear((42, 36, 32)), (1 - step(spot, 0.5, 1.1)) * (1 - step(t, 0.4, 0.55)))


def genet_face(t: Array, phi: Array, coat: Array) -> Array:
    """Paint a pale face with a dark muzzle patch."""
    base = linear((150, 136, 112)) * (1 + 0.3 * coat[:, None])
    patch = step(t, 0.62, 0.72) * (1 - step(t, 0.82, 0.9)) * step(np.abs(phi), 0.5, 0.8)
    colour = mixed(base, linear((44, 36, 32)), patch)
    return mixed(colour, linear((220, 214, 204)), step(t, 0.86, 0.94) * 0.8)


def ringed(t: Array, _phi: Array, coat: Array) -> Array:
    """Paint a tail's rings."""
    ring = step(np.sin(t * 2 * math.pi * 9) + 0.25 * coat, -0.15, 0.35)
    pale = linear((196, 184, 160)) * (1 + 0.15 * coat[:, None])
    return mixed(pale, linear((34, 28, 26)), np.maximum(ring, step(t, 0.93, 0.97)))


def genet(pose: str, rng: Rng) -> Body:
    """Build a genet that looks down at a tray, facing along x."""
    low = {"f": 0.045}.get(pose, 0.0)
    trunk = [(-0.235, 0, 0.155, 0.045), (-0.16, 0, 0.168, 0.056), (-0.05, 0.01, 0.160, 0.054),
             (0.06, 0.01, 0.155, 0.053), (0.14, 0, 0.160 - low * 0.5, 0.046),
             (0.20, 0, 0.170 - low, 0.034)]  # fmt: skip
    head = [(0.185, 0, 0.168 - low, 0.034), (0.235, 0, 0.172 - low * 1.5, 0.034),
            (0.258, 0, 0.166 - low * 1.8, 0.028), (0.277, 0, 0.155 - low * 2, 0.0165),
            (0.292, 0, 0.148 - low * 2.1, 0.0095)]  # fmt: skip
    tail = [(-0.245, 0, 0.150, 0.026), (-0.33, 0.04, 0.105, 0.027), (-0.43, 0.11, 0.075, 0.026),
            (-0.53, 0.20, 0.062, 0.024), (-0.62, 0.30, 0.06, 0.018)]  # fmt: skip
    body = Body([tube(trunk, genet_coat, 0.009), tube(head, genet_face, 0.006),
                 tube(tail, ringed, 0.014)])  # fmt: skip
    for hand in (-1, 1):
        ear = [(0.213, 0.022 * hand, 0.192 - low * 1.5, 0.013),
               (0.212, 0.029 * hand, 0.206 - low * 1.5, 0.012),
               (0.212, 0.033 * hand, 0.220 - low * 1.5, 0.0085),
               (0.212, 0.036 * hand, 0.229 - low * 1.5, 0.003)]  # fmt: skip
        body.tubes.append(tube(ear, plain((128, 110, 96), 0.2), 0.004))
        body.eyes.append(Eyeball(np.array([0.256, 0.0195 * hand, 0.182 - low * 1.8], np.float32),
                                 0.0058))  # fmt: skip
        for x, thick in ((0.14, 0.026), (-0.18, 0.034)):
            go = x + rng.normal(0, 0.02) + 0.02 * hand
            shin = [(x, 0.030 * hand, 0.135, thick), (x - 0.014, 0.034 * hand, 0.085, 0.0165),
                    (go - 0.006, 0.036 * hand, 0.045, 0.0105), (go, 0.036 * hand, 0.016, 0.0105),
                    (go + 0.020, 0.036 * hand, 0.010, 0.0115),
                    (go + 0.030, 0.036 * hand, 0.008, 0.0070)]  # fmt: skip
            body.tubes.append(tube(shin, genet_leg, 0.005))
    nose = [(0.291, 0, 0.151 - low * 2.1, 0.0060), (0.297, 0, 0.150 - low * 2.1, 0.0050)]
    body.tubes.append(tube(nose, plain((62, 46, 44), 0.05)))
    return body


# === THE PICTURE: people and their things ====================================================

SKIN = plain((122, 84, 62), 0.05)


def leg(x: float, y: float, lean: float, cloth: Paint, boot: Paint) -> list[Tube]:
    """Build a trouser leg and a boot whose toe points along x."""
    shin = [(x - 0.01, y, 0.115, 0.058), (x + lean * 0.3, y, 0.20, 0.060),
            (x + lean * 0.7, y, 0.34, 0.066), (x + lean, y, 0.52, 0.076)]  # fmt: skip
    foot = [(x - 0.045, y, 0.045, 0.040), (x + 0.02, y, 0.050, 0.046), (x + 0.11, y, 0.040, 0.044),
            (x + 0.175, y, 0.030, 0.030)]  # fmt: skip
    shaft = [(x - 0.02, y, 0.05, 0.044), (x - 0.012, y, 0.13, 0.050)]
    sole = [(x - 0.055, y, 0.008, 0.040), (x + 0.06, y, 0.008, 0.047), (x + 0.18, y, 0.004, 0.036)]
    cuff = [(x - 0.012, y, 0.10, 0.060), (x - 0.010, y, 0.135, 0.062)]
    laces = [tube([(x + 0.045 + 0.022 * row, y - 0.024, 0.083 - 0.006 * row, 0.004),
                   (x + 0.050 + 0.022 * row, y, 0.094 - 0.007 * row, 0.004),
                   (x + 0.045 + 0.022 * row, y + 0.024, 0.083 - 0.006 * row, 0.004)],
                  plain((138, 116, 88))) for row in range(3)]  # fmt: skip
    return [*laces, tube(shin, cloth), tube(cuff, cloth), tube(foot, boot, 0, 0.15),
            tube(shaft, boot), tube(sole, plain((46, 40, 36), 0.1))]  # fmt: skip


def cloth_paint(rgb: Sequence[float]) -> Paint:
    """Give cloth with folds."""

    def paint(t: Array, phi: Array, coat: Array) -> Array:
        fold = np.sin(t * 17 + 2.2 * np.sin(phi * 2.0)) * 0.13 + np.sin(t * 41 + phi * 5) * 0.05
        return np.asarray(linear(rgb) * (1 + fold + 0.06 * coat)[:, None], np.float32)

    return paint


def arm(
    shoulder: Sequence[float], wrist: Sequence[float], sleeve: Paint, curl: float
) -> list[Tube]:
    """Build a forearm and a hand with its fingers."""
    start, end = np.asarray(shoulder, np.float32), np.asarray(wrist, np.float32)
    ahead = unit(end - start)
    side = unit(np.cross(ahead, np.array([0, 0, 1], np.float32)))
    down = np.cross(ahead, side)
    down = down if down[2] < 0 else -down
    middle = start + (end - start) * 0.62

    def at(along: float, out: float, under: float) -> Array:
        return np.asarray(end + ahead * along + side * out + down * under, np.float32)

    tubes = [tube([(*start, 0.060), (*(start + (middle - start) * 0.6), 0.050), (*middle, 0.046)],
                  sleeve),
             tube([(*middle, 0.033), (*end, 0.026)], SKIN),
             tube([(*at(-0.01, 0, 0), 0.024), (*at(0.035, 0.008, 0.004), 0.026),
                   (*at(0.065, 0.008, 0.010), 0.022)], SKIN),
             tube([(*at(0.045, -0.014, 0.006), 0.022), (*at(0.07, -0.014, 0.012), 0.018)],
                  SKIN)]  # fmt: skip
    for index, out in enumerate((-0.030, -0.010, 0.010, 0.029)):
        long = (0.060, 0.074, 0.078, 0.068)[index]
        middle_joint = at(0.065 + long * 0.5, out * 1.1, 0.010 + curl * 0.4 * long)
        nail = at(0.065 + long * (1 - curl * 0.4), out * 1.1, 0.012 + curl * long)
        finger = [(*at(0.065, out, 0.010), 0.0105), (*middle_joint, 0.0095), (*nail, 0.0075)]
        tubes.append(tube(finger, SKIN))
    thumb = [(*at(0.01, -0.030, 0.004), 0.0125), (*at(0.04, -0.050, 0.016), 0.0115),
             (*at(0.068, -0.048, 0.028), 0.008)]  # fmt: skip
    return [*tubes, tube(thumb, SKIN)]


def handler(pose: str, rng: Rng) -> Body:
    """Build the handler behind the tray: boots, trousers, and an arm that reaches in."""
    cloth, boot = cloth_paint((128, 118, 92)), plain((108, 78, 52), 0.14)
    body = Body()
    apart = 0.115 + rng.normal(0, 0.008)
    for hand in (-1, 1):
        body.tubes += leg(rng.normal(0, 0.008), apart * hand, -0.05, cloth, boot)
    sleeve = cloth_paint((86, 104, 110))
    if pose == "b":
        wrist = (0.31 + rng.normal(0, 0.015), 0.03 + rng.normal(0, 0.03), 0.105)
        body.tubes += arm((0.10, 0.20, 0.42), wrist, sleeve, 0.55)
    else:
        body.tubes += arm((0.02, 0.40, 0.36), (0.20, 0.285, 0.155), sleeve, 0.85)
    return body


def walker(pose: str, rng: Rng) -> Body:
    """Build a passer-by in mid-stride, facing along x."""
    cloth, shoe = cloth_paint((62, 74, 104)), plain((188, 186, 180), 0.08)
    swing = 0.16 if pose == "w" else 0.02
    swing += rng.normal(0, 0.02)
    return Body([*leg(swing, 0.07, -0.10, cloth, shoe), *leg(-swing, -0.07, 0.12, cloth, shoe)])


# === THE PICTURE: drawing a body =============================================================


@dataclass(frozen=True, slots=True)
class Balls:
    """A body as the balls along its tubes, in the scene."""

    centres: Array
    radii: Array
    ahead: Array
    side: Array
    up: Array
    share: Array
    """How far along its tube each ball lies, 0 to 1."""
    owner: npt.NDArray[np.int64]
    """Which tube it belongs to."""


@dataclass(frozen=True, slots=True)
class Actor:
    """A body in its place."""

    body: Body
    spin: Array
    at: Array
    balls: Balls


def dense(part: Tube) -> tuple[Array, Array, Array]:
    """Put balls so close along a tube that it looks smooth: centres, radii, shares."""
    gaps = np.linalg.norm(np.diff(part.points, axis=0), axis=1)
    along = np.concatenate([[0], np.cumsum(gaps)])
    typical = float(np.mean(part.radii))
    count = int(np.clip(along[-1] / (typical * 0.09), 12, 260))
    wanted = np.linspace(0, along[-1], count)
    columns = [np.interp(wanted, along, part.points[:, axis]) for axis in range(3)]
    radii = np.interp(wanted, along, part.radii)
    return (np.stack(columns, axis=1).astype(np.float32), radii.astype(np.float32),
            (wanted / max(float(along[-1]), 1e-9)).astype(np.float32))  # fmt: skip


def balls_of(body: Body, spin: Array, at: Array) -> Balls:
    """Turn and move a body to its place and cut it into balls."""
    centres, radii, shares, owners, aheads = [], [], [], [], []
    size = float(np.linalg.norm(spin[:, 2]))
    for number, part in enumerate(body.tubes):
        where, thick, share = dense(part)
        where = where @ spin.T + at
        centres.append(where)
        radii.append(thick * size)
        shares.append(share)
        owners.append(np.full(len(share), number))
        aheads.append(unit(np.gradient(where, axis=0).astype(np.float32)))
    ahead = np.concatenate(aheads)
    side = np.cross(np.array([0, 0, 1], np.float32), ahead)
    side[np.linalg.norm(side, axis=1) < 1e-3] = (1, 0, 0)
    side = unit(side.astype(np.float32))
    return Balls(np.concatenate(centres), np.concatenate(radii), ahead, side,
                 np.cross(ahead, side).astype(np.float32), np.concatenate(shares),
                 np.concatenate(owners))  # fmt: skip


@dataclass(slots=True)
class Layer:
    """A body as the camera sees it, on the stretch of picture that it covers."""

    left: int
    top: int
    depth: Array
    ball: npt.NDArray[np.int32]
    """Which ball each pixel shows; -1 for none."""
    colour: Array
    alpha: Array


def stretch_of(columns: Array, rows: Array, sizes: Array, edge: int) -> tuple[int, int, int, int]:
    """Give the part of the picture that balls cover: left, top, right, bottom."""
    left = max(0, int((columns - sizes).min()) - edge)
    top = max(0, int((rows - sizes).min()) - edge)
    right = min(WIDTH * FINER, int((columns + sizes).max()) + edge)
    bottom = min(HEIGHT * FINER, int((rows + sizes).max()) + edge)
    return left, top, max(right, left + 1), max(bottom, top + 1)


def seen_balls(eye: Eye, balls: Balls, edge: int) -> Layer:
    """Find which ball is in front at each pixel."""
    columns, rows, depth = eye.project(balls.centres)
    sizes = eye.focal * balls.radii / depth
    left, top, right, bottom = stretch_of(columns, rows, sizes, edge)
    shape = (bottom - top, right - left)
    layer = Layer(left, top, np.full(shape, np.inf, np.float32), np.full(shape, -1, np.int32),
                  np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32))  # fmt: skip
    for index, (u, v, far, size) in enumerate(zip(columns - left, rows - top, depth, sizes,
                                                  strict=True)):  # fmt: skip
        x0, x1 = max(0, int(u - size)), min(shape[1], int(u + size) + 2)
        y0, y1 = max(0, int(v - size)), min(shape[0], int(v + size) + 2)
        if x0 >= x1 or y0 >= y1:
            continue
        dx = (np.arange(x0, x1, dtype=np.float32) + 0.5 - u) / size
        dy = (np.arange(y0, y1, dtype=np.float32) + 0.5 - v) / size
        room = 1 - dx[None, :] ** 2 - dy[:, None] ** 2
        here = far - balls.radii[index] * np.sqrt(np.maximum(room, 0))
        part = layer.depth[y0:y1, x0:x1]
        nearer = (room > 0) & (here < part)
        part[nearer] = here[nearer]
        layer.ball[y0:y1, x0:x1][nearer] = index
    return layer


@lru_cache(maxsize=1)
def coat_noise() -> Array:
    """Make the streaks of a coat: long along the body, fine across."""
    rng = np.random.default_rng(7005)
    raw = rng.standard_normal((512, 512)).astype(np.float32)
    streaks = np.asarray(cv2.GaussianBlur(raw, (0, 0), sigmaX=5, sigmaY=0.9), np.float32)
    lumps = blurred(rng.standard_normal((512, 512)).astype(np.float32), 9)
    return np.asarray(streaks / streaks.std() * 0.8 + lumps / lumps.std() * 0.35, np.float32)


@dataclass(frozen=True, slots=True)
class Skin:
    """The visible pixels of a layer: where they are and what they look like."""

    rows: npt.NDArray[np.int64]
    columns: npt.NDArray[np.int64]
    ball: npt.NDArray[np.int32]
    place: Array
    normal: Array
    colour: Array


def skin_of(eye: Eye, body: Body, balls: Balls, layer: Layer) -> Skin:
    """Work out place, slope and colour of every visible pixel of a body."""
    rows, columns = np.nonzero(layer.ball >= 0)
    ball = layer.ball[rows, columns]
    across = (columns + layer.left + 0.5 - WIDTH * FINER / 2) / eye.focal
    down = (rows + layer.top + 0.5 - HEIGHT * FINER / 2) / eye.focal
    rays = eye.ahead + across[:, None] * eye.right + down[:, None] * eye.down
    place = np.asarray(eye.at + rays * layer.depth[rows, columns][:, None], np.float32)
    normal = unit(place - balls.centres[ball])
    phi = np.arctan2(np.einsum("ij,ij->i", normal, balls.side[ball]),
                     np.einsum("ij,ij->i", normal, balls.up[ball])).astype(np.float32)  # fmt: skip
    share, owner = balls.share[ball], balls.owner[ball]
    colour = np.zeros((len(ball), 3), np.float32)
    noise = coat_noise()
    for number, part in enumerate(body.tubes):
        mine = owner == number
        if mine.any():
            t, angle = share[mine], phi[mine]
            coat = looked_up_each(noise, t * 230 + 60 * number, angle * 60 + 256)
            colour[mine] = part.paint(t, angle, coat)
    return Skin(rows, columns, ball, place, normal, np.maximum(colour, 0.004))


def lit(light: Light, colour: Array, normal: Array, place: tuple[Array, Array, Array],
        *, kept: Array, open_sky: Array, wrap: float = 0.0, dim: float = 1.0) -> Array:  # fmt: skip
    """Light colours (..., 3): `kept` is how much light is kept away, `open_sky` how much sky."""
    lx, ly, lz = to_light(light, *place)
    facing = normal[..., 0] * lx + normal[..., 1] * ly + normal[..., 2] * lz
    facing = np.maximum(facing + wrap, 0) / (1 + wrap) * (1 - kept)
    if light.infrared:
        dx, dy, dz = (light.towards[axis] - place[axis] for axis in range(3))
        near = 1.25 / (dx * dx + dy * dy + dz * dz)
        grey = colour.mean(axis=-1) ** 0.9
        tone = grey * (light.sky[0] * open_sky + 0.85 * facing * near)
        return np.asarray(np.repeat(dim * tone[..., None], 3, axis=-1), np.float32)
    dome = (0.62 + 0.38 * normal[..., 2]) * open_sky
    bounce = 0.16 * (1 - normal[..., 2]) * open_sky * float(light.sun.mean())
    warm = np.asarray(facing, np.float32)[..., None] * light.sun
    total = dome[..., None] * light.sky + warm + bounce[..., None] * linear((214, 196, 166))
    return np.asarray(colour * total, np.float32)


def comb(eye: Eye, actor: Actor, layer: Layer, skin: Skin, rng: Rng) -> None:
    """Draw the hairs or feathers of a body over its layer, along its tubes, in place."""
    balls = actor.balls
    lengths = np.array([part.hair for part in actor.body.tubes], np.float32)[balls.owner]
    wanted = np.nonzero(lengths[skin.ball] > 0)[0]
    if not len(wanted):
        return
    chosen = rng.choice(wanted, min(len(wanted) // 9, 22000))
    ball = skin.ball[chosen]
    long = lengths[ball] * rng.uniform(0.45, 1.15, len(ball)).astype(np.float32)
    way = unit(-balls.ahead[ball] + 0.42 * skin.normal[chosen]
               + rng.normal(0, 0.22, (len(ball), 3)).astype(np.float32))  # fmt: skip
    tips_x, tips_y, _ = eye.project(skin.place[chosen] + way * long[:, None])
    starts = np.stack([skin.columns[chosen], skin.rows[chosen]], axis=1)
    tips = np.stack([tips_x - layer.left, tips_y - layer.top], axis=1)
    tones = rng.uniform(0.72, 1.30, len(ball))
    shades = layer.colour[skin.rows[chosen], skin.columns[chosen]] * tones[:, None]
    lines = np.asarray(np.stack([starts, tips], axis=1) * 16, np.int32)
    for (start, tip), shade in zip(lines.tolist(), shades.tolist(), strict=True):
        cv2.line(layer.colour, start, tip, shade, 1, cv2.LINE_8, 4)
        cv2.line(layer.alpha, start, tip, 1.0, 1, cv2.LINE_8, 4)


def eyes_seen(eye: Eye, actor: Actor, layer: Layer) -> list[tuple[float, ...]]:
    """Give column, row and fine-pixel radius of every eye that is not hidden."""
    seen: list[tuple[float, ...]] = []
    for ball in actor.body.eyes:
        columns, rows, depth = eye.project((ball.at @ actor.spin.T + actor.at)[None])
        x, y = float(columns[0]) - layer.left, float(rows[0]) - layer.top
        if not (0 <= x < layer.depth.shape[1] and 0 <= y < layer.depth.shape[0]):
            continue
        if float(depth[0]) - ball.radius * 1.6 <= layer.depth[int(y), int(x)]:
            seen.append((x, y, eye.focal * ball.radius / float(depth[0])))
    return seen


def set_eyes(light: Light, layer: Layer, seen: Sequence[tuple[float, ...]]) -> None:
    """Draw eyes, in place: dark with a glint, or shining by night."""
    for x, y, size in seen:
        centre, radius = (round(x * 16), round(y * 16)), round(size * 16)
        rim = (0.02, 0.02, 0.02) if light.infrared else (0.03, 0.022, 0.016)
        cv2.circle(layer.colour, centre, round(radius * 1.3), rim, -1, cv2.LINE_8, 4)
        cv2.circle(layer.alpha, centre, radius, 1.0, -1, cv2.LINE_8, 4)
        if light.infrared:
            cv2.circle(layer.colour, centre, round(radius * 0.85), (3.5, 3.5, 3.5), -1,
                       cv2.LINE_8, 4)  # fmt: skip
        else:
            spot = (centre[0] - radius // 3, centre[1] - round(radius * 0.4))
            cv2.circle(layer.colour, spot, max(8, radius // 5), (0.9, 0.9, 0.92), -1,
                       cv2.LINE_8, 4)  # fmt: skip


def set_whiskers(eye: Eye, light: Light, actor: Actor, layer: Layer) -> None:
    """Draw whiskers, in place."""
    tone = (0.5, 0.5, 0.5) if light.infrared else (0.30, 0.27, 0.23)
    for whisker in actor.body.whiskers:
        columns, rows, depth = eye.project(whisker @ actor.spin.T + actor.at)
        pixels = np.stack([columns - layer.left, rows - layer.top], axis=1)
        x, y = pixels.mean(axis=0).astype(int).tolist()
        inside = 0 <= y < layer.depth.shape[0] and 0 <= x < layer.depth.shape[1]
        if not inside or float(depth.mean()) > float(layer.depth[y, x]):
            continue
        ends = pixels * 16
        start, tip = np.asarray(ends, np.int32).tolist()
        cv2.line(layer.colour, start, tip, tone, 1, cv2.LINE_8, 4)
        cv2.line(layer.alpha, start, tip, 0.55, 1, cv2.LINE_8, 4)


def actor_of(shot: Shot) -> Actor | None:
    """Build who is on a photo, or nobody."""
    makers: dict[str, Callable[[str, Rng], Body]] = {
        "m": lambda pose, rng: rodent(MOUSE_SHAPE, pose, rng),
        "g": lambda pose, rng: rodent(GERBIL_SHAPE, pose, rng),
        "s": spurfowl, "n": genet, "p": walker, "handler": handler,
    }  # fmt: skip
    if shot.kind not in makers or shot.pose == "c":
        return None
    rng = np.random.default_rng([shot.placement.seed, shot.number, 7006])
    body = makers[shot.kind](shot.pose, rng)
    small = shot.kind in "mg"
    turn = math.radians(shot.heading + rng.normal(0, 11 if small else 4))
    shift = rng.normal(0, 0.012 if small else 0.006, 2)
    stride = {"p": 0.24, "s": 0.10}.get(shot.kind, 0.0) if shot.pose == "w" or (
        shot.where == "near") else 0.0  # fmt: skip
    along = stride * (shot.place_in_burst - 1)
    x = shot.x + shift[0] + along * math.cos(turn)
    y = shot.y + shift[1] + along * math.sin(turn)
    away = math.hypot(x, y)
    base = 0.0
    if small and away < RADIUS + 0.02:
        base = SAND if away < RADIUS - 0.02 else RIM
    base = SAND * 0.5 if shot.kind == "n" else base
    at = np.array([x, y, base], np.float32)
    size = {"s": 0.84, "n": 0.92}.get(shot.kind, 1.0)
    cosine, sine = math.cos(turn), math.sin(turn)
    spin = size * np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1]], np.float32)
    balls = balls_of(body, spin, at)
    if base == SAND:  # a tail lies over the rim
        out = np.hypot(balls.centres[:, 0], balls.centres[:, 1])
        over = step(out, RADIUS - 0.035, RADIUS - 0.008) * (RIM + balls.radii)
        balls.centres[:, 2] = np.maximum(balls.centres[:, 2], over)
    return Actor(body, spin, at, balls)


def paint_actor(image: Array, shot: Shot, light: Light, actor: Actor, *, shade: Shade,
                surface: Surface) -> None:  # fmt: skip
    """Draw a body into the picture, in place, behind what stands before it."""
    eye = eye_of(shot.placement)
    layer = seen_balls(eye, actor.balls, 40)
    skin = skin_of(eye, actor.body, actor.balls, layer)
    if not len(skin.rows):
        return
    place = (skin.place[:, 0], skin.place[:, 1], skin.place[:, 2])
    kept = shade.at(*place) * 0.85
    low = np.clip((skin.place[:, 2] - actor.at[2]) / 0.035, 0, 1)
    open_sky = np.asarray(0.45 + 0.55 * low, np.float32)
    dim = 1.5 if shot.kind in ("handler", "p") else 0.62  # by the lamp, fur is dark and skin pale
    layer.colour[skin.rows, skin.columns] = lit(
        light, skin.colour, skin.normal, place, kept=kept, open_sky=open_sky, wrap=0.25, dim=dim
    )
    layer.alpha[skin.rows, skin.columns] = 1.0
    comb(eye, actor, layer, skin, shot.rng)
    seen = eyes_seen(eye, actor, layer)
    set_whiskers(eye, light, actor, layer)
    set_eyes(light, layer, seen)
    rows = slice(layer.top, layer.top + layer.depth.shape[0])
    columns = slice(layer.left, layer.left + layer.depth.shape[1])
    behind = np.where(np.isfinite(layer.depth), layer.depth, np.float32(0))
    hidden = behind > surface.depth[rows, columns] + 0.002
    alpha = np.where(hidden, 0, layer.alpha)[..., None]
    part = image[rows, columns]
    part += (layer.colour - part) * alpha
    if light.infrared:
        glow = np.zeros(layer.depth.shape, np.float32)
        for x, y, size in seen:
            cv2.circle(glow, (round(x), round(y)), max(1, round(size)), 1.0, -1)
        part += blurred(glow, 5.0)[..., None] * 1.6


# === THE PICTURE: bucket, clipboard, phone ===================================================


def ring(x: float, y: float, z: float, radius: float) -> Array:
    """Give a level circle's points."""
    turns = np.linspace(0, 2 * math.pi, 48, endpoint=False)
    return np.stack([x + radius * np.cos(turns), y + radius * np.sin(turns),
                     np.full(48, z)], axis=1).astype(np.float32)  # fmt: skip


def ring_point(x: float, y: float, z: float, radius: float, turn: float) -> Array:
    """Give one point of a level circle."""
    return np.array([x + radius * math.cos(turn), y + radius * math.sin(turn), z], np.float32)


def pixels_of(eye: Eye, points: Array) -> npt.NDArray[np.int32]:
    """Give points' fine pixels, as OpenCV's polygons want them."""
    columns, rows, _ = eye.project(points)
    return np.stack([columns, rows], axis=1).astype(np.int32)


def glare(light: Light, rgb: Sequence[float], facing: float) -> list[float]:
    """Light a flat thing's colour."""
    colour = linear(rgb)
    if light.infrared:
        return [float(colour.mean() ** 0.8) * (0.03 + 0.7 * facing)] * 3
    lit_up = colour * (light.sky * 0.9 + light.sun * facing)
    return [float(part) for part in lit_up]


def paint_bucket(image: Array, eye: Eye, light: Light, shade: Shade) -> None:
    """Draw a bucket of sand that stands beside the tray."""
    x, y = -0.31, 0.06
    mouth = ring(x, y, 0.19, 0.105)
    heights = np.linspace(0.03, 0.17, 5, dtype=np.float32)
    middles = np.stack([np.full(5, x), np.full(5, y), heights], axis=1).astype(np.float32)
    shade.balls(middles, np.linspace(0.085, 0.1, 5, dtype=np.float32))
    columns = 14
    turns = np.linspace(0, 2 * math.pi, columns * 4 + 1)
    strips = []
    for low, high in pairwise(turns.tolist()):
        edges = ((0.0, 0.085, low), (0.0, 0.085, high), (0.19, 0.105, high), (0.19, 0.105, low))
        corners = [ring_point(x, y, *edge) for edge in edges]
        middle = (low + high) / 2
        outward = np.array([math.cos(middle), math.sin(middle), 0.1], np.float32)
        strips.append((outward, np.stack(corners)))
    for outward, corners_at in strips:
        if float(outward @ (corners_at.mean(axis=0) - eye.at)) < 0:
            towards = np.array(to_light(light, *(corners_at.mean(axis=0)[:, None])))[:, 0]
            facing = max(0.0, float(outward @ towards))
            cv2.fillConvexPoly(
                image, pixels_of(eye, corners_at), glare(light, (188, 186, 178), facing)
            )
    cv2.fillConvexPoly(image, pixels_of(eye, mouth), glare(light, (206, 204, 196), 0.75))
    cv2.fillConvexPoly(
        image, pixels_of(eye, ring(x, y, 0.186, 0.099)), glare(light, (96, 92, 86), 0.25)
    )
    cv2.fillConvexPoly(
        image, pixels_of(eye, ring(x, y, 0.150, 0.094)), glare(light, (200, 182, 152), 0.5)
    )


def paint_clipboard(image: Array, eye: Eye, light: Light, shade: Shade, rng: Rng) -> None:
    """Draw a clipboard with a tray sheet, held over the ground behind the tray."""
    corner = np.array([0.085, 0.05, 0.10], np.float32) + rng.normal(0, 0.008, 3)
    wide = np.array([0.21, -0.03, 0.0], np.float32)
    long = np.array([0.03, 0.22, 0.12], np.float32)

    def sheet(a: float, b: float, c: float, d: float) -> Array:
        return np.stack([corner + wide * u + long * v for u, v in ((a, b), (c, b), (c, d), (a, d))]
                        ).astype(np.float32)  # fmt: skip

    shade.patch(sheet(0, 0, 1, 1))
    cv2.fillConvexPoly(image, pixels_of(eye, sheet(0, 0, 1, 1)), glare(light, (122, 86, 54), 0.6))
    cv2.fillConvexPoly(image, pixels_of(eye, sheet(0.05, 0.04, 0.95, 0.90)),
                       glare(light, (236, 234, 226), 0.72))  # fmt: skip
    ink = glare(light, (96, 100, 112), 0.6)
    for line in range(11):
        high = 0.80 - line * 0.065
        ends = pixels_of(eye, sheet(0.12, high, 0.88 - 0.3 * float(rng.uniform()), high))
        cv2.line(image, ends[0].tolist(), ends[1].tolist(), ink, 2)
    cv2.fillConvexPoly(image, pixels_of(eye, sheet(0.38, 0.90, 0.62, 1.02)),
                       glare(light, (150, 152, 156), 0.8))  # fmt: skip


def phone_face(shot: Shot) -> Array:
    """Draw a phone's face that shows the true time, as light."""
    face = Image.new("RGB", (420, 820), (18, 19, 22))
    pen = ImageDraw.Draw(face)
    pen.rounded_rectangle((14, 14, 405, 805), 44, fill=(30, 52, 84))
    big, small = letters(f"{shot.true_time:%H:%M:%S}"), letters(f"{shot.true_time:%Y-%m-%d}")
    for text, top, width in ((big, 250, 340), (small, 360, 250)):
        high = round(text.height * width / text.width)
        pasted = text.resize((width, high), Image.Resampling.NEAREST)
        face.paste((244, 246, 248), ((420 - width) // 2, top), pasted)
    return np.asarray((np.asarray(face, np.float32) / 255) ** 2.2 * 1.1, np.float32)


def paint_phone(image: Array, shot: Shot, light: Light) -> None:
    """Draw the handler's phone close before the lens, held by its lower end."""
    rng = shot.rng
    face = phone_face(shot)
    turn, size = rng.normal(0.10, 0.05), 1.62
    middle = np.array([1330, 800]) + rng.normal(0, 26, 2)
    spin = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) * size
    offset = middle - spin @ np.array([210, 410])
    matrix = np.concatenate([spin, offset[:, None]], axis=1)
    bounds = (image.shape[1], image.shape[0])
    warped = np.asarray(cv2.warpAffine(face, matrix, bounds), np.float32)
    cover = np.zeros(face.shape[:2], np.float32)
    cv2.rectangle(cover, (34, 0), (386, 820), 1.0, -1)
    cv2.rectangle(cover, (0, 34), (420, 786), 1.0, -1)
    for corner in ((34, 34), (386, 34), (34, 786), (386, 786)):
        cv2.circle(cover, corner, 34, 1.0, -1)
    mask = np.asarray(cv2.warpAffine(cover, matrix, bounds), np.float32)
    shadow = blurred(np.roll(mask, (30, 24), (0, 1)), 24)
    image *= 1 - 0.35 * shadow[..., None]
    paint_digits(image, light, spin, offset, PALM)
    image += (warped * (0.55 + 0.3 * float(light.sky.mean())) - image) * mask[..., None]
    paint_digits(image, light, spin, offset, TIPS)


PALM = [[(240, 1260, 250), (250, 1000, 215), (225, 760, 190)],
        [(300, 1050, 150), (452, 880, 88), (482, 770, 66)]]  # fmt: skip
"""What of the hand is behind the phone: rows of column, row, radius on the phone's own face."""
TIPS = [[(488, 780, 64), (470, 690, 56), (424, 610, 48), (396, 566, 40)],
        *([(-34, y + 26, 46), (-12, y + 4, 47), (26, y - 12, 43), (48, y - 16, 37)]
          for y in (770, 674, 578, 486))]  # fmt: skip
"""What of it lies over the phone's edges: the thumb and four finger tips."""


def paint_digits(
    image: Array, light: Light, spin: npt.NDArray[np.float64], offset: npt.NDArray[np.float64],
    shapes: Sequence[Sequence[Sequence[float]]],
) -> None:  # fmt: skip
    """Draw parts of the hand, laid out on the phone's face, in place."""
    for shape in shapes:
        points = np.asarray(shape, np.float64)
        moved = points[:, :2] @ spin.T + offset
        paint_digit(image, bent(np.column_stack([moved, points[:, 2] * 1.55]).tolist(), 90), light)


def paint_digit(image: Array, digit: Array, light: Light) -> None:
    """Draw one finger, rounded by its shading and creased at its joints, in place."""
    skin = linear((140, 98, 74)) * (light.sky * 0.70 + light.sun * 0.4)
    for share in np.linspace(0, 1, 22):
        round_tone = 0.30 + 0.78 * math.sin(share * math.pi * 0.5)
        for index, (x, y, radius) in enumerate(digit.tolist()):
            lift = radius * 0.25 * share
            middle = (round(x - lift * 0.6), round(y - lift))
            crease = 0.93 if index % 30 in (0, 1, 3, 4) else 1.0
            tone = skin * round_tone * crease * (1 + 0.03 * math.sin(index * 1.7 + share * 9))
            cv2.circle(image, middle, round(radius * (1 - 0.75 * share)), tone.tolist(), -1)
    x, y, radius = digit[-1].tolist()
    nail = (round(x - radius * 0.1), round(y - radius * 0.30))
    pale = (linear((206, 164, 144)) * (light.sky * 0.75 + light.sun * 0.4)).tolist()
    if radius < 80:
        cv2.ellipse(image, nail, (round(radius * 0.42), round(radius * 0.52)), 0, 0, 360, pale, -1)


# === THE PICTURE: put together ===============================================================


def with_sand(shot: Shot, surface: Surface) -> tuple[Array, Array]:
    """Fill the tray with this photo's sand: colours and slopes of the whole scene."""
    colour, normal = surface.colour.copy(), surface.normal.copy()
    texture, height = sand_texture(shot)
    across, down = slopes(height, SAND_MM)
    rows, columns = np.nonzero(surface.sandy)
    box = (slice(rows.min(), rows.max() + 1), slice(columns.min(), columns.max() + 1))
    u = np.asarray((surface.x[box] + RADIUS) * 1000 / SAND_MM, np.float32)
    v = np.asarray((surface.y[box] + RADIUS) * 1000 / SAND_MM, np.float32)
    inside = surface.sandy[box]
    colour[box][inside] = looked_up(texture, u, v)[inside]
    tilt = np.stack([-looked_up(across, u, v), -looked_up(down, u, v), np.ones_like(u)], axis=-1)
    normal[box][inside] = unit(tilt.astype(np.float32))[inside]
    return colour, normal


def hollow(surface: Surface, actor: Actor | None) -> Array:
    """Say how open the sky is over every pixel: less by the tray's wall and under a body."""
    away = np.hypot(surface.x, surface.y)
    by_wall = np.where(surface.inside, np.exp(-np.maximum(RADIUS - WALL - away, 0) / 0.010),
                       np.exp(-np.maximum(away - RADIUS, 0) / 0.018) * surface.ground)  # fmt: skip
    sky = 1 - 0.45 * by_wall
    if actor is not None:
        above = Shade(Light(False, np.array([0, 0, 1], np.float32), np.ones(3, np.float32),
                            np.ones(3, np.float32), 1.0, 0.009))  # fmt: skip
        near = actor.balls.centres[:, 2] - actor.balls.radii < actor.at[2] + 0.045
        above.balls(actor.balls.centres[near], actor.balls.radii[near])
        sky = sky * (1 - 0.68 * above.at(surface.x, surface.y, np.zeros_like(surface.x)))
    return np.asarray(sky, np.float32)


def paint_things(image: Array, shot: Shot, light: Light, shade: Shade) -> None:
    """Draw what the handler has with them, in place, and cast its shadow."""
    if shot.kind == "handler" and shot.pose == "b":
        paint_bucket(image, eye_of(shot.placement), light, shade)
    if shot.kind == "handler" and shot.pose == "l":
        paint_clipboard(image, eye_of(shot.placement), light, shade, shot.rng)


def paint_ground(shot: Shot, light: Light, actor: Actor | None, shade: Shade) -> Array:
    """Draw ground and tray with all shadows that fall on them."""
    surface = surface_of(shot.placement)
    colour, normal = with_sand(shot, surface)
    place = (surface.x, surface.y, surface.z)
    kept = np.maximum(shade.at(*place), tray_shadow(surface, to_light(light, *place)))
    kept = blurred(kept, 1.2 + light.soft * 400)
    image = lit(light, colour, normal, place, kept=kept, open_sky=hollow(surface, actor))
    if light.infrared:
        image *= np.where(surface.ground, 0.8, 1.0)[..., None]
    return image


def scene_of(shot: Shot) -> tuple[Array, Light]:
    """Draw a photo's scene as light, in fine pixels, from far to near."""
    eye, light, actor = eye_of(shot.placement), light_of(shot), actor_of(shot)
    sprigs = plants_of(shot)
    bare, shade = Shade(light), Shade(light)
    shade_sprigs(bare, sprigs)
    shade.mask = bare.mask.copy()
    if actor is not None:
        shade.balls(actor.balls.centres, actor.balls.radii)
    paint_things(np.zeros((1, 1, 3), np.float32), shot, light, shade)
    image = paint_ground(shot, light, actor, shade)
    depth = 1e9 if actor is None else float(eye.project(actor.at[None])[2][0])
    plants = seen_sprigs(eye, sprigs)
    behind = [pair for pair in plants if pair[0] >= depth]
    for far, sprig in behind:
        paint_sprig(image, eye, light, sprig, far)
    if actor is not None:
        surface = surface_of(shot.placement)
        paint_actor(image, shot, light, actor, shade=bare, surface=surface)
    paint_things(image, shot, light, Shade(light))
    for far, sprig in plants[len(behind) :]:
        paint_sprig(image, eye, light, sprig, far)
    if shot.pose == "c":
        paint_phone(image, shot, light)
    return image, light


def falloff(light: Light) -> Array:
    """Give how dark the lens and the lamp leave the picture's corners."""
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    away = ((columns - WIDTH / 2) / (WIDTH / 2)) ** 2 + ((rows - HEIGHT * 0.54) / (HEIGHT / 2)) ** 2
    if light.infrared:
        return np.asarray(0.06 + 0.94 * np.exp(-away * 0.95), np.float32)
    return np.asarray(1 - 0.15 * away, np.float32)


def developed(shot: Shot, scene: Array, light: Light) -> npt.NDArray[np.uint8]:
    """Turn light into a photo: exposure, lens, noise and the camera's sharpening."""
    small = resized(scene, WIDTH, HEIGHT, cv2.INTER_AREA) * falloff(light)[..., None]
    bright = float(np.percentile(small[100:-100, 200:-200], 70))
    goal = 0.36 if light.infrared else 0.37 + 0.16 * min(1.0, float(light.sun.mean()))
    small *= light.exposure * goal / max(bright, 1e-3)
    glow = blurred(np.maximum(small - 1.1, 0), 9)
    small = np.maximum(small + 0.35 * glow, 0)
    tone = (1 - np.exp(-1.35 * small)) ** (1 / 2.2)
    tone = tone * 1.03 - 0.015 if light.infrared else tone * 0.985
    rng = shot.rng
    fine = tone - blurred(np.asarray(tone, np.float32), 1.6)
    core = 0.019 if light.infrared else 0.016  # the camera smooths what it takes for noise
    tone = tone - np.clip(fine, -core, core)
    rough = 0.0035 if light.infrared else 0.002
    noise = blurred(rng.standard_normal((HEIGHT, WIDTH)).astype(np.float32), 1.0)
    tone = tone + (noise / noise.std() * rough)[..., None]
    tone = tone + 0.30 * (tone - blurred(np.asarray(tone, np.float32), 1.3))
    return np.asarray(np.clip(tone * 255 + 0.5, 0, 255), np.uint8)


@lru_cache(maxsize=64)
def letters(text: str) -> Image.Image:
    """Draw text in Pillow's own small pixel letters, as a mask."""
    font = ImageFont.load_default_imagefont()
    _, _, right, bottom = font.getbbox(text)
    mask = Image.new("L", (int(right) + 1, int(bottom)), 0)
    ImageDraw.Draw(mask).text((0, 0), text, 255, font)
    return mask


def temperature(shot: Shot) -> int:
    """Give the air's warmth that the strip shows, in degrees Celsius."""
    hour = shot.true_time.hour + shot.true_time.minute / 60
    dull = moment(DULL_FROM) <= shot.true_time <= moment(DULL_TO)
    return round(18.5 - 6.5 * math.cos((hour - 3.5) / 24 * 2 * math.pi) - (5 if dull else 0))


def stamp(photo: Image.Image, shot: Shot) -> None:
    """Print the info strip along the lower edge, in place."""
    pen = ImageDraw.Draw(photo)
    top = HEIGHT - STRIP
    pen.rectangle((0, top, WIDTH, HEIGHT), fill=(6, 6, 6))
    part = f"{shot.place_in_burst}/3" if shot.place_in_burst else "T"
    texts = ((14, shot.placement.stamp), (330, part), (480, f"{temperature(shot)} C"),
             (800, f"{shot.shown:%Y-%m-%d}"), (1060, f"{shot.shown:%H:%M:%S}"))  # fmt: skip
    for left, text in texts:
        mask = letters(text)
        large = mask.resize((mask.width * 3, mask.height * 3), Image.Resampling.NEAREST)
        photo.paste((238, 238, 238), (left, top + 5), large)
    warm = 480 + letters(f"{temperature(shot)}").width * 3 + 6
    pen.ellipse((warm, top + 8, warm + 7, top + 15), outline=(238, 238, 238), width=2)
    pen.ellipse((650, top + 8, 674, top + 32), fill=(238, 238, 238))
    pen.ellipse((644, top + 8, 667, top + 32), fill=(6, 6, 6))


# === EXIF ====================================================================================

ASCII, SHORT, LONG, RATIONAL, UNDEFINED = 2, 3, 4, 5, 7
Tag = tuple[int, int, bytes]
"""Number, type and the value's bytes, least byte first."""


def text_tag(number: int, text: str) -> Tag:
    """Make a text tag, closed by a NUL as the standard wants."""
    return number, ASCII, text.encode("ascii") + b"\0"


def count_tag(number: int, *values: int, kind: int = LONG) -> Tag:
    """Make a tag of whole numbers."""
    return number, kind, struct.pack(f"<{len(values)}{'H' if kind == SHORT else 'I'}", *values)


def ratio_tag(number: int, above: int, below: int) -> Tag:
    """Make a tag of one fraction."""
    return number, RATIONAL, struct.pack("<2I", above, below)


def directory(tags: Sequence[Tag], start: int, following: int) -> bytes:
    """Lay out one Exif directory that begins at byte `start` and names the `following` one."""
    sizes = {ASCII: 1, SHORT: 2, LONG: 4, RATIONAL: 8, UNDEFINED: 1}
    spare = start + 2 + 12 * len(tags) + 4
    entries, values = b"", b""
    for number, kind, value in sorted(tags):
        entries += struct.pack("<2HI", number, kind, len(value) // sizes[kind])
        if len(value) <= 4:
            entries += value.ljust(4, b"\0")
        else:
            entries += struct.pack("<I", spare + len(values))
            values += value + b"\0" * (len(value) % 2)
    return struct.pack("<H", len(tags)) + entries + struct.pack("<I", following) + values


def picture_tags(shot: Shot, night: bool) -> list[Tag]:
    """List the Exif directory's tags: how and when the photo was taken."""
    when = f"{shot.shown:%Y:%m:%d %H:%M:%S}"
    return [ratio_tag(0x829A, 1, 15 if night else 250), ratio_tag(0x829D, 28, 10),
            count_tag(0x8827, 800 if night else 100, kind=SHORT), (0x9000, UNDEFINED, b"0220"),
            text_tag(0x9003, when), text_tag(0x9004, when), (0x9101, UNDEFINED, b"\1\2\3\0"),
            count_tag(0x9209, int(night), kind=SHORT), ratio_tag(0x920A, 74, 10),
            (0xA000, UNDEFINED, b"0100"), count_tag(0xA001, 1, kind=SHORT),
            count_tag(0xA002, WIDTH), count_tag(0xA003, HEIGHT)]  # fmt: skip


def exif_of(shot: Shot, night: bool, thumbnail: bytes) -> bytes:
    """Build the Exif block as trail cameras write it, with a thumbnail and no zone."""
    when = f"{shot.shown:%Y:%m:%d %H:%M:%S}"
    shared = [ratio_tag(0x011A, 72, 1), ratio_tag(0x011B, 72, 1), count_tag(0x0128, 2, kind=SHORT)]
    first = [text_tag(0x010F, MAKE), text_tag(0x0110, MODEL), count_tag(0x0112, 1, kind=SHORT),
             *shared, text_tag(0x0132, when), count_tag(0x0213, 2, kind=SHORT)]  # fmt: skip
    inner = picture_tags(shot, night)

    def thumbnail_tags(at: int) -> list[Tag]:
        return [count_tag(0x0103, 6, kind=SHORT), *shared, count_tag(0x0201, at),
                count_tag(0x0202, len(thumbnail))]  # fmt: skip

    inner_at = 8 + len(directory([*first, count_tag(0x8769, 0)], 8, 0))
    second_at = inner_at + len(directory(inner, inner_at, 0))
    bytes_at = second_at + len(directory(thumbnail_tags(0), second_at, 0))
    tiff = b"II*\0" + struct.pack("<I", 8)
    tiff += directory([*first, count_tag(0x8769, inner_at)], 8, second_at)
    tiff += directory(inner, inner_at, 0)
    tiff += directory(thumbnail_tags(bytes_at), second_at, 0)
    return b"Exif\0\0" + tiff + thumbnail


def jpeg_bytes(photo: Image.Image, quality: int, exif: bytes = b"") -> bytes:
    """Pack a picture."""
    packed = BytesIO()
    photo.save(packed, "JPEG", quality=quality, optimize=True, subsampling=2, exif=exif)
    return packed.getvalue()


# === ALL OF IT ===============================================================================


def draw(shot: Shot) -> bytes:
    """Draw one photo and give its file's bytes."""
    cv2.setNumThreads(1)
    scene, light = scene_of(shot)
    photo = Image.fromarray(developed(shot, scene, light))
    stamp(photo, shot)
    thumbnail = photo.resize((160, 120), Image.Resampling.LANCZOS)
    exif = exif_of(shot, light.infrared, jpeg_bytes(thumbnail, 70))
    return jpeg_bytes(photo, QUALITY, exif)


def main() -> None:
    """Write the logs and all photos, in place of the old ones."""
    cards = {placement.name: photos_of(placement) for placement in PLACEMENTS}
    write_logs(cards)
    shutil.rmtree(HERE / "cards", ignore_errors=True)
    shots = [shot for card in cards.values() for shot in card]
    total = 0
    with ProcessPoolExecutor() as pool:
        for shot, packed in zip(shots, pool.map(draw, shots), strict=True):
            folder = HERE / "cards" / shot.placement.name / "DCIM" / "100DUNE"
            folder.mkdir(parents=True, exist_ok=True)
            (folder / shot.file).write_bytes(packed)
            total += len(packed)
    print(f"{len(shots)} photos, {total / 1e6:.1f} MB, in {HERE / 'cards'}")


if __name__ == "__main__":
    main()
