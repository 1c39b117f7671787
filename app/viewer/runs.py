"""Decide what the viewer is told of a run of photos: its name, its photos, and what was said.

A run means the photos between its two ends, both inside, whatever they have become since it was
queued: of the kinds that its ends have now, so that what makes no visit stays out of a visit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from app import review, wording
from core import people
from core.exports.tables import name_of
from core.model import ClockFlag, Photo, PhotoKind, true_time
from core.tags import Run
from core.views import Layout
from core.workspace import Change

GONE = "These photos are not on this placement any more: their card was forgotten or moved."
TURNED = "These photos stand in another order now: the clock was corrected."
UNTIMED = "Photo without a time"


@dataclass(frozen=True, slots=True)
class Teller:
    """Who is told, and from what."""

    layout: Layout
    changes: Mapping[int, Change]
    """How photos differ from their quiet scene, by id; those not scored are left out."""
    zone: ZoneInfo
    tagger: str
    instructor: bool
    editions: Mapping[int, str]
    """What tells one content of a photo's file from another, by id."""
    training: frozenset[int] = frozenset()
    """Photos by which they were given settled visits to learn from."""
    references: Mapping[int, Sequence[Mapping[str, str]]] = field(default_factory=dict)
    """What photos are references of, for an instructor: to a tagger it would be an answer."""


def ids_of(layout: Layout, first: int, last: int) -> list[int]:
    """Give the ids of a run's photos by those of its ends; none where it is no run now."""
    places = _places(layout, first, last)
    if places:
        ids: list[int] = layout.base.ids[places].tolist()
        return ids
    return [first] if _untimed(layout, first, last) else []


def row(teller: Teller, first: int, last: int) -> dict[str, Any]:
    """Tell of the run between two photos, by their ids; of one that is no run now, why."""
    places = _places(teller.layout, first, last)
    if places:
        return _timed_row(teller, places)
    untimed = _untimed(teller.layout, first, last)
    if untimed:
        return _untimed_row(teller, untimed)
    known = teller.layout.base.place
    words = TURNED if first in known and last in known else GONE
    return {"first": first, "last": last, "gone": f"{words} Go on to the next run."}


def _places(layout: Layout, first: int, last: int) -> list[int]:
    start, end = layout.base.place.get(first), layout.base.place.get(last)
    if start is None or end is None or start > end:
        return []
    kinds = layout.kinds[start : end + 1]
    wanted = (kinds == kinds[0]) | (kinds == kinds[-1])
    found: list[int] = (start + np.flatnonzero(wanted)).tolist()
    return found


def _untimed(layout: Layout, first: int, last: int) -> Photo | None:
    if first != last:
        return None
    return next((photo for photo in layout.base.untimed if photo.id == first), None)


def _timed_row(teller: Teller, places: Sequence[int]) -> dict[str, Any]:
    layout = teller.layout
    base, photos = layout.base, [layout.photo(place) for place in places]
    numbers = [number for number in _visits(layout, places) if number]
    name = _name(layout, places, numbers)
    start, end = true_time(photos[0]), true_time(photos[-1])
    out = review.deployments_at(base.trays, base.placement, start, end)
    return {
        "first": photos[0].id,
        "last": photos[-1].id,
        "name": name,
        "kind": _kind(photos[0]) if not numbers else "visit",
        "visit": numbers[0] if numbers else 0,
        "when": wording.stretch(start, end, teller.zone),
        "tray": wording.windows_line(out),
        "in_window": bool(out),
        "trays": review.trays_to_choose(base.trays, base.placement, out),
        "state": _state(layout, numbers) if teller.instructor else "",
        "learned": _learned(teller, numbers),
        "photos": _photos(teller, photos, name),
        "said": _said(teller, places),
    }


def _untimed_row(teller: Teller, photo: Photo) -> dict[str, Any]:
    return {
        "first": photo.id,
        "last": photo.id,
        "name": UNTIMED,
        "kind": "untimed",
        "visit": 0,
        "when": wording.moment(None, teller.zone),
        "tray": "It belongs to no visit and cannot be tagged.",
        "in_window": False,
        "trays": [],
        "state": "",
        "learned": "",
        "photos": _photos(teller, [photo], UNTIMED),
        "said": [],
    }


def _kind(photo: Photo) -> str:
    return "handler" if photo.kind is PhotoKind.HANDLER else "timelapse"


def _visits(layout: Layout, places: Sequence[int]) -> list[int]:
    """Give the visits that photos are in, by number; 0 where some are in none."""
    found: list[int] = np.unique(layout.visit_of[list(places)]).tolist()
    return found


def _name(layout: Layout, places: Sequence[int], numbers: Sequence[int]) -> str:
    """Name a run: a visit or several, a part of one, or photos that make none."""
    if not numbers:
        photo = layout.photo(places[0])
        if photo.kind is PhotoKind.TIMELAPSE:
            return "Time-lapse photo" if len(places) == 1 else "Time-lapse photos"
        return "Handler photo" if len(places) == 1 else "Handler photos"
    others = len(places) - int(np.count_nonzero(layout.visit_of[list(places)]))
    beside = " and handler photos" if others else ""
    whole = [photo for number in numbers for photo in layout.photos_of(number)]
    if len(numbers) == 1:
        return f"Visit {numbers[0]}{_part(places, whole) if not others else beside}"
    joint = "and" if len(numbers) == 2 else "to"  # noqa: PLR2004
    part = ", in part" if len(places) - others < len(whole) else ""
    return f"Visits {numbers[0]} {joint} {numbers[-1]}{beside}{part}"


def _part(places: Sequence[int], whole: Sequence[int]) -> str:
    """Say which photos of a visit a run has; nothing where it has all."""
    if len(places) == len(whole):
        return ""
    first, last = whole.index(places[0]) + 1, whole.index(places[-1]) + 1
    which = f"photo {first}" if first == last else f"photos {first} to {last}"
    return f", {which} of {len(whole)}"


def _state(layout: Layout, numbers: Sequence[int]) -> str:
    """Say how far people got with each visit of a run; a single one needs no number."""
    said = []
    for number in numbers:
        whose = f"Visit {number}: " if len(numbers) > 1 else ""
        said.append(f"{whose}{wording.state_line(layout.answer(number))}")
    return "\n".join(said)


def _learned(teller: Teller, numbers: Sequence[int]) -> str:
    """Say of a visit that was there to learn from how it was settled, once they have tagged it."""
    said = []
    for number in numbers if teller.training else ():
        ids = teller.layout.base.ids[teller.layout.photos_of(number)].tolist()
        answer = teller.layout.answer(number)
        tagged = any(t.tagger == teller.tagger and not t.ruling for t in answer.tags)
        if tagged and people.is_settled(answer) and not teller.training.isdisjoint(ids):
            names = " + ".join(name_of(key, teller.layout.base.species) for key in answer.species)
            said.append(
                f"You were given visit {number} to learn from: an instructor ruled {names}."
            )
    return "\n".join(said)


# --- photos ------------------------------------------------------------------------------------


def _photos(teller: Teller, photos: Sequence[Photo], name: str) -> list[dict[str, Any]]:
    trays, zone = teller.layout.base.placement.trays, teller.zone
    whole = name[0].lower() + name[1:]
    told = []
    for at, photo in enumerate(photos, start=1):
        change = teller.changes.get(photo.id)
        moment = photo.true_time
        told.append(
            {
                "id": photo.id,
                "edition": teller.editions.get(photo.id, ""),
                "file": photo.file,
                "alt": wording.photo_alt(photo, at, len(photos), trays, zone, whole=whole),
                "time": "" if moment is None else f"{moment.astimezone(zone):%H:%M:%S}",
                "note": _note(photo),
                "infrared": None if change is None else change.infrared,
                "change": None if change is None else round(change.whole, 4),
                "outline": [] if change is None else change.outline,
                "changed": "" if change is None else _changed(change),
            }
            | ({"references": teller.references[photo.id]} if photo.id in teller.references else {})
        )
    return told


LEAST_CHANGE = 0.05
"""Of less it is not said where it is: 0.02 % of the picture (a judgement)."""


def _changed(change: Change) -> str:
    """Say where a photo changed most, on the tray or beside it; nothing where no tray is known."""
    if change.on_tray is None or change.off_tray is None:
        return ""
    if max(change.on_tray, change.off_tray) < LEAST_CHANGE:
        return "next to nothing changed"
    where = "on the tray" if change.on_tray >= change.off_tray else "beside the tray"
    return f"changed most {where}"


def _note(photo: Photo) -> str:
    """Say what is wrong with a file or its time."""
    flag = str(photo.clock_flag) if photo.clock_flag is not ClockFlag.NONE else ""
    return "; ".join(filter(None, (photo.problem, flag)))


# --- what was said -----------------------------------------------------------------------------


def _said(teller: Teller, places: Sequence[int]) -> list[dict[str, Any]]:
    """Tell the tags over a run that somebody may see: their own, or as the instructor all."""
    held = [
        run
        for run in teller.layout.standing.between(places[0], places[-1])
        if (teller.instructor or run.tag.tagger == teller.tagger)
        and any(run.first <= place <= run.last for place in places)
    ]
    species = teller.layout.base.species
    return [
        {
            "number": run.tag.number,
            "who": run.tag.tagger,
            "mine": run.tag.tagger == teller.tagger,
            "ruling": run.tag.ruling,
            "words": f"{wording.what_tag_says(run.tag, species)}{_extent(run, places)}",
            "first": run.tag.first_photo,
            "last": run.tag.last_photo,
            "species": run.tag.species,
        }
        for run in held
    ]


def _extent(run: Run, places: Sequence[int]) -> str:
    """Say of which of a run's photos a tag is; nothing where it is of these and no others."""
    if run.first < places[0] or run.last > places[-1]:
        return ", on a longer run of photos"
    inside = [at for at, place in enumerate(places, start=1) if run.first <= place <= run.last]
    if len(inside) == len(places):
        return ""
    if len(inside) == 1:
        return f", photo {inside[0]}"
    return f", photos {inside[0]} to {inside[-1]}"
