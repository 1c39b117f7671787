"""Decide what the observations of a package say as tags of runs of photos.

Rows of events say what was in them; rows of single photos tell which photos of an event, and stand
alone where an event has no row of its own. What a machine said is a tag that is not sure: it waits
for people.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import MAXYEAR, MINYEAR, datetime
from urllib.parse import unquote

from core.camtrap.reading import Medium, Row, exact, pairs_of, text
from core.camtrap.telling import MACHINE, Rows, rows_of
from core.logs import MOST_ANIMALS
from core.model import BLANK, HANDLER, UNKNOWN, Where

FEEDING = ("foraging", "feeding")
"""Words of the standard's `behavior` for an animal that feeds."""
UNCLASSIFIED = "unclassified"
"""The standard's word for what people have not looked at yet: they are to."""
UNNAMED = "unnamed"
"""Who tagged where the package does not say."""
LONGEST = 9
"""Digits of the number of a tag (ours)."""
_OWN_TAGS = {"species", "where", "tray", "from", "to", "ruling", "sure", "also", "tag"}


@dataclass(frozen=True, slots=True)
class Said:
    """One row of the observations, read."""

    placement: str
    medium: str
    event: str
    start: datetime
    end: datetime
    of_event: bool
    kind: str
    """The standard's type; `handler` for set-up and calibration."""
    name: str
    """Scientific name; empty for none."""
    key: str
    """Of the species, where our own package has another that such a row could mean."""
    count: int | None
    where: Where | None
    """None where the package does not say."""
    by: tuple[str, ...]
    machine: bool
    at: datetime | None
    tray: str
    begin: datetime | None
    """From when on in the event, and until when, where that is told."""
    until: datetime | None
    ruling: bool
    sure: bool
    also: bool
    tag: int | None
    """The number that the tag has in its placement, where our own package tells it."""
    comment: str


@dataclass(frozen=True, slots=True)
class Heard:
    """One tag, its photos by their ids in the package."""

    placement: str
    first: str
    last: str
    tagger: str
    kind: str
    name: str
    key: str
    count: int | None
    where: Where | None
    sure: bool
    tray: str
    ruling: bool
    also: bool
    comment: str
    at: datetime | None


@dataclass(slots=True)
class Hearing:
    """The tags of a package, and what of its observations makes none."""

    tags: list[Heard] = field(default_factory=list)
    guessed: int = 0
    """Animals of which the package does not say whether they were on the tray."""
    machine: int = 0
    """Tags of machines."""
    without_photos: int = 0
    """Observations of whose time there is no photo."""
    uncounted: int = 0
    """Counts of more animals than a tag may hold, which were left out."""
    quiet: int = 0
    """Blank observations of time-lapse photos, which say nothing more."""


def read_said(row: Row, apart: Mapping[str, Rows] | None = None) -> Said:
    """Read one row of the observations; `apart`, of ours, are keys of species that it may name.

    Texts of ours stay as they are; those of others come on one line.
    """
    word = text if apart is None else exact
    tags = pairs_of(word(row, "observationTags"))
    machine = row["classificationMethod"] == "machine"
    start, end, at = row["eventStart"], row["eventEnd"], row["classificationTimestamp"]
    assert isinstance(start, datetime)
    assert isinstance(end, datetime)
    count = row["count"]
    kind = text(row, "observationType")
    name = word(row, "scientificName")
    if row["cameraSetupType"] and kind != UNCLASSIFIED:
        kind, name = HANDLER, ""
    elif kind == "animal" and not name:
        kind = UNKNOWN
    own = {name: value for name, value in tags if name in _OWN_TAGS}
    number, key = _number(own.get("tag", "")), unquote(own.get("species", ""))
    key = key if (apart or {}).get(key) == rows_of(kind, name) else ""
    foreign = {"tag": number is None, "species": not key}
    rest = " | ".join(
        f"{n}:{v}" if n else v for n, v in tags if n not in _OWN_TAGS or foreign.get(n)
    )
    return Said(
        placement=exact(row, "deploymentID"),
        medium=exact(row, "mediaID"),
        event=exact(row, "eventID"),
        start=start,
        end=end,
        of_event=row["observationLevel"] == "event",
        kind=kind,
        name=name if kind == "animal" else "",
        key=key,
        count=count if isinstance(count, int) and count > 0 else None,
        where=_where(own.get("where", ""), text(row, "behavior")),
        by=tuple(filter(None, (one.strip() for one in text(row, "classifiedBy").split("|")))),
        machine=machine,
        at=at if isinstance(at, datetime) and MINYEAR < at.year < MAXYEAR else None,
        tray=own.get("tray", ""),
        begin=_moment(own.get("from", "")),
        until=_moment(own.get("to", "")),
        ruling=own.get("ruling") == "yes" and not machine,
        sure=own.get("sure") != "no" and not machine,
        also=own.get("also") == "yes",
        tag=number,
        comment="; ".join(filter(None, (word(row, "observationComments"), rest))),
    )


def _where(told: str, behavior: str) -> Where | None:
    if told in set(Where):
        return Where(told)
    words = {word.strip().casefold() for word in behavior.split("|")}
    return Where.FED if words & set(FEEDING) else None


def _number(told: str) -> int | None:
    return int(told) if told.isascii() and told.isdecimal() and len(told) <= LONGEST else None


def _moment(told: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(told)
    except ValueError:
        return None
    return moment if moment.tzinfo else None


def hear(
    rows: Iterable[Row],
    media: Mapping[str, Sequence[Medium]],
    where: Where,
    *,
    by_photo: bool,
    apart: Mapping[str, Rows] | None,
) -> Hearing:
    """Turn observations into tags.

    Parameters
    ----------
    media
        The photos of each placement.
    where
        Where an animal is held to have been where the package does not say.
    by_photo
        Whether rows of single photos say all that was tagged, as in our own packages with tags.
    apart
        The keys of species that rows of our own package may name, with what else they say then;
        None for a package of others.
    """
    told = Hearing()
    said = [read_said(row, apart) for row in rows]
    for placement, own in _by_placement(said).items():
        photos = sorted(media.get(placement, ()), key=lambda one: (one.moment, one.file))
        _Placement(photos, told, where).hear(own, by_photo=by_photo)
    return told


def _by_placement(said: Iterable[Said]) -> dict[str, list[Said]]:
    found: dict[str, list[Said]] = defaultdict(list)
    for one in said:
        found[one.placement].append(one)
    return found


class _Placement:
    """The observations of one placement against its photos, which are in the order of time."""

    def __init__(self, photos: Sequence[Medium], told: Hearing, where: Where) -> None:
        self._photos = photos
        self._moments = [one.moment for one in photos]
        self._place = {one.id: at for at, one in enumerate(photos)}
        self._told = told
        self._where = where

    def hear(self, said: Sequence[Said], *, by_photo: bool) -> None:
        events = [] if by_photo else [one for one in said if one.of_event]
        singles = [one for one in said if not one.of_event]
        told_of = {_event(one) for one in events}
        places = self._places_by_species(singles)
        for group in _alike(events, _of_species):
            self._tag_event(group, places)
        alone = [one for one in singles if _event(one) not in told_of]
        alone.sort(key=lambda one: self._place.get(one.medium, -1))
        met: set[tuple[object, ...]] = set()
        for run in self._runs(alone):
            one, first, last = run[0], run[0].medium, run[-1].medium
            same = (first, last, one.by, one.machine)
            # Our own packages say themselves what is beside what.
            self._tag(replace(one, also=one.also or (not by_photo and same in met)), first, last)
            met.add(same)

    def _places_by_species(self, singles: Iterable[Said]) -> dict[tuple[str, ...], list[int]]:
        found: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for one in singles:
            if one.medium in self._place:
                found[*_event(one), one.kind, one.name, one.key].append(self._place[one.medium])
        return found

    def _tag_event(
        self, group: Sequence[Said], places: Mapping[tuple[str, ...], Sequence[int]]
    ) -> None:
        """Tag the run of one species in one event; ages and sexes of it count together."""
        one = group[0]
        counts = [part.count for part in group if part.count is not None]
        comments = dict.fromkeys(part.comment for part in group if part.comment)
        where = next((place for place in Where if any(part.where is place for part in group)), None)
        count = sum(counts) if counts else None
        whole = replace(one, count=count, where=where, comment="; ".join(comments))
        exact = places.get((*_event(one), one.kind, one.name, one.key))
        if exact and one.begin is None:
            ends = self._photos[min(exact)].id, self._photos[max(exact)].id
        else:
            first = bisect_left(self._moments, one.begin or one.start)
            last = bisect_right(self._moments, one.until or one.end) - 1
            if first > last:
                self._told.without_photos += 1
                return
            ends = self._photos[first].id, self._photos[last].id
        self._tag(whole, *ends)

    def _runs(self, singles: Iterable[Said]) -> Iterator[list[Said]]:
        """Put photos of one event together of which the same is said one after the other.

        Where tags have numbers they are what is said, and give the order.
        """
        open_runs: dict[tuple[object, ...], list[Said]] = {}
        done: list[list[Said]] = []
        for one in singles:
            if one.medium not in self._place:
                self._told.without_photos += 1
                continue
            key = (_event(one) if one.tag is None else (), _what(one))
            run = open_runs.get(key)
            if run and self._place[one.medium] - self._place[run[-1].medium] <= 1:
                run.append(one)
            else:
                open_runs[key] = [one]
                done.append(open_runs[key])
        yield from sorted(done, key=lambda run: run[0].tag or 0)

    def _tag(self, one: Said, first: str, last: str) -> None:
        if one.kind == UNCLASSIFIED:
            return
        run = self._photos[self._place[first] : self._place[last] + 1]
        if one.kind == BLANK and all(medium.timelapse for medium in run):
            self._told.quiet += 1
            return
        where = self._place_of(one)
        if one.count is not None and one.count > MOST_ANIMALS:
            self._told.uncounted += 1
            one = replace(one, count=None)
        names = one.by or (UNNAMED,)
        taggers = [f"{MACHINE}{name}" for name in names] if one.machine else names
        self._told.machine += one.machine
        for tagger in taggers:
            self._told.tags.append(
                Heard(
                    placement=one.placement,
                    first=first,
                    last=last,
                    tagger=" ".join(tagger.split()),
                    kind=one.kind,
                    name=one.name,
                    key=one.key,
                    count=None if one.kind in {BLANK, HANDLER} else one.count,
                    where=where,
                    sure=one.sure,
                    tray="" if one.kind in {BLANK, HANDLER} else one.tray,
                    ruling=one.ruling,
                    also=one.also,
                    comment=one.comment,
                    at=one.at,
                )
            )

    def _place_of(self, one: Said) -> Where | None:
        if one.kind in {BLANK, HANDLER}:
            return None
        if one.where is None and one.kind in {"animal", UNKNOWN}:
            self._told.guessed += 1
            return self._where
        return one.where or Where.NEAR


def _event(one: Said) -> tuple[str, ...]:
    """Tell one event from others: by its name, else by its times."""
    return (one.event,) if one.event else (one.start.isoformat(), one.end.isoformat())


def _of_species(one: Said) -> tuple[object, ...]:
    """Give what rows of one species in one event have in common, whatever age and sex."""
    part = None if one.begin is None else (one.begin, one.until, one.where)
    species = one.kind, one.name, one.key
    return (_event(one), species, one.tray, one.by, one.machine, part)


def _what(one: Said) -> tuple[object, ...]:
    return (
        one.kind, one.name, one.key, one.count, one.where, one.by, one.machine, one.tray,
        one.ruling, one.sure, one.also, one.tag, one.comment, one.at,
    )  # fmt: skip


def _alike(said: Iterable[Said], key: Callable[[Said], tuple[object, ...]]) -> list[list[Said]]:
    """Group by a key; a second species of an event is said beside the first."""
    groups: dict[tuple[object, ...], list[Said]] = {}
    for one in said:
        groups.setdefault(key(one), []).append(one)
    met: set[tuple[object, ...]] = set()
    found = []
    for group in groups.values():
        again = (_event(group[0]), group[0].by, group[0].machine)
        found.append([replace(one, also=one.also or again in met) for one in group])
        met.add(again)
    return found
