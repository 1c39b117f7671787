"""Decide which photos, species and trays a tag means, and refuse what the study does not have."""

import difflib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

from core.errors import LogError, Problem, TagError
from core.logs import TagLine
from core.model import ANSWERS_WITHOUT_SPECIES, BLANK, HANDLER, Photo, Species, Tag, Where


@dataclass(frozen=True, slots=True)
class NewTag:
    """A tag as a screen asks for it."""

    placement: str
    first_photo: int
    last_photo: int
    tagger: str
    species: str
    count: int | None = None
    where: Where | None = None
    sure: bool = True
    tray: str = ""
    ruling: bool = False
    also: bool = False
    comment: str = ""
    action: str | None = None
    """An id that makes a repeated call the same as one call."""


class FileNames:
    """The photos of a placement by the names that a tag may use for them."""

    def __init__(self, placement: str, photos: Sequence[Photo]) -> None:
        self.placement = placement
        self.by_path: dict[str, list[Photo]] = {}
        self.by_name: dict[str, list[Photo]] = {}
        for photo in photos:
            self.by_path.setdefault(photo.file, []).append(photo)
            self.by_name.setdefault(photo.file.rsplit("/", 1)[-1], []).append(photo)

    def id_of(self, name: str) -> int:
        """Give the id of a photo by its path below the card, or its bare name where one has it."""
        named = self.by_path.get(name) or self.by_name.get(name, [])
        originals = {one.copy_of or one.id for one in named}
        if len(originals) == 1:
            return originals.pop()
        if len({one.file for one in named}) == 1 and originals:
            raise TagError(
                f"Photo {name!r} is on {len(originals)} cards of placement {self.placement!r}. "
                "Tag it on the page, or forget one card and scan it from another folder name "
                "that stands above its files."
            )
        if originals:
            paths = ", ".join(repr(one.file) for one in named[:3])
            raise TagError(
                f"Photo {name!r} of placement {self.placement!r} could be {paths}. "
                "Write the path below the card."
            )
        raise TagError(
            f"Placement {self.placement!r} has no photo {name!r}.{likely(name, self.by_name)} "
            "Scan its card first, or mend the name."
        )


def likely(name: str, known: Iterable[str]) -> str:
    """Suggest the name that was probably meant; empty when none is near."""
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.7)
    return f" Did you mean {near[0]!r}?" if near else ""


def tags_of_lines(
    lines: Sequence[TagLine],
    problems: Sequence[Problem],
    names_of: Callable[[str], FileNames],
    species: Mapping[str, Species],
    trays: Mapping[str, tuple[str, ...]],
    log: str,
) -> list[Tag]:
    """Turn the lines of a tag log into tags; LogError with every fault of all of it at once.

    Parameters
    ----------
    problems
        What is wrong with cells already; such cells are blank in their lines.
    names_of
        Gives the photos of a placement; TagError for one that has none.
    """
    known: dict[str, FileNames | TagError] = {}
    tags: list[Tag] = []
    found = list(problems)
    for line in lines:
        if line.placement not in known:
            known[line.placement] = _names_or_fault(names_of, line.placement)
        names = known[line.placement]
        found += [Problem(one, line.line) for one in faults_of_line(line, names, species, trays)]
        if not found and isinstance(names, FileNames):
            tags.append(_tag_of_line(line, names, log))
    if found:
        raise LogError(log, sorted(found, key=lambda problem: problem.line or 0))
    return tags


def _names_or_fault(names_of: Callable[[str], FileNames], placement: str) -> FileNames | TagError:
    try:
        return names_of(placement)
    except TagError as fault:
        return fault


def faults_of_line(
    line: TagLine,
    names: FileNames | TagError,
    species: Mapping[str, Species],
    trays: Mapping[str, tuple[str, ...]],
) -> list[str]:
    """Say all that a line names and the study does not have; of blank cells nothing."""
    faults = []
    if line.species and species and line.species not in {*species, *ANSWERS_WITHOUT_SPECIES}:
        keys = ", ".join(f"{key} ({one.name})" for key, one in species.items())
        faults.append(f"Species {line.species!r} is not in the species list. Known are: {keys}.")
    if not line.placement:
        return faults
    if isinstance(names, TagError):
        return [*faults, str(names)]
    asked: list[Callable[[], object]] = [
        lambda: refuse_tray(line.tray, trays.get(line.placement, ()), line.placement),
        *(partial(names.id_of, one) for one in dict.fromkeys((line.first_photo, line.last_photo))
          if one),
    ]  # fmt: skip
    for ask in asked:
        try:
            ask()
        except TagError as fault:
            faults.append(str(fault))
    return faults


def _tag_of_line(line: TagLine, names: FileNames, log: str) -> Tag:
    new = NewTag(
        placement=line.placement,
        first_photo=names.id_of(line.first_photo),
        last_photo=names.id_of(line.last_photo),
        tagger=line.tagger,
        species=line.species,
        count=line.count,
        where=line.where,
        sure=line.sure,
        tray=line.tray,
        ruling=line.ruling,
        also=line.also,
        comment=line.comment,
    )
    return tag_of(new, log)


def tag_of(new: NewTag, origin: str) -> Tag:
    """Turn what a screen asked for into a tag, made now."""
    return Tag(
        number=0,
        placement=new.placement,
        first_photo=new.first_photo,
        last_photo=new.last_photo,
        tagger=new.tagger.strip(),
        species=new.species,
        count=new.count,
        where=new.where,
        sure=new.sure,
        tray=new.tray,
        ruling=new.ruling,
        also=new.also,
        comment=new.comment.strip(),
        made_at=datetime.now(UTC),
        origin=origin,
    )


def refuse_bad(new: NewTag, species: Mapping[str, Species]) -> None:
    """Refuse a tag that names nobody, an unlisted species, or no place for an animal."""
    if not new.tagger.strip():
        raise TagError("The tag has no tagger. Say who you are first.")
    if new.species not in species and new.species not in ANSWERS_WITHOUT_SPECIES:
        raise TagError(f"Species {new.species!r} is not in the species list. Add it there first.")
    nobody = new.species in {BLANK, HANDLER}
    if nobody and new.where is not None:
        raise TagError(f"A {new.species} tag says where ({new.where}). Leave that out.")
    if not nobody and new.where is None:
        raise TagError("The tag does not say where the animal was: fed, on the tray or near it.")
    if new.count is not None and new.count < 1:
        raise TagError(f"A count of {new.count} makes no sense. Leave it out, or count from 1.")


def refuse_others(taggers: Mapping[int, str], by: str) -> None:
    """Refuse to turn a tag that somebody else made; `taggers` by the tags' numbers."""
    for number, tagger in taggers.items():
        if tagger != by:
            raise TagError(
                f"Tag {number} was made by somebody else. Only they or the instructor can take "
                "it back or let it hold again."
            )


def refuse_tray(tray: str, watched: Sequence[str], placement: str) -> None:
    """Refuse a tray that the placement does not watch; one whose trays nobody wrote watches any."""
    if tray and watched and tray not in watched:
        raise TagError(
            f"Tray {tray!r} is not watched by placement {placement!r}. "
            f"It watches {', '.join(watched)}."
        )
