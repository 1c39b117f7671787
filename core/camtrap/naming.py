"""Decide which species of a study the rows of a package mean, and what new ones are called.

Rows name a species by its scientific name. Where the list of our own package has several that its
rows do not tell apart so, they say the key besides, and all of them come in.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from core.camtrap.hearing import Heard
from core.camtrap.reading import Package, on_one_line
from core.camtrap.telling import Rows, alike, row_of, rows_of
from core.model import ANSWERS_WITHOUT_SPECIES, Species, SpeciesRole
from core.sheets import key_cell

KEYS = "abcdefghijklmnopqrstuvwxyz0123456789"
PEOPLE = {"human": "person", "vehicle": "vehicle"}


@dataclass(frozen=True, slots=True)
class Named:
    """Which species the tags of a package mean."""

    keys: Mapping[tuple[str, ...], str]
    """Of the study, by what `meant` gives for a tag."""
    new: tuple[Species, ...]
    """Those that the study has not."""
    sensitive: tuple[str, ...]
    """Names of those that the package holds sensitive, and the study's list does not."""


def meant(tag: Heard) -> tuple[str, ...]:
    """Give what tells the species of a tag from others in its package."""
    return (tag.key,) if tag.key else (tag.kind, tag.name)


def told_apart(package: Package) -> dict[str, Rows] | None:
    """Give the keys that rows of our own package name, with what else such a row says.

    None: the package is not ours.
    """
    return alike(_listed(package).values()) if package.own else None


def named(tags: Sequence[Heard], known: Mapping[str, Species], package: Package) -> Named:
    """Find the species of each tag in the study's list, or make it; also sensitive ones."""
    own, sensitive = _listed(package), _sensitive_names(package)
    apart = alike(own.values())
    used = {apart[tag.key] for tag in tags if tag.key} | {rows_of("animal", n) for n in sensitive}
    by_key = _apart_for({key: own[key] for key, rows in apart.items() if rows in used}, known)
    here = dict(known) | {one.key: one for one in by_key.values()}
    names = [tag.name for tag in tags if tag.kind == "animal" and not tag.key]
    alone = [name for name in sensitive if rows_of("animal", name) not in apart.values()]
    by_name = _species_for([*names, *alone], here, package)
    here |= {one.key: one for one in by_name.values()}
    keys: dict[tuple[str, ...], str] = {(key,): one.key for key, one in by_key.items()}
    keys |= {("animal", name): one.key for name, one in by_name.items()}
    for kind, called in PEOPLE.items():
        if any(tag.kind == kind and not tag.key for tag in tags):
            person = _person_for(called, here, package)
            keys[kind, ""] = person.key
            here[person.key] = person
    held = [by_key[key] for key in by_key if own[key].sensitive] + [by_name[n] for n in alone]
    return Named(
        keys,
        tuple(one for key, one in here.items() if key not in known),
        tuple(one.name for one in held if not one.sensitive),
    )


def _listed(package: Package) -> dict[str, Species]:
    """Give the species list of our own package by key, as far as a study's list would take it."""
    found = {}
    for one in _own_species(package):
        key, name, scientific = (one.get(n, "") for n in ("key", "name", "scientificName"))
        role = next((role for role in SpeciesRole if role == one.get("role")), None)
        texts = isinstance(key, str) and isinstance(name, str) and isinstance(scientific, str)
        if texts and role and key_cell(key) == key and _is_plain(name):
            sensitive = one.get("sensitive") is True
            found[key] = Species(key, name, role, scientific, sensitive=sensitive)
    return found


def _is_plain(name: str) -> bool:
    return on_one_line(name) == name != ""


def _apart_for(own: Mapping[str, Species], known: Mapping[str, Species]) -> dict[str, Species]:
    """Give each species that rows name by its key its own, so that no two become one.

    One of the study that such rows would mean, by its name, else by its key; else a new one.
    """
    found: dict[str, Species] = {}

    def find(same: Callable[[Species, Species], bool]) -> None:
        for key, told in own.items():
            free = (
                one
                for one in known.values()
                if one not in found.values() and row_of(one) == row_of(told) and same(one, told)
            )
            here = None if key in found else next(free, None)
            if here is not None:
                found[key] = here

    find(lambda one, told: one.name.casefold() in {told.name.casefold(), _other(told).casefold()})
    find(lambda one, told: one.key == told.key)
    taken = dict(known)
    for key, told in own.items():
        if key not in found:
            name = _free_name(told.name, _other(told), taken)
            found[key] = replace(told, key=_key(key, name, taken), name=name)
            taken[found[key].key] = found[key]
    return found


def _other(told: Species) -> str:
    """Give what a species is called where its name is taken."""
    return f"{told.scientific_name or told.name} ({told.key})"


def _species_for(
    names: Iterable[str], known: Mapping[str, Species], package: Package
) -> dict[str, Species]:
    """Give each scientific name its species: one that the study has, else a new one.

    A new one has the key and the role that our own package tells, else a free key, the name that
    the package calls it by, and the role of a forager.
    """
    told = {str(one.get("scientificName") or one["name"]): one for one in _own_species(package)}
    called = _vernacular(package.described)
    taken = dict(known)
    found: dict[str, Species] = {}
    for name in dict.fromkeys(names):
        here = _alike(name, called.get(name, ""), taken.values())
        if here is None:
            own = told.get(name, {})
            wanted = _free_name(str(own.get("name") or called.get(name) or name), name, taken)
            role = next((one for one in SpeciesRole if one == own.get("role")), SpeciesRole.FORAGER)
            key = _key(str(own.get("key", "")), wanted, taken)
            here = Species(key, wanted, role, name, sensitive=bool(own.get("sensitive")))
            taken[key] = here
        found[name] = here
    return found


def _sensitive_names(package: Package) -> list[str]:
    """Give the sensitive species of our own package, tagged or not: its places stay coarse."""
    marked = (one for one in _own_species(package) if one.get("sensitive") is True)
    names = (one.get("scientificName") for one in marked)
    return [name for name in names if isinstance(name, str) and _is_plain(name)]


def _person_for(name: str, known: Mapping[str, Species], package: Package) -> Species:
    """Give the species that stands for people (`person`) or their cars (`vehicle`)."""
    vehicle = name == "vehicle"
    people = [one for one in known.values() if one.role is SpeciesRole.PERSON]
    here = next((one for one in people if (one.name.casefold() == "vehicle") is vehicle), None)
    if here is not None:
        return here
    own = [one for one in _own_species(package) if one.get("role") == SpeciesRole.PERSON]
    told = next((o for o in own if (str(o["name"]).casefold() == "vehicle") is vehicle), {})
    called = on_one_line(str(told.get("name", name)))
    if called.casefold() in {one.name.casefold() for one in known.values()}:
        # The list has it in another role: cars then count as people, who get another name.
        if vehicle:
            return _person_for("person", known, package)
        called = f"{called} (people)"
    key = _key(str(told.get("key", "")), called, known)
    return Species(key, called, SpeciesRole.PERSON, str(told.get("scientificName", "")))


def _own_species(package: Package) -> list[dict[str, Any]]:
    listed = package.own.get("species")
    species = listed if isinstance(listed, list) else ()
    return [one for one in species if isinstance(one, dict) and one.get("name")]


def _vernacular(described: Mapping[str, Any]) -> dict[str, str]:
    """Give what the package calls its species: in English, or in no language that is told."""
    found = {}
    listed = described.get("taxonomic")
    for one in listed if isinstance(listed, list) else ():
        names = one.get("vernacularNames") if isinstance(one, dict) else None
        if not isinstance(names, dict):
            continue
        told = names.get("und") or names.get("eng") or next(iter(names.values()), "")
        if isinstance(told, str) and (plain := on_one_line(told)):
            found[str(one.get("scientificName", ""))] = plain
    return found


def _alike(name: str, called: str, known: Iterable[Species]) -> Species | None:
    """Find a species by its scientific name, else by what it is called.

    One name may stand for two kinds: what has a scientific name is no other than that.
    """
    listed = list(known)
    plain = name.casefold()
    by_science = (one for one in listed if one.scientific_name.casefold() == plain)
    by_name = (
        one
        for one in listed
        if one.name.casefold() == plain
        or (not one.scientific_name and one.name.casefold() == called.casefold())
    )
    return next(by_science, None) or next(by_name, None)


def _free_name(wanted: str, scientific: str, taken: Mapping[str, Species]) -> str:
    """Give the name of a new species: as wanted, unless the list or the answers have that."""
    used = {*(one.name.casefold() for one in taken.values()), *ANSWERS_WITHOUT_SPECIES}
    plain = on_one_line(wanted)
    return plain if plain and plain.casefold() not in used else scientific


def _key(wanted: str, name: str, taken: Mapping[str, Species]) -> str:
    used = {key.casefold() for key in taken}
    letters = [one for one in name.casefold() if one in KEYS]
    free = (
        one
        for one in (wanted, *letters, *KEYS)
        if key_cell(one) == one and one.casefold() not in used
    )
    return next(free, None) or next(chr(at) for at in range(0x3B1, 0x3FF) if chr(at) not in used)
