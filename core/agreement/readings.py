"""Decide what a reader says of a visit, and whether they read it at all.

A reader is a tagger; a ruling is none. What is said of a visit is the set of species that the tags
name there: two readers of whom one names two species and one only one of them differ, and
`unknown` is an answer like any other (a judgement). Where an animal was does not count here.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from core.model import BLANK, AnsweredVisit, Tag, VisitState

NAMED, NOT_NAMED = ("named",), ("not named",)
"""Answers when only one species is asked for."""
SETTLED = (VisitState.RULED, VisitState.AGREED)
UNFINISHED = "tags lie over less than half of its photos"

Said = tuple[str, ...]
"""The species keys (or `blank`, `unknown`, `handler`) that are named of a visit, sorted."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one reader says of one visit."""

    tagger: str
    said: Said
    sure: bool
    """Whether no tag of it is unsure."""
    runs: tuple[tuple[int, int], ...]
    """Ids of the first and last photo of each tag inside the visit."""


@dataclass(frozen=True, slots=True)
class ReadVisit:
    """One visit with what its readers say."""

    placement: str
    number: int
    readings: tuple[Reading, ...]
    unfinished: tuple[str, ...]
    """Taggers whose tags lie over less than half of its photos: no readers of it."""
    settled: Said | None
    """What is held of it, where it was ruled or agreed."""
    ruled: bool


def read_visits(visits: Sequence[AnsweredVisit]) -> list[ReadVisit]:
    """Say of each visit who read it and what they say.

    A tagger has read a visit when their tags lie over at least half of its photos, as for the
    answer. An unsure tag says what it says. Tags taken back, replaced ones and rulings are no
    reading.
    """
    return [_read(one) for one in visits]


def _read(answered: AnsweredVisit) -> ReadVisit:
    visit, answer = answered.visit, answered.answer
    ids = [photo.id for photo in visit.photos]
    own: dict[str, list[Tag]] = defaultdict(list)
    for tag in answer.tags:
        if not tag.ruling:
            own[tag.tagger].append(tag)
    readings, unfinished = [], []
    for tagger, tags in own.items():
        spans = [_span(tag, ids) for tag in tags]
        covered = {at for first, last in spans for at in range(first, last + 1)}
        if len(covered) * 2 < len(ids):
            unfinished.append(tagger)
            continue
        said = _said(tag.species for tag in tags)
        runs = tuple((ids[first], ids[last]) for first, last in spans)
        readings.append(Reading(tagger, said, all(tag.sure for tag in tags), runs))
    settled = answer.held and answer.state in SETTLED
    return ReadVisit(
        visit.placement,
        visit.number,
        tuple(readings),
        tuple(unfinished),
        settled=_said(answer.species) if settled else None,
        ruled=answer.state is VisitState.RULED,
    )


def _span(tag: Tag, ids: Sequence[int]) -> tuple[int, int]:
    """Give the places of a tag's ends in a visit that it touches, cut to the visit."""
    place = {id_: at for at, id_ in enumerate(ids)}
    first, last = place.get(tag.first_photo, 0), place.get(tag.last_photo, len(ids) - 1)
    return min(first, last), max(first, last)


def _said(species: Iterable[str]) -> Said:
    """Give what was named, sorted; `blank` only where nothing else was."""
    named = set(species)
    return tuple(sorted(named - {BLANK} or named))


def readers_of(visits: Sequence[ReadVisit]) -> list[str]:
    """Name the readers, those with most visits first."""
    counts = Counter(one.tagger for visit in visits for one in visit.readings)
    return sorted(counts, key=lambda tagger: (-counts[tagger], tagger))


def species_said(visits: Sequence[ReadVisit]) -> list[str]:
    """List everything that a reader named, but for `blank`."""
    named = {key for visit in visits for one in visit.readings for key in one.said}
    return sorted(named - {BLANK})


def answer_of(said: Said, species: str) -> Said:
    """Give an answer as it is compared: whole, or whether one species is in it."""
    if not species:
        return said
    return NAMED if species in said else NOT_NAMED
