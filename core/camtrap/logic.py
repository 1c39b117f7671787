"""Decide what the rows of a package must not say together, which no schema can tell.

Times are compared as moments, never as texts.

References
----------
.. [1] Camtrap DP 1.0.2, descriptions of the fields; media belong to an event by its bounds.
"""

from array import array
from bisect import bisect_left
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple

from core.camtrap import opening
from core.camtrap.cells import Value
from core.camtrap.geometry import Box
from core.camtrap.tabling import Row

ANIMAL, BLANK, MACHINE, MEDIA_LEVEL, EVENT_LEVEL = "animal", "blank", "machine", "media", "event"
WEB = ("http://", "https://")


class Wrong(NamedTuple):
    """Something wrong with a row."""

    column: str
    value: Value
    message: str


class Event(NamedTuple):
    """A stretch that event rows speak of. [s since 1970]"""

    start: int
    end: int
    id: str
    line: int


@dataclass(slots=True)
class Stretch:
    """When a deployment was, and what was seen in it; times are seconds since 1970."""

    start: int | None
    end: int | None
    times: "array[int]" = field(default_factory=lambda: array("q"))
    """Of its media; in order once all are read."""
    events: dict[tuple[str, int, int], Event] = field(default_factory=dict)


@dataclass(slots=True)
class Known:
    """What was read so far of the standard's tables."""

    box: Box | None
    taxa: Collection[str] | None
    """Names in the descriptor; None where it has no list that could be read."""
    deployments: dict[str, Stretch] = field(default_factory=dict)
    media: dict[str, tuple[Stretch | None, int | None]] = field(default_factory=dict)
    media_whole: bool = False
    """Whether all media could be read, so that a missing one is missing."""


def _second(moment: Value) -> int | None:
    return int(moment.timestamp()) if isinstance(moment, datetime) else None


# --- deployments -------------------------------------------------------------------------------


def of_deployment(row: Row, known: Known, *, strict: bool) -> Iterator[Wrong]:
    """Check one placement and note it."""
    start, end = row["deploymentStart"], row["deploymentEnd"]
    key = row["deploymentID"]
    if isinstance(key, str):
        known.deployments[key] = Stretch(_second(start), _second(end))
    if isinstance(start, datetime) and isinstance(end, datetime) and end < start:
        yield Wrong("deploymentEnd", end, "It ended before its start. Mend one of the two.")
    if not strict:
        return
    if row["cameraHeight"] is not None and row["cameraDepth"] is not None:
        yield Wrong(
            "cameraDepth", row["cameraDepth"],
            "A camera is above or below the surface, not both. Empty height or depth.",
        )  # fmt: skip
    latitude, longitude = row["latitude"], row["longitude"]
    if isinstance(latitude, float) and isinstance(longitude, float) and known.box:
        yield from _of_place(latitude, longitude, known.box)


def _of_place(latitude: float, longitude: float, box: Box) -> Iterator[Wrong]:
    if box.holds(latitude, longitude):
        return
    way = (
        "Latitude and longitude are swapped. Put them right."
        if box.holds(longitude, latitude)
        else "The place lies outside the descriptor's spatial. Mend one of the two."
    )
    yield Wrong("latitude", f"{latitude}, {longitude}", way)


# --- media -------------------------------------------------------------------------------------


def of_media(row: Row, known: Known, *, strict: bool) -> Iterator[Wrong]:
    """Check one file and note it."""
    stretch = known.deployments.get(str(row["deploymentID"]))
    moment = _second(row["timestamp"])
    if row["mediaID"] is not None:
        known.media[str(row["mediaID"])] = (stretch, moment)
    if not strict:
        return
    yield from _of_path(row["filePath"])
    if stretch is None or moment is None:
        return
    stretch.times.append(moment)
    early = stretch.start is not None and moment < stretch.start
    if early or (stretch.end is not None and moment > stretch.end):
        yield Wrong(
            "timestamp", row["timestamp"],
            "It lies outside its deployment's start and end. Mend them, or leave the file out.",
        )  # fmt: skip


def _of_path(path: Value) -> Iterator[Wrong]:
    if not isinstance(path, str) or path.startswith(WEB):
        return
    if "://" in path or not opening.is_inside(path):
        yield Wrong(
            "filePath", path,
            "The path is of one computer, or leads out. Write it below the package, with /.",
        )  # fmt: skip


def close_media(known: Known) -> None:
    """Put the times in order once all media are read."""
    for stretch in known.deployments.values():
        stretch.times = array("q", sorted(stretch.times))


# --- observations ------------------------------------------------------------------------------


def of_observation(row: Row, known: Known, line: int, *, strict: bool) -> Iterator[Wrong]:
    """Check one observation, and note its event."""
    start, end = row["eventStart"], row["eventEnd"]
    if isinstance(start, datetime) and isinstance(end, datetime) and end < start:
        yield Wrong("eventEnd", end, "It ended before its start. Mend one of the two.")
    yield from _of_its_media(row, known, strict=strict)
    if not strict:
        return
    yield from _of_name(row, known.taxa)
    if row["classificationProbability"] is not None and row["classificationMethod"] != MACHINE:
        yield Wrong(
            "classificationProbability", row["classificationProbability"],
            "Only a machine's classification has a probability. Empty it.",
        )  # fmt: skip
    if row["observationLevel"] == EVENT_LEVEL:
        yield from _of_event(row, known, line)


def _of_its_media(row: Row, known: Known, *, strict: bool) -> Iterator[Wrong]:
    """Check the file that a row is of; one that is not in the media was told with its cell."""
    media, of_file = row["mediaID"], row["observationLevel"] == MEDIA_LEVEL
    if media is None:
        if of_file:
            yield Wrong("mediaID", None, "A media observation names the file it is of. Fill it in.")
        return
    stretch, moment = known.media.get(str(media), (None, None))
    own = known.deployments.get(str(row["deploymentID"]))
    if stretch is not None and own is not None and stretch is not own:
        yield Wrong(
            "mediaID", media,
            "The file belongs to another deployment than the observation. Mend one of the two.",
        )  # fmt: skip
    for column in ("eventStart", "eventEnd") if strict and of_file and moment is not None else ():
        if _second(row[column]) not in {moment, None}:
            yield Wrong(
                column, row[column], "A media row's bounds are its file's timestamp. Write that."
            )


def _of_name(row: Row, taxa: Collection[str] | None) -> Iterator[Wrong]:
    kind, name = row["observationType"], row["scientificName"]
    if kind == ANIMAL and name is None:
        yield Wrong(
            "scientificName", None, "An animal has a name; a genus, family or class will do."
        )
    elif kind not in {ANIMAL, None} and name is not None:
        yield Wrong(
            "scientificName", name, "Only an animal has a scientific name. Empty it, or the type."
        )
    if name is not None and taxa is not None and name not in taxa:
        yield Wrong(
            "scientificName", name, "The name is not in the descriptor's taxonomic. Add it there."
        )
    if kind == BLANK and row["count"] is not None:
        yield Wrong("count", row["count"], "Where nothing was seen nothing is counted. Empty it.")


def _of_event(row: Row, known: Known, line: int) -> Iterator[Wrong]:
    if row["mediaID"] is not None:
        yield Wrong(
            "mediaID", row["mediaID"],
            "An event is of several files, so it names none. Empty it, or make it a media row.",
        )  # fmt: skip
    stretch = known.deployments.get(str(row["deploymentID"]))
    start, end = _second(row["eventStart"]), _second(row["eventEnd"])
    if stretch is None or start is None or end is None or end < start:
        return
    key = (str(row["eventID"] or ""), start, end)
    if key in stretch.events:
        return
    stretch.events[key] = Event(start, end, key[0], line)
    at = bisect_left(stretch.times, start)
    if known.media_whole and (at == len(stretch.times) or stretch.times[at] > end):
        yield Wrong(
            "eventStart", row["eventStart"],
            "No file of the deployment lies in the event. Mend its bounds, or leave it out.",
        )  # fmt: skip


def overlaps(known: Known) -> Iterator[tuple[int, Wrong]]:
    """Give each event that begins before another of its deployment has ended, with its row.

    Both bounds belong to an event [1]_, so one second in common is too much.
    """
    for stretch in known.deployments.values():
        latest: Event | None = None
        for event in sorted(stretch.events.values()):
            if latest is not None and event.start <= latest.end:
                other = "has other bounds in" if event.id and event.id == latest.id else "overlaps"
                yield event.line, Wrong(
                    "eventID", event.id,
                    f"The event {other} another row of its deployment. Events stand apart and have "
                    "one start and end: mend the bounds.",
                )  # fmt: skip
            if latest is None or event.end > latest.end:
                latest = event
