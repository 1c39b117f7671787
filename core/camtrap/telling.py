"""Decide which names and words of a study a package tells, and what stands in their place."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from core.model import Species, SpeciesRole
from core.privacy import coordinates_in, pseudonym

VEHICLE = "vehicle"
"""A species of people that is called so is told as the standard's vehicle."""
MACHINE = "machine: "
"""So begins the name of a tagger that is a program, whose tags came in with a package."""
SHORTEST = 3
"""Letters from which on the name of a site is looked for inside other names (ours)."""
_COUNTED = re.compile(r"(?:IMG|DSC|DSCF|DSCN|PICT|IMAG|RCNX)_?[0-9]{3,6}\.[A-Za-z]{3,4}")
"""Names by which cameras count their photos: they tell no place, and are passed over quickly."""
_ENDING = re.compile(r"\.[A-Za-z]{3,4}$")


class Why(StrEnum):
    """Why a text is not told."""

    COORDINATES = "it reads like coordinates"
    NAME = "it names a tagger or a handler"
    SENSITIVE = "the study has a sensitive species"


@dataclass(frozen=True, slots=True)
class Withheld:
    """A text that is not told."""

    thing: str
    """Where it stands, as in `notes of deployment 'D4'`."""
    why: Why
    pieces: tuple[str, ...] = ()
    """What in it is the reason; empty: no free text is told."""


@dataclass
class Telling:
    """Who and what may be named; it notes what was held back."""

    species: Mapping[str, Species]
    secret: bytes
    """Of the study: pseudonyms are made with it."""
    names: bool = False
    """Whether taggers are named as they are."""
    sites: frozenset[str] = frozenset()
    """Names of places in the study."""
    known: frozenset[str] = frozenset()
    """Names of people in the study: taggers, handlers."""
    withheld: dict[str, Withheld] = field(default_factory=dict)
    """By the thing."""
    _folders: dict[str, str] = field(default_factory=dict)
    """Those of photos, as they are told: many photos lie in each."""

    @cached_property
    def sensitive(self) -> bool:
        """Say whether the species list has a species whose places are not for everybody."""
        return any(one.sensitive for one in self.species.values())

    def person(self, name: str) -> str:
        """Give a tagger's name, or what stands for it."""
        return name if self.names else pseudonym(name, self.secret)

    def people(self, names: Iterable[str]) -> str:
        """Give several, `|` between."""
        return " | ".join(self.person(name) for name in names)

    def site(self, name: str) -> str:
        """Give a site's name; with sensitive species what stands for it."""
        told = self.sensitive or coordinates_in(name)
        return pseudonym(name, self.secret) if told else name

    def without_sites(self, text: str) -> str:
        """Give what people wrote without the names of sites, where a species is sensitive.

        People build the ids of trays and placements from them. A time, a number or a word of the
        standard is not to come here: a site may be called `202`, or `bush`.
        """
        return self._named.sub(self._hidden, text) if self.sensitive and self.sites else text

    @cached_property
    def _named(self) -> re.Pattern[str]:
        names = (one for one in self.sites if len(one) >= SHORTEST and self.site(one) != one)
        long = sorted(names, key=len, reverse=True)
        return re.compile("|".join(map(re.escape, long)) or "(?!)", re.IGNORECASE)

    def _hidden(self, found: re.Match[str]) -> str:
        return pseudonym(found[0], self.secret).replace(":", "-")

    def text(self, thing: str, words: str) -> str:
        """Give a free text; nothing where it tells a place or a person, or of a sensitive study."""
        if not words:
            return ""
        pieces = coordinates_in(words)
        if pieces:
            found = Withheld(thing, Why.COORDINATES, pieces)
        elif self.sensitive:
            found = Withheld(thing, Why.SENSITIVE)
        elif not self.names and self._people.search(words):
            names = tuple(dict.fromkeys(one[0] for one in self._people.finditer(words)))
            found = Withheld(thing, Why.NAME, names)
        else:
            return words
        self.withheld[thing] = found
        return ""

    @cached_property
    def _people(self) -> re.Pattern[str]:
        names = (one for one in self.known if len(one) >= SHORTEST and self.person(one) != one)
        long = sorted(names, key=len, reverse=True)
        whole = "|".join(map(re.escape, long))
        return re.compile(rf"(?<!\w)(?:{whole})(?!\w)" if whole else "(?!)", re.IGNORECASE)

    def word(self, thing: str, words: str) -> str:
        """Give a short text, such as a microhabitat; nothing where it reads like coordinates."""
        pieces = coordinates_in(words)
        if not pieces:
            return self.without_sites(words)
        self.withheld[thing] = Withheld(thing, Why.COORDINATES, pieces)
        return ""

    def path(self, file: str) -> str:
        """Give a photo's path; parts that read like coordinates keep only their ending."""
        folder, _, name = self.without_sites(file).rpartition("/")
        if folder not in self._folders:
            self._folders[folder] = "/".join(map(self._part, folder.split("/")))
        return "/".join(filter(None, (self._folders[folder], self._part(name))))

    def _part(self, part: str) -> str:
        if _COUNTED.fullmatch(part) or not coordinates_in(part):
            return part
        ending = _ENDING.search(part)
        stem = pseudonym(part, self.secret).replace(":", "-")
        return stem + ending[0] if ending else stem

    def kind(self, key: str) -> str:
        """Give the standard's type of what a tag names."""
        listed = self.species.get(key)
        if listed is None:
            return "unknown"
        if listed.role is not SpeciesRole.PERSON:
            return "animal"
        return "vehicle" if listed.name.casefold() == VEHICLE else "human"

    def is_private(self, key: str) -> bool:
        """Say whether a picture of it is never public: people, their cars, what nobody could name.

        What cannot be told may be a person; `blank` is no species, and is public.
        """
        return self.kind(key) in {"human", "vehicle", "unknown"}


def of_pictures(*, pictures: bool) -> str:
    """Say in a sentence which pictures a package has."""
    if not pictures:
        return "The pictures themselves are not in the package; ask its contact."
    return (
        "Pictures of people, of vehicles, of the people at work, of what nobody could name and of "
        "visits that are not settled are left out; what the cameras wrote into the others' files "
        "is reduced to the time, maker, model and orientation."
    )
