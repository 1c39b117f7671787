"""Decide how visits and tags are told as observations.

One row for each species of a visit, of the level `event`; where it is asked for, one for each
photo of each tag, of the level `media`. What the standard has no column for (where on the tray,
which tray, whether it was ruled; which of two species of one name) is told as tags of it.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from core import tags
from core.camtrap.cells import kept, told_time
from core.camtrap.choosing import Chosen, safe_part
from core.camtrap.telling import MACHINE, Telling
from core.model import (
    BLANK,
    HANDLER,
    AnsweredVisit,
    Photo,
    Sighting,
    Tag,
    VisitState,
    Where,
    true_time,
)

Row = dict[str, str]
FORAGING = "foraging"
"""The standard's word, and Darwin Core's, for an animal that feeds."""


def time_text(moment: datetime, offset: tzinfo) -> str:
    """Write an aware time as RFC 3339, to the second, in a fixed offset."""
    return told_time(moment.astimezone(offset))


def _apart(sightings: Iterable[Sighting]) -> list[list[Sighting]]:
    """Put together what one species did at one tray."""
    groups: dict[tuple[str, str, Where], list[Sighting]] = defaultdict(list)
    for one in sightings:
        groups[one.species, one.tray, one.where].append(one)
    return list(groups.values())


def tag_list(words: Iterable[tuple[str, str]]) -> str:
    """Write `name:value` pairs as the standard's list; an empty value is left out."""
    return " | ".join(f"{name}:{value}" for name, value in words if value)


@dataclass(frozen=True, slots=True)
class Events:
    """The observations of one placement."""

    chosen: Chosen
    telling: Telling
    ids: dict[int, str]
    """The id of each photo in the package, by the study's own."""

    def rows(self) -> Iterator[Row]:
        """Give the rows of its visits, in the order of time, then of its handlers' work."""
        for one in self.chosen.visits:
            yield from self._visit(one)
        for run in self.chosen.handled:
            said = self._by(run.taggers, [run.made_at] if run.made_at else [])
            kind = {"observationType": "human", "cameraSetupType": "setup"}
            yield self._event(run.photos, "1", **kind, **said)

    def _visit(self, one: AnsweredVisit) -> Iterator[Row]:
        photos, answer = one.visit.photos, one.answer
        ruling = ("ruling", "yes" if answer.state is VisitState.RULED else "")
        if not answer.held or not (answer.sightings or answer.species == (BLANK,)):
            yield self._event(photos, "1", observationType="unclassified")
            return
        said = self._said(one)
        if answer.species == (BLANK,):
            told = {"observationType": BLANK, "observationTags": tag_list([ruling])}
            yield self._event(photos, "1", **told, **said)
            return
        counted: set[str] = set()
        for number, some in enumerate(_apart(answer.sightings), 1):
            row = self._species(some, one.visit.photos, ruling)
            # Counts of an event add up: an animal that first looks and then feeds is one.
            row["count"] = "" if some[0].species in counted else row["count"]
            counted.add(some[0].species)
            yield self._event(photos, str(number), **row, **said)

    def _said(self, one: AnsweredVisit) -> Row:
        """Give who said so, when, and what else they wrote."""
        made = [tag.made_at for tag in one.answer.tags if tag.made_at is not None]
        told = dict.fromkeys(map(self._comment, one.answer.tags))
        said = {"observationComments": kept("; ".join(filter(None, told)))}
        return self._by(one.answer.taggers, made) | said

    def _comment(self, tag: Tag) -> str:
        return self.telling.text(f"comment of tag {tag.number}", tag.comment)

    def _by(self, taggers: Sequence[str], made: Sequence[datetime]) -> Row:
        return {
            "classificationMethod": "human",
            "classifiedBy": kept(self.telling.people(taggers)),
            "classificationTimestamp": time_text(max(made), self.chosen.offset) if made else "",
        }

    def _species(
        self, some: Sequence[Sighting], photos: Sequence[Photo], ruling: tuple[str, str]
    ) -> Row:
        key, where, tray = some[0].species, some[0].where, some[0].tray
        kind = self.telling.kind(key)
        counts = [part.count for part in some if part.count]
        first, last = min(part.first for part in some), max(part.last_rank for part in some)
        whole = first == true_time(photos[0]) and last[2] == photos[-1].file
        return {
            "observationType": kind,
            "scientificName": self._name(key, kind),
            "count": str(max(counts)) if counts and kind != "unknown" else "",
            "behavior": FORAGING if where is Where.FED and kind == "animal" else "",
            "observationTags": tag_list((
                ("species", self._key(key)),
                ("where", str(where)),
                ("tray", self.telling.without_names(tray)),
                ("from", "" if whole else time_text(first, self.chosen.offset)),
                ("to", "" if whole else time_text(last[0], self.chosen.offset)),
                ruling,
            )),
        }  # fmt: skip

    def _name(self, key: str, kind: str) -> str:
        return self.telling.species[key].scientific_name if kind == "animal" else ""

    def _key(self, key: str) -> str:
        """Give the key where a row does not tell its species; it may be a sign that parts tags."""
        return safe_part(self.telling.told_apart(key), whole=True)

    def _event(self, photos: Sequence[Photo], number: str, **cells: str) -> Row:
        event = self.ids[photos[0].id]
        return {
            "observationID": f"{event}/visit/{number}",
            "deploymentID": self.chosen.name,
            "eventID": event,
            "eventStart": time_text(true_time(photos[0]), self.chosen.offset),
            "eventEnd": time_text(true_time(photos[-1]), self.chosen.offset),
            "observationLevel": "event",
            **cells,
        }

    def tag_rows(self, made: Iterable[Tag]) -> Iterator[Row]:
        """Give a row for each photo of each tag in force, in the order of time."""
        photos = [one.photo for one in self.chosen.media]
        place = {photo.id: at for at, photo in enumerate(photos)}
        over: dict[int, list[tuple[int, Tag]]] = defaultdict(list)
        for told, run in enumerate(tags.runs_at(tags.in_force(made), place), 1):
            for at in range(run.first, run.last + 1):
                over[at].append((told, run.tag))
        event_of = self._events()
        for at in sorted(over):
            for number, (told, tag) in enumerate(over[at], 1):
                yield self._tag(photos[at], tag, number, told, event_of)

    def _events(self) -> Callable[[int], str]:
        handled = (one.photos for one in self.chosen.handled)
        runs = [*(one.visit.photos for one in self.chosen.visits), *handled]
        found = {photo.id: self.ids[run[0].id] for run in runs for photo in run}
        return lambda photo: found.get(photo, "")

    def _tag(
        self, photo: Photo, tag: Tag, number: int, told: int, event_of: Callable[[int], str]
    ) -> Row:
        """Tell one photo of a tag; `told` is the tag's number in its placement, from 1."""
        media, moment = self.ids[photo.id], time_text(true_time(photo), self.chosen.offset)
        handler, blank = tag.species == HANDLER, tag.species == BLANK
        machine = tag.tagger.removeprefix(MACHINE) if tag.tagger.startswith(MACHINE) else ""
        kind = "human" if handler else BLANK if blank else self.telling.kind(tag.species)
        said = (
            ("species", self._key(tag.species)),
            ("where", "" if tag.where is None else str(tag.where)),
            ("tray", self.telling.without_names(tag.tray)),
            ("sure", "" if tag.sure else "no"),
            ("also", "yes" if tag.also else ""),
            ("ruling", "yes" if tag.ruling else ""),
            ("tag", str(told)),
        )
        return {
            "observationID": f"{media}/tag/{number}",
            "deploymentID": self.chosen.name,
            "mediaID": media,
            "eventID": event_of(photo.id),
            "eventStart": moment,
            "eventEnd": moment,
            "observationLevel": "media",
            "observationType": kind,
            "cameraSetupType": "setup" if handler else "",
            "scientificName": "" if handler or blank else self._name(tag.species, kind),
            "count": str(tag.count) if tag.count and kind not in {BLANK, "unknown"} else "",
            "behavior": FORAGING if tag.where is Where.FED and kind == "animal" else "",
            "classificationMethod": "machine" if machine else "human",
            "classifiedBy": kept(machine or self.telling.person(tag.tagger)),
            "classificationTimestamp": (
                "" if tag.made_at is None else time_text(tag.made_at, self.chosen.offset)
            ),
            "observationTags": tag_list(said),
            "observationComments": kept(self._comment(tag)),
        }
