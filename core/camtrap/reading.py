"""Decide what a package of others says in the words of a study: its placements and photos.

What its observations say is decided in `hearing`, which species they mean in `naming`; how all of
it is stored in `incoming`.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from core.camtrap import cells, opening
from core.camtrap.cells import Value
from core.camtrap.choosing import MEDIA as MEDIA_FOLDER
from core.camtrap.choosing import safe_part
from core.camtrap.faultlist import Faults
from core.camtrap.fields import DEPLOYMENTS, MEDIA, OBSERVATIONS, TableOf
from core.camtrap.tabling import Layout, Reading
from core.logs import LONGEST_QUIET_S, MINUTES_OF_A_DAY, MOST_UNCERTAIN_M
from core.model import Placement
from core.sheets import plain_text

Row = dict[str, Value]
OURS = "lastbite"
"""The property of the descriptor that our own packages have."""
_COVERED = {
    "deploymentID", "latitude", "longitude", "coordinateUncertainty", "deploymentStart",
    "deploymentEnd", "cameraID", "cameraModel", "cameraDelay", "deploymentTags",
}  # fmt: skip
"""Columns that a placement has itself."""
_YES_NO = {"yes": True, "no": False}
UNTOLD = {
    "exifData", "mediaComments", "lifeStage", "sex", "individualID", "individualPositionRadius",
    "individualPositionAngle", "individualSpeed", "bboxX", "bboxY", "bboxWidth", "bboxHeight",
    "classificationProbability",
}  # fmt: skip
"""Columns of media and observations that a study has no place for."""
SLACK = timedelta(seconds=2)
"""How far a time-lapse photo may lie from its due time."""
MOST = {"cameraDelay": LONGEST_QUIET_S, "coordinateUncertainty": MOST_UNCERTAIN_M}
"""The largest numbers that a camera log may hold. [s, m]"""


@dataclass(frozen=True, slots=True)
class Medium:
    """One file of the package."""

    id: str
    placement: str
    file: str
    """As the study calls it: below its card folder."""
    moment: datetime
    timelapse: bool
    type: str


@dataclass(frozen=True, slots=True)
class Package:
    """What stands in the standard's tables, observations apart."""

    folder: Path
    placements: tuple[Placement, ...]
    offsets: Mapping[str, timedelta]
    """Of each placement the offset in which its photos' times are held."""
    models: Mapping[str, tuple[str, str]]
    """Maker and model of each placement's camera."""
    media: Mapping[str, tuple[Medium, ...]]
    """By placement, in the order of the table."""
    described: Mapping[str, Any]
    untold: Mapping[str, int]
    """How many media say something that a study has no place for, by the column."""
    oversized: tuple[str, ...] = ()
    """Numbers that were left out since no camera log may hold them, in words."""

    @property
    def own(self) -> Mapping[str, Any]:
        """Give what one of our own packages says beside the standard; empty for others'."""
        told = self.described.get(OURS)
        return told if isinstance(told, dict) else {}


def read_package(folder: Path) -> Package:
    """Read deployments and media of a package that `rules.check` found no fault in."""
    described = opening.descriptor_of(folder)
    plain = OURS in described
    media: dict[str, list[Medium]] = {}
    untold = Counter[str]()
    for row in table(folder, described, MEDIA, plain=plain):
        untold.update(_untold(row))
        one = _medium(row, ours=plain)
        media.setdefault(one.placement, []).append(one)
    deployments = list(table(folder, described, DEPLOYMENTS, plain=plain))
    told_apart = {name: tuple(_told_apart(some)) for name, some in media.items()}
    offsets = {
        str(row["deploymentID"]): _offset(row, told_apart.get(str(row["deploymentID"]), ()))
        for row in deployments
    }
    placements = tuple(
        _placement(row, offsets[name], told_apart.get(name, ()), ours=plain)
        for row in deployments
        if (name := str(row["deploymentID"]))
    )
    models = {str(row["deploymentID"]): _model(row) for row in deployments}
    oversized = tuple(_oversized(deployments))
    return Package(folder, placements, offsets, models, told_apart, described, untold, oversized)


def table(folder: Path, described: Mapping[str, Any], of: TableOf, *, plain: bool) -> Iterator[Row]:
    """Give the rows of one of the standard's tables.

    `plain`: its texts were written so that no spreadsheet runs them.
    """
    path = opening.path_of(folder, opening.resources_of(described)[of.name])
    for _, row in Reading(Layout(of, path.name), Faults(), {}, strict=False).rows(path):
        yield (
            {name: cells.plain(one) if isinstance(one, str) else one for name, one in row.items()}
            if plain
            else row
        )


def observations(package: Package, passed_over: Counter[str]) -> Iterator[Row]:
    """Give the rows of the observations; counts what is told in columns that no tag has."""
    for row in table(package.folder, package.described, OBSERVATIONS, plain=bool(package.own)):
        passed_over.update(_untold(row))
        yield row


def _untold(row: Row) -> Iterator[str]:
    return (name for name in UNTOLD if row.get(name) is not None)


# --- placements --------------------------------------------------------------------------------


def _placement(row: Row, offset: timedelta, media: Sequence[Medium], *, ours: bool) -> Placement:
    word = exact if ours else text
    tags = pairs_of(word(row, "deploymentTags"))
    rhythm = next((one for name, one in tags if name == "timelapse_every_min"), "")
    working = next((one for name, one in tags if name == "working_at_pickup"), "")
    known = {"tray", "timelapse_every_min", "working_at_pickup"}
    rest = " | ".join(f"{name}:{one}" if name else one for name, one in tags if name not in known)
    extra = {
        field.name: value
        for field in DEPLOYMENTS.fields
        if field.name not in _COVERED and (value := _as_text(row[field.name]))
    }
    if extra.get("timestampIssues") == "false":
        del extra["timestampIssues"]
    if extra.get("baitUse") == "true":
        del extra["baitUse"]
    return Placement(
        placement=exact(row, "deploymentID"),
        camera=word(row, "cameraID"),
        trays=tuple(one for name, one in tags if name == "tray"),
        start=_utc(row["deploymentStart"]),
        end=_utc(row["deploymentEnd"]),
        clock=offset_text(offset),
        working_at_pickup=_YES_NO.get(working),
        timelapse_every_min=_minutes(rhythm) or _rhythm(media, offset),
        quiet_s=None if _too_large(row, "cameraDelay") else _whole(row["cameraDelay"]),
        latitude=_number(row["latitude"]),
        longitude=_number(row["longitude"]),
        uncertainty_m=(
            None
            if _too_large(row, "coordinateUncertainty")
            else _number(row["coordinateUncertainty"])
        ),
        extra=extra | ({"deploymentTags": rest} if rest else {}),
    )


def _too_large(row: Row, column: str) -> bool:
    """Say whether a number is beyond what a camera log may hold."""
    value = _number(row[column])
    return value is not None and value > MOST[column]


def _oversized(rows: Iterable[Row]) -> Iterator[str]:
    """Name the numbers that were left out since no camera log may hold them."""
    for row in rows:
        for column in MOST:
            if _too_large(row, column):
                yield f"{column} {row[column]} of placement {exact(row, 'deploymentID')!r}"


def _minutes(told: str) -> int | None:
    """Read a rhythm; None where it is none that a day has. [min]"""
    rhythm = int(told) if told.isdecimal() and len(told) <= len(str(MINUTES_OF_A_DAY)) else 0
    return rhythm if 1 <= rhythm <= MINUTES_OF_A_DAY else None


def pairs_of(told: str) -> list[tuple[str, str]]:
    """Read the standard's list of tags: name and value, the name empty where there is none."""
    parts = (part.strip() for part in told.split("|"))
    found = []
    for part in filter(None, parts):
        name, colon, value = part.partition(":")
        found.append((name.strip(), value.strip()) if colon else ("", part))
    return found


def _offset(row: Row, media: Sequence[Medium]) -> timedelta:
    """Give the offset that most of a placement's photos have, else that of its start."""
    counts = Counter(one.moment.utcoffset() for one in media)
    start = row["deploymentStart"]
    assert isinstance(start, datetime)
    most = counts.most_common(1)
    return (most[0][0] if most else start.utcoffset()) or timedelta(0)


def offset_text(offset: timedelta) -> str:
    """Write an offset as the camera log does."""
    minutes = int(offset.total_seconds()) // 60
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def _rhythm(media: Iterable[Medium], offset: timedelta) -> int | None:
    """Give the longest rhythm since midnight on which all time-lapse photos lie; None: none does.

    [min]
    """
    shown = [(one.moment.astimezone(UTC) + offset) for one in media if one.timelapse]
    if not shown:
        return None
    seconds = [one.hour * 3600 + one.minute * 60 + one.second for one in shown]
    fitting = (
        every
        for every in range(MINUTES_OF_A_DAY, 0, -1)
        if MINUTES_OF_A_DAY % every == 0 and all(_near(at, every * 60) for at in seconds)
    )
    return next(fitting, None)


def _near(second: int, step: int) -> bool:
    left = second % step
    return min(left, step - left) <= SLACK.total_seconds()


def _model(row: Row) -> tuple[str, str]:
    maker, _, model = text(row, "cameraModel").partition("-")
    return maker, model


# --- photos --------------------------------------------------------------------------------------


def _medium(row: Row, *, ours: bool) -> Medium:
    moment = row["timestamp"]
    assert isinstance(moment, datetime)
    placement, path = exact(row, "deploymentID"), exact(row, "filePath")
    return Medium(
        id=exact(row, "mediaID"),
        placement=placement,
        file=_own_file(path, placement) if ours else _inside(path),
        moment=moment,
        timelapse=row["captureMethod"] == "timeLapse",
        type=text(row, "fileMediatype"),
    )


def card_folder(package: Package, placement: str) -> Path:
    """Give the folder that stands for a placement's card."""
    if not package.own:
        return package.folder
    return package.folder / MEDIA_FOLDER / safe_part(placement, whole=True)


def path_of(package: Package, medium: Medium) -> Path:
    """Give where a file of the package would lie."""
    return card_folder(package, medium.placement) / medium.file


def _own_file(path: str, placement: str) -> str:
    """Give a file's path below its card folder, as it lies in our package: there it is found."""
    return _inside(path.removeprefix(f"{MEDIA_FOLDER}/{safe_part(placement, whole=True)}/"))


def _inside(path: str) -> str:
    """Give a path as it is, or such that no file outside its card folder is ever looked at."""
    if opening.is_inside(path) and "\0" not in path:
        return path
    return "/".join(safe_part(part) for part in path.replace("\\", "/").split("/") if part)


def _told_apart(media: Iterable[Medium]) -> Iterator[Medium]:
    """Give files of one path names of their own: a study holds a path once."""
    listed = list(media)
    told = {one.file for one in listed}
    met: set[str] = set()
    again: Counter[str] = Counter()
    for one in listed:
        file = one.file
        while file in met or (file != one.file and file in told):
            again[one.file] += 1
            file = f"{one.file}#{again[one.file] + 1}"
        met.add(file)
        yield replace(one, file=file)


# --- cells ---------------------------------------------------------------------------------------


def exact(row: Row, column: str) -> str:
    """Give a name as it is written; empty where nothing is there."""
    return "" if row[column] is None else str(row[column])


def text(row: Row, column: str) -> str:
    """Give a cell as text on one line; empty where nothing is there."""
    return on_one_line(str(row[column])) if row[column] else ""


def on_one_line(told: str) -> str:
    """Give a text without line breaks, and with single blanks."""
    return " ".join(re.sub(r"[\x00-\x1f\x7f]", " ", told).split())


def _as_text(value: Value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return plain_text(value) if isinstance(value, float) else "" if value is None else str(value)


def _utc(value: Value) -> datetime | None:
    return value.astimezone(UTC) if isinstance(value, datetime) else None


def _number(value: Value) -> float | None:
    return float(value) if isinstance(value, int | float) else None


def _whole(value: Value) -> int | None:
    return int(value) if isinstance(value, int | float) else None
