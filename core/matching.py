"""Decide what of another copy of a study is the same as here, what is new, and what conflicts.

Photos are matched by content, tags by the act that made them; clocks of computers decide nothing.
What conflicts is listed and left as it is here. How it is brought in is decided in `merging`.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

from core.model import Tag
from core.plural import many

Row = TypeVar("Row")
Words = Callable[[Row], str]


@dataclass(frozen=True, slots=True)
class File:
    """A file of a card, as far as it tells whether two are the same."""

    id: int
    placement: str
    folder: str
    """The card's."""
    file: str
    size: int
    """[bytes]"""
    fingerprint: str
    """Of a part of the file; empty where it could not be read."""
    content_hash: str | None = None
    """Of the whole file, where somebody needed it."""
    copy_of: int | None = None
    """The file that it repeats and that counts in its place."""


@dataclass(frozen=True, slots=True)
class Turn:
    """That a tag was taken back, or let hold again."""

    taken_back: bool
    at: datetime
    by: str
    action: str | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """A tag with the act that made it and all that became of it."""

    tag: Tag
    action: str | None = None
    """None: it was loaded from a log."""
    turns: tuple[Turn, ...] = ()

    @property
    def who(self) -> str:
        """Give whose word it is: rulings are the instructors' together."""
        return "" if self.tag.ruling else self.tag.tagger


@dataclass(frozen=True, slots=True)
class Files:
    """What becomes of the files of the other copy."""

    same: Mapping[int, int]
    """Their id to ours."""
    new: Sequence[int]
    """Their ids, to be brought in."""
    conflicts: Sequence[str]


@dataclass(frozen=True, slots=True)
class Rows:
    """What becomes of the lines of a log of the other copy."""

    new: Sequence[Any]
    differ: Sequence[str]


@dataclass(frozen=True, slots=True)
class Tags:
    """What becomes of the tags of the other copy."""

    new: Sequence[Held] = ()
    """In the order in which they were made there."""
    turns: Sequence[tuple[int, Sequence[Turn]]] = ()
    """Numbers of our tags, with what became of them there since."""
    same: int = 0
    said_here: int = 0
    """Not brought in: the same tagger says the same of the same photos here."""
    in_both: Sequence[str] = ()
    """Who has tags only here, and new ones there: one person, or two of one name."""
    conflicts: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge brought in, or would."""

    photos: int = 0
    photos_same: int = 0
    cards: int = 0
    lines: Mapping[str, int] = field(default_factory=dict)
    """How many lines came into each log."""
    corrections: int = 0
    outlines: int = 0
    stretches: int = 0
    """What was said of suspected time, or taken back."""
    tags: int = 0
    tags_same: int = 0
    tags_said_here: int = 0
    undone: int = 0
    """Tags that were here and that somebody took back, or let hold again, there."""
    taggers_in_both: Sequence[str] = ()
    """Who has tags only here, and new ones there: one person, or two of one name."""
    rulings_by: Sequence[str] = ()
    """Who made the rulings among the tags that came in."""
    conflicts: Sequence[str] = ()
    left_there: Sequence[str] = ()
    """What is never brought in, in words, where the other copy has any of it."""
    only_looked: bool = False


# --- files -------------------------------------------------------------------------------------


def match_files(
    ours: Sequence[File], theirs: Sequence[File], agreed: Collection[str] = ()
) -> Files:
    """Match files by content: size and fingerprint, and the whole hash where both have one.

    A file that is on another placement here, and not there as well, is a conflict. So is a
    placement of which no photo is in common, unless it is one of those `agreed` on: then they are
    further cards of it. So is another content under the same placement, folder and name.
    """
    here = defaultdict(list)
    for one in ours:
        here[_content(one)].append(one)
    there = defaultdict(set)
    for one in theirs:
        there[_content(one)].add(one.placement)
    same: dict[int, int] = {}
    new: list[File] = []
    elsewhere: Counter[tuple[str, str]] = Counter()
    for one in theirs:
        found = [other for other in here[_content(one)] if not _told_apart(one, other)]
        twins = [other for other in found if other.placement == one.placement]
        others = {other.placement for other in found} - there[_content(one)]
        if twins:
            twin = min(twins, key=partial(_distance, one))
            same[one.id] = twin.copy_of or twin.id
        elif others:
            elsewhere[one.placement, min(others)] += 1
        else:
            new.append(one)
    conflicts = [
        f"{many(number, 'photo')} of placement {placement} there are under placement {other} "
        "here. Move the card in one of the two, then merge again."
        for (placement, other), number in sorted(elsewhere.items())
    ]
    kept, more = _without_strangers(ours, theirs, same, new, agreed)
    return Files(same, [one.id for one in kept], [*conflicts, *more])


def _content(one: File) -> Hashable:
    if one.fingerprint:
        return one.size, one.fingerprint
    return one.size, one.placement, one.file


def _told_apart(one: File, other: File) -> bool:
    known = one.content_hash is not None and other.content_hash is not None
    return known and one.content_hash != other.content_hash


def _distance(one: File, other: File) -> tuple[bool, bool, int]:
    unsure = one.content_hash is None or other.content_hash is None
    return one.file != other.file, unsure, other.id


def _without_strangers(
    ours: Sequence[File],
    theirs: Sequence[File],
    same: Mapping[int, int],
    new: Sequence[File],
    agreed: Collection[str],
) -> tuple[list[File], list[str]]:
    """Leave out files that are not the same placement's, or stand where another one is."""
    with_photos = {one.placement for one in ours}
    in_common = {one.placement for one in theirs if one.id in same}
    taken = {(one.placement, one.folder, one.file) for one in ours}
    kept: list[File] = []
    other_photos: Counter[str] = Counter()
    other_content: dict[tuple[str, str], list[str]] = defaultdict(list)
    for one in new:
        if one.placement in with_photos - in_common and one.placement not in agreed:
            other_photos[one.placement] += 1
        elif (one.placement, one.folder, one.file) in taken:
            other_content[one.placement, one.folder].append(one.file)
        else:
            kept.append(one)
    words = [
        f"Placement {placement} has {many(number, 'photo')} there and none of them here, and the "
        "camera logs do not say the same of it. They were left out: give the placement another "
        "name there, or the same line in both logs."
        for placement, number in sorted(other_photos.items())
    ]
    words += [
        f"{many(len(files), 'file')} of placement {placement} in {folder} ({min(files)}) are not "
        "the same photos as those of these names here. They were left out."
        for (placement, folder), files in sorted(other_content.items())
    ]
    return kept, words


# --- logs --------------------------------------------------------------------------------------


def match_rows(
    log: str,
    ours: Iterable[Row],
    theirs: Iterable[Row],
    key: Callable[[Row], Hashable],
    named: Words[Row],
) -> Rows:
    """Find the lines that are missing here, and say in which columns the others differ."""
    known = {key(row): row for row in ours}
    new = [row for row in theirs if key(row) not in known]
    pairs = [(known[key(row)], row) for row in theirs if key(row) in known]
    differ = [
        f"{log}: {named(here)} has {_difference(here, there)}. The line here was left as it is."
        for here, there in pairs
        if here != there
    ]
    return Rows(new, differ)


def _difference(here: Any, there: Any) -> str:
    names = [one.name for one in fields(here)]
    parts = [
        f"{name} {_cell(getattr(here, name))} here and {_cell(getattr(there, name))} there"
        for name in names
        if getattr(here, name) != getattr(there, name)
    ]
    return ", ".join(parts)


def _cell(value: object) -> str:
    if isinstance(value, tuple):
        return repr("; ".join(map(str, value)))
    if isinstance(value, datetime):
        return value.isoformat(" ")
    return "nothing" if value in (None, "") else repr(str(value))


# --- tags --------------------------------------------------------------------------------------


def match_tags(
    ours: Sequence[Held],
    theirs: Sequence[Held],
    place: Mapping[str, Mapping[int, int]],
    named: Callable[[Tag], str],
) -> Tags:
    """Find the tags and undos that are missing here; what one person said stays in its order.

    Parameters
    ----------
    theirs
        With our photos and our spelling of names, in the order in which they were made.
    place
        Where each photo stands in the order of its placement, by its id.
    named
        Says of a tag of ours what it says, for people.

    Notes
    -----
    A tag is the same where the same act made it; one that came from a log where it says the same.
    A tag there that covers photos of which the same tagger said something here, and not there, is
    a conflict: neither computer's clock can tell which is later, so that here stays.
    """
    pairs, fresh = _pairs(ours, theirs)
    met = {here.tag.number for here, _ in pairs}
    only_here = [one for one in ours if one.tag.number not in met and not one.tag.taken_back]
    spans = defaultdict(list)
    for one in only_here:
        spans[one.who, one.tag.placement].append((_span(one.tag, place), one))
    new: list[Held] = []
    said_here = 0
    against: dict[tuple[str, str], list[tuple[Held, Held]]] = defaultdict(list)
    for one in fresh:
        whose = one.who, one.tag.placement
        span = _span(one.tag, place)
        over = [other for there, other in spans[whose] if _overlap(span, there)]
        if one.tag.taken_back or not over:
            new.append(one)
        elif any(said(one.tag) == said(other.tag) for other in over):
            said_here += 1
        else:
            against[whose].append((one, over[0]))
    turns, diverged = _turns(pairs)
    conflicts = [_overlapping(*whose, held, named) for whose, held in sorted(against.items())]
    both = {one.tag.tagger for one in only_here} & {one.tag.tagger for one in new}
    told = [*conflicts, *_diverged(diverged, named)]
    return Tags(new, turns, len(pairs), said_here, sorted(both), told)


def said(tag: Tag) -> Hashable:
    """Give what a tag says, without number, time and how it came in."""
    return replace(tag, number=0, made_at=None, origin="", taken_back=False)


def _pairs(
    ours: Sequence[Held], theirs: Sequence[Held]
) -> tuple[list[tuple[Held, Held]], list[Held]]:
    """Pair the tags that are the same; gives those of theirs that are left over, too."""
    by_act = {one.action: one for one in ours if one.action is not None}
    from_logs = defaultdict(list)
    for one in ours:
        if one.action is None:
            from_logs[said(one.tag)].append(one)
    pairs: list[tuple[Held, Held]] = []
    fresh: list[Held] = []
    for one in theirs:
        twin = by_act.get(one.action) if one.action is not None else None
        if one.action is None and from_logs[said(one.tag)]:
            twin = from_logs[said(one.tag)].pop(0)
        if twin is None:
            fresh.append(one)
        else:
            pairs.append((twin, one))
    return pairs, fresh


def _span(tag: Tag, place: Mapping[str, Mapping[int, int]]) -> tuple[int, int]:
    """Give between which places a tag lies; a photo without a place stands by itself."""
    order = place.get(tag.placement, {})
    ends = [order.get(photo, -photo) for photo in (tag.first_photo, tag.last_photo)]
    return min(ends), max(ends)


def _overlap(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def _turns(
    pairs: Sequence[tuple[Held, Held]],
) -> tuple[list[tuple[int, Sequence[Turn]]], list[Held]]:
    """Find what became of tags only there; those that went two ways, to two ends, by themselves."""
    turns: list[tuple[int, Sequence[Turn]]] = []
    diverged: list[Held] = []
    for here, there in pairs:
        shared = len(here.turns)
        if there.turns[:shared] == here.turns:
            if there.turns[shared:]:
                turns.append((here.tag.number, there.turns[shared:]))
        elif here.turns[: len(there.turns)] != there.turns and _ends(here) != _ends(there):
            diverged.append(here)
    return turns, diverged


def _ends(one: Held) -> bool:
    return one.turns[-1].taken_back if one.turns else False


def _overlapping(
    who: str, placement: str, held: Sequence[tuple[Held, Held]], named: Callable[[Tag], str]
) -> str:
    """Say that tags there are about photos of ours, and of the first both sides of it."""
    what = many(len(held), "tag" if who else "ruling")
    by = f"by {who} " if who else ""
    there, here = (
        named(one.tag) if who else f"{named(one.tag)}, by {one.tag.tagger}" for one in held[0]
    )
    return (
        f"{what} {by}on placement {placement} {'covers' if len(held) == 1 else 'cover'} photos of "
        f"which {who or 'an instructor'} says something else here (there: {there}; here: {here}). "
        "What is here holds; the rest was left out. Look at these photos again."
    )


def _diverged(held: Sequence[Held], named: Callable[[Tag], str]) -> list[str]:
    return [
        f"The tag of {one.tag.tagger} on placement {one.tag.placement} ({named(one.tag)}) was "
        "taken back in one of the two and let hold again in the other. It was left as it is here."
        for one in held
    ]


# --- two studies -------------------------------------------------------------------------------


def is_another_study(
    ours: tuple[Collection[str], Collection[str]], theirs: tuple[Collection[str], Collection[str]]
) -> bool:
    """Say whether two have no placement and no tray in common; a study without any is nobody's."""
    if not any(ours):
        return False
    return not any(set(one) & set(other) for one, other in zip(ours, theirs, strict=True))
