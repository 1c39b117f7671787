"""Decide what a study still lacks before a package of it can be written."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from core.camtrap import rows
from core.camtrap.cells import CellError
from core.camtrap.fields import MISSING, SAMPLING_DESIGNS
from core.camtrap.telling import Telling
from core.model import Placement, Species, SpeciesRole, TrayDeployment
from core.privacy import coordinates_in
from core.settings import FILE_NAME, Settings

FACTS = ("start", "end", "latitude", "longitude")


def missing(
    settings: Settings,
    placements: Sequence[Placement],
    logged: Collection[str],
    trays: Iterable[TrayDeployment],
    telling: Telling,
    named: Collection[str],
) -> list[str]:
    """List each missing fact with the way to give it; nothing is asked one by one.

    Parameters
    ----------
    logged
        Placements that the camera log has.
    named
        Keys of the species that the observations would name.
    """
    return [
        *_of_settings(settings, telling),
        *_of_placements(placements, logged),
        *_of_species(telling.species, named),
        *_of_ids(placements, trays),
        *_of_taggers(telling),
    ]


def _of_settings(settings: Settings, telling: Telling) -> Iterator[str]:
    if not settings.sharing.sampling_design:
        yield (
            f"sampling_design is not set: write it under [export] in {FILE_NAME}, one of "
            f"{', '.join(SAMPLING_DESIGNS)} (paired trays are mostly experimental)."
        )
    if not settings.sharing.contributors:
        yield (
            f"contributors is not set: write under [export] in {FILE_NAME} who is to be named, "
            'such as contributors = [{ name = "A. Example", role = "contact" }].'
        )
    elif not any(one.role == "contact" for one in settings.sharing.contributors):
        yield (
            "Nobody among the contributors is the contact, whom people ask for what is not in the "
            f'package: give one of them role = "contact" under [export] in {FILE_NAME}, best with '
            "an email."
        )
    title = settings.sharing.title or settings.name
    for name, words in (("title", title), ("description", settings.sharing.description)):
        pieces = coordinates_in(words)
        if pieces:
            yield (
                f"{name} would publish what reads like coordinates: {_listed(pieces)}. Write "
                f"another {name} under [export] in {FILE_NAME}."
            )
    people = telling.people_in(title, [one.name for one in settings.sharing.contributors])
    if people:
        yield (
            f"title would publish what names, or may name, somebody of the study: "
            f"{_listed(people)}. Write another title under [export] in {FILE_NAME}, or name them "
            "as a contributor."
        )


def _of_placements(placements: Sequence[Placement], logged: Collection[str]) -> Iterator[str]:
    if not placements:
        yield "The study has no camera placements: load the camera log and scan cards first."
    unknown = [one.placement for one in placements if one.placement not in logged]
    if unknown:
        yield f"Not in the camera log: {_listed(unknown)}. Give each its line there."
    for one in placements:
        try:
            rows.own_columns(one)
        except CellError as fault:
            yield f"Placement {one.placement!r} in the camera log: {fault}"
    for fact in FACTS:
        without = [
            one.placement
            for one in placements
            if one.placement in logged and getattr(one, fact) is None
        ]
        if without:
            yield f"{fact} is blank in the camera log for: {_listed(without)}. Fill it in."


def _of_species(species: Mapping[str, Species], named: Collection[str]) -> Iterator[str]:
    without = [
        one.name
        for key, one in species.items()
        if key in named
        and one.role is not SpeciesRole.PERSON
        and (not one.scientific_name or one.scientific_name in MISSING)
    ]
    if without:
        yield (
            "scientific_name is blank, or reads as nothing, in the species list for: "
            f"{_listed(without)}. Fill it in; a genus or family will do."
        )
    unlisted = sorted(set(named) - set(species) - {"blank", "unknown", "handler"})
    if unlisted:
        yield f"Not in the species list: {_listed(unlisted)}. Give each its line there."


def _of_ids(placements: Sequence[Placement], trays: Iterable[TrayDeployment]) -> Iterator[str]:
    ids = [one.placement for one in placements]
    nothing = [one for one in ids if one in MISSING]
    if nothing:
        yield (
            f"{_listed(nothing)} as a placement's name means in the standard that nothing is "
            "there. Name it differently in the camera log, and move its card."
        )
    listed = list(trays)
    named = [tray for one in placements for tray in one.trays] + [one.tray for one in listed]
    every = dict.fromkeys([*ids, *named, *(one.deployment for one in listed)])
    telling = [one for one in every if coordinates_in(one)]
    if telling:
        yield f"Reads like coordinates, which would be published: {_listed(telling)}. Rename it."
    parted = [one for one in dict.fromkeys(named) if "|" in one]
    if parted:
        yield f"A | parts lists in the standard, so no tray may have it: {_listed(parted)}. Rename."


def _of_taggers(telling: Telling) -> Iterator[str]:
    parted = [one for one in telling.taggers if "|" in telling.person(one)]
    if parted:
        yield (
            f"A | parts lists in the standard, so no tagger can be named so: {_listed(parted)}. "
            "Leave out --names: they get pseudonyms."
        )


def _listed(names: Iterable[str]) -> str:
    return ", ".join(repr(name) for name in names)
