"""Decide which names and words of a study a package tells, and what stands in their place."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from core.model import Species, SpeciesRole
from core.people import is_same
from core.privacy import (
    Finder,
    coordinates_in,
    has_a_persons_name,
    is_private,
    looked_for,
    parts_of,
    people_finder,
    places_finder,
    pseudonym,
)

VEHICLE = "vehicle"
"""A species of people that is called so is told as the standard's vehicle."""
MACHINE = "machine: "
"""So begins the name of a tagger that is a program, whose tags came in with a package."""
PERSON = "person"
"""So every other species of people is called."""
DESCRIPTION = "description of the package"
NEAR = "near the tray: "
"""So begins the note on an outcome that lists species."""
_COUNTED = re.compile(r"(?:IMG|DSC|DSCF|DSCN|PICT|IMAG|RCNX)_?[0-9]{3,6}\.[A-Za-z]{3,4}")
"""Names by which cameras count their photos: they tell no place, and are passed over quickly."""
_ENDING = re.compile(r"\.[A-Za-z]{3,4}$")


class Why(StrEnum):
    """Why a text is not told."""

    COORDINATES = "it reads like coordinates"
    NAME = "it names, or may name, somebody of the study"
    SENSITIVE = "the study has a sensitive species"


Rows = tuple[str, str]
"""What rows of a package say of a species: the standard's type, of animals the scientific name."""


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
    """Names of places in the study: of trays, and as the camera log has them."""
    known: frozenset[str] = frozenset()
    """Names of people in the study: taggers, handlers, instructors, who set cameras up."""
    taggers: frozenset[str] = frozenset()
    """Those of them who are named where `names` asks for it."""
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
        hidden = self.sensitive or coordinates_in(name) or self._people.spans(name)
        return pseudonym(name, self.secret) if hidden else name

    def without_names(self, text: str) -> str:
        """Give what people wrote without their names, and with a sensitive species those of sites.

        People build the ids of trays and placements, and folders, from both, in any spelling. A
        time, a number or a word of the standard is not to come here: a site may be called `202`,
        or `bush`. Two texts that differ by more than capitals stay two.
        """
        return self._people.replaced(self.without_sites(text), self._hidden)

    def without_sites(self, text: str) -> str:
        """Give a text without the names of sites, where a species is sensitive."""
        return self._sites.replaced(text, self._hidden) if self.sensitive else text

    @cached_property
    def _sites(self) -> Finder:
        return places_finder(one for one in self.sites if self.site(one) != one)

    def _hidden(self, found: str) -> str:
        return pseudonym(found, self.secret).replace(":", "-")

    def text(self, thing: str, words: str) -> str:
        """Give a free text; nothing where it tells a place or a person, or of a sensitive study."""
        if not words:
            return ""
        pieces = coordinates_in(words)
        if pieces:
            found = Withheld(thing, Why.COORDINATES, pieces)
        elif self.sensitive:
            found = Withheld(thing, Why.SENSITIVE)
        elif names := self._people.found(words):
            found = Withheld(thing, Why.NAME, names)
        else:
            return words
        self.withheld[thing] = found
        return ""

    def people_in(self, words: str, besides: Iterable[str] = ()) -> tuple[str, ...]:
        """Give the names of people in a text, but for those who are named `besides` in any case."""
        public = people_finder(looked_for(besides))
        found = self._people.found(words)
        return tuple(one for one in found if any(parts_of(public.replaced(one, lambda _: ""))))

    def about(self, words: str, contributors: Iterable[str]) -> str:
        """Give the study's description as it may be told; contributors are named beside it."""
        told = not self.sensitive and not self.people_in(words, contributors)
        return words if told else self.text(DESCRIPTION, words)

    @cached_property
    def _people(self) -> Finder:
        """Look for those who are not named: taggers who are, are told in words too."""
        named = [one for one in self.taggers if self.person(one) == one]
        hidden = {one for one in self.known if self._is_hidden(one, named)}
        free = {word.casefold() for word in looked_for(named)}
        # The account of somebody who is named has the same words as the name.
        accounts = looked_for(one for one in hidden if "@" in one)
        people = looked_for(one for one in hidden if "@" not in one)
        called = (one.name for one in self.species.values() if called_as(one) != one.name)
        return people_finder(
            {
                *people,
                *(word for word in accounts if word.casefold() not in free),
                *filter(has_a_persons_name, called),
            }
        )

    def _is_hidden(self, name: str, named: Iterable[str]) -> bool:
        nobody = pseudonym(name, self.secret) == name or name.startswith(MACHINE)
        return not nobody and not any(is_same(name, tagger) for tagger in named)

    def word(self, thing: str, words: str) -> str:
        """Give a short text, such as a microhabitat; nothing where it tells a place or a person."""
        pieces = coordinates_in(words)
        names = () if pieces else self._people.found(words)
        if not pieces and not names:
            return self.without_names(words)
        why = Why.COORDINATES if pieces else Why.NAME
        self.withheld[thing] = Withheld(thing, why, pieces or names)
        return ""

    def note(self, words: str) -> str:
        """Give a note of ours on an outcome: people are people, whatever the list calls them."""
        told = self._called.sub(lambda found: self._told[found[0]], words)
        listed = told.removeprefix(NEAR).split(", ")
        return NEAR + ", ".join(dict.fromkeys(listed)) if told.startswith(NEAR) else told

    @cached_property
    def _told(self) -> Mapping[str, str]:
        return {one.name: called_as(one) for one in self.species.values()}

    @cached_property
    def _called(self) -> re.Pattern[str]:
        names = sorted((name for name, told in self._told.items() if told != name), key=len)
        listed = "|".join(map(re.escape, reversed(names)))
        return re.compile(rf"(?<!\w)(?:{listed})(?!\w)" if listed else "(?!)")

    def path(self, file: str) -> str:
        """Give a photo's path; parts that read like coordinates keep only their ending."""
        whole = self.without_sites(file) if self._over_folders else file
        folder, _, name = whole.rpartition("/")
        if folder not in self._folders:
            told = map(self._part, self.without_sites(folder).split("/"))
            self._folders[folder] = "/".join(told)
        told_name = self._part(self.without_sites(name))
        return "/".join(filter(None, (self._folders[folder], told_name)))

    @cached_property
    def _over_folders(self) -> bool:
        """Say whether a site is called as a folder in another would be."""
        return any("/" in site for site in self.sites)

    def _part(self, part: str) -> str:
        if _COUNTED.fullmatch(part):
            return part
        if not coordinates_in(part):
            return self._people.replaced(part, self._hidden)
        ending = _ENDING.search(part)
        stem = pseudonym(part, self.secret).replace(":", "-")
        return stem + ending[0] if ending else stem

    def kind(self, key: str) -> str:
        """Give the standard's type of what a tag names."""
        listed = self.species.get(key)
        return "unknown" if listed is None else row_of(listed)[0]

    def told_apart(self, key: str) -> str:
        """Give the key of a species that rows do not tell from another of the list; or nothing."""
        return key if key in self._alike else ""

    @cached_property
    def _alike(self) -> Mapping[str, Rows]:
        return alike(self.species.values())

    def is_private(self, key: str) -> bool:
        """Say whether a picture of it is never public: people, their cars, what nobody could name.

        What cannot be told may be a person; `blank` is no species, and is public.
        """
        return is_private(key, self.species)


def called_as(one: Species) -> str:
    """Give what a package calls a species: people are never called by a name."""
    vehicle = one.name.casefold() == VEHICLE
    return PERSON if one.role is SpeciesRole.PERSON and not vehicle else one.name


def scientific_name_of(one: Species) -> str:
    """Give the scientific name that a package tells; of people none."""
    return "" if one.role is SpeciesRole.PERSON else one.scientific_name


def row_of(one: Species) -> Rows:
    """Give what the rows of a package say of a species."""
    person = "vehicle" if one.name.casefold() == VEHICLE else "human"
    return rows_of(person if one.role is SpeciesRole.PERSON else "animal", one.scientific_name)


def rows_of(kind: str, name: str) -> Rows:
    """Give what a row tells a species by: animals by name, in any letters; people by no name."""
    return kind, name.casefold() if kind == "animal" else ""


def alike(species: Iterable[Species]) -> dict[str, Rows]:
    """Give the keys of the species that rows do not tell from another one, with what rows say."""
    said = {one.key: row_of(one) for one in species}
    counts = Counter(said.values())
    return {key: rows for key, rows in said.items() if counts[rows] > 1 and rows != ("animal", "")}


def of_pictures(*, pictures: bool) -> str:
    """Say in a sentence which pictures a package has."""
    if not pictures:
        return "The pictures themselves are not in the package; ask its contact."
    return (
        "Pictures of people, of vehicles, of the people at work, of what nobody could name and of "
        "visits that are not settled are left out; what the cameras wrote into the others' files "
        "is reduced to the time, maker, model and orientation."
    )
